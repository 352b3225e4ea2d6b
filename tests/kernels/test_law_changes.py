"""How far the law that is found between two samples may be off where digits are rounded."""

import numpy as np
import pytest

from gripmargin.kernels.law_defects import Samples, hidden_kink
from gripmargin.kernels.time_law import bent, carried, evaluated, law_between
from kernels.test_time_law import one

H, RISE = 0.004, 500.0  # [s] from sample to sample, [m/s^3]


def off(lasts, laws, digit, sign, alike=False):
    """How far the law of the interval from sample 10 on is off at most, and how far it is said to be.

    All speeds are off by a digit, up and down by turns, so that mean accelerations are as much as can be; or alike at
    the ends of that interval, so that its moment is, and its mean is not.
    """
    found, t, *_ = one(lasts, laws, H)
    q, qd, qdd = found.at(t)
    turns = np.arange(t.size) + alike * (np.arange(t.size) > 10)
    qd = qd + 0.99 * digit * sign * (-1.0) ** turns[:, None]
    given = Samples(t, q, qd, qdd, np.array([[0.0], [digit], [0.0]]))
    law, x = law_between(given), np.linspace(0.0, 1.0, 4001)[1:-1]
    assert not law.loose[10, 0]
    true = found.at(t[10] + x * H)[2]
    return np.abs(evaluated(given, law, np.full(x.size, 10), x)[2] - true).max(), law.slack[10, 0]


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize(("share", "least"), [(0.2, 0.45), (0.5, 0.55), (0.69, 0.59)])
def test_a_kink_before_a_level_stretch(share, least, sign):
    """A rise until there, level from there on, and a fall from the next interval on.

    Such a kink is ``2 / (1 - s)`` times as high as the mean is off. Mean m and moment n, of which rounding allows 1,
    put it by least squares where they miss least: up to ``(m + n t) / (1 + t^2)`` of the mean away, t of the slopes of
    both, so 1.207 at ``t = sqrt(2) - 1``, which is s = 0.69 for speeds: 0.604 of what is said.
    """
    top = RISE * (10 + share) * H
    lasts, laws = [(10 + share) * H, (1.3 - share) * H, 15 * H], [[0.0, RISE], [top], [top, -RISE]]
    missed, said = off(lasts, laws, 1e-6, sign)
    assert least * said < missed <= said


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize("between", [80.0, -80.0])
@pytest.mark.parametrize(("share", "wide"), [(0.3, 0.4), (0.45, 0.15)])
def test_two_kinks_are_off_by_more_the_closer_they_are(share, wide, between, sign):
    """By the square of their distance d: a moment that is off by w, and no mean, is a wiggle of ``6 w / d^2``.

    A speed that puts the moment off by as much the other way puts the mean off as well, and asks less.
    """
    first = RISE * (10 + share) * H
    second = first + between * wide * H
    lasts, laws = [(10 + share) * H, wide * H, 15 * H], [[0.0, RISE], [first, between], [second, -RISE]]
    missed, said = off(lasts, laws, 1e-7, sign, alike=True)
    assert missed == pytest.approx(6.0 * 0.99e-7 / H / wide**2, rel=0.05)
    assert 0.95 * said < missed <= said


@pytest.mark.parametrize("ratio", [0.5, 1.0, 2.0])
def test_what_rounding_does_to_a_law_grows_beyond_its_interval(ratio):
    """Cubics through accelerations, mean and moment (numpy's solution of the four equations), at the far end."""
    powers, x = np.arange(4), 1.0 + ratio
    mean, moment = 1.0 / (powers + 1), 1.0 / (powers + 1) - 1.0 / (powers + 2)
    rows = np.stack([0.0**powers, 1.0**powers, mean, moment])
    far = x**powers @ np.linalg.inv(rows)  # by accelerations at both ends, mean, moment
    assert carried(ratio, 1.0) == pytest.approx(abs(1.0 - x) + x)
    # an even defect leaves the moment half of the mean, an odd one is the moment with its sign
    assert bent(ratio, 1.0, 0.0) == pytest.approx(abs(far[2] + far[3] / 2.0))
    assert bent(ratio, 0.0, 1.0) == pytest.approx(abs(far[3]))


def test_four_digits_are_no_turn_and_more_is_one():
    """Accelerations that are off by a digit up and down by turns; a kink in the middle of a steeper zigzag."""
    h, digit, wide = np.full((8, 1), H), np.array([1e-3]), np.full((8, 1), 1.0)
    slope = 2.0 * digit / h * (-1.0) ** np.arange(8)[:, None]
    assert (hidden_kink(h, slope, digit, wide) == 0.0).all()
    turned = hidden_kink(h, 1.5 * slope, digit, wide)[1:-1]  # turns of six digits, of which two are none of rounding
    assert turned == pytest.approx(np.full((6, 1), 1e-3))  # two of them make a triangle of half of one
