"""Pads laid out flat and cut into the squares that are drawn."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass

import numpy as np
import shapely

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.cells import CELLS_ACROSS
from gripmargin.results.scene import PadState, Scene

TILE = 190.0  # of one map, a square
RIM = 17.0
MOST_PADS = 12  # drawn; the table has them all
ALIKE = 0.5  # cosine between pads and tool z axis from which on all are seen along it


@dataclass(frozen=True, eq=False)
class Cell:
    """A square of the grid on a pad, or what the outline leaves of it.

    Attributes:
        shape: Its outline in the tile, as a path.
        centre: Tool frame [m], shape (3,).
        bond: Share of the full strength that it holds [-].
        counted: Whether margins count on it.
    """

    shape: str
    centre: FloatArray
    bond: float
    counted: bool


@dataclass(frozen=True, eq=False)
class Tile:
    """One pad laid out flat.

    Attributes:
        pad: The pad.
        cells: Its cells.
        corners: Corners of the edge that margins are judged at, in the tile, shape (v, 2).
        outline: Edge of the whole contact, in the tile, as a path.
    """

    pad: PadState
    cells: tuple[Cell, ...]
    corners: FloatArray
    outline: str


def shown(scene: Scene, load: FloatArray) -> dict[int, PadState]:
    """Return the pads that are drawn, by their index: the ones that a load, shape (6,), uses most."""

    def most(pad: PadState) -> float:
        use = pad.utilisation(scene.tractions(pad, pad.edge, load), pad.edge_bond) if len(pad.edge) else np.zeros(0)
        return float(np.nan_to_num(use).max(initial=0.0))

    by_use = sorted(range(len(scene.pads)), key=lambda i: -most(scene.pads[i]))
    return {i: scene.pads[i] for i in sorted(by_use[:MOST_PADS])}


def _coarseness(pads: int) -> int:
    """Grid squares that are drawn as one, along each side."""
    return 1 if pads <= 4 else 2


def seen_along_z(scene: Scene) -> bool:
    """Return whether all pads are seen along the tool's z axis; else each is seen in its own frame."""
    return all(pad.patch.rotation[2, 2] > ALIKE for pad in scene.pads)


def _flat(pad: PadState, points: FloatArray, along_z: bool) -> FloatArray:
    """Points in the plane of the drawing about the middle of the contact [m], y up, shape (p, 2)."""
    away = points - pad.patch.centre
    return away[:, :2] if along_z else (away @ pad.patch.rotation)[:, :2]


def tile_of(pad: PadState, drawn: Collection[PadState], *, along_z: bool) -> Tile:
    """Return a pad laid out flat, at the same scale as the others that are drawn."""
    reach = max(float(np.abs(_flat(p, p.patch.edge, along_z)).max()) for p in drawn)
    factor = (TILE / 2 - RIM) / reach

    def place(points: FloatArray) -> FloatArray:
        return TILE / 2 + factor * _flat(pad, points, along_z) * np.array([1.0, -1.0])

    return Tile(
        pad=pad,
        cells=tuple(_cells(pad, place, _coarseness(len(drawn)))),
        corners=place(pad.edge) if len(pad.edge) else np.zeros((0, 2)),
        outline=outline_path(place(pad.patch.edge)),
    )


def _cells(pad: PadState, place: Callable[[FloatArray], FloatArray], coarse: int) -> list[Cell]:
    patch = pad.patch
    corners = patch.corners
    in_pad = ((corners - patch.pad.pose_in_tool[:3, 3]) @ patch.rotation)[:, :2]
    low, high = in_pad.min(axis=0), in_pad.max(axis=0)
    step = float((high - low).max()) / CELLS_ACROSS
    count = np.maximum(1, np.rint((high - low) / step)).astype(int)  # as the cells were cut
    middle = in_pad.reshape(-1, 3, 2).mean(axis=1)
    index = np.clip(((middle - low) / (high - low) * count).astype(int), 0, count - 1) // coarse
    squares = index[:, 0] * 1000 + index[:, 1]
    triangles = shapely.polygons(place(corners).reshape(-1, 3, 2))
    areas, bond = patch.areas.reshape(-1, 3), pad.bond.reshape(-1, 3)
    centres = patch.points.reshape(-1, 3, 3).mean(axis=1)
    kept = pad.counted.reshape(-1, 3)[:, 0]  # all three of a triangle count, or none
    size = areas.sum(axis=1)
    cells = []
    for square in np.unique(squares):
        own = np.flatnonzero(squares == square)
        union = shapely.union_all(triangles[own], grid_size=1e-3)
        shape = "".join(
            outline_path(np.asarray(part.exterior.coords)[:-1])
            for part in getattr(union, "geoms", [union])
            if part.geom_type == "Polygon"
        )
        weight = size[own] / size[own].sum()
        cells.append(
            Cell(
                shape=shape,
                centre=weight @ centres[own],
                bond=float((areas[own] * bond[own]).sum() / areas[own].sum()),
                counted=bool(np.mean(kept[own]) > 0.5),
            )
        )
    return cells


def outline_path(points: FloatArray) -> str:
    """Return a closed path through points, shape (k, 2)."""
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points.tolist()) + "Z"
