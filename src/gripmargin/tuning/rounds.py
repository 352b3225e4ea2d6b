"""What circles ask of places: along, inward and the axis are at right angles, so not all of them ask most at once.

A tool that turns with its circle sees all three where they are. With l and m what a place makes of accelerations and
angular accelerations, r the radius, and the same acceleration along and inward, it asks at most

    max r l.u + r l.(n x u) + m.n = sqrt(2 r^2 l^2 + m^2 + 2 sqrt(2) r |l x m|)

over all axes n and ways u across them: the sum of the singular values of ``[r l, r l, m]`` (von Neumann, Tomsk Univ.
Rev. 1:286, 1937, from memory).
"""

from __future__ import annotations

import numpy as np

from gripmargin.base.arrays import FloatArray


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
