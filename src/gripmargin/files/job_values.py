"""Single values of the job file, by what they hold: read into SI while the file is validated, and as JSON Schema."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from contextlib import suppress
from difflib import get_close_matches
from functools import partial
from typing import Annotated, Any

from pydantic import PlainValidator, WithJsonSchema
from pydantic_core import PydanticCustomError

from gripmargin.base.errors import InputError
from gripmargin.base.units import DIMENSIONS, parse_quantity, with_article
from gripmargin.files.source import describe, printable
from gripmargin.workcell.kinds import CHECK_SIZE, Choice, Count, Flag, Heading, Kind, Number, OfJoint

INPUT_FAULT = "input_fault"  # pydantic error type that carries the facts of an InputError
UNMEASURED = "to be measured"  # what stands in a drafted job for a value that only a measurement gives
LONGEST_LABEL = 200
MOST_OPTIONS = 20  # that a message lists, where there is another way to say them


class OfOneJoint(float):
    """A travel or rate of a joint in SI, which remembers of what kind of joint it is.

    Attributes:
        turns: Whether it is that of a joint that turns.
        dimension: Its own, a key of `gripmargin.base.units.DIMENSIONS`.
        other: What it would be of the other kind of joint.
    """

    turns: bool
    dimension: str
    other: str


def fault(found: str, expected: str, remedy: str = "") -> PydanticCustomError:
    """Return an error that pydantic collects, with the facts of an `InputError`."""
    facts = {"found": printable(found, 200), "expected": expected, "remedy": remedy}
    return PydanticCustomError(INPUT_FAULT, "found {found}, expected {expected}", facts)


def meant(given: object, known: Sequence[str]) -> str:
    """Ask whether one of the known words was meant, whatever its case; the first of those that are as near."""
    folded = {word.casefold(): word for word in reversed(known)}
    near = get_close_matches(str(given)[:60].casefold(), folded, n=1)
    return f"did you mean '{folded[near[0]]}'?" if near else ""


def form(kind: Kind) -> Any:
    """Return the type by which pydantic reads a single value, and publishes what it may be."""
    read: Callable[[Any], Any]
    published: dict[str, Any]
    match kind:
        case OfJoint(linear):
            read, angular = partial(_of_joint, kind), kind.angular
            text = ", or ".join(f'{each} such as "{DIMENSIONS[each][1]}"' for each in (angular, linear))
            published = {"type": "string", "description": text}
        case Number(""):
            bounds = {"exclusiveMinimum": kind.above, "minimum": kind.least}
            bounds |= {"exclusiveMaximum": kind.below, "maximum": kind.most}
            read = partial(_bare_number, kind)
            published = {"type": "number", **{key: bound for key, bound in bounds.items() if bound is not None}}
        case Number(dimension):
            text = f'{dimension} with its unit, such as "{DIMENSIONS[dimension][1]}"'
            read, published = partial(_quantity, kind, dimension), {"type": "string", "description": text}
        case Count():
            read, published = _count, {"type": "integer", "minimum": 1}
        case Heading():
            read = _heading
            published = {"anyOf": [{"type": "string", "minLength": 1}, {"type": "integer", "minimum": 1}]}
        case Flag():
            read, published = _flag, {"type": "boolean"}
        case Choice(options, what):
            read, published = partial(_choice, options, what), {"enum": list(options)}
        case _:
            read, published = _label, {"type": "string", "minLength": 1, "maxLength": LONGEST_LABEL}
    return Annotated[Any, PlainValidator(read), WithJsonSchema(published)]


def _quantity(kind: Number, dimension: str, value: object) -> float:
    """A quantity in SI. Its upper bound is judged where the value is built, and told in SI."""
    try:
        number = parse_quantity(value, dimension, "")
    except InputError as error:
        plain = isinstance(value, str | int | float) and not isinstance(value, bool)
        raise fault(error.found if plain else describe(value), error.expected, error.remedy) from error
    if not kind.is_high_enough(number):
        raise fault(describe(value), f"{with_article(dimension)} {kind.lower}")
    if size := kind.size(number):
        raise fault(describe(value), f"{with_article(dimension)} of {size}", CHECK_SIZE)
    return number


def _of_joint(kind: OfJoint, value: object) -> OfOneJoint:
    try:
        parse_quantity(value, kind.dimension, "")
        turns, dimension, other = False, kind.dimension, kind.angular
    except InputError:
        turns, dimension, other = True, kind.angular, kind.dimension
    number = OfOneJoint(_quantity(kind, dimension, value))
    number.turns, number.dimension, number.other = turns, dimension, other
    return number


def _bare_number(kind: Number, value: object) -> float:
    number = math.nan
    if isinstance(value, int | float) and not isinstance(value, bool):
        with suppress(OverflowError):  # a whole number may be larger than any float
            number = float(value)
    if not kind.is_within(number):
        bounds = {"above": kind.above, "of at least": kind.least, "below": kind.below, "at most": kind.most}
        text = " and ".join(f"{word} {bound:g}" for word, bound in bounds.items() if bound is not None)
        raise fault(describe(value), f"a bare number {text}", _bare(value))
    if size := kind.size(number):
        raise fault(describe(value), f"a bare number of {size}", CHECK_SIZE)
    return number


def _bare(value: object) -> str:
    """What to do about text where a bare number is due."""
    if not isinstance(value, str):
        return ""
    if value.rstrip().endswith("%"):
        return "write a share such as 0.8 for 80 %"
    return "write it without quotes and units" if value.strip(" +-.")[:1].isdigit() else ""


def _count(value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value < 1:
        raise fault(describe(value), "a whole number of at least 1")
    return value


def _heading(value: object) -> str | int:
    """A column: its name, or its number."""
    if isinstance(value, str):
        return _label(value)
    if isinstance(value, bool) or not isinstance(value, int) or value < 1:
        raise fault(describe(value), "the name of a column between quotes, or its number, counted from 1")
    return value


def _flag(value: object) -> bool:
    if not isinstance(value, bool):
        raise fault(describe(value), "true or false", "write it without quotes" if value in ("true", "false") else "")
    return value


def _choice(options: Sequence[str | int], what: str, value: object) -> str | int:
    if isinstance(value, bool) or not isinstance(value, str | int) or value not in options:
        known = [option for option in options if isinstance(option, str)]
        remedy = meant(value, known) if isinstance(value, str) else ""
        due = what if what and len(options) > MOST_OPTIONS else f"one of {', '.join(map(str, options))}"
        raise fault(describe(value), due, remedy)
    return value


def _label(value: object) -> str:
    """Text on one line, not empty."""
    if not isinstance(value, str):
        raise fault(describe(value), "text between quotes")
    if not value.strip():
        raise fault("empty text", "text with something in it")
    if not value.isprintable():
        raise fault("text with control characters", "plain text on one line")
    if len(value) > LONGEST_LABEL:
        raise fault(f"text of {len(value)} characters", f"at most {LONGEST_LABEL}")
    return value
