"""Programs of outside planners, sampled with their rates: truth from the planners' own evaluation in between."""

from functools import cache

import numpy as np
import pytest
import ruckig
import toppra
from toppra import algorithm, constraint

from gripmargin.motion.between import filled, missed_by_samples
from gripmargin.motion.trajectory import JointTrajectory

LIMITS = 2.0, 12.0, 150.0  # of speed, acceleration and jerk [rad/s, ...], each joint alike


@cache
def of_ruckig(seed):
    """A jerk-limited move of four joints from rest to rest, all at the same time: times to rates, duration, jerk."""
    random = np.random.default_rng(seed)
    asked, made = ruckig.InputParameter(4), ruckig.Trajectory(4)
    asked.current_position, asked.target_position = (list(random.uniform(-1, 1, 4)) for _ in range(2))
    asked.max_velocity, asked.max_acceleration, asked.max_jerk = ([size] * 4 for size in LIMITS)
    assert ruckig.Ruckig(4).calculate(asked, made) == ruckig.Result.Working
    return lambda t: [np.array(rows) for rows in zip(*(made.at_time(x) for x in t), strict=True)][:3], made.duration


@cache
def of_toppra(seed):
    """The fastest way along a spline through random points: accelerations change at every grid point."""
    random = np.random.default_rng(seed)
    path = toppra.SplineInterpolator(np.linspace(0, 1, 5), random.uniform(-1, 1, (5, 4)))
    limits = [
        constraint.JointVelocityConstraint(np.tile([-LIMITS[0], LIMITS[0]], (4, 1))),
        constraint.JointAccelerationConstraint(np.tile([-LIMITS[1], LIMITS[1]], (4, 1))),
    ]
    made = algorithm.TOPPRA(limits, path, parametrizer="ParametrizeConstAccel").compute_trajectory()
    return lambda t: [made(t, order) for order in range(3)], made.duration


PLANNERS = {"ruckig": of_ruckig, "toppra": of_toppra}


def both(planner, seed, step):
    """What the samples allow at most and what the planner asks for, for each joint."""
    at, duration = PLANNERS[planner](seed)
    t = np.arange(0.3 * step, duration, step)
    q, qd, qdd = at(t)
    dense = filled(JointTrajectory(t=t, q=q, qd=qd, qdd=qdd))
    most = (np.abs(dense.qdd) + missed_by_samples(dense)).max(axis=0)
    return most, np.abs(at(np.arange(t[0], t[-1], 2e-4))[2]).max(axis=0)


@pytest.mark.parametrize("step", [0.004, 0.01, 0.02])
def test_jerk_limited_moves_are_known_between_their_samples(step):
    for seed in range(5):
        most, true = both("ruckig", seed, step)
        assert (most >= true * (1 - 1e-6)).all()
        assert (most <= true * (1.01 if step < 0.02 else 1.3)).all()


@pytest.mark.parametrize("step", [0.001, 0.004])
def test_fastest_laws_are_not_believed_to_be_slower(step):
    for seed in range(2):
        most, true = both("toppra", seed, step)
        assert (most >= true * (1 - 1e-3)).all()
        assert (most <= true * (1.002 if step < 0.004 else 1.4)).all()
