"""Screw motions between poses: the twist that leads from one to the next, and the poses along it.

A twist is written about the origin of the fixed frame, translation first: (v [m], omega [rad]). Along a
screw it is constant, and the work of a wrench about that origin is force . v + moment . omega
(Lynch & Park, Modern Robotics, 2017, ch. 3, from memory).
"""

from __future__ import annotations

import numpy as np

from gripmargin.base.arrays import FloatArray

SMALL_ANGLE = 1e-4  # [rad]; below, the series is exact to the last digit


def twist_between(
    rotation0: FloatArray, position0: FloatArray, rotation1: FloatArray, position1: FloatArray
) -> FloatArray:
    """Return the twists that lead from poses to poses in unit time.

    Args:
        rotation0: Shape (n, 3, 3).
        position0: [m], shape (n, 3).
        rotation1: Shape (n, 3, 3).
        position1: [m], shape (n, 3).

    Returns:
        Shape (n, 6), rotations by less than half a turn.
    """
    from scipy.spatial.transform import Rotation  # noqa: PLC0415 - 0.2 s that only jobs with a face pay

    turn = rotation1 @ rotation0.transpose(0, 2, 1)
    omega = Rotation.from_matrix(turn).as_rotvec()
    move = position1 - np.einsum("nij,nj->ni", turn, position0)
    angle2 = (omega**2).sum(axis=1, keepdims=True)
    angle = np.sqrt(angle2)
    small = angle < SMALL_ANGLE
    safe = np.where(small, 1.0, angle)
    bend = np.where(small, 1.0 / 12.0, (1.0 - 0.5 * safe / np.tan(0.5 * safe)) / safe**2)
    across = np.cross(omega, move)
    v = move - 0.5 * across + bend * np.cross(omega, across)
    return np.concatenate([v, omega], axis=1)


def along(
    rotation: FloatArray, position: FloatArray, twist: FloatArray, share: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the poses that a screw has reached after shares of a twist.

    Args:
        rotation: Where each screw starts, shape (n, 3, 3).
        position: [m], shape (n, 3).
        twist: Shape (n, 6).
        share: Of the whole twist, 1 is its end, shape (n,).

    Returns:
        Rotations, shape (n, 3, 3), and positions [m], shape (n, 3).
    """
    from scipy.spatial.transform import Rotation  # noqa: PLC0415 - 0.2 s that only jobs with a face pay

    v, omega = twist[:, :3] * share[:, None], twist[:, 3:] * share[:, None]
    turn = Rotation.from_rotvec(omega).as_matrix()
    angle2 = (omega**2).sum(axis=1, keepdims=True)
    angle = np.sqrt(angle2)
    small = angle < SMALL_ANGLE
    safe = np.where(small, 1.0, angle)
    first = np.where(small, 0.5 - angle2 / 24.0, 2.0 * np.sin(0.5 * safe) ** 2 / safe**2)
    second = np.where(small, 1.0 / 6.0 - angle2 / 120.0, (safe - np.sin(safe)) / safe**3)
    across = np.cross(omega, v)
    move = v + first * across + second * np.cross(omega, across)
    return turn @ rotation, np.einsum("nij,nj->ni", turn, position) + move
