"""Where a motion comes down to a tray or a nest, and where it passes beside it: whatever its phases are called."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray, Value
from gripmargin.contact.activation import PadFace
from gripmargin.contact.relative import RelativeMotion
from gripmargin.workcell import Part

SEATED = 0.02  # share of the displacement that breaks a full bond
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Seating(Value):
    """Where in a motion a carried part reaches its place.

    Attributes:
        sample: First sample at which the pads' centre is down on the face plane, or as low as it gets.
        height: Of the pads' centre above the face plane there [m].
        seated: Whether it reaches the plane.
        tilt: Angle between the pads and the face plane there [rad].
        flat: Whether no place of the pads is then so far above the plane that its bond is torn already.
    """

    sample: int
    height: float
    seated: bool
    tilt: float
    flat: bool


def seating(
    faces: Sequence[PadFace],
    motion: RelativeMotion,
    declared: BoolArray | None = None,
    part: Part | None = None,
    weight: float = 0.0,
) -> Seating:
    """Return where a carried part is set down.

    Its place is where it is down in the samples in which it is said to be let go: of several such places the one
    nearest to the origin of the face frame. It is set down when it first comes down there, or is dragged there from
    where it came down, in whatever sample that is. What passes below the plane elsewhere does not count.

    Args:
        faces: The pads, bonded to the part as gripped.
        motion: Of the tool relative to the face of the part in its place.
        declared: The samples in which the part is said to be let go, shape (n,); None: all.
        part: With its outline: what comes down within it touches the place.
        weight: By which the part hangs below pads that do not quite come down [N].
    """
    declared = np.ones(motion.samples, dtype=bool) if declared is None else declared
    centre = centre_of(faces)
    height = motion.height(centre[None])[:, 0]
    slack = SEATED * break_displacement(faces)
    if not (height[declared] <= slack).any():
        slack = max(slack, weight / sum(face.patch.area * face.patch.pad.material.normal_stiffness for face in faces))
    down = height <= slack
    lowest = float(height[declared].min())
    low = down if (down & declared).any() else declared & (height <= lowest + slack)
    place = (motion.rotation @ centre + motion.position)[:, :2]
    away = np.linalg.norm(place - place[_nearest(low, declared, place)], axis=1)
    came = np.flatnonzero(down & (away <= max(_extents(faces, part))))
    if came.size:
        first = int(came[0])
        sample = first - int(np.argmin(np.append(down[: first + 1][::-1], False))) + 1
    else:
        sample = int(np.argmax(low))
    there = motion.between(sample, sample)
    highest = max(float(there.height(face.patch.edge).max()) / face.break_displacement for face in faces)
    normal = np.stack([face.patch.area * face.patch.rotation[:, 2] for face in faces]).sum(axis=0)
    sine = float(np.hypot(*(there.rotation[0] @ normal)[:2]) / max(float(np.linalg.norm(normal)), 1e-300))
    return Seating(
        sample=sample,
        height=float(height[sample]),
        seated=bool(down[sample]),
        tilt=float(np.arcsin(min(sine, 1.0))),
        flat=highest < 1.0,
    )


def _nearest(low: BoolArray, declared: BoolArray, place: FloatArray) -> int:
    """The sample nearest to the origin of the face frame among those that are low and declared."""
    those = np.flatnonzero(low & declared)
    return int(those[np.argmin(np.linalg.norm(place[those], axis=1))])


def from_touch_down(faces: Sequence[PadFace], motion: RelativeMotion, sample: int) -> tuple[RelativeMotion, int]:
    """Return the motion from where a part comes down, and the sample that its first pose counts for.

    That pose lies between two samples where the pads' centre passes the plane there.

    Args:
        faces: The pads.
        motion: Relative to the face.
        sample: The first at which the part is down.
    """
    rest = motion.between(sample, motion.samples - 1)
    if sample == 0:
        return rest, sample
    before = motion.between(sample - 1, sample)
    above, below = (float(h) for h in before.height(centre_of(faces)[None])[:, 0])
    share = above / (above - below) if below < 0 < above else 1.0
    if share >= 1.0 - 1e-9:
        return rest, sample
    return before.at(share).followed_by(rest), sample - 1


def over(faces: Sequence[PadFace], part: Part, motion: RelativeMotion, sample: int) -> BoolArray:
    """Return in which samples some of the pads can be over a part that they are on at one sample, shape (n,).

    Args:
        faces: The pads.
        part: With its outline; without one it is taken to end with the pads.
        motion: Relative to the face.
        sample: At which the pads are where they grip the part.
    """
    place = (motion.rotation @ centre_of(faces) + motion.position)[:, :2]
    reach = max(face.reach for face in faces)
    away = np.linalg.norm(place - place[sample], axis=1)
    found = away <= sum(_extents(faces, part)) + 4.0 * reach
    if part.outline is not None and (beside := np.flatnonzero(found & (away > reach))).size:
        edge = np.concatenate([face.patch.edge for face in faces])
        level = np.column_stack([part.outline, np.full(len(part.outline), centre_of(faces)[2])])
        lies = shapely.Polygon((level @ motion.rotation[sample].T + motion.position[sample])[:, :2]).buffer(reach)
        seen = edge @ motion.rotation[beside, :2].transpose(0, 2, 1) + motion.position[beside, None, :2]
        found[beside] = shapely.intersects(shapely.convex_hull(shapely.multipoints(seen)), lies)
    return np.asarray(found)


def _extents(faces: Sequence[PadFace], part: Part | None) -> tuple[float, float]:
    """How far the pads and the part reach from the pads' centre [m]; a part without an outline ends with the pads."""
    centre = centre_of(faces)
    pads = max(float(np.linalg.norm(face.patch.edge - centre, axis=1).max()) for face in faces)
    if part is None or part.outline is None:
        return pads, pads
    return pads, float(np.linalg.norm(part.outline - centre[:2], axis=1).max())


def within_reach(faces: Sequence[PadFace], motion: RelativeMotion) -> BoolArray:
    """Return in which samples some pad is so near to the face that it may touch it or hold on to it, shape (n,)."""
    lowest = np.min([motion.height(face.patch.edge).min(axis=1) for face in faces], axis=0)
    return np.asarray(lowest < max(face.reach for face in faces))


def taken_up(faces: Sequence[PadFace], motion: RelativeMotion, beside: BoolArray) -> RelativeMotion:
    """Return a motion whose samples beside the part are out of reach of its face: there is nothing to touch there.

    Args:
        faces: The pads.
        motion: Relative to the face.
        beside: Shape (n,).
    """
    lowest = np.min([motion.height(face.patch.edge).min(axis=1) for face in faces], axis=0)
    clear = 4.0 * max(face.reach for face in faces)
    position = motion.position.copy()
    position[:, 2] += np.where(beside, np.maximum(clear - lowest, 0.0), 0.0)
    return RelativeMotion(t=motion.t, rotation=motion.rotation, position=position)


def centre_of(faces: Sequence[PadFace]) -> FloatArray:
    """Return the centroid of the pads' contact, tool frame [m], shape (3,)."""
    weight = [face.patch.area for face in faces]
    return np.asarray(np.average([face.patch.centre for face in faces], axis=0, weights=weight))


def break_displacement(faces: Sequence[PadFace]) -> float:
    """Return the smallest displacement that breaks a full bond [m]."""
    return min(face.break_displacement for face in faces)
