"""A force at one place of a part that bends: what it does to the pads beside the same load spread over the part.

A `Sheet` takes every load for one of inertia and weight. A force of the process acts at a place: the plate dents there,
and pads near by feel more of it. The difference is a load in balance with itself, solved once for each such place.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import shapely

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.process import Push
from gripmargin.contact.sheet import Sheet
from gripmargin.kernels.face import squared
from gripmargin.kernels.plate import factored
from gripmargin.workcell import Process

LAG = 0.3  # length of a pad over that on which shear fades, up to which shear is even to 3 %: x coth x


def dented(sheet: Sheet, place: FloatArray, points: Sequence[FloatArray]) -> list[FloatArray]:
    """Return what a unit force along the normal does beside the same load spread over the part.

    Args:
        sheet: The part on its pads.
        place: Where it acts, in the tool's xy plane [m], shape (2,).
        points: Of each pad, tool frame [m], shape (p, 3).

    Returns:
        Of each pad the normal traction for each rigidity that the part may have [Pa/N], shape (rigidities, p).
    """
    bent = _bent(sheet, place)[..., None]
    return [
        np.stack([sheet.model.traction(patch, at, each)[2, :, 0] for each in bent])
        for patch, at in zip(sheet.backing.patches, points, strict=True)
    ]


def stretched(sheet: Sheet, load: FloatArray, forces: Sequence[tuple[Process, float]]) -> float:
    """Return the energy that stretches the part over that which bends it, with forces at their places [-].

    Args:
        sheet: The part on its pads.
        load: At the tool origin, forces included, shape (6,).
        forces: Which act, and the part of each along the normal [N].
    """
    bent = sheet.bent @ load + sum(normal * _bent(sheet, _place(force)) for force, normal in forces)
    return float(sheet.model.stretched(bent[..., None])[0])


def _bent(sheet: Sheet, place: FloatArray) -> FloatArray:
    """Unknowns of the plate for each rigidity, under a unit force at a place less the same spread, shape (k, n)."""
    model, (x, y) = sheet.model, place
    here = -model.load @ np.array([0.0, 0.0, 1.0, y, -x, 0.0])
    here[:-3] += sheet.form.rows(place[None]).toarray()[0]
    return np.stack([factored(model.stiffness(each)).solve(here) for each in model.rigidities])


def unfollowed(sheet: Sheet, pushes: Iterable[Push]) -> Process | None:
    """Return a force that turns a part by more than its lever, drags it along, or acts beside it; None: none does."""
    for push in pushes:
        if _turns(push, sheet) or _drags(push, sheet) or (push.wrench[2].any() and not _on(push.of, sheet)):
            return push.of
    return None


def poked(sheet: Sheet, full: Sequence[tuple[float, float]], pushes: Iterable[Push]) -> float:
    """Return by how much forces of the process may use the pads more than the same loads spread over the part [-].

    Args:
        sheet: The part on its pads.
        full: For each pad its pull-off stress and shear strength [Pa].
        pushes: The forces.
    """
    largest: dict[Process, float] = {}
    for push in pushes:
        largest[push.of] = max(largest.get(push.of, 0.0), float(np.abs(push.wrench[2]).max()))
    points = [sheet.places(patch) for patch in sheet.backing.patches]
    more = [np.zeros(len(at)) for at in points]
    for force, normal in largest.items():
        felt = _dented(sheet, force, points) if normal > 0.0 else []
        more = [own + normal * np.abs(each).max(axis=0) for own, each in zip(more, felt, strict=True)] if felt else more
    return max(float(own.max()) / pull for own, (pull, _) in zip(more, full, strict=True))


def surely(
    sheet: Sheet, full: Sequence[tuple[float, float]], load: FloatArray, forces: Sequence[tuple[Process, float]]
) -> float:
    """Return how far the pads are used at least, under a load at rest with forces that act at their places [-].

    Args:
        sheet: The part on its pads.
        full: For each pad its pull-off stress and shear strength [Pa].
        load: At the tool origin, forces included, shape (6,).
        forces: Which act, and the part of each along the normal [N].
    """
    points = [sheet.places(patch) for patch in sheet.backing.patches]
    each = [_dented(sheet, force, points) for force, _ in forces]
    used = []
    for k, (patch, at, (pull, shear)) in enumerate(zip(sheet.backing.patches, points, full, strict=True)):
        traction = sheet.traction_maps(patch, at) @ load
        for felt, (_, normal) in zip(each, forces, strict=True):
            traction[:, 2] += normal * felt[k]
        held = np.array([shear, shear, pull])[:, None]
        t1, t2, s = np.moveaxis(traction / held, 1, 0)
        used.append(np.sqrt(squared(t1 * t1 + t2 * t2, s)).max(axis=1))
    return float(np.max(used, axis=0).min())


def _dented(sheet: Sheet, force: Process, points: Sequence[FloatArray]) -> list[FloatArray]:
    return dented(sheet, _place(force), points)


def _place(force: Process) -> FloatArray:
    return np.zeros(2) if force.at is None else force.at[:2]


def _on(force: Process, sheet: Sheet) -> bool:
    return force.at is not None and shapely.Polygon(sheet.part.outline).covers(shapely.Point(force.at[:2]))


def _drags(push: Push, sheet: Sheet) -> bool:
    """Whether it pulls along a sheet so limp that the pads' shear is not the same everywhere (shear lag: x coth x)."""
    part, lag = sheet.part, 0.0
    for patch in sheet.backing.patches:
        fading = np.sqrt(part.modulus * (part.thickness or 0.0) / float(patch.stiffness_per_area()[0]))
        lag = max(lag, float(np.ptp(patch.edge, axis=0).max()) / fading)
    return bool(push.wrench[:2].any()) and lag > LAG


def _turns(push: Push, sheet: Sheet) -> bool:
    """Whether it turns the plate about axes along its plane by more than its normal part at its place."""
    half = (sheet.part.thickness or 0.0) / 2.0
    x, y = (0.0, 0.0) if push.of.at is None else push.of.at[:2]
    along, normal, turn = push.wrench[:2], push.wrench[2], push.wrench[3:5]
    own = turn - np.stack([y * normal - half * along[1], -x * normal + half * along[0]])
    least = 1e-9 * (1.0 + np.abs(turn))
    return bool((np.linalg.norm(own, axis=0) > half * np.linalg.norm(along, axis=0) + least.max(axis=0)).any())
