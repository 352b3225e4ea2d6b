"""A factor on the speed of each move between rests."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.rests import Stretch, stretches
from gripmargin.checks.setting import setting
from gripmargin.results.tuned import Limit, Move, Moves
from gripmargin.tuning.demands import Demands
from gripmargin.tuning.joints import joint_limit, joint_speeds
from gripmargin.tuning.override import FASTEST, SLOWEST, back_off, nearest_limit, rounded_down
from gripmargin.tuning.quick import PRECISION, RESERVE, Nearest, QuickCheck, largest
from gripmargin.tuning.verify import Judged, Shortfall, judged
from gripmargin.workcell.scaling import scaled

ROUNDS = 7  # programs checked while backing off
HALVINGS = 6  # speeds of each move looked at
MOST = 300_000  # samples looked at while moves are given back speed, about
ABOVE = 1.03  # times the factor on the whole program, where moves alone may be faster alike
STEP = 1e-3  # share by which moves are slowed at least, the first time; twice as much each time
EASIER = (1.0, 0.98, 0.95, 0.9)  # times the factor on the whole program, as factors on all moves


def per_move(case: Case, demands: Demands, whole: float | None) -> Moves:
    """Return the largest factor for each carried move between rests with which the whole program passes.

    Moves that blend into each other are one, for there is no rest between them at which to change speed. Moves
    without a part on the pads keep their speed, and so do the preload and the release, on which the bond depends.

    Args:
        case: The job; gravity alone is within its targets.
        demands: What the targets ask.
        whole: The factor with which the whole program passes; None: there is none.
    """
    found = stretches(case, by_label=True)
    joints = joint_speeds(case)
    limits = [None if stretch.kept else fastest(case, demands, stretch, joints) for stretch in found]
    factors = [1.0 if limit is None else max(rounded_down(min(limit[0], FASTEST)), SLOWEST) for limit in limits]
    closed = list(factors)
    limits, hopeful = _together(case, found, factors, limits, whole)
    result = judged(scaled(case.job, _by_interval(case, found, factors)))
    for turn in range(ROUNDS if hopeful else 0):
        if result.passed or not result.of_the_carry:
            break
        limits = [_checked(case, limit, stretch, result) for limit, stretch in zip(limits, found, strict=True)]
        if not _backed_off(demands, found, factors, result, 1.0 - STEP * 2**turn):
            break
        result = judged(scaled(case.job, _by_interval(case, found, factors)), trial=True)
    for easier in EASIER:
        if whole is None or result.passed:
            break
        most = rounded_down(easier * whole)
        alike = [k if stretch.kept else min(k, most) for k, stretch in zip(closed, found, strict=True)]
        tried = judged(scaled(case.job, _by_interval(case, found, alike)), trial=True)
        if tried.passed:
            factors, result = alike, tried
    t, then = case.job.trajectory.t, result.job.trajectory.t
    return Moves(
        rows=tuple(
            Move(
                moves=stretch.moves,
                start=float(t[stretch.first]),
                end=float(t[stretch.last]),
                factor=factor,
                time_then=float(then[stretch.last] - then[stretch.first]),
                limit=None if limit is None else limit[1],
                kept=stretch.kept,
                setting=setting(case, stretch, factor) if result.passed else None,
            )
            for stretch, factor, limit in zip(found, factors, limits, strict=True)
        ),
        cycle_now=float(t[-1] - t[0]),
        cycle_then=float(then[-1] - then[0]),
        passed=result.passed,
        job=result.job,
        report=result.full,
    )


def _together(
    case: Case,
    found: Sequence[Stretch],
    factors: list[float],
    limits: list[tuple[float, Limit] | None],
    whole: float | None,
) -> tuple[list[tuple[float, Limit] | None], bool]:
    """Slow moves until the part, swinging and stopped, stays on target as well: a move rings on into the next.

    First all moves give way together, then each is given back what it can have; where there are many moves and samples,
    some at a time.

    Args:
        case: The job.
        found: The stretches of the program.
        factors: Of each, changed in place.
        limits: What each of the stretches is limited by so far.
        whole: The factor with which the whole program passes; None: there is none.

    Returns:
        What each is limited by then, and whether the program is on target.
    """
    quick, closed, out = QuickCheck(case, (s.first for s in found)), list(factors), list(limits)
    tuned = [i for i, limit in enumerate(limits) if limit is not None]

    def alike(most: float) -> list[float]:
        return [min(k, most) if i in tuned else k for i, k in enumerate(closed)]

    def nearest(tried: Sequence[float]) -> Nearest:
        return quick.look(_by_interval(case, found, tried)).nearest()

    if not tuned or nearest(closed).ratio >= RESERVE:
        return limits, True
    most = whole
    if whole is None or not nearest(alike(whole)).ratio >= RESERVE > nearest(alike(ABOVE * whole)).ratio:
        most = largest(lambda k: nearest(alike(k)).ratio, max(closed[i] for i in tuned), SLOWEST)
    factors[:] = alike(1.0 if most is None else rounded_down(most))
    if most is None:
        return limits, False
    slowed = sorted(
        (i for i in tuned if closed[i] > PRECISION * factors[i]), key=lambda i: closed[i] - factors[i], reverse=True
    )
    at_a_time = max(1, -(-len(slowed) * HALVINGS * quick.samples // MOST))
    for first in range(0, len(slowed), at_a_time):
        together, before = slowed[first : first + at_a_time], list(factors)
        low, high, share = 0.0, 1.0, 1.0
        for _ in range(HALVINGS):
            tried = [rounded_down(k * (closed[i] / k) ** share) if i in together else k for i, k in enumerate(before)]
            near = nearest(tried)
            if near.ratio >= RESERVE:
                low, factors[:] = share, tried
                if share == 1.0:
                    break
            else:
                high, limit = share, nearest_limit(case, near)
                out = [(closed[i], limit) if i in together else old for i, old in enumerate(out)]
            share = (low + high) / 2.0
    return [limits[i] if factors[i] >= closed[i] else old for i, old in enumerate(out)], True


def fastest(
    case: Case, demands: Demands, stretch: Stretch, by_interval: tuple[FloatArray, NDArray[np.intp]]
) -> tuple[float, Limit]:
    """Return the largest factor that pads and joints allow over a stretch, and what limits it.

    Args:
        case: The job.
        demands: What the targets ask.
        stretch: Its samples.
        by_interval: What the joints allow, as `joint_speeds` returns it.
    """
    inside = np.flatnonzero((demands.samples >= stretch.first) & (demands.samples <= stretch.last))
    by_pads = np.nan_to_num(_only(demands, inside).speeds(), nan=0.0, posinf=np.inf)
    pads = float(by_pads.min(initial=np.inf))
    by_joints, which = by_interval
    over = by_joints[stretch.first : stretch.last]
    joints = float(over.min())
    if min(pads, joints) >= FASTEST:
        return FASTEST, Limit(by="range", text=f"nothing up to {FASTEST:g} times the speed")
    if pads <= joints:
        return pads, demands.limit(case, int(inside[np.argmin(by_pads)]), pads)
    sample = stretch.first + int(np.argmin(over))
    return joints, joint_limit(case, sample, int(which[sample]))


def _only(demands: Demands, inside: np.ndarray) -> Demands:
    return replace(
        demands,
        samples=demands.samples[inside],
        still=demands.still[:, inside],
        moving=demands.moving[:, inside],
        error=demands.error[inside],
    )


def _by_interval(case: Case, found: Sequence[Stretch], factors: Sequence[float]) -> FloatArray:
    out = np.ones(case.job.trajectory.samples - 1)
    for stretch, factor in zip(found, factors, strict=True):
        out[stretch.first : stretch.last] = factor
    return out


def _backed_off(demands: Demands, found: Sequence[Stretch], factors: list[float], result: Judged, least: float) -> bool:
    """Slow the stretches in which the program falls short, by a least share; say whether there was anything to slow."""
    standing = demands.standing_ratio()[0]
    tuned = [i for i, stretch in enumerate(found) if not stretch.kept]
    ratios = result.ratios
    short = {i: float(ratios[found[i].first : found[i].last + 1].min()) for i in tuned}
    for shortfall in result.of_the_carry:
        short |= {i: min(short[i], shortfall.ratio) for i in _blamed(found, tuned, shortfall)}
    step = {i: min(least, back_off(ratio, standing)) for i, ratio in short.items() if ratio < 1.0}
    changed = False
    for i, factor in step.items():
        slower = max(rounded_down(factors[i] * factor), SLOWEST)
        changed |= slower < factors[i]
        factors[i] = slower
    return changed


def _blamed(found: Sequence[Stretch], tuned: Sequence[int], shortfall: Shortfall) -> list[int]:
    """The stretch that the worst sample lies in; where it is kept, the one before; else all."""
    if shortfall.sample is None:
        return list(tuned)
    sample = shortfall.sample
    inside = [i for i in tuned if found[i].first <= sample <= found[i].last]
    before = [i for i in tuned if found[i].last <= sample]
    return inside or before[-1:] or list(tuned)


def _checked(
    case: Case, limit: tuple[float, Limit] | None, stretch: Stretch, result: Judged
) -> tuple[float, Limit] | None:
    """The limit of a stretch, where another check than that of the closed form slowed it."""
    if limit is None:
        return None
    for shortfall in result.shortfalls:
        sample = shortfall.sample
        if sample is None or not stretch.first <= sample <= stretch.last or shortfall.check == limit[1].by:
            continue
        place = case.place(sample)
        text = f"{shortfall.check} at {place.t:.3f} s"
        return limit[0], Limit(by=shortfall.check, t=place.t, sample=sample, move=place.move, text=text)
    return limit
