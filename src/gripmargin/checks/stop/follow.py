"""How far the pads are used by a stop that begins at each carried sample: every stop is followed in time.

The part swings on its backing in six modes at most, and each has an exact recursion under loads that are straight
between nodes (`gripmargin.kernels.march`). A stop begins with the swing that the program has given the part there, and
is over when the swing that is left can no longer exceed what was seen.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, replace
from functools import reduce
from itertools import pairwise
from statistics import NormalDist
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.hold.use import COVERAGE, SURE
from gripmargin.checks.stop.along_path import AlongPath
from gripmargin.checks.stop.braking import PathRates
from gripmargin.checks.stop.course import Course, Indices
from gripmargin.checks.stop.legs import FEWEST, Rest, Stops
from gripmargin.checks.stop.off_path import OffPath
from gripmargin.checks.swing.ringing import Stretch
from gripmargin.checks.use import Use
from gripmargin.kernels.march import Oscillators, Peak, State, between, in_phase, march, most_used
from gripmargin.motion.consistency import interpolated
from gripmargin.motion.tool_motion import ToolMotion
from gripmargin.motion.trajectory import JointTrajectory
from gripmargin.workcell import Stop

AT_ONCE: Final = 8_192  # nodes of all stops that are worked on at a time: they stay in the cache
RINGS: Final = 3.0  # periods of the slowest mode after which steps may be longer
UNDAMPED: Final = 2  # periods that are followed where nothing fades
FIRST: Final = 64  # stops that are followed finely before it is asked whether others have to be
NEAR: Final = 0.5  # [rad] by which a mode turns at most from one of those to the next
CLOSEST: Final = 8  # parts of an interval that are looked at, at most
MOST: Final = 0.25  # share of all stops that may be, beyond those
DISPLACED: Final = 2.0  # how often large displacements count; random stops in a physics engine need 1.9
PEAK: Final = tuple(field.name for field in fields(Peak))


@dataclass(frozen=True, eq=False, kw_only=True)
class Pace:
    """How finely stops are followed.

    Attributes:
        turn: Angle by which the fastest mode that is followed turns in a step [rad].
        late: The same later on.
        share: Of all swings in phase; a faster mode below it is not followed.
        steps: Most of them to rest; modes that are too fast for it are not followed.
        rounds: Periods of the slowest mode over which the part is followed at rest.
    """

    turn: float
    late: float
    share: float
    steps: float
    rounds: int


COARSE: Final = Pace(turn=0.8, late=1.2, share=0.03, steps=600.0, rounds=2)
FINE: Final = Pace(turn=0.2, late=0.4, share=0.003, steps=12_000.0, rounds=12)


def stop_use(
    case: Case,
    samples: Indices,
    *,
    kind: str,
    stretches: Sequence[Stretch] = (),
    slower: float = 1.0,
    softer: float = 1.0,
    reaction: float = 0.0,
) -> Use:
    """Return how far stops of one kind use the pads.

    Args:
        case: The job; it says how the robot stops.
        samples: Where the stops begin, indices into the program, rising, shape (m,).
        kind: "path" or "axes".
        stretches: The part's swing while the program runs; without any it hangs still when a stop begins.
        slower: Factor on the speed of the program.
        softer: Factor on all stopping times.
        reaction: Part of the stopping times over which the robot goes on before it brakes [s]; none counts as well.
    """
    maps, owner = case.backing.edge_maps(case.strengths)
    course = Course.of(case, maps, slower, stretches)
    places = _places(course, samples)
    stops = _stops(case, course, places, kind, softer, reaction)
    sure = NormalDist().inv_cdf(1.0 - (1.0 - SURE) / max(samples.size, 1))
    peak = reduce(_worse, [_followed(some, sure) for some in stops])
    first = np.searchsorted(places, course.per * samples)
    low, high = (np.maximum.reduceat(x, first) for x in (peak.least, peak.most))
    arrive = np.maximum.reduceat(np.max([some.arrive for some in stops], axis=0), first)
    high[_doubtful(case, course, samples, arrive) | ~np.isfinite(high)] = np.inf
    at = _largest(peak.use, first)
    displaced = DISPLACED * _displacement(case, course, samples, peak.response[:, at])
    return Use(
        samples=samples,
        value=peak.use[at],
        low=np.maximum(low - displaced * peak.use[at], 0.0),
        high=high + displaced * peak.use[at],
        point=most_used(course.springs.oscillators, peak.response[:, at]),
        maps=maps,
        owner=owner,
    )


@dataclass(frozen=True, eq=False, kw_only=True)
class Instant:
    """The instant of a stop in which it uses the pads most.

    Attributes:
        after: Time since the stop began [s].
        rest: Time from its begin to rest [s].
        carried: What the pads carry, swing included, shape (6,).
        motion: Of the tool then, one sample; it gives the load without the swing.
    """

    after: float
    rest: float
    carried: FloatArray
    motion: ToolMotion


def worst_instant(
    case: Case,
    sample: int,
    *,
    kind: str,
    stretches: Sequence[Stretch] = (),
    slower: float = 1.0,
    softer: float = 1.0,
    reaction: float = 0.0,
) -> Instant:
    """Return the worst instant of the stop that begins at one sample; see `stop_use`."""
    maps, _ = case.backing.edge_maps(case.strengths)
    course = Course.of(case, maps, slower, stretches)
    stops = _stops(case, course, np.array([course.per * sample]), kind, softer, reaction)
    peaks = [_followed(some, 0.0) for some in stops]
    worst = int(np.argmax([peak.use[0] for peak in peaks]))
    return Instant(
        after=float(peaks[worst].when[0]),
        rest=float(stops[worst].rest.after[0]),
        carried=course.springs.carry @ peaks[worst].response[:, 0],
        motion=stops[worst].motion(peaks[worst].when),
    )


def _stops(
    case: Case, course: Course, places: Indices, kind: str, softer: float, reaction: float
) -> Sequence[AlongPath] | Sequence[OffPath]:
    """The stops of one kind, once for each thing that the figures of a job may mean."""
    if kind == "path":
        return list(_along_path(case, course, places, softer, reaction))
    return [_off_path(case, course, places, softer)]


def _places(course: Course, samples: Indices) -> Indices:
    """Instants of the course at which stops begin: samples, and what lies between two where they are far apart."""
    every = course.per * samples[:, None] + np.arange(course.per)
    joined = np.diff(samples, append=-1) == 1
    return every[(np.arange(course.per) == 0) | joined[:, None]]


def _along_path(case: Case, course: Course, places: Indices, softer: float, reaction: float) -> Iterator[AlongPath]:
    """Yield stops along the path, once for each thing that the figures of a job may mean."""
    stop = _stop(case)
    stiffest = float(course.springs.oscillators.frequency[course.springs.oscillators.swings].max())
    readings = [(0.0, stop)]
    if reaction > 0.0:
        sooner = tuple(replace(figure, time=figure.time - reaction) for figure in stop.measured)
        time = None if stop.time is None else stop.time - reaction
        readings.append((reaction, replace(stop, time=time, measured=sooner)))
    every = _between_too(case, course)
    for late, meant in readings:
        rates = PathRates.of(
            replace(every, job=replace(every.job, stop=meant)), course.slower, softer, stiffest=stiffest
        )
        t = course.t[places] + late
        for rate in (rates.hard, rates.mild)[: 1 if np.array_equal(rates.hard, rates.mild) else 2]:
            lasts = np.asarray(np.interp(t, course.t, 1.0 / rate))
            yield AlongPath.of(course, t, np.diff(places) == 1, 1.0 / lasts, stop.ramp)


def _off_path(case: Case, course: Course, places: Indices, softer: float) -> OffPath:
    """Return stops in which every axis brakes on its own."""
    stop, every = _stop(case), _between_too(case, course)
    trajectory, rates = every.job.trajectory, every.motion.joint_rates
    assert isinstance(trajectory, JointTrajectory)  # noqa: S101 - the caller has looked
    assert rates is not None  # noqa: S101 - a joint program has them
    assert stop.axis_deceleration is not None  # noqa: S101 - the caller has looked
    at = course.t[places], trajectory.q[places], course.slower * rates[0][places]
    return OffPath.of(course, case.job, at, np.diff(places) == 1, stop.axis_deceleration / softer, stop.ramp)


def _between_too(case: Case, course: Course) -> Case:
    """The case with all instants of its course as samples."""
    trajectory, motion, per = case.job.trajectory, case.motion, course.per
    if per == 1 or not isinstance(trajectory, JointTrajectory) or motion.joint_rates is None:
        return case
    every = np.empty((3, course.t.size, trajectory.q.shape[1]))
    every[:, ::per] = trajectory.q, *motion.joint_rates
    for k in range(1, per):
        every[:, k::per] = interpolated(trajectory, k / per)
    q, qd, qdd = every
    return replace(
        case,
        job=replace(case.job, trajectory=JointTrajectory(t=course.tool.t, q=q, qd=qd, qdd=qdd)),
        motion=replace(motion, at=course.tool, joint_rates=(qd, qdd)),
        airborne=np.repeat(case.airborne, per)[: course.t.size],
    )


def _stop(case: Case) -> Stop:
    assert case.job.stop is not None  # noqa: S101 - the caller has looked
    return case.job.stop


def _worse(one: Peak, other: Peak) -> Peak:
    """The worse of what a stop may be, where it is not known which; sure is what both reach."""
    return replace(one.then(other, np.zeros(1)), least=np.minimum(one.least, other.least))


def _followed(stops: Stops, sure: float) -> Peak:
    """Follow stops coarsely, and those finely that may be the worst, with what lies between them."""
    every = np.arange(stops.t.size)
    if every.size <= FIRST:
        return _closely(stops, sure, every)
    peak = _side_by_side(stops, COARSE, sure, every)
    finely = np.zeros(every.size, dtype=np.bool_)
    while finely.sum() <= MOST * every.size:
        left = np.flatnonzero(~finely & (peak.most > np.max(peak.most, where=finely, initial=-1.0)))
        if left.size == 0:
            break
        chosen = left[np.argsort(-peak.most[left], kind="stable")[:FIRST]]
        _put(peak, chosen, _closely(stops, sure, chosen))
        finely[chosen] = True
    return peak


def _closely(stops: Stops, sure: float, chosen: Indices) -> Peak:
    """Follow some stops finely, and those between them and the ones next to them, which count in what may occur."""
    oscillators, some = stops.course.springs.oscillators, stops.some(chosen)
    fast = _choose(some, stops.course.state(some.t, 0.0 * some.t), COARSE)
    turn = oscillators.frequency[fast.followed].max() * np.maximum(some.gap, some.shift).max()
    parts = int(np.clip(np.ceil(turn / NEAR), 1, CLOSEST))
    found = _side_by_side(stops.closer(chosen, parts), FINE, sure, np.arange(chosen.size * (2 * parts - 1)))
    peak = _take(found, np.arange(chosen.size) * (2 * parts - 1) + parts - 1)
    return replace(peak, most=found.most.reshape(chosen.size, -1).max(axis=1))


def _side_by_side(stops: Stops, pace: Pace, sure: float, chosen: Indices) -> Peak:
    """Follow some stops; those that last about as long go side by side."""
    order = np.argsort(stops.some(chosen).rest.after, kind="stable")
    blocks = [chosen[order[i : i + stops.together]] for i in range(0, order.size, stops.together)]
    found = [_follow(stops.some(block), pace, sure) for block in blocks]
    back = np.argsort(order)
    return Peak(**{name: np.concatenate([getattr(x, name) for x in found], axis=-1)[..., back] for name in PEAK})


def _follow(stops: Stops, pace: Pace, sure: float) -> Peak:
    """Follow stops from the brake until the swing that is left cannot exceed what was seen."""
    state, rest = stops.course.state(stops.t, stops.gap), stops.rest
    oscillators = _choose(stops, state, pace)
    frequency = oscillators.frequency[oscillators.followed]
    fast, slow = float(frequency.max()), float(frequency.min())
    peaks = []
    for leg in stops.legs(pace.turn / fast, RINGS * 2.0 * np.pi / slow, pace.late / fast):
        state = state if leg.goes_on else _shifted(oscillators, state, leg.shift)
        for first, last in _spans(leg.count, stops.t.size):
            load, doubt = leg.load(np.arange(first, last + 1))
            state, found = march(oscillators, state, leg.step, load, doubt, sure=sure, coverage=COVERAGE)
            peaks.append(replace(found, when=leg.begin + first * leg.step + found.when))
    peak = reduce(lambda one, other: one.then(other, np.zeros(1)), peaks)
    state = _shifted(oscillators, state, rest.shift)
    return _ring(oscillators, state, rest, peak, pace, sure)


def _shifted(oscillators: Oscillators, state: State, shift: FloatArray) -> State:
    """Swings where the load jumps, which in the stops next to these ones it does earlier or later."""
    doubt = state.doubt + state.swing * between(oscillators.frequency[:, None] * shift)
    return replace(state, doubt=doubt, slope=None)


def _choose(stops: Stops, state: State, pace: Pace) -> Oscillators:
    """Return the modes with the fast ones left out that hardly count, or that would take too many steps."""
    oscillators, first, rest = stops.course.springs.oscillators, stops.first, stops.rest
    swing = np.abs(state.phase - oscillators.phase(first, 0.0 * first)) + np.abs(first - rest.load)
    size = oscillators.gain[:, None] * swing
    share = (size / np.maximum(size.sum(axis=0), 1e-300)).max(axis=1)
    frequency = oscillators.frequency
    most = pace.steps * pace.late / max(float(rest.after.max()), 1e-300)
    counts = oscillators.swings & (share >= pace.share) & (frequency <= most)
    slowest = float(frequency.min())
    return replace(oscillators, followed=frequency <= np.max(frequency, where=counts, initial=slowest))


def _ring(oscillators: Oscillators, state: State, rest: Rest, peak: Peak, pace: Pace, sure: float) -> Peak:
    """Go on at rest, one period of the slowest mode at a time, with the stops whose swing may exceed what was seen."""
    frequency = oscillators.frequency[oscillators.followed]
    period, damping = 2.0 * np.pi / float(frequency.min()), float(oscillators.damping[oscillators.followed].min())
    count = math.ceil(period * float(frequency.max()) / pace.turn)
    rounds = pace.rounds if damping > 0.0 else UNDAMPED
    left = np.arange(peak.use.size)
    for i in range(rounds + 1):
        load = rest.load[:, left]
        size = np.abs(state.phase - oscillators.phase(load, 0.0 * load))
        size += state.doubt + COVERAGE * np.sqrt(state.variance)
        bound = in_phase(oscillators, load, size, peak.most[left])
        if i == rounds:
            peak.most[left] = np.maximum(peak.most[left], bound)
            break
        more = bound > peak.most[left]
        if not more.any():
            break
        left, load = left[more], load[:, more]
        state = State(phase=state.phase[:, more], doubt=state.doubt[:, more], variance=state.variance[:, more])
        after, step = rest.after[left] + i * period, np.full(left.size, period / count)
        for first, last in _spans(count, left.size):
            even = np.broadcast_to(load, (last - first + 1, *load.shape))
            state, found = march(oscillators, state, step, even, sure=sure, coverage=COVERAGE)
            _put(peak, left, _take(peak, left).then(found, after + first * step))
    return peak


def _spans(count: int, stops: int) -> list[tuple[int, int]]:
    """First and last node of the spans that are worked on at a time."""
    borders = [*range(0, count, max(FEWEST, AT_ONCE // stops)), count]
    return list(pairwise(borders))


def _take(peak: Peak, chosen: Indices) -> Peak:
    return Peak(**{name: getattr(peak, name)[..., chosen] for name in PEAK})


def _put(peak: Peak, chosen: Indices, found: Peak) -> None:
    for name in PEAK:
        getattr(peak, name)[..., chosen] = getattr(found, name)


def _displacement(case: Case, course: Course, samples: Indices, response: FloatArray) -> FloatArray:
    """Return what the model of small displacements leaves out, over the whole, shape (samples,).

    The angle by which the part turns on its pads, and that by which the tool turns while the slowest mode turns by 1.
    """
    sway = np.linalg.norm((case.backing.compliance @ course.springs.carry @ response)[3:], axis=0)
    spin = course.slower * np.linalg.norm(case.motion.at.angular_velocity[samples], axis=1)
    return np.asarray(sway + spin / course.springs.oscillators.frequency.min())


def _largest(values: FloatArray, firsts: Indices) -> Indices:
    """Index of the largest value of each group that begins at the given places."""
    group = np.searchsorted(firsts, np.arange(values.size), side="right")
    return np.lexsort((values, group))[np.append(firsts[1:], values.size) - 1]


def _doubtful(case: Case, course: Course, samples: Indices, arrive: FloatArray) -> NDArray[np.bool_]:
    """Which stops pass a sample of the program that cannot be judged, shape (samples,)."""
    t = course.t[:: course.per]
    last = np.minimum(np.searchsorted(t, arrive), t.size - 1)
    doubts = np.searchsorted(case.motion.doubtful, np.arange(t.size + 1))
    return np.asarray(doubts[last + 1] > doubts[samples])
