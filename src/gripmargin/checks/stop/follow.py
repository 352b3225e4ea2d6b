"""Every stop is followed in time, all starts at once.

The part swings on its backing in six modes at most, and each has an exact recursion under loads that are straight
between nodes (`gripmargin.kernels.march`). A stop begins with the swing that the program has given the part there, and
is over when the swing that is left can no longer exceed what was seen. All are followed coarsely, and those finely that
may be the worst, with what lies between them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.hold.use import COVERAGE
from gripmargin.checks.stop.course import Indices
from gripmargin.checks.stop.ways import FEWEST, SHORTEST, Stops
from gripmargin.kernels.march import Doubt, Oscillators, Peak, State, begin, between, in_phase, march

AT_ONCE: Final = 8_192  # nodes of all stops that are worked on at a time: they stay in the cache
FEWEST_STOPS: Final = 32  # of them at a time
PARTS: Final = 4  # in which the time to the next stop is cut
# These cost time and width of the bound alone: what is not followed further counts with all that it may be.
UNDAMPED: Final = 2  # periods that are followed where nothing fades
FIRST: Final = 16  # stops that are followed finely before it is asked whether others have to be
ENOUGH: Final = 1.01  # most over largest that is good enough
SPARE: Final = 0.995  # share of what stops may ask for that is looked at closely, too: not all is followed
MOST: Final = 0.1  # share of all stops that may be, beyond those


@dataclass(frozen=True, eq=False, kw_only=True)
class Pace:
    """How finely stops are followed.

    Attributes:
        turn: Angle by which the fastest mode that is followed turns in a step [rad].
        share: Of all swings in phase; a faster mode below it is not followed.
        steps: Most of them after a jump of the load; modes that are too fast for it are not followed.
        soon: Periods of the slowest mode over which the swing is followed after a jump of the load.
        late: Steps of what is left of a way then.
        rounds: Periods of the slowest mode over which the part is followed at rest.
    """

    turn: float
    share: float
    steps: float
    soon: float
    late: int
    rounds: int


ROUGH: Final = Pace(turn=1.5, share=0.1, steps=600.0, soon=1.0, late=20, rounds=1)
COARSE: Final = Pace(turn=0.8, share=0.03, steps=600.0, soon=2.0, late=40, rounds=2)
FINE: Final = Pace(turn=0.35, share=0.003, steps=12_000.0, soon=8.0, late=400, rounds=12)


def followed(stops: Stops, sure: float, level: float = 0.0, *, quick: bool = False) -> Peak:
    """Return the most that stops ask of the pads; of those that are followed coarsely what it is at most.

    Args:
        stops: They begin one after the other.
        sure: Standard deviations of noise that are taken off what is sure.
        level: What they may ask for.
        quick: Whether nothing else counts than whether one asks for more.
    """
    if stops.t.size <= FIRST:
        return closely(stops, sure)
    peak, finely = _follow(stops, ROUGH, sure), np.zeros(stops.t.size, dtype=np.bool_)
    left = np.flatnonzero(peak.most > (SPARE * level if quick else peak.use.max()))
    if left.size:
        peak.put(left, _follow(picked(stops, left), COARSE, sure).within(peak.take(left)))
    while finely.sum() <= MOST * finely.size:
        worst = max(np.max(peak.most, where=finely, initial=-1.0), peak.use.max())
        enough = level if worst <= level <= ENOUGH * worst else ENOUGH * worst
        enough = SPARE * level if quick else enough
        left = np.flatnonzero(~finely & (peak.most > enough))
        if left.size == 0:
            break
        chosen = left[np.argsort(-peak.most[left], kind="stable")[:FIRST]]
        coarse = peak.most[chosen].max()
        peak.put(chosen, closely(picked(stops, chosen), sure).within(peak.take(chosen)))
        finely[chosen] = True
        most = peak.most[chosen].max()
        if most > level if quick else most * ENOUGH > coarse and not most <= level <= coarse:
            break  # one is enough; a closer look tells no more
    worst = peak.use.max()
    others = np.minimum(np.maximum(peak.most, peak.use), np.nextafter(worst, 0.0))  # the place is that of the worst
    return replace(peak, use=np.where(finely | (peak.use == worst), peak.use, others))


def picked(stops: Stops, some: Indices) -> Stops:
    """Return some of the stops."""
    return replace(stops, t=stops.t[some], gap=stops.gap[:, some])


def closely(stops: Stops, sure: float) -> Peak:
    """Follow stops finely, and those between them and the ones next to them, which count in what may occur."""
    share = np.arange(1 - PARTS, PARTS)[:, None] / PARTS
    t = stops.t + np.where(share < 0.0, stops.gap[0], stops.gap[1]) * share
    _, first, same = np.unique(t.round(9), return_index=True, return_inverse=True)
    gaps = np.repeat(stops.gap[:, None] / PARTS, len(t), axis=1).reshape(2, -1)
    gap = np.zeros((2, first.size))
    for side, whole in zip(gap, gaps, strict=True):
        np.maximum.at(side, same.ravel(), whole)
    found = _follow(replace(stops, t=t.ravel()[first], gap=gap), FINE, sure)
    peak = found.take(same[PARTS - 1])
    return replace(peak, most=found.most[same].max(axis=0))


def _apart(stops: Stops) -> FloatArray:
    """By how much later the load jumps in the stops before and after, shape (2, borders + 1, m).

    Later since they began: the program's swing comes first, then the borders.
    """
    sides = zip((-1.0, 1.0), stops.gap, strict=True)
    return np.array([[-sign * gap, *stops.borders_at(stops.t + sign * gap) - stops.borders] for sign, gap in sides])


def _out_of_step(oscillators: Oscillators, apart: FloatArray) -> FloatArray:
    """How far each swing may be from the chord between stops and the next ones, over its size, shape (2, j, k, m).

    Each is out of step with that of the next stop by as much as the jump that started it. Stops may be compared by the
    time since they began as well as by that since the last jump.

    Args:
        oscillators: The modes.
        apart: By how much each jump of the load is later in the next stops [s], shape (2, j, m).
    """
    shifts = np.stack([np.abs(apart - since).max(axis=0) for since in (0.0, apart[:, -1:])])
    return between(oscillators.frequency[:, None] * shifts[:, :, None])


def _arcs(jumps: FloatArray, out_of_step: FloatArray) -> FloatArray:
    """Bound of the amplitude by which stops between these and the next ones may leave the chord, shape (k, m).

    Args:
        jumps: How far each jump makes the modes swing, shape (j, k, m).
        out_of_step: As `_out_of_step` has it.
    """
    return np.asarray((jumps * out_of_step).sum(axis=1).min(axis=0))


def _follow(stops: Stops, pace: Pace, sure: float) -> Peak:
    """Follow stops from the brake until the swing that is left cannot exceed what was seen.

    From one border to the next those go side by side that take about as long to it.
    """
    (state, size), apart = stops.course.state(stops.t), _apart(stops)
    jumps = np.zeros((apart.shape[1], *size.shape))
    jumps[0] = size
    frequency, fades = stops.course.oscillators.frequency, bool(stops.course.oscillators.damping.all())
    soon = np.inf if pace is FINE and not fades else pace.soon * 2.0 * np.pi / float(frequency.min())
    oscillators, counts = _choose(stops, state, pace, soon), {"sure": sure, "coverage": COVERAGE}
    alone = replace(oscillators, followed=np.zeros(6, dtype=np.bool_))
    step = pace.turn / float(frequency[oscillators.followed].max())
    peak = begin(oscillators, state, _arcs(jumps[:1], _out_of_step(oscillators, apart[:, :1])), **counts)
    for border, long in enumerate(np.diff(stops.borders, axis=0)):
        state = replace(state, slope=None)
        for block in _blocks(np.ceil(long / step).clip(FEWEST), np.flatnonzero(long > SHORTEST)):
            now, then, so_far = state.take(block), peak.take(block), jumps[: border + 2, :, block]
            waves = _out_of_step(oscillators, apart[:, : border + 2, block])
            for leg in picked(stops, block).legs(border, step, soon, pace.late):
                for first, last in _spans(leg.steps, block.size):
                    load, doubt = leg.load(np.arange(first, last + 1))
                    if now.slope is None:
                        so_far[-1] = np.abs(oscillators.free(now.phase, load, leg.step) - now.free)
                    arcs = oscillators.gain @ _arcs(so_far, waves)
                    doubt = replace(doubt, offset=doubt.offset + arcs)
                    now, found = march(alone if leg.late else oscillators, now, leg.step, load, doubt, **counts)
                    if leg.late:  # some stops are over before
                        found = replace(found, most=np.where(leg.step <= SHORTEST, 0.0, found.most))
                    then = then.then(found, leg.begin + first * leg.step)
                    so_far *= oscillators.fading((last - first) * leg.step)
            state.put(block, now)
            peak.put(block, then)
            jumps[: border + 2, :, block] = so_far
    return _ring(oscillators, state, (jumps, apart), stops, peak, pace, sure)


def _choose(stops: Stops, state: State, pace: Pace, soon: float) -> Oscillators:
    """Return the modes with the fast ones left out that hardly count, or that would take too many steps."""
    oscillators, (first, rest) = stops.course.oscillators, stops.ends
    swing = np.abs(state.phase - oscillators.phase(first)) + np.abs(first - rest)
    size = oscillators.gain[:, None] * swing
    share = (size / np.maximum(size.sum(axis=0), 1e-300)).max(axis=1)
    longest = min(soon, max(float(np.diff(stops.borders, axis=0).max()), 1e-300))
    most = pace.steps * pace.turn / longest
    counts = oscillators.followed & (share >= pace.share) & (oscillators.frequency <= most)
    slowest = float(oscillators.frequency.min())
    fastest = np.max(oscillators.frequency, where=counts, initial=slowest)
    return replace(oscillators, followed=oscillators.followed & (oscillators.frequency <= fastest))


def _ring(
    oscillators: Oscillators,
    state: State,
    apart: tuple[FloatArray, FloatArray],
    stops: Stops,
    peak: Peak,
    pace: Pace,
    sure: float,
) -> Peak:
    """Go on at rest, one period of the slowest mode at a time, with the stops whose swing may exceed what was seen."""
    frequency, (_, rest) = oscillators.frequency[oscillators.followed], stops.ends
    period, damping = 2.0 * np.pi / float(frequency.min()), float(oscillators.damping[oscillators.followed].min())
    count = math.ceil(period * float(frequency.max()) / pace.turn)
    step = np.full(peak.use.size, period / count)
    left, last = np.arange(peak.use.size), pace.rounds if damping > 0.0 else UNDAMPED
    jumps, shifts = apart
    free = state.phase - oscillators.phase(rest)
    jumps[-1] = np.abs(free - state.free)
    arcs = _arcs(jumps, _out_of_step(oscillators, shifts))
    for i in range(last + 1):
        load = rest[:, left]
        size = np.abs(state.phase - oscillators.phase(load)) + state.doubt + COVERAGE * np.sqrt(state.variance) + arcs
        bound = in_phase(oscillators, load, size, peak.most[left])
        if i == last:
            peak.most[left] = np.maximum(peak.most[left], bound)
            break
        more = bound > peak.most[left]
        if not more.any():
            break
        left, state, load, arcs = left[more], state.take(np.flatnonzero(more)), load[:, more], arcs[:, more]
        for block in _blocks(np.full(left.size, count), np.arange(left.size)):
            even = np.broadcast_to(load[:, block], (count + 1, *load[:, block].shape))
            doubt = Doubt(offset=oscillators.gain @ arcs[:, block])
            now, found = march(oscillators, state.take(block), step[block], even, doubt, sure=sure, coverage=COVERAGE)
            after = stops.borders[-1, left[block]] + i * period
            peak.put(left[block], peak.take(left[block]).then(found, after))
            state.put(block, now)
        arcs = arcs * oscillators.fading(period)
    np.maximum(peak.most, peak.use, out=peak.most)
    return peak


def _blocks(nodes: FloatArray, some: Indices) -> list[Indices]:
    """Cut stops, which take so many steps each, into blocks to be worked on at a time, those with the most first."""
    order = some[np.argsort(-nodes[some], kind="stable")]
    out = []
    while order.size:
        many = max(FEWEST_STOPS, int(AT_ONCE / nodes[order[0]]))
        out.append(order[:many])
        order = order[many:]
    return out


def _spans(count: int, stops: int) -> list[tuple[int, int]]:
    """First and last node of the spans that are worked on at a time."""
    return list(pairwise([*range(0, count, max(FEWEST, AT_ONCE // stops)), count]))
