"""How far the part swings out of its place, and what that changes: where it is little a bound, else it is followed.

The modes of `gripmargin.checks.swing.vibration` are those of a part that stays in place. One that has swung out of it
hangs at another lever, is carried round by the tool at another radius, and turns with a speed of its own
(`gripmargin.kernels.sway`).
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import stored
from gripmargin.checks.case import Case
from gripmargin.checks.hold.use import COVERAGE
from gripmargin.checks.swing.response import Swing
from gripmargin.checks.swing.ringing import Stretch, next_too
from gripmargin.contact.backing import displacement_rows
from gripmargin.kernels.face import Face
from gripmargin.kernels.rows import straight_between
from gripmargin.kernels.sway import Feedback, displaced_load, fed_back
from gripmargin.kernels.utilisation import peak_utilisation

FOLLOWED: Final = 1e-3  # share of what all modes use from which what the sway changes is followed, not bounded
SUDDEN: Final = 2.0  # on a load that comes at once (Chopra, Dynamics of Structures, ch. 4, from memory)
LAWS: Final = (False, True)  # that springs go on by at larger turns: in the rotation vector, and turn by turn
LARGEST: Final = np.deg2rad(10.0)  # of a swing out of its place that is judged: beyond it springs are not linear either

KEPT: Final = 65_536  # instants up to which what was followed is kept for changes on trial: memory alone
AT_ONCE: Final = 1_024  # samples that are looked at at a time: what they need stays in the cache, memory alone
BEYOND: Final = 1.5  # times that angle, beyond which nobody needs to know what the part does


@dataclass(frozen=True, eq=False, kw_only=True)
class Followed:
    """The part followed out of its place, at each instant of a stretch up to the next one.

    Attributes:
        value: Largest use [-], shape (n,).
        point: Edge point where that is, shape (n,).
        load: What the pads carry there, shape (6, n).
        least: Least that the largest use may be, by how springs may go on at larger turns, shape (n,).
        most: Most that it may be likewise, shape (n,).
        third: Share of the use that is left out of it, shape (n,).
        loads: What the pads carry at every instant looked at, by each law of the springs, where forces of the process
            act as well, shape (laws, instants of a sample, 6, n); else there are none.
    """

    value: FloatArray
    point: NDArray[np.intp]
    load: FloatArray
    least: FloatArray
    most: FloatArray
    third: FloatArray
    loads: FloatArray


@dataclass(frozen=True, eq=False, kw_only=True)
class Sway:
    """What the part's swing out of its place does over a stretch.

    Attributes:
        more: What it may add to the use of the pads, or take off it [-].
        followed: The use of the pads with it; None where it changes little.
        angle: By which the part is turned against the tool at most [rad].
        way: Of its centre of mass against the tool at most [m].
        known: Whether the swing is known at each instant, shape (n,).
    """

    more: float
    followed: Followed | None = None
    angle: float
    way: float
    known: NDArray[np.bool_]


def sway_of(case: Case, stretch: Stretch, face: Face, followed: NDArray[np.bool_], steps: int) -> Sway:
    """Return what the part's swing out of its place does over a stretch.

    Args:
        case: The job.
        stretch: With its linear swing.
        face: The places that count.
        followed: Which modes are looked at from instant to instant, shape (modes,).
        steps: At how many instants from one of the stretch to the next.
    """
    frame, gain = _Frame(case=case, stretch=stretch), stretch.modes.gain(face)
    added, used = [], []
    angle, way = 0.0, 0.0
    known = stored(stretch.samples.shape, bool)
    for block in stretch.blocks():
        found, own = block.swing, slice(0, block.size)
        linear, (rate, bend) = _linear(found, followed), (np.where(followed[:, None], x, 0.0) for x in found.rates)
        motion = frame.at_samples(block.first, found.drive.t.size)
        added += [float((gain @ np.abs(frame.added(motion, linear, rate, bend, in_turns=law))).max()) for law in LAWS]
        used.append(float((gain @ np.abs(linear)).max()))
        turned, moved = frame.moved(linear)
        angle, way = float(np.maximum(angle, turned.max())), float(np.maximum(way, moved.max()))
        known[block.part] = (turned + _turn_unsure(found) <= LARGEST)[own]
    # What the sway may add to the use of the pads, and what all modes use, at most.
    more, most = SUDDEN * float(np.max(added)), float(np.max(used))
    if more > FOLLOWED * most or np.isnan(more):
        return _followed(frame, face, followed, steps)
    return Sway(more=more, angle=angle, way=way, known=known)


def _linear(found: Swing, followed: NDArray[np.bool_]) -> FloatArray:
    """The response of the modes that are followed, and the load of the others."""
    return np.where(followed[:, None], found.response(), found.drive.base)


def _followed(frame: _Frame, face: Face, followed: NDArray[np.bool_], steps: int) -> Sway:
    found, told = frame.stretch.swing, frame.stretch.t
    first, linear = found.first * steps, _linear(found, followed)
    t = np.append((told[:-1, None] + np.diff(told)[:, None] * np.arange(steps) / steps).ravel(), told[-1])
    strength = float(frame.moved(linear)[0].max())
    known, out = np.ones(told.size, dtype=bool), []
    kept = _kept(frame, t[first:], followed, strength)
    for law in LAWS:
        response, end = kept.get(law) or _fed_back(frame, t[first:], followed, strength, in_turns=law)
        if t.size - first <= KEPT:
            kept[law] = response, end
        looked = []
        for part in _blocks(told.size):
            here = slice(part.start * steps, part.stop * steps)
            groups = np.minimum(np.arange(part.start, part.stop)[:, None] * steps + np.arange(steps), t.size - 1)
            swung, after = _between(t[here], told, linear), max(first - here.start, 0)
            swung[:, after:] = response[:, max(here.start - first, 0) : max(here.stop - first, 0)]
            looked.append(_looked(frame, face, swung, _between(t[here], told, frame.stretch.rest), groups - here.start))
            known[part] &= groups[:, -1] < first + end
        out.append([np.concatenate(each, axis=-1) for each in zip(*looked, strict=True)])
        known &= out[-1][3] + _turn_unsure(found) <= LARGEST
    value, point, load, angle, way, _ = out[0]
    # What is left out is of the third power of the turn: the next term of its series.
    third = np.maximum.accumulate(angle) ** 2 / 6.0
    return Sway(
        more=0.0,
        followed=Followed(
            value=value,
            point=point.astype(np.intp),
            load=load,
            least=np.min([each[0] for each in out], axis=0) * (1.0 - third),
            most=np.max([each[0] for each in out], axis=0) * (1.0 + third),
            third=third,
            loads=np.stack([each[5] for each in out]),
        ),
        angle=float(angle.max()),
        way=float(way.max()),
        known=np.logical_and.accumulate(known),  # what the part does later hangs on what it did
    )


def _kept(
    frame: _Frame, t: FloatArray, followed: NDArray[np.bool_], strength: float
) -> dict[bool, tuple[FloatArray, int]]:
    """What `_fed_back` has given before, by `in_turns`, and where what it gives is kept.

    Strengths of the pads and errors of the motion have no part in it: cases that differ in them share it.
    """
    if t.size > KEPT:
        return {}
    found, modes, case = frame.stretch.swing, frame.stretch.modes, frame.case
    told, swings = hashlib.blake2b(digest_size=16), (modes.frequency, modes.damping, modes.shapes, modes.loads)
    begun = found.begun.response, found.begun.rate, t[:1]
    for rows in (frame.stretch.t, found.drive.load, *swings, *begun, followed, case.whole.centre, case.job.gravity):
        told.update(np.ascontiguousarray(rows).tobytes())
    known = case.motion.at, case.job.part, told.digest(), frame.hangs, strength, t.size
    out: dict[bool, tuple[FloatArray, int]] = case.remembered.setdefault(known, {})
    return out


def _fed_back(
    frame: _Frame, t: FloatArray, followed: NDArray[np.bool_], strength: float, *, in_turns: bool
) -> tuple[FloatArray, int]:
    """The response with what it changes, as `fed_back` has it."""
    found, modes = frame.stretch.swing, frame.stretch.modes
    return fed_back(
        t,
        _between(t, frame.stretch.t, found.drive.load),
        modes.frequency,
        modes.damping,
        (found.begun.response, found.begun.rate),
        frame.feedback(t, in_turns=in_turns),
        followed,
        hangs=frame.hangs,
        strength=float(np.nan_to_num(strength, nan=1.0)),
    )


def _looked(
    frame: _Frame, face: Face, response: FloatArray, rest: FloatArray, groups: NDArray[np.intp]
) -> tuple[FloatArray, ...]:
    """Use, place, load, turn, and way of the centre of mass, each where it is largest in a group of instants.

    Then all loads of the group where forces of the process meet them, shape (instants, 6, groups).
    """
    wrench = frame.stretch.modes.loads @ response + rest
    use, point, _, _ = peak_utilisation(face, wrench)
    best = groups[np.arange(len(groups)), use[groups].argmax(axis=1)]
    angle, way = (x[groups].max(axis=1) for x in frame.moved(response))
    every = wrench[:, groups.T].swapaxes(0, 1)[: None if frame.case.pushes else 0]
    return use[groups].max(axis=1), point[best], wrench[:, best], angle, way, every


def _blocks(samples: int) -> Iterator[slice]:
    """Samples so many at a time."""
    for first in range(0, samples, AT_ONCE):
        yield slice(first, min(first + AT_ONCE, samples))


def _turn_unsure(found: Swing) -> FloatArray:
    """By how much more the part may be turned, shape (n,)."""
    unsure = np.abs(found.modes.shapes[3:]) @ (found.unsure + COVERAGE * found.sigma)
    return next_too(np.linalg.norm(unsure, axis=0))


@dataclass(frozen=True, eq=False, kw_only=True)
class _Frame:
    """What the part swings in.

    Attributes:
        case: The job.
        stretch: With its linear swing.
    """

    case: Case
    stretch: Stretch

    @property
    def hangs(self) -> bool:
        """Whether the part hangs still as the stretch begins."""
        return not self.stretch.start.rate.any()

    @cached_property
    def _body(self) -> tuple[float, FloatArray, FloatArray, FloatArray]:
        """Mass, centre of mass and inertia of the part, and where pads and part meet."""
        part = self.case.job.part
        return part.mass, part.com, part.inertia, self.case.whole.centre

    @cached_property
    def _told(self) -> FloatArray:
        """What `motion` returns at the samples, shape (9, n)."""
        return self.at_samples(0, self.stretch.samples.size).reshape(9, -1)

    def at_samples(self, first: int, size: int) -> FloatArray:
        """Return what `motion` does at so many samples of the stretch, from one on."""
        tool = self.case.motion.at.take(self.stretch.samples[first : first + size])
        felt = tool.in_tool(self.case.job.gravity) - tool.acceleration.T
        return np.stack([felt, tool.angular_velocity.T, tool.angular_acceleration.T])

    def motion(self, t: FloatArray) -> FloatArray:
        """Return what the tool does at some times, tool axes, shape (3, 3, m).

        Gravity less the acceleration of its origin [m/s^2], its angular velocity [rad/s] and acceleration [rad/s^2].
        """
        return _between(t, self.stretch.t, self._told).reshape(3, 3, -1)

    def feedback(self, t: FloatArray, *, in_turns: bool) -> Feedback:
        """Return what adds to the load at instants of some times, for responses and their rates there."""

        @lru_cache(maxsize=1)
        def motion(first: int, last: int) -> FloatArray:
            return self.motion(t[first:last])

        return lambda part, *moving: self.added(motion(part.start, part.stop), *moving, in_turns=in_turns)

    def added(
        self, motion: FloatArray, response: FloatArray, rate: FloatArray, bend: FloatArray, *, in_turns: bool
    ) -> FloatArray:
        """What responses, their rates and second derivatives add to the load, shape (modes, m) each."""
        modes = self.stretch.modes
        ways, carried = (modes.shapes @ response, modes.shapes @ rate, modes.shapes @ bend), modes.loads @ response
        if np.square(ways[0][3:]).sum(axis=0).max() > (BEYOND * LARGEST) ** 2:
            return np.full(response.shape, np.nan)
        return np.asarray(modes.shapes.T @ displaced_load(*self._body, motion, ways, carried, in_turns=in_turns))

    def moved(self, response: FloatArray) -> tuple[FloatArray, FloatArray]:
        """By how much the part is turned [rad], and how far its centre of mass is from its place [m]."""
        ways = self.stretch.modes.shapes @ response
        lever = displacement_rows(self.case.job.part.com[None], np.eye(3))[:, 0]
        return np.linalg.norm(ways[3:], axis=0), np.linalg.norm(lever @ ways, axis=0)


def _between(t: FloatArray, told: FloatArray, rows: FloatArray) -> FloatArray:
    near = slice(max(int(np.searchsorted(told, t[0], side="right")) - 1, 0), int(np.searchsorted(told, t[-1])) + 1)
    return straight_between(t, told[near], rows[:, near])
