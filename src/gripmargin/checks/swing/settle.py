"""Has the part stopped swinging when it is placed?

What is left of the swing (`gripmargin.checks.swing.response`) at the instant in which the part comes down in its nest
moves the part against the tool by so much, at the corner of its outline that moves farthest. It is compared with what
the place of the tool along the face leaves of the placing tolerance, `nest.tolerance`. The modes move a corner in
directions of their own: their sum is one of vectors. Within the next period of the slowest of them it reaches some way
for certain; at most they meet at some time with the signs that bring the corner farthest.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks import premises
from gripmargin.checks.advice import Change, Trials
from gripmargin.checks.case import Case
from gripmargin.checks.changes import paused
from gripmargin.checks.check import Check, Judged
from gripmargin.checks.dents import undented
from gripmargin.checks.hold.use import COVERAGE
from gripmargin.checks.swing import words
from gripmargin.checks.swing.figures import PlacingCause, SettleDetails, WorstPlacing
from gripmargin.checks.swing.pushed import pushed_over
from gripmargin.checks.swing.ringing import Stretch, other_stretches, stretches_of
from gripmargin.checks.swing.spans import largest_between, missed
from gripmargin.kernels.oscillator import ComplexArray
from gripmargin.results.findings import (
    CheckResult,
    Finding,
    NotChecked,
    Outcome,
    Remedy,
    Verdict,
    finite,
    judge,
    on_target,
    undecided,
)
from gripmargin.workcell.job import Job

AT_REST = 0.01  # share of the carry's largest speed below which the tool counts as standing still
BRAKED = 0.005  # share of the carry's largest moving load that counts as none
LANDING = 0.05  # [s] shorter than this, the rest before the placing is the end of the way down
FINE = 32  # instants within a period of the fastest mode: a peak between them is higher by less than 0.5 %
LONGEST = 60.0  # [s] beyond which waiting is no remedy


@dataclass(frozen=True, eq=False, kw_only=True)
class Placing:
    """The swing at the instant of placing, and how it dies down.

    Attributes:
        sample: Index into the program.
        stop: When the tool last came to rest before it [s], or None: it is never at rest.
        amplitude: Largest way of the part against the tool within the next period, at its farthest corner [m].
        low: Least value it may have [m].
        high: Largest value it may have, however its modes meet [m].
        spread: By which the modes may swing more than known, all in phase [m].
        own: Amplitude that the motion since that stop has started alone, for each corner, axis and mode [m], shape
            (corners, 3, modes).
        at_stop: Amplitude where the tool came to rest, likewise.
        rates: At which each mode dies down [1/s], shape (modes,).
        pushed: What of the spread forces of the process do [m].
    """

    sample: int
    stop: float | None
    amplitude: float
    low: float
    high: float
    spread: float
    own: FloatArray
    at_stop: FloatArray
    rates: FloatArray
    pushed: float = 0.0


def run(case: Case) -> Outcome:
    """Judge the swing at every placing.

    Args:
        case: The job.
    """
    nest, target = case.job.nest, case.job.targets.settle
    if nest is None or nest.tolerance is None:
        reason = "the job has no [nest]" if nest is None else "nest.tolerance is not given"
        return Outcome(not_checked=(NotChecked(check="settle", reason=reason),))
    kinds = zip(case.shared(stretches_of), *case.shared(other_stretches), strict=True)
    placed = [kind for kind in kinds if case.placed_after(int(kind[0].samples[-1]))]
    if not placed:
        reason, remedy = words.NO_PLACING, words.NAME_THE_RELEASE
        return Outcome(results=(undecided("settle", target, reason, remedy=remedy, measure="ratio"),))
    off = max((float(np.linalg.norm(down.placed.position[0, :2])) for down in case.putdowns), default=0.0)
    tolerance = max(nest.tolerance - off, 0.0)
    found = _in_between(
        case, [_worst_of([_placing(case, each) for each in kind]) for kind in placed], tolerance / target
    )
    short = [placing for placing in found if not on_target(_ratio(tolerance, placing.high), target)]
    return Outcome(
        results=(result_of(case, found, tolerance, target),),
        findings=tuple(_finding(case, placing, tolerance, target) for placing in short),
    )


def _ratio(tolerance: float, amplitude: float) -> float:
    return tolerance / amplitude if amplitude > 0 else math.inf if amplitude == 0 else math.nan


def result_of(case: Case, found: list[Placing], tolerance: float, target: float) -> CheckResult:
    """The result of all placings: the worst of them."""
    lows, values, highs = (np.array([getattr(p, name) for p in found]) for name in ("low", "amplitude", "high"))
    worst, surest = found[int(np.argmax(values))], found[int(np.argmax(highs))]
    low, high = _ratio(tolerance, float(highs.max())), _ratio(tolerance, float(lows.max()))
    return CheckResult(
        check="settle",
        verdict=judge(low, high, target),
        value=finite(_ratio(tolerance, worst.amplitude)),
        low=finite(low),
        high=finite(high),
        target=target,
        at=case.place(worst.sample),
        low_at=case.place(surest.sample),
        details=_details(case, worst, tolerance, tolerance / target),
        measure="ratio",
    )


def _placing(case: Case, stretch: Stretch) -> Placing:
    found, modes = stretch.swing, stretch.modes
    # of each corner along each axis in each mode, for a response of 1 [m]
    lever = modes.moved(_corners(case))
    more, force = found.unsure[:, -1] + COVERAGE * found.sigma[:, -1], _pushed(case, stretch)
    pushed, spread = (float((np.linalg.norm(lever, axis=1) * x).sum(axis=1).max()) for x in (force, more + force))
    if np.isin(stretch.samples, case.motion.doubtful).any():
        spread = math.inf
    reached = _within_a_period(lever, found.about_base[:, -1], modes.damped_frequency)
    stop = _last_stop(case, stretch)
    at = stop or 0
    since = stretch.piece(at, stretch.samples.size - 1).swing
    return Placing(
        sample=int(stretch.samples[-1]),
        stop=None if stop is None else float(case.job.trajectory.t[stretch.samples[stop]]),
        amplitude=reached,
        low=max(reached - spread, 0.0),
        high=float(farthest(lever * found.amplitude[:, -1]).max()) + spread,
        spread=spread,
        pushed=pushed,
        own=lever * since.amplitude[:, -1],
        at_stop=lever * found.amplitude[:, at],
        rates=modes.damping * modes.frequency,
    )


def _in_between(case: Case, found: list[Placing], allowed: float) -> list[Placing]:
    """The placings with what the part may swing by at a stiffness between those that are known."""

    def placed(some: list[Stretch]) -> list[Stretch]:
        return [stretch for stretch in some if case.placed_after(int(stretch.samples[-1]))]

    def look(some: list[Stretch]) -> FloatArray:
        return np.array([_placing(case, stretch).high for stretch in placed(some)])

    def apart(one: list[Stretch], other: list[Stretch]) -> FloatArray:
        more = []
        for pair in zip(placed(one), placed(other), strict=True):
            lever = np.max([np.linalg.norm(each.modes.moved(_corners(case)), axis=1) for each in pair], axis=0)
            more.append(float((lever * missed(*pair)[:, -1]).sum(axis=1).max()))
        return np.array(more)

    most = np.broadcast_to(largest_between(case, look, apart, level=allowed)[0], len(found))
    more = [max(float(high) - each.high, 0.0) for each, high in zip(found, most, strict=True)]
    return [replace(p, high=p.high + extra, spread=p.spread + extra) for p, extra in zip(found, more, strict=True)]


def _pushed(case: Case, stretch: Stretch) -> FloatArray:
    """The most that forces of the process do to each mode at the placing, at rest and swinging, shape (modes,)."""
    modes, last = stretch.modes, stretch.samples.size - 1
    out = np.zeros(modes.frequency.size)
    for force in pushed_over(case, modes, stretch.samples):
        for k in np.flatnonzero(force.at == last):
            out = np.maximum(out, np.abs(modes.shapes.T @ force.wrench[:, k]) + force.swing[:, k])
    return out


def _worst_of(kinds: Sequence[Placing]) -> Placing:
    """One placing of what the part may do by the vibrations that it may have; the first are the likely ones."""
    worst = max(kinds, key=lambda placing: placing.high)
    return replace(worst, amplitude=kinds[0].amplitude, low=min(placing.low for placing in kinds))


def _within_a_period(lever: FloatArray, swings: ComplexArray, frequency: FloatArray) -> float:
    """How far the farthest corner gets within a period of the slowest mode, without what fades meanwhile [m]."""
    steps = FINE * np.ceil(frequency.max() / frequency.min())
    turn = np.outer(frequency, np.arange(steps) / steps * 2.0 * np.pi / frequency.min())
    ways = lever @ (swings[:, None] * np.exp(1j * turn)).imag
    return float(np.linalg.norm(ways, axis=1).max())


def farthest(ways: FloatArray) -> FloatArray:
    """Return how far modes bring each corner with the signs with which they do most, shape (corners,).

    A length is convex, so it is largest where each mode is at one of its ends.

    Args:
        ways: Of each corner along each axis in each mode [m], shape (corners, axes, modes).
    """
    signs = np.array(list(product((1.0, -1.0), repeat=ways.shape[2])))
    return np.asarray(np.linalg.norm(ways @ signs.T, axis=1).max(axis=1))


def _corners(case: Case) -> FloatArray:
    """Where the part's swing is looked at: corners of its outline, else its centre of mass; shape (k, 3)."""
    part = case.job.part
    if part.outline is None:
        return part.com[None]
    return np.column_stack([part.outline, np.zeros(len(part.outline))])


