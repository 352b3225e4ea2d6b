"""Numbers under named columns into a trajectory, as CSV, .npz and tables of pandas have them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal
from typing import Any, Final

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.base.poses import rotation_from_quaternion, rotation_from_rpy
from gripmargin.files.columns import ANGLES, QUATERNION, Column
from gripmargin.files.samples import Locate, check_labels, check_radians, check_times
from gripmargin.files.source import printable
from gripmargin.motion.chain import Chain
from gripmargin.motion.followers import joint_counts
from gripmargin.motion.trajectory import POSE_RATES, QUATERNION_TOLERANCE, JointTrajectory, PoseTrajectory, Trajectory

# Times from here on [s] are stamps of a clock that counts from far away: floats of 64 bits lose digits of them.
FAR_AWAY: Final = 1e6


def build_trajectory(
    columns: Sequence[Column],
    values: FloatArray,
    moves: tuple[str, ...] | None,
    *,
    source: str,
    locate: Locate,
    robot: Chain | None,
    stamps: Callable[[], Sequence[str | int]] | None = None,
) -> Trajectory:
    """Build a trajectory from columns of numbers.

    Args:
        columns: Of the numbers, in the order of ``values``; without ``move``.
        values: In the units of the columns, shape (n, columns).
        moves: A label for each sample, or None.
        source: What reports call the trajectory.
        locate: Names a place for an error.
        robot: The robot that joint columns move, or None.
        stamps: Returns the times to the last digit, as decimal text or whole numbers; asked where they are so large
            that floats lose digits. None: floats are all there is.

    Raises:
        InputError: Columns that do not make a trajectory, NaN, times that do not increase, angles that are
            surely degrees, quaternions that are none, another number of joints than the robot's.
    """
    where = locate(None, None)
    by_name = {column.name: column for column in columns}
    if "t" not in by_name:
        raise InputError(where, "no column of times", "a column 't [s]'")
    jointed = any(column.joint for column in columns)
    if jointed:
        _check_joint_columns(by_name, where)
    else:
        _check_pose_columns(by_name, where)
    if moves is not None:
        check_labels(moves, locate)
    _check_finite(columns, values, locate)
    if len(values) < 2:
        raise InputError(where, f"{len(values)} sample", "at least 2")
    data = {column.name: values[:, i] * column.factor for i, column in enumerate(columns)}
    labels = "" if moves is None else ", move"
    notes: tuple[str, ...] = (f"Columns: {', '.join(printable(column.header.strip()) for column in columns)}{labels}.",)
    if abs(data["t"][0]) >= FAR_AWAY:
        data["t"], note = _from_first(data["t"], by_name["t"], stamps)
        notes = (note, *notes)
    check_times(data["t"], locate)
    if jointed:
        joints = _joints(by_name, data, locate, robot)
        return JointTrajectory(t=data["t"], **joints, moves=moves, source=source, notes=notes)
    poses = _poses(by_name, data, locate)
    return PoseTrajectory(t=data["t"], **poses, moves=moves, source=source, notes=notes)


def _from_first(
    t: FloatArray, column: Column, stamps: Callable[[], Sequence[str | int]] | None
) -> tuple[FloatArray, str]:
    """Times [s] from the first one on, subtracted before they are rounded to floats if they can be; what to say."""
    if stamps is None:
        return t - t[0], f"Times start at 0; as they were stored they resolve {np.spacing(np.abs(t).max()):.2g} s."
    written = stamps()
    exact = [Decimal(stamp) for stamp in written]
    since = np.array([float(stamp - exact[0]) for stamp in exact])
    return since * column.factor, f"Times start at 0, which is the stamp {printable(str(written[0]))} {column.unit}."


def _check_joint_columns(by_name: dict[str, Column], where: str) -> None:
    """Refuse joint columns beside pose columns, and joints that are left out."""
    pose = next((name for name in by_name if name in (*"xyz", *QUATERNION, *ANGLES)), None)
    if pose is not None:
        raise InputError(where, f"joint columns and pose columns ({pose})", "one or the other")
    numbers: dict[str, list[int]] = {"q": [], "qd": [], "qdd": []}
    for column in by_name.values():
        if column.joint:
            numbers[column.joint[0]].append(column.joint[1])
    count = len(numbers["q"])
    for kind, given in numbers.items():
        if given and sorted(given) != list(range(1, count + 1)):
            shown = ", ".join(f"{kind}{i}" for i in sorted(given))
            due = f"{kind}1 to {kind}{count}" if count else "the positions q1, q2 ... as well"
            raise InputError(where, f"the columns {shown}", due, "give every joint once, counted from 1")
    if numbers["qdd"] and not numbers["qd"]:
        raise InputError(where, "joint accelerations without joint speeds", "both or neither")


def _check_pose_columns(by_name: dict[str, Column], where: str) -> None:
    rates = {name for names in POSE_RATES for name in names}
    found = {*by_name} - {"t"}
    if found - rates not in ({*"xyz", *QUATERNION}, {*"xyz", *ANGLES}) or found & rates not in (set(), rates):
        due = "t with q1, q2 ...; or t, x, y, z with qx, qy, qz, qw or with roll, pitch, yaw"
        if found & rates:
            due = "with poses all or none of " + ", ".join(name for names in POSE_RATES for name in names)
        raise InputError(where, f"the columns {', '.join(by_name)}", due)


def _check_finite(columns: Sequence[Column], values: FloatArray, locate: Locate) -> None:
    finite = np.isfinite(values)
    if not finite.all():
        row, k = (int(i) for i in np.argwhere(~finite)[0])
        where = locate(row, columns[k].header.strip())
        raise InputError(where, f"{values[row, k]}", "a finite number", "remove or repair the sample")


def _joints(
    by_name: dict[str, Column], data: dict[str, FloatArray], locate: Locate, robot: Chain | None
) -> dict[str, Any]:
    """Positions and rates [rad or m, and by seconds], each of shape (n, joints)."""
    count = sum(1 for column in by_name.values() if column.joint and column.joint[0] == "q")
    if robot is not None and count not in joint_counts(robot):
        raise InputError(
            locate(None, None),
            f"{count} joint columns (q1 to q{count})",
            f"{robot.joints}, the joints of {robot.source}",
            "check the robot (and its end link) and the columns",
        )
    positions = [by_name[f"q{i}"] for i in range(1, count + 1)]
    parts: dict[str, Any] = {}
    for kind in ("q", "qd", "qdd"):
        if f"{kind}1" in by_name:
            _check_units(positions, [by_name[f"{kind}{i}"] for i in range(1, count + 1)], locate)
            parts[kind] = np.column_stack([data[f"{kind}{i}"] for i in range(1, count + 1)])
    radians = [bool(column.revolute) and column.factor == 1.0 for column in positions]
    check_radians(parts["q"], [column.header.strip() for column in positions], locate, radians)
    return parts


def _check_units(positions: Sequence[Column], rates: Sequence[Column], locate: Locate) -> None:
    for position, rate in zip(positions, rates, strict=True):
        if position.revolute != rate.revolute:
            raise InputError(
                f"{locate(None, None)}, column '{rate.header.strip()}'",
                f"the unit '{rate.unit}' where {position.name} is in '{position.unit}'",
                "angles for a joint that turns, lengths for one that slides",
            )


def _poses(by_name: dict[str, Column], data: dict[str, FloatArray], locate: Locate) -> dict[str, Any]:
    """Positions [m], shape (n, 3), rotation matrices, and rates where the file has them."""
    position = np.column_stack([data[axis] for axis in "xyz"])
    if "qx" in data:
        quaternion = np.column_stack([data[name] for name in QUATERNION])
        length = np.linalg.norm(quaternion, axis=1)
        wrong = ~(np.abs(length - 1.0) <= QUATERNION_TOLERANCE)
        if wrong.any():
            row = int(np.argmax(wrong))
            raise InputError(
                locate(row, None),
                f"a quaternion (x, y, z, w) = {quaternion[row].tolist()} of length {length[row]:.4g}",
                "unit length",
                "check the columns and their order: qx, qy, qz, qw",
            )
        rotation = rotation_from_quaternion(quaternion)
    else:
        angles = np.column_stack([data[name] for name in ANGLES])
        columns = [by_name[name] for name in ANGLES]
        check_radians(angles, [c.header.strip() for c in columns], locate, [c.factor == 1.0 for c in columns])
        rotation = rotation_from_rpy(angles)
    rates = {
        field: np.column_stack([data[name] for name in names])
        for field, names in zip(PoseTrajectory.RATES, POSE_RATES, strict=True)
        if "xd" in data
    }
    return {"position": position, "rotation": rotation, **rates}
