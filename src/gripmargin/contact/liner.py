"""A label that is peeled off its liner on the pads: a line of force that crosses it, from edge to edge.

Where the liner is drawn away at an angle, it pulls at the front of the peel with ``F/b = G / (1 - cos angle)`` per
width (Rivlin 1944, Kendall 1971, from memory; G of a standard test of 180 degrees is 2 F/b), away from the pads and,
beyond a right angle, along the way of the front. On the way between two fronts that are looked at the label bears
hardly more: they are closer together than bending fades, and at the pads' corners.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.film import STRETCHED, ball, buckling, drawn, felt, is_steep
from gripmargin.contact.grip import Grip
from gripmargin.contact.sheet import Sheet
from gripmargin.kernels.plate import factored
from gripmargin.kernels.utilisation import peak_utilisation
from gripmargin.workcell import Part

IntArray = NDArray[np.intp]

FRONTS = 160  # across a label at least: between them a parabola rises by less than 2e-4
FINEST = 400  # at most
ROUNDED = 1.0 - 1e-9  # of the largest use, from which another front is used as much
ENDS = 1e-3  # of the way across, which the outermost fronts keep off its ends


@dataclass(frozen=True, eq=False, kw_only=True)
class Peel:
    """How a liner is drawn off.

    Attributes:
        energy: To peel a unit of area [J/m^2].
        angle: Between the liner that is drawn away and the label [rad].
        direction: In which the front runs, about the tool's z axis from x [rad].
    """

    energy: float
    angle: float
    direction: float

    @property
    def along(self) -> FloatArray:
        """The way of the front in the tool's xy plane, shape (2,)."""
        return np.array([np.cos(self.direction), np.sin(self.direction)])

    @property
    def opening(self) -> float:
        """Way of the liner over that of the front, ``1 - cos angle`` [-]."""
        return 2.0 * float(np.sin(self.angle / 2.0)) ** 2

    @property
    def force(self) -> FloatArray:
        """Of the liner on the label, per width of the front, tool axes [N/m], shape (3,)."""
        pull = self.energy / self.opening
        return pull * np.array([*(-np.cos(self.angle) * self.along), np.sin(self.angle)])

    def way(self, part: Part) -> float:
        """Return how far the liner is drawn relative to the label until it is off [m]."""
        return float(np.ptp(_corners(part) @ self.along)) * self.opening


@dataclass(frozen=True, eq=False, kw_only=True)
class Crossing:
    """What the pads bear while a front crosses a label, front by front.

    Attributes:
        place: How far the front has come, from the edge at which it begins [m], shape (k,).
        load: At the tool origin, with the weight, shape (6, k).
        use: Of the pads, by small bending; a label that bends only slightly counts as rigid, shape (k,).
        most: The largest that it may be, shape (k,).
        owner: The pad that is used most, shape (k,).
        spot: Where, tool frame [m], shape (k, 3).
    """

    place: FloatArray
    load: FloatArray
    use: FloatArray
    most: FloatArray
    owner: IntArray
    spot: FloatArray

    @property
    def worst(self) -> int:
        """The first front at which the pads are used most: of a label alike at both ends, the one where it begins."""
        return int(np.argmax(self.most >= ROUNDED * self.most.max()))

    @property
    def known(self) -> bool:
        """Whether the use is known, and not only bounded."""
        return bool((self.most <= self.use).all())


def crossing(grip: Grip, part: Part, peel: Peel, standing: FloatArray) -> Crossing:
    """Follow a front across a label.

    Args:
        grip: The pads.
        part: The label, with an outline.
        peel: How its liner is drawn off.
        standing: Its weight at the tool origin, shape (6,).
    """
    lines = list(_fronts(grip, part, peel))
    load = standing[:, None] + np.stack([_wrench(line, peel.force) for _, line in lines], axis=1)
    place = np.array([at for at, _ in lines])
    if grip.bonded.sheet is None:
        use, point, _, _ = peak_utilisation(grip.face, load)
        return Crossing(place=place, load=load, use=use, most=use, owner=grip.owner[point], spot=grip.points[point])
    use, most, owner, spot = _bent(grip, grip.bonded.sheet, peel, [line for _, line in lines], standing)
    return Crossing(place=place, load=load, use=use, most=most, owner=owner, spot=spot)


def interfaces(grip: Grip, energy: float) -> float:
    """Return the least energy that parts a unit of area of pads and label, over that of label and liner.

    That of a pad is what its backing stores as it lets go, ``S^2 / 2 k``; the weaker interface opens first (Kendall).
    """
    stiff = [patch.pad.material.normal_stiffness for patch in grip.whole.patches]
    return min(pull**2 / 2.0 / k for (pull, _), k in zip(_held(grip), stiff, strict=True)) / energy


