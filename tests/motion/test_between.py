"""Between samples with given rates: what the speeds say beyond the accelerations, and polynomials of degree five."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gripmargin.motion.between import interpolated, unexplained_acceleration
from gripmargin.motion.trajectory import JointTrajectory


@pytest.fixture(scope="module")
def smooth(exact_moves):
    return exact_moves(2, (0.1, 0.6, [0.8, -0.3]), (0.8, 0.4, [-0.5, 0.2]))


def sampled(exact, rate=250.0, *, qd=lambda v: v):
    t = np.arange(0, 1.5, 1 / rate)
    q, speeds, qdd = exact.at(t)
    return JointTrajectory(t=t, q=q, qd=qd(speeds), qdd=qdd)


class TestUnexplained:
    def test_a_constant_acceleration_leaves_none(self):
        t = np.linspace(0, 1, 101)[:, None]
        excess, certain = unexplained_acceleration(JointTrajectory(t=t[:, 0], q=t**2, qd=2 * t, qdd=0 * t + 2))
        np.testing.assert_allclose(excess, 0, atol=1e-12)
        assert excess.shape == (100, 1)
        assert certain.shape == (100,)

    def test_a_jump_of_speed_is_all_of_it(self, smooth):
        def jump(v):
            return v + 0.3 * (np.arange(len(v)) >= 120)[:, None] * [1, 0]

        excess, certain = unexplained_acceleration(sampled(smooth, qd=jump))
        assert excess[119, 0] == pytest.approx(0.3 * 250, rel=0.02)
        assert certain[119]

    def test_rounded_speeds_are_explained(self, smooth):
        excess, certain = unexplained_acceleration(sampled(smooth, 1000, qd=lambda v: v.round(3)))
        assert np.abs(excess).max() < 0.1  # a digit over a step is 1 rad/s2
        assert certain.mean() < 0.01


class TestInterpolated:
    @given(
        coefficients=st.lists(st.floats(-3, 3), min_size=6, max_size=6),
        share=st.floats(0, 1),
        steps=st.lists(st.floats(0.01, 0.3), min_size=3, max_size=3),
    )
    @settings(derandomize=True, deadline=None, max_examples=60)
    def test_is_exact_for_polynomials_of_degree_five(self, coefficients, share, steps):
        curve = np.polynomial.Polynomial(coefficients)
        t = np.concatenate([[0.0], np.cumsum(steps)])
        q, qd, qdd = (curve.deriv(k)(t)[:, None] for k in range(3))
        inside = t[:-1] + share * np.diff(t)
        found = interpolated(JointTrajectory(t=t, q=q, qd=qd, qdd=qdd), share)
        for k, tolerance in enumerate((1e-9, 1e-8, 1e-6)):
            np.testing.assert_allclose(found[k][:, 0], curve.deriv(k)(inside), atol=tolerance)
