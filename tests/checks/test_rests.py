"""Where a program rests."""

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.rests import stretches


def test_a_wait_lasts_as_long_as_speeds_are_all_but_none(slide, one_pad, flat_part):
    """Between two moves the slide creeps, slower to the middle: from and up to 0.08 mm/s it waits."""
    t = np.arange(0.0, 2.0001, 0.004)
    knots = np.array([0.0, 0.1, 0.5, 0.9, 1.0, 1.1, 1.5, 1.9, 2.0])
    speeds = np.array([0.0, 0.0, 0.4, 0.8e-4, 0.0, 0.8e-4, 0.4, 0.0, 0.0])
    qd = np.interp(t, knots, speeds)
    q = np.concatenate([[0.0], np.cumsum((qd[1:] + qd[:-1]) / 2.0 * 0.004)])
    qdd = np.append(np.diff(speeds) / np.diff(knots), 0.0)[np.searchsorted(knots, t + 1e-9, side="right") - 1]
    job = gm.Job(
        name="wait",
        trajectory=gm.JointTrajectory(t=t, q=q[:, None], qd=qd[:, None], qdd=qdd[:, None]),
        robot=slide(),
        gripper=one_pad,
        part=flat_part(0.1),
    )
    case = work_out(job)
    cuts = {float(case.job.trajectory.t[each.first]) for each in stretches(case, by_label=False)}
    for end in (0.9, 1.1):
        assert min(abs(cut - end) for cut in cuts) == pytest.approx(0.0, abs=0.0041)
