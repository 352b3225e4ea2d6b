"""What a field of a job holds: its unit, its bounds, and how a value that is built in Python is checked.

A job file has the same in a form of its own, which is said with each kind; `gripmargin.files.job_values` reads it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import KW_ONLY, dataclass
from functools import partial
from numbers import Integral, Real
from typing import Any

import numpy as np

from gripmargin.base.arrays import ByName, FloatArray, frozen
from gripmargin.base.errors import InputError
from gripmargin.base.given import of_class, several, shown, texts
from gripmargin.base.poses import as_pose
from gripmargin.base.units import DIMENSIONS, MAGNITUDES
from gripmargin.workcell.shapes import curve, dirty_pulls, inertia_matrix, points, polygon


@dataclass(frozen=True)
class Kind:
    """What a field holds; this one holds anything, and is no key of the file."""


@dataclass(frozen=True)
class Number(Kind):
    """A number within bounds: a quantity where it has a dimension, in SI; in the file text with a unit.

    Attributes:
        dimension: A key of `gripmargin.base.units.DIMENSIONS`; empty: a bare number, in the file too.
        above: It must exceed this.
        least: It must be at least this.
        below: It must stay below this; bare numbers only.
        most: It must not exceed this. Of a quantity it catches a slip of the unit, and is told in SI.
        what: What messages about an upper bound, or about no bound at all, call it. Without bounds and such words
            anything goes, even infinity.
    """

    dimension: str = ""
    _: KW_ONLY
    above: float | None = None
    least: float | None = None
    below: float | None = None
    most: float | None = None
    what: str = ""

    @property
    def unit(self) -> str:
        """The SI unit, "-" of a bare number."""
        return DIMENSIONS[self.dimension][0] if self.dimension else "-"

    @property
    def lower(self) -> str:
        """The lower bound in words."""
        if self.above is not None:
            return f"above {self.above:g}"
        return "" if self.least is None else f"of {self.least:g} or more"

    def is_high_enough(self, number: float) -> bool:
        """Whether a number keeps the lower bound; NaN does not."""
        return (self.above is None or number > self.above) and (self.least is None or number >= self.least)

    def size(self, number: float) -> str:
        """Return in words what size is due where a number has none that a job can mean; else nothing."""
        (least, most), unit = MAGNITUDES[self.dimension], f" {self.unit}" if self.dimension else ""
        if most < abs(number) < math.inf:
            return f"at most {most:g}{unit}"
        if 0 < number < least and 0 in (self.above, self.least):
            return f"at least {least:g}{unit}"
        return ""

    def is_within(self, number: float) -> bool:
        """Whether a number is finite and keeps all bounds."""
        is_low_enough = (self.below is None or number < self.below) and (self.most is None or number <= self.most)
        return math.isfinite(number) and self.is_high_enough(number) and is_low_enough


@dataclass(frozen=True)
class OfJoint(Number):
    """A travel or rate of a joint above 0: linear for one that slides, which its dimension is, else angular."""

    above: float | None = 0

    @property
    def angular(self) -> str:
        """The dimension for a joint that turns."""
        return "angle" if self.dimension == "length" else f"angular {self.dimension}"

    @property
    def unit(self) -> str:
        """Both SI units."""
        return f"{DIMENSIONS[self.angular][0]} or {DIMENSIONS[self.dimension][0]}"


@dataclass(frozen=True)
class Count(Kind):
    """A whole number from 1; messages call it ``what``."""

    what: str


@dataclass(frozen=True)
class Choice(Kind):
    """One of a few values; messages call them ``what``, or name all of them."""

    options: tuple[str | int, ...]
    what: str = ""


@dataclass(frozen=True)
class Flag(Kind):
    """True or false."""


@dataclass(frozen=True)
class Text(Kind):
    """Text on one line, not empty; ``of`` what, where it stands in the file for something else."""

    of: str = ""


@dataclass(frozen=True)
class Named(Kind):
    """Texts by name, or values of a class: in the file a table."""

    each: Text | Within


@dataclass(frozen=True)
class Heading(Kind):
    """A column of a table: its name, or its number from 1."""


@dataclass(frozen=True)
class Within(Kind):
    """One value of a class: in the file a table."""

    of: type


@dataclass(frozen=True)
class Pose(Kind):
    """A rigid pose: in the file a table of position and angles, of which a face needs the position."""

    is_face: bool = False


@dataclass(frozen=True)
class Several(Kind):
    """Values of a class: in the file tables, ``least`` of them where the key is given, and not more than ``most``."""

    of: type
    least: int = 0
    most: int | None = None


@dataclass(frozen=True)
class Pair(Kind):
    """Two values side by side, and one more that may be left out."""

    first: Number
    second: Number
    third: Count | None = None


@dataclass(frozen=True)
class Row(Kind):
    """Values in a row: in the file a list, in Python an array.

    Attributes:
        each: What each entry holds.
        count: How many there are; None: any number.
        least: How many there are at least, where any number may be.
        last: What the last entry belongs to, for messages.
        check: Gives what Python has, where that is more than an array of numbers within their bounds.
        note: Unit and shape of that.
        alone: Whether one entry may stand without the list.
    """

    each: Kind
    count: int | None = None
    _: KW_ONLY
    least: int = 1
    last: str = ""
    check: Callable[[Any, str], Any] | None = None
    note: str = ""
    alone: bool = False


def checked(kind: Kind, value: Any, where: str) -> Any:
    """Return a value as Python keeps it: arrays as own, finite, read-only copies.

    Raises:
        InputError: It is not what the kind asks for; ``where`` is what it is called.
    """
    match kind:
        case Number():
            return _number(kind, value, where)
        case Count(what) if isinstance(value, bool) or not isinstance(value, Integral) or value < 1:
            raise InputError(where, shown(value), what)
        case Flag() if not isinstance(value, bool):
            raise InputError(where, f"{value!r}", "True or False")
        case Choice(options, what) if not isinstance(value, (str, int)) or value not in options:
            raise InputError(where, shown(value), what or " or ".join(map(str, options)))
        case Text("") if not isinstance(value, str) or not value:
            raise InputError(where, shown(value), "a text")
        case Named(each):
            return _by_name(each, value, where)
        case Within(of):
            return of_class(value, of, where)
        case Heading() if isinstance(value, bool) or not isinstance(value, (str, int)) or value in ("", 0):
            raise InputError(where, shown(value), "the name of a column, or its number, counted from 1")
        case Pose():
            return as_pose(value, where)
        case Several(of, _, most):
            values: tuple[Any, ...] = several(value, of, where)
            if most is not None and len(values) > most:
                raise InputError(where, f"{len(values)} values", f"at most {most}")
            return values
        case Row():
            return _sized(kind.each, kind.check(value, where), where) if kind.check else _row(kind, value, where)
    return value


def _by_name(each: Kind, value: Any, where: str) -> ByName[Any]:
    if not isinstance(value, Mapping) or not all(isinstance(name, str) and name for name in value):
        raise InputError(where, shown(value), "values by name")
    return ByName({name: checked(each, one, f"{where}.{name}") for name, one in value.items()})


def note(kind: Kind) -> str:
    """Return unit and shape as docstrings have them."""
    match kind:
        case Number():
            return f"[{kind.unit}]"
        case Pose():
            return "shape (4, 4)"
        case Row(each, count):
            return kind.note if kind.check else f"{note(each)}, shape ({count or 'k'},)"
    return ""


def _number(kind: Number, value: Any, where: str) -> float:
    value = value.item() if isinstance(value, np.ndarray) and value.ndim == 0 else value
    if isinstance(value, bool) or not isinstance(value, Real):
        raise InputError(where, shown(value), f"a number [{kind.unit}]", IN_SI if kind.dimension else "")
    number = float(value)
    if size := kind.size(number):
        raise InputError(where, f"{number:g} {kind.unit}".removesuffix(" -"), size, CHECK_SIZE)
    if kind.is_within(number) or not (kind.lower or kind.what):
        return number
    upper = kind.most if kind.below is None else kind.below
    found, due = f"{number:g}", f"a value {kind.lower} [{kind.unit}]"
    if not kind.lower:
        found, due = f"{value}", f"{kind.what} [{kind.unit}]"
    elif upper is not None and kind.least is not None and not kind.dimension:
        found, due = f"{value}", f"{kind.what} from {kind.least:g} {'to' if kind.below is None else 'up to'} {upper:g}"
    elif upper is not None and upper < number < math.inf:
        unit = f" {kind.unit}" if kind.dimension else ""
        found, due = f"{number:g}{unit}", ", ".join(filter(None, (kind.what, f"at most {upper:g}{unit}")))
    raise InputError(where, found, due)


def _sized(each: Kind, value: Any, where: str) -> Any:
    """Refuse an array whose entries have no size that a job can mean."""
    if isinstance(value, np.ndarray) and isinstance(each := _leaf(each), Number):
        _number(Number(each.dimension), np.abs(value).max(initial=0.0), where)
    return value


def _leaf(kind: Kind) -> Kind:
    while isinstance(kind, Row):
        kind = kind.each
    return kind


def _row(kind: Row, value: Any, where: str) -> FloatArray:
    array = frozen(value, (kind.count,), where)
    if array.size == 0:
        raise InputError(where, "an empty list", f"at least one value{kind.last and f', of {kind.last}'}")
    for i, number in enumerate(array):
        checked(kind.each, number, f"{where}[{i}]")
    return array


IN_SI = "values in Python are numbers in SI, without a unit"
CHECK_SIZE = "check its unit and its exponent"


positive, not_negative = partial(Number, above=0), partial(Number, least=0)
ANYTHING = Kind()
POINT = Row(Number("length"), 3)
LABELS = Row(Text(), check=texts)
PATH = Text("a path")  # of a file that a job reads
OFFSETS = Row(POINT, check=points, note="[m], shape (k, 3)")
OUTLINE = Row(Row(Number("length"), 2), least=3, check=polygon, note="[m], shape (k, 2)")
INERTIA = Row(Number("moment of inertia"), 6, check=inertia_matrix, note="[kg*m^2], shape (3, 3) or (6,)")
CURVE = Row(
    Pair(not_negative("stress"), Number(least=0, most=1)),
    least=2,
    check=curve,
    note="rows of pressure [Pa] and share, shape (k, 2)",
)
PULLS = Row(
    Pair(not_negative(), positive("stress"), Count("the number of its pad, from 1")),
    least=4,
    check=dirty_pulls,
    note="rows of picks since cleaning and pull-off stress [Pa], shape (k, 2), or with the pad's number, (k, 3)",
)
