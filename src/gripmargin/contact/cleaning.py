"""Pads on a cleaner: what each place of their faces feels, and how much of a face is clean after it.

The tool is driven, so pressure is a matter of where it is. A press is a time over which a place keeps the pressure that
cleans. How deep a place lies below a plane or round face is concave along a pad: what three corners of a triangle keep
at the same time every place between them keeps. Triangles of which some corners are clean alone are cut smaller.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
import shapely

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import BudgetError
from gripmargin.contact.cell_states import BoolArray
from gripmargin.contact.cells import quadrature
from gripmargin.contact.cleaner_face import depth_in, normal_of, stiffness_on
from gripmargin.contact.relative import RelativeMotion
from gripmargin.kernels.screw import along, twist_between
from gripmargin.workcell import Cleaner, Pad

FINEST: Final = 5  # times that a triangle is cut into four; what is left open then is told as such
CLOSE: Final = 1e-4  # share of a face that may be left open
ROUND: Final = 0.01  # share of the pressure that cleans by which it may be off between two knots, on a round face
STEP: Final = 2.5e-4  # [m] from knot to knot at most
MOST_KNOTS: Final = 60_000  # a minute or so of a drag over 15 m
MOST_OPEN: Final = 2000  # triangles that are cut smaller: time alone, what is left open is told as such
TINY: Final = 1e-9  # [m] of rounding
EVEN: Final = 6  # cells across a pad by which a roller's turning is told
AT_ONCE: Final = 4_000_000  # places times knots: memory alone
UNMIX: Final = 2.0 * np.eye(3) - 1.0 / 3.0  # from the three points of a triangle to its corners (see `quadrature`)


@dataclass(frozen=True, eq=False, kw_only=True)
class Felt:
    """What places feel, shape (m,) each.

    Attributes:
        peak: Highest pressure [Pa].
        dwell: Longest time over which the pressure is kept that cleans [s].
        presses: Presses that count.
        slip: Longest way over the cleaner in one touch [m].
        is_clean: Whether all is as the cleaner asks.
    """

    peak: FloatArray
    dwell: FloatArray
    presses: FloatArray
    slip: FloatArray
    is_clean: BoolArray


@dataclass(frozen=True, eq=False, kw_only=True)
class Cleaned:
    """How far the face of a pad is clean.

    Attributes:
        pad: The pad.
        corners: Of the triangles that its face is cut into, pad frame [m], shape (k, 3, 2).
        areas: [m^2], shape (k,).
        is_clean: Whether a triangle is clean all over, shape (k,).
        is_open: Whether that is not known of it, shape (k,).
        felt: What their centres feel.
    """

    pad: Pad
    corners: FloatArray
    areas: FloatArray
    is_clean: BoolArray
    is_open: BoolArray
    felt: Felt

    @property
    def share(self) -> tuple[float, float]:
        """Least and largest share of the face that is clean."""
        whole = self.areas.sum()
        return float(self.areas[self.is_clean].sum() / whole), float(
            self.areas[self.is_clean | self.is_open].sum() / whole
        )


class Course:
    """Pads along a motion over one cleaner.

    Args:
        cleaner: With its size, its layer and the pressure that cleans.
        pads: All pads of the tool: a roller that turns freely turns with those that press it.
        motion: Of the tool in the cleaner's frame.

    Raises:
        BudgetError: So long a way over the cleaner that it would take long to follow.
    """

    def __init__(self, cleaner: Cleaner, pads: Sequence[Pad], motion: RelativeMotion) -> None:
        self.cleaner, self.pads = cleaner, tuple(pads)
        self.t, self.rotation, self.position = _knots(cleaner, pads, motion)
        turned = np.zeros(self.t.size)
        if self.t.size > 1:
            twist = twist_between(self.rotation[:-1], self.position[:-1], self.rotation[1:], self.position[1:])
            turned[1:] = np.linalg.norm(twist[:, 3:], axis=1)
        self._turned = np.cumsum(turned)
        self._gone = np.append(0.0, np.linalg.norm(np.diff(self.position, axis=0), axis=1).cumsum())

    def pressure(self, pad: Pad, places: FloatArray) -> FloatArray:
        """Return the pressure at every knot, not above 0 where nothing touches [Pa], shape (knots, m).

        Args:
            pad: Which the places belong to.
            places: In its frame [m], shape (m, 2).
        """
        at = self._at(pad, places)
        looks = self.rotation @ pad.pose_in_tool[:3, 2]
        cosine = -np.einsum("smi,si->sm", normal_of(self.cleaner, at), looks)
        depth = np.where(cosine > 0.0, depth_in(self.cleaner, at), -np.inf)
        return depth * stiffness_on(self.cleaner, pad.material, cosine)

    def way(self, pad: Pad, places: FloatArray) -> FloatArray:
        """Return how far places have gone over the face of the cleaner since the first knot [m], shape (knots, m)."""
        way = np.zeros((self.t.size, len(places)))
        along_it, around = self._steps(pad, places)
        if self.cleaner.turns_freely:
            around = around - self._turning[:, None]
        np.cumsum(np.hypot(along_it, around), axis=0, out=way[1:])
        return way

    @cached_property
    def _turning(self) -> FloatArray:
        """How far a roller that turns freely turns with its pads in each step, at its face [m], shape (knots - 1,)."""
        moved, pressed = np.zeros(self.t.size - 1), np.zeros(self.t.size - 1)
        for pad in self.pads:
            places, areas = quadrature(shapely.Polygon(pad.outline), EVEN)
            force = np.maximum(self.pressure(pad, places), 0.0) * areas
            force = force[1:] + force[:-1]
            moved += (force * self._steps(pad, places)[1]).sum(axis=1)
            pressed += force.sum(axis=1)
        return moved / np.where(pressed > 0.0, pressed, 1.0)

    def _steps(self, pad: Pad, places: FloatArray) -> tuple[FloatArray, FloatArray]:
        """How far places go along the face in each step [m]: along a roller, or x, and around it, or y."""
        at = self._at(pad, places)
        step, normal = np.diff(at, axis=0), normal_of(self.cleaner, 0.5 * (at[1:] + at[:-1]))
        return step[..., 0], step[..., 1] * normal[..., 2] - step[..., 2] * normal[..., 1]

    def _at(self, pad: Pad, places: FloatArray) -> FloatArray:
        """Where places of a pad are at every knot, cleaner's frame [m], shape (knots, m, 3)."""
        in_tool = places @ pad.pose_in_tool[:3, :2].T + pad.pose_in_tool[:3, 3]
        return np.asarray(in_tool @ self.rotation.transpose(0, 2, 1) + self.position[:, None])

    def felt(self, pad: Pad, places: FloatArray, *, slips: bool = True) -> Felt:
        """Return what places of a pad feel, pad frame [m], shape (m, 2).

        Args:
            pad: Which the places belong to.
            places: Where they are.
            slips: Whether slip is told that the cleaner does not ask for.
        """
        pressure = self.pressure(pad, places)
        way = self.way(pad, places) if slips or self._drags else np.zeros((self.t.size, 0))
        return self._felt(pressure, pressure, (way, way), _gives(pad))

    @property
    def _drags(self) -> bool:
        """Whether the cleaner asks how far places are dragged."""
        return self.cleaner.least_slip > 0.0 or self.cleaner.most_slip is not None

    def over(self, pad: Pad, corners: FloatArray) -> tuple[Felt, Felt]:
        """Return what triangles feel all over, pad frame [m], shape (k, 3, 2), and what each of their corners does.

        All over it is the least that any place feels, of peak and slip the most.
        """
        places, which = np.unique(corners.reshape(-1, 2).round(9), axis=0, return_inverse=True)
        which = which.reshape(-1, 3)
        pressure = self.pressure(pad, places)
        way = self.way(pad, places) if self._drags else np.zeros((self.t.size, 0))
        own = self._felt(pressure, pressure, (way, way), _gives(pad))
        each = Felt(**{name: value[which.ravel()] for name, value in vars(own).items()})
        size = np.linalg.norm(np.diff(corners, axis=1, append=corners[:, :1]), axis=2).max(axis=1)
        ways = way, way
        if self._drags:
            steps = np.diff(way, axis=0, prepend=0.0)[:, which]
            turned = np.diff(self._turned, prepend=0.0)[:, None] * size  # by which places in between may go less
            ways = np.maximum(steps.min(axis=2) - turned, 0.0).cumsum(axis=0), steps.max(axis=2).cumsum(axis=0)
        kept, touching = (np.array(pressure[:, which[:, 0]]) for _ in range(2))
        for i in (1, 2):
            np.minimum(kept, pressure[:, which[:, i]], out=kept)
            np.maximum(touching, pressure[:, which[:, i]], out=touching)
        whole = self._felt(kept, touching, ways, _gives(pad))
        if self.cleaner.radius is None:
            return whole, each
        passed = np.array([self._passed(*pressure[:, triangle].T) for triangle in which[~whole.is_clean]])
        whole.is_clean[~whole.is_clean] = passed if passed.size and not self._drags else False
        # higher between the corners of a triangle and between two knots, by a parabola, and less softened by a lean
        material, twice = pad.material, 2.0 * self.cleaner.radius
        between = (size**2 + _step(self.cleaner, self.pads) ** 2) / (4.0 * twice) * material.normal_stiffness
        softer = max(material.normal_stiffness / material.shear_stiffness - 1.0, 0.0)
        between *= 1.0 + 4.0 * softer * whole.peak / material.normal_stiffness / twice
        return replace(whole, peak=whole.peak + np.where(whole.peak > 0.0, between, 0.0)), each

    def _passed(self, *pressures: FloatArray) -> bool:
        """Whether a round face passes over a triangle so that all places are clean, by the pressures of its corners.

        How deep places lie below a round face is concave in place and way together where the pads go straight over it:
        in ways, each place is pressed as long as the corners are or longer, from between their beginnings on.
        """
        cleaner, count = self.cleaner, 0
        least = cleaner.least_pressure or np.inf
        if min(float(pressure.max()) for pressure in pressures) < least:
            return False
        first, *others = ([each[:2] for each in _spells(self.t, pressure - least)] for pressure in pressures)
        for start, end in first:
            met = [[each for each in spells if each[0] < end and each[1] > start] for spells in others]
            if any(len(each) != 1 for each in met):
                continue
            starts, ends = np.array([(start, end), met[0][0], met[1][0]]).T
            if starts.max() >= ends.min() or not self._is_straight(float(starts.min()), float(ends.max())):
                continue
            begins, stops = (np.interp(each, self.t, self._gone) for each in (starts, ends))
            length = float((stops - begins).min())
            inside = self._gone[(self._gone > begins.min()) & (self._gone < begins.max())]
            begins = np.concatenate([begins, inside])
            until, since = (np.interp(at, self._gone, self.t) for at in (begins + length - TINY, begins + TINY))
            count += float((until - since).min()) >= cleaner.least_dwell * (1.0 - 1e-6)
        return count >= cleaner.least_presses

    def _is_straight(self, start: float, end: float) -> bool:
        """Whether pads go straight on over a time [s], as far as a pressure can feel it."""
        part = slice(max(int(np.searchsorted(self.t, start)) - 1, 0), int(np.searchsorted(self.t, end)) + 1)
        position, gone = self.position[part], self._gone[part]
        way = position[-1] - position[0]
        length = float(np.linalg.norm(way))
        allowed = ROUND * (self.cleaner.least_pressure or 0.0) / max(p.material.normal_stiffness for p in self.pads)
        if length <= TINY or float(gone[-1] - gone[0]) > length * (1.0 + 1e-6) + allowed:
            return False
        aside = position - position[0]
        aside = aside - np.outer(aside @ way, way) / length**2
        size = max(float(np.linalg.norm(pad.outline, axis=1).max()) for pad in self.pads)
        turned = float(self._turned[part][-1] - self._turned[part][0])
        return float(np.linalg.norm(aside, axis=1).max()) + turned * size <= allowed

    def _felt(self, kept: FloatArray, touching: FloatArray, ways: tuple[FloatArray, FloatArray], held: float) -> Felt:
        """What is felt by the pressures that are kept and that touch, and by the least ways and the most.

        Args:
            kept: [Pa], shape (knots, m).
            touching: [Pa], likewise.
            ways: [m], likewise.
            held: By how much a place may go less, for its backing gives way [m].
        """
        cleaner, m = self.cleaner, kept.shape[1]
        over, (least, most) = kept - (cleaner.least_pressure or np.inf), ways
        has_ways = most.shape[1] == m
        dwell, presses = np.zeros((2, m))
        for i in np.flatnonzero(over.max(axis=0, initial=-np.inf) >= 0.0):
            for start, end, first, last in _spells(self.t, over[:, i]):
                dwell[i] = max(dwell[i], end - start)
                is_long = end - start >= cleaner.least_dwell * (1.0 - 1e-9)
                dragged = least[last, i] - least[first, i] - held if has_ways else 0.0
                presses[i] += is_long and (cleaner.least_slip == 0.0 or dragged >= cleaner.least_slip)
        is_clean = presses >= cleaner.least_presses
        slip = np.array([_longest(touching[:, i], most[:, i]) for i in range(m)]) if has_ways else np.zeros(m)
        if cleaner.most_slip is not None:
            is_clean &= slip <= cleaner.most_slip
        peak = np.maximum(touching.max(axis=0, initial=0.0), 0.0)
        return Felt(peak=peak, dwell=dwell, presses=presses, slip=slip, is_clean=is_clean)


