"""A factor on the speed of each move between rests."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.results.tuned import Limit, Move, Moves
from gripmargin.tuning.demands import Demands
from gripmargin.tuning.joints import joint_limit, joint_speeds
from gripmargin.tuning.override import FASTEST, SLOWEST, back_off, nearest_limit, rounded_down
from gripmargin.tuning.quick import PRECISION, RESERVE, Nearest, QuickCheck, largest
from gripmargin.tuning.rests import Stretch, stretches
from gripmargin.tuning.verify import Judged, Shortfall, judged
from gripmargin.workcell.scaling import scaled

ROUNDS = 12  # programs checked while backing off
HALVINGS = 6  # speeds of one move looked at


def per_move(case: Case, demands: Demands) -> Moves:
    """Return the largest factor for each carried move between rests with which the whole program passes.

    Moves that blend into each other are one, for there is no rest between them at which to change speed. Moves
    without a part on the pads keep their speed, and so do the preload and the release, on which the bond depends.

    Args:
        case: The job; gravity alone is within its targets.
        demands: What the targets ask.
    """
    found = stretches(case, by_label=True)
    limits = [None if stretch.kept else fastest(case, demands, stretch) for stretch in found]
    factors = [1.0 if limit is None else max(rounded_down(min(limit[0], FASTEST)), SLOWEST) for limit in limits]
    limits, hopeful = _together(case, found, factors, limits)
    result = judged(scaled(case.job, _by_interval(case, found, factors)))
    for _ in range(ROUNDS if hopeful else 0):
        if result.passed or not result.of_the_carry or not _backed_off(demands, found, factors, result):
            break
        result = judged(scaled(case.job, _by_interval(case, found, factors)))
        limits = [_checked(case, limit, stretch, result) for limit, stretch in zip(limits, found, strict=True)]
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
            )
            for stretch, factor, limit in zip(found, factors, limits, strict=True)
        ),
        cycle_now=float(t[-1] - t[0]),
        cycle_then=float(then[-1] - then[0]),
        passed=result.passed,
        job=result.job,
        report=result.report,
    )


def _together(
    case: Case, found: Sequence[Stretch], factors: list[float], limits: list[tuple[float, Limit] | None]
) -> tuple[list[tuple[float, Limit] | None], bool]:
    """Slow moves until the part, swinging and stopped, stays on target as well: a move rings on into the next.

    First all moves give way together, then each is given back what it can have.

    Args:
        case: The job.
        found: The stretches of the program.
        factors: Of each, changed in place.
        limits: What each of the stretches is limited by so far.

    Returns:
        What each is limited by then, and whether the program is on target.
    """
    quick, closed = QuickCheck(case), list(factors)
    tuned = [i for i, limit in enumerate(limits) if limit is not None]
    seen = quick.nearest(_by_interval(case, found, factors))
    if seen.ratio >= RESERVE or not tuned:
        return limits, True

    def nearest(tried: Sequence[float]) -> Nearest:
        nonlocal seen
        result = quick.nearest(_by_interval(case, found, tried))
        if result.ratio < RESERVE:
            seen = result
        return result

    def alike(most: float) -> list[float]:
        return [min(k, most) if i in tuned else k for i, k in enumerate(closed)]

    most = largest(lambda k: nearest(alike(k)).ratio, max(closed[i] for i in tuned), SLOWEST)
    if most is None:
        factors[:] = alike(1.0)
        return limits, False
    factors[:] = alike(rounded_down(most))
    out = list(limits)
    for i in sorted(tuned, key=lambda i: closed[i] - factors[i], reverse=True):
        if closed[i] <= PRECISION * factors[i]:
            continue
        seen = quick.nearest(_by_interval(case, found, factors))
        low, high = factors[i], closed[i]
        for _ in range(HALVINGS):
            tried = [*factors[:i], rounded_down(high), *factors[i + 1 :]]
            if nearest(tried).ratio >= RESERVE:
                low = high
                if high == closed[i]:
                    break
            else:
                blocked = high
            high = (low * blocked) ** 0.5
        factors[i] = rounded_down(low)
        if low < closed[i]:
            out[i] = closed[i], nearest_limit(case, seen)
    return out, True


def fastest(case: Case, demands: Demands, stretch: Stretch) -> tuple[float, Limit]:
    """Return the largest factor that pads and joints allow over a stretch, and what limits it."""
    inside = np.flatnonzero((demands.samples >= stretch.first) & (demands.samples <= stretch.last))
    by_pads = np.nan_to_num(_only(demands, inside).speeds(), nan=0.0, posinf=np.inf)
    pads = float(by_pads.min(initial=np.inf))
    by_joints, which = joint_speeds(case)
    over = by_joints[stretch.first : stretch.last + 1]
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


def _backed_off(demands: Demands, found: Sequence[Stretch], factors: list[float], result: Judged) -> bool:
    """Slow the stretches in which the program falls short; say whether there was anything to slow."""
    standing = demands.standing_ratio()[0]
    tuned = [i for i, stretch in enumerate(found) if not stretch.kept]
    step: dict[int, float] = {}
    for shortfall in result.of_the_carry:
        for i in _blamed(found, tuned, shortfall):
            step[i] = min(step.get(i, 1.0), back_off(shortfall.ratio, standing))
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
