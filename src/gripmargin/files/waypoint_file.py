"""Way points as CSV: a header with units in brackets, the start in the first row, one row a move below it."""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import Any, Final, NamedTuple

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.base.given import as_path
from gripmargin.base.units import DIMENSIONS, unit_factor
from gripmargin.files.columns import ANGLES, QUATERNION, Column, read_header, split_header
from gripmargin.files.samples import Locate, check_labels
from gripmargin.files.source import printable, read_text
from gripmargin.files.table import places
from gripmargin.motion.chain import Chain
from gripmargin.motion.waypoints import LINEAR, TURNING, Waypoint, Waypoints

MAX_BYTES: Final = 2_000_000
_FIGURES: Final = {  # name in the file: the field of a way point by the dimension of its unit
    **{name: {LINEAR[name]: name, TURNING[f"turn_{name}"]: f"turn_{name}"} for name in LINEAR},
    "wait": {"time": "wait"},
}
_OWN: Final = ("kind", *_FIGURES, "move")
_PLACES: Final = ("x", "y", "z", *ANGLES, *QUATERNION)
_ALIASES: Final = {
    "label": "move",
    "name": "move",
    "type": "kind",
    "motion": "kind",
    "velocity": "speed",
    "vel": "speed",
    "acc": "acceleration",
    "accel": "acceleration",
    "zone": "blend",
    "radius": "blend",
    "rounding": "blend",
    "dwell": "wait",
    "pause": "wait",
}


class _Own(NamedTuple):
    """A column that only tables of way points have: the field that it fills, and its factor to SI."""

    header: str
    field: str
    factor: float = 1.0


def read_waypoints(path: str | Path, *, robot: Chain | None = None) -> Waypoints:
    """Read way points from a CSV file.

    The places are columns ``q1 [deg] ...``, or ``x [mm], y [mm], z [mm]`` with ``qx, qy, qz, qw`` or with
    ``roll [deg], pitch [deg], yaw [deg]``, as in sampled programs. ``kind`` is ``joint`` or ``line``; ``speed``,
    ``acceleration``, ``jerk`` and ``blend`` stand twice where both are needed, once in a unit of lengths and once in
    one of angles; ``wait`` is a time; ``move`` a label. An empty cell is a figure that is not given. ``#`` lines are
    comments.

    Args:
        path: The file, UTF-8.
        robot: The robot that joint columns move, or None.

    Raises:
        InputError: With file, line and column.
    """
    file = as_path(path)
    lines, rows = _rows(file)
    where = f"{file}, line {lines[0]}"
    header = [cell.strip() for cell in rows[0]]
    if len(rows) < 3:
        remedy = "the first row is where the program starts, each further one a move"
        raise InputError(where, f"a header with {len(rows) - 1} row(s)", "at least 2", remedy)
    own, columns = _header(header, where, robot)

    def locate(row: int | None, column: str | None) -> str:
        line = lines[0] if row is None else lines[row + 1]
        return f"{file}, line {line}" + (f", column '{column}'" if column else "")

    values = np.array([[_number(row[i], locate(k, header[i])) for i in columns] for k, row in enumerate(rows[1:])])
    at = _at(list(columns.values()), values, locate, robot)
    points = []
    for k, row in enumerate(rows[1:]):
        given = {column.field: _cell(row[i], column, locate(k, column.header)) for i, column in own.items()}
        try:
            points.append(Waypoint(**at[k], **{name: value for name, value in given.items() if value is not None}))
        except InputError as error:
            raise error.at(locate(k, None)) from error
    labels = [point.move for point in points]
    check_labels(labels, locate)
    names = ", ".join(printable(name) for name in header)
    return Waypoints(
        tuple(points),
        source=file.name,
        notes=(f"Columns: {names}.",),
        places=tuple(locate(k, None) for k in range(len(points))),
    )