def _held(grip: Grip) -> list[tuple[float, float]]:
    """Of each pad the pull-off stress and the shear strength that it has everywhere [Pa]."""
    bonded = grip.bonded
    return [(s * float(own.min()), t * float(own.min())) for (s, t), own in zip(bonded.full, bonded.left, strict=True)]


def _fronts(grip: Grip, part: Part, peel: Peel) -> Iterator[tuple[float, FloatArray]]:
    """Fronts from edge to edge: how far each has come, and its places with the width of each, shape (p, 3) [m]."""
    along, across = peel.along, np.array([-peel.along[1], peel.along[0]])
    outline = shapely.Polygon(_corners(part))
    start, end = float((_corners(part) @ along).min()), float((_corners(part) @ along).max())
    corners = np.concatenate([_corners(part), *(patch.edge[:, :2] for patch in grip.whole.patches)]) @ along
    sheet = grip.bonded.sheet
    finest = (end - start) / FRONTS if sheet is None else sheet.finest
    step = max(min(2.0 * finest, (end - start) / FRONTS), (end - start) / FINEST)
    at = np.concatenate([np.arange(start, end, step), [end], corners])
    low, high = start + ENDS * (end - start), end - ENDS * (end - start)
    side = np.ptp(_corners(part) @ across) + np.abs(_corners(part) @ across).max()
    for s in np.unique(np.clip(at, low, high)):
        line = shapely.LineString([s * along - side * across, s * along + side * across]).intersection(outline)
        places = []
        for piece in shapely.get_parts(line):
            (a, b), parts = np.asarray(piece.coords)[[0, -1]], max(2, int(np.ceil(piece.length / finest)))
            share = (np.arange(parts) + 0.5)[:, None] / parts
            places.append(np.column_stack([a + share * (b - a), np.full(parts, piece.length / parts)]))
        if places:
            yield s - start, np.concatenate(places)


def _wrench(line: FloatArray, force: FloatArray) -> FloatArray:
    """A front's force at the tool origin, shape (6,)."""
    total, middle = line[:, 2].sum(), np.append((line[:, :2] * line[:, 2:]).sum(axis=0) / line[:, 2].sum(), 0.0)
    return np.concatenate([total * force, np.cross(middle, total * force)])


def _bent(
    grip: Grip, sheet: Sheet, peel: Peel, lines: Sequence[FloatArray], standing: FloatArray
) -> tuple[FloatArray, FloatArray, IntArray, FloatArray]:
    """Use, largest use, pad and place of a label that bends, front by front."""
    model, places = sheet.model, [sheet.rim(patch) for patch in grip.whole.patches]
    owner = np.repeat(np.arange(len(places)), [len(at) for at in places])
    across = np.stack([_wrench(line, peel.force * [1.0, 1.0, 0.0]) for line in lines], axis=1)
    uses = []
    for number, rigidity in enumerate(model.rigidities):
        solve, bent = factored(model.stiffness(rigidity)).solve, sheet.bent[number]
        pull = np.zeros((len(model.load), len(lines)))
        for k, line in enumerate(lines):
            pull[:-3, k] = sheet.form.rows(line[:, :2]).T @ (line[:, 2] * peel.force[2])
        moved = solve(pull) + bent @ (across + standing[:, None])
        size = np.sqrt(np.einsum("nk,nk->k", moved, model.stiffness(rigidity) @ moved))
        share, sheared, pushed = ball(steep=is_steep(sheet, sheet.sag(moved)))
        buckled = pushed * np.abs(buckling(model, rigidity) @ across).sum(axis=0)
        small, most = [], []
        for patch, at, (tension, along) in zip(grip.whole.patches, places, _held(grip), strict=True):
            strength = np.array([along, along, tension]) / grip.asked
            t1, t2, s = model.traction(patch, at, moved) / strength[:, None, None]
            small.append(np.sqrt(t1**2 + t2**2 + np.maximum(s, 0.0) ** 2))
            more = patch.stiffness_per_area()[2] / strength[2] * felt(sheet, solve, at)[:, None]
            s = np.maximum(share * (s + more * size), 0.0)
            shear = np.sqrt(t1**2 + t2**2) + sheared * drawn(sheet, patch) / strength[0] * size
            most.append(np.sqrt(shear**2 + s**2) + buckled)
        small_, most_ = np.concatenate(small), np.concatenate(most)
        worst = {int(small_.max(axis=0).argmax()), int(size.argmax())}
        is_stretched = float(model.stretched(moved[None, :, sorted(worst)], [rigidity]).max()) > STRETCHED
        uses.append((small_, most_ if is_stretched else small_))
    use, largest = (np.maximum.reduce([pair[k] for pair in uses]) for k in (0, 1))
    where = largest.argmax(axis=0)
    return use.max(axis=0), largest.max(axis=0), owner[where], np.concatenate(places)[where]


def _corners(part: Part) -> FloatArray:
    return np.zeros((0, 2)) if part.outline is None else part.outline
