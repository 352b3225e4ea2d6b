"""The faces of the pads cut into cells, and what a cell can hold.

A face is cut star-wise from its middle into rings of the outline. A cell counts at its centroid. The corners of the
outline ride along as cells without area: they carry nothing, see the highest pressure and stress, and break together
with the cell beside them.
"""

from dataclasses import dataclass

import numpy as np
import shapely

MANY = 40  # corners from which an outline is a curve, drawn anew with CURVE corners and the same area
CURVE = 24
NOTHING = 1e-9  # Pa, of strength
FINENESS = {1: (10, 32), 2: (7, 24), 3: (6, 20)}  # by number of pads: rings, pieces of the outline
COARSE = (5, 16)  # of more pads


@dataclass(frozen=True)
class Cells:
    """Of all pads, n cells; tool frame, SI.

    Attributes:
        at: Centroids, shape (3, n).
        axes: Pad axes x, y, z in the tool frame at each cell: axis, component, cell, shape (3, 3, n).
        area: 0 for the corners of an outline, shape (n,).
        stiffness: Along the pad's x, y, z per area, shape (3, n).
        tension: Pull-off stress of a clean, fully bonded cell, shape (n,).
        shear: Its shear strength, shape (n,).
        dwell: Least time under pressure before it bonds, shape (n,).
        host: The cell with which each breaks: itself, or the one beside a corner, shape (n,).
        laws: For each material its cells, and pressures and shares of the full strength between which lines run.
        overload: Pressure above which it loses its hold, inf without, and the share it keeps, shape (2, n).
    """

    at: np.ndarray
    axes: np.ndarray
    area: np.ndarray
    stiffness: np.ndarray
    tension: np.ndarray
    shear: np.ndarray
    dwell: np.ndarray
    host: np.ndarray
    laws: tuple
    overload: np.ndarray

    def share(self, peak, had, floor):
        """Share of the full strength by the rise of pressure above a floor, or that a cell had before, shape (n,)."""
        share = np.ones(self.area.size)
        for cells, pressures, shares in self.laws:
            share[cells] = np.interp((peak - floor)[cells], pressures, shares)
        pressed, kept = self.overload
        share = np.maximum(share, had)
        return np.where(peak > pressed, np.minimum(share, kept), share)

    def use(self, stretch, share):
        """Utilisation of bonded cells, shape (n,), from their stretch in pad axes (3, n)."""
        return used(self.stiffness * stretch, self.tension * share, self.shear * share)


def used(stress, tension, shear):
    """Utilisation under stress in pad axes (3, ...): the mixed-mode criterion, in which compression does not count."""
    pull = np.maximum(stress[2], 0.0) / np.maximum(tension, NOTHING)
    return np.sqrt(pull**2 + (stress[0] ** 2 + stress[1] ** 2) / np.maximum(shear, NOTHING) ** 2)


def cut(gripper, part, finer=1):
    """The cells of a gripper's pads where they lie on the part; ``finer`` times as many rings and pieces."""
    rings, pieces = (finer * count for count in FINENESS.get(len(gripper.pads), COARSE))
    found = []
    for pad in gripper.pads:
        found.append((pad, *_face(_on_part(pad, part), rings, pieces)))
    counts = [area.size for *_, area, _ in found]
    materials = [pad.material for pad in gripper.pads]
    fouling = [(1.0 - m.fouling_per_cycle) ** gripper.cycles_since_cleaning for m in materials]

    def spread(values):
        return np.repeat(np.asarray(values, dtype=float).T, counts, axis=-1)

    pull = [min(m.pull_off_stress, np.sqrt(2 * m.normal_stiffness * (m.peel_energy or np.inf))) for m in materials]
    firsts = np.cumsum([0, *counts])
    return Cells(
        at=np.concatenate([_placed(pad, points) for pad, points, _, _ in found], axis=1),
        axes=np.moveaxis(spread([pad.pose_in_tool[:3, :3].T for pad in gripper.pads]), 0, 1),
        area=np.concatenate([area for _, _, area, _ in found]),
        stiffness=spread([[m.shear_stiffness, m.shear_stiffness, m.normal_stiffness] for m in materials]),
        tension=spread(part.surface_factor * np.array(pull) * fouling),
        shear=spread(part.surface_factor * np.array([m.shear_strength for m in materials]) * fouling),
        dwell=spread([m.min_dwell or 0.0 for m in materials]),
        host=np.concatenate([first + host for first, (*_, host) in zip(firsts, found, strict=False)]),
        laws=tuple(
            (slice(first, last), *_law(m)) for m, first, last in zip(materials, firsts, firsts[1:], strict=False)
        ),
        overload=spread(
            [
                (np.inf, 1.0) if m.overload_pressure is None else (m.overload_pressure, m.overload_residual)
                for m in materials
            ]
        ),
    )


