"""Outlines of pads, parts and supports."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from gripmargin.base.arrays import FloatArray, frozen, sealed
from gripmargin.base.errors import InputError


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


def centroid(corners: FloatArray) -> FloatArray:
    """Return the centroid of a simple polygon of shape (k, 2) [m], shape (2,)."""
    x, y = corners.T
    nx, ny = np.roll(corners, -1, axis=0).T
    cross = x * ny - nx * y
    return np.array([((x + nx) * cross).sum(), ((y + ny) * cross).sum()]) / (3.0 * cross.sum())
