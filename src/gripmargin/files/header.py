"""Which columns of a table are what: by the program's own names, by a map, or by what foreign names plainly say.

Where two readings are possible none is taken: the error shows what to write for each.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from typing import Final

from gripmargin.base.errors import InputError
from gripmargin.base.poses import QUATERNIONS, RPY
from gripmargin.files.column_map import ColumnGroup, Columns, Heads, TimeColumn
from gripmargin.files.columns import (
    ANGLES,
    QUATERNION,
    TURNS,
    Column,
    factor_of,
    joint_column,
    joint_dimensions,
    own_column,
    read_header,
    without_unit,
)
from gripmargin.files.doubts import KEYS, UNITS, WORDS, Doubts, Group, bracketed, either, with_unit, without_brackets
from gripmargin.files.source import printable
from gripmargin.motion.chain import Chain
from gripmargin.motion.trajectory import POSE_RATES

_POSE: Final = ("position", "quaternion", "rpy", "rotation vector", "angles")
_SIZES: Final = {"position": 3, "quaternion": 4, "rpy": 3, "rotation vector": 3, "angles": 3}
_OWN: Final = {*(name for names in POSE_RATES for name in names), "move"}


@dataclass(frozen=True)
class Header:
    """The columns of a table that are read.

    Attributes:
        columns: In the order of the table.
        ignored: Headers of those that are not.
    """

    columns: tuple[Column, ...]
    ignored: tuple[str, ...] = ()


def understood(headers: Sequence[str], where: str, robot: Chain | None, wanted: Columns | None) -> Header:
    """Tell what the columns of a table are.

    Args:
        headers: Such as "q1 [deg]"; of a table without names the numbers of its columns, as text.
        where: What to call the header in an error.
        robot: The robot that joint columns move, or None.
        wanted: What is known of the columns beforehand.

    Raises:
        InputError: A column that is not known, stands twice, has no unit or a wrong one; two ways to read them.
    """
    if wanted is None or not any(getattr(wanted, key) for key in wanted.keys if key not in ("separator", "decimal")):
        try:
            return Header(tuple(read_header(headers, where, robot)))
        except InputError as fault:
            if fault.found.endswith("twice"):
                raise
            return _Finder(headers, where, robot, wanted or Columns(), fault).header()
    return _Finder(headers, where, robot, wanted, None).header()


class _Finder(Doubts):
    """Takes columns one group after the other, until only those that nobody knows are left."""

    def __init__(
        self, headers: Sequence[str], where: str, robot: Chain | None, wanted: Columns, fault: InputError | None
    ) -> None:
        super().__init__(headers, where, robot, wanted, fault)
        prefix = wanted.prefix or ""
        of_arm = [not prefix or header.strip().startswith(prefix) for header in headers]
        if not any(of_arm):
            self.refuse("prefix", f"no column that starts with '{printable(prefix)}'", "one of its columns")
        self.left = {i for i, name in enumerate(self.names) if of_arm[i] or name.quantity == "t" or self.is_move(i)}
        self.count = 0  # of joints

    def header(self) -> Header:
        """Return what is read."""
        wanted = self.wanted
        self.take_move()
        if wanted.header is not False:
            self.take_own()
        self.take_named()
        self.groups = list(self.grouped())
        self.take_times()
        jointed = any(column.joint for column in self.taken.values())
        posed = any(column.name in (*"xyz", *QUATERNION, *ANGLES, "o1") for column in self.taken.values())
        if not posed and wanted.position is None and wanted.orientation is None:
            jointed |= self.take_joints()
        if jointed and not posed and not wanted.ignore_others and self.of(*_POSE):
            remedy = "for the joints alone add ignore_others = true to [program.columns]"
            self.refuse("", "joints and poses", "one of the two", remedy)
        if not jointed or not wanted.ignore_others:
            posed |= self.take_poses()
        others = sorted(i for i in self.left if self.names[i].quantity != "other")
        if others and not wanted.ignore_others:
            self.refuse_unknown(others)
        if not (jointed or posed) and self.fault is not None:
            raise self.fault
        if not (jointed or posed):
            self.refuse(
                "", f"the columns {self.listed(range(len(self.headers)))}", "joints, or positions with orientations"
            )
        read = sorted(self.taken.values(), key=lambda column: column.index)
        for column in read:
            if [each.name for each in read].count(column.name) > 1:
                raise InputError(self.where, f"the column '{column.name}' twice", "each column once")
        ignored = [printable(header.strip()) for i, header in enumerate(self.headers) if i not in self.taken]
        return Header(tuple(read), tuple(ignored))

    # --- what is named

    def is_move(self, i: int) -> bool:
        """Whether a column is that of the labels."""
        given = self.wanted.move
        return self.bare[i] in ("move", given) or given == i + 1

    def take_move(self) -> None:
        if self.wanted.move is not None:
            (i,) = self.places((self.wanted.move,), "move")
            self.take(i, Column("move", self.headers[i]))

    def take_own(self) -> None:
        """Take labels and rates of poses, whose names are the program's own."""
        for i in sorted(self.left):
            name = re.sub(r"\s*\[.*", "", self.bare[i])
            if name in _OWN and not (name == "move" and self.wanted.move is not None):
                self.take(i, replace(own_column(self.bare[i], self.where, self.robot), header=self.headers[i]))

    def take_named(self) -> None:
        """Take what the map names."""
        wanted = self.wanted
        if wanted.time is not None and wanted.time.name is not None:
            self.take_time(self.places(wanted.time.name, "time.name"))
        for quantity, key in KEYS.items():
            group = getattr(wanted, key)
            if group is None or group.names is None:
                continue
            places = self.places(group.names, f"{key}.names")
            if quantity != "q" and wanted.joints is None and wanted.position is not None:
                self.take_pose_rates(places, key, group)
            else:
                self.check_joints(places, f"{key}.names")
                self.take_joint_columns(quantity, dict(enumerate(places, start=1)))
        for key in ("position", "orientation"):
            group = getattr(wanted, key)
            if group is not None and group.names is not None:
                places = self.places(group.names, f"{key}.names")
                self.take_pose_columns(key if key == "position" else group.convention, dict(enumerate(places)))

    def check_joints(self, places: Sequence[int], key: str) -> None:
        """Refuse a column that has the name of one joint for another."""
        joints = () if self.robot is None else self.robot.names
        for number, (i, joint) in enumerate(zip(places, joints, strict=False), start=1):
            said = without_brackets(self.bare[i])
            if said in joints and said != joint:
                remedy = "name the columns from the base outwards; a column whose name is wrong has to be renamed"
                due = f"'{joint}', which it is in {self.robot.source}" if self.robot is not None else ""
                self.refuse(key, f"the column of joint '{printable(said)}' for joint {number}", due, remedy)

    def places(self, heads: Heads, key: str) -> list[int]:
        """The columns that a key of the map names."""
        if len(heads) == 1 and isinstance(heads[0], str) and "*" in heads[0] and heads[0] not in self.bare:
            found = self.matching(heads[0])
            if not found:
                due = f"some ({self.listed(range(len(self.bare)))})"
                self.refuse(key, f"no column like '{printable(heads[0])}'", due)
        else:
            found = [self.place(head, key) for head in heads]
        for i in found:
            if i in self.taken:
                self.refuse(key, f"the column '{self.shown(i)}', which is taken for another", "each column once")
        return found

    def place(self, head: str | int, key: str) -> int:
        if isinstance(head, int):
            if head > len(self.headers):
                self.refuse(key, f"column {head}", f"at most {len(self.headers)}, the last column")
            return head - 1
        names = [self.bare, [without_brackets(bare) for bare in self.bare], [each.strip() for each in self.headers]]
        for known in names:
            if known.count(head) > 1:
                self.refuse(key, f"'{printable(head)}' {known.count(head)} times", "one column", "give its number")
            if head in known:
                return known.index(head)
        near = get_close_matches(head, [*self.bare, *map(without_brackets, self.bare)], n=1)
        remedy = f"did you mean '{printable(near[0])}'?" if near else ""
        due = f"a column of the table ({self.listed(range(len(self.bare)))})"
        return self.refuse(key, f"'{printable(head)}'", due, remedy)

    # --- what the names say

    def grouped(self) -> Iterator[Group]:
        """What is left, by what it is."""
        groups: dict[tuple[str, str], Group] = {}
        for i in sorted(self.left):
            name = self.names[i]
            if name.quantity in WORDS and name.quantity != "t":
                like = name.quantity, name.template.lower()
                group = groups.setdefault(like, Group(name.quantity, name.template, name.role))
                group.members.setdefault(name.number, i)
        for group in groups.values():
            if group.quantity == "quaternion" and set(group.members) == {0, 1, 2}:
                group.quantity = "angles"
            if group.quantity in KEYS or set(group.members) == set(range(_SIZES[group.quantity])):
                yield group

    def take_times(self) -> None:
        if "t" in (column.name for column in self.taken.values()) or self.wanted.period is not None:
            return
        times = [i for i in sorted(self.left) if self.names[i].quantity == "t"]
        if len(times) == 2 and {self.names[i].number for i in times} == {0, 1}:
            times.sort(key=lambda i: self.names[i].number)
            if all(self.names[i].unit for i in times):
                self.take_time(times)
                return
        if len(times) > 1:
            ways = [Columns(time=TimeColumn(name=(self.head(i),)), ignore_others=True) for i in times[:2]]
            self.refuse_ways(f"several columns of times ({self.listed(times)})", "one", ways)
        if times:
            self.take_time(times)

    def take_time(self, places: Sequence[int]) -> None:
        units = self.units(places, self.wanted.time, "time")
        for name, i, unit in zip(("t", "t2"), places, units, strict=False):
            factor = 1.0 if unit is None else factor_of(unit, "time", self.place_of(i))
            self.take(i, Column(name, self.headers[i], factor, unit or ""))

    def take_joints(self) -> bool:
        """Take the joints that are not named, and their rates; whether there are any."""
        role = ""
        if not self.count:
            found = self.of("q")
            if len(found) > 1:
                self.refuse_groups(found)
            if not found:
                return False
            self.take_joint_columns("q", _from_one(found[0].members))
            role = found[0].role
        elif names := [self.names[i] for i in self.taken if self.taken[i].joint]:
            role = names[0].role
        for quantity in ("qd", "qdd"):
            named = getattr(self.wanted, KEYS[quantity])
            if (self.wanted.ignore_others and named is None) or (named is not None and named.names is not None):
                continue
            rates = [each for each in self.of(quantity) if each.role == role]
            if len(rates) > 1:
                self.refuse_groups(rates)
            if rates:
                self.take_joint_columns(quantity, _from_one(rates[0].members))
        return True

    def take_joint_columns(self, quantity: str, members: dict[int, int]) -> None:
        """Take columns of joints, by their numbers from 1."""
        places = list(members.values())
        units = self.units(places, getattr(self.wanted, KEYS[quantity]), KEYS[quantity])
        if quantity == "q":
            self.count = len(members)
        elif None in units:
            said = {column.unit for column in self.taken.values() if column.joint and column.joint[0] == "q"}
            rate = {"qd": "/s", "qdd": "/s^2"}[quantity]
            units = [unit or (f"{next(iter(said))}{rate}" if len(said) == 1 else None) for unit in units]
        robot = self.robot if self.robot is not None and self.count == self.robot.joints else None
        for (number, i), unit in zip(members.items(), units, strict=True):
            if unit is None:
                raise without_unit(
                    self.place_of(i),
                    f"{quantity}{number}",
                    joint_dimensions(quantity, number, robot),
                    self.ways_of_unit(quantity, places, robot),
                )
            self.take(i, joint_column(quantity, number, self.headers[i], unit, self.place_of(i), robot))

    def take_poses(self) -> bool:
        """Take positions and orientations that are not named; whether there are any."""
        wanted, any_taken = self.wanted, False
        taken = {column.name for column in self.taken.values()}
        positions = [] if "x" in taken else self.of("position")
        if len(positions) > 1:
            self.refuse_groups(positions)
        if positions:
            self.take_pose_columns("position", positions[0].members)
            any_taken = True
        turns = [] if taken & {"qx", "roll", "o1"} else self.of(*_POSE[1:])
        if len(turns) > 1:
            self.refuse_groups(turns)
        for group in turns:
            convention = group.quantity
            if convention == "angles":
                given = wanted.orientation.convention if wanted.orientation is not None else None
                if given is None:
                    self.refuse_convention(list(group.members.values()))
                convention = str(given)
            self.take_pose_columns(convention, group.members)
            any_taken = True
        return any_taken

    def take_pose_columns(self, what: str, members: dict[int, int]) -> None:
        """Take the position or an orientation, by the places of axes from 0; of a convention in its order."""
        key = "position" if what == "position" else "orientation"
        places = [members[number] for number in sorted(members)]
        if what in ("quaternion", *QUATERNIONS):
            names: tuple[str, ...] = QUATERNION if what != QUATERNIONS[1] else ("qw", "qx", "qy", "qz")
            for name, i in zip(names, places, strict=True):
                self.take(i, Column(name, self.headers[i]))
            return
        names = {"position": tuple("xyz"), "rpy": ANGLES, RPY: ANGLES}.get(what, TURNS)
        dimension = "length" if key == "position" else "angle"
        for name, i, unit in zip(names, places, self.units(places, getattr(self.wanted, key), key), strict=True):
            if unit is None:
                ways = [with_unit(key, (unit,), self.wanted) for unit in UNITS[dimension]]
                shown = name if name[0] != "o" else without_brackets(self.bare[i])
                raise without_unit(self.place_of(i), shown, (dimension,), f"or say it in [program]: {either(ways)}")
            factor = factor_of(unit, dimension, self.place_of(i))
            self.take(i, Column(name, self.headers[i], factor, unit, convention=what if name[0] == "o" else ""))

    def take_pose_rates(self, places: Sequence[int], key: str, group: ColumnGroup) -> None:
        names = POSE_RATES[key == "accelerations"]
        given = group.unit
        if given is not None and len(given) == 2:
            given = (given[0],) * 3 + (given[1],) * 3
        units = self.units(places, None if given is None else ColumnGroup(unit=given), key)
        for name, i, unit in zip(names, places, units, strict=True):
            header = name if unit is None else f"{name} [{unit}]"
            column = own_column(header, self.place_of(i), self.robot)
            self.take(i, replace(column, header=self.headers[i]))

    def of(self, *quantities: str) -> list[Group]:
        """The groups of a quantity that are left whole."""
        return [each for each in self.groups if each.quantity in quantities and self.left >= {*each.members.values()}]

    def take(self, i: int, column: Column) -> None:
        self.left.discard(i)
        self.taken[i] = replace(column, index=i)

    def units(self, places: Sequence[int], given: ColumnGroup | TimeColumn | None, key: str) -> list[str | None]:
        """The unit of each of some columns, None where nobody says it."""
        said = [self.names[i].unit or bracketed(self.bare[i]) for i in places]
        if given is None or given.unit is None:
            return said
        mapped = given.unit * len(places) if len(given.unit) == 1 else given.unit
        if len(mapped) != len(places):
            self.refuse(f"{key}.unit", f"{len(mapped)} units", f"one, or {len(places)}, one a column")
        for i, header, unit in zip(places, said, mapped, strict=True):
            if header is not None and header != unit:
                found = f"the unit '{printable(unit)}' where the header has '{printable(header)}'"
                self.refuse(f"{key}.unit", f"{found} (column '{self.shown(i)}')", "one unit", "leave it out of the map")
        return list(mapped)


def _from_one(members: dict[int, int]) -> dict[int, int]:
    """Numbers that count from 0 as such that count from 1."""
    return {number + (0 in members): members[number] for number in sorted(members)}
