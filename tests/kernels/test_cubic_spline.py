"""The cubic spline through samples against scipy's and against polynomials."""

import numpy as np

from gripmargin.kernels.cubic_spline import spline_curvature


def test_it_is_the_spline_of_scipy_away_from_its_ends():
    from scipy.interpolate import CubicSpline

    random = np.random.default_rng(1)
    t = np.cumsum(random.uniform(0.5, 1.5, 60))
    y = np.sin(0.3 * t)[:, None] + random.normal(size=(60, 2)) * 0.01
    due = CubicSpline(t, y).derivative(2)(t)
    np.testing.assert_allclose(spline_curvature(t, y)[15:-15], due[15:-15], rtol=1e-6, atol=1e-7)


def test_a_steady_acceleration_is_exact_up_to_the_ends():
    t = np.array([0.0, 0.1, 0.15, 0.4, 0.5])
    np.testing.assert_allclose(spline_curvature(t, (1 + t - 3 * t**2)[:, None]), -6.0, rtol=1e-11)
