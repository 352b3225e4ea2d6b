"""Programs exported without the samples of a wait, against the same with all of them."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.motion.trajectory import Timing
from gripmargin.motion.waits import waited

STEP = 0.004
REST = slice(130, 230)  # samples of the wait that are missing; the program rests from the 125th to the 250th


def program():
    """A way of 0.4 m in 0.5 s, half a second of rest, and back; of minimum jerk."""
    t = STEP * np.arange(400)
    s = [np.clip((t - start) / 0.5, 0.0, 1.0) for start in (0.0, 1.0)]
    x = 0.4 * sum(sign * (10 * s**3 - 15 * s**4 + 6 * s**5) for sign, s in zip((1, -1), s, strict=True))
    place = np.column_stack([np.round(x, 9), 0.0 * x, 0.3 + 0.0 * x])
    down = np.tile(np.diag([1.0, -1.0, -1.0]), (t.size, 1, 1))
    return gm.PoseTrajectory(t=t, position=place, rotation=down, moves=("go",) * 240 + ("back",) * 160)


def cut(trajectory, missing=REST):
    return trajectory.taken(np.delete(np.arange(trajectory.samples), missing))


def same(one, other):
    assert one.t == pytest.approx(other.t, abs=1e-12)
    assert one.moves == other.moves
    assert all(np.array_equal(getattr(one, name), getattr(other, name)) for name in one.PLACES)


def test_a_wait_is_as_if_it_had_been_exported():
    for whole in (
        program(),
        program().taken(np.arange(0, 400)),
        gm.JointTrajectory(t=program().t, q=program().position),
    ):
        given = cut(whole)
        full = waited(given)
        same(full, whole)
        same(full.own[0], given)
        assert "No samples: 0.516 to 0.920 s." in full.notes[-1]


def test_three_steps_of_rest_on_either_side_show_one():
    """The slope of a spline through positions is 1/26 after them: m0 + 4 m1 + m2 = 0, and 2 m3 = -m2 at a wide hole."""
    whole = program()
    for first in range(120, 130):
        given = cut(whole, slice(first, 230))
        last = given.position[first - 4 : first]
        assert (waited(given) is not given) == bool((last == last[0]).all())
    t, place = STEP * np.arange(20), np.r_[-0.003 * np.arange(16, 0, -1), np.zeros(4)]
    slopes = CubicSpline(np.r_[t, t[-1] + 10.0], np.r_[place, 0.0], bc_type="clamped")(t, 1)
    assert abs(slopes[19] / slopes[16]) == pytest.approx(1 / 26, rel=1e-3)


def test_what_is_no_wait_of_a_program_stays_as_it_is():
    """Places that differ, speeds, stamps that scatter, what a controller was read for, samples far apart."""
    given = cut(program())
    away = given.position.copy()
    away[130:] += [1e-9, 0.0, 0.0]
    scatter = np.random.default_rng(1).normal(0.0, 5e-5, given.samples)
    joints = gm.JointTrajectory(t=given.t, q=given.position, qd=0.01 + 0.0 * given.position)
    others = (
        replace(given, position=away),
        replace(given, t=given.t + scatter),
        replace(given, timing=Timing()),
        replace(given, t=4.0 * given.t),
        joints,
        replace(joints, qd=0.0 * joints.q, qdd=0.0 * joints.q),
        program(),
    )
    for some in others:
        assert waited(some) is some


@pytest.mark.parametrize("wait", [0.1, 0.1022, 7.0])
def test_waits_that_are_no_whole_steps_and_stamps_in_microseconds(wait):
    """960 samples a second: whole microseconds between them differ by one."""
    t = np.round(np.arange(200) / 960.0, 6)
    t[100:] += wait
    given = gm.JointTrajectory(t=t, q=np.where(np.arange(200) % 90 == 0, 0.001, 0.0)[:, None])
    steps = np.diff(waited(given).t)
    assert (np.abs(steps - 1 / 960) < 0.51 / 960).all()
    assert (np.abs(steps - 1 / 960) > 2e-6).sum() <= 1


def test_loads_are_those_of_the_whole_program(one_pad, plate):
    whole = gm.Job(name="wait", trajectory=program(), gripper=one_pad, part=plate(0.5))
    case, due = (work_out(replace(whole, trajectory=t)) for t in (cut(whole.trajectory), whole.trajectory))
    assert case.own_load == pytest.approx(due.own_load, abs=1e-9)
    assert case.motion.error.bias == pytest.approx(due.motion.error.bias, abs=1e-9)