def _last_stop(case: Case, stretch: Stretch) -> int | None:
    """The sample at which the tool last came to rest before the placing, an index into the stretch; None: never."""
    motion = case.motion.at
    speed = np.linalg.norm(motion.velocity[stretch.samples], axis=1)
    turning = np.linalg.norm(motion.angular_velocity[stretch.samples], axis=1)
    moves = (speed > AT_REST * speed.max()) | (turning > AT_REST * turning.max())
    rests = np.flatnonzero(np.diff(np.concatenate([[True], moves, [True]]).astype(np.int8))).reshape(-1, 2)
    rests = rests[rests[:, 0] > 0]  # first and end of each; the rest in which the carry begins is no stop
    if rests.size == 0:
        return None
    t = case.job.trajectory.t[stretch.samples]
    first, end = rests[-1]
    if end == moves.size and t[-1] - t[first] < LANDING and len(rests) > 1:
        first, end = rests[-2]
    # Slow is not yet still: braking ends where the load is that of gravity alone, as nearly as it gets.
    moving = np.linalg.norm(stretch.swing.drive.base - stretch.still, axis=0)
    rest = moving[first:end]
    return int(first + np.argmax(rest <= rest.min() + BRAKED * moving.max()))


def settling_time(
    amplitudes: FloatArray, rates: FloatArray, tolerance: float, lasting: FloatArray | float = 0.0
) -> float:
    """Return the time until swings have died down to a tolerance at every corner [s]; inf where they never do.

    Args:
        amplitudes: For each corner, axis and mode [m], shape (corners, axes, modes).
        rates: At which each mode dies down [1/s], shape (modes,).
        tolerance: [m].
        lasting: What is left however long it takes, for each corner [m], shape (corners,).
    """
    from scipy.optimize import brentq  # noqa: PLC0415 - 0.3 s that only jobs with a placing tolerance pay

    def over(time: float) -> float:
        return float((farthest(amplitudes * np.exp(-rates * time)) + lasting).max()) - tolerance

    if over(0.0) <= 0.0:
        return 0.0
    return float(brentq(over, 0.0, LONGEST)) if over(LONGEST) <= 0.0 else math.inf


