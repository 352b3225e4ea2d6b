"""What a job file leaves out and its reader takes for granted, in sentences for the report."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from gripmargin.files.job_schema import Table
from gripmargin.motion.trajectory import JointTrajectory
from gripmargin.workcell.job import Job


def assumptions(job: Job, tables: Table) -> tuple[str, ...]:
    """Return what was assumed, one sentence each, most telling first.

    Args:
        job: The job as read.
        tables: What its file gives.
    """
    return (*_of_phases(job), *_of_program(job, tables), *_of_defaults(job, tables))


def _of_phases(job: Job) -> Iterator[str]:
    t = job.trajectory.t
    for i, phase in enumerate(job.phases):
        if phase.span is not None and (phase.span[0] < t[0] or phase.span[1] > t[-1]):
            yield f"program.phases[{i}] reaches beyond the program ({t[0]:g} s to {t[-1]:g} s) and is cut there."


def _of_program(job: Job, tables: Table) -> Iterator[str]:
    if not isinstance(job.trajectory, JointTrajectory):
        if tables.robot is not None and tables.program is not None:
            yield "The program gives poses of the tool frame: the robot of the job is not used."
        return
    if job.flange is not None and job.flange.wrist is not None:
        yield "The program gives joint values, which tell where the axes of the wrist stand: flange.wrist is not used."
    is_message = Path(tables.program.trajectory or "").suffix.lower() != ".csv" and job.trajectory.names
    if is_message and job.trajectory.t[0] > 0:
        start = job.trajectory.t[0]
        yield f"The robot's way to the first point of the program (the first {start:g} s) is not known."


def _of_defaults(job: Job, tables: Table) -> Iterator[str]:
    if not np.any(job.gravity):
        yield "There is no gravity: job.gravity is zero."
    elif tables.job.gravity is None:
        yield "Gravity is 9.80665 m/s^2 along -z of the world (default)."
    parts = {"part": tables.part} if tables.part else {f"parts.{name}": each for name, each in tables.parts.items()}
    for key, part in parts.items():
        if part.surface_factor is None:
            yield f"The part's surface holds like the reference surface ({key}.surface_factor = 1, default)."
    fouling = any(p.material.fouling_per_cycle > 0 or p.material.pulls is not None for p in job.gripper.pads)
    if fouling and tables.gripper.cycles_since_cleaning is None:
        yield "The pads are freshly cleaned (gripper.cycles_since_cleaning = 0, default)."
    if any(p.material.recovery is not None for p in job.gripper.pads) and tables.gripper.cleanings is None:
        yield "The pads have never been cleaned (gripper.cleanings = 0, default)."
    given = tables.targets.model_fields_set if tables.targets else set()
    used = {
        "hold": True,
        "stop": job.stop is not None,
        "release": job.nest is not None or bool(job.nests),
        "flange": job.flange is not None,
    }
    for key, is_used in used.items():
        if is_used and key not in given:
            yield f"targets.{key} = {getattr(job.targets, key):g} (default)."
