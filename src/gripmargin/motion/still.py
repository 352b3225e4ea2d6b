"""A program that does nothing: the part hangs level on the pads, for questions that come before there is a path."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from gripmargin.base.arrays import frozen
from gripmargin.motion.trajectory import PoseTrajectory

SOURCE = "no program"


def hanging_still(gravity: ArrayLike = (0.0, 0.0, -1.0)) -> PoseTrajectory:
    """Return a program in which the tool stands still with its z axis along gravity.

    Args:
        gravity: In the world frame, of any size above 0, shape (3,); without any, the z axis points down.

    Raises:
        InputError: Not three finite numbers.
    """
    down = frozen(gravity, (3,), "gravity")
    size = float(np.linalg.norm(down))
    z = down / size if size > 0.0 else np.array([0.0, 0.0, -1.0])
    y = np.cross(z, np.eye(3)[np.argmin(np.abs(z))])
    y /= np.linalg.norm(y)
    still = np.zeros((2, 6))
    return PoseTrajectory(
        t=np.array([0.0, 1.0]),
        position=still[:, :3],
        rotation=np.stack([np.column_stack([np.cross(y, z), y, z])] * 2),
        velocity=still,
        acceleration=still,
        source=SOURCE,
    )
