"""When a force of the process acts, and what is wrong with one."""

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.workcell.process import timed
from support.pushed import lowered, push

AT = {"at": [0, 0, 0]}
MOVES = {"moves": ("insert",)}


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({**AT, "force": [0, 0, 1]}, "process: found neither moves nor times"),
        ({**AT, "force": [0, 0, 1], "start": 1.0}, "process: found 'from' alone"),
        ({**AT, "force": [0, 0, 1], "start": 1.0, "end": 0.5}, "process: found from 1 s to 0.5 s"),
        ({**AT, **MOVES}, "process: found neither force nor moment nor overtravel"),
        ({**AT, **MOVES, "force": [0, 0, 1], "overtravel": [0, 0, 1e-3]}, "an overtravel beside a force"),
        ({**AT, **MOVES, "force": [0, 0, 1], "stiffness": 1e3}, "a stiffness without an overtravel"),
        ({**MOVES, "force": [0, 0, 1]}, "process.at: found a force without the place"),
        ({**MOVES, "overtravel": [0, 0, 1e-3]}, "process.at: found a force without the place"),
        ({**MOVES, "force": [0, 0, 1], "moment": [0, 0, 1]}, "process.at: found a force without the place"),
        ({**AT, **MOVES, "force": [0, 0, 1], "rise": 0.1}, "process.rise: found a rise of a constant force"),
        ({**AT, **MOVES, "force": [0, 0, 1], "sign": "-"}, "process.sign: found '-'"),
        ({**AT, **MOVES, "force": [0, np.nan, 1]}, "process.force"),
    ],
)
def test_what_is_wrong_with_a_force(given, message):
    with pytest.raises(gm.InputError, match=message):
        gm.Process(**given)


@pytest.mark.parametrize(
    ("forces", "more", "message"),
    [
        ([push(moves=("insrt",))], {}, r"process\[0\]\.moves\[0\]: found 'insrt', expected a label of the program's"),
        ([push(start=1.7, end=1.9)], {}, r"process\[0\]: found from 1.7 s to 1.9 s"),
        ([push(frame="nest")], {}, r"process\[0\]\.frame: found the nest's axes without a nest"),
        ([push()], {"moves": False}, r"process\[0\]\.moves\[0\]: found 'insert', expected times"),
        ([push()] * 5, {}, "process: found 5 forces at a time, expected at most 4"),
    ],
)
def test_what_does_not_fit_the_program(forces, more, message):
    with pytest.raises(gm.InputError, match=message):
        lowered(*forces, **more)


def test_between_samples_it_acts_at_either():
    job = lowered()
    named = np.flatnonzero(push(start=0.801, end=0.805).acting(job.trajectory))
    assert job.trajectory.t[named] == pytest.approx([0.8, 0.808])
    exact = np.flatnonzero(push(start=0.8, end=0.816).acting(job.trajectory))
    assert job.trajectory.t[exact] == pytest.approx([0.8, 0.808, 0.816])


def test_where_moves_meet_far_apart_it_may_act_in_between():
    coarse = lowered(t=np.linspace(0.0, 1.6, 17))  # 100 ms apart: "insert" from 0.8 s to 1.1 s
    assert coarse.trajectory.t[push().acting(coarse.trajectory)] == pytest.approx([0.7, 0.8, 0.9, 1.0, 1.1, 1.2])
    fine = lowered()
    assert fine.trajectory.t[push().acting(fine.trajectory)][[0, -1]] == pytest.approx([0.8, 1.192])


def test_the_times_of_a_force_that_comes_late_in_world_axes():
    job = lowered(nest=gm.Nest(face=np.diag([1.0, -1.0, -1.0, 1.0])))
    (found,) = timed(push((0, 0, 2), frame="nest"), job.trajectory, job.nest, 0.05)
    assert found.span == pytest.approx((0.75, 1.242))
    assert found.frame == "world"
    np.testing.assert_allclose(found.force, [0, 0, -2])


def test_a_ramp_that_may_come_late_comes_as_fast_as_before():
    """By hand: from 0.8 s to 1.192 s, half of that; 0.05 s of lateness at either end do not count."""
    job = lowered(push(shape="ramp"))
    (found,) = timed(job.process[0], job.trajectory, job.nest, 0.05)
    assert (found.shape, found.rise) == ("ramp", pytest.approx(0.196))
