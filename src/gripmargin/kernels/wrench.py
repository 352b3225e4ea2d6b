"""The load that a rigid body puts on the gripper (Newton and Euler), over whole arrays."""

from __future__ import annotations

from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray

CAUSES: Final = ("gravity", "linear acceleration", "centripetal", "angular acceleration", "gyroscopic")


def mass_matrix(mass: float, com: FloatArray, inertia: FloatArray) -> FloatArray:
    """Return the inertia of a rigid body against motions of the tool origin (translation, rotation), shape (6, 6).

    Args:
        mass: [kg].
        com: Centre of mass [m], shape (3,).
        inertia: About the centre of mass [kg m^2], shape (3, 3).
    """
    x, y, z = com
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    out = np.empty((6, 6))
    out[:3, :3], out[:3, 3:] = mass * np.eye(3), -mass * cross
    out[3:, :3], out[3:, 3:] = mass * cross, inertia - mass * cross @ cross
    return out


def wrench_by_cause(
    mass: float,
    com: FloatArray,
    inertia: FloatArray,
    gravity: FloatArray,
    acceleration: FloatArray,
    omega: FloatArray,
    alpha: FloatArray,
) -> FloatArray:
    """Return what the body does to the gripper, cause by cause, reduced to the tool origin, in tool axes.

    ``f = m (g - a_C)`` and ``m_O = c x f - (I alpha + omega x I omega)`` with
    ``a_C = a_O + alpha x c + omega x (omega x c)``.

    Args:
        mass: [kg].
        com: Centre of mass [m], shape (3,).
        inertia: About the centre of mass [kg m^2], shape (3, 3).
        gravity: Gravitational acceleration in tool axes [m/s^2], shape (3, samples).
        acceleration: Of the tool origin, without gravity [m/s^2], shape (3, samples).
        omega: Angular velocity [rad/s], shape (3, samples).
        alpha: Angular acceleration [rad/s^2], shape (3, samples).

    Returns:
        For each of `CAUSES` forces [N] then moments [N m], shape (causes, 6, samples); the load is their sum.
    """
    inertial = mass_matrix(mass, com, inertia)
    out = np.zeros((len(CAUSES), 6, acceleration.shape[1]))
    np.matmul(inertial[:, :3], gravity, out=out[0])
    np.matmul(-inertial[:, :3], acceleration, out=out[1])
    np.matmul(inertial[:, :3], cross(cross(omega, com[:, None]), omega), out=out[2])
    np.matmul(-inertial[:, 3:], alpha, out=out[3])
    out[4, 3:] = cross(inertia @ omega, omega)
    return out


def load_wrench(
    mass: float,
    com: FloatArray,
    inertia: FloatArray,
    gravity: FloatArray,
    acceleration: FloatArray,
    omega: FloatArray,
    alpha: FloatArray,
) -> FloatArray:
    """Return what the body does to the gripper, shape (6, samples): the sum of `wrench_by_cause`."""
    return np.asarray(wrench_by_cause(mass, com, inertia, gravity, acceleration, omega, alpha).sum(axis=0))


def cross(a: FloatArray, b: FloatArray) -> FloatArray:
    """Return the cross product along the first axis, of length 3."""
    out = np.empty(a.shape if a.shape == b.shape else np.broadcast_shapes(a.shape, b.shape))
    (a0, a1, a2), (b0, b1, b2) = a, b
    np.subtract(a1 * b2, a2 * b1, out=out[0])
    np.subtract(a2 * b0, a0 * b2, out=out[1])
    np.subtract(a0 * b1, a1 * b0, out=out[2])
    return out
