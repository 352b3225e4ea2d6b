"""The part changes hands: pads against a part that a tray or a nest holds still.

Here the motion of the tool relative to the part's face drives the pads (`gripmargin.contact.simulation`); in
between, in the air, the load of the part does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gripmargin.arrays import FloatArray
from gripmargin.contact.activation import PadFace, pad_faces
from gripmargin.contact.cells import Patch
from gripmargin.contact.relative import RelativeMotion
from gripmargin.contact.simulation import ContactHistory, simulate
from gripmargin.contact.travel import Seating, seating
from gripmargin.errors import InputError
from gripmargin.job import Job
from gripmargin.motion.tool_motion import ToolMotion
from gripmargin.workcell import Gripper


@dataclass(frozen=True, eq=False, kw_only=True)
class Pickup:
    """The preload move against the part in its tray.

    Attributes:
        faces: The pads.
        relative: The tool in the face frame over the preload samples, up to where the part leaves its tray.
        samples: The program's samples in that stretch, shape (n,).
        history: What the pads did.
        lift: Sample at which the pull on the part first exceeds what keeps it in the tray, or None: it is still
            there at the end of the phase.
        restraint: What keeps the part in the tray along the face normal: weight and break-away force [N].
    """

    faces: tuple[PadFace, ...]
    relative: RelativeMotion
    samples: NDArray[np.intp]
    history: ContactHistory
    lift: int | None
    restraint: float


@dataclass(frozen=True, eq=False, kw_only=True)
class Putdown:
    """The release move against the part in its nest.

    Attributes:
        faces: The pads as strong as fresh ones.
        relative: The tool in the face frame over the release samples from where the part is down in the nest.
        samples: The program's samples in that stretch, shape (n,).
        seat: Where the part is set down.
        bond: For each pad the share of its full strength that each cell then holds.
        history: What the pads did; None where the part never comes down.
        index: Index of the release phase in the job.
    """

    faces: tuple[PadFace, ...]
    relative: RelativeMotion
    samples: NDArray[np.intp]
    seat: Seating
    bond: tuple[FloatArray, ...]
    history: ContactHistory | None
    index: int


def pick_up(job: Job, motion: ToolMotion, patches: Sequence[Patch]) -> Pickup | None:
    """Simulate the preload; None where the job has no pick face or no preload phase.

    Raises:
        InputError: The preload does not come before the carry.
    """
    samples = np.flatnonzero(job.phase_map.covers("preload")) if job.phases else np.zeros(0, dtype=np.intp)
    if job.pick is None or samples.size == 0:
        return None
    _one_stretch(samples, job, "preload")
    relative = _relative(motion, samples, job.pick.face)
    faces = pad_faces(patches, job.part, job.gripper, job.pick.flatness)
    weight = -job.part.mass * float(job.gravity @ job.pick.face[:3, 2])
    restraint = max(weight, 0.0) + job.pick.break_away
    history = simulate(faces, relative)
    pulled = np.flatnonzero(history.force[:, 2] > max(restraint, 1e-9))
    lift = int(history.sample[pulled[0]]) if pulled.size else None
    if lift is not None:
        # What follows is not a part held still: the bond is that of the last sample before.
        relative = relative.between(0, max(lift, 1))
        history = simulate(faces, relative)
        samples = samples[: relative.samples]
    return Pickup(
        faces=faces,
        relative=relative,
        samples=samples,
        history=history,
        lift=None if lift is None else int(samples[-1]),
        restraint=restraint,
    )


def put_down(
    job: Job, motion: ToolMotion, patches: Sequence[Patch], bond: Sequence[FloatArray] | None
) -> tuple[Putdown, ...]:
    """Simulate every release phase; empty where the job has no nest face or no release phase.

    Args:
        job: The job.
        motion: Of the tool.
        patches: The pads' contacts.
        bond: For each patch the share of its full strength that each cell holds; None: all of it.
    """
    if job.nest is None:
        return ()
    faces = pad_faces(patches, job.part, _fresh(job), 0.0)
    found = []
    for index, phase in enumerate(job.phases):
        if phase.kind != "release":
            continue
        samples = np.flatnonzero(job.phase_map.of(index))
        _one_stretch(samples, job, "release")
        relative = _relative(motion, samples, job.nest.face)
        start = bond if bond is not None else [np.ones(patch.areas.size) for patch in patches]
        seat = seating(faces, relative)
        relative, samples = relative.between(seat.sample, relative.samples - 1), samples[seat.sample :]
        found.append(
            Putdown(
                faces=faces,
                relative=relative,
                samples=samples,
                seat=seat,
                bond=tuple(start),
                history=simulate(faces, relative, start) if seat.seated else None,
                index=index,
            )
        )
    return tuple(found)


def _relative(motion: ToolMotion, samples: NDArray[np.intp], face: FloatArray) -> RelativeMotion:
    return RelativeMotion.of(motion.t[samples], motion.rotation[samples], motion.position[samples], face)


def _fresh(job: Job) -> Gripper:
    """The gripper just after cleaning: letting go is judged against the strongest hold."""
    return replace(job.gripper, cycles_since_cleaning=0.0)


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
