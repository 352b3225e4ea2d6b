"""What is known of the part's swing on its pads: over the carry, at the worst samples, and when the part is placed."""

from __future__ import annotations

from dataclasses import dataclass

from gripmargin.checks.hold.figures import Load, Shares, Spot, Stresses
from gripmargin.checks.margin import WorstMargin
from gripmargin.results.findings import Place
from gripmargin.results.record import Record, aside, part


@dataclass(frozen=True, eq=False, kw_only=True)
class Ringing(Record):
    """The swing of one mode at a sample.

    Attributes:
        shape: What the part mostly does in it.
        frequency: Natural frequency [Hz].
        use: Utilisation that its whole amplitude is worth [-].
    """

    shape: str
    frequency: float
    use: float


@dataclass(frozen=True, eq=False, kw_only=True)
class SwingDetails(Record):
    """What is known of the swing over the whole carry beyond its margin.

    Attributes:
        frequencies: Of the modes, slowest first [Hz].
        shapes: What the part mostly does in each.
        damping: Share of critical damping of each [-].
        amplification: Use of the pads with swing over that without, at the worst sample; None without a load there.
        quasi_static_margin: Margin without swing there [-]; None without a load.
        ringing: The swing there, mode by mode.
        sway_angle: Largest turn of the part against the tool over the carry [rad]; None where it is beyond numbers.
        sway: Largest way of its centre of mass against the tool [m], likewise.
        too_far: Whether it swings too far somewhere to be judged.
    """

    frequencies: tuple[float, ...]
    shapes: tuple[str, ...]
    damping: tuple[float, ...]
    amplification: float | None
    quasi_static_margin: float | None
    ringing: tuple[Ringing, ...]
    sway_angle: float | None
    sway: float | None
    too_far: bool = aside()


@dataclass(frozen=True, eq=False, kw_only=True)
class WorstSwing(Record):
    """The worst sample of a stretch: margin, place, stresses, load, swing included.

    Attributes:
        margin: With its bounds, and which sample.
        quasi_static_margin: Margin without swing there [-].
        spot: Where on the pads.
        stresses: There.
        load: What the pads carry.
    """

    margin: WorstMargin = part()
    quasi_static_margin: float | None
    spot: Spot = part()
    stresses: Stresses = part()
    load: Load = part()


@dataclass(frozen=True, eq=False, kw_only=True)
class SwingCauses(Record):
    """What the use of the pads is made of at the worst sample of a stretch.

    Attributes:
        shares: By cause, the swing among them, and by way.
        ringing: The swing, mode by mode.
    """

    shares: Shares = part()
    ringing: tuple[Ringing, ...]


@dataclass(frozen=True, eq=False, kw_only=True)
class SettleDetails(Record):
    """The placing with the largest swing, and how that dies down.

    Attributes:
        amplitude: Of the part against the tool when it is placed, at its farthest corner [m].
        amplitude_high: Largest value it may have [m]; None where it is not known.
        tolerance: What the place along the face leaves of that of the nest [m].
        last_stop: When the tool last came to rest before the placing [s]; None: never.
        settling_time: From then until the swing has died down to the tolerance [s]; None where it never does.
        time_available: From then until the placing [s].
        settles: Whether the swing dies down at all.
    """

    amplitude: float
    amplitude_high: float | None
    tolerance: float
    last_stop: float | None
    settling_time: float | None
    time_available: float | None
    settles: bool


@dataclass(frozen=True, eq=False, kw_only=True)
class WorstPlacing(Record):
    """A placing at which the part still swings.

    Attributes:
        at: The last sample before it.
        amplitude: Of the part against the tool, at its farthest corner [m].
        tolerance: What the place along the face leaves of that of the nest [m].
        allowed: Largest amplitude with which the target is met [m].
    """

    at: Place = part()
    amplitude: float
    tolerance: float
    allowed: float = aside()


@dataclass(frozen=True, eq=False, kw_only=True)
class PlacingCause(Record):
    """Why a placing falls short.

    Attributes:
        cause: In words.
    """

    cause: str
