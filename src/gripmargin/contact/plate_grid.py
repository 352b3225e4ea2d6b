"""The grid over a plate that bends: fine where bending fades, at the pads' edges; and how outlines cut it."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import BudgetError
from gripmargin.kernels.plate import Pieces, Splines

FINE = 0.5  # width of a cell at a pad's edge, or twice that, over the length (D / k)^(1/4) on which bending fades there
WIDER = 0.3  # by which cells grow with the distance from there
FEWEST = 8  # cells across a part at least
CLOSE = 0.2  # of such a cell: lines of the grid that are closer are one
MOST = 12_000  # splines: beyond that a part is too thin and wide to be followed


def cut(form: Splines, shape: BaseGeometry) -> Pieces:
    """Return the cells of a grid as a polygon, or several, cuts them."""
    i, j = (a.ravel() for a in np.indices((form.x.size - 1, form.y.size - 1)))
    cells, boxes = np.stack([i, j], axis=1), shapely.box(form.x[i], form.y[j], form.x[i + 1], form.y[j + 1])
    whole = shapely.covers(shape.buffer(1e-9 * float(np.ptp(form.x))), boxes)
    meets = np.flatnonzero(~whole & shapely.intersects(shape, boxes))
    parts, owner = shapely.get_parts(shapely.intersection(boxes[meets], shape), return_index=True)
    some = shapely.area(parts) > 0.0
    triangles, of = shapely.get_parts(shapely.constrained_delaunay_triangles(parts[some]), return_index=True)
    corners = shapely.get_coordinates(triangles).reshape(-1, 4, 2)[:, :3]
    return form.pieces(cells[whole], corners, cells[meets[owner[some][of]]])


def grid_over(
    outline: BaseGeometry, contacts: Sequence[BaseGeometry], fading: float, places: Sequence[tuple[float, float]] = ()
) -> Splines:
    """A grid over a part that is fine at the edges of its pads, and at places; twice as wide where it has too many."""
    forced = np.reshape(places, (-1, 2))
    bounds = np.array([contact.bounds for contact in contacts])
    along = np.array([contact.area > (1.0 - 1e-6) * shapely.box(*contact.bounds).area for contact in contacts])
    for least in (FINE * fading, 2.0 * FINE * fading):
        lines = []
        for axis in (0, 1):
            low, high = bounds[:, axis], bounds[:, axis + 2]
            ends = outline.bounds[axis], outline.bounds[axis + 2]
            # an edge along the grid is fine at a line, another one wherever it may be
            first, last = np.r_[low[along], high[along], low[~along]], np.r_[low[along], high[along], high[~along]]
            fine = np.stack([np.r_[first, forced[:, axis]], np.r_[last, forced[:, axis]]])
            marks = np.unique(np.concatenate([low, high]))
            marks = marks[(marks > ends[0] + CLOSE * least) & (marks < ends[1] - CLOSE * least)]
            marks = np.r_[ends[0], marks[np.diff(marks, prepend=-np.inf) > CLOSE * least], ends[1]]
            lines.append(_graded(marks, fine, least, (ends[1] - ends[0]) / FEWEST))
        form = Splines(*lines)
        if form.size <= MOST:
            return form
    raise BudgetError(
        "part",
        f"a plate so thin on its pads that {form.size} splines would have to be solved",
        f"at most {MOST}",
        "a thicker part, a softer backing, fewer pads",
    )


def _graded(marks: FloatArray, fine: FloatArray, least: float, most: float) -> FloatArray:
    """Borders of cells from mark to mark that grow from a least width, at places from fine[0] to fine[1], to a most."""
    out = []
    for a, b in pairwise(marks):
        place = np.linspace(a, b, 401)
        away = np.maximum(np.maximum(fine[0, :, None] - place, place - fine[1, :, None]), 0.0).min(axis=0)
        width = np.minimum(least + WIDER * away, most)
        count = np.concatenate([[0.0], np.cumsum(np.diff(place) * (1.0 / width[1:] + 1.0 / width[:-1]) / 2.0)])
        parts = max(1, int(np.ceil(count[-1])))
        out.append(np.interp(np.arange(parts) * count[-1] / parts, count, place))
    return np.append(np.concatenate(out), marks[-1])
