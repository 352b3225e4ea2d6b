"""Arrays with rules of their own: outlines of pads, parts and supports, inertias of bodies, measured curves."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from gripmargin.base.arrays import FloatArray, frozen, sealed
from gripmargin.base.errors import InputError
from gripmargin.base.given import shown

FEWEST_PADS = 3  # that tell how one pad differs from another (no source: two tell a difference, not a scatter)


def polygon(corners: ArrayLike, where: str) -> FloatArray:
    """Return a simple polygon counter-clockwise, read-only, shape (k, 2) [m].

    Raises:
        InputError: Fewer than three corners, no area, or edges that cross.
    """
    import shapely  # noqa: PLC0415 - 0.2 s that only jobs with pads pay

    points = frozen(corners, (None, 2), where)
    if len(points) > 1 and np.array_equal(points[0], points[-1]):
        points = points[:-1]
    if len(points) < 3:
        raise InputError(where, f"{len(points)} corners", "at least 3")
    shape = shapely.Polygon(points)
    if not shape.is_valid:
        raise InputError(where, "edges that cross or touch", "a simple polygon", "list the corners in order around it")
    extent = float(np.ptp(points, axis=0).max())
    if shape.area <= 1e-9 * extent**2:
        raise InputError(where, "corners on one line", "a polygon with an area")
    return sealed(np.array(points if shape.exterior.is_ccw else points[::-1]))


def points(value: ArrayLike, where: str) -> FloatArray:
    """Return points, read-only, shape (k, 3) [m], or raise an InputError where there is none."""
    given = frozen(value, (None, 3), where)
    if len(given) == 0:
        raise InputError(where, "an empty list", "at least one point")
    return given


def is_inside(places: FloatArray, corners: FloatArray) -> bool:
    """Whether places, shape (p, 2), lie within a polygon of shape (k, 2) [m]."""
    import shapely  # noqa: PLC0415 - as above

    room = shapely.Polygon(corners).buffer(1e-9 * float(np.ptp(corners, axis=0).max()))
    return bool(shapely.covers(room, shapely.points(places)).all())


def centroid(corners: FloatArray) -> FloatArray:
    """Return the centroid of a simple polygon of shape (k, 2) [m], shape (2,)."""
    x, y = corners.T
    nx, ny = np.roll(corners, -1, axis=0).T
    cross = x * ny - nx * y
    return np.array([((x + nx) * cross).sum(), ((y + ny) * cross).sum()]) / (3.0 * cross.sum())


def inertia_matrix(value: ArrayLike, where: str) -> FloatArray:
    """Return the inertia of a body about its centre of mass [kg m^2], shape (3, 3), or raise an InputError.

    Args:
        value: Shape (3, 3), or (6,): xx yy zz xy xz yz.
        where: What to call it.

    Raises:
        InputError: An inertia that no body can have.
    """
    try:
        given = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError):
        raise InputError(where, shown(value), "numbers [kg m^2], shape (3, 3) or (6,)") from None
    if given.shape == (6,):
        xx, yy, zz, xy, xz, yz = given
        given = np.array([[xx, xy, xz], [xy, yy, yz], [xz, yz, zz]])
    inertia = frozen(given, (3, 3), where)
    scale = float(np.abs(inertia).max())
    if not np.allclose(inertia, inertia.T, rtol=0, atol=1e-9 * scale):
        raise InputError(where, "a matrix that is not symmetric", "a symmetric one")
    a, b, c = np.linalg.eigvalsh(inertia)
    if a < -1e-9 * scale or scale == 0.0:
        raise InputError(where, f"principal moments {a:.3g}, {b:.3g}, {c:.3g}", "moments above 0")
    if a + b < c * (1 - 1e-6):
        raise InputError(
            where,
            f"principal moments {a:.3g}, {b:.3g}, {c:.3g}: the largest exceeds the sum of the others",
            "moments that a body can have (each at most the sum of the other two)",
            "check the order xx yy zz xy xz yz, the units and the signs",
        )
    return inertia


def curve(values: ArrayLike, where: str) -> FloatArray:
    """Return a measured share (0 to 1) over a pressure [Pa] that rises, rows of both, shape (k, 2).

    Raises:
        InputError: Fewer than two points, pressures that do not rise from 0 or more, shares out of bounds.
    """
    points = frozen(values, (None, 2), where)
    if len(points) < 2:
        raise InputError(where, f"{len(points)} points", "at least 2")
    pressure, share = points.T
    if pressure[0] < 0 or not (np.diff(pressure) > 0).all():
        raise InputError(where, "pressures that do not rise from 0 or more", "pressures in rising order")
    if not ((share >= 0) & (share <= 1)).all():
        raise InputError(where, f"shares from {share.min():g} to {share.max():g}", "shares from 0 to 1")
    return points


def dirty_pulls(rows: ArrayLike, where: str) -> FloatArray:
    """Return pulls of pads that got dirty, read-only: picks since cleaning and pull-off stress [Pa], shape (k, 2).

    Where pads were pulled again and again, the number of the pad stands beside each pull, shape (k, 3).

    Raises:
        InputError: Fewer than four, numbers that are none, or all after the same number of picks; of pads that are told
            apart fewer than three, one of them without a line of its own, or no scatter about these.
    """
    table = frozen(_told_apart(rows, where), (None, None), where)
    if table.shape[1] not in (2, 3):
        raise InputError(where, f"shape {table.shape}", "picks and stress, and the number of the pad if at all")
    if len(table) < 4:
        raise InputError(where, f"{len(table)} pulls", "at least 4: fewer tell no scatter about a line")
    for i, (picks, stress) in enumerate(table[:, :2]):
        if not (picks >= 0.0 and stress > 0.0):
            raise InputError(f"{where}[{i}]", f"{picks:g}, {stress:g}", "picks of 0 or more, and a stress above 0 [Pa]")
    if np.ptp(table[:, 0]) == 0.0:
        raise InputError(where, f"all pulls after {table[0, 0]:g} picks", "pulls of clean pads and of dirty ones")
    if table.shape[1] == 3:
        _check_pads(table, where)
    return table


def _told_apart(rows: ArrayLike, where: str) -> ArrayLike:
    """Rows without a third entry that all of them lack."""
    if not isinstance(rows, (list, tuple)) or not any(isinstance(row, (list, tuple)) and None in row for row in rows):
        return rows
    if any(row[2] is not None for row in rows):
        raise InputError(where, "pulls with the number of their pad, and others without", "the pad of all, or of none")
    return [row[:2] for row in rows]


def _check_pads(table: FloatArray, where: str) -> None:
    """Refuse a record of pads, shape (k, 3), that does not tell how one pad differs from another."""
    pads, counts = np.unique(table[:, 2], return_counts=True)
    if pads.size < FEWEST_PADS:
        remedy = "pull more pads; leave the pads out only where every pull is one of another pad"
        raise InputError(where, f"pulls of {pads.size} pads", f"at least {FEWEST_PADS} pads", remedy)
    for pad in pads:
        picks = table[table[:, 2] == pad, 0]
        if np.ptp(picks) == 0.0:
            found = f"pad {pad:g} pulled only after {picks[0]:g} picks"
            raise InputError(where, found, "each pad pulled when clean and when dirty")
    if counts.max() < 3:
        raise InputError(where, "two pulls a pad", "a third one of one pad at least, for the scatter")
