"""Every stop is followed in time, all starts at once.

The part swings on its backing in six modes at most, and each has an exact recursion under loads that are straight
between nodes (`gripmargin.kernels.march`). A stop begins with the swing that the program has given the part there, and
is over when the swing that is left can no longer exceed what was seen. All are followed coarsely, and those finely that
may be the worst, with what lies between them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import reduce
from itertools import pairwise
from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.hold.use import COVERAGE
from gripmargin.checks.stop.course import Indices
from gripmargin.checks.stop.ways import FEWEST, SHORTEST, Stops
from gripmargin.kernels.march import Doubt, Oscillators, Peak, State, between, in_phase, march

AT_ONCE: Final = 8_192  # nodes of all stops that are worked on at a time: they stay in the cache
UNDAMPED: Final = 2  # periods that are followed where nothing fades
FIRST: Final = 16  # stops that are followed finely before it is asked whether others have to be
NEAR: Final = 0.8  # [rad] by which a mode turns at most from one of those to the next
CLOSEST: Final = 4  # parts of an interval that are looked at, at most
ENOUGH: Final = 1.01  # most over largest that is good enough
MOST: Final = 0.1  # share of all stops that may be, beyond those


@dataclass(frozen=True, eq=False, kw_only=True)
class Pace:
    """How finely stops are followed.

    Attributes:
        turn: Angle by which the fastest mode that is followed turns in a step [rad].
        share: Of all swings in phase; a faster mode below it is not followed.
        steps: Most of them to rest; modes that are too fast for it are not followed.
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
    if not quick and stops.t.size <= FIRST:
        return _closely(stops, sure)
    peak, finely = _side_by_side(stops, ROUGH if quick else COARSE, sure), np.zeros(stops.t.size, dtype=np.bool_)
    left = np.flatnonzero(quick & (peak.most > level))
    if left.size:
        peak.put(left, _side_by_side(_some(stops, left), COARSE, sure))
    while finely.sum() <= MOST * finely.size:
        worst = max(np.max(peak.most, where=finely, initial=-1.0), peak.use.max())
        enough = level if quick or worst <= level <= ENOUGH * worst else ENOUGH * worst
        left = np.flatnonzero(~finely & (peak.most > enough))
        if left.size == 0:
            break
        chosen = left[np.argsort(-peak.most[left], kind="stable")[:FIRST]]
        coarse = peak.most[chosen].max()
        peak.put(chosen, _closely(_some(stops, chosen), sure))
        finely[chosen] = True
        most = peak.most[chosen].max()
        if most > level if quick else most * ENOUGH > coarse and not most <= level <= coarse:
            break  # one is enough; a closer look tells no more
    worst = peak.use.max()
    others = np.minimum(np.maximum(peak.most, peak.use), np.nextafter(worst, 0.0))  # the place is that of the worst
    return replace(peak, use=np.where(finely | (peak.use == worst), peak.use, others))


def _some(stops: Stops, chosen: Indices) -> Stops:
    return replace(stops, t=stops.t[chosen], gap=stops.gap[:, chosen])


def _closely(stops: Stops, sure: float) -> Peak:
    """Follow stops finely, and those between them and the ones next to them, which count in what may occur."""
    oscillators = stops.course.oscillators
    fast = _choose(stops, stops.course.state(stops.t, 0.0 * stops.t), COARSE)
    turn = oscillators.frequency[fast.followed].max() * max(stops.gap.max(), _shift(stops).max())
    parts = int(np.clip(np.ceil(turn / NEAR), 1, CLOSEST))
    share = np.arange(1 - parts, parts)[:, None] / parts
    t = stops.t + np.where(share < 0.0, stops.gap[0], stops.gap[1]) * share
    gap = np.repeat(stops.gap[:, None] / parts, len(t), axis=1)
    found = _side_by_side(replace(stops, t=t.ravel(), gap=gap.reshape(2, -1)), FINE, sure)
    peak = found.take(np.arange(stops.t.size) + (parts - 1) * stops.t.size)
    return replace(peak, most=found.most.reshape(t.shape).max(axis=0))


def _side_by_side(stops: Stops, pace: Pace, sure: float) -> Peak:
    """Follow stops; those that last about as long go side by side."""
    order = np.argsort(stops.borders[-1], kind="stable")
    blocks = [order[i : i + stops.together] for i in range(0, order.size, stops.together)]
    found = [_follow(_some(stops, block), pace, sure) for block in blocks]
    return Peak.joined(found).take(np.argsort(order))


