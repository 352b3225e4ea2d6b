"""Names and units of columns, as in a CSV header or the keys of an .npz file."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from typing import Final

from gripmargin.base.errors import InputError
from gripmargin.base.units import DIMENSIONS, unit_factor
from gripmargin.files.source import printable
from gripmargin.motion.chain import Chain
from gripmargin.motion.trajectory import POSE_RATES

QUATERNION: Final = ("qx", "qy", "qz", "qw")
ANGLES: Final = ("roll", "pitch", "yaw")
TURNS: Final = ("o1", "o2", "o3")  # what columns of another convention are called here

_HEADER: Final = re.compile(r"\s*(?P<name>[^\[\]]*?)\s*(?:\[\s*(?P<unit>[^\[\]]*?)\s*\])?\s*")
_BARE_UNIT: Final = re.compile(  # q1 (deg), q1_deg, q1/deg, q1 deg
    r"(?P<name>[A-Za-z]+\d*)(?:\s*[({</_:]\s*|\s+)(?P<unit>[A-Za-zµμ°][^\s(){}<>]*)[)}>]?"
)
_OTHER_JOINT: Final = re.compile(r"(?:(?P<rate>dq_?|qdot_?|v)|q_|joint[_ ]?|axis[_ ]?|[jJaA])(?P<number>[1-9]\d?)")
_TIMES: Final = ("time", "times", "timestamp", "stamp", "sec", "seconds")
_JOINT: Final = re.compile(r"(q|qd|qdd)([1-9]\d?)")
_JOINT_DIMENSIONS: Final = {
    "q": ("angle", "length"),
    "qd": ("angular speed", "speed"),
    "qdd": ("angular acceleration", "acceleration"),
}
_POSE_DIMENSIONS: Final = dict(
    zip(
        (name for names in POSE_RATES for name in names),
        (d for line in ("speed", "angular speed", "acceleration", "angular acceleration") for d in [line] * 3),
        strict=True,
    )
)
_FIXED_DIMENSIONS: Final = {
    "t": "time",
    **dict.fromkeys("xyz", "length"),
    **dict.fromkeys(ANGLES, "angle"),
    **_POSE_DIMENSIONS,
}
_NAMES: Final = (
    *_FIXED_DIMENSIONS,
    *QUATERNION,
    "move",
    *(f"{kind}{i}" for kind in _JOINT_DIMENSIONS for i in range(1, 10)),
)


LONGEST: Final = 100  # characters of a name


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
        index: Its place in the table, from 0.
        convention: Of an orientation that is no quaternion "qx" ... and no "roll" ...: what it follows.
    """

    name: str
    header: str
    factor: float = 1.0
    unit: str = ""
    joint: tuple[str, int] | None = None
    revolute: bool | None = None
    index: int = 0
    convention: str = ""


def read_header(headers: Sequence[str], where: str, robot: Chain | None) -> list[Column]:
    """Read names and units of columns.

    Args:
        headers: Such as "q1 [deg]".
        where: What to call the header in an error.
        robot: Tells which joints turn and which slide; None: either unit is taken.

    Raises:
        InputError: A column that is not known, stands twice, has no unit or a wrong one.
    """
    count = sum(re.match(r"q\d+\s*(\[|$)", header.strip()) is not None for header in headers)
    known = robot if robot is not None and count == robot.joints else None  # else their number is told, later
    columns = [replace(own_column(header, where, known), index=i) for i, header in enumerate(headers)]
    names = [column.name for column in columns]
    for i, name in enumerate(names):
        if name in names[:i]:
            raise InputError(where, f"the column '{name}' twice", "each column once")
    return columns


def split_header(header: str) -> tuple[str, str | None]:
    """Return name and unit of a column; None: it has no brackets."""
    match = _HEADER.fullmatch(header) if len(header) <= LONGEST else None
    return (match["name"], match["unit"]) if match else (printable(header), None)


def is_own(header: str) -> bool:
    """Whether a name, with or without its unit, is the program's own name of one column."""
    name = split_header(header)[0]
    return len(header) <= LONGEST and (name in _NAMES or _JOINT.fullmatch(name) is not None)


