"""ROS 2 ``trajectory_msgs/JointTrajectory`` as YAML or JSON.

The definition of the message is that of common_interfaces (ros2): joint names, and points with positions,
velocities, accelerations, effort and the time from start. It is in radians and metres.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import Any, Final

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.files.samples import LONGEST_LABEL, check_times, in_order_of
from gripmargin.files.source import describe, parse_json, printable, read_text
from gripmargin.files.yaml_text import parse_yaml
from gripmargin.motion.chain import Chain
from gripmargin.motion.interpolate import as_controller_moves
from gripmargin.motion.trajectory import MAX_SAMPLES, JointTrajectory

MAX_BYTES = 200_000_000
_WRAPPERS: Final = (
    "trajectory",
    "joint_trajectory",
    "goal",
    "request",
    "planned_trajectory",
    "solution",
    "msg",
)
_FIELDS: Final = ("positions", "velocities", "accelerations")
_TIME_KEYS: Final = (("sec", "nanosec"), ("secs", "nsecs"))
_DIGITS: Final = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


def read_joint_trajectory_message(path: Path, *, robot: Chain | None = None) -> JointTrajectory:
    """Read a joint trajectory message and sample it as a joint trajectory controller would move.

    Args:
        path: The file: ``.json``, or YAML (safe, without tags and merge keys).
        robot: Its joint names put the columns in order; None: the order of the message.

    Raises:
        InputError: With file and key.
    """
    text = read_text(path, MAX_BYTES)
    tree = parse_json(path, text) if path.suffix.lower() == ".json" else parse_yaml(path, text, "message")
    message, key = unwrapped_message(path, tree)
    return as_controller_moves(message_points(path, message, key, robot))


def unwrapped_message(path: Path, tree: Any) -> tuple[dict[str, Any], str]:
    """Find the message within the tables it may be wrapped in, and its key.

    Raises:
        InputError: There is none.
    """
    key = ""
    for _ in range(5):
        if not isinstance(tree, dict):
            break
        if "points" in tree or "joint_names" in tree:
            return tree, key
        other = tree.get("multi_dof_joint_trajectory")
        if isinstance(other, dict) and other.get("points"):
            where = f"{path}: {key}multi_dof_joint_trajectory"
            raise InputError(where, "points of a multi-DOF trajectory", "a joint trajectory alone")
        inside = [name for name in _WRAPPERS if name in tree]
        if len(inside) != 1:
            break
        key += f"{inside[0]}."
        tree = tree[inside[0]]
        if isinstance(tree, list) and len(tree) == 1:
            tree = tree[0]
    raise InputError(
        str(path),
        f"{describe(tree)} without joint_names and points",
        "a trajectory_msgs/JointTrajectory message",
    )


def message_points(path: Path, message: dict[str, Any], key: str, robot: Chain | None) -> JointTrajectory:
    """Return the points of a message as they stand in it.

    Args:
        path: For errors and for the source of the trajectory.
        message: The message as a table.
        key: Where it lies in its file, for errors.
        robot: Its joint names put the columns in order; None: the order of the message.

    Raises:
        InputError: With file and key.
    """
    _check_keys(path, message, ("header", "joint_names", "points"), key)
    names = _joint_names(message, f"{path}: {key}joint_names")
    where = f"{path}: {key}points"
    points, times = _points(path, message.get("points"), key)
    fields = {field: _field(points, field, len(names), where) for field in _FIELDS}
    if fields["accelerations"] is not None and fields["velocities"] is None:
        raise InputError(where, "accelerations without velocities", "both or neither")

    def locate(row: int | None, joint: str | None) -> str:
        place = where if row is None else f"{where}[{row}]"
        if joint is None:
            return f"{place}.time_from_start"
        return f"{place}.positions[{names.index(joint)}]"

    check_times(times, locate)
    trajectory = JointTrajectory(
        t=times,
        q=fields["positions"],  # type: ignore[arg-type]
        qd=fields["velocities"],
        qdd=fields["accelerations"],
        names=tuple(names),
        source=path.name,
    )
    return in_order_of(robot, trajectory, f"{path}: {key}joint_names", locate)


def _points(path: Path, points: Any, key: str) -> tuple[list[dict[str, Any]], FloatArray]:
    """The points as tables of known keys, and their times [s]."""
    where = f"{path}: {key}points"
    if not isinstance(points, list):
        raise InputError(where, describe(points), "a list of points")
    if len(points) > MAX_SAMPLES:
        raise InputError(where, f"{len(points)} points", f"at most {MAX_SAMPLES}", "split the program")
    if len(points) < 2:
        raise InputError(where, f"{len(points)} points", "at least 2")
    times = np.empty(len(points))
    for i, point in enumerate(points):
        if point == "...":
            raise _cut(f"{where}[{i}]")
        if not isinstance(point, dict):
            raise InputError(f"{where}[{i}]", describe(point), "a point")
        _check_keys(path, point, (*_FIELDS, "effort", "time_from_start"), f"{key}points[{i}].")
        times[i] = _time(point.get("time_from_start"), f"{where}[{i}].time_from_start")
    return points, times


def _joint_names(message: dict[str, Any], where: str) -> list[str]:
    names = message.get("joint_names")
    if not isinstance(names, list) or not names or not all(isinstance(name, str) for name in names):
        raise InputError(where, describe(names), "a list of joint names")
    if "..." in names:
        raise _cut(where)
    for name in names:
        if not name.isprintable() or len(name) > LONGEST_LABEL:
            due = f"plain text of at most {LONGEST_LABEL} characters on one line"
            raise InputError(where, f"the name '{printable(name)}'", due)
    if len(set(names)) != len(names):
        repeated = next(name for name, count in Counter(names).items() if count > 1)
        raise InputError(where, f"'{printable(repeated)}' twice", "each joint once")
    return names


def _check_keys(path: Path, table: dict[Any, Any], known: Sequence[str], key: str) -> None:
    for name in table:
        if name not in known:
            near = get_close_matches(str(name)[:60], known, n=1)
            raise InputError(
                f"{path}: {key}{printable(str(name))}",
                "a key that is not known",
                ", ".join(known),
                f"did you mean '{near[0]}'?" if near else "",
            )


def _time(value: Any, where: str) -> float:
    """Read a duration of seconds and nanoseconds, in the spelling of ROS 2 or of ROS 1, or of plain seconds."""
    expected = "a duration such as {sec: 1, nanosec: 500000000}, or seconds"
    seconds = _number(value)
    if seconds is not None:
        if not 0 <= seconds < 2**31:
            raise InputError(where, describe(value), "seconds from 0 up to 68 years")
        return seconds
    if not isinstance(value, dict) or not value:
        raise InputError(where, describe(value), expected)
    spelling = next((keys for keys in _TIME_KEYS if set(value) <= set(keys)), None)
    if spelling is None:
        raise InputError(where, f"the keys {printable(', '.join(map(str, list(value)[:4])))}", expected)
    parts = []
    for name, top in zip(spelling, (2**31, 10**9), strict=True):
        number = _number(value.get(name, 0))
        if number is None or number != math.floor(number) or not 0 <= number < top:
            raise InputError(f"{where}.{name}", describe(value[name]), f"a whole number from 0 up to {top - 1}")
        parts.append(int(number))
    return (parts[0] * 10**9 + parts[1]) / 10**9


def _field(points: list[dict[str, Any]], field: str, joints: int, where: str) -> FloatArray | None:
    """Read one field of all points, shape (points, joints); None where no point has it."""
    given = [bool(point.get(field)) for point in points]
    if not any(given):
        if field == "positions":
            raise InputError(f"{where}[0].positions", describe(points[0].get(field)), f"{joints} joint positions")
        return None
    if not all(given):
        i = given.index(False)
        raise InputError(
            f"{where}[{i}].{field}", describe(points[i].get(field)), f"{joints} values, as other points have"
        )
    values = np.empty((len(points), joints))
    for i, point in enumerate(points):
        row = point[field]
        place = f"{where}[{i}].{field}"
        if isinstance(row, list) and "..." in row:
            raise _cut(place)
        if not isinstance(row, list) or len(row) != joints:
            raise InputError(place, describe(row), f"{joints} values, one a joint name")
        for k, entry in enumerate(row):
            number = _number(entry)
            if number is None:
                raise InputError(f"{place}[{k}]", describe(entry), "a finite number")
            values[i, k] = number
    return values


def _number(value: Any) -> float | None:
    """A finite number, also one that YAML handed over as text; None for anything else."""
    if isinstance(value, str):
        if len(value) > 60 or not _DIGITS.fullmatch(value):
            return None
    elif isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


def _cut(where: str) -> InputError:
    return InputError(
        where,
        "'...', a list that was cut",
        "the whole list",
        "print the message without a limit (--full-length)",
    )