def _details(case: Case, placing: Placing, tolerance: float, allowed: float) -> SettleDetails:
    settling = None if placing.stop is None else finite(settling_time(placing.at_stop, placing.rates, allowed))
    return SettleDetails(
        amplitude=placing.amplitude,
        amplitude_high=finite(placing.high),
        tolerance=tolerance,
        last_stop=placing.stop,
        settling_time=settling,
        time_available=None if placing.stop is None else case.place(placing.sample).t - placing.stop,
        settles=settling is not None,
    )


def _finding(case: Case, placing: Placing, tolerance: float, target: float) -> Finding:
    place, allowed = case.place(placing.sample), tolerance / target
    low, high = _ratio(tolerance, placing.high), _ratio(tolerance, placing.low)
    start = place.t if placing.stop is None else placing.stop
    return Finding(
        check="settle",
        verdict=Verdict.FAIL if judge(low, high, target) is Verdict.FAIL else Verdict.UNDECIDED,
        start=start,
        end=place.t,
        spans=((start, place.t),),
        worst=WorstPlacing(at=place, amplitude=placing.amplitude, tolerance=tolerance, allowed=allowed),
        because=PlacingCause(cause=words.PUSHED_ASIDE if placing.pushed > 0.0 else words.STILL_SWINGS),
        remedies=() if case.trial else (_remedy(case, placing, tolerance, target),),
        share=(finite(low) or 0.0) / target,
    )


def _remedy(case: Case, placing: Placing, tolerance: float, target: float) -> Remedy:
    """How long to wait before the part is set down, or why that does not help."""
    if not math.isfinite(placing.high):
        unknown = int([*case.motion.doubtful, placing.sample][0])
        return Remedy(action="better data", text=case.motion.better_data(unknown))
    if placing.pushed > 0.0:
        return Remedy(action="less force", text=words.pushed_aside(placing.pushed))
    own = farthest(placing.own) + placing.spread
    last = float(own.max())
    if placing.stop is None or not on_target(_ratio(tolerance, last), target):
        figures = {"move": case.place(placing.sample).move, "factor": None}
        return Remedy(action="slow", text=words.slow_last_move(last), figures=figures)
    needed = settling_time(placing.at_stop, placing.rates, tolerance / target, own)
    if not math.isfinite(needed):
        return Remedy(action="better data", text=words.DAMPING_OR_JERK)
    spent = case.place(placing.sample).t - placing.stop
    wait = max(math.ceil(1e3 * (needed - spent)), 1)  # [ms]
    stop = int(np.searchsorted(case.job.trajectory.t, placing.stop))
    change = Change(
        remedy=Remedy(action="wait", text=words.wait_longer(wait), figures={"wait": wait / 1e3}),
        job=lambda: paused(case.job, stop, wait / 1e3),
    )
    tried = Trials(case, lambda changed: run(changed).results, "settle").tried([change])
    return tried or Remedy(action="better data", text=words.DAMPING_OR_JERK)


def _asked(job: Job) -> float | None:
    return None if job.nest is None or job.nest.tolerance is None else job.targets.settle


SETTLE = Check(
    name="settle",
    question="Has the part stopped swinging when it is placed?",
    judged=(
        Judged(
            name="settle",
            target=_asked,
            details=SettleDetails,
            rests_on=(*premises.ALL, premises.begun_at_rest, undented),
        ),
    ),
    run=run,
    result_words=words.settle_result,
    finding_words=words.settle_finding,
)
