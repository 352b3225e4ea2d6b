"""The part changes hands: pads against a part that a tray or a nest holds still.

Here the motion of the tool relative to the part's face drives the pads (`gripmargin.contact.simulation`); in
between, in the air, the load of the part does.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.contact.activation import PadFace, pad_faces
from gripmargin.contact.cells import Patch
from gripmargin.contact.relative import RelativeMotion
from gripmargin.contact.restraint import Restraint, restraint
from gripmargin.contact.simulation import ContactHistory, simulate
from gripmargin.contact.travel import Seating, seating
from gripmargin.motion.tool_motion import ToolMotion
from gripmargin.workcell import Nest, Pick, ReleaseKind
from gripmargin.workcell.job import Job

FACING = np.deg2rad(45.0)  # angle between pads and face from which on the face is surely given wrongly


@dataclass(frozen=True, eq=False, kw_only=True)
class Pickup:
    """The preload move against the part in its tray.

    Attributes:
        pick: The tray.
        faces: The pads.
        relative: The tool in the face frame over the preload samples, up to where the part leaves its tray.
        samples: The program's samples in that stretch, shape (n,).
        history: What the pads did where the face lies lowest, by its flatness.
        hard: The same where it lies highest: on the face plane.
        lift: Sample at which the pull on the part first exceeds what keeps it in the tray, or None: it is still
            there at the end of the phase.
        restraint: What keeps the part in the tray along the face normal: weight and break-away force [N].
    """

    pick: Pick
    faces: tuple[PadFace, ...]
    relative: RelativeMotion
    samples: NDArray[np.intp]
    history: ContactHistory
    hard: ContactHistory
    lift: int | None
    restraint: float

    @property
    def bond(self) -> tuple[FloatArray, ...]:
        """Share of its full strength that each cell surely holds, wherever in its flatness the face lies."""
        return tuple(np.minimum(a, b) for a, b in zip(self.history.bond, self.hard.bond, strict=True))

    @property
    def strongest(self) -> tuple[FloatArray, ...] | None:
        """The largest share that each cell may hold; None where no measured curve says so: all of it."""
        if any(face.law.source != "measured curve" for face in self.faces):
            return None
        return tuple(np.maximum(a, b) for a, b in zip(self.history.bond, self.hard.bond, strict=True))


@dataclass(frozen=True, eq=False, kw_only=True)
class Putdown:
    """A release phase, from where the part is set down or is nearest to its nest.

    Attributes:
        nest: Where the part is left.
        kind: How the phase says that it lets go; None where it does not say.
        faces: The pads, as strong as just after cleaning: letting go is judged against the strongest hold.
        on_the_way: The program's samples of the phase before, shape (m,).
        samples: Those from there on, shape (n,).
        relative: The tool in the face frame over these.
        seat: Where the part is set down.
    """

    nest: Nest
    kind: ReleaseKind | None
    faces: tuple[PadFace, ...]
    on_the_way: NDArray[np.intp]
    samples: NDArray[np.intp]
    relative: RelativeMotion
    seat: Seating


@dataclass(frozen=True, eq=False, kw_only=True)
class Release(Putdown):
    """A putdown of a part that is down in its nest, simulated.

    Attributes:
        bond: For each pad the share of its full strength that each cell holds at first.
        history: What the pads did.
    """

    bond: tuple[FloatArray, ...]
    history: ContactHistory

    def restraint(self, job: Job, wrench: FloatArray, *, hold_down: float = 0.0) -> Restraint:
        """Return demand and restraint of the part in its nest.

        Args:
            job: With part and gravity.
            wrench: Of the pads on the part about the face frame's origin, face axes [N, N m], shape (k, 6).
            hold_down: In addition to that of the nest [N].
        """
        nest = replace(self.nest, hold_down=self.nest.hold_down + hold_down)
        return restraint(job.part, nest, job.gravity, wrench, self.relative.rotation[0], self.relative.position[0])

    @property
    def tool_has_left(self) -> bool:
        """Whether at the end no pad is within reach of the part."""
        end = self.relative.samples - 1
        last = self.relative.between(end, end)
        return all(float(last.height(face.patch.edge).min()) >= face.reach for face in self.faces)


def pick_up(job: Job, motion: ToolMotion, patches: Sequence[Patch]) -> Pickup | None:
    """Simulate the preload; None where the job has no pick face or no preload phase.

    Raises:
        InputError: The preload does not come before the carry, or the pads do not face the part.
    """
    samples = _preload_samples(job)
    if job.pick is None or samples.size == 0:
        return None
    relative = _relative(motion, samples, job.pick.face)
    faces = pad_faces(patches, job.part, job.gripper, job.pick.flatness)
    _look_at_facing(faces, relative, "pick.face")
    weight = -job.part.mass * float(job.gravity @ job.pick.face[:3, 2])
    kept = max(weight, 0.0) + job.pick.break_away
    history = simulate(faces, relative)
    pulled = np.flatnonzero(history.force[:, 2] > max(kept, 1e-9))
    lift = None
    if pulled.size:
        # What follows is not a part held still: the bond is that of the last sample before.
        relative = relative.between(0, max(int(history.sample[pulled[0]]), 1))
        history = simulate(faces, relative)
        samples = samples[: relative.samples]
        lift = int(samples[-1])
    flush = pad_faces(patches, job.part, job.gripper) if job.pick.flatness > 0 else None
    return Pickup(
        pick=job.pick,
        faces=faces,
        relative=relative,
        samples=samples,
        history=history,
        hard=history if flush is None else simulate(flush, relative),
        lift=lift,
        restraint=kept,
    )


def _preload_samples(job: Job) -> NDArray[np.intp]:
    if job.pick is None or not job.phases:
        return np.zeros(0, dtype=np.intp)
    samples = np.flatnonzero(job.phase_map.covers("preload"))
    _one_stretch(samples, job, "preload")
    carry = np.flatnonzero(job.phase_map.covers("carry"))
    if samples.size and carry.size and carry[0] < samples[0]:
        raise _wrong_order(job, "a preload", int(samples[0]), "after the carry has begun", "a preload before the carry")
    return samples


def put_down(
    job: Job, motion: ToolMotion, patches: Sequence[Patch], bond: Sequence[FloatArray] | None
) -> tuple[Putdown, ...]:
    """Simulate every release phase; empty where the job has no nest face or no release phase.

    Args:
        job: The job.
        motion: Of the tool.
        patches: The pads' contacts.
        bond: For each patch the share of its full strength that each cell holds; None: all of it.

    Returns:
        A `Release` for each phase; only a `Putdown` where the part never comes down, or so askew that the pads are
        torn off.
    """
    start = tuple(bond) if bond is not None else tuple(np.ones(patch.areas.size) for patch in patches)
    return tuple(
        Release(**vars(down), bond=start, history=simulate(down.faces, down.relative, start))
        if down.seat.seated and down.seat.flat
        else down
        for down in _putdowns(job, motion, patches)
    )


def in_the_air(job: Job, motion: ToolMotion, patches: Sequence[Patch], pickup: Pickup | None) -> NDArray[np.bool_]:
    """Return the samples of preload and release phases in which the part hangs on the pads all the same, shape (n,).

    Those are the samples of a preload from where the part leaves its tray, and those of a release before it is down
    in its nest.
    """
    mask = np.zeros(job.trajectory.samples, dtype=bool)
    if pickup is not None and pickup.lift is not None:
        mask[pickup.lift :] = job.phase_map.covers("preload")[pickup.lift :]
    for down in _putdowns(job, motion, patches):
        if down.seat.seated:
            mask[down.on_the_way] = True
    return mask


def _putdowns(job: Job, motion: ToolMotion, patches: Sequence[Patch]) -> Iterator[Putdown]:
    if job.nest is None:
        return
    faces = pad_faces(patches, job.part, replace(job.gripper, cycles_since_cleaning=0.0))
    carry = np.flatnonzero(job.phase_map.covers("carry"))
    for index, phase in enumerate(job.phases):
        if phase.kind != "release":
            continue
        samples = np.flatnonzero(job.phase_map.of(index))
        _one_stretch(samples, job, "release")
        if carry.size and carry[0] > samples[0]:
            raise _wrong_order(job, "a release", int(samples[0]), "before the carry", "a release after a carry")
        relative = _relative(motion, samples, job.nest.face)
        _look_at_facing(faces, relative, "nest.face")
        seat = seating(faces, relative)
        yield Putdown(
            nest=job.nest,
            kind=phase.release,
            faces=faces,
            on_the_way=samples[: seat.sample],
            samples=samples[seat.sample :],
            relative=relative.between(seat.sample, relative.samples - 1),
            seat=seat,
        )


def _look_at_facing(faces: Sequence[PadFace], relative: RelativeMotion, where: str) -> None:
    """Refuse a face that the pads do not look at where they are nearest to it."""
    normal = np.stack([face.patch.area * face.patch.rotation[:, 2] for face in faces]).sum(axis=0)
    area = sum(face.patch.area for face in faces)
    if np.linalg.norm(normal) < 0.5 * area:
        return  # pads that grip from several sides face nothing as a whole
    centre = np.average([face.patch.centre for face in faces], axis=0, weights=[face.patch.area for face in faces])
    nearest = int(np.argmin(np.linalg.norm(relative.rotation @ centre + relative.position, axis=1)))
    cosine = -float(relative.rotation[nearest, 2] @ normal) / float(np.linalg.norm(normal))
    angle = float(np.arccos(np.clip(cosine, -1.0, 1.0)))
    if angle > FACING:
        raise InputError(
            where,
            f"a face whose +z axis is {180.0 - np.degrees(angle):.0f} deg from where the pads look",
            "+z out of the part, towards the pads: about 180 deg",
            "turn the face by its rpy, or check the orientation of the tool in the program",
        )


def _wrong_order(job: Job, what: str, sample: int, found: str, expected: str) -> InputError:
    at = f"{what} at {job.trajectory.t[sample]:.3f} s {found}"
    return InputError("program.phases", at, expected, "check each pick as a job of its own")


def _relative(motion: ToolMotion, samples: NDArray[np.intp], face: FloatArray) -> RelativeMotion:
    return RelativeMotion.of(motion.t[samples], motion.rotation[samples], motion.position[samples], face)


def _one_stretch(samples: NDArray[np.intp], job: Job, kind: str) -> None:
    """Refuse a phase that stops and goes on: each of its stretches would be a handover of its own."""
    gaps = np.flatnonzero(np.diff(samples) > 1)
    if gaps.size:
        t = job.trajectory.t
        raise InputError(
            "program.phases",
            f"a {kind} that ends at {t[samples[gaps[0]]]:.3f} s and goes on at {t[samples[gaps[0] + 1]]:.3f} s",
            f"one {kind} without a break for each job",
            "name its moves or times so that they follow each other, and check further picks as jobs of their own",
        )
