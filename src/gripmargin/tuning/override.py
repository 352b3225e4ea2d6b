"""One factor on the speed of a whole program."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from gripmargin.checks.case import Case
from gripmargin.checks.setting import moves_at
from gripmargin.results.tuned import Curve, Limit, Override
from gripmargin.tuning.demands import Demands
from gripmargin.tuning.joints import joint_limit, joint_speeds
from gripmargin.tuning.quick import RESERVE, Nearest, QuickCheck, largest
from gripmargin.tuning.verify import Judged, judged
from gripmargin.workcell.job import Job
from gripmargin.workcell.scaling import scaled

FASTEST = 10.0  # largest factor looked for
SLOWEST = 0.05  # least one
DIGITS = 1000.0  # factors are rounded down to a thousandth
CURVE_POINTS = 41
ROUNDS = 12  # programs checked while backing off
STEP_BACK = 0.999  # least step back


def override(case: Case, demands: Demands) -> Override:
    """Return the largest factor on the speed of the whole program with which it passes every check.

    The factor comes from the closed form and the joint limits. The program at that speed is then checked as a
    whole, and the factor is backed off until it passes. The whole program is scaled, waits as well. A controller may
    not lengthen its waits with the rest: below 1 the handovers have to pass as programmed, too.

    Args:
        case: The job; gravity alone is within its targets.
        demands: What the targets ask.
    """
    closed, limit = closed_form(case, demands)
    tried: list[tuple[float, Judged]] = []
    best: tuple[float, Judged] | None = None
    start, limit = _swinging(case, rounded_down(min(closed, FASTEST)), limit)
    k = rounded_down(min(closed, 1.0)) if start is None else start
    while len(tried) < (ROUNDS if start is not None else 1) and k >= SLOWEST:
        found = judged(at_speed(case.job, k), trial=bool(tried))
        tried.append((k, found))
        if found.passed:
            best = (k, found) if k >= 1.0 else _as_programmed(case, tried, (k, found))
            break
        if not found.of_the_carry and k <= 1.0:
            break  # slower does not mend a handover that falls short as programmed
        k = _slower(k, found, demands)
    if best is not None and len(tried) > 1:
        best = _refined(case, tried, best)
        limit = _by_checks(tried[0][1], case, limit)
    duration = float(case.job.trajectory.t[-1] - case.job.trajectory.t[0])
    job = None if best is None else best[1].job
    speeds = np.linspace(SLOWEST, max(1.5, 1.2 * min(closed, FASTEST)), CURVE_POINTS)
    return Override(
        factor=None if best is None else best[0],
        closed_form=closed,
        limit=limit,
        curve=Curve(speed=speeds, ratio=demands.ratios(speeds)),
        cycle_now=duration,
        cycle_then=None if job is None else float(job.trajectory.t[-1] - job.trajectory.t[0]),
        job=job,
        report=best[1].full if best else tried[-1][1].full if tried else None,
        rows=() if best is None else tuple(replace(move, kept="") for move in moves_at(case, best[0])),
    )


def closed_form(case: Case, demands: Demands) -> tuple[float, Limit]:
    """Return the largest factor that pads and joints allow, and what limits it.

    Args:
        case: The job.
        demands: What the targets ask.
    """
    by_pads = demands.speeds()
    pads = float(np.where(np.isnan(by_pads), 0.0, by_pads).min())
    by_joints, which = joint_speeds(case)
    joints = float(by_joints.min())
    if min(pads, joints) >= FASTEST:
        text = f"nothing up to {FASTEST:g} times the speed"
        if case.job.joint_limits is None:
            text += " (the job has no joint limits)"
        return FASTEST, Limit(by="range", text=text)
    if pads <= joints:
        index = int(np.argmin(np.where(np.isnan(by_pads), 0.0, by_pads)))
        return pads, demands.limit(case, index, pads)
    sample = int(np.argmin(by_joints))
    return joints, joint_limit(case, sample, int(which[sample]))


def at_speed(job: Job, factor: float) -> Job:
    """Return a job with its whole program at a speed."""
    return scaled(job, np.full(job.trajectory.samples - 1, factor))


def rounded_down(factor: float) -> float:
    """Return a factor rounded down to a thousandth."""
    return math.floor(DIGITS * factor + 1e-9) / DIGITS


def back_off(ratio: float, standing: float) -> float:
    """Return the factor on a speed at which a margin that falls short is about on target.

    The use of the pads is taken as gravity's share and a rest that grows with the square of the speed.

    Args:
        ratio: Margin over target [-].
        standing: The same at standstill [-].
    """
    if ratio <= 0.0:
        return 0.9
    still = 1.0 / standing
    moving = 1.0 / ratio - still
    if moving <= 0.0:
        return STEP_BACK
    return min(STEP_BACK, max(0.7, math.sqrt(max(1.0 - still, 0.0) / moving)))


def _swinging(case: Case, closed: float, limit: Limit) -> tuple[float | None, Limit]:
    """The largest factor at which the part, swinging and stopped, stays on target as well; and what limits it.

    None where there is none.
    """
    quick, intervals = QuickCheck(case), np.ones(case.job.trajectory.samples - 1)
    tried: dict[float, Nearest] = {}

    def ratio(k: float) -> float:
        tried[k] = quick.look(k * intervals).nearest()
        return tried[k].ratio

    found = largest(ratio, closed, SLOWEST)
    if found is None:
        return None, nearest_limit(case, tried[min(tried)])
    if found == closed:
        return closed, limit
    above = min(k for k, near in tried.items() if k > found and near.ratio < RESERVE)
    return rounded_down(found), nearest_limit(case, tried[above])


def nearest_limit(case: Case, near: Nearest) -> Limit:
    """Return what limits a speed, as it was seen."""
    place = case.place(near.sample)
    where = f" at {place.t:.3f} s" + (f" in move '{place.move}'" if place.move else "")
    return Limit(by=near.check, t=place.t, sample=place.sample, move=place.move, text=f"{near.check}{where}")


def _slower(k: float, found: Judged, demands: Demands) -> float:
    standing = demands.standing_ratio()[0]
    ratio = min((s.ratio for s in found.of_the_carry), default=0.0)
    slower = rounded_down(k * back_off(ratio, standing))
    return 1.0 if slower < 1.0 < k else slower  # as programmed it is known to work


def _as_programmed(
    case: Case, tried: list[tuple[float, Judged]], slower: tuple[float, Judged]
) -> tuple[float, Judged] | None:
    """A slower program, if the handovers pass without the longer waits that it has."""
    programmed = judged(case.job)
    if not programmed.blocked:
        return slower
    tried.append((1.0, programmed))
    return None


def _refined(case: Case, tried: list[tuple[float, Judged]], best: tuple[float, Judged]) -> tuple[float, Judged]:
    """Nearest between the fastest program that passes and the slowest that does not."""
    short = min((k for k, found in tried if not found.passed), default=None)
    while short is not None and len(tried) < ROUNDS and best[0] < 0.99 * short:
        k = rounded_down((best[0] + short) / 2)
        found = judged(at_speed(case.job, k), trial=True)
        tried.append((k, found))
        if found.passed:
            best = (k, found)
        else:
            short = k
    return best


def _by_checks(found: Judged, case: Case, limit: Limit) -> Limit:
    """What the checker held against the speed of the closed form."""
    if not found.shortfalls:
        return limit
    worst = found.shortfalls[0]
    if worst.check == limit.by or worst.sample is None:
        return limit
    return nearest_limit(case, Nearest(ratio=worst.ratio, check=worst.check, sample=worst.sample))