def own_column(header: str, where: str, robot: Chain | None) -> Column:
    """Read one of the names that are the program's own.

    Raises:
        InputError: It is none, has no unit or a wrong one.
    """
    name, unit = split_header(header)
    place = f"{where}, column '{printable(header.strip())}'"
    joint = _JOINT.fullmatch(name)
    if joint:
        return joint_column(joint[1], int(joint[2]), header, unit, place, robot)
    if name in _FIXED_DIMENSIONS:
        dimension = _FIXED_DIMENSIONS[name]
        if unit is None:
            raise without_unit(place, name, (dimension,))
        return Column(name, header, factor_of(unit, dimension, place), unit)
    if name in QUATERNION or name == "move":
        if unit not in (None, "", "-", "1"):
            raise InputError(place, f"the unit '{unit}'", f"no unit for {name}")
        return Column(name, header)
    known = "t, q1 ..., qd1 ..., qdd1 ..., x, y, z, qx, qy, qz, qw, roll, pitch, yaw, xd ..., xdd ... or move"
    remedy = _near_column(name)
    if not name:
        remedy = "remove the comma at the end of each line, or name the column"
    raise InputError(place, "a column that is not known", known, remedy)


def _near_column(name: str) -> str:
    """What to do about a name that is none."""
    bare = _BARE_UNIT.fullmatch(name)
    if bare and bare["name"].lower() in _NAMES:
        return f"use [ ] for units: {bare['name'].lower()} [{printable(bare['unit'])}]"
    if name.lower() in _TIMES:
        return "did you mean 't'?"
    if joint := _OTHER_JOINT.fullmatch(name):
        return f"did you mean 'q{'d' if joint['rate'] else ''}{joint['number']}'?"
    if re.fullmatch(r"q[d]{0,2}0", name):
        return "count joints from 1, at the base"
    if re.fullmatch(r"[rR][xyzXYZ]", name):
        return "give roll, pitch, yaw or the quaternion qx, qy, qz, qw"
    if name.count("[") != name.count("]"):
        return "close the bracket of the unit"
    near = get_close_matches(name, _NAMES, n=1) or get_close_matches(name.lower(), _NAMES, n=1)
    return f"did you mean '{near[0]}'?" if near else ""


def joint_column(kind: str, number: int, header: str, unit: str | None, place: str, robot: Chain | None) -> Column:
    """Return the column of a joint, whose unit tells whether it turns where no robot does.

    Args:
        kind: "q", "qd" or "qdd".
        number: Of the joint, from 1.
        header: As it stands in the file.
        unit: The unit; None: there is none.
        place: What to call the column in an error.
        robot: The robot, or None.

    Raises:
        InputError: No unit, or a wrong one.
    """
    name, dimensions = f"{kind}{number}", joint_dimensions(kind, number, robot)
    if unit is None:
        raise without_unit(place, name, dimensions)
    for dimension in dimensions[1:]:
        try:
            return Column(name, header, unit_factor(unit, dimension), unit, (kind, number), revolute=False)
        except InputError:
            pass
    factor = factor_of(unit, dimensions[0], place)
    turns = dimensions[0] == _JOINT_DIMENSIONS[kind][0]
    return Column(name, header, factor, unit, (kind, number), revolute=turns)


def joint_dimensions(kind: str, number: int, robot: Chain | None) -> tuple[str, ...]:
    """Return what a column of a joint, numbered from 1, may measure."""
    dimensions: tuple[str, ...] = _JOINT_DIMENSIONS[kind]
    if robot is not None and number <= robot.joints:
        dimensions = dimensions[:1] if robot.revolute[number - 1] else dimensions[1:]
    return dimensions


def factor_of(unit: str, dimension: str, place: str) -> float:
    """Return the factor of a column's unit to SI.

    Raises:
        InputError: The unit is not known, or measures something else.
    """
    try:
        return unit_factor(unit, dimension)
    except InputError as error:
        raise InputError(place, error.found, error.expected, error.remedy) from error


def without_unit(place: str, name: str, dimensions: Sequence[str], remedy: str = "") -> InputError:
    """Return the error for a column whose unit is not said."""
    examples = " or ".join(f"{name} [{DIMENSIONS[d][1].split(' ', 1)[1]}]" for d in dimensions)
    return InputError(place, "a column without its unit", f"the unit in brackets, such as {examples}", remedy)
