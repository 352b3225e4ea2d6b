"""A trajectory as named columns, the counterpart of `gripmargin.files.table`: what CSV, .npz and tables hold."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.files.samples import Locate, check_labels, check_radians
from gripmargin.motion.chain import Chain
from gripmargin.motion.trajectory import POSE_RATES, JointTrajectory, Trajectory
from gripmargin.workcell.job import matched_to_robot

_UNITS = {"q": ("rad", "m"), "qd": ("rad/s", "m/s"), "qdd": ("rad/s^2", "m/s^2")}


def named_columns(trajectory: Trajectory, robot: Chain | None = None) -> dict[str, NDArray[Any]]:
    """Return the columns of a trajectory under the names of a CSV header, in SI units and radians.

    Args:
        trajectory: Joint values, or poses (as unit quaternions).
        robot: The robot that moves: puts named joints in its order and tells joints that slide. None: all joints
            turn, in the order of the columns.

    Returns:
        Arrays of numbers, shape (n,), and under "move" one of text where samples have labels.

    Raises:
        InputError: Something that columns cannot say: named joints without the robot whose order they follow, or
            points that a controller joins by straight lines.
    """
    columns: dict[str, NDArray[Any]] = {"t [s]": trajectory.t}
    if isinstance(trajectory, JointTrajectory):
        columns |= _joint_columns(trajectory, robot)
    else:
        columns |= {f"{axis} [m]": trajectory.position[:, k] for k, axis in enumerate("xyz")}
        quaternions = unit_quaternions(trajectory.rotation)
        columns |= {f"q{axis}": quaternions[:, k] for k, axis in enumerate("xyzw")}
        for names, rows, units in zip(POSE_RATES, trajectory.rates, list(_UNITS.values())[1:], strict=True):
            if rows is not None:
                columns |= {f"{name} [{units[k < 3]}]": rows[:, k] for k, name in enumerate(names)}
    if trajectory.moves is not None:
        _check_moves(trajectory)
        columns["move"] = np.array(trajectory.moves, dtype=np.str_)
    return columns


def _joint_columns(trajectory: JointTrajectory, robot: Chain | None) -> dict[str, NDArray[Any]]:
    if trajectory.interpolation == "linear":
        raise InputError(
            f"{trajectory.source} interpolation",
            "points that a controller joins by straight lines",
            "samples of a motion",
            "columns cannot say so: write it as a message (.yaml or .json)",
        )
    if robot is not None:
        trajectory = matched_to_robot(trajectory, robot)
    elif trajectory.names:
        raise InputError(
            f"{trajectory.source} names",
            f"named joints ({', '.join(trajectory.names)})",
            "the robot, whose order columns follow",
            "hand in the robot, or write it as a message (.yaml or .json), which has names",
        )
    revolute = robot.revolute if robot is not None else (True,) * trajectory.q.shape[1]
    parts = {"q": trajectory.q, "qd": trajectory.qd, "qdd": trajectory.qdd}
    columns = {
        f"{kind}{k + 1} [{_UNITS[kind][0 if turns else 1]}]": values[:, k]
        for kind, values in parts.items()
        if values is not None
        for k, turns in enumerate(revolute)
    }
    check_radians(trajectory.q, list(columns), _place(trajectory.source), revolute)
    return columns


def _check_moves(trajectory: Trajectory) -> None:
    """Refuse labels that would not come back as they are."""
    labels = trajectory.moves or ()
    check_labels(labels, _place(trajectory.source))
    for label in dict.fromkeys(labels):
        if label != label.strip():
            raise InputError(f"{trajectory.source} moves", f"the label {label!r}", "labels without blanks around them")


def _place(source: str) -> Locate:
    return lambda row, column: f"{source} sample {row}, column '{column}'"


def unit_quaternions(rotation: FloatArray) -> FloatArray:
    """Return rotations as unit quaternions, scalar last, none turned against the one before it.

    Args:
        rotation: Rotation matrices, shape (n, 3, 3).

    Returns:
        Shape (n, 4); the first has w >= 0.
    """
    from scipy.spatial.transform import Rotation  # noqa: PLC0415 - takes 0.1 s to import

    quaternions = Rotation.from_matrix(rotation).as_quat(canonical=True)
    turned = np.einsum("nk,nk->n", quaternions[1:], quaternions[:-1]) < 0
    signs = np.cumprod(np.concatenate([[1.0], np.where(turned, -1.0, 1.0)]))
    return np.asarray(quaternions * signs[:, None] + 0.0)
