"""Where the parts of other holds lie, and whether a carried part comes down there: its own hold says nothing of that.

A place is known by the face that the job describes, and by where the tool stands as its own part is down there. From
its press until it is let go a part has to stay above all others. Where a part lies as far as the program tells, that is
above it; else above what it lies on.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import ConvexHull, distance_matrix

from gripmargin.base.arrays import FloatArray
from gripmargin.motion.tool_motion import ToolMotion
from gripmargin.workcell.holds import Hold
from gripmargin.workcell.job import Job

TOUCHES: Final = 2e-5  # [m] above a place at which a part counts as down on it: what a pad gives way (no source)
OVERLAP: Final = 0.01  # share of the smaller of two outlines by which parts beside each other may overlap (no source)
FACING: Final = float(np.sqrt(0.5))  # cosine of the angle to its face up to which a part comes down on a place
AT_ONCE: Final = 4096  # samples: memory alone
DIGITS: Final = 9  # of metres by which places are told apart; those that are not cost time alone
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, eq=False, kw_only=True)
class Lying:
    """A place where parts lie at some time.

    Attributes:
        holds: Numbers of their holds.
        of: What messages call the first of them.
        one: "pick" or "nest".
        name: What messages call it.
        outline: Of the part as it lies there, corners of its gripped face in the world [m], shape (k, 3).
        normal: Of that face, out of the part, in the world, shape (3,).
        level: Of that face along its normal [m].
        thickness: Of the part [m]; None: not known.
        since: When it is put down there [s]; minus infinity: it is taken from there.
        until: When it is taken from there [s]; infinity: it stays.
    """

    holds: tuple[int, ...]
    of: str
    one: str
    name: str
    outline: FloatArray
    normal: FloatArray
    level: float
    thickness: float | None
    since: float
    until: float

    @cached_property
    def _seen(self) -> shapely.Polygon:
        return shapely.Polygon(self.outline @ across(self.normal))

    @cached_property
    def circle(self) -> tuple[FloatArray, FloatArray]:
        """The middle of the outline and how far it reaches from it [m], in the axes of `across`."""
        return _circle(self.outline @ across(self.normal))

    def seen_along(self, normal: FloatArray) -> shapely.Polygon:
        """Return the outline as it is seen along the normal of a place, in the axes of `across`."""
        return self._seen if (normal == self.normal).all() else shapely.Polygon(self.outline @ across(normal))


def places_of(job: Job, holds: Sequence[Hold], motion: ToolMotion) -> Iterator[Lying]:
    """Yield where parts lie before and after their holds, as far as the job describes it, each place once.

    Args:
        job: What is asked of one set of pads.
        holds: Of it.
        motion: Of the tool frame of these pads over the whole program.
    """
    known: dict[Any, list[Lying]] = {}
    for hold in holds:
        for place in _places(job, hold, motion):
            known.setdefault((place.name, place.thickness, place.outline.round(DIGITS).tobytes()), []).append(place)
    for same in known.values():
        numbers = tuple(number for place in same for number in place.holds)
        since, until = min(place.since for place in same), max(place.until for place in same)
        yield replace(same[0], holds=numbers, since=since, until=until)


def _places(job: Job, hold: Hold, motion: ToolMotion) -> Iterator[Lying]:
    own = hold.own(job)
    for one, kind in (("pick", "preload"), ("nest", "release")):
        samples = [each[:2] for each in hold.stretches if job.phases[each[2]].kind == kind]
        if own[one] is None or not samples:
            continue
        first, last = samples[0][0], samples[-1][1]
        tool, origin, normal = motion.take(slice(first, last + 1)), own[one].face[:3, 3], own[one].face[:3, 2]
        face, level = _moved(tool, job, hold), float(origin @ normal)
        down = _set_down(face.mean(axis=1) @ normal - level, np.linalg.norm(tool.position - origin, axis=1))
        called, end = getattr(hold, one), float(motion.t[last])
        yield Lying(
            holds=(hold.number,),
            of=hold.name,
            one=one,
            name=f"{one}s.{called}" if called else one,
            outline=face[down],
            normal=normal,
            level=level,
            thickness=own["part"].thickness,
            since=-np.inf if one == "pick" else end,
            until=end if one == "pick" else np.inf,
        )


def comes_down(job: Job, hold: Hold, motion: ToolMotion, places: Sequence[Lying]) -> str:
    """Return where a carried part comes down on the place of another hold, in a sentence; empty: nowhere.

    What its own places lie over, as in a stack, is left to the hold itself.

    Args:
        job: What is asked of its pads.
        hold: The hold.
        motion: Of the tool frame of these pads over the whole program.
        places: Of all holds.
    """
    own = [place for place in places if hold.number in place.holds]
    others = [place for place in places if hold.number not in place.holds]
    if not others or not hold.stretches:
        return ""
    first, last = hold.stretches[0][0], max(end for _, end, _ in hold.stretches)
    tool = motion.take(slice(first, last + 1))
    down = _Down(_moved(tool, job, hold), tool, hold.own(job)["part"].thickness)
    at_own = {place.one: down.on(place) for place in own}
    hangs = np.ones(tool.samples, dtype=bool)
    for begin, end, i in hold.stretches:
        there = slice(begin - first, end + 1 - first)
        if job.phases[i].kind == "preload":  # not before it has been on its pick
            hangs[there] = np.logical_or.accumulate(at_own["pick"][there]) if "pick" in at_own else False
        elif job.phases[i].kind == "release":  # nor once it has been in its nest
            hangs[there] = ~np.logical_or.accumulate(at_own["nest"][there]) if "nest" in at_own else False
    for place in _beside(own, list(down.near(others, hangs))):
        if (at := np.flatnonzero(hangs & down.on(place))).size:
            t, move = float(tool.t[at[0]]), job.trajectory.move_at(first + int(at[0]))
            where = f"at {t:.3f} s" + (f" in move '{move}'" if move else "")
            return (
                f"{where} the part comes down on {place.name}, where that of hold {place.of} lies, and what the "
                "pads do there is not followed: lift it over that place, or name the place in the phases of this hold"
            )
    return ""


@dataclass(frozen=True, eq=False)
class _Down:
    """A part on its way, and where it comes down.

    Attributes:
        face: Corners of its gripped face in the world [m], shape (n, k, 3).
        tool: The motion.
        thickness: Of the part [m]; None: not known.
    """

    face: FloatArray
    tool: ToolMotion
    thickness: float | None

    def on(self, place: Lying) -> BoolArray:
        """Return at which samples it is down on a place, shape (n,)."""
        own, there = self._thick(place)
        t, facing = self.tool.t, self.tool.rotation[:, :, 2] @ place.normal
        lies = (t > place.since) & (t < place.until)
        under = (self.face @ place.normal).min(axis=1) + own * facing
        rests = place.level - np.where(lies, 0.0, there)
        low = (under <= rests + TOUCHES) & (facing < -FACING)
        at, axes = np.flatnonzero(low), across(place.normal)
        seen, one = shapely.polygons(self.face[at] @ axes), place.seen_along(place.normal)
        low[at] = shapely.area(shapely.intersection(seen, one)) > OVERLAP * np.minimum(shapely.area(seen), one.area)
        return np.asarray(low)

    def near(self, places: Sequence[Lying], hangs: BoolArray) -> Iterator[Lying]:
        """Yield the places that it may be down on: those it is as low as, within circles around both outlines."""
        for normal in np.unique([place.normal for place in places], axis=0):
            alike = [place for place in places if (place.normal == normal).all()]
            high = max(place.level + self._thick(place)[0] for place in alike) + TOUCHES
            low = np.flatnonzero(hangs & ((self.face @ normal).min(axis=1) <= high))
            centre, extent = zip(*(place.circle for place in alike), strict=True)
            may = np.zeros(len(alike), dtype=bool)
            for some in np.array_split(low, low.size // AT_ONCE + 1):
                own, around = _circle(self.face[some] @ across(normal))
                may |= (distance_matrix(own, np.array(centre)) <= around[:, None] + np.array(extent)).any(axis=0)
            yield from (place for place, each in zip(alike, may, strict=True) if each)

    def _thick(self, place: Lying) -> tuple[float, float]:
        """How thick it and the part of a place are [m], one as the other where only that is known; 0: neither."""
        known = [each for each in (self.thickness, place.thickness) if each is not None] or [0.0]
        return known[0], known[-1]


def _set_down(height: FloatArray, away: FloatArray) -> int:
    """The sample at which a face comes down on its place, nearest to where that is described; or as low as it gets."""
    low = height <= max(TOUCHES, float(height.min()))
    nearest = int(np.argmin(np.where(low, away, np.inf)))
    return nearest - int(np.argmin(np.append(low[: nearest + 1][::-1], False))) + 1


def _circle(corners: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The middle of outlines and how far they reach from it [m]; of corners of shape (..., k, 2)."""
    middle = corners.mean(axis=-2)
    return middle, np.linalg.norm(corners - middle[..., None, :], axis=-1).max(axis=-1)