def _rows(file: Path) -> tuple[list[int], list[list[str]]]:
    """The rows that are no comments, header first, each with as many cells as the header, and their lines from 1."""
    lines: list[int] = []
    rows: list[list[str]] = []
    for number, line in enumerate(read_text(file, MAX_BYTES).splitlines(), start=1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        try:
            cells = next(csv.reader([line], strict=True, skipinitialspace=True))
        except csv.Error as error:
            found = f"a row that cannot be split ({error})"
            raise InputError(f"{file}, line {number}", found, "quotes in pairs") from error
        if rows and len(cells) != len(rows[0]):
            found, due = (
                f"{len(cells)} cell{'' if len(cells) == 1 else 's'}",
                f"{len(rows[0])}, one a column of the header",
            )
            remedy = "leave a cell empty, between its commas, where a figure is not given; decimals have a point"
            raise InputError(f"{file}, line {number}", found, due, remedy)
        lines.append(number)
        rows.append(cells)
    if not rows:
        due = "a header with units, such as q1 [deg], ..., kind, speed [deg/s]"
        raise InputError(str(file), "nothing but blanks and comments", due)
    return lines, rows


def _header(header: Sequence[str], where: str, robot: Chain | None) -> tuple[dict[int, _Own], dict[int, Column]]:
    """Columns of way points alone, and those of places, each by its number."""
    own, taken = {}, {}
    for i, cell in enumerate(header):
        name, unit = split_header(cell)
        place = f"{where}, column '{printable(cell)}'"
        if name in _FIGURES:
            own[i] = _figure(cell, name, unit, place)
        elif name in ("kind", "move"):
            if unit is not None:
                raise InputError(place, f"the unit '{printable(unit)}'", f"no unit for {name}")
            own[i] = _Own(cell, name)
        elif name in _PLACES or (name[:1] == "q" and name[1:].isascii() and name[1:].isdecimal()):
            taken[i] = cell
        else:
            raise _unknown(name, place)
    filled = [column.field for column in own.values()]
    if twice := next((field for field in filled if filled.count(field) > 1), None):
        headers = [f"'{column.header}'" for column in own.values() if column.field == twice]
        raise InputError(where, f"the columns {' and '.join(map(printable, headers))}", "each figure once")
    if "kind" not in filled:
        raise InputError(where, "no column of the kinds of moves", "a column 'kind', with joint or line in each row")
    return own, dict(zip(taken, read_header(list(taken.values()), where, robot), strict=True))


def _figure(header: str, name: str, unit: str | None, place: str) -> _Own:
    fields = _FIGURES[name]
    examples = " or ".join(f"{name} [{DIMENSIONS[dimension][1].split(' ', 1)[1]}]" for dimension in fields)
    if unit is None:
        raise InputError(place, "a column without its unit", f"the unit in brackets, such as {examples}")
    fault: InputError | None = None
    for dimension, field in fields.items():
        try:
            return _Own(header, field, unit_factor(unit, dimension))
        except InputError as error:
            fault = fault or error
    found = fault.found if fault is not None else unit
    raise InputError(place, found, f"the unit of {name}, such as {examples}", fault.remedy if fault is not None else "")


def _unknown(name: str, place: str) -> InputError:
    if not name:
        remedy = "remove the comma at the end of each line, or name the column"
    elif name == "t":
        remedy = "a program with times is a trajectory: name it as program.trajectory"
    else:
        alias = _ALIASES.get(name.lower().replace("_", " "))
        near = [alias] if alias else get_close_matches(name.lower(), [*_OWN, *_PLACES, "q1"], n=1)
        remedy = f"did you mean '{near[0]}'?" if near else ""
    known = f"q1 ..., or x, y, z with qx, qy, qz, qw or roll, pitch, yaw; and {', '.join(_OWN)}"
    return InputError(place, "a column that is not known", known, remedy)


def _number(cell: str, place: str) -> float:
    text = cell.strip()
    try:
        value = float(text) if text.isascii() and "_" not in text else math.nan
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        found = f'"{printable(text)}"' if text else "an empty cell"
        raise InputError(
            place, found, "a finite number", "write the number alone, its unit in the header" if text else ""
        )
    return value


def _cell(cell: str, column: _Own, place: str) -> Any:
    """What a cell gives; None where it is empty."""
    text = cell.strip()
    if not text:
        return None
    if column.field == "kind":
        if text not in ("joint", "line"):
            near = get_close_matches(text.lower(), ("joint", "line"), n=1)
            raise InputError(
                place, f"'{printable(text)}'", "joint or line", f"did you mean '{near[0]}'?" if near else ""
            )
        return text
    return text if column.field == "move" else _number(text, place) * column.factor


def _at(columns: Sequence[Column], values: FloatArray, locate: Locate, robot: Chain | None) -> list[dict[str, Any]]:
    """Joint values or pose of each row; the columns are read as those of a sampled program are."""
    if not columns:
        due = "q1, q2 ...; or x, y, z with qx, qy, qz, qw or with roll, pitch, yaw"
        raise InputError(locate(None, None), "no column of places", due)
    given = places(columns, values, locate, robot)
    if "q" in given:
        return [{"q": q} for q in given["q"]]
    poses = np.tile(np.eye(4), (len(values), 1, 1))
    poses[:, :3, :3], poses[:, :3, 3] = given["rotation"], given["position"]
    return [{"pose": pose} for pose in poses]
