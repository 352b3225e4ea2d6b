"""The part's swing on its pads over every stretch in the air."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace
from itertools import zip_longest

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import BudgetError
from gripmargin.checks.case import Case
from gripmargin.checks.hold.use import COVERAGE
from gripmargin.checks.swing.drive import Doubt, Drive, estimated_drives, given_drive
from gripmargin.checks.swing.response import Start, Swing, better, swing
from gripmargin.checks.swing.vibration import Modes, modes_of, modes_of_sheet
from gripmargin.contact.bending import are_level, is_uniform_plate
from gripmargin.contact.sheet import Sheet
from gripmargin.motion.rate_error import RateError

UNBENT = 0.999  # factor on a frequency above which a part counts as rigid: swings are not known better


@dataclass(frozen=True, eq=False, kw_only=True)
class Stretch:
    """The part in the air without a break, from leaving its tray to its nest.

    Attributes:
        samples: Indices into the program, shape (m,).
        start: How it begins.
        swing: What the part does.
        still: Load of gravity alone, mode by mode, shape (modes, m).
        rest: Load that no mode takes, for lack of mass: the pads carry it at once, shape (6, m).
    """

    samples: NDArray[np.intp]
    start: Start
    swing: Swing
    still: FloatArray
    rest: FloatArray

    def driven(self, drive: Drive, *, start: Start | None = None) -> Stretch:
        """Return the stretch under another drive, or begun in another way."""
        start = start or self.start
        return replace(self, swing=swing(self.swing.modes, drive, start), start=start)

    def piece(self, first: int, last: int) -> Stretch:
        """Return a piece from one sample to another, indices into `samples`: the part hangs still when it begins."""
        part, modes = slice(first, last + 1), self.swing.modes
        drive = self.swing.drive.since(first, last + 1)
        begin = Start(sample=0, load=modes.loads @ drive.base[:, 0] + self.rest[:, first], rate=np.zeros(6))
        return Stretch(
            samples=self.samples[part],
            start=begin,
            swing=swing(modes, drive, begin),
            still=self.still[:, part],
            rest=self.rest[:, part],
        )

    def on(self, modes: Modes) -> Stretch:
        """Return the stretch with natural vibrations that differ in frequency, size or damping alone.

        How suddenly the load may change between the samples is left as it is.
        """
        size = self.swing.modes.loads[:, :1]
        scale = float(np.linalg.norm(size) / np.linalg.norm(modes.loads[:, :1]))
        drive = self.swing.drive
        resized = replace(
            drive.scaled(drive.t, np.full(drive.t.size, scale), np.zeros_like(self.still)), kick=drive.kick * scale
        )
        return replace(self, swing=swing(modes, resized, self.start), still=self.still * scale)


def stretches_of(case: Case) -> list[Stretch]:
    """Return every stretch in the air with its swing; see `gripmargin.checks.swing.response`.

    Args:
        case: The job; it carries the part in at least one sample.
    """
    return _on_modes(case, case.shared(mode_sets)[-1])


def other_stretches(case: Case) -> list[list[Stretch]]:
    """Return the same with the other vibrations that the part may have."""
    return [_on_modes(case, modes) for modes in case.shared(mode_sets)[:-1]]


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
    if part.rigid or part.youngs_modulus is None or not is_uniform_plate(part) or not are_level(whole.patches):
        return 1.0
    with suppress(BudgetError):  # then nothing passes
        rigid = modes_of(whole, part, air).frequency
        return min(float((bent.frequency / rigid).min()) for bent in modes_of_sheet(Sheet.on(whole, part), air))
    return 1.0


def _on_modes(case: Case, modes: Modes) -> list[Stretch]:
    runs = np.split(case.carried, np.flatnonzero(np.diff(case.carried) > 1) + 1)
    return [_stretch(case, modes, run, first=i == 0) for i, run in enumerate(runs) if run.size]


def keep_swing(case: Case, changed: Case) -> None:
    """Hand the stretches of a case to a changed one in which the part swings as it did.

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
        changed.take_over(stretches_of, case)
        changed.take_over(other_stretches, case)
        changed.take_over(mode_sets, case)


def _damping(case: Case) -> list[float | None]:
    return [patch.pad.material.damping_ratio for patch in case.whole.patches]


def _stretch(case: Case, modes: Modes, run: NDArray[np.intp], *, first: bool) -> Stretch:
    motion, t, wrench, standing = case.motion, case.job.trajectory.t[run], case.load[:, run], case.standing[:, run]
    start = _start(case, run, wrench, standing) if first else _at_rest(wrench[:, 0])
    doubt = None if motion.error is None else _doubt(case, motion.error, run)
    if doubt is None or motion.given:
        drives: tuple[Drive, Drive | None] = given_drive(modes, t, wrench, doubt), None
    else:
        drives = estimated_drives(modes, t, wrench, doubt, start.sample, shaken=case.recorded)
    return Stretch(
        samples=run,
        start=start,
        swing=better(modes, drives, start, COVERAGE),
        still=modes.shapes.T @ standing,
        rest=wrench - modes.loads @ (modes.shapes.T @ wrench),
    )


def _doubt(case: Case, path: RateError, run: NDArray[np.intp]) -> Doubt:
    return Doubt(
        columns=case.load_per_rate(run),
        sigma=path.sigma[run],
        bias=path.bias[run],
        window=path.window[run],
        unsmoothed=None if path.unsmoothed is None else path.unsmoothed[:, run],
        shaking=path.shaking[:, run],
        speed_sigma=path.speed_sigma[run],
        speed_bias=path.speed_bias[run],
        spin=path.spin[run],
        noise=path.noise,
    )


def _at_rest(load: FloatArray) -> Start:
    return Start(sample=0, load=load, rate=np.zeros(6))


def _start(case: Case, run: NDArray[np.intp], wrench: FloatArray, standing: FloatArray) -> Start:
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
        return _at_rest(wrench[:, 0] + held)
    tool, sample = case.motion.at, int(run[left])
    rate = -np.concatenate([tool.velocity[sample], tool.angular_velocity[sample]])
    return Start(sample=left, load=standing[:, left] + held, rate=rate)


def _leaves(case: Case, run: NDArray[np.intp]) -> int | None:
    """The first sample of a stretch, an index into it, at which the stretched pads lift the part out of its tray."""
    if case.pickup is None or case.job.pick is None:
        return None
    face = case.job.pick.face
    centre = case.whole.centre
    motion = case.motion.at
    place = motion.position[run] + np.einsum("nij,j->ni", motion.rotation[run], centre)
    height = (place - face[:3, 3]) @ face[:3, 2]
    enough = case.pickup.restraint / float(case.whole.stiffness[2, 2])
    up = np.flatnonzero(height >= enough)
    return int(up[0]) if up.size else None


def next_too(values: FloatArray) -> FloatArray:
    """The larger of each value and the next, along the last axis."""
    out = values.copy()
    out[..., :-1] = np.maximum(values[..., :-1], values[..., 1:])
    return out
