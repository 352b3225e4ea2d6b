"""The load that a rigid part puts on the gripper (Newton and Euler), over whole arrays."""

from __future__ import annotations

import numpy as np

from gripmargin.base.arrays import FloatArray


def load_wrench(
    mass: float,
    com: FloatArray,
    inertia: FloatArray,
    gravity: FloatArray,
    acceleration: FloatArray,
    omega: FloatArray,
    alpha: FloatArray,
) -> FloatArray:
    """Return what the part does to the gripper, reduced to the tool origin, in tool axes.

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
        Forces [N] then moments [N m], shape (6, samples).
    """
    out = np.empty((6, acceleration.shape[1]))
    force, moment = out[:3], out[3:]
    swirl = _cross_constant(omega, com)
    np.subtract(gravity, acceleration, out=force)
    force -= _cross_constant(alpha, com)
    force -= _cross(omega, swirl)
    force *= mass
    spin = inertia @ omega
    np.negative(_cross_constant(force, com), out=moment)  # c x f = -(f x c)
    moment -= inertia @ alpha
    moment -= _cross(omega, spin)
    return out


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    out = np.empty_like(a)
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        np.multiply(a[j], b[k], out=out[i])
        out[i] -= a[k] * b[j]
    return out


def _cross_constant(a: FloatArray, p: FloatArray) -> FloatArray:
    out = np.empty_like(a)
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        np.multiply(a[j], float(p[k]), out=out[i])
        if p[j]:
            out[i] -= float(p[j]) * a[k]
    return out
