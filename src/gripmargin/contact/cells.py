"""Cut each pad with the part's outline and into quadrature cells."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from gripmargin.base.arrays import FloatArray, Value, sealed
from gripmargin.base.errors import InputError
from gripmargin.workcell import Pad, Part

CELLS_ACROSS = 12  # grid cells along the longer side of a pad
STEEPEST = np.cos(np.deg2rad(80.0))  # of a pad's normal against the tool's z; beyond it no outline can cut


@dataclass(frozen=True, eq=False, kw_only=True)
class Patch(Value):
    """The part of one pad that lies on the part.

    Attributes:
        pad: The pad.
        points: Quadrature points in the tool frame [m], shape (m, 3); with `areas` they integrate products of
            two linear functions exactly.
        areas: [m^2], shape (m,).
        edge: Corners of the convex hull of the contact in the tool frame [m], shape (v, 3).
        share: Area in contact over the area of the pad [-].
    """

    pad: Pad
    points: FloatArray
    areas: FloatArray
    edge: FloatArray
    share: float

    def __post_init__(self) -> None:
        for array in (self.points, self.areas, self.edge):
            sealed(array)

    @property
    def rotation(self) -> FloatArray:
        """Pad axes in the tool frame as columns, shape (3, 3)."""
        return self.pad.pose_in_tool[:3, :3]

    @property
    def area(self) -> float:
        """Area in contact [m^2]."""
        return float(self.areas.sum())

    @property
    def centre(self) -> FloatArray:
        """Centroid of the contact in the tool frame [m], shape (3,)."""
        return self.areas @ self.points / self.area

    @property
    def corners(self) -> FloatArray:
        """Corners of the triangles that the quadrature points stand for, three a triangle, shape (m, 3).

        The three points of a triangle are mixtures of its corners (see `quadrature`); this undoes the mixing.
        """
        unmix = 2.0 * np.eye(3) - 1.0 / 3.0
        return np.einsum("ij,tjc->tic", unmix, self.points.reshape(-1, 3, 3)).reshape(-1, 3)

    def only(self, wanted: NDArray[np.bool_]) -> Patch:
        """Return the patch reduced to some of its cells, one or more of them.

        Args:
            wanted: Shape (m,).
        """
        areas = self.areas[wanted]
        share = self.share * float(areas.sum()) / self.area
        return Patch(pad=self.pad, points=self.points[wanted], areas=areas, edge=self.edge, share=share)

    def stiffness_per_area(self) -> FloatArray:
        """Backing stiffness along the pad axes [Pa/m], shape (3,)."""
        material = self.pad.material
        return np.array([material.shear_stiffness, material.shear_stiffness, material.normal_stiffness])


def nearest_cells(patch: Patch, points: FloatArray) -> NDArray[np.intp]:
    """Return the quadrature point of a patch that is nearest to each of some points [m], shape (p, 3), as indices."""
    from scipy.spatial import KDTree  # noqa: PLC0415 - 0.1 s that few jobs pay

    return np.asarray(KDTree(patch.points).query(points)[1], dtype=np.intp)


def cut_pads(pads: tuple[Pad, ...], part: Part) -> tuple[Patch, ...]:
    """Return the contact patch of every pad.

    The part's outline is a view along the tool's z axis: a pad point is in contact when its x and y in the
    tool frame lie inside. A pad that stands nearly upright to that view is not cut.

    Raises:
        InputError: A pad that misses the part.
    """
    return tuple(_cut(pad, part) for pad in pads)


def _cut(pad: Pad, part: Part) -> Patch:
    face, edge = shapely.Polygon(pad.outline), shapely.Polygon(pad.edge)
    whole = face.area
    if part.outline is not None and is_cut_by_outline(pad):
        seen = shapely.Polygon(_outline_in_pad(pad, part.outline))
        face, edge = face.intersection(seen), edge.intersection(seen)
    share = face.area / whole
    if share < 1e-6:  # rounding, at a pad that only touches the outline
        at = pad.pose_in_tool[:2, 3] * 1e3
        raise InputError(
            f"pad '{pad.name}'",
            f"no overlap with the part (pad at x {at[0]:.1f}, y {at[1]:.1f} mm in the tool frame)",
            "a pad that touches the part's outline",
            "check the pad's place, the outline and part.at",
        )
    points, areas = quadrature(face)
    hull = np.asarray(edge.convex_hull.exterior.coords)[:-1]
    return Patch(pad=pad, points=_to_tool(pad, points), areas=areas, edge=_to_tool(pad, hull), share=min(share, 1.0))


def is_cut_by_outline(pad: Pad) -> bool:
    """Whether the part's outline says anything about a pad: not where the pad stands upright to it."""
    return bool(abs(pad.pose_in_tool[2, 2]) > STEEPEST)


def _outline_in_pad(pad: Pad, outline: FloatArray) -> FloatArray:
    """The outline, seen along the tool's z axis, in pad coordinates."""
    linear, origin = pad.pose_in_tool[:2, :2], pad.pose_in_tool[:2, 3]
    return np.linalg.solve(linear, (outline - origin).T).T


def _to_tool(pad: Pad, points: FloatArray) -> FloatArray:
    return np.asarray(points @ pad.pose_in_tool[:3, :2].T + pad.pose_in_tool[:3, 3])


@lru_cache(maxsize=32)  # changes on trial mostly have the same pads
def quadrature(face: BaseGeometry, across: int = CELLS_ACROSS) -> tuple[FloatArray, FloatArray]:
    """Return points and areas that integrate quadratics over a polygon exactly.

    The polygon is cut by a grid into cells, each cell into triangles, each triangle into three points
    (Strang & Fix 1973: interior rule of degree 2).

    Args:
        face: Polygon or multipolygon [m].
        across: Grid cells along the longer side.

    Returns:
        Points, shape (m, 2), and areas, shape (m,).
    """
    x0, y0, x1, y1 = face.bounds
    step = max(x1 - x0, y1 - y0) / across
    xs = np.linspace(x0, x1, max(1, round((x1 - x0) / step)) + 1)
    ys = np.linspace(y0, y1, max(1, round((y1 - y0) / step)) + 1)
    sides = [a.ravel() for a in (*np.meshgrid(xs[:-1], ys[:-1]), *np.meshgrid(xs[1:], ys[1:]))]
    shapely.prepare(face)
    pieces = shapely.box(*sides, ccw=False)  # as the intersection turns them, so that diagonals run alike
    cut = ~shapely.contains_properly(face, pieces)
    pieces[cut] = shapely.intersection(shapely.box(*(side[cut] for side in sides)), face)
    pieces = pieces[shapely.area(pieces) > 0]
    triangles = shapely.get_parts(shapely.constrained_delaunay_triangles(pieces))
    corners = shapely.get_coordinates(triangles).reshape(-1, 4, 2)[:, :3]
    a, b = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    area = np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]) / 2
    weights = np.full((3, 3), 1.0 / 6.0) + np.eye(3) / 2.0
    points = np.einsum("ij,tjc->tic", weights, corners).reshape(-1, 2)
    return sealed(points), sealed(np.repeat(area / 3.0, 3))
