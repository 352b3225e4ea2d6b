"""What the columns of a table mean where its header does not say so: the map of a job, the command or Python."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import Any, Final

from gripmargin.base.errors import InputError
from gripmargin.base.given import in_row, shown
from gripmargin.base.poses import CONVENTIONS, QUATERNIONS, components
from gripmargin.workcell.fields import Declared, Fault, Key, key
from gripmargin.workcell.kinds import LABELS, Choice, Flag, Heading, Number, Row, Text, Within

SEPARATORS: Final = {"comma": ",", "semicolon": ";", "tab": "\t", "spaces": " "}
DECIMALS: Final = {"point": ".", "comma": ","}
CONVENTION: Final = Choice(CONVENTIONS, "a convention such as 'rotation vector', 'intrinsic ZYX' or 'extrinsic xyz'")

Heads = tuple[str | int, ...]  # columns: by their names, or by their numbers from 1


def _heads(value: Any, where: str) -> Heads:
    given = in_row((value,) if isinstance(value, (str, int)) else value, where, "a list of names or numbers of columns")
    for i, each in enumerate(given):
        if isinstance(each, bool) or not isinstance(each, (str, int)) or each == "" or (each in (0, -1)):
            raise InputError(f"{where}[{i}]", shown(each), "the name of a column, or its number, counted from 1")
    return given


HEADS: Final = Row(Heading(), check=_heads, alone=True, note="names, or numbers from 1")
UNITS: Final = Row(Text(), check=LABELS.check, alone=True)


class ColumnGroup(Declared, called="columns"):
    """Columns that belong together, such as those of the joints.

    Attributes:
        names: Their names in order, or their numbers from 1; a `*` in one name stands for the numbers that count them.
        unit: Their unit, or the unit of each.
        convention: Of an orientation: which [convention](#orientations) the columns follow.
    """

    names: Heads | None = key(HEADS, "all", default=None, absent="found by themselves")
    unit: tuple[str, ...] | None = key(UNITS, "all", default=None, absent="that of the header")
    convention: str | None = key(CONVENTION, "all", default=None, absent="what the names say")

    def faults(self) -> Iterator[Fault]:
        """Nothing at all, or as many units as nobody has."""
        if self.names is None and self.unit is None and self.convention is None:
            yield "", "an empty table", "names, unit or both"
        if self.names is not None and len(self.names) != len(set(self.names)):
            yield "names", "a column twice", "each column once"


class TimeColumn(Declared, called="columns.time"):
    """The column of times.

    Attributes:
        name: Its name or number; of two, such as seconds and nanoseconds, the sum is the time.
        unit: Its unit, or that of each of the two.
    """

    name: Heads | None = key(HEADS, "all", default=None, absent="found by itself")
    unit: tuple[str, ...] | None = key(UNITS, "all", default=None, absent="that of the header, or the only likely one")

    def faults(self) -> Iterator[Fault]:
        """Other than one column or two."""
        if self.name is None and self.unit is None:
            yield "", "an empty table", "name, unit or both"
        if self.name is not None and len(self.name) > 2:
            yield "name", f"{len(self.name)} columns", "one, or two whose sum is the time"


class Columns(Declared, called="columns"):
    """What the columns of a table mean, as far as it is not found in its header.

    Attributes:
        time: The times.
        period: From one sample to the next, where there are no times.
        joints: Positions of the joints, from the base outwards.
        velocities: Of the joints; of poses three of the tool frame's origin, then three angular ones, in the world.
        accelerations: Likewise.
        position: Of the tool frame's origin in the world, x, y, z.
        orientation: Of the tool frame in the world.
        move: The labels of the moves.
        prefix: Of the columns of one arm among several; it is left out of their names, and those of other arms are not
            read.
        ignore_others: Whether columns that are neither named here nor plain are left out, and rates that are not named.
        header: Whether the first row has names; without them columns are numbered from 1.
        separator: What stands between the columns of a text file.
        decimal: The mark of decimals in a text file.
    """

    time: TimeColumn | None = key(Within(TimeColumn), "all", default=None, absent="found by itself")
    period: float | None = key(Number("time", above=0), "all", default=None)
    joints: ColumnGroup | None = key(Within(ColumnGroup), "all", default=None, absent="found by themselves")
    velocities: ColumnGroup | None = key(Within(ColumnGroup), "all", default=None, absent="found by themselves")
    accelerations: ColumnGroup | None = key(Within(ColumnGroup), "all", default=None, absent="found by themselves")
    position: ColumnGroup | None = key(Within(ColumnGroup), "all", default=None, absent="found by itself")
    orientation: ColumnGroup | None = key(Within(ColumnGroup), "all", default=None, absent="found by itself")
    move: str | int | None = key(Heading(), "all", default=None, absent="`move`")
    prefix: str | None = key(Text(), "all", default=None)
    ignore_others: bool = key(Flag(), "all", default=False, absent="no: they are refused")
    header: bool | None = key(Flag(), "all", default=None, absent="as the first row shows")
    separator: str | None = key(Choice(tuple(SEPARATORS)), "all", default=None, absent="found")
    decimal: str | None = key(Choice(tuple(DECIMALS)), "all", default=None, absent="found")

    def faults(self) -> Iterator[Fault]:
        """What contradicts itself, and groups of another size."""
        if self.period is not None and self.time is not None:
            yield "period", "a period beside times", "one of the two"
        if self.joints is not None and (self.position is not None or self.orientation is not None):
            yield "", "joints and poses", "one of the two"
        if self.separator == self.decimal == "comma":
            yield "decimal", "the comma that separates the columns", "another mark"
        for name, sizes in {"position": (3,), "velocities": (6,), "accelerations": (6,)}.items():
            group = getattr(self, name)
            if group is None or group.names is None or _is_pattern(group.names):
                continue
            if (name == "position" or self.position is not None) and len(group.names) not in sizes:
                yield f"{name}.names", f"{len(group.names)} columns", f"{sizes[0]}"
        for name in _GROUPS:
            group = getattr(self, name)
            if group is not None and group.convention is not None and name != "orientation":
                yield f"{name}.convention", "a convention", "one for an orientation only"
        yield from self._orientation_faults()
        if self.header is False:
            yield from self._faults_without_header()

    def _orientation_faults(self) -> Iterator[Fault]:
        group = self.orientation
        if group is None:
            return
        if group.names is not None and group.convention is None:
            yield "orientation", "columns without their convention", 'such as convention = "rotation vector"'
        elif group.convention is not None and group.names is not None and not _is_pattern(group.names):
            count = components(group.convention)
            if len(group.names) != count:
                yield "orientation.names", f"{len(group.names)} columns", f"{count}, for {group.convention}"
        if group.convention in QUATERNIONS and group.unit is not None:
            yield "orientation.unit", "a unit", "none for a quaternion"

    @property
    def is_numbered(self) -> bool:
        """Whether columns are told by their numbers, or times by a period: a table of this needs no header."""
        return self.period is not None or any(isinstance(head, int) for _, heads in self.named() for head in heads)

    def _faults_without_header(self) -> Iterator[Fault]:
        for name, heads in self.named():
            if any(isinstance(head, str) for head in heads):
                yield name, "a name where there is no header", "numbers of columns, counted from 1"

    def named(self) -> Iterator[tuple[str, Heads]]:
        """Every key that names columns, with those."""
        if self.time is not None and self.time.name is not None:
            yield "time.name", self.time.name
        for name in _GROUPS:
            group = getattr(self, name)
            if group is not None and group.names is not None:
                yield f"{name}.names", group.names
        if self.move is not None:
            yield "move", (self.move,)


_GROUPS = ("joints", "velocities", "accelerations", "position", "orientation")
COLUMN_KEYS = {
    name: Key(Within(Columns), used, absent="found by themselves", table="program", after=after, doc=doc)
    for name, used, after, doc in (
        ("columns", "all", "topic", "What the [columns](#columns-of-someone-else) of the trajectory mean."),
        ("recording_columns", "recorded", "recording_topic", "Likewise of the recording."),
    )
}


def _is_pattern(names: Heads) -> bool:
    return len(names) == 1 and isinstance(names[0], str) and "*" in names[0]


def as_toml(columns: Columns, *, inline: bool = False) -> str:
    """Return a map as it stands in a job file: as the lines of its table, or as one line."""
    tree = {name: _plain(value) for name in columns.keys if _is_given(columns, name, value := getattr(columns, name))}
    if inline:
        return f"columns = {toml_value(tree)}"
    return "\n".join(["[program.columns]", *(f"{name} = {toml_value(value)}" for name, value in tree.items())]) + "\n"


def _is_given(columns: Columns, name: str, value: Any) -> bool:
    return value is not None and (name != "ignore_others" or bool(value))


def _plain(value: Any) -> Any:
    """A value as the file has it."""
    if isinstance(value, Declared):
        return {name: _plain(each) for name in value.keys if (each := getattr(value, name)) is not None}
    if isinstance(value, tuple):
        return value[0] if len({*value}) == 1 and isinstance(value[0], str) else list(value)
    return f"{value!r} s" if isinstance(value, float) else value


def toml_value(value: Any) -> str:
    """Return a value as TOML has it, on one line."""
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{name} = {toml_value(each)}" for name, each in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(toml_value, value)) + "]"
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")  # whose escapes TOML shares
