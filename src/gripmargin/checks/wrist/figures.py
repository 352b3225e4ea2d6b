"""What the check of the wrist knows of each rated value, and of the worst of them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from gripmargin.results.findings import Place
from gripmargin.results.record import Record, aside, part

Kind = Literal["payload", "moment", "inertia", "peak_force", "peak_moment"]


class Missing(StrEnum):
    """What is not given and has to be, to know what is asked of a rated value."""

    MASS = "mass"
    COM = "com"
    INERTIA = "inertia"
    AXES = "axes"
    CONTACT = "contact"


@dataclass(frozen=True, eq=False, kw_only=True)
class RatedValue(Record):
    """A rated value of the wrist and what gripper and part ask of it: kg, N m, kg m^2 or N.

    Attributes:
        limit: Which kind of value.
        axis: About which axis, in words; None for payload and force.
        asked: Largest value at a sample; None where it is not known.
        asked_most: Largest value it may have, with what lies between the samples; None without a bound.
        rated: What the robot may carry.
        ratio: Rated over asked [-]; None where it is not known, and where nothing is asked.
        t: When most is asked, or may be [s].
        asked_least: Least value that the largest may have.
        missing: What is missing to know it; None where nothing is.
    """

    limit: Kind
    axis: str | None
    asked: float | None
    asked_most: float | None
    rated: float
    ratio: float | None
    t: float
    asked_least: float = aside()
    missing: Missing | None = aside()


@dataclass(frozen=True, eq=False, kw_only=True)
class FlangeDetails(Record):
    """What is known beyond the least ratio.

    Attributes:
        limits: Every rated value, as a data sheet lists them.
        gripper_mass: [kg], or None.
        part_mass: [kg].
        worst: The one that the result is about.
    """

    limits: tuple[RatedValue, ...]
    gripper_mass: float | None
    part_mass: float
    worst: RatedValue = aside()


@dataclass(frozen=True, eq=False, kw_only=True)
class WorstRated(Record):
    """The rated value that is kept least.

    Attributes:
        at: Where most is asked of it; where that is undecided, where most may be asked.
        value: The value.
        short: All values that are not surely kept.
        target: Ratio wanted [-].
    """

    at: Place = part()
    value: RatedValue = part()
    short: tuple[RatedValue, ...] = aside()
    target: float = aside()


@dataclass(frozen=True, eq=False, kw_only=True)
class Cause(Record):
    """Why a rated value is not kept.

    Attributes:
        cause: In words.
    """

    cause: str
