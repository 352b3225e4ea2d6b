"""What the checks of preload and release know: places on the pads, the bond, the nest against the pads."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from gripmargin.checks.hold.figures import Load, Spot
from gripmargin.results.findings import Place
from gripmargin.results.record import Record, aside, if_known, part
from gripmargin.workcell import ReleaseKind

During = Literal["preload", "release", "process", "carry"]
Seated = Literal["down", "askew", "above"]


@dataclass(frozen=True, eq=False, kw_only=True)
class Cause(Record):
    """Why a handover falls short or cannot be decided.

    Attributes:
        cause: In words.
        undecided: Why a verdict is open; None where it is not.
    """

    cause: str
    undecided: tuple[str, ...] | None = if_known()

    @classmethod
    def open(cls, cause: str) -> Cause:
        """Return what keeps a verdict open."""
        return cls(cause=cause, undecided=(cause,))


@dataclass(frozen=True, eq=False, kw_only=True)
class PreloadDetails(Record):
    """How the pads were pressed on.

    Attributes:
        lowest_activation: Share of full adhesion at the place that has least [-].
        mean_activation: Over the contact area [-].
        activated_share: Of the contact area, that reaches the target [-].
        touched_share: Of the contact area, that touched at all [-].
        tilt: Of the tool to the face at the deepest sample [rad].
        tilt_azimuth: Direction in which the pads stand off, about the tool's z axis [rad].
        overtravel: Depth of the pads' centre below the face there [m].
        lowest_peak_pressure: [Pa].
        highest_peak_pressure: [Pa].
        sideways_slip: Longest way of a cell along the face while it touched [m].
        shortest_time_under_pressure: [s].
    """

    lowest_activation: float
    mean_activation: float
    activated_share: float
    touched_share: float
    tilt: float
    tilt_azimuth: float
    overtravel: float
    lowest_peak_pressure: float
    highest_peak_pressure: float
    sideways_slip: float
    shortest_time_under_pressure: float


@dataclass(frozen=True, eq=False, kw_only=True)
class WorstPreload(Record):
    """The place with the least activation.

    Attributes:
        at: The deepest sample.
        activation: [-].
        spot: Where.
        peak_pressure: There [Pa].
        time_under_pressure: There [s].
        tilt: Of the tool to the face [rad].
        overtravel: Depth of the pads' centre below the face [m].
    """

    at: Place = part()
    activation: float
    spot: Spot = part()
    peak_pressure: float
    time_under_pressure: float
    tilt: float
    overtravel: float


@dataclass(frozen=True, eq=False, kw_only=True)
class LinerDetails(Record):
    """How a label comes off its liner, where that asks most of the pads.

    Attributes:
        force_per_width: Of the liner on the label at the front of the peel [N/m].
        front: How far it has come, from the edge at which it begins [m].
        speed: Of the front at most, as the program moves the tool [m/s].
        energy_ratio: Energy that parts pads and label over that of label and liner [-].
        small_bending: Grip margin by small bending [-]; None where nothing is used.
    """

    force_per_width: float
    front: float
    speed: float
    energy_ratio: float
    small_bending: float | None


@dataclass(frozen=True, eq=False, kw_only=True)
class LiftOffDetails(Record):
    """The load as the part leaves its tray.

    Attributes:
        break_away: What the tray keeps the part down with [N].
        load: With the weight, at rest.
        liner: Of a label, how it comes off.
    """

    break_away: float
    load: Load = part()
    liner: LinerDetails | None = if_known()


@dataclass(frozen=True, eq=False, kw_only=True)
class WorstLiftOff(Record):
    """Where the pads are used most as the part leaves its tray.

    Attributes:
        at: The sample.
        margin: [-].
        margin_low: The same: it is exact.
        spot: Where on the pads.
        load: Weight and break-away force.
    """

    at: Place = part()
    margin: float | None
    margin_low: float | None
    spot: Spot = part()
    load: Load = part()


@dataclass(frozen=True, eq=False, kw_only=True)
class PressureDetails(Record):
    """The highest contact pressure.

    Attributes:
        highest_pressure: [Pa].
        max_pressure: What the part may take [Pa]; None where it is not given.
        during: Which handover, or a force of the process.
    """

    highest_pressure: float
    max_pressure: float | None
    during: During


@dataclass(frozen=True, eq=False, kw_only=True)
class WorstPressure(Record):
    """Where a handover presses hardest.

    Attributes:
        at: The sample.
        pressure: [Pa].
        max_pressure: What the part may take, or the face of the pad under a force of the process [Pa].
        allowed: The same over the target [Pa].
        spot: Where.
    """

    at: Place = part()
    pressure: float
    max_pressure: float
    allowed: float = aside()
    spot: Spot = part()


@dataclass(frozen=True, eq=False, kw_only=True)
class Seat(Record):
    """Where the part is set down.

    Attributes:
        seat_height: Of the pads' centre above the face [m].
        seated: Whether the part is down in its nest, down so askew that the pads are torn off, or still above it.
        seat_tilt: Between pads and face [rad]; None where the part is down.
    """

    seat_height: float
    seated: Seated = aside()
    seat_tilt: float | None = if_known()


@dataclass(frozen=True, eq=False, kw_only=True)
class Way(Record):
    """The nest against the pads in one way, where their ratio is least.

    Attributes:
        demand: Of the pads, [N] or [N m].
        restraint: Of the part, [N] or [N m]; None where the job does not state it.
        ratio: Restraint over demand [-]; None where it is not known, and without demand.
        t: Time [s].
    """

    demand: float
    restraint: float | None
    ratio: float | None
    t: float


@dataclass(frozen=True, eq=False, kw_only=True)
class Travel(Record):
    """How far a release goes, [rad], [m] or [Pa] by its kind.

    Attributes:
        kind: Of the release.
        achieved: While the pads were within reach.
        required: From which on the tool could leave straight; None where none was found.
        left: Share of the bond that is left there [-].
    """

    kind: ReleaseKind
    achieved: float
    required: float | None
    left: float


@dataclass(frozen=True, eq=False, kw_only=True)
class LettingGo(Record):
    """What the pads do to a part in its nest while the tool leaves.

    Attributes:
        bonded_at_start: Share of the pads' full pull-off force [-].
        bonded_at_worst: At the worst instant [-].
        bonded_at_end: When the phase ends [-].
        part_follows: Whether the pads then still hold the part.
        force_on_part: At the worst instant, face axes [N].
        moment_on_part: About the origin of the face frame, face axes [N m].
        energy_imbalance: Residual of the energy balance of the simulation, over the energies [-].
        ways: By their names: lift, slide, turn, tip.
        travel: None where the phase does not say how it lets go.
    """

    bonded_at_start: float
    bonded_at_worst: float
    bonded_at_end: float
    part_follows: bool
    force_on_part: tuple[float, ...]
    moment_on_part: tuple[float, ...]
    energy_imbalance: float
    ways: dict[str, Way] = part()
    travel: Travel | None = if_known()


@dataclass(frozen=True, eq=False, kw_only=True)
class ReleaseDetails(Record):
    """What is known of a release.

    Attributes:
        seat: Where the part is set down.
        course: From there on; None where the part is not down.
    """

    seat: Seat = part()
    course: LettingGo | None = part()


@dataclass(frozen=True, eq=False, kw_only=True)
class WorstRelease(Record):
    """The worst instant of a release.

    Attributes:
        at: The sample before it.
        ratio: Restraint over demand [-]; None where it is not known.
        way: That gives it.
        demand: Of the pads, [N] or [N m].
        restraint: Of the part, [N] or [N m]; None where the job does not state it.
        bonded: Share of the bond that is left [-].
        load: Of the pads on the part about the origin of the face frame, face axes.
        overpowered: Whether the pads surely take the part along or out of place in that way.
    """

    at: Place = part()
    ratio: float | None
    way: str
    demand: float
    restraint: float | None
    bonded: float
    load: Load = part()
    overpowered: bool = aside()


@dataclass(frozen=True, eq=False, kw_only=True)
class NeverDown(Record):
    """A part that is let go before it is down, or that is set down so askew that the pads are torn off.

    Attributes:
        at: The sample at which it is lowest.
        seat: How it is then.
    """

    at: Place = part()
    seat: Seat = part()
