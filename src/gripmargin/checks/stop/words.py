"""What the check of stops found, in sentences."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final

from gripmargin.checks import words
from gripmargin.checks.check import Said, SaidOfFinding
from gripmargin.checks.hold import words as hold_words
from gripmargin.checks.stop.figures import Fall, StopDetails, StopShares, WorstInstant, WorstStop
from gripmargin.results.findings import CheckResult, Finding
from gripmargin.workcell import Stop

KINDS: Final = {"path": "along the path", "axes": "off the path"}

NO_DATA: Final = "the job has no [stop] data"
AXES_NEED_JOINTS: Final = "axes that brake on their own need a joint program: this one gives poses of the tool"

# why a stretch is undecided
NO_LOAD: Final = "the load has no value there"
ORIGIN_OR_FASTEST: Final = (
    "the deceleration may be meant for the tool origin or, where the tool turns, for its fastest point; give stop.time "
    "or stop.measured"
)
TIMING: Final = "how far the part swings hangs on the timing of the changes of load"
NO_DAMPING: Final = " and on the damping, which is not given (damping_ratio)"

# why it is not known where a part lands
NO_FLOOR: Final = "stop.floor is not given"
NOT_UPRIGHT: Final = "gravity does not point along -z of the world"
BELOW_FLOOR: Final = "the part is below stop.floor"

# what is taken for granted of how the robot brakes
OF_THE_ORIGIN: Final = "Stops: the deceleration along the path is that of the tool origin, from any speed."
FASTEST_POINT: Final = (
    "Stops: where the tool turns, the deceleration may be meant for its fastest point; a stop that would be on target "
    "only then is undecided."
)
NO_RATED_SPEED: Final = "robot.speed is not given"
NO_JOINT_SPEEDS: Final = "the program gives no joint speeds"
AS_HARD_AS_FROM_FULL_SPEED: Final = (
    "Stops: from less than full speed (robot.speed) the robot brakes as hard as from full speed."
)
AS_HARD_AS_FROM_STOP_SPEED: Final = (
    "Stops: full speed is stop.speed, of the fastest place of pads and part; from less the robot brakes as hard."
)
MEASURED_SPEEDS: Final = (
    "Stops: below the lowest measured speed the robot brakes as hard as from there, above the highest it stops as "
    "soon; the mean deceleration by the time counts, or that by the distance where it is larger."
)
UNKNOWN_LOAD: Final = "Stops: stop.load is not given; of the measured loads the one that stops soonest counts."

# data that would decide a stretch
TIME_OR_MEASURED: Final = "give stop.time or stop.measured, which say how the turning of the tool stops"
MEASURE_DAMPING: Final = "measure the damping_ratio of the pads"
TRY_THE_STOP: Final = "try the stop on the machine, guarded and low over a soft surface, and record the swing"


def result(found: CheckResult, details: StopDetails) -> Said:
    """Say a result."""
    text = "grip margin over the carry if the robot stops" + (
        "" if found.value is not None else "; no load on the pads"
    )
    return text, tuple(_lines(details))


def _lines(details: StopDetails) -> Iterator[str]:
    at = details.instant
    yield (
        f"worst {_milliseconds(at.after)} after a stop {KINDS[at.stop]} began, which takes "
        f"{_milliseconds(at.braking_time)}; without the part's swing {words.figure(at.quasi_static)}"
    )
    if details.path is not None and details.axes is not None:
        yield f"along the path {words.figure(details.path)}, off the path {words.figure(details.axes)}"
    damping = f"damping ratio {details.damping_ratio:g}" if details.damping_ratio else "no damping"
    yield f"the part swings on its backing at {details.lowest_frequency:.0f} Hz and above, {damping}"
    if details.fall is not None:
        yield from _fall(details.fall)
    if details.axes_unknown:
        yield AXES_NEED_JOINTS


def _fall(fall: Fall) -> Iterator[str]:
    yield (
        f"a stop at {fall.t:.3f} s {'would' if fall.surely else 'may'} throw the part off: at {fall.speed:.2f} m/s, "
        f"{fall.energy:.2f} J; keep people out of its way"
    )
    flight = fall.flight
    if flight.landing is None:
        yield f"where it would land is not known: {flight.reason}"
        return
    x, y = (words.plain(1e3 * c, 0) for c in flight.landing)
    yield (
        f"without air and without anything in its way its centre of mass would land {flight.range:.2f} m away, at "
        f"x {x}, y {y} mm of the world, at {flight.impact_speed:.1f} m/s ({flight.impact_energy:.1f} J); it may "
        "bounce, slide or break further"
    )


def finding(found: Finding, worst: WorstStop, because: StopShares) -> SaidOfFinding:
    """Say a finding."""
    at, shares = worst.instant, because.shares
    text = (
        f"{words.where_and_how_much(found, worst.margin)} for a stop {KINDS[at.stop]} that begins at "
        f"{worst.margin.at.t:.3f} s, on pad '{worst.spot.pad}'; swing on the backing {100 * because.swing:.0f} % of "
        f"it, the rest {words.ranked(shares.causes)}; acts as {words.ranked(shares.ways)}"
    )
    where = hold_words.edge(worst.spot, worst.stresses, without="without the swing ")
    return text, (("when", _when(at)), ("where", where), hold_words.load(worst.load), *hold_words.unsure(shares))


def _when(at: WorstInstant) -> str:
    return f"{_milliseconds(at.after)} after the stop began, which takes {_milliseconds(at.braking_time)}"


def _milliseconds(seconds: float) -> str:
    return f"{1e3 * seconds:.0f} ms"


def fastest_of_the_program(missing: str) -> str:
    """Say which speed is taken for the full one, and for want of what."""
    return f"Stops: full speed is the highest of this program, for {missing}; a robot that is faster brakes harder."


def shortest_measured(time: float) -> str:
    """Say that one measured time [s] counts for all speeds."""
    return f"Stops: the shortest of the measured times ({time:g} s) counts at all speeds and loads."


def lighter_than_measured(lightest: float) -> str:
    """Say how a load below the lightest measured one, a share of the payload, is extrapolated."""
    return (
        f"Stops: the robot carries less than the lightest measured load ({lightest:g}); the trend of the two lightest "
        "is followed, and where there is one load alone its stops may be softer than the real ones."
    )


def not_measured(axes: Sequence[int]) -> str:
    """Say how axes without measured stops, by their numbers, brake."""
    return (
        f"Stops: axes {', '.join(map(str, axes))} have no measured stops; they brake as hard as the hardest that has."
    )


def assumed(stop: Stop, *, path: bool, axes: bool, damped: bool) -> Iterator[str]:
    """Say what is taken for granted of the stops that are judged, and of the part's swing."""
    if path:
        yield (
            "Stops: along the path at a constant deceleration; on its way the program would have gone, for half of the "
            "stopping time."
        )
    if axes:
        yield (
            "Stops: off the path every axis brakes at its own constant rate and then holds; brakes that close late or "
            "one after the other, and arms that sag, are not counted."
        )
    if path and stop.reaction > 0:
        yield (
            f"Stops: the robot may go on for {_milliseconds(stop.reaction)} of its stopping time before it brakes, or "
            "brake at once over all of it; both count."
        )
    left_out = stop.on_path if stop.category == 0 else stop.axis_deceleration is not None
    if stop.category is not None and left_out:
        yield (f"Stops: of category {stop.category} alone, as the job says; the other figures of [stop] are not used.")
    if stop.ramp > 0:
        yield "Stops: the ramp softens their beginning; their end is taken as sudden."
    yield "Stops: the part may swing when a stop begins, as in `swing`" + (
        "." if damped else "; all its modes meet in phase, without damping (damping_ratio is not given for every pad)."
    )


def slowing_alone(subject: str) -> str:
    """Say that no lower speed is enough for a part of the program."""
    return f"slowing {subject} alone does not help: the robot brakes as hard from a lower speed"


def softer(stop: Stop, factor: float, *, path: bool, axes: bool) -> str:
    """Say how the robot would have to stop in so many times the time."""
    ways = []
    if path and stop.time is not None:
        ways.append(f"stop in {math.ceil(1e3 * stop.time * factor):d} ms instead of {1e3 * stop.time:.0f} ms")
    elif path and stop.deceleration is not None:
        ways.append(f"brake along the path at {_over(stop.deceleration, factor):.2f} m/s^2")
    elif path:
        ways.append(f"stop along the path in {factor:.2f} times the measured times")
    if axes:
        ways.append(f"brake the axes at {_over(1.0, factor):.2f} of their rates")
    return f"{' and '.join(ways)}, where the robot and the risk assessment allow a longer way to rest"


def _over(value: float, factor: float) -> float:
    """A value over a factor, rounded down."""
    return math.floor(100 * value / factor) / 100
