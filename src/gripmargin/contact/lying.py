"""A part that bends, lying on what does not: whether it stays flat there, so that pads meet it as a rigid one.

Over a bed a plate is flat where what pulls at it nowhere exceeds what keeps it down: then ``w = 0`` is its deflection,
and the bed presses back with the rest. Pads that press only add to that.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.affinity import affine_transform

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.activation import PadFace
from gripmargin.contact.cells import Patch
from gripmargin.contact.relative import RelativeMotion
from gripmargin.contact.sheet import contact_of
from gripmargin.contact.simulation import ContactHistory
from gripmargin.workcell import Part

INSIDE = 2.0  # times as far as a part reaches beyond its bed: sqrt(2) times as far its weight there lifts it inside
CLOSE = 1e-6  # [m] by which outlines may miss each other: a job file has a few digits


def lies_flat(
    part: Part, patches: Sequence[Patch], bed: FloatArray, rotation: FloatArray, position: FloatArray
) -> bool:
    """Return whether a plate lies flat on a bed wherever pads touch it.

    A strip that reaches a beyond the edge of what it lies on bends there under its weight q by ``q a^2 / 2``, and is
    lifted off ``sqrt(2) a`` inside: no moment where it lifts, none of either deflection, ``q l^2 / 4 = q a^2 / 2``.
    A component beyond the bed would lift it further; one beneath the plate would stand on the bed.

    Args:
        part: The plate.
        patches: The pads' contacts.
        bed: Outline in the face frame's xy plane [m], shape (k, 2).
        rotation: Tool axes in the face frame, shape (3, 3).
        position: Tool origin there [m], shape (3,).
    """
    if part.outline is None:
        return False
    on_face = [*rotation[:2, :2].ravel(), *position[:2]]
    solid = shapely.Polygon(bed)
    whole = affine_transform(shapely.Polygon(part.outline), on_face)
    pads = affine_transform(shapely.union_all([contact_of(each, part) for each in patches]), on_face)
    if not solid.buffer(CLOSE).covers(pads):
        return False
    for each in part.components:
        there = affine_transform(shapely.MultiPoint(each.outline).convex_hull, on_face)
        if each.at[2] > (part.thickness or 0.0) + CLOSE or not solid.buffer(CLOSE).covers(there):
            return False
    beyond = whole.difference(solid.buffer(CLOSE))
    if beyond.is_empty:
        return True
    overhang = float(shapely.distance(shapely.points(shapely.get_coordinates(beyond)), solid).max())
    return bool(pads.distance(solid.exterior) >= INSIDE * overhang)


def highest_tension(faces: Sequence[PadFace], relative: RelativeMotion, history: ContactHistory) -> FloatArray:
    """Return the highest tension that bonded places of pads may have on a part that is held still [Pa], shape (n,).

    A place that bonded on the face is drawn as far as it has risen above it, and never beyond what it holds.

    Args:
        faces: The pads.
        relative: The tool in the face frame, n samples.
        history: What the pads did over these.
    """
    out = np.zeros(relative.samples)
    for i, face in enumerate(faces):
        risen = relative.height(face.patch.edge).max(axis=1) + float(face.gap.max())
        offset = 0.0 if face.offset is None else max(float(face.offset[:, 2].max()), 0.0)
        drawn = face.patch.pad.material.normal_stiffness * np.maximum(risen, 0.0) + offset
        held = history.held[history.row_of_sample, i]
        bonded = np.maximum(held, np.append(held[:1], held[:-1])) > 0.0
        out = np.maximum(out, np.where(bonded, np.minimum(drawn, face.pull_off_stress), 0.0))
    return out
