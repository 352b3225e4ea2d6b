"""What the check of stops knows of the worst instant, of its causes, and of a part that comes off."""

from __future__ import annotations

from dataclasses import dataclass

from gripmargin.checks.hold.figures import Load, Shares, Spot, Stresses
from gripmargin.checks.margin import WorstMargin
from gripmargin.results.record import Record, aside, part


@dataclass(frozen=True, eq=False, kw_only=True)
class WorstInstant(Record):
    """The worst instant of the stop that begins at a sample.

    Attributes:
        stop: Which kind of stop: path or axes.
        after: Time from the start of the stop to that instant [s].
        braking_time: And to rest [s].
        quasi_static: Margin in that instant without the part's swing [-]; None without a load.
    """

    stop: str
    after: float
    braking_time: float
    quasi_static: float | None


@dataclass(frozen=True, eq=False, kw_only=True)
class Flight(Record):
    """The way of a part that comes off, to the floor, without air; None where it is not known.

    Attributes:
        height: Of the centre of mass above the floor [m].
        range: Way along the floor to where it lands [m].
        landing: x and y of that place in the world [m].
        impact_speed: There [m/s].
        impact_energy: Kinetic, moving and turning, there [J].
        reason: Why it is not known; None where it is.
    """

    height: float | None = None
    range: float | None = None
    landing: tuple[float, float] | None = None
    impact_speed: float | None = None
    impact_energy: float | None = None
    reason: str | None = None


@dataclass(frozen=True, eq=False, kw_only=True)
class Fall(Record):
    """The stop that may throw the part off with the most energy.

    Attributes:
        surely: Whether it would; else it may.
        t: When it begins [s].
        sample: Its sample.
        speed: Of the part's centre of mass [m/s].
        energy: Kinetic, moving and turning [J].
        flight: From there to the floor.
    """

    surely: bool
    t: float
    sample: int
    speed: float
    energy: float
    flight: Flight = part()


@dataclass(frozen=True, eq=False, kw_only=True)
class StopDetails(Record):
    """What is known of the stops beyond the least margin.

    Attributes:
        instant: The worst one.
        path: Least margin of stops along the path [-]; None where they are not judged, or without a load.
        axes: The same of stops off the path.
        lowest_frequency: At which the part swings on its backing [Hz].
        damping_ratio: Of the backing [-].
        fall: None where no stop can throw the part off.
        axes_unknown: Whether stops off the path are asked for and cannot be judged.
    """

    instant: WorstInstant = part()
    path: float | None
    axes: float | None
    lowest_frequency: float
    damping_ratio: float
    fall: Fall | None
    axes_unknown: bool = aside()


@dataclass(frozen=True, eq=False, kw_only=True)
class WorstStop(Record):
    """The worst sample of a stretch at which stops may begin; the stresses are without the part's swing.

    Attributes:
        margin: With its bounds, and which sample.
        spot: Where on the pads it tells.
        stresses: There, in the worst instant.
        load: In that instant.
        instant: Which one.
    """

    margin: WorstMargin = part()
    spot: Spot = part()
    stresses: Stresses = part()
    load: Load = part()
    instant: WorstInstant = part()


@dataclass(frozen=True, eq=False, kw_only=True)
class StopShares(Record):
    """What the utilisation in the worst instant is made of.

    Attributes:
        shares: Of what the pads carry without the part's swing.
        swing: Share of the swing in the whole.
    """

    shares: Shares = part()
    swing: float