def cleaned(courses: Sequence[Course], pad: Pad, *, wanted: float = 0.0) -> Cleaned:
    """Return how far the face of a pad is clean after moves over cleaners, of which one has to clean a place.

    Places pressed above the overload pressure of the pad do not count as clean: their fibrils buckle.

    Args:
        courses: The moves.
        pad: One of their pads.
        wanted: Share of the face, where only that is asked: if it cannot be reached no triangle is cut smaller.
    """
    outline = pad.outline if pad.edge is None else pad.edge
    points, areas = quadrature(shapely.Polygon(outline))
    corners, areas = np.einsum("ij,tjc->tic", UNMIX, points.reshape(-1, 3, 2)), areas.reshape(-1, 3).sum(axis=1)
    whole, missed, done = float(areas.sum()), 0.0, []
    for level in range(FINEST + 1):
        sure, some = _classified(courses, pad, corners)
        is_open = some & ~sure
        missed += float(areas[~is_open & ~sure].sum())
        is_told = float(areas[is_open].sum()) <= CLOSE * whole or missed > (1.0 - wanted + CLOSE) * whole
        if is_told or level == FINEST or is_open.sum() > MOST_OPEN:
            done.append((corners, areas, sure, is_open))
            break
        done.append((corners[~is_open], areas[~is_open], sure[~is_open], np.zeros(int((~is_open).sum()), dtype=bool)))
        corners, areas = _in_four(corners[is_open]), np.repeat(areas[is_open] / 4.0, 4)
    corners, areas, sure, is_open = (np.concatenate(each) for each in zip(*done, strict=True))
    felt = _together([_felt(course, pad, corners.mean(axis=1), slips=not wanted) for course in courses])
    return Cleaned(pad=pad, corners=corners, areas=areas, is_clean=sure, is_open=is_open, felt=felt)


