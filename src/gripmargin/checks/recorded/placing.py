"""A recording placed in time beside its program, or why that cannot be."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.recorded import words
from gripmargin.checks.recorded.alignment import LATEST, SAME, Alignment, Uncovered, align
from gripmargin.motion.program import ProgramMotion
from gripmargin.motion.trajectory import JointTrajectory, Trajectory
from gripmargin.workcell.job import Job

OTHER: Final = 0.7  # the same of one joint by itself; a wrong sign makes 2, a joint that stands still 1
TURN: Final = 0.1  # [m] arm at which a turn of the tool counts as a way, where poses are compared


@dataclass(frozen=True, eq=False, kw_only=True)
class Placed:
    """A recording beside its program.

    Attributes:
        alignment: How the clocks belong together.
        t: Recorded times, by the program's clock [s], shape (m,).
        labels: Move of the program at each recorded sample; None where moves have no labels.
        programmed: Places of the program at its own samples: joint values, or tool positions with the tool's axes as
            ways at an arm, shape (n, channels).
        recorded: The same of the recording at its samples, shape (m, channels).
        joints: Whether they are joint values.
    """

    alignment: Alignment
    t: FloatArray
    labels: tuple[str, ...] | None
    programmed: FloatArray
    recorded: FloatArray
    joints: bool


def offset_of(job: Job, motion: ProgramMotion) -> float | str:
    """Return by how much the clock of a job's recording leads that of a whole program [s], or why that is not known.

    Args:
        job: With a recording.
        motion: Of its program.
    """
    carried, recording = np.flatnonzero(job.phase_map.covers("carry")), job.recording
    if recording is None or carried.size == 0 or (places := _places(job, motion, recording)) is None:
        return words.JOINTS_BESIDE_POSES
    t = job.trajectory.t
    span = float(t[carried[0]]), float(t[carried[-1]])
    found = align(t, places[0], recording.t, places[1], span)
    if isinstance(found, Uncovered):
        return words.too_short(recording.t[-1] - recording.t[0], span, (found.before, found.after))
    return _doubt(found, joints=isinstance(recording, JointTrajectory), given=None) or found.offset


def placed(case: Case, recording: Trajectory) -> Placed | str:
    """Place a recording beside its program.

    Args:
        case: The job.
        recording: What the robot did.

    Returns:
        Both; or why they cannot be compared, in a sentence.
    """
    program, joints = case.job.trajectory, isinstance(recording, JointTrajectory)
    places = _places(case.job, case.motion, recording)
    if places is None:
        return words.JOINTS_BESIDE_POSES
    programmed, recorded = places
    carried, given = program.t[case.carried], case.job.recording_offset
    span = float(carried[0]), float(carried[-1])
    found = align(program.t, programmed, recording.t, recorded, span, offset=given)
    if isinstance(found, Uncovered):
        return words.too_short(recording.t[-1] - recording.t[0], span, (found.before, found.after)) + words.by_offset(
            given
        )
    doubt = _doubt(found, joints=joints, given=given)
    if doubt:
        return doubt
    t = recording.t - found.offset
    now = np.clip(np.searchsorted(program.t, t, side="right") - 1, 0, program.samples - 1)
    return Placed(
        alignment=found,
        t=t,
        labels=None if program.moves is None else tuple(program.moves[i] for i in now),
        programmed=programmed,
        recorded=recorded,
        joints=joints,
    )


def _places(job: Job, motion: ProgramMotion, recording: Trajectory) -> tuple[FloatArray, FloatArray] | None:
    """What is compared, of the program and of the recording; None where they have nothing in common."""
    program = job.trajectory
    if isinstance(recording, JointTrajectory):
        return (program.q, recording.q) if isinstance(program, JointTrajectory) else None
    poses = recording if job.frame is None else recording.regripped(job.frame)
    return _ways(motion.at.position, motion.at.rotation), _ways(poses.position, poses.rotation)


def _ways(position: FloatArray, rotation: FloatArray) -> FloatArray:
    return np.hstack([position, TURN * rotation.reshape(len(position), 9)])


def _doubt(found: Alignment, *, joints: bool, given: float | None) -> str | None:
    """Why a recording is not taken for one run of the program, given its offset or not; None where it is."""
    if not found.misfit <= SAME:
        return words.another_motion(found.misfit) + words.by_offset(given)
    if found.astray:
        return words.astray(LATEST) + words.by_offset(given)
    if joints and (found.apart > OTHER).any():
        joint = int(np.nanargmax(found.apart))
        return words.joint_apart(joint, float(found.apart[joint]))
    return words.several_runs(found.runs) if found.runs > 1 else None


def carried_moves(case: Case) -> list[str | None]:
    """Return the labels of the carried moves in the order of the program; one None where moves have no labels."""
    moves = case.job.trajectory.moves
    return [None] if moves is None else list(dict.fromkeys(moves[i] for i in case.carried))


def way_of(case: Case, placed: Placed) -> float:
    """Return how far the carry spreads about its mean place, root mean square, in the units of the places."""
    return float(np.sqrt(placed.programmed[case.carried].var(axis=0).sum()))
