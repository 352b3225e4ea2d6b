"""Moves whose positions alone are known: the law comes back from them, or none does."""

import numpy as np
import pytest

from gripmargin.kernels.shapes import shape_of
from support.steps import Pieces

DIGIT = np.deg2rad(1e-4)
STEP = 0.004
T = np.arange(300) * STEP + 0.0017


def jerky(up, level, cruise, even, down):
    """Share of the way by ramps of acceleration, by hand: the speed is reached by rise / 2 and left by fall / 2."""
    v = 1.0 / ((2 * up + level) / 2 + cruise + (2 * down + even) / 2)
    a, d = v / (up + level), v / (down + even)
    jerks = (0, a / up, 0, -a / up, 0, -d / down, 0, d / down)
    return Pieces(
        [(lasts, j, 0) for lasts, j in zip((0.1, up, level, up, cruise, down, even, down), jerks, strict=True)]
    )


def polynomial(*coefficients):
    """Over 0.9 s from 0.1 s on."""

    def law(t):
        x = np.clip((t - 0.1) / 0.9, 0.0, 1.0)
        p = np.polynomial.Polynomial(coefficients)
        return np.array([p(x), p.deriv()(x) / 0.9, p.deriv(2)(x) / 0.81 * ((x > 0) & (x < 1))])

    return law


LAWS = {
    "trapezoid": Pieces([(0.1, 0, 0), (0.3, 0, 5.0), (0.3, 0, -5.0), (0.2, 0, -7.5), (0.1, 0, 7.5)]),
    "jerk-limited": jerky(0.06, 0.11, 0.2, 0.14, 0.05),
    "polynomial of degree 3": polynomial(0, 0, 3, -2),
    "polynomial of degree 5": polynomial(0, 0, 0, 10, -15, 6),
    "polynomial of degree 7": polynomial(0, 0, 0, 0, 35, -84, 70, -20),
}


def rounded(*channels):
    return np.rint(np.array(channels) / DIGIT) * DIGIT, np.full(len(channels), DIGIT / 2)


@pytest.mark.parametrize("name", LAWS)
def test_a_law_comes_back_from_its_rounded_positions(name):
    """The second joint goes by the first one's times; the third stands still."""
    true = LAWS[name](T)
    found = shape_of(T, *rounded(0.7 * true[0], 0.3 - 0.2 * true[0], 0.1 + 0 * T))
    assert found.names == (name,)
    assert found.way == pytest.approx([0.7 * true[0, -1], -0.2 * true[0, -1], 0.0], abs=DIGIT)
    most = np.abs(true).max(axis=1, keepdims=True)
    for way in (0, 1):
        rates = found.way[way] * found.shares[:, way]
        exact = (0.7, -0.2)[way] * true
        off = np.abs(rates[1:] - exact[1:]) / np.abs((0.7, -0.2)[way] * most[1:])
        assert off.max() < 2e-3  # of 1e6 digits in a second; an acceleration by second differences is off by 5 %
    assert not found.shares[:, 2].any()


def test_joints_that_start_and_stop_on_their_own():
    early, late = (Pieces([(wait, 0, 0), (0.3, 0, 4.0), (0.3, 0, -8.0), (0.1, 0, 4.0)]) for wait in (0.1, 0.3))
    found = shape_of(T, *rounded(early(T)[0], 0.6 * late(T)[0]))
    assert np.allclose(found.way[:, None] * found.shares[2], [early(T)[2], 0.6 * late(T)[2]], atol=5e-3)


def test_no_shape_is_taken_for_another_law():
    """The cycloid's speed is 1 - cos: close to the polynomials, and none of them."""
    x = np.clip((T - 0.1) / 0.9, 0.0, 1.0)
    assert shape_of(T, *rounded(0.5 * (x - np.sin(2 * np.pi * x) / (2 * np.pi)))) is None
    q = LAWS["trapezoid"](T)[0]
    (whole,), error = rounded(q)
    k = 60 + int(np.argmin(np.abs(whole - q)[60:120]))  # where a digit falls on the law
    for digits, known in ((0.5, True), (1.5, False)):  # one is what two values differ by that are rounded alike
        strayed = whole + digits * DIGIT * (np.arange(300) == k)
        assert (shape_of(T, strayed[None], error) is not None) == known


def test_a_move_that_does_not_come_to_rest_has_no_shape():
    q = LAWS["trapezoid"](T)[0]
    assert shape_of(T[:190], *rounded(q[:190])) is None
    assert shape_of(T[60:], *rounded(q[60:])) is None


def test_few_digits_have_room_for_several_laws():
    """Peaks of 6, 5.8 and 7.5 way/T^2 (degrees 3, 5, 7) all stay within a digit of a way of 20."""
    q = LAWS["polynomial of degree 5"](T)[0]
    assert shape_of(T, *rounded(20 * DIGIT * q)) is None
    assert shape_of(T, *rounded(2000 * DIGIT * q)).names == ("polynomial of degree 5",)


def test_few_samples_have_room_for_several_laws():
    t = np.arange(12) * 0.1
    assert shape_of(t, *rounded(LAWS["trapezoid"](t)[0])) is None


@pytest.mark.parametrize(("digits", "known"), [(400, False), (430, True)])
def test_shapes_that_all_fit_are_one_where_their_peaks_differ_by_less_than_a_hundredth(digits, known):
    """A trapezoid, and ramps so short that samples hardly show them: 1.3 and 0.7 % higher (found by trial)."""
    found = shape_of(T, *rounded(digits * DIGIT * LAWS["trapezoid"](T)[0]))
    assert (found is not None) == known