def misses(courses: Sequence[Course], pad: Pad, places: FloatArray) -> bool:
    """Return whether the edge of a pad, or one of some places, pad frame [m], shape (m, 2), is surely not clean."""
    outline = pad.outline if pad.edge is None else pad.edge
    looked_at = np.concatenate([outline, (outline + np.roll(outline, -1, axis=0)) / 2.0, places])
    return not np.any([course.felt(pad, looked_at, slips=False).is_clean for course in courses], axis=0).all()


def _classified(courses: Sequence[Course], pad: Pad, corners: FloatArray) -> tuple[BoolArray, BoolArray]:
    """Whether triangles are clean all over, and whether one of their corners is."""
    (sure, some), most = np.zeros((2, len(corners)), dtype=bool), pad.material.overload_pressure or np.inf
    buckled = np.zeros((2, len(corners)), dtype=bool)
    for course in courses:
        size = max(AT_ONCE // max(course.t.size, 1), 1)
        for first in range(0, len(corners), size):
            part = slice(first, first + size)
            whole, own = course.over(pad, corners[part])
            sure[part] |= whole.is_clean
            some[part] |= own.is_clean.reshape(-1, 3).any(axis=1)
            buckled[0, part] |= whole.peak > most
            buckled[1, part] |= (own.peak.reshape(-1, 3) > most).all(axis=1)
    return sure & ~buckled[0], some & ~buckled[1]


def _felt(course: Course, pad: Pad, places: FloatArray, *, slips: bool) -> Felt:
    size = max(AT_ONCE // max(3 * course.t.size, 1), 1)
    parts = [course.felt(pad, places[first : first + size], slips=slips) for first in range(0, len(places), size)]
    return Felt(**{name: np.concatenate([getattr(part, name) for part in parts]) for name in vars(parts[0])})


def _together(felt: Sequence[Felt]) -> Felt:
    return Felt(**{name: np.max([getattr(each, name) for each in felt], axis=0) for name in vars(felt[0])})


def _in_four(corners: FloatArray) -> FloatArray:
    """Triangles, each cut into four by the middles of its sides, shape (4 k, 3, 2)."""
    middles = 0.5 * (corners + np.roll(corners, -1, axis=1))
    outer = [np.stack([corners[:, i], middles[:, i], middles[:, i - 1]], axis=1) for i in range(3)]
    return np.stack([*outer, middles], axis=1).reshape(-1, 3, 2)


def _gives(pad: Pad) -> float:
    """By how much the backing of a pad gives way along the face before it slips, at most [m]."""
    return pad.material.shear_strength / pad.material.shear_stiffness


def _spells(t: FloatArray, over: FloatArray) -> list[tuple[float, float, int, int]]:
    """Times over which a figure is 0 or more, linear between knots: from, to, and the first and last knot within."""
    inside = over >= 0.0
    edges = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(np.int8))).reshape(-1, 2)
    out = []
    for first, end in edges.tolist():
        start, stop, last = float(t[first]), float(t[end - 1]), end - 1
        if first > 0:
            start -= float(t[first] - t[first - 1]) * float(over[first] / (over[first] - over[first - 1]))
        if end < t.size:
            stop += float(t[end] - t[end - 1]) * float(over[last] / (over[last] - over[end]))
        out.append((start, stop, first, last))
    return out


