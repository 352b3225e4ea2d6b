"""A part that is turned over stands on its pads: its weight presses them, ``m g / A``."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from gripmargin.checks.case import work_out
from gripmargin.checks.dents import unbuckled
from gripmargin.checks.handover import pressure_words as words
from gripmargin.checks.handover.pressure import PRESSURE
from support.handed import Handed, plate_job
from support.pushed import AREA, lowered

G = 9.80665
PAD, MASS = 0.03**2, 4.0
STANDS = MASS * G / PAD  # 43.6 kPa; the press in the tray has 20
LEANING = np.hypot(1.0, 6 * 0.004 / 0.03)


def turned_over(most, mass=MASS):
    """Picked, turned over about the tool's x axis and back, and placed."""
    job = plate_job(mass=mass, pads=1, part={"max_pressure": most}, nest={"hold_down": 500.0})
    job = Handed(job=job, press=2e-4, seat=2e-5).made()
    way = np.array([move == "carry" for move in job.trajectory.moves])
    share = np.clip(np.minimum(np.linspace(0, 4, way.sum()), np.linspace(4, 0, way.sum())), 0, 1)
    angle = np.pi * (10 * share**3 - 15 * share**4 + 6 * share**5)
    turn = Rotation.from_rotvec(angle[:, None] * [1.0, 0.0, 0.0]).as_matrix()
    rotation = job.trajectory.rotation.copy()
    rotation[way] = turn @ rotation[way]
    return work_out(
        replace(job, trajectory=replace(job.trajectory, t=4 * job.trajectory.t, rotation=rotation)), trial=True
    )


@pytest.mark.parametrize(
    ("most", "verdict"), [(0.9 * STANDS, "fail"), (1.5 * STANDS, "undecided"), (2.6 * STANDS, "pass")]
)
def test_what_the_part_may_take_while_it_stands_on_the_pads(most, verdict):
    """On the way over its lever counts too, ``cos a + 6 h / L sin a`` up to 1.281; twice as much may be: it swings."""
    outcome = PRESSURE.answer(turned_over(most))
    (result,) = outcome.results
    assert str(result.verdict) == verdict
    assert result.details.during == "carry"
    assert result.details.highest_pressure / (2 * STANDS) == pytest.approx(LEANING, rel=0.03)
    assert most / result.high / STANDS == pytest.approx(LEANING, rel=0.03)
    cause = {"fail": words.STANDS, "undecided": words.SWINGS}.get(verdict)
    assert [finding.because["cause"] for finding in outcome.findings] == ([cause] if cause else [])


def test_a_light_part_leaves_the_press_the_hardest():
    (result,) = PRESSURE.answer(turned_over(3e4, mass=0.2)).results
    assert result.details.during == "preload"
    assert result.details.highest_pressure == pytest.approx(2e4, rel=1e-3)


@pytest.mark.parametrize(("share", "said"), [(1.01, 0), (0.99, 1)])
def test_a_part_that_buckles_the_face_it_stands_on(share, said):
    limit = share * 2 * 3.0 * G / AREA
    pad = {"overload_pressure": limit, "overload_residual": 0.2}
    found = unbuckled(work_out(lowered(turned=np.eye(3), mass=3.0, move=0.0, pad=pad)))
    assert len(found.doubts) == said
    assert all(doubt.startswith("the part may press pad 'pad'") for doubt in found.doubts)
    assert unbuckled(work_out(lowered(mass=3.0, move=0.0, pad=pad))) == unbuckled(work_out(lowered(pad=pad)))
