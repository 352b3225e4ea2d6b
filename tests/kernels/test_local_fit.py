"""Local polynomials against published weights and noise figures, and what they must do with polynomials."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import savgol_coeffs

from gripmargin.kernels.local_fit import UNUSABLE_GAIN, even_step, local_fit, running_max, step_between

WINDOWS = [(5, 4), (5, 3), (7, 3), (9, 3), (13, 3), (25, 3), (69, 3), (199, 3), (5, 2), (9, 2), (139, 2)]


def uneven_times(seed, n, spread=0.8):
    rng = np.random.default_rng(seed)
    return np.cumsum(rng.uniform(1 - spread, 1 + spread, n)) * 0.004


@pytest.mark.parametrize(("points", "degree"), WINDOWS)
@pytest.mark.parametrize("order", [1, 2])
def test_even_weights_are_those_of_savitzky_and_golay(points, degree, order):
    # reference: scipy.signal.savgol_coeffs (Savitzky & Golay 1964)
    step = 0.004
    n = 3 * points
    t = step * np.arange(n)
    ((weights, gain),) = local_fit(t, np.eye(n), points, degree, (order,), step=step)
    expected = savgol_coeffs(points, degree, deriv=order, delta=step, use="dot")
    middle = n // 2
    window = slice(middle - points // 2, middle + points // 2 + 1)
    np.testing.assert_allclose(weights[window, middle], expected, rtol=0, atol=1e-9 * np.abs(expected).max())
    assert gain[middle] == pytest.approx(np.linalg.norm(expected), rel=1e-9)
    # The two ends: scipy's weights for the first and last place of the window.
    for at, place in ((0, 0), (n - 1, points - 1)):
        expected = savgol_coeffs(points, degree, deriv=order, delta=step, pos=place, use="dot")
        found = weights[:points, at] if at == 0 else weights[-points:, at]
        np.testing.assert_allclose(found, expected, rtol=0, atol=1e-8 * np.abs(expected).max())


@pytest.mark.parametrize(("points", "figure"), [(5, 0.534522), (11, 0.068279)])
def test_noise_of_the_second_derivative_is_the_closed_form(points, figure):
    # Closed form for a quadratic over m points: 2 sqrt(180 / (m (m^2 - 1) (m^2 - 4))), from the norm of P2.
    closed = 2 * np.sqrt(180 / (points * (points**2 - 1) * (points**2 - 4)))
    assert closed == pytest.approx(figure, abs=1e-6)
    t = np.arange(40.0)
    for step in (1.0, None):
        ((_, gain),) = local_fit(t, np.zeros((1, 40)), points, 2, (2,), step=step)
        assert gain[20] == pytest.approx(closed, rel=1e-12)


def test_three_points_make_the_second_difference():
    # sqrt(1 + 4 + 1) / dt^2: noise of 10 urad at 4 ms becomes 1.530931 rad/s^2
    t = 0.004 * np.arange(9)
    ((_, gain),) = local_fit(t, np.zeros((1, 9)), 3, 2, (2,), step=0.004)
    assert gain[4] * 10e-6 == pytest.approx(1.530931, abs=1e-6)


@settings(max_examples=40, derandomize=True, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    window=st.sampled_from(WINDOWS),
    side=st.sampled_from([-1, 0, 1]),
    even=st.booleans(),
)
def test_polynomials_of_the_degree_are_exact_everywhere(seed, window, side, even):
    points, degree = window
    n = points + seed % 90
    t = 0.004 * np.arange(n) if even else uneven_times(seed, n)
    x = (t - t.mean()) / (t[-1] - t[0])
    poly = np.polynomial.Polynomial(np.random.default_rng(seed).normal(size=degree + 1))
    span = t[-1] - t[0]
    step = 0.004 if even else None
    fits = local_fit(t, poly(x)[None], points, degree, (2, 1), step=step, side=side)
    for order, (value, gain) in zip((2, 1), fits, strict=True):
        exact = poly.deriv(order)(x) / span**order
        assert (np.abs(value[0] - exact) <= 1e-13 * gain * np.abs(poly(x)).max() + 1e-9 * np.abs(exact).max()).all()


@pytest.mark.parametrize(("points", "degree"), WINDOWS)
@pytest.mark.parametrize("side", [-1, 0, 1])
def test_gain_is_the_norm_of_the_weights_on_uneven_times(points, degree, side):
    n = 2 * points + 7
    t = uneven_times(points, n)
    # Fitting each unit sample gives its weight in every answer.
    for weights, gain in local_fit(t, np.eye(n), points, degree, (2, 1), step=None, side=side):
        np.testing.assert_allclose(np.linalg.norm(weights, axis=0), gain, rtol=1e-8)


@pytest.mark.parametrize(("points", "degree"), [(5, 4), (9, 3), (25, 3)])
def test_uneven_code_agrees_with_even_code(points, degree):
    t = 0.004 * np.arange(120)
    y = np.random.default_rng(0).normal(size=(3, 120))
    for even, uneven in zip(
        local_fit(t, y, points, degree, (2, 1), step=0.004),
        local_fit(t, y, points, degree, (2, 1), step=None),
        strict=True,
    ):
        np.testing.assert_allclose(uneven[0], even[0], rtol=0, atol=1e-9 * np.abs(even[0]).max())
        np.testing.assert_allclose(uneven[1], even[1], rtol=1e-9)


@pytest.mark.parametrize("side", [-1, 1])
def test_a_side_does_not_see_the_other_side(side):
    t = uneven_times(3, 60)
    y = np.random.default_rng(1).normal(size=(1, 60))
    changed = y.copy()
    middle = 30
    changed[0, middle + 1 :] += 5.0 if side < 0 else 0.0
    changed[0, :middle] += 5.0 if side > 0 else 0.0
    before, after = (local_fit(t, v, 5, 4, (2,), step=None, side=side)[0][0][0, middle] for v in (y, changed))
    assert before == after


def test_stamps_that_all_but_coincide_give_no_answer_and_say_so():
    t = np.array([0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0])
    t[3] = np.nextafter(2.0, 3.0)
    with np.errstate(all="raise"):
        ((value, gain),) = local_fit(t, np.ones((1, 7)) * 1e-3, 5, 4, (2,), step=None)
    assert np.isfinite(value).all()
    assert np.isfinite(gain).all()
    assert gain[3] > 1e12
    assert gain.max() <= UNUSABLE_GAIN


def test_even_step_sees_through_rounding_of_stamps_only():
    t = 0.004 * np.arange(5000)
    assert even_step(t) == pytest.approx(0.004, rel=1e-12)
    assert even_step(t + 1.7e9) == pytest.approx(0.004, rel=2**-22 / 20)  # both ends rounded over 20 s
    assert even_step(np.cumsum(np.full(5000, 0.004))) == pytest.approx(0.004, rel=1e-9)
    late = t + 1.7e9
    late[100] += 6 * np.spacing(1.7e9)  # which rounding of a stamp, half a digit, and of both ends cannot explain
    assert even_step(late) is None
    jittered = t.copy()
    jittered[100] += 1e-6
    assert even_step(jittered) is None
    assert even_step(np.delete(t, 7)) is None


@settings(max_examples=30, derandomize=True, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), reach=st.integers(0, 40))
def test_running_max_is_the_largest_within_reach(seed, reach):
    values = np.random.default_rng(seed).normal(size=(2, 30))
    slow = [[row[max(0, i - reach) : i + reach + 1].max() for i in range(30)] for row in values]
    np.testing.assert_array_equal(running_max(values, reach), slow)


def test_what_is_no_number_is_not_lost_in_a_running_max():
    values = np.array([[1.0, 2.0, np.nan, 0.5, 4.0, 1.0]])
    np.testing.assert_array_equal(running_max(values, 1), [[2.0, np.nan, np.nan, np.nan, 4.0, 4.0]])


def test_a_step_is_told_from_a_slope():
    t = uneven_times(5, 80, spread=0.3)
    line = 3.0 + 7.0 * t
    np.testing.assert_allclose(step_between(t, line[None], 6), 0.0, atol=1e-12)
    even = 0.004 * np.arange(80)
    step = np.where(np.arange(80) >= 40, 2.5, 0.0)
    assert step_between(even, step[None], 6)[0, 40] == pytest.approx(2.5)
