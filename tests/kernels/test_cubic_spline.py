"""The derivatives of the cubic spline against another spline of scipy, away from its ends, and against polynomials."""

import numpy as np

from gripmargin.kernels.cubic_spline import spline_rates


def test_it_is_the_spline_of_scipy_away_from_its_ends():
    from scipy.interpolate import CubicSpline

    random = np.random.default_rng(1)
    t = np.cumsum(random.uniform(0.5, 1.5, 60))
    y = np.sin(0.3 * t)[:, None] + random.normal(size=(60, 2)) * 0.01
    due = CubicSpline(t, y)
    for order, rates in enumerate(spline_rates(t, y), start=1):
        np.testing.assert_allclose(rates[15:-15], due(t, order)[15:-15], rtol=1e-6, atol=1e-7)


def test_a_steady_acceleration_is_exact_up_to_the_ends():
    t = np.array([0.0, 0.1, 0.15, 0.4, 0.5])
    y = (1 + t - 3 * t**2)[:, None]
    slope, curvature = spline_rates(t, y)
    np.testing.assert_allclose(curvature, -6.0, rtol=1e-11)
    np.testing.assert_allclose(slope[:, 0], 1 - 6 * t, rtol=1e-11)


def test_stamps_since_1970_are_as_good_as_any():
    t = np.arange(0.0, 0.4, 2.0**-8)
    y = np.sin(9 * t)[:, None]
    np.testing.assert_allclose(spline_rates(t + 1.7e9, y), spline_rates(t, y), rtol=1e-9, atol=1e-9)
