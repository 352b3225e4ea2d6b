"""How a preload pressed the pads on: deepest sample, place with the least activation, what it lacks."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.handover import words
from gripmargin.checks.handover.figures import PreloadDetails
from gripmargin.contact.pickup import Pickup
from gripmargin.contact.simulation import PadCells
from gripmargin.results.findings import short_of

ROUNDING = 1e-9  # allowed on a share of full adhesion
PARALLEL = np.deg2rad(0.01)  # tilt below which a tool counts as parallel to the face


@dataclass(frozen=True, eq=False, kw_only=True)
class WeakPlace:
    """The place of a pad with the least activation, at a cell or on the edge.

    Attributes:
        pad: Index of the pad.
        cell: Its cell there, or next to it.
        point: In the tool frame [m], shape (3,).
        share: Activation [-].
        pressure: Peak pressure [Pa].
        edge: Whether it is a corner of the pad.
    """

    pad: int
    cell: int
    point: FloatArray
    share: float
    pressure: float
    edge: bool = False


@dataclass(frozen=True, eq=False, kw_only=True)
class Pressing:
    """How the pads were pressed on, at the deepest sample.

    Attributes:
        pickup: The preload.
        row: Of the deepest sample in it.
        tilt: Between the face normal and the tool's axis [rad].
        azimuth: Direction in which the pads stand off, about the tool's z axis [rad].
        overtravel: Depth of the pads' centre below the face [m].
        weakest: Of all pads.
    """

    pickup: Pickup
    row: int
    tilt: float
    azimuth: float
    overtravel: float
    weakest: WeakPlace

    @property
    def sample(self) -> int:
        """The deepest sample, an index into the program."""
        return int(self.pickup.samples[self.row])

    @property
    def tilted(self) -> bool:
        """Whether the tool was not parallel to the face."""
        return bool(self.tilt > PARALLEL)

    @property
    def cells(self) -> PadCells:
        """Cells of the pad with the weakest place."""
        return self.pickup.pressed.pads[self.weakest.pad]

    def below(self, points: FloatArray) -> FloatArray:
        """Return how deep points in the tool frame [m], shape (p, 3), are below the face [m], shape (p,)."""
        return -self.pickup.relative.between(self.row, self.row).height(points)[0]


def pressing(case: Case, pickup: Pickup) -> Pressing:
    """Return how a preload pressed."""
    history = pickup.history
    height = pickup.relative.height(case.whole.centre[None])[:, 0]
    highest = history.pressure.max(axis=1)
    row = int(history.sample[np.argmax(highest)]) if highest.max() > 0 else int(np.argmin(height))
    normal = -pickup.relative.rotation[row].T[:, 2]  # into the part, tool axes
    return Pressing(
        pickup=pickup,
        row=row,
        tilt=float(np.arctan2(np.hypot(normal[0], normal[1]), normal[2])),
        azimuth=float(np.arctan2(-normal[1], -normal[0])),  # the side that the normal leans away from
        overtravel=-float(height[row]),
        weakest=min(_weak_places(pickup), key=lambda place: place.share),
    )


def least_at_best(pickup: Pickup) -> float:
    """Return the lowest activation [-] if cells that broke and were pressed on again hold fully."""
    best = pickup.at_best or pickup
    return min(place.share for place in _weak_places(best) if not _pressed_again(pickup, place))


def _pressed_again(pickup: Pickup, place: WeakPlace) -> bool:
    """Whether a place on the edge lies beside a cell that broke: its highest pressure does not say what it holds."""
    return place.edge and bool(pickup.pressed.pads[place.pad].breaks[place.cell] > 0)


def _weak_places(pickup: Pickup) -> Iterator[WeakPlace]:
    """The weakest cell and the weakest corner of each pad.

    Cells are judged inside the pad; at the corners of a tilted pad the pressure is lower still.
    """
    for i, (face, cells, held) in enumerate(zip(pickup.faces, pickup.pressed.pads, pickup.activation, strict=True)):
        points, edge = face.patch.points, face.patch.edge
        weakest = int(np.lexsort([~np.isnan(cells.first_touch), held])[0])  # what never touched comes first
        pressure = float(cells.peak_pressure[weakest])
        yield WeakPlace(pad=i, cell=weakest, point=points[weakest], share=float(held[weakest]), pressure=pressure)
        depth = np.max(-pickup.relative.height(edge), axis=0) - float(face.gap.max())
        peak = np.maximum(depth, 0.0) * face.patch.pad.material.normal_stiffness
        share = np.where(peak > 0, face.law(peak), 0.0)
        k = int(np.argmin(share))
        cell = int(np.argmin(np.linalg.norm(points - edge[k], axis=1)))
        place = WeakPlace(pad=i, cell=cell, point=edge[k], share=float(share[k]), pressure=float(peak[k]), edge=True)
        yield place


def details_of(pressed: Pressing, target: float) -> PreloadDetails:
    """Return the figures of a preload.

    Args:
        pressed: How it pressed.
        target: Share of full adhesion wanted.
    """
    pickup, pads = pressed.pickup, pressed.pickup.pressed.pads
    held, areas = np.concatenate(pickup.activation), np.concatenate([face.patch.areas for face in pickup.faces])
    touched = ~np.isnan(np.concatenate([pad.first_touch for pad in pads]))
    return PreloadDetails(
        lowest_activation=pressed.weakest.share,
        mean_activation=float(held @ areas / areas.sum()),
        activated_share=float(areas[~short_of(held + ROUNDING, target)].sum() / areas.sum()),
        touched_share=float(areas[touched].sum() / areas.sum()),
        tilt=pressed.tilt,
        tilt_azimuth=pressed.azimuth,
        overtravel=pressed.overtravel,
        lowest_peak_pressure=min(pressed.weakest.pressure, *(float(pad.peak_pressure.min()) for pad in pads)),
        highest_peak_pressure=float(max(pad.peak_pressure.max() for pad in pads)),
        sideways_slip=float(max(pad.slid.max() for pad in pads)),
        shortest_time_under_pressure=float(min(pad.contact_time.min() for pad in pads)),
    )


def cause_of(pressed: Pressing, details: PreloadDetails) -> str:
    """Say why the weakest place holds too little."""
    cells, cell = pressed.cells, pressed.weakest.cell
    if np.isnan(cells.first_touch[cell]):
        return words.never_touches(pressed.tilt) if pressed.tilted else words.NO_TOUCH
    if cells.overloaded[cell]:
        return words.BUCKLED
    time, dwell = (
        float(cells.contact_time[cell]),
        pressed.pickup.faces[pressed.weakest.pad].patch.pad.material.min_dwell,
    )
    if dwell is not None and time < dwell:
        return words.too_short(time, dwell)
    if pressed.tilted and details.highest_peak_pressure > 1.05 * details.lowest_peak_pressure:
        return words.tilted(pressed.tilt)
    return words.TOO_LIGHT
