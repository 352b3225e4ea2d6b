"""Pads are as clean and as whole as cleaning moves before a hold are shown to leave them."""

from __future__ import annotations

from dataclasses import dataclass, replace

from gripmargin.checks.case import dense
from gripmargin.checks.cleaning.moves import doubts_after, moves_in
from gripmargin.motion.program import ProgramMotion
from gripmargin.workcell import Gripper
from gripmargin.workcell.job import Job


@dataclass(frozen=True, kw_only=True)
class Kept:
    """What is not known of pads, in a sentence each; empty: they are as is counted.

    Attributes:
        dirty: Why they may be dirtier.
        buckled: Why they may be weaker for good.
    """

    dirty: str = ""
    buckled: str = ""

    def said(self, gripper: Gripper) -> tuple[str, ...]:
        """Return what of it counts for pads: dirt where it takes strength, and loads that are known to be too high."""
        materials = [pad.material for pad in gripper.pads]
        fouls = any(each.pulls is not None or each.fouling_per_cycle > 0 for each in materials)
        buckles = any(each.overload_pressure is not None for each in materials)
        return tuple(filter(None, (self.dirty if fouls else "", self.buckled if buckles else "")))


def kept_clean(job: Job, motion: ProgramMotion, before: Kept) -> tuple[Job, Kept]:
    """Return a job with what is not known of its pads, and what is not known after it.

    Args:
        job: Of one hold.
        motion: Over its stretch of the program.
        before: What is not known where that begins.
    """
    stretches = job.phase_map.stretches()
    begin, now, at_begin = stretches[0][0] if stretches else job.trajectory.samples, before, before
    counts = Kept(dirty="counts", buckled="counts").said(job.gripper)
    for move in moves_in(job) if counts else ():
        dirty, buckled = doubts_after(job, motion.at, move)
        now = Kept(dirty=dirty, buckled=now.buckled or buckled)
        if move.meetings[0].first < begin:
            at_begin = now
    return replace(job, uncleaned=at_begin.said(job.gripper)), now


def alone(job: Job) -> tuple[Job, ProgramMotion | None]:
    """Return a job of one hold with what is not known of its pads, and its motion where that had to be worked out."""
    if not job.phase_map.covers("clean").any():
        return job, None
    job = replace(job, trajectory=dense(job.trajectory, job.stamps))
    motion = ProgramMotion.of(job.trajectory, job.robot, stamps=job.stamps)
    return kept_clean(job, motion, Kept())[0], motion
