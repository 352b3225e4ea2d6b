"""What is slowed as one, and how a program is slower there."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.slowing import motion_at, slowed
from support.handed import Handed, plate_job


@pytest.fixture
def case(slide, even_film, flat_part, smooth):
    """Two moves of one slide with rests of 0.2 s around them, rates given."""
    law = smooth(length=0.3, duration=1.0)
    step = float(np.diff(law.t).mean())
    still = round(0.2 / step)
    rows = {}
    for name in ("q", "qd", "qdd"):
        move, rest = getattr(law, name), np.zeros((still, 1))
        end = rest + (move[-1] if name == "q" else 0.0)
        back = (move[-1] - move) if name == "q" else -move
        rows[name] = np.concatenate([rest, move, end, back, rest])
    sizes = (still, law.t.size, still, law.t.size, still)
    labels = sum(((name,) * size for name, size in zip(("a", "out", "b", "back", "c"), sizes, strict=True)), ())
    return work_out(
        gm.Job(
            name="there and back",
            robot=slide(),
            trajectory=gm.JointTrajectory(t=step * np.arange(len(labels)), moves=labels, **rows),
            gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", even_film(), [0.05, 0.05]),)),
            part=flat_part(1.0),
        )
    )


def test_a_move_is_slower_and_the_rest_is_not(case):
    """Half the speed: twice the time, half the speeds, a quarter of the accelerations; the others as they were."""
    sample = case.job.trajectory.moves.index("out") + 30
    slower = slowed(case.job, [(motion_at(case, sample), 0.5)]).trajectory
    before, inside = case.job.trajectory, np.array(case.job.trajectory.moves) == "out"
    took = np.diff(slower.t) / np.diff(before.t)
    assert took[inside[:-1] & inside[1:]] == pytest.approx(2.0)
    assert took[np.array(before.moves[1:]) == "back"] == pytest.approx(1.0)
    assert slower.qd[inside] == pytest.approx(0.5 * before.qd[inside])
    assert slower.qdd[inside] == pytest.approx(0.25 * before.qdd[inside])
    assert slower.qdd[~inside] == pytest.approx(before.qdd[~inside])
    gm.check_job(replace(case.job, trajectory=slower))  # rates that go with the positions


def test_without_labels_a_motion_goes_from_rest_to_rest(case):
    bare = work_out(replace(case.job, trajectory=replace(case.job.trajectory, moves=None)))
    found = motion_at(bare, case.job.trajectory.moves.index("back") + 30)
    assert found.move is None
    assert found.start == pytest.approx(1.4, abs=0.02)
    assert found.end == pytest.approx(2.4, abs=0.02)
    assert found.figures == {"move": None, "from": found.start, "to": found.end}
    assert found.subject == f"the motion from {found.start:.3f} to {found.end:.3f} s"


def test_an_interval_on_a_border_belongs_to_what_moves_there():
    """From poses: the last sample of the lift rests above the tray, the carry leaves it."""
    case = work_out(Handed(plate_job()).made(kind="torsion", travel=0.3))
    first = case.job.trajectory.moves.index("carry")
    carry, off = motion_at(case, first + 5), motion_at(case, first - 5)
    assert carry.intervals[first - 1] != off.intervals[first - 1]
    assert carry.intervals[first : first + 300].all()
    assert not (carry.intervals & off.intervals).any()
