"""Over how many picks the pads hold enough, and what limits them."""

from __future__ import annotations

from dataclasses import dataclass

from gripmargin.results.findings import Place
from gripmargin.results.record import Record, aside, if_known, part


@dataclass(frozen=True, eq=False, kw_only=True)
class IntervalDetails(Record):
    """What is left of the pads over the picks.

    Attributes:
        asked: Picks between cleanings that the job asks for.
        limit: The result that limits them; None where none of the pads' margins is asked for.
        margin: What it comes to after so many picks; None where that is not known.
        wanted: Its target.
        tested: Picks up to which pads were pulled; None without a record.
        picks: Numbers of picks at which the next two are told.
        strength: Share of their stated strength that the weakest pads have then.
        margins: About what the limiting margin comes to then, as it goes with the strength.
        doubts: Why the margins are not known after so many picks, a sentence each.
    """

    asked: float
    limit: str | None
    margin: float | None
    wanted: float | None
    tested: float | None
    picks: tuple[float, ...]
    strength: tuple[float, ...]
    margins: tuple[float, ...]
    doubts: tuple[str, ...] = aside()


@dataclass(frozen=True, eq=False, kw_only=True)
class WorstInterval(Record):
    """Where the limiting margin is least.

    Attributes:
        at: The sample.
        shown: Picks with which every margin passes; None where there are none.
        details: What limits them.
    """

    at: Place = part()
    shown: float | None = if_known()
    details: IntervalDetails = aside()
