"""The cleaning moves of a program: which pads meet which cleaner when, and what has to be known of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from gripmargin.base.errors import BudgetError
from gripmargin.checks.case import Case
from gripmargin.checks.cleaning import words
from gripmargin.checks.cleaning.figures import Gap
from gripmargin.contact.cleaning import Cleaned, Course, cleaned, misses
from gripmargin.contact.handover_phases import relative_to
from gripmargin.contact.relative import RelativeMotion
from gripmargin.motion.tool_motion import ToolMotion
from gripmargin.results.findings import on_target
from gripmargin.workcell import Cleaner, Pad
from gripmargin.workcell.job import Job

WITH_PART = ("preload", "carry", "release")


@dataclass(frozen=True, eq=False, kw_only=True)
class Meeting:
    """Pads on one cleaner.

    Attributes:
        cleaner: Which; None where the job says nothing of it.
        first: First sample of its clean phases.
        last: Their last sample.
        then: The last sample before a part is taken, or before the next cleaning.
    """

    cleaner: Cleaner | None
    first: int
    last: int
    then: int


@dataclass(frozen=True, eq=False, kw_only=True)
class Move:
    """One cleaning: meetings with no part in between; each place has to be cleaned in one of them."""

    meetings: tuple[Meeting, ...]

    @property
    def name(self) -> str:
        """Names of its cleaners."""
        names = dict.fromkeys(each.cleaner.name for each in self.meetings if each.cleaner is not None)
        return ", ".join(names)


def moves_of(case: Case) -> tuple[Move, ...]:
    """Return the cleaning moves of a program, in their order."""
    return moves_in(case.job)


def moves_in(job: Job) -> tuple[Move, ...]:
    """Return the cleaning moves of a job, in their order."""
    phases, n = job.phase_map, job.trajectory.samples
    busy = np.any([phases.covers(kind) for kind in WITH_PART], axis=0)  # type: ignore[arg-type]
    stretches = []
    for i, phase in enumerate(job.phases):
        if phase.kind != "clean":
            continue
        for run in np.split(where := np.flatnonzero(phases.of(i)), np.flatnonzero(np.diff(where) > 1) + 1):
            stretches.append((int(run[0]), int(run[-1]), job.cleaner_of(phase)))
    stretches.sort(key=lambda each: each[0])
    groups: list[list[tuple[int, int, Cleaner | None]]] = []
    for stretch in stretches:
        if groups and not busy[groups[-1][-1][1] + 1 : stretch[0]].any():
            groups[-1].append(stretch)
        else:
            groups.append([stretch])
    ends = [*(group[0][0] - 1 for group in groups[1:]), *([n - 1] if groups else [])]
    return tuple(_move(group, busy, end) for group, end in zip(groups, ends, strict=True))


def _move(
    group: list[tuple[int, int, Cleaner | None]], busy: np.ndarray[tuple[int], np.dtype[np.bool_]], end: int
) -> Move:
    meetings = []
    for cleaner in dict.fromkeys(each[2] for each in group):
        own = [each for each in group if each[2] is cleaner]
        first, last = own[0][0], max(each[1] for each in own)
        taken = np.flatnonzero(busy[last + 1 : end + 1])
        meetings.append(
            Meeting(cleaner=cleaner, first=first, last=last, then=last + int(taken[0]) if taken.size else end)
        )
    return Move(meetings=tuple(meetings))


def unknown(cleaner: Cleaner | None) -> Iterator[str]:
    """Yield what has to be known of a cleaner for what it cleans, a sentence each."""
    if cleaner is None:
        yield words.NO_CLEANER
        return
    if cleaner.least_pressure is None:
        yield words.not_known(cleaner, "what pressure cleans", "least_pressure")
    if (cleaner.outline if cleaner.radius is None else cleaner.length) is None:
        yield words.not_known(cleaner, "how large it is", "outline" if cleaner.radius is None else "length")
    if not cleaner.rigid and cleaner.normal_stiffness is None:
        yield words.not_known(cleaner, "whether it gives way", "normal_stiffness", "rigid = true if it hardly does")
    slips = cleaner.least_slip > 0.0 or cleaner.most_slip is not None
    if slips and cleaner.radius is not None and cleaner.turns_freely is None:
        yield words.not_known(cleaner, "whether it turns with the pads", "turns_freely")
    if cleaner.most_uses is not None and (cleaner.uses is None or cleaner.uses >= cleaner.most_uses):
        yield words.used_up(cleaner)


def unknown_fixing(cleaner: Cleaner | None) -> Iterator[str]:
    """Yield what has to be known of a cleaner for what it withstands, a sentence each."""
    if cleaner is None:
        yield words.NO_CLEANER
        return
    if (cleaner.outline if cleaner.radius is None else cleaner.length) is None:
        yield words.not_known(cleaner, "how large it is", "outline" if cleaner.radius is None else "length")
    if cleaner.tack is None:
        yield words.not_known(cleaner, "how it sticks to pads", "tack")
    if cleaner.fixing_force is None or cleaner.fixing_moment is None:
        yield words.not_known(cleaner, "what its fixing takes", "fixing_force and fixing_moment")


def motion_of(tool: ToolMotion, meeting: Meeting, last: int) -> RelativeMotion:
    """Return the tool in the frame of a cleaner, up to a sample."""
    face = np.eye(4) if meeting.cleaner is None else meeting.cleaner.face
    return relative_to(tool, np.arange(meeting.first, last + 1), face)


def over(tool: ToolMotion, move: Move) -> list[tuple[Cleaner, RelativeMotion]]:
    """Return the cleaners of a move, each with the motion of the tool in its frame."""
    return [(m.cleaner, motion_of(tool, m, m.last)) for m in move.meetings if m.cleaner is not None]


def faces(cleaners: list[tuple[Cleaner, RelativeMotion]], pads: tuple[Pad, ...]) -> tuple[Cleaned, ...]:
    """Return how far each pad is clean after motions over cleaners.

    Args:
        cleaners: Each with the motion of the tool in its frame.
        pads: Of the tool.
    """
    courses = [Course(cleaner, pads, motion) for cleaner, motion in cleaners]
    return tuple(cleaned(courses, pad) for pad in pads)


def cleans(cleaners: list[tuple[Cleaner, RelativeMotion]], pads: tuple[Pad, ...], wanted: float, gap: Gap) -> bool:
    """Return whether motions over cleaners clean a share of all faces.

    Args:
        cleaners: Each with the motion of the tool in its frame.
        pads: Of the tool.
        wanted: The share.
        gap: A place that was dirty before a change.
    """
    courses = [Course(cleaner, pads, motion) for cleaner, motion in cleaners]
    for pad in pads if on_target([wanted], 1.0) else ():
        if misses(courses, pad, np.array([gap.where] if pad.name == gap.pad else np.zeros((0, 2)))):
            return False
    return on_target(share_of(tuple(cleaned(courses, pad, wanted=wanted) for pad in pads))[0], wanted)


def share_of(found: tuple[Cleaned, ...]) -> tuple[float, float]:
    """Return the least and the largest share of all faces that is clean."""
    areas = np.array([each.areas.sum() for each in found])
    low, high = np.array([each.share for each in found]).T
    return float(areas @ low / areas.sum()), float(areas @ high / areas.sum())


def bottoms(faces: tuple[Cleaned, ...]) -> bool:
    """Return whether a backing is pressed in by more than it is thick."""
    materials = [(each.pad.material, float(each.felt.peak.max())) for each in faces]
    return any(
        m.backing_thickness is not None and peak / m.normal_stiffness >= m.backing_thickness for m, peak in materials
    )


def doubts_after(job: Job, tool: ToolMotion, move: Move) -> tuple[str, str]:
    """Return why pads are not known to be clean after a move, and why not to be whole; empty: they are.

    Args:
        job: What asks for it.
        tool: Its motion.
        move: One of its cleaning moves.
    """
    at = float(job.trajectory.t[move.meetings[0].first])
    if any(True for meeting in move.meetings for _ in unknown(meeting.cleaner)):
        return words.not_shown(at), words.may_be_buckled(at)
    try:
        found = faces(over(tool, move), job.gripper.pads)
    except BudgetError:
        return words.not_shown(at), words.may_be_buckled(at)
    clean = on_target(share_of(found)[0], job.targets.cleaning) and not bottoms(found)
    buckled = [each for each in found if each.felt.peak.max() > (each.pad.material.overload_pressure or np.inf)]
    return "" if clean else words.not_shown(at), words.may_be_buckled(at) if buckled else ""


def shifted(motion: RelativeMotion, x: float = 0.0, y: float = 0.0, z: float = 0.0) -> RelativeMotion:
    """Return a motion in another place of the cleaner's frame [m]."""
    return replace(motion, position=motion.position + np.array([x, y, z]))
