"""What a job asks of one hold, in the stretch of the program that belongs to it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from gripmargin.motion.trajectory import Trajectory
from gripmargin.workcell.holds import Hold
from gripmargin.workcell.job import Job
from gripmargin.workcell.phases import PhaseMap
from gripmargin.workcell.process import Process
from gripmargin.workcell.task import Phase


def asked_in(job: Job, hold: Hold, trajectory: Trajectory, first: int) -> Job:
    """Return what is asked of a hold as a job of one part, over its stretch of the program.

    Args:
        job: The program's.
        hold: The hold.
        trajectory: Its stretch.
        first: Sample of the program that is the first of the stretch.
    """
    phases = tuple(_phases(job, hold, trajectory, first))
    return hold.job(
        job,
        name=f"{job.name}, hold {hold.name}",
        trajectory=trajectory,
        phases=phases,
        cleaners=job.cleaners if not job.phase_map.cleanings() or any(each.kind == "clean" for each in phases) else (),
        process=tuple(_forces(job, trajectory)),
    )


def _phases(job: Job, hold: Hold, trajectory: Trajectory, first: int) -> Iterator[Phase]:
    """The phases of the hold, and free ones; by times where their labels mean something else in the stretch as well."""
    labels = set(trajectory.moves or ())
    for index, phase in enumerate(job.phases):
        within = first, first + trajectory.samples - 1
        stretches = job.phase_map.cleanings() if phase.kind == "clean" else hold.stretches
        own = [
            (max(begin, within[0]) - first, min(end, within[1]) - first)
            for begin, end, i in stretches
            if i == index and begin <= within[1] and (begin if phase.kind == "clean" else end) >= within[0]
        ]
        bare = replace(phase, part=None, pick=None, nest=None)
        if phase.moves is not None:
            known = tuple(label for label in phase.moves if label in labels)
            bare = replace(bare, moves=known) if known else bare
            if not known or (phase.kind == "free" and not _is_free(job, known)):
                continue
            wanted = np.zeros(trajectory.samples, dtype=bool)
            for begin, end in own:
                wanted[begin : end + 1] = True
            if phase.kind == "free" or np.array_equal(PhaseMap((bare,), trajectory).of(0), wanted):
                yield bare
                continue
        elif phase.kind == "free":
            if phase.span is not None and phase.span[0] < trajectory.t[-1] and phase.span[1] > trajectory.t[0]:
                yield bare
            continue
        for begin, end in own:
            start, stop = float(trajectory.t[begin]), float(trajectory.t[end])
            yield replace(
                bare, moves=None, start=start, end=stop if stop > start else float(np.nextafter(start, np.inf))
            )


def _is_free(job: Job, labels: tuple[str, ...]) -> bool:
    """Whether labels are those of free phases alone."""
    return not any(phase.kind != "free" and set(labels) & set(phase.moves or ()) for phase in job.phases)


def _forces(job: Job, trajectory: Trajectory) -> Iterator[Process]:
    """The forces of the process that act in the stretch."""
    labels, t = set(trajectory.moves or ()), trajectory.t
    for force in job.process:
        if force.span is not None:
            if force.span[0] < t[-1] and force.span[1] > t[0]:
                yield force
        elif known := tuple(label for label in force.moves or () if label in labels):
            yield replace(force, moves=known)
