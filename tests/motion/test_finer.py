"""Samples of motions fitted to a program, at other times and to other digits."""

import numpy as np
import pytest

from gripmargin.motion.finer import DEGREES, last_digits, sampled_again
from gripmargin.motion.trajectory import JointTrajectory


def parabola(t):
    return 1.031 * t**2 + 0.217 * t


def slide(digit=0.0, noise=0.0):
    """A steady acceleration, samples every 20 ms."""
    t = np.arange(100) * 0.02
    x = parabola(t) + noise * np.random.default_rng(1).normal(size=t.size)
    return JointTrajectory(
        t=t, q=(np.rint(x / digit) * digit if digit else x)[:, None], moves=("a",) * 50 + ("b",) * 50
    )


@pytest.mark.parametrize("degree", DEGREES)
def test_a_parabola_is_sampled_where_it_was_not(degree):
    """Splines of two degrees or more have it as one piece; its samples to 1e-5 m lie half of that off at most."""
    found = sampled_again(slide(1e-5), degree, step=0.004)
    assert found.t == pytest.approx(np.arange(496) * 0.004)
    assert np.abs(found.q[:, 0] - parabola(found.t)).max() <= 1.0e-5
    assert np.abs(found.q / 1e-5 - np.rint(found.q / 1e-5)).max() < 1e-6
    assert found.moves == ("a",) * 250 + ("b",) * 246


def test_digits_and_noise_are_as_they_were_but_for_a_part():
    rounded, noisy = sampled_again(slide(1e-3), 3, part=0.1), sampled_again(slide(noise=1e-4), 3, part=0.1)
    assert last_digits(rounded)[0] == pytest.approx([1e-4])
    assert last_digits(slide(noise=1e-4))[1] == pytest.approx([1e-4], rel=0.3)
    assert last_digits(noisy)[1] == pytest.approx([1e-5], rel=0.3)
    assert rounded.t == pytest.approx(slide().t)


def test_what_may_be_motion_is_no_noise():
    """A step of speed within a sample, over and over: its corners stay."""
    t = np.arange(200) * 0.02
    x = np.abs((t + 0.003) % 0.6 - 0.3)
    corners = JointTrajectory(t=t, q=x[:, None])
    assert sampled_again(corners, 3).q[:, 0] == pytest.approx(x, abs=1e-6)
