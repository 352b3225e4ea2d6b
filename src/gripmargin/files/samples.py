"""What the samples of every format have to keep: times that increase, angles in radians, labels on one line."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray, first_wrong
from gripmargin.base.errors import InputError
from gripmargin.files.source import printable
from gripmargin.motion.chain import Chain
from gripmargin.motion.trajectory import JointTrajectory
from gripmargin.workcell.job import matched_to_robot

# Beyond two turns a revolute joint in radians is a column of degrees; wrists turn up to one turn each way.
SURELY_DEGREES: Final = 4 * np.pi

LONGEST_LABEL: Final = 200  # [characters]

# Names a place for an error: sample (or None: the file) and column or joint (or None: the row).
Locate = Callable[[int | None, str | None], str]


def check_times(t: FloatArray, locate: Locate) -> None:
    """Refuse times that repeat or go back.

    Raises:
        InputError: With the place of the first such sample.
    """
    steps = np.diff(t)
    if not (steps > 0).all():
        i = int(np.argmin(steps > 0))
        what = "a time that repeats" if steps[i] == 0 else "a time that goes back"
        raise InputError(
            locate(i + 1, None),
            f"{what}: {t[i]:.9g} s, then {t[i + 1]:.9g} s",
            "times that increase",
            "remove the sample or repair its time",
        )


def check_labels(moves: Sequence[str], locate: Locate) -> None:
    """Refuse labels of moves that do not fit on one line.

    Raises:
        InputError: With the place of the first such label.
    """
    for label in dict.fromkeys(moves):
        if not label.isprintable() or len(label) > LONGEST_LABEL:
            due = f"plain text of at most {LONGEST_LABEL} characters on one line"
            raise InputError(locate(moves.index(label), "move"), f"the label '{printable(label)}'", due)


def check_radians(q: FloatArray, names: Sequence[str], locate: Locate, which: Sequence[bool]) -> None:
    """Refuse angles in radians that are surely degrees.

    Args:
        q: Joint positions [rad or m], shape (n, joints).
        names: What to call the columns or joints.
        locate: Names a place for an error.
        which: For each column whether it is an angle that was given in radians.

    Raises:
        InputError: With the place of the first such value.
    """
    if (found := first_wrong(q, lambda some: (np.abs(some) > SURELY_DEGREES) & np.asarray(which))) is not None:
        row, k = found
        raise InputError(
            locate(row, names[k]),
            f"an angle of {q[row, k]:.6g} rad",
            "at most two turns (12.57 rad)",
            "these are surely degrees: repair the unit or the values",
        )


def in_order_of(robot: Chain | None, trajectory: JointTrajectory, where: str, locate: Locate) -> JointTrajectory:
    """Put named joints in the order of a robot, if there is one, and refuse angles that are surely degrees.

    Args:
        robot: The robot; None: the joints stay as they are.
        trajectory: Joint values in radians and metres, with the names of the joints.
        where: What to call the names in an error.
        locate: Names a place for an error.

    Raises:
        InputError: Other joints than the robot's, or degrees.
    """
    if robot is None:
        return trajectory
    try:
        matched = matched_to_robot(trajectory, robot)
    except InputError as error:
        raise error.at(where) from error
    check_radians(matched.q, matched.names, locate, robot.revolute)
    return matched
