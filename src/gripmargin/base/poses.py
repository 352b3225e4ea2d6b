"""Rigid transforms as 4 x 4 matrices, and rotations from the angles and quaternions people write.

A pose ``pose_of_a_in_b`` maps coordinates in frame a to coordinates in frame b.
"""

from __future__ import annotations

from difflib import get_close_matches
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from gripmargin.base.arrays import FloatArray, frozen, sealed
from gripmargin.base.errors import InputError
from gripmargin.base.given import shown

FARTHEST = 1e6  # [m] that the origin of a frame may lie away: no robot reaches so far
ROTATION_TOLERANCE = 1e-6  # largest |R^T R - 1| that is still taken for a rotation
QUATERNION_TOLERANCE = 1e-2  # rounding to three decimals gives 1e-3; a wrong column gives far more
QUATERNIONS: Final = ("quaternion xyzw", "quaternion wxyz")
_ORDERS: Final = tuple(a + b + c for a, b, c in product("XYZ", repeat=3) if b not in (a, c))
# How three angles or four numbers turn: the name says it whole. Intrinsic: about the axes as they have turned, in that
# order; extrinsic: about axes that stay. Angles of a rotation vector are its components, axis times angle.
CONVENTIONS: Final = (
    "rotation vector",
    "rpy",
    *QUATERNIONS,
    *(f"intrinsic {order}" for order in _ORDERS),
    *(f"extrinsic {order.lower()}" for order in _ORDERS),
)
RPY: Final = "extrinsic xyz"


def pose(xyz: ArrayLike = (0.0, 0.0, 0.0), rpy: ArrayLike = (0.0, 0.0, 0.0), *, convention: str = RPY) -> FloatArray:
    """Return the pose with a position and an orientation, by default roll, pitch, yaw about fixed axes.

    Args:
        xyz: Position [m], shape (3,).
        rpy: Roll, pitch, yaw [rad], shape (3,): rotation ``Rz(yaw) Ry(pitch) Rx(roll)``. With a convention what that
            asks for: three angles [rad], shape (3,), or a unit quaternion, shape (4,).
        convention: One of `gripmargin.base.poses.CONVENTIONS`, such as "rotation vector", "intrinsic ZYX",
            "extrinsic xyz" or "quaternion wxyz".

    Returns:
        Homogeneous matrix, shape (4, 4).

    Raises:
        InputError: Wrong shape, NaN, a convention that is not known, a quaternion further than 0.01 from unit length.
    """
    matrix = np.eye(4)
    values = frozen(rpy, (components(convention),), "rpy")
    if convention in QUATERNIONS and not abs(np.linalg.norm(values) - 1.0) <= QUATERNION_TOLERANCE:
        raise InputError("rpy", f"a quaternion of length {np.linalg.norm(values):.4g}", "unit length")
    matrix[:3, :3] = rotations(values, convention)
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


def components(convention: str) -> int:
    """Return of how many numbers an orientation consists: 3 angles, or the 4 numbers of a quaternion.

    Raises:
        InputError: The convention is not known.
    """
    if not isinstance(convention, str) or convention not in CONVENTIONS:
        folded = {name.lower(): name for name in CONVENTIONS}
        near = get_close_matches(str(convention)[:60].lower(), folded, n=1)
        due = "such as 'rotation vector', 'intrinsic ZYX', 'extrinsic xyz' or 'quaternion wxyz'"
        raise InputError("convention", shown(convention), due, f"did you mean '{folded[near[0]]}'?" if near else "")
    return 4 if convention in QUATERNIONS else 3


def rotations(values: ArrayLike, convention: str) -> FloatArray:
    """Return rotations from what a convention writes them as.

    Args:
        values: Angles [rad] in the order of the axes, shape (..., 3), or quaternions, shape (..., 4), each of which is
            scaled to unit length first.
        convention: One of `CONVENTIONS`.

    Returns:
        Rotation matrices, shape (..., 3, 3).
    """
    given = np.asarray(values, dtype=np.float64)
    if convention in ("rpy", RPY):
        return rotation_from_rpy(given)
    if convention in QUATERNIONS:
        return rotation_from_quaternion(given if convention == QUATERNIONS[0] else np.roll(given, -1, axis=-1))
    from scipy.spatial.transform import Rotation  # noqa: PLC0415 - takes 0.1 s to import

    rows = given.reshape(-1, 3).copy()  # which may be read-only, and scipy refuses that
    order = convention.rpartition(" ")[2]
    made = Rotation.from_rotvec(rows) if order == "vector" else Rotation.from_euler(order, rows)
    return np.asarray(made.as_matrix()).reshape(*given.shape[:-1], 3, 3)


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
