"""What a curve may exceed its chords by, against curves with known tops."""

import numpy as np
import pytest

from gripmargin.kernels.chord import above, sag


@pytest.mark.parametrize("phase", [0.1, 0.5, 0.8])
def test_the_top_of_a_sine_is_reached_and_hardly_exceeded(phase):
    t = (np.arange(12) + phase) * 0.05
    y = np.sin(6.0 * t)
    top = (np.maximum(y[:-1], y[1:]) + above(t, y)).max()
    assert 1.0 - 2e-4 <= top < 1.002  # the second difference is 0.75 % below the curvature at this spacing


def test_a_parabola_sags_by_an_eighth_of_its_second_difference():
    t = np.array([0.0, 0.1, 0.3, 0.35, 0.6])
    np.testing.assert_allclose(sag(t, 3.0 * t**2), 0.75 * np.diff(t) ** 2)
    assert (sag(t, 3.0 * t**2, upward=True) == 0.0).all()


def test_kinks_at_samples_add_nothing():
    """Straight lines that meet at samples, with a sample at least on either side of each kink."""
    t = np.linspace(0.0, 1.0, 21)
    y = np.interp(t, [0.0, 0.25, 0.5, 1.0], [0.0, 1.0, 0.2, 2.0])
    np.testing.assert_allclose(sag(t, y), 0.0, atol=1e-12)
    np.testing.assert_allclose(above(t, y), 0.0, atol=1e-12)


def test_nothing_is_carried_over_a_step():
    """A trapezoid of points 2e-8 s apart: a parabola through three of its samples would rise without limit."""
    t = np.array([0.0, 0.02 - 1e-8, 0.02 + 1e-8, 0.04 - 1e-8, 0.04 + 1e-8, 0.06])
    y = np.array([1.0, 1.0, 5.0, 5.0, 1.0, 1.0])
    assert (above(t, y) == 0.0).all()


def test_two_samples_alone_say_nothing():
    assert above(np.array([0.0, 1.0]), np.array([1.0, 2.0])).tolist() == [0.0]