def _shift(stops: Stops) -> FloatArray:
    """By how much the load of the stops next to these jumps earlier or later [s], at each border."""
    sides = (replace(stops, t=stops.t + sign * gap).borders for sign, gap in zip((-1.0, 1.0), stops.gap, strict=True))
    return np.max([np.abs(side - stops.borders) for side in sides], axis=0)


def _follow(stops: Stops, pace: Pace, sure: float) -> Peak:
    """Follow stops from the brake until the swing that is left cannot exceed what was seen."""
    state, shift, peaks = stops.course.state(stops.t, stops.gap.max(axis=0)), _shift(stops), []
    oscillators = _choose(stops, state, pace)
    alone, frequency = replace(oscillators, followed=np.zeros(6, dtype=np.bool_)), oscillators.frequency
    soon = pace.soon * 2.0 * np.pi / float(frequency.min())
    if pace is FINE and not oscillators.damping.all():
        soon = np.inf
    for leg in stops.legs(pace.turn / float(frequency[oscillators.followed].max()), soon, pace.late):
        if leg.border is not None:
            state = _jumped(oscillators, state, shift[leg.border])
        for first, last in _spans(leg.steps, stops.t.size):
            load, doubt = leg.load(np.arange(first, last + 1))
            moving = alone if leg.late else oscillators
            state, found = march(moving, state, leg.step, load, doubt, sure=sure, coverage=COVERAGE)
            most = np.where(leg.late & (leg.step <= SHORTEST), 0.0, found.most)  # some stops are over before
            peaks.append(replace(found, most=most, when=leg.begin + first * leg.step + found.when))
    state = _jumped(oscillators, state, shift[-1])
    return _ring(oscillators, state, stops, reduce(Peak.then, peaks), pace, sure)


def _jumped(oscillators: Oscillators, state: State, shift: FloatArray) -> State:
    """Swings where the load jumps, which in the stops next to these ones it does earlier or later."""
    doubt = state.doubt + state.swing * between(oscillators.frequency[:, None] * shift)
    return replace(state, doubt=doubt, slope=None)


def _choose(stops: Stops, state: State, pace: Pace) -> Oscillators:
    """Return the modes with the fast ones left out that hardly count, or that would take too many steps."""
    oscillators, (first, rest) = stops.course.oscillators, stops.ends
    swing = np.abs(state.phase - oscillators.phase(first)) + np.abs(first - rest)
    size = oscillators.gain[:, None] * swing
    share = (size / np.maximum(size.sum(axis=0), 1e-300)).max(axis=1)
    most = pace.steps * pace.turn / max(float(stops.borders[-1].max()), 1e-300)
    counts = oscillators.followed & (share >= pace.share) & (oscillators.frequency <= most)
    slowest = float(oscillators.frequency.min())
    fastest = np.max(oscillators.frequency, where=counts, initial=slowest)
    return replace(oscillators, followed=oscillators.followed & (oscillators.frequency <= fastest))


def _ring(oscillators: Oscillators, state: State, stops: Stops, peak: Peak, pace: Pace, sure: float) -> Peak:
    """Go on at rest, one period of the slowest mode at a time, with the stops whose swing may exceed what was seen."""
    frequency, (_, rest) = oscillators.frequency[oscillators.followed], stops.ends
    period, damping = 2.0 * np.pi / float(frequency.min()), float(oscillators.damping[oscillators.followed].min())
    count = math.ceil(period * float(frequency.max()) / pace.turn)
    left, last = np.arange(peak.use.size), pace.rounds if damping > 0.0 else UNDAMPED
    for i in range(last + 1):
        load = rest[:, left]
        size = np.abs(state.phase - oscillators.phase(load)) + state.doubt + COVERAGE * np.sqrt(state.variance)
        bound = in_phase(oscillators, load, size, peak.most[left])
        if i == last:
            peak.most[left] = np.maximum(peak.most[left], bound)
            break
        more = bound > peak.most[left]
        if not more.any():
            break
        left, load = left[more], load[:, more]
        state = State(phase=state.phase[:, more], doubt=state.doubt[:, more], variance=state.variance[:, more])
        after, step = stops.borders[-1, left] + i * period, np.full(left.size, period / count)
        for first, end in _spans(count, left.size):
            even = np.broadcast_to(load, (end - first + 1, *load.shape))
            state, found = march(oscillators, state, step, even, Doubt(), sure=sure, coverage=COVERAGE)
            peak.put(left, peak.take(left).then(found, after + first * step))
    return peak


def _spans(count: int, stops: int) -> list[tuple[int, int]]:
    """First and last node of the spans that are worked on at a time."""
    return list(pairwise([*range(0, count, max(FEWEST, AT_ONCE // stops)), count]))
