"""Numbers under named columns into a trajectory, as CSV, .npz and tables of pandas have them."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any, Final, Protocol

import numpy as np

from gripmargin.base.arrays import FloatArray, first_wrong, owned
from gripmargin.base.errors import InputError
from gripmargin.base.poses import QUATERNION_TOLERANCE, QUATERNIONS, RPY, rotation_from_quaternion, rotations
from gripmargin.base.stored import beside, parts
from gripmargin.base.stored import column as in_one_piece
from gripmargin.files.clock import times, with_likely_unit
from gripmargin.files.column_map import ColumnGroup, Columns, Heads, TimeColumn
from gripmargin.files.columns import ANGLES, QUATERNION, TURNS, Column
from gripmargin.files.header import understood
from gripmargin.files.samples import Locate, check_labels, check_radians, check_times
from gripmargin.files.source import printable
from gripmargin.motion.chain import Chain
from gripmargin.motion.followers import joint_counts
from gripmargin.motion.trajectory import POSE_RATES, JointTrajectory, PoseTrajectory, Trajectory
from gripmargin.motion.turn_error import turn_error

MOSTLY: Final = 0.5  # of the rows
NO_TIMES: Final = 'or say how far apart the samples are, in [program]: columns = { period = "4 ms" }'


class Sheet(Protocol):
    """A table as a format has it: what its columns are called, and what stands in them.

    Attributes:
        headers: Of the columns, in order.
        where: What to call the header in an error.
        source: What reports call the trajectory.
        manner: How it is written, in keys of a map.
    """

    headers: Sequence[str]
    where: str
    source: str
    manner: dict[str, Any]

    def read(self, columns: Sequence[Column], label: Column | None) -> tuple[FloatArray, tuple[str, ...] | None]:
        """Return the numbers of columns, shape (n, columns), and the labels of one of text, if that is asked for."""

    def locate(self, row: int | None, column: str | None) -> str:
        """Name a place for an error."""

    def written(self, column: Column) -> Sequence[str | int] | None:
        """Return a column to the last digit, as decimal text or whole numbers; None: floats are all there is."""


@dataclass(frozen=True)
class Reading:
    """A trajectory, and what was read as what.

    Attributes:
        trajectory: The trajectory.
        columns: Of the table, as far as they are read, with their units; empty: the file has none.
        ignored: Headers of those that are not.
        first: What stands in the first row of the columns of numbers.
        period: From one sample to the next [s], where that was given in the place of times; else None.
        manner: How the table is written, in keys of a map.
    """

    trajectory: Trajectory
    columns: tuple[Column, ...] = ()
    ignored: tuple[str, ...] = ()
    first: tuple[float, ...] = ()
    period: float | None = None
    manner: Mapping[str, Any] = field(default_factory=dict)

    @property
    def as_map(self) -> Columns:
        """A map with which the table is read in the same way, whatever its columns are called."""
        groups: dict[str, list[Column]] = {}
        for column in self.columns:
            groups.setdefault(_key_of(column), []).append(column)
        given: dict[str, Any] = {**self.manner, "period": self.period, "ignore_others": bool(self.ignored)}
        for key, members in groups.items():
            members.sort(key=lambda column: _ORDER.index(column.name) if column.name in _ORDER else _number(column))
            heads = self._heads(members)
            units = tuple(column.unit for column in members if column.unit) or None
            if key == "move":
                given[key] = heads[0]
            elif key == "time":
                given[key] = TimeColumn(name=heads, unit=units)
            else:
                convention = None if key != "orientation" else _convention_of(members[0])
                given[key] = ColumnGroup(names=heads, unit=units, convention=convention)
        return Columns(**given)

    def _heads(self, columns: Sequence[Column]) -> Heads:
        """Columns as a map names them."""
        if self.manner.get("header") is False:
            return tuple(column.index + 1 for column in columns)
        headers = [column.header.strip() for column in columns]
        every = [*(column.header.strip() for column in self.columns), *self.ignored]
        pattern = re.sub(r"\d+(?=\D*$)", "*", headers[0])
        like = re.compile(re.escape(pattern).replace(r"\*", r"(\d+)"))
        found = [like.fullmatch(header) for header in headers]
        is_alone = pattern.count("*") == 1 and sum(like.fullmatch(each) is not None for each in every) == len(headers)
        if len(headers) > 1 and is_alone and None not in found:
            numbers = [int(each[1]) for each in found if each is not None]
            if numbers == sorted({*numbers}):
                return (pattern,)
        return tuple(
            header if every.count(header) == 1 else column.index + 1
            for header, column in zip(headers, columns, strict=True)
        )


_ORDER: Final = ("t", "t2", *"xyz", *QUATERNION, *ANGLES, *TURNS, *POSE_RATES[0], *POSE_RATES[1], "move")


def _number(column: Column) -> int:
    return column.joint[1] if column.joint else 0


def _key_of(column: Column) -> str:
    """The key of a map that a column belongs to."""
    if column.joint:
        return {"q": "joints", "qd": "velocities", "qdd": "accelerations"}[column.joint[0]]
    for key, names in {"velocities": POSE_RATES[0], "accelerations": POSE_RATES[1], "time": ("t", "t2")}.items():
        if column.name in names:
            return key
    return {"x": "position", "y": "position", "z": "position", "move": "move"}.get(column.name, "orientation")


def _convention_of(column: Column) -> str:
    return column.convention or (RPY if column.name in ANGLES else QUATERNIONS[0])


def read_sheet(sheet: Sheet, robot: Chain | None, wanted: Columns | None = None) -> Reading:
    """Read a table, in whatever format it is.

    Args:
        sheet: The table.
        robot: The robot that joint columns move, or None.
        wanted: What its columns mean, as far as that is not found.

    Raises:
        InputError: Columns that do not make a trajectory or can be read in two ways, NaN, times that do not increase,
            angles that are surely degrees, quaternions that are none, another number of joints than the robot's.
    """
    header = understood(sheet.headers, sheet.where, robot, wanted)
    columns = [column for column in header.columns if column.name != "move"]
    label = next((column for column in header.columns if column.name == "move"), None)
    period = None if wanted is None else wanted.period
    where, locate = sheet.where, sheet.locate
    by_name = {column.name: column for column in columns}
    if "t" not in by_name and period is None:
        raise InputError(where, "no column of times", "a column 't [s]'", NO_TIMES)
    jointed = _check_columns(by_name, where)
    values, moves = sheet.read(columns, label)
    if moves is not None:
        check_labels(moves, locate)
    _check_finite(columns, values, locate)
    if len(values) < 2:
        raise InputError(where, f"{len(values)} sample", "at least 2")
    by_column = {column.name: values[:, i] for i, column in enumerate(columns)}
    if period is None and not by_name["t"].unit:
        by_name["t"] = with_likely_unit(by_name["t"], by_column["t"], where)
        columns = list(by_name.values())
    first = tuple(values[0].tolist())
    data = _in_si(values, columns)
    notes: tuple[str, ...] = (_as_read(columns, label, header.ignored),)
    if period is not None:
        data["t"] = np.arange(len(values)) * period
        notes = (*notes, f"Times are not in the table: the samples are {period:g} s apart, as is said.")
    else:
        data["t"], note = times(data, by_name, sheet.written)
        notes = (note, *notes) if note else notes
        if data["t"].size > 2 and np.mean(np.diff(data["t"]) == 0) > MOSTLY:
            raise InputError(where, "times that repeat from row to row", "a time of its own a row", NO_TIMES)
    check_times(data["t"], locate)
    build: dict[str, Any] = {"t": data["t"], "moves": moves, "source": sheet.source, "notes": notes}
    trajectory: Trajectory
    if jointed:
        trajectory = JointTrajectory(**build, **_joints(by_name, data, locate, robot))
    else:
        trajectory = PoseTrajectory(**build, **_poses(by_name, data, locate))
    read = (*columns, *([label] if label else []))
    return Reading(trajectory, read, header.ignored, first, period, sheet.manner)


def _in_si(values: FloatArray, columns: Sequence[Column]) -> dict[str, FloatArray]:
    """Columns of a table by their names, shape (n,) each, put into SI where they stand."""
    factors = np.array([column.factor for column in columns])
    if (factors != 1.0).any():
        for part in parts(len(values)):
            values[part] *= factors
    # times are looked at alone, one after the other
    return {each.name: values[:, i] if each.joint else in_one_piece(values, i) for i, each in enumerate(columns)}


def _as_read(columns: Sequence[Column], label: Column | None, ignored: Sequence[str]) -> str:
    """What the columns were taken for, in a sentence."""
    own = all(_is_own(column) for column in columns)
    said = [_said(column, own=own) for column in (*columns, *([label] if label else []))]
    rest = f"; not read: {', '.join(ignored)}" if ignored else ""
    return f"Columns: {', '.join(said)}{rest}."


def _said(column: Column, *, own: bool) -> str:
    header = printable(column.header.strip())
    if own:
        return header
    name = f"{column.convention} {column.name[1:]}" if column.convention else column.name
    unit = f" [{printable(column.unit)}]" if column.unit else ""
    return f"'{header}' as {name}{unit}"


def _is_own(column: Column) -> bool:
    return re.sub(r"\s*\[.*", "", column.header.strip()) == column.name


def places(columns: Sequence[Column], values: FloatArray, locate: Locate, robot: Chain | None) -> dict[str, Any]:
    """Return what columns without times say: fields of `JointTrajectory` or of `PoseTrajectory`.

    Args:
        columns: Of the numbers.
        values: In the units of the columns, shape (n, columns).
        locate: Names a place for an error.
        robot: The robot that joint columns move, or None.

    Raises:
        InputError: As `read_sheet`.
    """
    by_name = {column.name: column for column in columns}
    jointed = _check_columns(by_name, locate(None, None))
    _check_finite(columns, values, locate)
    data = _in_si(values, columns)
    return _joints(by_name, data, locate, robot) if jointed else _poses(by_name, data, locate)


def _check_columns(by_name: dict[str, Column], where: str) -> bool:
    """Refuse columns that do not go together; whether they are of joints."""
    if any(column.joint for column in by_name.values()):
        _check_joint_columns(by_name, where)
        return True
    _check_pose_columns(by_name, where)
    return False


def _check_joint_columns(by_name: dict[str, Column], where: str) -> None:
    """Refuse joint columns beside pose columns, and joints that are left out."""
    pose = next((name for name in by_name if name in (*"xyz", *QUATERNION, *ANGLES, *TURNS)), None)
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
    found = {*by_name} - {"t", "t2"}
    if found - rates not in ({*"xyz", *QUATERNION}, {*"xyz", *ANGLES}, {*"xyz", *TURNS}) or found & rates not in (
        set(),
        rates,
    ):
        due = "q1, q2 ...; or x, y, z with qx, qy, qz, qw or with roll, pitch, yaw"
        if found & rates:
            due = "with poses all or none of " + ", ".join(name for names in POSE_RATES for name in names)
        raise InputError(where, f"the columns {', '.join(by_name)}", due)


def _check_finite(columns: Sequence[Column], values: FloatArray, locate: Locate) -> None:
    if (found := first_wrong(values, lambda some: ~np.isfinite(some))) is not None:
        row, k = found
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
    fields: dict[str, Any] = {}
    for kind in ("q", "qd", "qdd"):
        if f"{kind}1" in by_name:
            _check_units(positions, [by_name[f"{kind}{i}"] for i in range(1, count + 1)], locate)
            fields[kind] = owned(beside([data[f"{kind}{i}"] for i in range(1, count + 1)]))
    radians = [bool(column.revolute) and column.factor == 1.0 for column in positions]
    check_radians(fields["q"], [column.header.strip() for column in positions], locate, radians)
    return fields


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
        values, made_by = quaternion, rotation_from_quaternion
    else:
        names = ANGLES if "roll" in data else TURNS
        angles = np.column_stack([data[name] for name in names])
        columns = [by_name[name] for name in names]
        check_radians(angles, [c.header.strip() for c in columns], locate, [c.factor == 1.0 for c in columns])
        values, made_by = angles, partial(rotations, convention=columns[0].convention or RPY)
    rates = {
        field: np.column_stack([data[name] for name in names])
        for field, names in zip(PoseTrajectory.RATES, POSE_RATES, strict=True)
        if "xd" in data
    }
    error = turn_error(values, made_by)
    return {"position": position, "rotation": made_by(values), "turn_error": error, **rates}
