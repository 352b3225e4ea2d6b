"""Named columns with units, as in a CSV header or the keys of an .npz file, into a trajectory."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from difflib import get_close_matches
from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.base.poses import rotation_from_quaternion, rotation_from_rpy
from gripmargin.base.units import DIMENSIONS, unit_factor
from gripmargin.files.source import printable
from gripmargin.motion.chain import Chain
from gripmargin.motion.trajectory import QUATERNION_TOLERANCE, JointTrajectory, PoseTrajectory, Trajectory

# Beyond two turns a revolute joint in radians is a column of degrees; wrists turn up to one turn each way.
SURELY_DEGREES: Final = 4 * np.pi

# Times from here on [s] are stamps of a clock that counts from far away: floats of 64 bits lose digits of them.
FAR_AWAY: Final = 1e6

LONGEST_LABEL: Final = 200  # [characters]

# Names a place for an error: sample (or None: the file) and column (or None: the row).
Locate = Callable[[int | None, str | None], str]

_HEADER: Final = re.compile(r"\s*(?P<name>[^\[\]]*?)\s*(?:\[\s*(?P<unit>[^\[\]]*?)\s*\])?\s*")
_JOINT: Final = re.compile(r"(q|qd|qdd)([1-9]\d?)")
_JOINT_DIMENSIONS: Final = {
    "q": ("angle", "length"),
    "qd": ("angular speed", "speed"),
    "qdd": ("angular acceleration", "acceleration"),
}
_QUATERNION: Final = ("qx", "qy", "qz", "qw")
_ANGLES: Final = ("roll", "pitch", "yaw")
_FIXED_DIMENSIONS: Final = {
    "t": "time",
    **dict.fromkeys("xyz", "length"),
    **dict.fromkeys(_ANGLES, "angle"),
}
_NAMES: Final = (
    *_FIXED_DIMENSIONS,
    *_QUATERNION,
    "move",
    *(f"{kind}{i}" for kind in _JOINT_DIMENSIONS for i in range(1, 10)),
)


@dataclass(frozen=True)
class Column:
    """One column of a table.

    Attributes:
        name: Such as "q1", without the unit.
        header: As it stands in the file.
        factor: To SI.
        unit: As it stands in the file; empty for columns without one.
        joint: Of a joint column: "q", "qd" or "qdd", and the number of the joint, from 1.
        revolute: Of a joint column: whether its unit is one of angle.
    """

    name: str
    header: str
    factor: float = 1.0
    unit: str = ""
    joint: tuple[str, int] | None = None
    revolute: bool | None = None


def read_header(headers: Sequence[str], where: str, robot: Chain | None) -> list[Column]:
    """Read names and units of columns.

    Args:
        headers: Such as "q1 [deg]".
        where: What to call the header in an error.
        robot: Tells which joints turn and which slide; None: either unit is taken.

    Raises:
        InputError: A column that is not known, stands twice, has no unit or a wrong one.
    """
    columns = [_column(header, where, robot) for header in headers]
    names = [column.name for column in columns]
    for i, name in enumerate(names):
        if name in names[:i]:
            raise InputError(where, f"the column '{name}' twice", "each column once")
    return columns


def _column(header: str, where: str, robot: Chain | None) -> Column:
    match = _HEADER.fullmatch(header) if len(header) <= 100 else None
    name, unit = (match["name"], match["unit"]) if match else (printable(header), None)
    place = f"{where}, column '{printable(header.strip())}'"
    joint = _JOINT.fullmatch(name)
    if joint:
        return _joint_column(name, header, unit, place, joint[1], int(joint[2]), robot)
    if name in _FIXED_DIMENSIONS:
        dimension = _FIXED_DIMENSIONS[name]
        if unit is None:
            raise _without_unit(place, name, (dimension,))
        return Column(name, header, _factor(unit, dimension, place), unit)
    if name in _QUATERNION or name == "move":
        if unit not in (None, "", "-", "1"):
            raise InputError(place, f"the unit '{unit}'", f"no unit for {name}")
        return Column(name, header)
    near = get_close_matches(name, _NAMES, n=1) or get_close_matches(name.lower(), _NAMES, n=1)
    known = "t, q1 ..., qd1 ..., qdd1 ..., x, y, z, qx, qy, qz, qw, roll, pitch, yaw or move"
    remedy = f"did you mean '{near[0]}'?" if near else ""
    if not name:
        remedy = "remove the comma at the end of each line, or name the column"
    raise InputError(place, "a column that is not known", known, remedy)


def _joint_column(
    name: str, header: str, unit: str | None, place: str, kind: str, number: int, robot: Chain | None
) -> Column:
    dimensions: tuple[str, ...] = _JOINT_DIMENSIONS[kind]
    if robot is not None and number <= robot.joints:
        dimensions = dimensions[:1] if robot.revolute[number - 1] else dimensions[1:]
    if unit is None:
        raise _without_unit(place, name, dimensions)
    for dimension in dimensions[1:]:
        try:
            return Column(name, header, unit_factor(unit, dimension), unit, (kind, number), revolute=False)
        except InputError:
            pass
    factor = _factor(unit, dimensions[0], place)
    turns = dimensions[0] == _JOINT_DIMENSIONS[kind][0]
    return Column(name, header, factor, unit, (kind, number), revolute=turns)


def _factor(unit: str, dimension: str, place: str) -> float:
    try:
        return unit_factor(unit, dimension)
    except InputError as error:
        raise InputError(place, error.found, error.expected) from error


def _without_unit(place: str, name: str, dimensions: Sequence[str]) -> InputError:
    examples = " or ".join(f"{name} [{DIMENSIONS[d][1].split(' ', 1)[1]}]" for d in dimensions)
    return InputError(place, "a column without its unit", f"the unit in brackets, such as {examples}")


def build_trajectory(
    columns: Sequence[Column],
    values: FloatArray,
    moves: tuple[str, ...] | None,
    *,
    source: str,
    locate: Locate,
    robot: Chain | None,
    notes: tuple[str, ...] = (),
) -> Trajectory:
    """Build a trajectory from columns of numbers.

    Args:
        columns: Of the numbers, in the order of ``values``; without ``move``.
        values: In the units of the columns, shape (n, columns).
        moves: A label for each sample, or None.
        source: What reports call the trajectory.
        locate: Names a place for an error.
        robot: The robot that joint columns move, or None.
        notes: How the file was understood, in sentences.

    Raises:
        InputError: Columns that do not make a trajectory, NaN, times that do not increase, angles that are
            surely degrees, quaternions that are none, another number of joints than the robot's.
    """
    build = _joints if _are_joints(columns, locate(None, None)) else _poses
    if moves is not None:
        check_labels(moves, locate)
    _check_finite(columns, values, locate)
    data = {c.name: values[:, i] * c.factor for i, c in enumerate(columns)}
    if len(values) < 2:
        raise InputError(locate(None, None), f"{len(values)} sample", "at least 2")
    if is_far_away(columns, values):
        resolved = np.spacing(np.abs(data["t"]).max())
        data["t"] = data["t"] - data["t"][0]
        notes = (*notes, f"Times start at 0; as they were stored they resolve {resolved:.2g} s.")
    check_times(data["t"], locate)
    return replace(build(columns, data, moves, source, locate, robot), notes=notes)


def is_far_away(columns: Sequence[Column], values: FloatArray) -> bool:
    """Whether times are so large that they have to be taken from the first one before they become floats."""
    times = [abs(values[0, i]) * c.factor for i, c in enumerate(columns) if c.name == "t" and len(values)]
    return any(FAR_AWAY <= time < np.inf for time in times)


def since_first(stamps: Sequence[str | int], unit: str) -> tuple[FloatArray, str]:
    """Return times from the first one on, subtracted before they are rounded to floats, and what to say of it.

    Args:
        stamps: Decimal numbers as text, or whole numbers.
        unit: Theirs.

    Raises:
        ValueError: Text that is no decimal number.
    """
    try:
        exact = [Decimal(stamp) for stamp in stamps]
        times = np.array([float(stamp - exact[0]) for stamp in exact])
    except ArithmeticError as error:
        raise ValueError("a stamp that is no decimal number") from error
    return times, f"Times start at 0, which is the stamp {printable(str(stamps[0]))} {unit}."


def _are_joints(columns: Sequence[Column], where: str) -> bool:
    """Tell joint columns from pose columns, and refuse what is neither."""
    names = [column.name for column in columns]
    joints = {k: sorted(c.joint[1] for c in columns if c.joint and c.joint[0] == k) for k in _JOINT_DIMENSIONS}
    poses = [name for name in names if name in (*"xyz", *_QUATERNION, *_ANGLES)]
    if "t" not in names:
        raise InputError(where, "no column of times", "a column 't [s]'")
    if not any(joints.values()):
        if set(poses) not in ({*"xyz", *_QUATERNION}, {*"xyz", *_ANGLES}):
            due = "t with q1, q2 ...; or t, x, y, z with qx, qy, qz, qw or with roll, pitch, yaw"
            raise InputError(where, f"the columns {', '.join(names)}", due)
        return False
    if poses:
        raise InputError(where, f"joint columns and pose columns ({poses[0]})", "one or the other")
    count = len(joints["q"])
    for kind, numbers in joints.items():
        if numbers and numbers != list(range(1, count + 1)):
            shown = ", ".join(f"{kind}{i}" for i in numbers)
            due = f"{kind}1 to {kind}{count}" if count else "the positions q1, q2 ... as well"
            raise InputError(where, f"the columns {shown}", due, "give every joint once, counted from 1")
    if joints["qdd"] and not joints["qd"]:
        raise InputError(where, "joint accelerations without joint speeds", "both or neither")
    return True


def check_labels(moves: tuple[str, ...], locate: Locate) -> None:
    """Refuse labels of moves that do not fit on one line.

    Raises:
        InputError: With the place of the first such label.
    """
    for label in dict.fromkeys(moves):
        if not label.isprintable() or len(label) > LONGEST_LABEL:
            due = f"plain text of at most {LONGEST_LABEL} characters on one line"
            raise InputError(locate(moves.index(label), "move"), f"the label '{printable(label)}'", due)


def _check_finite(columns: Sequence[Column], values: FloatArray, locate: Locate) -> None:
    finite = np.isfinite(values)
    if not finite.all():
        row, k = (int(i) for i in np.argwhere(~finite)[0])
        where = locate(row, columns[k].header.strip())
        raise InputError(where, f"{values[row, k]}", "a finite number", "remove or repair the sample")


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


def check_radians(q: FloatArray, headers: Sequence[str], locate: Locate, which: Sequence[bool]) -> None:
    """Refuse angles in radians that are surely degrees.

    Args:
        q: Joint positions [rad or m], shape (n, joints).
        headers: What to call the columns.
        locate: Names a place for an error.
        which: For each column whether it is an angle that was given in radians.

    Raises:
        InputError: With the place of the first such value.
    """
    wrong = (np.abs(q) > SURELY_DEGREES) & np.asarray(which)
    if wrong.any():
        row, k = (int(i) for i in np.argwhere(wrong)[0])
        raise InputError(
            locate(row, headers[k]),
            f"an angle of {q[row, k]:.6g} rad",
            "at most two turns (12.57 rad)",
            "these are surely degrees: repair the unit or the values",
        )


def _joints(
    columns: Sequence[Column],
    data: dict[str, FloatArray],
    moves: tuple[str, ...] | None,
    source: str,
    locate: Locate,
    robot: Chain | None,
) -> Trajectory:
    by_name = {column.name: column for column in columns}
    count = sum(1 for c in columns if c.joint and c.joint[0] == "q")
    if robot is not None and count != robot.joints:
        raise InputError(
            locate(None, None),
            f"{count} joint columns (q1 to q{count})",
            f"{robot.joints}, the joints of {robot.source}",
            "check the robot (and its end link) and the columns",
        )
    parts = {
        kind: np.column_stack([data[f"{kind}{i}"] for i in range(1, count + 1)])
        for kind in _JOINT_DIMENSIONS
        if f"{kind}1" in data
    }
    for kind in list(parts)[1:]:
        for i in range(1, count + 1):
            position, rate = by_name[f"q{i}"], by_name[f"{kind}{i}"]
            if position.revolute != rate.revolute:
                raise InputError(
                    f"{locate(None, None)}, column '{rate.header.strip()}'",
                    f"the unit '{rate.unit}' where q{i} is in '{position.unit}'",
                    "angles for a joint that turns, lengths for one that slides",
                )
    positions = [by_name[f"q{i}"] for i in range(1, count + 1)]
    radians = [bool(c.revolute) and c.factor == 1.0 for c in positions]
    check_radians(parts["q"], [c.header.strip() for c in positions], locate, radians)
    return JointTrajectory(
        t=data["t"], q=parts["q"], qd=parts.get("qd"), qdd=parts.get("qdd"), moves=moves, source=source
    )


def _poses(
    columns: Sequence[Column],
    data: dict[str, FloatArray],
    moves: tuple[str, ...] | None,
    source: str,
    locate: Locate,
    robot: Chain | None,
) -> Trajectory:
    position = np.column_stack([data[axis] for axis in "xyz"])
    if "qx" in data:
        quaternion = np.column_stack([data[name] for name in _QUATERNION])
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
        angles = np.column_stack([data[name] for name in _ANGLES])
        by_name = {column.name: column for column in columns}
        headers = [by_name[name].header.strip() for name in _ANGLES]
        check_radians(angles, headers, locate, [by_name[name].factor == 1.0 for name in _ANGLES])
        rotation = rotation_from_rpy(angles)
    return PoseTrajectory(t=data["t"], position=position, rotation=rotation, moves=moves, source=source)
