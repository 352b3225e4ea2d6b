"""The part's swing on its pads over every stretch in the air."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise, zip_longest
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import BudgetError
from gripmargin.base.stored import leave
from gripmargin.checks.case import Case
from gripmargin.checks.hold.use import COVERAGE
from gripmargin.checks.swing.drive import (
    FOLLOWED,
    Doubt,
    Drive,
    estimated_drives,
    given_drive,
    shaking,
    widest,
)
from gripmargin.checks.swing.response import Begun, Start, Swing, better, swing
from gripmargin.checks.swing.vibration import Modes, modes_of, modes_of_sheet
from gripmargin.contact.bending import are_level
from gripmargin.contact.loads import load_per_acceleration
from gripmargin.contact.sheet import Sheet
from gripmargin.kernels.cubics import between, value
from gripmargin.motion.rate_error import RateError

UNBENT: Final = 0.999  # factor on a frequency above which a part counts as rigid: swings are not known better
AT_ONCE: Final = 8_192  # samples that are worked out at a time: time and memory alone
BESIDE: Final = 2  # samples on either side that second differences and what lies between samples look at


@dataclass(frozen=True, eq=False, kw_only=True)
class Told:
    """What the part swings by over some time.

    Attributes:
        drive: What drives it.
        still: Load of gravity alone, mode by mode, shape (modes, m).
        rest: Load that no mode takes, for lack of mass: the pads carry it at once, shape (6, m).
    """

    drive: Drive
    still: FloatArray
    rest: FloatArray

    @property
    def t(self) -> FloatArray:
        """Times [s], shape (m,)."""
        return self.drive.t

    def over(self, part: slice) -> Told:
        """Return it over some of the samples."""
        return Told(drive=self.drive.over(part), still=self.still[:, part], rest=self.rest[:, part])


@dataclass(frozen=True, eq=False, kw_only=True)
class History:
    """What the part swings by over a stretch in the air of a program, worked out where it is asked for.

    Attributes:
        case: The job.
        modes: The natural vibrations.
        first: First sample, an index into the program.
        t: Times [s], shape (n,).
        start: How the stretch begins.
    """

    case: Case
    modes: Modes
    first: int
    t: FloatArray
    start: Start

    def over(self, part: slice) -> Told:
        """Return it over some of the samples."""
        wrench, standing = self.case.own_load[:, self._here(part)], self.case.standing(self._here(part))
        better = self._better
        key = part.start, part.stop
        smoothed, unsmoothed = self._worked_out.pop(key) if key in self._worked_out else self._drives(part)
        return Told(
            drive=smoothed if unsmoothed is None else smoothed.rows_of(unsmoothed, better),
            still=self.modes.shapes.T @ standing,
            rest=wrench - self.modes.loads @ (self.modes.shapes.T @ wrench),
        )

    def _here(self, part: slice) -> slice:
        return slice(self.first + part.start, self.first + part.stop)

    def _drives(self, part: slice) -> tuple[Drive, Drive | None]:
        """Smoothed and unsmoothed drive over some of the samples."""
        wide = slice(max(part.start - BESIDE, 0), min(part.stop + BESIDE, self.t.size))
        inside = slice(part.start - wide.start, part.stop - wide.start)
        smoothed, unsmoothed = self._over_all(wide)
        return smoothed.over(inside), None if unsmoothed is None else unsmoothed.over(inside)

    @cached_property
    def _worked_out(self) -> dict[tuple[int, int], tuple[Drive, Drive | None]]:
        """Drives over a stretch of one part, from when they are compared until they are used."""
        return {}

    def _over_all(self, part: slice) -> tuple[Drive, Drive | None]:
        """Smoothed and unsmoothed, with bounds at both ends that hold where nothing lies beyond them."""
        motion, t, wrench = self.case.motion, self.t[part], self.case.own_load[:, self._here(part)]
        doubt = None if motion.error is None else self._doubt(motion.error, part)
        if doubt is None or motion.given:
            return given_drive(self.modes, t, wrench, doubt), None
        shaken = 0.0 if self._shaken is None else self._shaken[:, part]
        return estimated_drives(self.modes, t, wrench, doubt, self.start.sample - part.start, shaken)

    def _doubt(self, error: RateError, part: slice) -> Doubt:
        here = self._here(part)
        return Doubt(
            columns=self.case.load_per_rate(np.arange(here.start, here.stop)),
            sigma=error.sigma[here],
            bias=error.bias[here],
            window=error.window[here],
            unsmoothed=None if error.unsmoothed is None else error.unsmoothed.over(here),
            shaking=np.zeros((2, *error.sigma[here].shape)) if error.shaking is None else error.shaking[:, here],
            speed_sigma=error.speed_sigma[here],
            speed_bias=error.speed_bias[here],
            spin=error.spin[here],
            noise=error.noise,
        )

    @cached_property
    def _shaken(self) -> FloatArray | None:
        """Swing that a shaking starts and smoothing takes for noise, shape (modes, n); None: there is none."""
        error, anywhere, here = self.case.motion.error, self.case.recorded, self._here(slice(0, self.t.size))
        if error is None or error.unsmoothed is None:
            return None
        if not anywhere and (error.shaking is None or not error.shaking[0, here].any()):
            return None
        doubts = ((part, self._doubt(error, part)) for part in parts(self.t.size))
        return shaking(self.modes, self.t, doubts, anywhere=anywhere)

    @cached_property
    def _better(self) -> NDArray[np.bool_]:
        """Which modes are known better without smoothing, shape (modes,)."""
        error, followed = self.case.motion.error, self.modes.frequency * widest(self.t) <= FOLLOWED
        if self.case.motion.given or error is None or error.unsmoothed is None or not followed.any():
            return np.zeros_like(followed)
        return better(self.modes, self._both(), self.start, COVERAGE, followed)

    def _both(self) -> Iterator[tuple[Drive, Drive]]:
        for part in (every := list(parts(self.t.size, self.start.sample))):
            leave()
            smoothed, unsmoothed = self._drives(part)
            if len(every) == 1:
                self._worked_out[part.start, part.stop] = smoothed, unsmoothed
            if unsmoothed is not None:
                yield smoothed, unsmoothed


def parts(samples: int, after: int = 0) -> Iterator[slice]:
    """Yield all samples so many at a time, each part from the last one of the part before on.

    Args:
        samples: How many there are.
        after: How many of them belong to the first part beyond what a part has.
    """
    edges = [0, *range(after + AT_ONCE, samples - 1, AT_ONCE), samples - 1]
    for first, last in pairwise(edges if samples > 1 else [0, 0]):
        yield slice(first, last + 1)


@dataclass(frozen=True, eq=False, kw_only=True)
class Block:
    """Some samples of a stretch, and the one after them.

    Attributes:
        first: The first of them, an index into those of the stretch.
        size: How many there are without the one after them.
        swing: What the part does.
        still: Load of gravity alone, mode by mode, shape (modes, m).
        rest: Load that no mode takes, for lack of mass: the pads carry it at once, shape (6, m).
    """

    first: int
    size: int
    swing: Swing
    still: FloatArray
    rest: FloatArray

    @property
    def part(self) -> slice:
        """Where they are among those of the stretch, without the one after them."""
        return slice(self.first, self.first + self.size)


@dataclass(frozen=True, eq=False, kw_only=True)
class Stretch:
    """The part in the air without a break, from leaving its tray to its nest.

    Attributes:
        samples: Indices into the program, shape (m,).
        start: How it begins.
        modes: The natural vibrations.
        told: What it swings by.
    """

    samples: NDArray[np.intp]
    start: Start
    modes: Modes
    told: Told | History

    @property
    def t(self) -> FloatArray:
        """Times [s], shape (m,)."""
        return self.told.t

    def blocks(self) -> Iterator[Block]:
        """Yield all samples so many at a time, in their order."""
        for k in range(len(self._parts)):
            yield self._block(k)

    def at(self, index: int) -> tuple[Swing, int]:
        """Return the swing around a sample, an index into `samples`, and the sample's place in it."""
        k = next((k for k, part in enumerate(self._parts) if index < part.stop - 1), len(self._parts) - 1)
        return self._block(k).swing, index - self._parts[k].start

    @cached_property
    def whole(self) -> Block:
        """All samples at once."""
        if len(self._parts) == 1:
            return self._block(0)
        return self._worked_out(slice(0, self.samples.size), self.start, self.samples.size)

    @property
    def swing(self) -> Swing:
        """What the part does over all samples."""
        return self.whole.swing

    @property
    def still(self) -> FloatArray:
        """Load of gravity alone, mode by mode, shape (modes, m)."""
        return self.whole.still

    @property
    def rest(self) -> FloatArray:
        """Load that no mode takes, shape (6, m)."""
        return self.whole.rest

    @cached_property
    def _parts(self) -> list[slice]:
        return list(parts(self.samples.size, self.start.sample))

    @cached_property
    def _states(self) -> list[Start | Begun]:
        """How the swing goes on from block to block, as far as that is known."""
        return [self.start]

    @cached_property
    def _last(self) -> dict[int, Block]:
        return {}

    def _block(self, k: int) -> Block:
        for known in range(len(self._states), k + 1):
            self._block(known - 1)
        if k not in self._last:
            leave()
            part, end = self._parts[k], k == len(self._parts) - 1
            found = self._worked_out(part, self._states[k], part.stop - part.start - (not end))
            self._last.clear()
            self._last[k] = found
            if not end and len(self._states) == k + 1:
                self._states.append(found.swing.end)
        return self._last[k]

    def _worked_out(self, part: slice, begin: Start | Begun, size: int) -> Block:
        told = self.told.over(part)
        found = swing(self.modes, told.drive, begin)
        return Block(first=part.start, size=size, swing=found, still=told.still, rest=told.rest)

    def driven(self, drive: Drive, *, start: Start | None = None) -> Stretch:
        """Return the stretch under another drive, or begun in another way."""
        told = self.told.over(slice(0, self.samples.size))
        return replace(self, told=replace(told, drive=drive), start=start or self.start)

    def piece(self, first: int, last: int) -> Stretch:
        """Return a piece from one sample to another, indices into `samples`: the part hangs still when it begins."""
        part = slice(first, last + 1)
        told = self.told.over(part)
        told = replace(told, drive=replace(told.drive, kick=np.zeros_like(told.drive.kick)))
        load = self.modes.loads @ told.drive.base[:, 0] + told.rest[:, 0]
        begin = Start(sample=0, load=load, rate=np.zeros(6))
        return Stretch(samples=self.samples[part], start=begin, modes=self.modes, told=told)

    def on(self, modes: Modes) -> Stretch:
        """Return the stretch with natural vibrations that differ in frequency, size or damping alone.

        How suddenly the load may change between the samples is left as it is.
        """
        size = self.modes.loads[:, :1]
        scale = float(np.linalg.norm(size) / np.linalg.norm(modes.loads[:, :1]))
        told = self.told.over(slice(0, self.samples.size))
        drive = told.drive.scaled(told.t, np.full(told.t.size, scale), np.zeros_like(told.still))
        resized = replace(drive, kick=told.drive.kick * scale)
        return replace(self, modes=modes, told=replace(told, drive=resized, still=told.still * scale))


