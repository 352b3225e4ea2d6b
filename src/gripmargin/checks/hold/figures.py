"""What the margin checks know of a place on the pads, of the causes of its use, and of the whole carry."""

from __future__ import annotations

from dataclasses import dataclass

from gripmargin.checks.margin import WorstMargin
from gripmargin.results.record import Record, if_known, part


@dataclass(frozen=True, eq=False, kw_only=True)
class Spot(Record):
    """A place on a pad.

    Attributes:
        pad: Its name.
        point: In the tool frame [m].
        azimuth: About the tool's z axis [rad].
    """

    pad: str
    point: tuple[float, float, float]
    azimuth: float


@dataclass(frozen=True, eq=False, kw_only=True)
class Stresses(Record):
    """What a load does at a place on a pad, and to the whole pad.

    Attributes:
        normal_stress: [Pa], tension positive.
        shear_stress: [Pa].
        pull_off_stress: What the place holds in tension [Pa].
        shear_strength: What it holds in shear [Pa].
        mean_normal_stress: Of the pad [Pa].
        edge_amplification: Edge tension over mean tension [-]; None where the mean is none.
        peel_moment: About the centre of the pad's contact [N m].
        pad_force: On the pad, its axes [N].
        pad_moment: About the centre of its contact, its axes [N m].
        set_aside: Share of what the place holds that is kept beside the load, for cells that may let go and for what
            the press locked in [-]; None where neither is to be feared.
    """

    normal_stress: float
    shear_stress: float
    pull_off_stress: float
    shear_strength: float
    mean_normal_stress: float
    edge_amplification: float | None
    peel_moment: float
    pad_force: tuple[float, ...]
    pad_moment: tuple[float, ...]
    set_aside: float | None = if_known()


@dataclass(frozen=True, eq=False, kw_only=True)
class SharedMargin(Record):
    """The factor at which no traction field could carry a load, with its proof.

    Attributes:
        shared_margin: Its lower bound [-]; None where it was not found or has no bound.
        shared_margin_bounds: Lower and upper bound [-].
        shared_margin_imbalance: Residual of the field over the load [-].
    """

    shared_margin: float | None
    shared_margin_bounds: tuple[float | None, float | None]
    shared_margin_imbalance: float


@dataclass(frozen=True, eq=False, kw_only=True)
class Load(Record):
    """A load at the tool origin, tool axes.

    Attributes:
        force: [N].
        moment: [N m].
    """

    force: tuple[float, ...]
    moment: tuple[float, ...]


@dataclass(frozen=True, eq=False, kw_only=True)
class Shares(Record):
    """What a utilisation is made of, as shares that add up to 1; a negative share relieves.

    Attributes:
        causes: By what makes the load.
        ways: By how it acts on the pads: pull, peel, shear, twist.
        loads: The load by cause.
        undecided: Why a verdict is open; None where it is not.
    """

    causes: dict[str, float]
    ways: dict[str, float]
    loads: dict[str, Load]
    undecided: tuple[str, ...] | None = if_known()


@dataclass(frozen=True, eq=False, kw_only=True)
class WorstHold(Record):
    """The worst sample of a stretch: margin, place, stresses, load.

    Attributes:
        margin: With its bounds, and which sample.
        spot: Where.
        stresses: There.
        load: Of the part.
        limit: Shared margin of that load; None where it was not worked out.
    """

    margin: WorstMargin = part()
    spot: Spot = part()
    stresses: Stresses = part()
    load: Load = part()
    limit: SharedMargin | None = part()


@dataclass(frozen=True, eq=False, kw_only=True)
class HighestTension(Record):
    """Where tension is highest over pull-off stress.

    Attributes:
        peel_index: That ratio [-].
        t: Time [s].
        sample: Index.
        spot: Where.
        stresses: There.
    """

    peel_index: float
    t: float
    sample: int
    spot: Spot = part()
    stresses: Stresses = part()


@dataclass(frozen=True, eq=False, kw_only=True)
class PadLost(Record):
    """The margin with one pad gone.

    Attributes:
        lost: Name of the pad.
        margin: Over the carry [-].
        t: Time of the worst sample [s].
    """

    lost: str
    margin: float | None
    t: float


@dataclass(frozen=True, eq=False, kw_only=True)
class FirstBreak(Record):
    """Where an uneven bond lets go first: information, for the others may hold without that place.

    Attributes:
        margin: At which factor on the load [-].
        t: Time of that load [s].
        core: Share of the contact area that margins count on [-].
        spot: Where.
    """

    margin: float | None
    t: float
    core: float
    spot: Spot = part()


@dataclass(frozen=True, eq=False, kw_only=True)
class HoldDetails(Record):
    """What is known of the whole carry beyond its margin.

    Attributes:
        limit: Shared margin of the worst load.
        peel: Highest tension.
        imbalance: Residual of the tractions against the load, over the load [-].
        one_pad_lost: The margin with each of several pads gone.
        first_break: Where an uneven bond lets go first; None where the bond is even.
    """

    limit: SharedMargin = part()
    peel: HighestTension
    imbalance: float
    one_pad_lost: tuple[PadLost, ...]
    first_break: FirstBreak | None = if_known()
