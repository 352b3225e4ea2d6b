"""What forces of the process, noise and gaps between samples add to the use of the pads, and what is told of it."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import norm

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.hold import explain
from gripmargin.checks.hold.check import HOLD
from gripmargin.checks.hold.use import COVERAGE, above_between, most_of, pad_use, rate_errors
from support.pushed import AREA, PULL, lowered, push

WEIGHT, HELD = 0.2 * 9.80665, PULL * AREA


def test_a_force_adds_to_the_weight():
    """N/A at rest, of the whole traction and of tension alone."""
    for use in pad_use(work_out(lowered(push((0, 0, 20)), move=0.0))):
        assert use.value[[50, 120]] * HELD == pytest.approx([WEIGHT, WEIGHT + 20.0], rel=2e-3)
    for use in pad_use(work_out(lowered(push((0, 0, -20)), move=0.0))):
        assert use.value[[50, 120]] * HELD == pytest.approx([WEIGHT, WEIGHT], rel=2e-3)  # it may come a little later


def test_tension_may_be_largest_by_other_forces_than_the_whole_traction():
    """One drags and presses, another pulls a little, and either may come without the other."""
    drags, pulls = push((30, 0, -10), name="drag"), push((0, 0, 3), name="pull")
    whole, tension = pad_use(work_out(lowered(drags, pulls, move=0.0)))
    assert tension.value[120] * HELD == pytest.approx(WEIGHT + 3.0, rel=2e-3)
    assert whole.value[120] * HELD > 30.0


def test_noise_explains_no_failure_anywhere_in_the_program(gantry, one_pad, worked_out):
    """The least use is a quantile of the normal distribution (scipy) below, for as many samples; the most two sigma."""
    t, random = np.arange(0, 1.0, 0.004), np.random.default_rng(1)
    q = np.column_stack([0.1 * np.sin(3.0 * t) + 1e-5 * random.normal(size=t.size), np.zeros((t.size, 3))])
    part = gm.Part(face="plane", rigid=True, mass=1.0, com=np.zeros(3), inertia=[1e-6, 1e-6, 1e-6, 0, 0, 0])
    case = worked_out(trajectory=gm.JointTrajectory(t=t, q=q), robot=gantry, gripper=one_pad, part=part)
    use, _ = pad_use(case)
    noise, bias = rate_errors(case, case.grip.face, use.samples)
    surely = norm.isf(0.025 / use.samples.size)
    alone = replace(case.motion, error=replace(case.motion.error, bias=0.0 * case.motion.error.bias))
    np.testing.assert_allclose(rate_errors(replace(case, motion=alone), case.grip.face, use.samples)[0], noise)
    known = np.isfinite(use.high) & (use.low > 0.0)
    assert known.mean() > 0.5
    np.testing.assert_allclose((use.value - use.low)[known], (surely * noise + bias)[known])
    np.testing.assert_allclose((use.high - use.value)[known], (COVERAGE * noise + bias)[known])


def test_the_top_of_a_parabola_between_samples_that_follow_each_other():
    """1 - x^2 at -3/2, -1/2, 1/2 and 3/2 is 3/4 at most, and 1 between the middle two."""
    x = np.array([-1.5, -0.5, 0.5, 1.5])
    motion = SimpleNamespace(given=True, error=None)
    case = SimpleNamespace(job=SimpleNamespace(trajectory=SimpleNamespace(t=x)), motion=motion)
    assert above_between(case, np.arange(4), 1 - x**2) == pytest.approx([0.0, 0.25, 0.25, 0.0])
    assert most_of(case, None, np.arange(4), 1 - x**2) == pytest.approx([-1.25, 1.0, 1.0, -1.25])
    case.job.trajectory.t = np.array([-1.5, -0.5, 0.0, 0.5, 1.5])  # one between them that is not of the carry
    assert above_between(case, np.array([0, 1, 3, 4]), 1 - x**2) == pytest.approx(np.zeros(4))


def test_what_is_told_is_told_of_the_worst_sample():
    """Down within 0.8 s the part is 1.09 times as heavy at most, less at others; then a small force acts."""
    case = work_out(lowered(push((0, 0, 0.1)), targets=gm.Targets(hold=0.99 * HELD / (0.9 * WEIGHT), swing=0.1)))
    answer = HOLD.answer(case)
    details = next(each for each in answer.results if each.check == "hold").details
    margin, peel = (answer.series[name] for name in ("hold_margin", "peel_index"))
    assert details.limit == explain.shared_margin(case, int(np.nanargmin(margin)))
    assert details.peel.peel_index == np.nanmax(peel)
    assert np.isfinite(answer.series["peel_azimuth"][case.carried]).all()  # all of it is pulled
    down, insert, _ = answer.findings
    assert down.share < insert.share
    assert down.worst.limit is not None  # the shared margin is worked out where it is worst
    assert insert.worst.limit is None
    assert HOLD.answer(replace(case, trial=True)).findings == ()
