"""A press that breaks cells and presses them on again: nobody knows how such cells bond, so no verdict rests on it."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.handover import words
from support.handed import DOWN, STEP, plate_job

G = 9.80665
SIZE, STRENGTH = 0.03, 3e4  # of one square pad [m], [Pa]
PULL = STRENGTH * SIZE**2  # of a full bond [N]


def slid(ends, mass=0.3, target=0.9):
    """A pad that goes from place to place on the part, x and depth [mm], and lifts it straight up."""
    places = np.array([(0.0, -20.0), *ends, (ends[-1][0], -100.0)]) * 1e-3
    s = np.arange(1, 51)[:, None] / 50
    law = 10 * s**3 - 15 * s**4 + 6 * s**5
    x, depth = np.vstack([places[:1], *(a + law * (b - a) for a, b in pairwise(places))]).T
    moves = ["press"] * (1 + 50 * len(ends)) + ["lift"] * 50
    job = plate_job(pads=1, size=SIZE, strength=STRENGTH, mass=mass)
    trajectory = gm.PoseTrajectory(
        t=STEP * np.arange(len(x)),
        position=np.column_stack([x, 0 * x, -depth]),
        rotation=np.broadcast_to(DOWN, (len(x), 3, 3)),
        moves=tuple(moves),
    )
    phases = (gm.Phase(kind="preload", moves=("press",)), gm.Phase(kind="carry", moves=("lift",)))
    return replace(job, trajectory=trajectory, phases=phases, nest=None, targets=gm.Targets(preload=target, hold=2.0))


def found(job):
    """Results by their names, and the finding of the preload."""
    report = gm.check_job(job)
    return {check.check: check for check in report.checks}, [f for f in report.findings if f.check == "preload"]


DRAGGED = [(0.0, 0.12), (3.0, 0.12), (3.0, 0.16)]  # full at 0.1 mm; breaks at 0.75 mm sideways; 4 kPa more


def test_what_broke_and_is_pressed_on_again_holds_from_the_rise_to_all():
    results, findings = found(slid(DRAGGED))
    preload = results["preload"]
    assert str(preload.verdict) == "undecided"
    assert (preload.low, preload.high) == pytest.approx((0.4, 1.0), rel=0.01)  # 4 of 10 kPa
    assert words.BOND_AGAIN in findings[0].text
    assert words.STAY_PUT in findings[0].remedy


@pytest.mark.parametrize(
    ("ends", "target", "verdict"),
    [
        (DRAGGED, 0.38, "pass"),
        ([*DRAGGED[:2]], 0.9, "fail"),  # nothing is pressed on again
        ([(0.0, 0.06)], 0.9, "fail"),  # nothing breaks
    ],
)
def test_a_press_is_decided_where_both_ways_agree(ends, target, verdict):
    results, _ = found(slid(ends, mass=0.05, target=target))
    assert str(results["preload"].verdict) == verdict


@pytest.mark.parametrize(("share", "verdict"), [(0.28, "pass"), (0.6, "undecided"), (1.2, "fail")])
def test_the_part_is_lost_only_where_the_strongest_bond_loses_it(share, verdict):
    job = slid(DRAGGED, mass=share * PULL / (2.0 * G), target=0.3)  # of the pull of a full bond, twice
    results, _ = found(job)
    assert [str(results[name].verdict) for name in ("lift_off", "hold")] == [verdict] * 2
