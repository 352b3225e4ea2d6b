"""How far a part that bends droops, and where."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from gripmargin.results.findings import Place
from gripmargin.results.record import Record, part

During = Literal["carry", "placing"]


@dataclass(frozen=True, eq=False, kw_only=True)
class DroopDetails(Record):
    """Where the part droops most for the room that there is.

    Attributes:
        droop: From the plane of the pads, along the tool's z axis [m].
        droop_high: The most that it may be [m].
        room: How far it may [m].
        during: While it is carried, or where it is placed.
        where: In the tool frame [m].
        large: Whether it is so large that it is known as a bound alone.
    """

    droop: float
    droop_high: float | None
    room: float
    during: During
    where: tuple[float, float]
    large: bool


@dataclass(frozen=True, eq=False, kw_only=True)
class WorstDroop(Record):
    """The worst sample.

    Attributes:
        at: The sample.
        details: How far, and where.
    """

    at: Place = part()
    details: DroopDetails = part()
