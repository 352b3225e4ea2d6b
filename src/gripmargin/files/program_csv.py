"""A joint program as CSV text, as `gripmargin.files.csv_file` reads it."""

from __future__ import annotations

import csv
import io

import numpy as np

from gripmargin.errors import InputError
from gripmargin.job import Job
from gripmargin.motion.trajectory import JointTrajectory


def program_csv(job: Job) -> str:
    """Return a joint program as CSV: radians and metres to twelve digits, so that the file is judged as the job was.

    Raises:
        InputError: The program is one of poses.
    """
    trajectory, robot = job.trajectory, job.robot
    if not isinstance(trajectory, JointTrajectory) or robot is None:
        raise InputError(trajectory.source, "a program of poses", "a joint program")
    names, columns = ["t [s]"], [trajectory.t[:, None]]
    for name, per, values in (("q", "", trajectory.q), ("qd", "/s", trajectory.qd), ("qdd", "/s^2", trajectory.qdd)):
        if values is not None:
            names += [f"{name}{i + 1} [{'rad' if turns else 'm'}{per}]" for i, turns in enumerate(robot.revolute)]
            columns.append(values)
    numbers = np.hstack(columns)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    moves = trajectory.moves
    writer.writerow(names + (["move"] if moves else []))
    for i, row in enumerate(numbers.tolist()):
        writer.writerow([f"{x:.12g}" for x in row] + ([moves[i]] if moves else []))
    return out.getvalue()