def stretches_of(case: Case) -> list[Stretch]:
    """Return every stretch in the air with its swing; see `gripmargin.checks.swing.response`.

    Args:
        case: The job; it carries the part in at least one sample.
    """
    return on_modes(case, case.shared(mode_sets)[-1])


def other_stretches(case: Case) -> list[list[Stretch]]:
    """Return the same with the other vibrations that the part may have."""
    return [on_modes(case, modes) for modes in case.shared(mode_sets)[:-1]]


def mode_sets(case: Case) -> tuple[Modes, ...]:
    """Return the vibrations that the part may have; the last are those of the cells that margins count on, alone.

    Cells outside the core may stiffen the pads, or may not. A part that bends swings more slowly than a rigid one.
    """
    part, air, sheet = case.job.part, case.job.air_density, case.grip.bonded.sheet
    if sheet is not None:
        return tuple(modes_of_sheet(sheet, air))
    *others, main = (modes_of(backing, part, air) for backing in case.grip.backings)
    slower = _slower(case)
    return (*others, *([main.stiffer(slower**2)] if slower < UNBENT else ()), main)


def _slower(case: Case) -> float:
    """By which factor bending lowers a frequency of a part that is taken as rigid [-]."""
    part, whole, air = case.job.part, case.whole, case.job.air_density
    if part.rigid or part.strips is None or not part.is_plate or not are_level(whole.patches):
        return 1.0
    with suppress(BudgetError):  # then nothing passes
        rigid = modes_of(whole, part, air).frequency
        return min(float((bent.frequency / rigid).min()) for bent in modes_of_sheet(Sheet.on(whole, part), air))
    return 1.0


