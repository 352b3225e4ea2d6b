"""What circles ask of places in balance, beside all frames of a grid of rotations by scipy."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from gripmargin.kernels.impulse import Impulse
from gripmargin.tuning.rounds import by_ramps, in_balance, of_round, round_name

RADIUS = 0.4


@pytest.mark.parametrize("level", [False, True])
def test_along_inward_and_axis_at_right_angles(level):
    """The largest of 200,000 frames is within a per cent of the closed form, and never above it."""
    rng = np.random.default_rng(0)
    asks = rng.normal(size=(6, 6)) * [[1.0, 1.0, 1.0, 0.5, 0.5, 0.5]]
    asks[0, 3:] = 0.3 * asks[0, :3]  # pushed and turned alike: both at once they cannot be
    asks[1, 3:] = np.cross(asks[1, :3], [0.0, 0.0, 0.7])
    if level:
        turn = Rotation.from_rotvec(np.linspace(0.0, 2.0 * np.pi, 5000)[:, None] * [0.0, 0.0, 1.0])
        frames = np.concatenate([turn.as_matrix(), turn.as_matrix() @ np.diag([1.0, -1.0, -1.0])])
    else:
        frames = Rotation.random(200_000, rng).as_matrix()
    along, inward, axis = frames.transpose(2, 1, 0)
    due = (asks[:, :3] @ (RADIUS * (along + inward)) + asks[:, 3:] @ axis).max(axis=1)
    found = in_balance(asks, RADIUS, level)
    assert (due <= found).all()
    assert (found <= 1.01 * due).all()


def test_names():
    assert of_round(round_name(0.1 + 0.2, True)) == (0.1 + 0.2, True)
    assert of_round("any") is None


@pytest.mark.parametrize("alike", [True, False])
def test_level_circles_with_the_swing_that_they_start(alike):
    """Beside all ways of a grid and the swing ``int |c.b| dt`` of each by trapezoids.

    Where all that swings goes one way the bound is that; where it goes round, by Cauchy and Schwarz, it is a tenth of
    the swing above at most (pi / (2 sqrt(2)) = 1.11, in a plane).
    """
    rng = np.random.default_rng(1)
    frequency, damping, ramp = np.array([40.0, 55.0]), np.array([0.05, 0.05]), 0.15
    factors = rng.normal(size=(5, 2, 3))
    if alike:
        factors[:, 1] = 0.4 * factors[:, 0]
    t = np.linspace(0.0, 4.0, 20_001)
    pole = frequency[:, None] * (-damping[:, None] + 1j * np.sqrt(1.0 - damping[:, None] ** 2))
    left = factors.transpose(0, 2, 1) @ (-np.exp(pole * t) * (frequency[:, None] ** 2 / pole) / pole.imag).imag
    begin = left[:, :, :1]
    share = np.minimum.accumulate(np.clip((left * begin).sum(1) / (begin**2).sum(1), 0.0, 1.0), axis=1)
    aside, asked = left - share[:, None] * begin, factors.sum(axis=1)
    turn = np.linspace(0.0, 2.0 * np.pi, 361)
    along, inward = (
        np.stack([f(turn), g(turn), s + 0.0 * turn])
        for f, g, s in ((np.cos, np.sin, 1.0), (lambda x: -np.sin(x), np.cos, 0.0))
    )
    swung = np.array([np.trapezoid(np.abs(along.T @ each), t) for each in aside]) / ramp
    still = np.abs(asked @ along) + np.abs(asked @ inward)
    due = (still + swung).max(axis=1)
    found = by_ramps(asked, Impulse.of(frequency, damping).ways(factors) / ramp**2)
    assert (due <= found).all()
    assert (found <= 1.004 * due + (0.005 if alike else 0.12) * swung.max(axis=1)).all()


def test_level_circles_without_a_swing():
    """The closed form of the balance, and at most 1 / cos(pi / 48) of it, the corners of a polygon of 48 sides."""
    asked = np.random.default_rng(2).normal(size=(300, 3))
    due = in_balance(np.column_stack([asked[:, :2], np.zeros((300, 3)), asked[:, 2]]), 1.0, level=True)
    found = by_ramps(asked, np.zeros((300, 3, 3)))
    assert (due <= found * (1.0 + 1e-12)).all()
    assert (found <= due / np.cos(np.pi / 48.0) * (1.0 + 1e-12)).all()
    assert (found > 1.0015 * due).any()
