"""``trajectory_msgs/JointTrajectory`` messages in memory: taken as objects or trees, given as trees of plain values."""

from __future__ import annotations

from operator import index
from pathlib import Path
from typing import Any, Final

import numpy as np

from gripmargin.base.errors import InputError
from gripmargin.files.ros_message import message_points, unwrapped_message
from gripmargin.motion.chain import Chain
from gripmargin.motion.interpolate import as_controller_moves
from gripmargin.motion.trajectory import JointTrajectory, Trajectory
from gripmargin.workcell.job import matched_to_robot

_FIELDS: Final = {"positions": "q", "velocities": "qd", "accelerations": "qdd"}
_NAMED: Final = Path("message")  # what errors and reports call it
_LAST: Final = 2**31 * 10**9  # [ns]; seconds of a message are whole numbers of 32 bits


def trajectory_from_message(message: Any, *, robot: Chain | None = None) -> JointTrajectory:
    """Take a joint trajectory message and sample it as a joint trajectory controller would move.

    Args:
        message: An object with ``joint_names`` and ``points`` (positions, velocities, accelerations,
            time_from_start) as ROS hands it over, one that holds it as ``trajectory`` or ``joint_trajectory``,
            or the same as a tree of plain values.
        robot: Its joint names put the columns in order; None: the order of the message.

    Raises:
        InputError: With the key in the message.
    """
    tree = message if isinstance(message, dict) else _tree(message)
    table, key = unwrapped_message(_NAMED, tree)
    return as_controller_moves(message_points(_NAMED, table, key, robot))


def message_tree(trajectory: Trajectory, *, robot: Chain | None = None) -> dict[str, Any]:
    """Return a trajectory as the tree of a joint trajectory message, times to the nanosecond.

    A message has no labels: those of the samples are left out.

    Args:
        trajectory: Joint values.
        robot: The robot that moves: names and order of its joints, where the trajectory has no names.

    Raises:
        InputError: Poses, joints without names, times before 0 or less than a nanosecond apart, or samples taken
            from the moves of a controller, which are no points for another one.
    """
    if not isinstance(trajectory, JointTrajectory):
        raise InputError(trajectory.source, "poses", "joint values", "write poses as .csv or .npz")
    if trajectory.interpolation in ("cubic", "quintic"):
        raise InputError(
            f"{trajectory.source} interpolation",
            f"samples of a controller's {trajectory.interpolation} moves between other points",
            "points",
            "hand on the message they came from, or write the samples as .csv or .npz",
        )
    if robot is not None:
        trajectory = matched_to_robot(trajectory, robot)
    names = trajectory.names or (robot.names if robot is not None else ())
    if not names or not all(names):
        remedy = "name them (dataclasses.replace(trajectory, names=...)), or hand in a robot with joint names"
        raise InputError(f"{trajectory.source} names", "joints without names", "a name for each joint", remedy)
    times = _nanoseconds(trajectory)
    columns = {
        field: values.tolist() for field, name in _FIELDS.items() if (values := getattr(trajectory, name)) is not None
    }
    points = [
        {
            **{field: rows[i] for field, rows in columns.items()},
            "time_from_start": {"sec": time // 10**9, "nanosec": time % 10**9},
        }
        for i, time in enumerate(times)
    ]
    header = {"stamp": {"sec": 0, "nanosec": 0}, "frame_id": ""}
    return {"header": header, "joint_names": list(names), "points": points}


def _nanoseconds(trajectory: JointTrajectory) -> list[int]:
    t = trajectory.t
    if t[0] < 0 or t[-1] * 1e9 >= _LAST:
        raise InputError(f"{trajectory.source} t", f"{t[0]:.9g} s to {t[-1]:.9g} s", "times from 0 to 68 years")
    times = np.round(t * 1e9).astype(np.int64)
    close = np.diff(times) <= 0
    if close.any():
        i = int(np.argmax(close))
        where = f"{trajectory.source} sample {i + 1}"
        raise InputError(where, f"{t[i + 1] - t[i]:.2g} s since the sample before", "a nanosecond or more")
    return [int(time) for time in times]


def _tree(message: Any) -> Any:
    """The fields of a message object that say something, as plain values."""
    if hasattr(message, "joint_names") and hasattr(message, "points"):
        try:
            return {
                "joint_names": [str(name) for name in message.joint_names],
                "points": [_point(point) for point in message.points],
            }
        except (AttributeError, TypeError, ValueError) as error:
            found = f"an object that is no message ({error})"
            raise InputError(str(_NAMED), found, "a trajectory_msgs/JointTrajectory message") from error
    other = getattr(message, "multi_dof_joint_trajectory", None)
    if other is not None and len(getattr(other, "points", ())) > 0:
        where = f"{_NAMED}: multi_dof_joint_trajectory"
        raise InputError(where, "points of a multi-DOF trajectory", "a joint trajectory alone")
    for inside in ("joint_trajectory", "trajectory"):
        if hasattr(message, inside):
            return _tree(getattr(message, inside))
    return None


def _point(point: Any) -> dict[str, Any]:
    fields = {field: [float(value) for value in getattr(point, field)] for field in _FIELDS}
    time = point.time_from_start
    if isinstance(time, int | float):
        return {**fields, "time_from_start": time}
    if hasattr(time, "nanoseconds"):
        whole, rest = divmod(index(time.nanoseconds), 10**9)
        return {**fields, "time_from_start": {"sec": whole, "nanosec": rest}}
    second, fraction = ("secs", "nsecs") if hasattr(time, "secs") else ("sec", "nanosec")
    return {
        **fields,
        "time_from_start": {second: index(getattr(time, second)), fraction: index(getattr(time, fraction))},
    }