def _longest(pressure: FloatArray, way: FloatArray) -> float:
    """The longest way in one touch, steps into and out of it whole [m]."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], pressure > 0.0, [False]]).astype(np.int8))).reshape(-1, 2)
    return max((float(way[min(end, way.size - 1)] - way[max(first - 1, 0)]) for first, end in edges), default=0.0)


def _knots(cleaner: Cleaner, pads: Sequence[Pad], motion: RelativeMotion) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Times, rotations and positions at which pads are looked at, closer where they are near the cleaner."""
    if motion.samples < 2:
        return motion.t, motion.rotation, motion.position
    corners = np.concatenate(
        [
            (pad.outline if pad.edge is None else pad.edge) @ pad.pose_in_tool[:3, :2].T + pad.pose_in_tool[:3, 3]
            for pad in pads
        ]
    )
    at = np.einsum("nij,mj->nmi", motion.rotation, corners) + motion.position[:, None]
    way = np.linalg.norm(np.diff(at, axis=0), axis=2).max(axis=1)
    away = _away(cleaner, at, float(np.linalg.norm(np.ptp(corners, axis=0))))
    near = np.minimum(away[1:], away[:-1]) <= way + STEP
    longest = _step(cleaner, pads)
    count = np.where(near, np.maximum(np.ceil(way / longest), 1.0), 1.0).astype(np.int64)
    if count.sum() > MOST_KNOTS:
        due = f"at most {MOST_KNOTS * longest:.3g} m"
        raise BudgetError(f"cleaner '{cleaner.name}'", f"a way of {way[near].sum():.3g} m on it", due, "clean in parts")
    i = np.repeat(np.arange(count.size), count)
    share = (np.arange(i.size) - np.repeat(np.cumsum(count) - count, count) + 1) / np.repeat(count, count)
    twist = twist_between(motion.rotation[:-1], motion.position[:-1], motion.rotation[1:], motion.position[1:])
    rotation, position = along(motion.rotation[i], motion.position[i], twist[i], share)
    t = motion.t[i] + share * (motion.t[i + 1] - motion.t[i])
    t, rotation = np.append(motion.t[:1], t), np.concatenate([motion.rotation[:1], rotation])
    position = np.concatenate([motion.position[:1], position])
    there = np.flatnonzero(np.append(near[0], near[i]))  # before and after nothing touches
    part = slice(max(there[0] - 1, 0), there[-1] + 2) if there.size else slice(0, 1)
    return t[part], rotation[part], position[part]


def _step(cleaner: Cleaner, pads: Sequence[Pad]) -> float:
    """How far places of pads go on a cleaner from knot to knot at most [m]."""
    if cleaner.radius is None or cleaner.least_pressure is None:
        return STEP
    softest = min(pad.material.normal_stiffness for pad in pads)
    return min(STEP, float(np.sqrt(8.0 * ROUND * cleaner.radius * cleaner.least_pressure / softest)))


def _away(cleaner: Cleaner, at: FloatArray, size: float) -> FloatArray:
    """How far pads are surely away from a cleaner [m], shape (n,), by corners, shape (n, m, 3), and their size."""
    if cleaner.radius is not None:
        above = np.hypot(at[..., 1], at[..., 2] + cleaner.radius).min(axis=1) - cleaner.radius - size
        half = np.array([(cleaner.length or 0.0) / 2.0])
        return np.maximum(above, (np.abs(at[..., :1]).min(axis=1) - half - size)[:, 0])
    outline = np.zeros((1, 2)) if cleaner.outline is None else cleaner.outline
    beyond = np.maximum(at[..., :2] - outline.max(axis=0), outline.min(axis=0) - at[..., :2]).min(axis=1).max(axis=1)
    return np.maximum(at[..., 2].min(axis=1), beyond)
