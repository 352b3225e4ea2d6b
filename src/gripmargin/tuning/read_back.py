"""What is written is read back and checked, and so is what a controller gets that takes positions alone."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from gripmargin.base.arrays import FloatArray
from gripmargin.files.trajectory_file import read_trajectory
from gripmargin.files.trajectory_writer import trajectory_bytes
from gripmargin.kernels.time_law import evaluated
from gripmargin.motion.trajectory import JointTrajectory, Trajectory
from gripmargin.results.tuned import Tuning
from gripmargin.tuning.kept import joined
from gripmargin.tuning.shapes import by_shape
from gripmargin.tuning.verify import Judged, judged
from gripmargin.workcell.job import Job

PERIOD = 0.004  # [s] of a controller that takes positions alone
DIGITS = np.deg2rad(1e-4), 1e-6  # [rad, m] to which it takes those of joints that turn, and that slide


def written(tuning: Tuning, ending: str) -> tuple[Tuning, bytes | None]:
    """Return the retimed program as a file, and the outcome: where the file, read back, does not pass there is none.

    Args:
        tuning: With a retimed program.
        ending: Of the file, such as ".csv".

    Raises:
        InputError: The format cannot say the program.
    """
    retimed = tuning.retimed
    if retimed is None or not retimed.passed:
        return tuning, None
    job = retimed.job
    data = trajectory_bytes(job.trajectory, ending, robot=job.robot)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / f"program{ending}"
        file.write_bytes(data)
        read = read_trajectory(file, robot=job.robot)
    found = judged(replace(job, trajectory=replace(read, moves=_labels(read, job.trajectory))), trial=True)
    if found.passed:
        return tuning, data
    short = "; ".join(s.text for s in found.shortfalls)
    blocked = (*tuning.blocked, f"the file, read back, does not pass and is not written: {short}")
    return replace(tuning, verdict=found.report.verdict, blocked=blocked), None


def as_positions(job: Job) -> Judged | None:
    """Return what the checker says of a joint program as positions alone, even and rounded; None for poses.

    What does not pass by the samples alone is judged by the law of its moves, where they show one: it has the rates of
    that law then, at the samples of the program.
    """
    old, robot = job.trajectory.own[0], job.robot
    if not isinstance(old, JointTrajectory) or robot is None:
        return None
    t = old.t[0] + PERIOD * np.arange(int(np.ceil((old.t[-1] - old.t[0]) / PERIOD - 1e-6)) + 1)
    digits = np.where(robot.revolute, *DIGITS)
    places = np.round(_positions(old, np.minimum(t, old.t[-1])) / digits) * digits
    sampled = JointTrajectory(t=t, q=places, names=old.names, source=f"{old.source}, as positions")
    sampled = replace(sampled, moves=_labels(sampled, old))
    found = judged(replace(job, trajectory=sampled), trial=True)
    shaped = None if found.passed else by_shape(sampled)
    if shaped is None:
        return found
    q, qd, qdd = _between(shaped.trajectory, old.t)
    return judged(replace(job, trajectory=replace(old, q=q, qd=qd, qdd=qdd)), trial=True)


def _positions(old: JointTrajectory, t: FloatArray) -> FloatArray:
    if old.qd is None or old.qdd is None:
        return np.asarray(CubicSpline(old.t, old.q)(t))
    return _between(old, t)[0]


def _between(old: JointTrajectory, t: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Positions, speeds and accelerations of a program with rates at other times, shape (m, joints) each."""
    given, law = joined(old)
    i = np.clip(np.searchsorted(given.t, t, side="right") - 1, 0, given.t.size - 2)
    return evaluated(given, law, i, (t - given.t[i]) / np.diff(given.t)[i])


def _labels(read: Trajectory, old: Trajectory) -> tuple[str, ...] | None:
    """The labels of a trajectory; where it has none, those of another one at the same times."""
    if old.moves is None or read.moves is not None:
        return read.moves
    at: NDArray[np.intp] = np.searchsorted(old.t, read.t + 1e-9, side="right") - 1
    return tuple(old.moves[i] for i in np.clip(at, 0, old.samples - 1))
