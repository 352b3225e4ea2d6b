"""A force at one place of a part that bends, and what it does there beside the same load spread over the part.

A `Sheet` takes every load for one of inertia and weight: components pull where they are, at their height. A force of
the process acts at its place alone, with its lever about it, and a component at rest feels nothing of one along the
plane. What lies above or below its place, or a little beside the part, hands it on: a force and a couple at the part's
nearest place, as its deflection and its slopes there feel them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache

import numpy as np
import shapely
from shapely.ops import nearest_points

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.process import Push
from gripmargin.contact.sheet import Sheet
from gripmargin.kernels.face import squared
from gripmargin.kernels.plate import factored
from gripmargin.workcell import Process

LAG = 0.3  # length of a pad over that on which shear fades, up to which shear is even to 3 %: x coth x
BESIDE = 0.01  # [m] from the rim up to which what a force acts on is taken to be held at the rim (no source)
KEPT = 32  # places whose answers are kept

Place = tuple[float, float]


def place_of(force: Process, sheet: Sheet) -> Place:
    """Return where a force is handed on to a part: its place, or the nearest one of the part, tool frame [m]."""
    at = shapely.Point(np.zeros(2) if force.at is None else force.at[:2])
    near = nearest_points(shapely.Polygon(sheet.part.outline), at)[0]
    return float(near.x), float(near.y)


def felt(sheet: Sheet, place: Place) -> FloatArray:
    """Return what the plate's unknowns feel of a unit of each load at the tool origin that acts at one place.

    Forces along the plane count at the middle plane, and what the load turns by beyond its lever as a couple.

    Returns:
        Shape (n, 6).
    """
    (x, y), half, at = place, (sheet.part.thickness or 0.0) / 2.0, np.array([place])
    here, to_x, to_y = (sheet.form.rows(at, *order).toarray()[0] for order in ((0, 0), (1, 0), (0, 1)))
    out = np.zeros((here.size + 3, 6))
    out[:-3] = np.stack([half * to_x, half * to_y, here - x * to_x - y * to_y, to_y, -to_x, 0.0 * here], axis=1)
    out[-3:, [0, 1, 5]] = np.eye(3)
    return out


@lru_cache(maxsize=KEPT)
def moved_by(sheet: Sheet, place: Place) -> FloatArray:
    """Return the unknowns of a plate for a unit of each load that acts at a place, shape (rigidities, n, 6)."""
    load, model = felt(sheet, place), sheet.model
    return np.stack([factored(model.stiffness(each)).solve(load) for each in model.rigidities])


def dented(sheet: Sheet, place: Place, points: Sequence[FloatArray]) -> list[FloatArray]:
    """Return what a unit of each load at a place does beside the same load spread over the part.

    Args:
        sheet: The part on its pads.
        place: Where it acts, in the tool's xy plane [m].
        points: Of each pad, tool frame [m], shape (p, 3).

    Returns:
        Of each pad the traction for each rigidity that the part may have [Pa per N or N m],
        shape (rigidities, 3, p, 6).
    """
    bent = moved_by(sheet, place) - sheet.bent
    return [
        np.stack([sheet.model.traction(patch, at, each) for each in bent])
        for patch, at in zip(sheet.backing.patches, points, strict=True)
    ]


def stretched(sheet: Sheet, load: FloatArray, forces: Sequence[tuple[Process, FloatArray]]) -> float:
    """Return the energy that stretches the part over that which bends it, with forces at their places [-].

    Args:
        sheet: The part on its pads.
        load: At the tool origin, forces included, shape (6,).
        forces: Which act, and the load that each is, shape (6,).
    """
    bent = sheet.bent @ load
    for force, wrench in forces:
        bent = bent + (moved_by(sheet, place_of(force, sheet)) - sheet.bent) @ wrench
    return float(sheet.model.stretched(bent[..., None])[0])


def unfollowed(sheet: Sheet, pushes: Iterable[Push]) -> str:
    """Return what is not followed of forces on a part that bends, and what would decide it; empty: all is."""
    for push in pushes:
        name = f"force '{push.of.name}' of the process"
        if push.of.at is None:
            return f"{name} turns a part that bends, and where is not known: give its process.at"
        if _drags(push, sheet):
            return (
                f"{name} pulls along a part that bends and is so limp that its pads do not share that evenly: smaller "
                "pads, or a part that is stiffer along its plane, would help"
            )
        away = shapely.Polygon(sheet.part.outline).distance(shapely.Point(push.of.at[:2]))
        if away > BESIDE:
            return (
                f"{name} acts {1e3 * away:.0f} mm beside a part that bends, and where the part takes it is not known: "
                f"give the place of the part that it acts on as its process.at (up to {1e3 * BESIDE:g} mm beside the "
                "rim count), with process.moment for what its lever adds"
            )
    return ""


def poked(sheet: Sheet, held: Sequence[tuple[float, float]], pushes: Iterable[Push]) -> list[tuple[float, float]]:
    """Return by how much forces at their places may use each pad more than the same loads spread over the part [-].

    Args:
        sheet: The part on its pads.
        held: For each pad its pull-off stress and shear strength [Pa].
        pushes: The forces.

    Returns:
        Of each pad by the whole traction, and by what is normal to it, pressed or pulled.
    """
    points = [sheet.places(patch) for patch in sheet.backing.patches]
    whole, normal = ([np.zeros(len(at)) for at in points] for _ in range(2))
    for own, push in _largest(sheet, pushes, points):
        for k, (pull, shear) in enumerate(held):
            t1, t2, s = np.abs(np.moveaxis(own[k] @ push, 1, 0)) / np.array([shear, shear, pull])[:, None, None, None]
            whole[k] += np.sqrt(squared(t1 * t1 + t2 * t2, s)).max(axis=(0, 2))
            normal[k] += s.max(axis=(0, 2))
    return [(float(own.max()), float(other.max())) for own, other in zip(whole, normal, strict=True)]


def _largest(
    sheet: Sheet, pushes: Iterable[Push], points: Sequence[FloatArray]
) -> Iterator[tuple[list[FloatArray], FloatArray]]:
    """What each force dents, and the loads that it may be, each once; one that acts again and again counts once."""
    own: dict[Process, list[FloatArray]] = {}
    for push in pushes:
        own.setdefault(push.of, []).append(push.wrench)
    for force, wrenches in own.items():
        yield dented(sheet, place_of(force, sheet), points), np.unique(np.hstack(wrenches), axis=1)


def _drags(push: Push, sheet: Sheet) -> bool:
    """Whether it pulls along a sheet so limp that the pads' shear is not the same everywhere (shear lag: x coth x)."""
    part, lag = sheet.part, 0.0
    for patch in sheet.backing.patches:
        fading = np.sqrt(part.modulus * (part.thickness or 0.0) / float(patch.stiffness_per_area()[0]))
        lag = max(lag, float(np.ptp(patch.edge, axis=0).max()) / fading)
    return bool(push.wrench[:2].any()) and lag > LAG
