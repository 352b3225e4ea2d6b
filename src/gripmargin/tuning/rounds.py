"""What circles ask of places: along, inward and the axis are at right angles, so not all of them ask most at once.

A tool that turns with its circle sees all three where they are. With l and m what a place makes of accelerations and
angular accelerations, r the radius, and the same acceleration along and inward, it asks at most

    max r l.u + r l.(n x u) + m.n = sqrt(2 r^2 l^2 + m^2 + 2 sqrt(2) r |l x m|)

over all axes n and ways u across them: the sum of the singular values of ``[r l, r l, m]`` (von Neumann, Tomsk Univ.
Rev. 1:286, 1937, from memory).
"""

from __future__ import annotations

from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray

WAYS: Final = 48  # corners
CORNERS: Final = np.stack([f(2.0 * np.pi / WAYS * np.arange(WAYS)) for f in (np.cos, np.sin)], axis=1) / np.cos(
    np.pi / WAYS
)  # of a polygon about all unit vectors of a plane, shape (WAYS, 2)


def round_name(radius: float, level: bool) -> str:
    """Return the name of what circles of one radius ask of places, about any axis or about the tool's z axis."""
    return f"{'level' if level else 'any'} circle of {radius!r}"


def of_round(name: str) -> tuple[float, bool] | None:
    """Return radius and whether it is level; None: it is no circle."""
    kind, found, radius = name.partition(" circle of ")
    return (float(radius), kind == "level") if found else None


def in_balance(moved: FloatArray, radius: float, level: bool) -> FloatArray:
    """Return what circles of an angular acceleration of 1, which is the square of their speed as well, ask of rows.

    Args:
        moved: What accelerations and angular accelerations ask, shape (rows, 6).
        radius: [m].
        level: Whether the axis is z.

    Returns:
        Shape (rows,).
    """
    pushed, turned, both = moved[:, :3], moved[:, 3:], np.sqrt(2.0) * radius
    if level:
        return np.asarray(both * np.hypot(pushed[:, 0], pushed[:, 1]) + np.abs(turned[:, 2]))
    across = np.linalg.norm(np.cross(pushed, turned), axis=1)
    return np.asarray(np.sqrt(((both * pushed) ** 2 + turned**2).sum(axis=1) + 2.0 * both * across))


def by_ramps(asked: FloatArray, *swings: FloatArray) -> FloatArray:
    """Return what level circles ask of rows by ramps, with the swing that their speeding up starts.

    It counts by the way along the circle that a place likes least with what it asks in balance, not by its own worst
    one. What is asked is convex in the way, so the corners of a polygon about all ways are enough; they stand for
    circles that wind to either side, slower and wider ones too.

    Args:
        asked: In balance, of accelerations along x and y times the radius and of an angular acceleration about z, shape
            (rows, 3).
        swings: M of `gripmargin.kernels.impulse.Impulse.ways` of these three over the square of the ramp, shape (rows,
            3, 3) each; they add up.

    Returns:
        For an angular acceleration of 1, which is the square of the speed as well, shape (rows,).
    """
    along, inward = np.column_stack([CORNERS, np.ones(WAYS)]), CORNERS @ [[0.0, 1.0], [-1.0, 0.0]]
    still = np.abs(asked @ along.T) + np.abs(asked[:, :2] @ inward.T)
    swung = sum(np.sqrt(np.einsum("ki,rij,kj->rk", along, each, along)) for each in swings)
    return np.asarray((still + swung).max(axis=1))
