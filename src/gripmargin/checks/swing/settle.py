"""Has the part stopped swinging when it is placed?

What is left of the swing (`gripmargin.checks.swing.vibration`) at the instant in which the part comes down in its nest
moves the part against the tool by so much, at the corner of its outline that moves farthest. It is compared with the
placing tolerance of the nest, `nest.tolerance`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks import words
from gripmargin.checks.case import Case
from gripmargin.checks.check import Check, Judged
from gripmargin.checks.hold.use import COVERAGE
from gripmargin.checks.swing.ringing import Stretch, stretches_of
from gripmargin.checks.swing.vibration import Start, swing
from gripmargin.results.findings import CheckResult, Finding, NotChecked, Outcome, Remedy, Verdict, judge
from gripmargin.workcell.job import Job

AT_REST = 0.01  # share of the carry's largest speed below which the tool counts as standing still
BRAKED = 0.005  # share of the carry's largest moving load that counts as none
LANDING = 0.05  # [s] shorter than this, the rest before the placing is the end of the way down
HALVINGS = 60
LONGEST = 60.0  # [s] beyond which waiting is no remedy


@dataclass(frozen=True, eq=False, kw_only=True)
class _Placing:
    """The swing at the instant of placing, and how it dies down.

    Attributes:
        sample: Index into the program.
        stop: When the tool last came to rest before it [s], or None: it is never at rest.
        amplitude: Of the part against the tool, at its farthest corner [m].
        low: Least value it may have [m].
        high: Largest value it may have [m].
        own: Amplitude that the motion since that stop has started alone, for each corner and mode [m], shape
            (corners, modes).
        at_stop: Amplitude where the tool came to rest, likewise.
        rates: At which each mode dies down [1/s], shape (modes,).
    """

    sample: int
    stop: float | None
    amplitude: float
    low: float
    high: float
    own: FloatArray
    at_stop: FloatArray
    rates: FloatArray


def check_settle(case: Case) -> Outcome:
    """Judge the swing at every placing.

    Args:
        case: The job.
    """
    stretches = case.shared(stretches_of)
    nest = case.job.nest
    if nest is None or nest.tolerance is None:
        reason = "the job has no [nest]" if nest is None else "nest.tolerance is not given"
        return Outcome(not_checked=(NotChecked(check="settle", reason=reason),))
    release = case.job.phase_map.covers("release")
    placed = [s for s in stretches if release[min(int(s.samples[-1]) + 1, release.size - 1)]]
    if not placed:
        return Outcome(results=(_no_placing(case),))
    found = [_placing(case, stretch) for stretch in placed]
    worst = max(found, key=lambda placing: placing.high if math.isfinite(placing.high) else math.inf)
    target, tolerance = case.job.targets.settle, nest.tolerance
    low, high = _over(tolerance, worst.high), _over(tolerance, worst.low)
    verdict = judge(low, high, target)
    details = _details(case, worst, tolerance / target)
    value = _over(tolerance, worst.amplitude)
    result = CheckResult(
        check="settle",
        verdict=verdict,
        value=_finite(value),
        low=_finite(low),
        high=_finite(high),
        target=target,
        at=case.place(worst.sample),
        details=details,
        text="placing tolerance over what is left of the swing when the part is placed",
        lines=_lines(details),
        measure="ratio",
    )
    short = [placing for placing in found if not _over(tolerance, placing.high) >= target]
    findings = tuple(_finding(case, placing, tolerance, target) for placing in short)
    return Outcome(results=(result,), findings=findings)


def _over(tolerance: float, amplitude: float) -> float:
    return tolerance / amplitude if amplitude > 0 else math.inf if amplitude == 0 else math.nan


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _no_placing(case: Case) -> CheckResult:
    text = "nest.tolerance is given, but no release phase follows the carry: nothing is placed"
    return CheckResult(
        check="settle",
        verdict=Verdict.UNDECIDED,
        value=None,
        low=None,
        high=None,
        target=case.job.targets.settle,
        at=None,
        text=text,
        lines=(f"{text}; name the release in program.phases",),
        measure="ratio",
    )


def _placing(case: Case, stretch: Stretch) -> _Placing:
    found = stretch.swing
    sample = int(stretch.samples[-1])
    corners = _corners(case)
    lever = np.stack([found.modes.shapes[:3] + np.cross(found.modes.shapes[3:].T, corner).T for corner in corners])
    reach = np.linalg.norm(lever, axis=1)  # of each corner in each mode, for a response of 1 [m]
    amplitude = reach * found.amplitude[:, -1]
    spread = float((reach * (found.unsure[:, -1] + COVERAGE * found.sigma[:, -1])).sum(axis=1).max())
    size = float(amplitude.sum(axis=1).max())
    if case.motion.doubtful.size and np.isin(stretch.samples, case.motion.doubtful).any():
        spread = math.inf
    stop = _last_stop(case, stretch)
    at = int(np.argmax(stretch.owner == stop)) if stop is not None else 0
    still = Start(sample=0, load=found.modes.loads @ found.drive.base[:, at], rate=np.zeros(6))
    since = swing(found.modes, found.drive.since(at), still)
    return _Placing(
        sample=sample,
        stop=None if stop is None else float(case.job.trajectory.t[stretch.samples[stop]]),
        amplitude=size,
        low=max(size - spread, 0.0),
        high=size + spread,
        own=reach * since.amplitude[:, -1],
        at_stop=reach * found.amplitude[:, at],
        rates=found.modes.damping * found.modes.frequency,
    )


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
    edges = np.flatnonzero(np.diff(np.concatenate([[True], moves, [True]]).astype(np.int8)))
    rests = edges.reshape(-1, 2)[
        edges.reshape(-1, 2)[:, 0] > 0
    ]  # (first, end) of each; the part's first rest is no stop
    if rests.size == 0:
        return None
    t = case.job.trajectory.t[stretch.samples]
    first, end = rests[-1]
    landing = end == moves.size and t[-1] - t[first] < LANDING
    if landing and len(rests) > 1:
        first, end = rests[-2]
    # Slow is not yet still: braking ends where the load is that of gravity alone, as nearly as it gets.
    drive = stretch.swing.drive
    at = np.searchsorted(stretch.owner, np.arange(moves.size))
    moving = np.linalg.norm(drive.base - stretch.still, axis=0)[at]
    rest = moving[first:end]
    return int(first + np.argmax(rest <= rest.min() + BRAKED * moving.max()))


def _time_to(amplitudes: FloatArray, rates: FloatArray, tolerance: float, lasting: FloatArray | float = 0.0) -> float:
    """Return the time until swings have died down to a tolerance at every corner [s]; inf where they never do.

    Args:
        amplitudes: For each corner and mode [m], shape (corners, modes).
        rates: At which each mode dies down [1/s], shape (modes,).
        tolerance: [m].
        lasting: What is left however long it takes, for each corner [m], shape (corners,).
    """

    def left(time: float) -> float:
        return float(((amplitudes * np.exp(-rates * time)).sum(axis=1) + lasting).max())

    if left(0.0) <= tolerance:
        return 0.0
    if not left(LONGEST) <= tolerance:
        return math.inf
    low, high = 0.0, LONGEST
    for _ in range(HALVINGS):
        middle = (low + high) / 2.0
        low, high = (low, middle) if left(middle) <= tolerance else (middle, high)
    return high


def _details(case: Case, placing: _Placing, allowed: float) -> dict[str, Any]:
    t = float(case.job.trajectory.t[placing.sample])
    settling = _time_to(placing.at_stop, placing.rates, allowed) if placing.stop is not None else None
    return {
        "amplitude": placing.amplitude,
        "amplitude_high": _finite(placing.high),
        "tolerance": case.job.nest.tolerance if case.job.nest else None,
        "last_stop": placing.stop,
        "settling_time": None if settling is None else _finite(settling),
        "time_available": None if placing.stop is None else t - placing.stop,
        "settles": settling is not None and math.isfinite(settling),
    }


def _lines(details: dict[str, Any]) -> tuple[str, ...]:
    lines = [
        f"when it is placed the part swings by {1e3 * details['amplitude']:.3f} mm to either side at its farthest "
        f"corner, allowed {1e3 * details['tolerance']:.3f} mm"
    ]
    if details["last_stop"] is None:
        lines.append("the tool does not come to rest before the placing")
    elif details["settles"]:
        lines.append(
            f"from the last stop at {details['last_stop']:.3f} s the swing dies down to the tolerance in "
            f"{1e3 * details['settling_time']:.0f} ms; {1e3 * details['time_available']:.0f} ms are left until then"
        )
    else:
        lines.append(
            f"after the last stop at {details['last_stop']:.3f} s the swing never dies down to the tolerance: the pads "
            "are taken as undamped"
        )
    return tuple(lines)


def _finding(case: Case, placing: _Placing, tolerance: float, target: float) -> Finding:
    t = case.job.trajectory.t
    allowed = tolerance / target
    fails = _over(tolerance, placing.low) < target
    place = case.place(placing.sample)
    move = words.in_move(place.move).removeprefix(" in ")
    start = float(t[placing.sample]) if placing.stop is None else placing.stop
    return Finding(
        check="settle",
        verdict=Verdict.FAIL if fails else Verdict.UNDECIDED,
        start=start,
        end=place.t,
        spans=((start, place.t),),
        worst={
            "t": place.t,
            "sample": place.sample,
            "move": place.move,
            "amplitude": placing.amplitude,
            "tolerance": tolerance,
        },
        because={"cause": "the part still swings on its backing after the last motion"},
        remedies=(_remedy(case, placing, allowed),),
        text=f"{f'{move}, ' if move else ''}{place.t:.3f} s: the part still swings by {1e3 * placing.amplitude:.3f} mm "
        f"when it is placed, allowed {1e3 * allowed:.3f} mm",
    )


def _remedy(case: Case, placing: _Placing, allowed: float) -> Remedy:
    """How long to wait before the part is set down, or why that does not help."""
    if not math.isfinite(placing.high):
        return Remedy(action="better data", text=case.motion.better_data(int(case.motion.doubtful[0])))
    own = placing.own.sum(axis=1) + placing.high - placing.amplitude
    if placing.stop is None or float(own.max()) > allowed:
        text = (
            f"the last move alone leaves a swing of up to {1e3 * float(own.max()):.3f} mm: run it slower, or with "
            "bounded jerk"
        )
        return Remedy(action="slow", text=text, figures={"move": case.place(placing.sample).move, "factor": None})
    needed = _time_to(placing.at_stop, placing.rates, allowed, own)
    if not math.isfinite(needed):
        text = (
            "measure how the pads damp a swing and give damping_ratio, for undamped no wait is long enough; or bound "
            "the jerk of the moves before"
        )
        return Remedy(action="better data", text=text)
    spent = float(case.job.trajectory.t[placing.sample]) - placing.stop
    wait = max(math.ceil(1e3 * (needed - spent)), 1)
    text = f"wait {wait} ms longer at the last stop before the part is set down"
    return Remedy(action="wait", text=text, figures={"wait": wait / 1e3})


def _asked(job: Job) -> float | None:
    return None if job.nest is None or job.nest.tolerance is None else job.targets.settle


SETTLE = Check(
    name="settle",
    question="Has the part stopped swinging when it is placed?",
    judged=(Judged(name="settle", target=_asked),),
    run=check_settle,
    result_words=lambda *_: ("", ()),
    finding_words=lambda *_: ("", ()),
)