def on_modes(case: Case, modes: Modes) -> list[Stretch]:
    """Return every stretch in the air with some natural vibrations of the part."""
    runs = np.split(case.carried, np.flatnonzero(np.diff(case.carried) > 1) + 1)
    return [_stretch(case, modes, run, first=i == 0) for i, run in enumerate(runs) if run.size]


def keep_swing(case: Case, changed: Case) -> bool:
    """Hand the stretches of a case to a changed one in which the part swings as it did, and return whether it does.

    It does where motion, part, handover, and stiffness and damping of the pads are the same: strengths, stops and
    targets do not count.
    """
    same = (
        changed.motion is case.motion
        and changed.job.part is case.job.part
        and changed.job.pick is case.job.pick
        and np.array_equal(changed.airborne, case.airborne)
        and all(
            np.array_equal(new.stiffness, old.stiffness)
            for new, old in zip_longest(changed.grip.backings, case.grip.backings, fillvalue=case.whole)
        )
        and _damping(changed) == _damping(case)
        and (case.pickup is None or changed.pickup is None or changed.pickup.restraint == case.pickup.restraint)
    )
    if same:
        for work in (stretches_of, other_stretches, mode_sets):
            changed.take_over(work, case)
        changed.remembered.update(case.remembered)
    return same


def _damping(case: Case) -> list[float | None]:
    return [patch.pad.material.damping_ratio for patch in case.whole.patches]