def _law(material):
    if material.preload_curve is not None:
        return tuple(material.preload_curve.T)
    if material.full_preload is not None:
        return (0.0, material.full_preload), (0.0, 1.0)
    return (0.0, 1.0), (1.0, 1.0)


def _placed(pad, points):
    flat = np.vstack([points, np.zeros(points.shape[1])])
    return pad.pose_in_tool[:3, :3] @ flat + pad.pose_in_tool[:3, 3:]


def _on_part(pad, part):
    """Outline of the pad's contact in the pad frame: the pad, cut by the part's outline seen along the tool's axis."""
    if part.outline is None:
        return pad.outline
    turn, shift = pad.pose_in_tool[:2, :2], pad.pose_in_tool[:2, 3]
    on_pad = np.linalg.solve(turn, (part.outline - shift).T).T
    common = shapely.Polygon(pad.outline).intersection(shapely.Polygon(on_pad))
    corners = shapely.get_coordinates(shapely.remove_repeated_points(shapely.normalize(common), 1e-9).exterior)[:-1]
    return corners if shapely.Polygon(corners).exterior.is_ccw else corners[::-1]


def _face(outline, rings, pieces):
    """Centroids (2, n), areas (n,) and hosts (n,) of the cells of a face that can be seen whole from its middle."""
    polygon = shapely.Polygon(outline)
    middle = shapely.get_coordinates(polygon.centroid)[0]
    if len(outline) > MANY:
        outline = outline[np.linspace(0, len(outline), CURVE, endpoint=False).astype(int)]
    edges = zip(outline, np.roll(outline, -1, axis=0), strict=True)
    rim = np.vstack([_edge(a, b, pieces, polygon.length) for a, b in edges])
    a, b = rim - middle, np.roll(rim, -1, axis=0) - middle
    triangle = (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]) / 2
    assert (triangle > 0.0).all(), "a face that cannot be seen whole from its middle"
    size = np.sqrt(polygon.area / triangle.sum())  # of a curve, whose corners cut off some area
    radius = np.linspace(0.0, 1.0, rings + 1)
    inner, outer = radius[:-1, None], radius[1:, None]
    area = (outer**2 - inner**2) * triangle * size**2
    reach = (outer**3 - inner**3) / (outer**2 - inner**2) * (size / 3)
    points = middle + (reach[..., None] * (a + b)).reshape(-1, 2)
    beside = np.linalg.norm(points[:, None] - outline, axis=-1).argmin(axis=0)
    return (
        np.vstack([points, outline]).T,
        np.concatenate([area.ravel(), np.zeros(len(outline))]),
        np.concatenate([np.arange(len(points)), beside]),
    )


def _edge(a, b, pieces, whole):
    """Points along an edge from ``a`` up to ``b``."""
    count = max(1, round(pieces * np.linalg.norm(b - a) / whole))
    return a + np.linspace(0.0, 1.0, count, endpoint=False)[:, None] * (b - a)
