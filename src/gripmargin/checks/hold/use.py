"""How far the pads are used at every carried sample, with what errors of the rates and gaps between samples add."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.use import Asked, Use
from gripmargin.contact.grip import Grip, without
from gripmargin.contact.loads import part_load
from gripmargin.kernels.face import Face
from gripmargin.kernels.utilisation import peak_utilisation, utilisation_error
from gripmargin.motion.tool_motion import ToolMotion
from gripmargin.motion.trajectory import RESOLVED

COVERAGE = 2.0  # standard deviations kept clear of a target: about 95 % (JCGM 100:2008, 6.2)
SURE = 0.975  # probability with which no noise anywhere in the program explains a failure
HIDDEN = 1e-3  # share by which a load between two samples must exceed theirs to count
Peaks = tuple[FloatArray, NDArray[np.intp], FloatArray, NDArray[np.intp]]

CHUNK = 20_000  # samples whose errors are worked out at a time


def pad_use(case: Case) -> tuple[Use, Use]:
    """Return how far the pads are used: by the whole traction, and by tension alone (the peel index)."""
    return _use(case, case.grip)


def use_without(case: Case, lost: int) -> Use:
    """Return how far the other pads are used with one gone.

    Args:
        case: The job; it has two pads or more.
        lost: Index of the pad that is gone.
    """
    return _use(case, without(case.grip, lost, case.load[:, case.carried]))[0]


def uses_without(case: Case) -> tuple[Use, ...]:
    """Return the uses with each of several pads gone; none where there is only one."""
    pads = range(len(case.whole.patches))
    return tuple(use_without(case, lost) for lost in pads) if len(pads) > 1 else ()


def asked_of_the_pads(case: Case) -> Iterator[Asked]:
    """Yield what the targets of the carry ask of the pads, the part hanging still on them."""
    targets = case.job.targets
    whole, tension = case.shared(pad_use)
    yield Asked(name="hold", target=targets.hold, use=whole)
    if targets.peel is not None:
        yield Asked(name="peel", target=targets.peel, use=tension)
    if targets.one_pad_lost is not None:
        lost = case.shared(uses_without)
        unbounded = np.full(whole.samples.size, np.inf)
        nothing_left = replace(whole, value=unbounded, low=unbounded, high=unbounded)
        yield Asked(
            name="one_pad_lost",
            target=targets.one_pad_lost,
            use=max(lost, key=lambda use: use.most) if lost else nothing_left,
        )


def _use(case: Case, grip: Grip) -> tuple[Use, Use]:
    samples, face = case.carried, grip.face
    load = case.load[:, samples]
    u, at_u, peel, at_peel = peak_utilisation(face, load)
    noise, bias = rate_errors(case, face, samples)
    # With many samples some noise is large somewhere: a failure must stand out from all of it.
    sure = NormalDist().inv_cdf(1.0 - (1.0 - SURE) / max(samples.size, 1))
    unknown = np.isin(samples, case.motion.doubtful)
    inside = _inside(case, face, samples)
    out = []
    for value, point, row in ((u, at_u, 0), (peel, at_peel, 2)):
        low = np.maximum(value - sure * noise - bias, 0.0)
        high = value + COVERAGE * noise + bias
        between = _between(case, inside, samples, value, row)
        low, high = np.maximum(low, between[0]), np.maximum(high, between[1])
        if case.motion.error is None:
            high = np.maximum(high, crests(case.job.trajectory.t[samples], samples, value))
        high[unknown | ~np.isfinite(value)] = np.inf
        out.append(Use(samples=samples, value=value, low=low, high=high, point=point, grip=grip))
    return out[0], out[1]


def rate_errors(case: Case, face: Face, samples: NDArray[np.intp]) -> tuple[FloatArray, FloatArray]:
    """Return what errors of the rates can add to the utilisation: one sigma of noise, and a bound of the bias."""
    noise, bias = np.zeros(samples.size), np.zeros(samples.size)
    if case.motion.error is None:
        return noise, bias
    for first in range(0, samples.size, CHUNK):
        part = slice(first, first + CHUNK)
        noise[part], bias[part] = utilisation_error(face, *case.load_errors(samples[part]))
    return noise, bias


@dataclass(frozen=True, eq=False)
class _Inside:
    """What the loads between neighbouring samples ask of the pads, as `peak_utilisation` returns it.

    Attributes:
        first: The earlier sample of each interval, an index into the carried samples.
        mean: With the mean acceleration of the interval.
        peak: With the highest one that a rise and a fall in straight lines have.
        wide: Which intervals are too wide to follow the acceleration.
        sparse: Inside those, on a polynomial through both samples and their rates.
    """

    first: NDArray[np.intp]
    mean: Peaks
    peak: Peaks
    wide: NDArray[np.bool_]
    sparse: list[Peaks]


def _inside(case: Case, face: Face, samples: NDArray[np.intp]) -> _Inside | None:
    motion = case.motion
    first = np.flatnonzero(np.diff(samples) == 1)
    if motion.between_mean is None or motion.between_peak is None or first.size == 0:
        return None
    intervals = samples[first]
    wide = np.diff(case.job.trajectory.t)[intervals] > RESOLVED

    def ask(tool: ToolMotion, where: NDArray[np.intp]) -> Peaks:
        return peak_utilisation(face, part_load(case.job.part, tool, case.job.gravity, case.job.air_density)[:, where])

    return _Inside(
        first=first,
        mean=ask(motion.between_mean, intervals),
        peak=ask(motion.between_peak, intervals),
        wide=wide,
        sparse=[ask(tool, intervals[wide]) for tool in motion.sparse],
    )


def _between(
    case: Case, inside: _Inside | None, samples: NDArray[np.intp], value: FloatArray, row: int
) -> Sequence[FloatArray]:
    """What the loads between samples show: a certain and a likely utilisation, zero where they show nothing.

    Between two samples the acceleration takes on its mean, which the speeds give. Where that mean asks more
    of the pads than both samples do, a peak lies between them; a rise and a fall in straight lines say how
    high. Samples too far apart to follow the acceleration are joined by a polynomial through both and their rates.
    """
    sure, likely = np.zeros(samples.size), np.zeros(samples.size)
    if inside is None or case.motion.certain is None:
        return sure, likely
    first, mean, peak = inside.first, inside.mean[row], inside.peak[row]
    ends = np.maximum(value[first], value[first + 1])
    hidden = ~(mean <= ends * (1 + HIDDEN) + 1e-12)
    worse = np.where(value[first + 1] > value[first], first + 1, first)[hidden]
    certain = case.motion.certain[samples[first]]
    np.maximum.at(sure, worse, np.where(certain, mean, 0.0)[hidden])
    np.maximum.at(likely, worse, np.maximum(mean, peak)[hidden])
    for found in inside.sparse:
        for end in (first, first + 1):
            np.maximum.at(likely, end[inside.wide], found[row])
    return sure, likely


def crests(t: FloatArray, samples: NDArray[np.intp], value: FloatArray) -> FloatArray:
    """The utilisation at the top of a parabola through each sample that exceeds both its neighbours.

    Zero at the other samples.

    Args:
        t: Times [s], shape (m,).
        samples: Indices into the program, shape (m,).
        value: Utilisation at the samples, shape (m,).
    """
    out = np.zeros(value.size)
    if value.size < 3:
        return out
    before, after = np.diff(t)[:-1], np.diff(t)[1:]
    rise, fall = np.diff(value)[:-1], -np.diff(value)[1:]
    top = (rise > 0) & (fall > 0) & (np.diff(samples)[:-1] == 1) & (np.diff(samples)[1:] == 1)
    up, down = rise[top] / before[top], fall[top] / after[top]
    span = before[top] + after[top]
    slope = (up * after[top] - down * before[top]) / span
    out[1:-1][top] = value[1:-1][top] + slope**2 * span / (4.0 * (up + down))
    return out
