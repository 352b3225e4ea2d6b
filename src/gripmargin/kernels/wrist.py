"""What a rigid body at the tool does to the axes of the wrist, over whole arrays.

An axis is told by its Jacobian: what one unit of its rate gives the tool origin (`gripmargin.kernels.jacobian`).
With that, the distance of a point from the axis is the speed that one radian a second gives it, and the moment of
inertia about the axis is twice the kinetic energy at that rate.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from gripmargin.base.arrays import FloatArray


def joined(
    masses: Sequence[float], coms: Sequence[FloatArray], inertias: Sequence[FloatArray]
) -> tuple[float, FloatArray, FloatArray]:
    """Return mass, centre of mass and inertia about it of bodies joined rigidly.

    Parallel axes (Huygens, Steiner; any text on mechanics): ``I = sum(I_i + m_i (|d_i|^2 1 - d_i d_i^T))`` with
    ``d_i`` from the common centre of mass.

    Args:
        masses: [kg].
        coms: Centres of mass in one frame [m], each shape (3,).
        inertias: About them, in the axes of that frame [kg m^2], each shape (3, 3).
    """
    mass = float(sum(masses))
    com = np.asarray(sum(m * c for m, c in zip(masses, coms, strict=True)) / mass)
    whole = np.zeros((3, 3))
    for m, c, inertia in zip(masses, coms, inertias, strict=True):
        whole += inertia + about(m, c - com)
    return mass, com, whole


def about(mass: float, arm: FloatArray) -> FloatArray:
    """Return the inertia of a point mass about a point that lies an arm [m], shape (3,), away, shape (3, 3)."""
    return np.asarray(mass * (float(arm @ arm) * np.eye(3) - np.outer(arm, arm)))


def distances(jacobian: FloatArray, point: FloatArray) -> FloatArray:
    """Return how far a point of the tool is from each axis [m], shape (axes, samples).

    Args:
        jacobian: Of turning axes, shape (axes, 6, samples), tool axes.
        point: In the tool frame [m], shape (3,).
    """
    square = np.zeros((jacobian.shape[0], jacobian.shape[2]))
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        speed = jacobian[:, i] + point[k] * jacobian[:, 3 + j] - point[j] * jacobian[:, 3 + k]
        square += speed * speed
    return np.sqrt(square)


def axis_inertias(jacobian: FloatArray, mass: float, com: FloatArray, inertia: FloatArray) -> FloatArray:
    """Return the moment of inertia of a body about each axis [kg m^2], shape (axes, samples).

    Args:
        jacobian: Of turning axes, shape (axes, 6, samples), tool axes.
        mass: [kg].
        com: Centre of mass in the tool frame [m], shape (3,).
        inertia: About it, tool axes [kg m^2], shape (3, 3).
    """
    turn = jacobian[:, 3:]
    own = ((inertia @ turn) * turn).sum(axis=1)
    return np.asarray(mass * distances(jacobian, com) ** 2 + own)


def reaches(links: FloatArray, revolute: tuple[bool, ...], q: FloatArray, point: FloatArray) -> FloatArray:
    """Return how far a point of the tool can ever be from each joint's origin [m], shape (joints,).

    Args:
        links: Constant transforms, shape (joints + 1, 4, 4).
        revolute: For each joint whether it turns.
        q: Joint positions, shape (samples, joints); only the travels of sliding joints count.
        point: In the tool frame [m], shape (3,).
    """
    slides = np.where(revolute, 0.0, np.abs(q).max(axis=0))
    lengths = np.linalg.norm(links[1:, :3, 3], axis=1)
    lengths[-1] += np.linalg.norm(point)
    return np.asarray(np.cumsum((lengths + slides)[::-1])[::-1])


def travel_between(revolute: tuple[bool, ...], q: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return how far a point of the tool may stray, between two samples, from the way straight from one to the other.

    Seen from a joint, a point at most R away that later joints carry moves on a curve. With a turn ``T`` and a slide
    ``D`` of these joints its second derivative is at most ``R T^2 + 2 T D``, so it leaves the straight line by an
    eighth of that (remainder of linear interpolation, closed form); what the joints' own curve adds is an eighth of
    the second differences. A quadratic form of a direction that turns with them, of eigenvalues at most ``d`` apart,
    leaves its straight line by ``d T^2 / 4`` in the same way.

    Args:
        revolute: For each joint whether it turns.
        q: Joint positions, shape (samples, joints), two samples or more.

    Returns:
        For each joint and sample, over both intervals beside it, each of shape (joints, samples): how far the point
        may stray for each metre of R [-], how far besides [m], and by which multiple of ``d`` the quadratic form may.
    """
    step, turns = np.abs(np.diff(q, axis=0)), np.array(revolute)
    turn = _beside(_of_later(np.where(turns, step, 0.0)))
    slide = _beside(_of_later(np.where(turns, 0.0, step)))
    bent, shifted = bends(revolute, q)
    return turn**2 / 8 + bent, turn * slide / 4 + shifted, turn**2 / 4 + bent


def bends(revolute: tuple[bool, ...], q: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return for each joint by how much the joints after it leave the straight way between samples.

    An eighth of the second differences (remainder of linear interpolation, closed form).

    Args:
        revolute: For each joint whether it turns.
        q: Joint positions, shape (samples, joints), two samples or more.

    Returns:
        Turn [rad] and slide [m] beside each sample, each of shape (joints, samples).
    """
    bend, turns = np.zeros_like(q), np.array(revolute)
    if len(q) > 2:
        bend[1:-1] = np.abs(np.diff(q, n=2, axis=0)) / 8
        bend[0], bend[-1] = bend[1], bend[-2]
    return _of_later(np.where(turns, bend, 0.0)), _of_later(np.where(turns, 0.0, bend))


def _of_later(values: FloatArray) -> FloatArray:
    """For each joint the sum over the joints after it, shape (joints, rows)."""
    summed = np.cumsum(values[:, ::-1], axis=1)[:, ::-1] - values
    return np.asarray(summed.T)


def _beside(intervals: FloatArray) -> FloatArray:
    """The larger of both intervals beside each sample."""
    out = np.zeros((intervals.shape[0], intervals.shape[1] + 1))
    out[:, :-1] = intervals
    out[:, 1:] = np.maximum(out[:, 1:], intervals)
    return out