def _beside(own: Sequence[Lying], places: Sequence[Lying]) -> list[Lying]:
    """The places that lie neither over nor under some of their own, at whatever height."""
    beside = np.ones(len(places), dtype=bool)
    for each in own:
        seen = np.array([place.seen_along(each.normal) for place in places])
        one = each.seen_along(each.normal)
        beside &= shapely.area(shapely.intersection(seen, one)) <= OVERLAP * np.minimum(shapely.area(seen), one.area)
    return [place for place, each in zip(places, beside, strict=True) if each]


def _moved(tool: ToolMotion, job: Job, hold: Hold) -> FloatArray:
    """Corners of the gripped face at samples of a motion, in the world [m], shape (n, k, 3).

    A part without an outline is taken to end with the pads.
    """
    pads, outline = job.gripper.pads, hold.own(job)["part"].outline
    if outline is None:
        corners = np.concatenate([pad.outline @ pad.pose_in_tool[:2, :2].T + pad.pose_in_tool[:2, 3] for pad in pads])
        outline = corners[ConvexHull(corners).vertices]
    height = np.mean([pad.pose_in_tool[2, 3] for pad in pads])
    points = np.column_stack([outline, np.full(len(outline), height)])
    return np.asarray(np.einsum("nij,kj->nki", tool.rotation, points) + tool.position[:, None])


def across(normal: FloatArray) -> FloatArray:
    """Two axes of the plane across a normal, in the world, shape (3, 2)."""
    x = np.cross(normal, np.eye(3)[np.argmin(np.abs(normal))])
    x /= np.linalg.norm(x)
    return np.column_stack([x, np.cross(normal, x)])
