"""The part is taken: pads against a part that its tray holds still, from the first touch until it leaves with them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from itertools import count

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.activation import PadFace, bonds_fully, pad_faces
from gripmargin.contact.cell_states import CellState
from gripmargin.contact.cells import Patch
from gripmargin.contact.handover_phases import (
    keep_to_the_budget,
    look_at_facing,
    one_stretch,
    relative_to,
    wrong_order,
)
from gripmargin.contact.relative import RelativeMotion
from gripmargin.contact.seating import centre_of, over, seating, taken_up, within_reach
from gripmargin.contact.simulation import ContactHistory, simulate
from gripmargin.motion.tool_motion import ToolMotion
from gripmargin.workcell import Pick
from gripmargin.workcell.job import Job


@dataclass(frozen=True, eq=False, kw_only=True)
class Pickup:
    """The preload move against the part in its tray.

    Attributes:
        pick: The tray.
        faces: The pads.
        relative: The tool in the face frame from the first touch up to where the part leaves its tray.
        samples: The program's samples in that stretch, shape (n,). Those in which the part hangs on the pads before it
            is put back are not among them.
        history: What the pads did where the face lies lowest, by its flatness.
        hard: The same where it lies highest: on the face plane.
        pressed: What they did up to the last sample at which they press on the part; the lift may break cells after it.
        pressed_hard: The same where the face lies highest.
        lift: Sample at which the pull on the part exceeds what keeps it in the tray for good, or None: it stays there.
        restraint: What keeps the part in the tray along the face normal: weight and break-away force [N].
        highest_pull: Of pads that leave without the part [N]; else inf.
    """

    pick: Pick
    faces: tuple[PadFace, ...]
    relative: RelativeMotion
    samples: NDArray[np.intp]
    history: ContactHistory
    hard: ContactHistory
    pressed: ContactHistory
    pressed_hard: ContactHistory
    lift: int | None
    restraint: float
    highest_pull: float

    @cached_property
    def bond(self) -> tuple[FloatArray, ...]:
        """Share of its full strength that each cell surely holds, wherever in its flatness the face lies."""
        ends = [end.bond for each in self._dwelling for end in (each.history, each.hard)]
        return tuple(np.minimum.reduce(each) for each in zip(*ends, strict=True))

    @cached_property
    def activation(self) -> tuple[FloatArray, ...]:
        """The same when the press ends, before the part is lifted."""
        ends = [end.bond for each in self._dwelling for end in (each.pressed, each.pressed_hard)]
        return tuple(np.minimum.reduce(each) for each in zip(*ends, strict=True))

    @property
    def strongest(self) -> tuple[FloatArray, ...] | None:
        """The largest share that each cell may hold; None where no measured curve says so: all of it."""
        if any(face.law.source != "measured curve" for face in self.faces):
            return None
        ends = [end for each in (self, self.at_best) if each is not None for end in (each.history.bond, each.hard.bond)]
        return tuple(np.maximum.reduce(each) for each in zip(*ends, strict=True))

    @cached_property
    def at_best(self) -> Pickup | None:
        """The same if cells that broke and were pressed on again hold fully; None where there are none."""
        return self._by(bonds_fully) if self._pressed_again else None

    @property
    def _pressed_again(self) -> bool:
        """Whether cells that broke are pressed on."""
        pads = (*self.pressed.pads, *self.pressed_hard.pads)
        return any(((pad.breaks > 0) & (pad.state != CellState.FREE)).any() for pad in pads)

    @cached_property
    def _dwelling(self) -> tuple[Pickup, ...]:
        """This one, and where cells broke it with a least dwell that goes on.

        Which of the two is so is not known. If it goes on, a cell that is dragged bonds again and breaks again, which
        takes what the pressure rises by meanwhile; if it begins anew, what is pressed on again may not bond in time.
        """
        dwells = any(face.patch.pad.material.min_dwell for face in self.faces)
        return (self, self._by(partial(replace, dwells_on=True))) if dwells and self._pressed_again else (self,)

    def _by(self, rule: Callable[[PadFace], PadFace]) -> Pickup:
        """The same by another rule of how cells bond again."""
        faces = tuple(rule(face) for face in self.faces)
        history = hard = simulate(faces, self.relative)
        pressed = pressed_hard = _pressed(faces, self.relative, history)
        if self.pick.flatness > 0:
            flush = tuple(replace(face, gap=np.zeros_like(face.gap)) for face in faces)
            hard = simulate(flush, self.relative)
            pressed_hard = _pressed(flush, self.relative, hard)
        return replace(self, history=history, hard=hard, pressed=pressed, pressed_hard=pressed_hard)


def pick_up(job: Job, motion: ToolMotion, patches: Sequence[Patch]) -> Pickup | None:
    """Simulate the press in the tray; None where the job has no pick face or no preload phase.

    It goes from the first touch until the part leaves its tray, whatever the samples there are called.

    Raises:
        InputError: The preload does not come before the carry, or the pads do not face the part.
    """
    declared = preload_samples(job)
    if job.pick is None or declared.size == 0:
        return None
    faces = pad_faces(patches, job.part, job.gripper, job.pick.flatness)
    weight = -job.part.mass * float(job.gravity @ job.pick.face[:3, 2])
    kept = max(weight, 0.0) + job.pick.break_away
    relative = relative_to(motion, np.arange(motion.t.size), job.pick.face)
    look_at_facing(faces, relative.take(declared), "pick.face")
    relative, samples = _in_the_tray(job, faces, relative, declared)
    history, samples, lift, highest = _until_it_leaves(faces, relative, samples, declared, kept)
    relative = relative.take(samples)
    pressed = _pressed(faces, relative, history)
    hard, pressed_hard = history, pressed
    if job.pick.flatness > 0:
        flush = pad_faces(patches, job.part, job.gripper)
        hard = simulate(flush, relative)
        pressed_hard = _pressed(flush, relative, hard)
    return Pickup(
        pick=job.pick,
        faces=faces,
        relative=relative,
        samples=samples,
        history=history,
        hard=hard,
        pressed=pressed,
        pressed_hard=pressed_hard,
        lift=lift,
        restraint=kept,
        highest_pull=highest,
    )


def _in_the_tray(
    job: Job, faces: Sequence[PadFace], relative: RelativeMotion, declared: NDArray[np.intp]
) -> tuple[RelativeMotion, NDArray[np.intp]]:
    """The motion, out of reach where it passes beside the part in its tray, and the samples from touch to leaving.

    It has left where, after the preload, all pads are out of reach.
    """
    pressed = seating(faces, relative.take(declared), part=job.part)
    beside = ~over(faces, job.part, relative, int(declared[pressed.sample]))
    relative = taken_up(faces, relative, beside)
    near = within_reach(faces, relative)
    first = min(int(declared[0]), max(int(np.argmax(near)) - 1, 0)) if near.any() else int(declared[0])
    last = int(declared[-1])
    end = last + int(np.argmin(np.append(near[last:], False)))
    let_go = np.flatnonzero(job.phase_map.covers("release"))
    end = min(end, relative.samples - 1, int(let_go[0]) if let_go.size else relative.samples)
    return relative, np.arange(first, max(end, last) + 1)


def _until_it_leaves(
    faces: Sequence[PadFace],
    relative: RelativeMotion,
    samples: NDArray[np.intp],
    declared: NDArray[np.intp],
    kept: float,
) -> tuple[ContactHistory, NDArray[np.intp], int | None, float]:
    """Simulate up to where the part leaves its tray for good.

    While it hangs on the pads it moves with them: those samples are left out, until the pads are down again as far as
    when it was taken up.

    Returns:
        What the pads did, the samples simulated, the one at which the part leaves (None: it does not), and the highest
        pull on it [N]; inf where it leaves, or where the pads are still on it in the end.
    """
    height = relative.height(centre_of(faces)[None])[:, 0]
    for times in count():
        keep_to_the_budget(times, "take the part out of its tray")
        # What follows a pull is not a part held still: the bond is that of the last sample before.
        history = simulate(faces, relative.take(samples), pull=max(kept, 1e-9))
        at = history.row_of_sample.size - 1
        if at == samples.size - 1:
            break
        after = height[samples[at + 1 :]]
        up = int(np.argmax(np.append(after, np.inf) > height[samples[at]]))
        back = np.flatnonzero(after[up:] <= height[samples[at]])
        if back.size == 0:
            samples = samples[: max(at, 1) + 1]
            history = history if at > 0 else simulate(faces, relative.take(samples))
            return history, samples, int(samples[-1]), np.inf
        samples = np.delete(samples, np.arange(at + 1, at + 1 + up + int(back[0])))
    if within_reach(faces, relative.take(samples[-1:]))[0]:
        return history, samples, None, np.inf
    # The pads have left without the part: what they held is that of the last sample at which they were pressed on.
    last = _last_pressed(history)
    stay = samples[: last + 1] if last is not None else samples[samples <= declared[-1]]
    return simulate(faces, relative.take(stay)), stay, None, float(history.force[:, 2].max())


def _last_pressed(history: ContactHistory) -> int | None:
    """The last sample at which pads press on the part as a whole; None where they never do."""
    pressed = np.flatnonzero(history.force[history.row_of_sample, 2] < 0)
    return int(pressed[-1]) if pressed.size else None


def _pressed(faces: Sequence[PadFace], relative: RelativeMotion, history: ContactHistory) -> ContactHistory:
    """What pads did up to the last sample at which they press on the part: the same where no cell breaks after it."""
    last = _last_pressed(history)
    if last is None or not any((pad.broken > relative.t[last]).any() for pad in history.pads):
        return history
    return simulate(faces, relative.between(0, last))


def preload_samples(job: Job) -> NDArray[np.intp]:
    """Return the samples of the preload of a job with a pick face, shape (m,); none where there is no such phase.

    Raises:
        InputError: It does not come before the carry, or not in one stretch.
    """
    if job.pick is None or not job.phases:
        return np.zeros(0, dtype=np.intp)
    samples = np.flatnonzero(job.phase_map.covers("preload"))
    one_stretch(samples, job, "preload")
    carry = np.flatnonzero(job.phase_map.covers("carry"))
    if samples.size and carry.size and carry[0] < samples[0]:
        raise wrong_order(job, "a preload", int(samples[0]), "after the carry has begun", "a preload before the carry")
    return samples
