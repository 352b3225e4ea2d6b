"""Rigid transforms as 4 x 4 matrices, and rotations from the angles and quaternions people write.

A pose ``pose_of_a_in_b`` maps coordinates in frame a to coordinates in frame b.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from gripmargin.base.arrays import FloatArray, frozen, sealed
from gripmargin.base.errors import InputError

FARTHEST = 1e6  # [m] that the origin of a frame may lie away: no robot reaches so far
ROTATION_TOLERANCE = 1e-6  # largest |R^T R - 1| that is still taken for a rotation


def pose(xyz: ArrayLike = (0.0, 0.0, 0.0), rpy: ArrayLike = (0.0, 0.0, 0.0)) -> FloatArray:
    """Return the pose with a position and roll, pitch, yaw about fixed axes: x first, then y, then z.

    Args:
        xyz: Position [m], shape (3,).
        rpy: Roll, pitch, yaw [rad], shape (3,).

    Returns:
        Homogeneous matrix, shape (4, 4), rotation ``Rz(yaw) Ry(pitch) Rx(roll)``.

    Raises:
        InputError: Wrong shape, or NaN.
    """
    matrix = np.eye(4)
    matrix[:3, :3] = rotation_from_rpy(frozen(rpy, (3,), "rpy"))
    matrix[:3, 3] = frozen(xyz, (3,), "xyz")
    return sealed(matrix)


def as_pose(matrix: ArrayLike, where: str) -> FloatArray:
    """Return a checked, read-only copy of a pose given as a matrix or as an object with one in ``.A`` (SE3).

    Raises:
        InputError: Not a 4 x 4 rigid transform.
    """
    array = frozen(getattr(matrix, "A", matrix), (4, 4), where, most=FARTHEST)
    rotation = array[:3, :3]
    error = float(np.abs(rotation.T @ rotation - np.eye(3)).max())
    if error > ROTATION_TOLERANCE or np.linalg.det(rotation) < 0:
        raise InputError(where, f"a matrix whose 3 x 3 part is no rotation (|R'R - 1| = {error:.2g})", "a rigid pose")
    if not np.array_equal(array[3], [0.0, 0.0, 0.0, 1.0]):
        raise InputError(where, f"a last row of {array[3].tolist()}", "0, 0, 0, 1")
    return array


def rotation_from_rpy(rpy: ArrayLike) -> FloatArray:
    """Return rotations from roll, pitch, yaw about fixed axes: x first, then y, then z.

    Args:
        rpy: Angles [rad], shape (..., 3).

    Returns:
        Rotation matrices, shape (..., 3, 3).
    """
    angles = np.asarray(rpy, dtype=np.float64)
    (cr, cp, cy), (sr, sp, sy) = np.moveaxis(np.cos(angles), -1, 0), np.moveaxis(np.sin(angles), -1, 0)
    rows = [
        [cy * cp, cy * sp * sr - sy * cr, cy * sp * cr + sy * sr],
        [sy * cp, sy * sp * sr + cy * cr, sy * sp * cr - cy * sr],
        [-sp, cp * sr, cp * cr],
    ]
    return np.stack([np.stack(row, axis=-1) for row in rows], axis=-2)


def rotation_from_quaternion(xyzw: ArrayLike) -> FloatArray:
    """Return rotations from unit quaternions, scalar last.

    Args:
        xyzw: Quaternions, shape (..., 4); each is scaled to unit length first.

    Returns:
        Rotation matrices, shape (..., 3, 3).
    """
    q = np.asarray(xyzw, dtype=np.float64)
    x, y, z, w = np.moveaxis(q / np.linalg.norm(q, axis=-1, keepdims=True), -1, 0)
    rows = [
        [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
        [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
        [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
    ]
    return np.stack([np.stack(row, axis=-1) for row in rows], axis=-2)


def skew(vector: ArrayLike) -> FloatArray:
    """Return the matrix of the cross product, ``skew(a) @ b == cross(a, b)``; shape (3, 3)."""
    x, y, z = np.asarray(vector, dtype=np.float64)
    return np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
