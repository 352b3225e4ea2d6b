"""What a key of the job file holds: quantities, bare numbers, labels, choices, for the pydantic models.

Each is metadata of an ``Annotated`` type. Quantities become SI floats while the file is validated, so that
every fault of a file is found in one reading.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from pydantic_core import PydanticCustomError, core_schema

from gripmargin.base.errors import InputError
from gripmargin.base.units import DIMENSIONS, parse_quantity
from gripmargin.files.source import describe, printable

INPUT_FAULT = "input_fault"  # pydantic error type that carries the facts of an InputError
LONGEST_LABEL = 200


def fault(found: str, expected: str, remedy: str = "") -> PydanticCustomError:
    """Return an error that pydantic collects, with the facts of an `InputError`."""
    facts = {"found": printable(found, 200), "expected": expected, "remedy": remedy}
    return PydanticCustomError(INPUT_FAULT, "found {found}, expected {expected}", facts)


class _Kind:
    """Base of the metadata: pydantic calls ``read`` and nothing else."""

    def read(self, value: object) -> Any:
        raise NotImplementedError

    def json_schema(self) -> dict[str, Any]:
        raise NotImplementedError

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: Any, handler: Any) -> dict[str, Any]:
        return self.json_schema()


@dataclass(frozen=True)
class Quantity(_Kind):
    """A string with a unit.

    Attributes:
        dimension: A key of `gripmargin.base.units.DIMENSIONS`.
        above: It must exceed this, SI.
        least: It must be at least this, SI.
    """

    dimension: str
    above: float | None = None
    least: float | None = None

    def read(self, value: object) -> float:
        """Return the value in SI."""
        number = _read(value, self.dimension)
        if self.above is not None and not number > self.above:
            raise fault(describe(value), f"{_with_article(self.dimension)} above {self.above:g}")
        if self.least is not None and not number >= self.least:
            raise fault(describe(value), f"{_with_article(self.dimension)} of {self.least:g} or more")
        return number

    def json_schema(self) -> dict[str, Any]:
        """Return what the published schema says of it."""
        text = f'{self.dimension} with its unit, such as "{DIMENSIONS[self.dimension][1]}"'
        return {"type": "string", "description": text}


def angular_of(linear: str) -> str:
    """Return the dimension that belongs to a joint that turns as another does to one that slides."""
    return "angle" if linear == "length" else f"angular {linear}"


class Measured(NamedTuple):
    """A travel or rate of a joint, whose dimension depends on the joint.

    Attributes:
        value: SI.
        dimension: A key of `gripmargin.base.units.DIMENSIONS`.
    """

    value: float
    dimension: str


@dataclass(frozen=True)
class JointQuantity(_Kind):
    """A travel or rate of a joint: angular for a joint that turns, linear for one that slides; above 0.

    Attributes:
        linear: "speed", "acceleration", "jerk" or "length".
    """

    linear: str

    @property
    def angular(self) -> str:
        """The dimension for a joint that turns."""
        return angular_of(self.linear)

    def read(self, value: object) -> Measured:
        """Return the value in SI and which of the two it is."""
        angular = self.angular
        try:
            found = Measured(_read(value, self.linear), self.linear)
        except PydanticCustomError:
            found = Measured(_read(value, angular), angular)
        if not found.value > 0:
            raise fault(describe(value), f"{_with_article(found.dimension)} above 0")
        return found

    def json_schema(self) -> dict[str, Any]:
        """Return what the published schema says of it."""
        kinds = (self.angular, self.linear)
        text = ", or ".join(f'{kind} such as "{DIMENSIONS[kind][1]}"' for kind in kinds)
        return {"type": "string", "description": text}


@dataclass(frozen=True)
class Number(_Kind):
    """A bare number between bounds."""

    above: float | None = None
    least: float | None = None
    below: float | None = None
    most: float | None = None

    def read(self, value: object) -> float:
        """Return the number."""
        number = math.nan
        if isinstance(value, int | float) and not isinstance(value, bool):
            number = _as_float(value)
        inside = (
            math.isfinite(number)
            and (self.above is None or number > self.above)
            and (self.least is None or number >= self.least)
            and (self.below is None or number < self.below)
            and (self.most is None or number <= self.most)
        )
        if not inside:
            bounds = {"above": self.above, "of at least": self.least, "below": self.below, "at most": self.most}
            text = " and ".join(f"{word} {bound:g}" for word, bound in bounds.items() if bound is not None)
            raise fault(describe(value), f"a bare number {text}")
        return number

    def json_schema(self) -> dict[str, Any]:
        """Return what the published schema says of it."""
        bounds = {
            "exclusiveMinimum": self.above,
            "minimum": self.least,
            "exclusiveMaximum": self.below,
            "maximum": self.most,
        }
        return {"type": "number", **{key: bound for key, bound in bounds.items() if bound is not None}}


@dataclass(frozen=True)
class Count(_Kind):
    """A whole number from 1."""

    def read(self, value: object) -> int:
        """Return the number."""
        if isinstance(value, bool) or not isinstance(value, int) or value < 1:
            raise fault(describe(value), "a whole number of at least 1")
        return value

    def json_schema(self) -> dict[str, Any]:
        """Return what the published schema says of it."""
        return {"type": "integer", "minimum": 1}


@dataclass(frozen=True)
class Label(_Kind):
    """Text on one line, not empty."""

    def read(self, value: object) -> str:
        """Return the text."""
        if not isinstance(value, str):
            raise fault(describe(value), "text between quotes")
        if not value.strip():
            raise fault("empty text", "text with something in it")
        if not value.isprintable():
            raise fault("text with control characters", "plain text on one line")
        if len(value) > LONGEST_LABEL:
            raise fault(f"text of {len(value)} characters", f"at most {LONGEST_LABEL}")
        return value

    def json_schema(self) -> dict[str, Any]:
        """Return what the published schema says of it."""
        return {"type": "string", "minLength": 1, "maxLength": LONGEST_LABEL}


@dataclass(frozen=True)
class Choice(_Kind):
    """One of a few values."""

    options: Sequence[str | int]

    def read(self, value: object) -> str | int:
        """Return the value."""
        if isinstance(value, bool) or not isinstance(value, str | int) or value not in self.options:
            raise fault(describe(value), f"one of {', '.join(map(str, self.options))}")
        return value

    def json_schema(self) -> dict[str, Any]:
        """Return what the published schema says of it."""
        return {"enum": list(self.options)}


def _read(value: object, dimension: str) -> float:
    try:
        return parse_quantity(value, dimension, "")
    except InputError as error:
        raise fault(error.found, error.expected, error.remedy) from error


def _as_float(value: float) -> float:
    try:
        return float(value)
    except OverflowError:
        return math.inf


def _with_article(dimension: str) -> str:
    return f"an {dimension}" if dimension[0] in "aeiou" else f"a {dimension}"
