"""What pads that stick to a cleaner pull at it while they leave.

A place that has touched is held until the springs of its pad pull with the tack; then it is off. Straight off all
places let go at once, with tack times area; rolled off the last rows alone pull, and what that takes along the way is
the energy of the springs, tack^2/2k for each width (Kanninen, Int. J. Fract. 9:83, 1973, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.cleaner_face import depth_in, normal_of, stiffness_on
from gripmargin.contact.cleaning import Course
from gripmargin.workcell import Pad

PLACES: Final = 4000  # of a pad
RECURRENCE: Final = (0.7548776662466927, 0.5698402909980532)  # 1/g and 1/g^2, g^3 = g + 1
EVENTS: Final = 6  # times within a step at which places let go that are looked at


@dataclass(frozen=True, eq=False, kw_only=True)
class Pulled:
    """What a cleaner is pulled with, at every knot, cleaner's frame.

    Attributes:
        t: [s], shape (k,).
        force: By tack alone [N], shape (k, 3).
        moment: About the origin of its face [N m], shape (k, 3).
        pressed: By what touches, along z, against the cleaner [N], shape (k,).
        straight: What the tack of the largest area that touched at a time would be, pulled straight [N].
        is_stuck: Whether places still stick at the end.
    """

    t: FloatArray
    force: FloatArray
    moment: FloatArray
    pressed: FloatArray
    straight: float
    is_stuck: bool


def pulled(course: Course, tack: float) -> Pulled:
    """Return what pads pull at a cleaner along a motion, in each step where that is most.

    Args:
        course: The motion.
        tack: Of the cleaner [Pa].
    """
    knots, places = course.t.size, [_places(pad) for pad in course.pads]
    force, moment, touching = np.zeros((knots, 3)), np.zeros((knots, 3)), np.zeros(knots)
    pressed = np.zeros(knots)
    holds = [np.zeros(areas.size, dtype=bool) for _, areas in places]
    before = [np.zeros(areas.size) for _, areas in places]
    for k in range(knots):
        rows = []
        for i, pad in enumerate(course.pads):
            in_tool, areas = places[i]
            at = in_tool @ course.rotation[k].T + course.position[k]
            normal = normal_of(course.cleaner, at)
            cosine = -normal @ (course.rotation[k] @ pad.pose_in_tool[:3, 2])
            stress = depth_in(course.cleaner, at) * stiffness_on(course.cleaner, pad.material, cosine)
            touches = (stress > 0.0) & (cosine > 0.0)
            own = holds[i] & ~touches
            pull = np.where(own, np.minimum(-stress, 1e3 * tack), 0.0)  # beside the cleaner nothing is left
            rows.append((at[own], normal[own], areas[own], before[i][own], pull[own]))
            pressed[k] += (stress[touches] * areas[touches]) @ normal[touches, 2]
            touching[k] += areas[touches].sum()
            holds[i] = touches | (own & (pull < tack))
            before[i] = np.where(holds[i], pull, 0.0)
        force[k], moment[k] = _most(tack, *(np.concatenate(each) for each in zip(*rows, strict=True)))
    return Pulled(
        t=course.t,
        force=force,
        moment=moment,
        pressed=pressed,
        straight=tack * float(touching.max(initial=0.0)),
        is_stuck=any(bool(each.any()) for each in holds),
    )


def _places(pad: Pad) -> tuple[FloatArray, FloatArray]:
    """Places all over a pad, tool frame [m], shape (m, 3), no two of which let go at a time, and their areas [m^2].

    They lie on an additive recurrence in two dimensions (Kronecker's sequence, from memory), which fills evenly.
    """
    face, low, size = shapely.Polygon(pad.outline), pad.outline.min(axis=0), np.ptp(pad.outline, axis=0)
    count = round(PLACES * float(size[0] * size[1]) / face.area)
    points = low + np.modf(0.5 + np.outer(np.arange(count), RECURRENCE))[0] * size
    points = points[shapely.contains_xy(face, *points.T)]
    return points @ pad.pose_in_tool[:3, :2].T + pad.pose_in_tool[:3, 3], np.full(len(points), face.area / len(points))


def _most(
    tack: float, at: FloatArray, normal: FloatArray, areas: FloatArray, before: FloatArray, after: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """The largest force and the largest moment of places in a step, whose stresses go from one to another [Pa].

    Each pulls until it has reached the tack. What is looked at are some of the times at which one lets go, and the end.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(after >= tack, (tack - before) / (after - before), np.inf)
    ends = share[np.isfinite(share)]
    times = (
        [*np.unique(np.quantile(ends, np.linspace(0.0, 1.0, EVENTS), method="nearest")), 1.0] if ends.size else [1.0]
    )
    best = np.zeros((2, 3))
    for when in times:
        stress = np.where(share >= when, np.minimum(before + when * (after - before), tack), 0.0)
        each = (np.maximum(stress, 0.0) * areas)[:, None] * normal
        for i, total in enumerate((each.sum(axis=0), np.cross(at, each).sum(axis=0))):
            if total @ total > best[i] @ best[i]:
                best[i] = total
    return best[0], best[1]
