"""Moves that keep their time law, between their samples: steps stay steps."""

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.tuning.joint_program import JointProgram
from gripmargin.tuning.kept import Kept
from gripmargin.workcell.job import JointLimits

UP, EVEN = 0.3013, 0.2  # [s] of a trapezoid whose changes lie between samples


def trapezoid(t, rise=5.0):
    """Up, even, down from 0.1 s on, at rest before and after."""
    x = np.clip(t - 0.1, 0.0, 2 * UP + EVEN)
    before, after = np.minimum(x, UP), np.maximum(x - UP - EVEN, 0.0)
    q = rise * (before**2 / 2 + UP * np.maximum(x - UP, 0.0) - after**2 / 2)
    moving = (t >= 0.1) & (x < 2 * UP + EVEN)
    qdd = rise * np.where(moving & (x < UP), 1.0, np.where(moving & (x >= UP + EVEN), -1.0, 0.0))
    return q[:, None], (rise * (before - after))[:, None], qdd[:, None]


@pytest.fixture
def kept(slide, one_pad, flat_part):
    """Some samples of a program of one slide."""

    def make(t, q, qd, qdd, first, last):
        job = gm.Job(
            name="kept",
            trajectory=gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd),
            robot=slide(),
            gripper=one_pad,
            part=flat_part(0.1),
            joint_limits=JointLimits(speed=[10.0], acceleration=[50.0]),
        )
        case = work_out(job)
        given = case.job.trajectory.own[1]
        return Kept(JointProgram.of(case), int(given[first]), int(given[last]))

    return make


def test_a_trapezoid_comes_back_as_it_is(kept):
    t = np.arange(0.0, 1.2, 0.004)
    found = kept(t, *trapezoid(t), 0, t.size - 1)
    dense = np.arange(0.0, t[-1], 0.00037)
    for exact, own in zip(trapezoid(dense), found.at(dense), strict=True):
        assert np.allclose(own, exact, atol=1e-7)  # a polynomial through the samples is off by 9 m/s^2


def test_a_rest_before_a_step_stays_one(kept):
    """The sample at which the next move begins has its acceleration already."""
    t = np.arange(0.0, 1.2, 0.004)
    found = kept(t, *trapezoid(t), 0, 25)
    for rates in found.at(np.linspace(0.0, 0.1, 401)):
        assert np.abs(rates).max() < 1e-12


def test_smooth_moves_are_followed(kept, smooth):
    given = smooth(step=0.02)
    found = kept(given.t, given.q, given.qd, given.qdd, 0, given.samples - 1)
    exact = smooth(step=0.0013)
    rounding = 1e-9, 1e-6, 1e-3  # of polynomials through samples that were put in close together
    for own, true, size in zip(found.at(exact.t), (exact.q, exact.qd, exact.qdd), rounding, strict=True):
        assert np.allclose(own, true, atol=size)
