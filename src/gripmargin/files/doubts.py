"""What is not plain of a header: two ways to read it, or none. Each error shows what to write in the map."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final, NoReturn

from gripmargin.base.errors import InputError
from gripmargin.base.poses import QUATERNIONS, RPY
from gripmargin.files.column_map import ColumnGroup, Columns, Heads, as_toml
from gripmargin.files.columns import Column, own_column
from gripmargin.files.foreign_names import read_name
from gripmargin.files.source import printable
from gripmargin.motion.chain import Chain

KEYS: Final = {"q": "joints", "qd": "velocities", "qdd": "accelerations"}
WORDS: Final = {
    "q": "joint positions", "qd": "joint speeds", "qdd": "joint accelerations", "position": "positions of the tool",
    "t": "times", "quaternion": "orientations", "rpy": "orientations", "rotation vector": "orientations",
    "angles": "orientations",
}  # fmt: skip
UNITS: Final = {"angle": ("rad", "deg"), "length": ("m", "mm")}
_LIKELY: Final = ("rotation vector", "intrinsic ZYX", "extrinsic xyz")


@dataclass
class Group:
    """Columns whose names differ by a number or an axis."""

    quantity: str
    template: str
    role: str
    members: dict[int, int] = field(default_factory=dict)  # number: index of the column


class Doubts:
    """A header, what of it is taken so far, and how to refuse the rest.

    Attributes:
        headers: Of the columns.
        bare: Without the prefix that the map gives.
        names: What they say.
        taken: Columns that are read, by their places.
    """

    def __init__(
        self, headers: Sequence[str], where: str, robot: Chain | None, wanted: Columns, fault: InputError | None
    ) -> None:
        self.headers, self.where, self.wanted, self.fault = headers, where, wanted, fault
        self.robot = robot
        self.bare = [header.strip().removeprefix(wanted.prefix or "") for header in headers]
        self.names = [read_name(bare, () if robot is None else robot.names) for bare in self.bare]
        self.taken: dict[int, Column] = {}

    def refuse(self, key: str, found: str, expected: str, remedy: str = "") -> NoReturn:
        """Refuse something of a key of the map; of none, of the header."""
        place = f"{self.where}, columns.{key}" if key else self.where
        raise InputError(place, found, expected, remedy)

    def refuse_groups(self, groups: Sequence[Group]) -> NoReturn:
        """Refuse groups that are all the same quantity."""
        quantity = groups[0].quantity
        key = KEYS.get(quantity, "position" if quantity == "position" else "orientation")
        ways = []
        for group in groups:
            members = [group.members[number] for number in sorted(group.members)]
            names = self.heads(members, group.template)
            unit: tuple[str, ...] | None = None
            if quantity in KEYS and not all(self.names[i].unit for i in members):
                unit = (UNITS["angle"][0] + {"q": "", "qd": "/s", "qdd": "/s^2"}[quantity],)
            convention = {"quaternion": QUATERNIONS[0], "rpy": RPY, "angles": _LIKELY[0]}.get(group.quantity)
            if group.quantity == "rotation vector":
                convention = group.quantity
            made = ColumnGroup(names=names, unit=unit, convention=convention if key == "orientation" else None)
            ways.append(Columns(**{**self.given(), key: made, "ignore_others": True}))
        degrees = any(way.joints is not None and way.joints.unit is not None for way in ways)
        found = f"{len(groups)} groups of {WORDS[quantity]} ({', '.join(printable(each.template) for each in groups)})"
        self.refuse_ways(found, "one", ways, ' (or unit = "deg")' if degrees else "")

    def given(self) -> dict[str, Any]:
        """What the map has already."""
        return {key: value for key in self.wanted.keys if (value := getattr(self.wanted, key)) is not None}

    def refuse_ways(self, found: str, expected: str, ways: Sequence[Columns], more: str = "") -> NoReturn:
        """Refuse what can be read in several ways."""
        self.refuse("", found, expected, f"say in [program] which: {either(ways)}{more}")

    def refuse_convention(self, places: Sequence[int]) -> NoReturn:
        """Refuse angles that can turn in several ways."""
        ways = []
        for convention in _LIKELY:
            group = ColumnGroup(convention=convention)
            ways.append(Columns(**{**self.given(), "orientation": group}))
        found = f"angles whose convention is not said ({self.listed(places)})"
        self.refuse("", found, "one that is named", f"say it in [program], such as {either(ways)}")

    def refuse_unknown(self, others: Sequence[int]) -> NoReturn:
        """Refuse the first column that is not known."""
        leave = "to leave it out add ignore_others = true to [program.columns]"
        i = others[0]
        if not self.taken and self.fault is not None:
            raise self.fault
        if self.names[i].quantity in WORDS:
            self.refuse("", f"the column '{self.shown(i)}' beside those that are read", "columns that are read", leave)
        if self.fault is not None and self.fault.where.endswith(f"'{printable(self.headers[i].strip())}'"):
            if self.taken and not self.fault.remedy:
                raise InputError(self.fault.where, self.fault.found, self.fault.expected, leave)
            raise self.fault
        try:
            own_column(self.bare[i], self.where, self.robot)
        except InputError as error:
            raise InputError(self.place_of(i), error.found, error.expected, error.remedy or leave) from error
        self.refuse("", f"the column '{self.shown(i)}' beside those that are read", "columns that are read", leave)

    def ways_of_unit(self, quantity: str, places: Sequence[int], robot: Chain | None) -> str:
        """What to write for the joints' unit, if none of them has one."""
        if any(self.names[i].unit or bracketed(self.bare[i]) for i in places):
            return ""
        key = KEYS[quantity]
        turns = (True,) * len(places) if robot is None else robot.revolute
        ways = []
        for angle, length in zip(*UNITS.values(), strict=True):
            units = tuple(angle if each else length for each in turns) if not all(turns) else (angle,)
            ways.append(with_unit(key, units, self.wanted))
        return f"or say it in [program]: {either(ways)}"

    def head(self, i: int) -> str | int:
        """A column as a map has it."""
        return i + 1 if self.wanted.header is False or self.bare.count(self.bare[i]) > 1 else self.bare[i]

    def heads(self, places: Sequence[int], template: str) -> Heads:
        """Columns as a map has them, in the order of their numbers."""
        pattern = without_brackets(template)
        if pattern.count("*") == 1 and self.matching(pattern) == list(places):
            return (pattern,)
        return tuple(self.head(i) for i in places)

    def place_of(self, i: int) -> str:
        """What to call a column in an error."""
        return f"{self.where}, column '{self.shown(i)}'"

    def shown(self, i: int) -> str:
        """A header as messages have it."""
        return printable(self.headers[i].strip())

    def listed(self, places: Sequence[int] | range) -> str:
        """Some headers in a row."""
        some = [self.shown(i) for i in places[:12]]
        return ", ".join(some) + (", ..." if len(places) > len(some) else "")

    def matching(self, pattern: str) -> list[int]:
        """The columns like a name with a `*` for a number, in the order of that."""
        before, _, after = pattern.partition("*")
        expression = re.compile(rf"{re.escape(before)}(\d+){re.escape(after)}")
        found: dict[int, int] = {}
        for i in range(len(self.bare)):
            for bare in (self.bare[i], without_brackets(self.bare[i])):
                if (match := expression.fullmatch(bare)) and int(match[1][:9]) not in found:
                    found[int(match[1][:9])] = i
                    break
        return [found[number] for number in sorted(found)]


def with_unit(key: str, unit: tuple[str, ...], wanted: Columns) -> Columns:
    """Return a map with the unit of a group."""
    group = getattr(wanted, key)
    changed: dict[str, Any] = {key: ColumnGroup(unit=unit) if group is None else replace(group, unit=unit)}
    return replace(wanted, **changed)


def either(ways: Sequence[Columns]) -> str:
    """Return maps as one line each, to choose from."""
    return " or ".join(as_toml(way, inline=True) for way in ways)


def without_brackets(bare: str) -> str:
    """Return a header without the unit in brackets at its end."""
    return re.sub(r"\s*[\[({<][^\[\](){}<>]*[\])}>]\s*$", "", bare).strip()


def bracketed(bare: str) -> str | None:
    """Return the unit in brackets at the end of a header, as it stands there."""
    found = re.search(r"\[\s*([^\[\]]*?)\s*\]\s*$", bare)
    return found[1] if found else None
