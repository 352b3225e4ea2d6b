"""What circles ask of places in balance, beside all frames of a grid of rotations by scipy."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from gripmargin.tuning.rounds import in_balance, of_round, round_name

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
