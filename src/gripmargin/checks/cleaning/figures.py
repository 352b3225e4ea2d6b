"""How far pads are clean after a cleaning move, where they are not, and what their cleaner is pulled with."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from gripmargin.contact.cleaning import Cleaned
from gripmargin.results.findings import Place
from gripmargin.results.record import Record, aside, if_known, part

Lack = Literal["touch", "pressure", "dwell", "presses", "slip", "dragged", "overload"]


@dataclass(frozen=True, eq=False, kw_only=True)
class Gap(Record):
    """The place that is least clean.

    Attributes:
        pad: Its pad.
        where: In the frame of the pad [m].
        lack: What it lacks: a touch at all, pressure, dwell, presses, slip; or it was dragged too far, or pressed until
            its fibrils buckle.
        peak: Highest pressure there [Pa].
        dwell: Longest time with the pressure that cleans [s].
        presses: Presses that count.
        slip: Longest way over the cleaner in one touch [m].
    """

    pad: str
    where: tuple[float, float]
    lack: Lack
    peak: float
    dwell: float
    presses: float
    slip: float


@dataclass(frozen=True, eq=False, kw_only=True)
class PadCleaned(Record):
    """How far one pad is clean.

    Attributes:
        pad: Its name.
        share: Share of its face that is clean at least.
        share_high: The most that it may be.
        overlap: Share of its face that is pressed more often than it has to be.
        peak: Highest pressure [Pa].
    """

    pad: str
    share: float
    share_high: float
    overlap: float
    peak: float


@dataclass(frozen=True, eq=False, kw_only=True)
class CleaningDetails(Record):
    """What a cleaning move comes to.

    Attributes:
        cleaner: Names of what it cleans on.
        start: When it begins [s].
        end: When it ends [s].
        pads: Each pad.
        gap: Where it is least clean; None where all is clean.
        faces: The faces of the pads, for drawings.
        unasked: What the job does not ask for, a sentence each.
    """

    cleaner: str
    start: float
    end: float
    pads: tuple[PadCleaned, ...]
    gap: Gap | None = if_known()
    faces: tuple[Cleaned, ...] = aside()
    unasked: tuple[str, ...] = aside()


@dataclass(frozen=True, eq=False, kw_only=True)
class WorstCleaning(Record):
    """The move that cleans least.

    Attributes:
        at: Where it begins.
        details: What it comes to.
    """

    at: Place = part()
    details: CleaningDetails = aside()


@dataclass(frozen=True, eq=False, kw_only=True)
class CleanerDetails(Record):
    """What pads pull at a cleaner that they stick to.

    Attributes:
        cleaner: Its name.
        force: Largest force [N].
        moment: Largest moment about the origin of its face [N m].
        straight: What tack times the largest area that touches is [N].
        rolled: What it takes to roll pads off, tack^2/2k for each width of a pad [N/m].
        pressed: Largest force that presses on it [N].
    """

    cleaner: str
    force: float
    moment: float
    straight: float
    rolled: float
    pressed: float


@dataclass(frozen=True, eq=False, kw_only=True)
class WorstCleaner(Record):
    """Where it is pulled most.

    Attributes:
        at: The sample.
        details: With what.
    """

    at: Place = part()
    details: CleanerDetails = aside()