def _stretch(case: Case, modes: Modes, run: NDArray[np.intp], *, first: bool) -> Stretch:
    start = _start(case, run) if first else _at_rest(case, run)
    t = case.job.trajectory.t[run[0] : run[-1] + 1]
    alone = replace(case)  # a case that does not know its stretches goes as soon as nobody needs it
    told = History(case=alone, modes=modes, first=int(run[0]), t=t, start=start)
    return Stretch(samples=run, start=start, modes=modes, told=told)


def _at_rest(case: Case, run: NDArray[np.intp], held: FloatArray | float = 0.0) -> Start:
    """On the pads as at a steady speed: whatever the tool gains from then on comes to the part at once."""
    here = case.motion.at.take(run[0])
    gains = np.concatenate([here.acceleration[0], here.angular_acceleration[0]])
    steady = case.own_load[:, run[0]] - load_per_acceleration(case.job.part, case.job.air_density) @ gains
    return Start(sample=0, load=steady + held, rate=np.zeros(6))


def _start(case: Case, run: NDArray[np.intp]) -> Start:
    """How the first stretch begins: at rest on the pads, or torn off a tray.

    Where the tray is known, the part rests in it until the pads pull with its weight and the break-away force: the
    tool is already moving away from it then, and the part starts with that speed against it.
    """
    held = np.zeros(6)
    if case.job.pick is not None:
        held[2] = case.job.pick.break_away
        held[3:] = np.cross(case.job.part.com, held[:3])
    left = _leaves(case, run)
    if left is None:
        return _at_rest(case, run, held)
    sample, lead, speed = left
    return Start(sample=sample, load=case.standing(run[sample])[:, 0] + held, rate=-speed, lead=lead)


def _leaves(case: Case, run: NDArray[np.intp]) -> tuple[int, float, FloatArray] | None:
    """When in a stretch the stretched pads lift the part out of its tray; None where they do not.

    Returns:
        The first sample after it, an index into the stretch, how long it is before that sample [s], and the speed of
        the tool then, tool axes at its origin, shape (6,).
    """
    if case.pickup is None or case.job.pick is None:
        return None
    face, centre, motion = case.job.pick.face, case.whole.centre, case.motion.at
    place = motion.position[run] + np.einsum("nij,j->ni", motion.rotation[run], centre)
    above = (place - face[:3, 3]) @ face[:3, 2] - case.pickup.restraint / float(case.whole.stiffness[2, 2])
    up = np.flatnonzero(above >= 0.0)
    if up.size == 0:
        return None
    first = int(up[0])
    here = motion.take(run[max(first - 1, 0) : first + 1])
    speed = np.hstack([here.velocity, here.angular_velocity])
    if first == 0:
        return 0, 0.0, speed[0]
    step = float(case.job.trajectory.t[run[first]] - case.job.trajectory.t[run[first - 1]])
    rises = np.einsum("nij,nj->ni", here.rotation, speed[:, :3] + np.cross(speed[:, 3:], centre)) @ face[:3, 2]
    gains = np.hstack([here.acceleration - np.cross(speed[:, 3:], speed[:, :3]), here.angular_acceleration])
    height = between(above[first - 1 : first + 1], rises, step)
    at = np.roots(height[::-1])
    at = at.real[(np.abs(at.imag) < 1e-9) & (at.real >= 0.0) & (at.real <= 1.0)].min(initial=1.0)
    return first, step * float(1.0 - at), value(between(speed, gains, step), at)


def next_too(values: FloatArray) -> FloatArray:
    """The larger of each value and the next, along the last axis."""
    out = values.copy()
    out[..., :-1] = np.maximum(values[..., :-1], values[..., 1:])
    return out
