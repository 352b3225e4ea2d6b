"""How far the pads are used by a stop that begins at each carried sample, its swing included."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from gripmargin.arrays import FloatArray
from gripmargin.checks.use import COVERAGE, SURE, Use, crests, rate_errors
from gripmargin.kernels.stopping import peak_with_swing
from gripmargin.loads import part_load, standing_load
from gripmargin.motion.consistency import RESOLVED, interpolated
from gripmargin.motion.program import EIGHTHS, RateError
from gripmargin.motion.tool_motion import ToolMotion
from gripmargin.motion.trajectory import JointTrajectory
from gripmargin.stops import CLOSE, Instant, Stopping, per_time_deceleration

SPEEDS_COUNT = 3.0  # how often an error of a speed counts in a braking load: once as such, twice by its swing


@dataclass(frozen=True, eq=False)
class _Pads:
    """The pads with the errors of the rates at every sample of the program, in utilisation."""

    maps: FloatArray
    gain: FloatArray
    noise: FloatArray
    bias: FloatArray


@dataclass(frozen=True, eq=False)
class _Worst:
    """The largest utilisation over the instants of stops, and what goes with it; each of shape (m,).

    Attributes:
        alone: Without any swing.
        value: With the swing by the last change of load.
        most: With the swings by all changes.
        point: Where the first is largest.
        noise: One sigma of its error.
        bias: Bound of its systematic error.
        last: Last sample of the program that the stops come near.
    """

    alone: FloatArray
    value: FloatArray
    most: FloatArray
    point: NDArray[np.intp]
    noise: FloatArray
    bias: FloatArray
    last: NDArray[np.intp]

    @classmethod
    def over(cls, pads: _Pads, samples: NDArray[np.intp], instants: Iterable[Instant]) -> _Worst:
        """Go through the instants of stops that begin at some samples."""
        m = samples.size
        alone, value, most, point = np.zeros(m), np.zeros(m), np.zeros(m), np.zeros(m, dtype=np.intp)
        noise, bias, last = np.zeros(m), np.zeros(m), samples.copy()
        for instant in instants:
            found = peak_with_swing(pads.maps, pads.gain, instant.load, instant.swing, instant.further)
            still, u, at, all_of_it = found
            point = np.where(~(u <= value), at, point)
            alone, value, most = np.maximum(alone, still), np.maximum(value, u), np.maximum(most, all_of_it)
            noise, bias = np.maximum(noise, pads.noise[instant.near]), np.maximum(bias, pads.bias[instant.near])
            last = np.maximum(last, instant.near)
        return cls(alone, value, most, point, noise, bias, last)


def stop_use(stopping: Stopping, samples: NDArray[np.intp], *, kind: str) -> Use:
    """Return how far stops of one kind use the pads.

    Args:
        stopping: The stops.
        samples: Where they begin, indices into the program, rising, shape (m,).
        kind: "path" or "axes".
    """
    case = stopping.case
    maps, owner = case.backing.edge_maps(case.strengths)
    noise, bias = _errors(stopping, maps, kind)
    pads = _Pads(maps, stopping.gain(maps), noise, bias)
    if kind == "path":
        worst = _Worst.over(pads, samples, stopping.along_path(samples, stopping.rates.hard[samples]))
        least = worst.alone
        mild = stopping.rates.mild[samples]
        if not np.array_equal(mild, stopping.rates.hard[samples]):
            least = np.minimum(least, _Worst.over(pads, samples, stopping.along_path(samples, mild)).alone)
    else:
        worst = _by_axes(stopping, pads, samples)
        least = worst.alone
    sure = NormalDist().inv_cdf(1.0 - (1.0 - SURE) / max(samples.size, 1))
    low = np.maximum(least - sure * worst.noise - worst.bias, 0.0)
    high = worst.most + COVERAGE * worst.noise + worst.bias
    if case.motion.error is None:
        high = np.maximum(high, crests(case.job.trajectory.t[samples], samples, worst.most))
        high = np.maximum(high, _between(stopping, pads, samples, kind))
    doubts = np.concatenate([[0], np.cumsum(np.isin(np.arange(case.load.shape[1]), case.motion.doubtful))])
    high[(doubts[worst.last + 1] > doubts[samples]) | ~np.isfinite(worst.most)] = np.inf
    return Use(samples=samples, value=worst.value, low=low, high=high, point=worst.point, maps=maps, owner=owner)


def _by_axes(stopping: Stopping, pads: _Pads, samples: NDArray[np.intp]) -> _Worst:
    """Every axis on its own; what happens after the brakes have closed is worked out at samples `CLOSE` to each other.

    The samples between take it from their neighbours.
    """
    case = stopping.case
    q, qd = _joints(stopping)
    start = stopping.by_axes(samples, q[samples], qd[samples], stopping.before[:, samples], later=False)
    first = _Worst.over(pads, samples, start)
    step = float(np.median(np.diff(case.job.trajectory.t)))
    stride = max(1, int(CLOSE / step + 1e-6))
    kept = np.unique(np.concatenate([np.arange(0, samples.size, stride), [samples.size - 1]]))
    chosen = samples[kept]
    later = stopping.by_axes(chosen, q[chosen], qd[chosen], stopping.before[:, chosen])
    found = _Worst.over(pads, chosen, later)
    if stride == 1:
        return found
    after = np.searchsorted(kept, np.arange(samples.size))
    ends = np.stack([np.maximum(after - 1, 0), after])
    ends[0] = np.where(kept[after] == np.arange(samples.size), after, ends[0])
    side = np.take_along_axis(ends, found.value[ends].argmax(axis=0)[None], axis=0)[0]
    later_value, later_most = found.value[ends].max(axis=0), found.most[ends].max(axis=0)
    later_alone = found.alone[ends].max(axis=0)
    return replace(
        first,
        alone=np.maximum(first.alone, later_alone),
        value=np.maximum(first.value, later_value),
        most=np.maximum(first.most, later_most),
        point=np.where(later_value > first.value, found.point[side], first.point),
    )


def _joints(stopping: Stopping) -> tuple[FloatArray, FloatArray]:
    trajectory, rates = stopping.case.job.trajectory, stopping.case.motion.joint_rates
    assert isinstance(trajectory, JointTrajectory) and rates is not None  # noqa: S101, PT018 - the caller has looked
    return trajectory.q, stopping.slower * rates[0]


def _errors(stopping: Stopping, maps: FloatArray, kind: str) -> tuple[FloatArray, FloatArray]:
    """What errors of estimated rates can add: one sigma of noise and a bound of the bias, at all samples."""
    case = stopping.case
    error, speeds = case.motion.error, case.motion.speed_error
    n = case.load.shape[1]
    if error is None or speeds is None:
        return np.zeros(n), np.zeros(n)
    square = stopping.slower**2
    if kind == "path":
        counts = (
            np.minimum(SPEEDS_COUNT * stopping.rates.hard, float(stopping.modes[0].max()))[:, None] * stopping.slower
        )
    else:
        counts = np.zeros((n, 1))  # axes brake at their own rates, whatever their speed
    both = RateError(
        sigma=np.hypot(square * error.sigma, counts * speeds[0]),
        bias=square * error.bias + counts * speeds[1],
        directions=error.directions,
    )
    motion = replace(case.motion, error=both)
    first, last = int(case.carried[0]), int(case.carried[-1])
    stretch = np.arange(first, last + 1)
    noise, bias = np.zeros(n), np.zeros(n)
    noise[stretch], bias[stretch] = rate_errors(replace(case, motion=motion), maps, stretch)
    return noise, bias


def _between(stopping: Stopping, pads: _Pads, samples: NDArray[np.intp], kind: str) -> FloatArray:
    """The utilisation by stops that begin between neighbouring samples, credited to both, shape (m,)."""
    case, motion = stopping.case, stopping.case.motion
    out = np.zeros(samples.size)
    first = np.flatnonzero(np.diff(samples) == 1)
    if motion.between_peak is None or first.size == 0:
        return out
    intervals = samples[first]
    wide = np.diff(case.job.trajectory.t)[intervals] > RESOLVED
    starts: list[tuple[ToolMotion, NDArray[np.intp], float | None]] = [(motion.between_peak, first, None)]
    starts += [(tool, first[wide], share) for tool, share in zip(motion.sparse, EIGHTHS, strict=False)]
    for tool, where, share in starts:
        at = samples[where]
        tool_there = ToolMotion(tool.t[at], tool.state[:, :, at])
        begin = _path_start if kind == "path" else _axes_start
        use = begin(stopping, pads, tool_there, at, share)
        for end in (where, where + 1):
            np.maximum.at(out, end, use)
    return out


def _path_start(
    stopping: Stopping, pads: _Pads, tool: ToolMotion, at: NDArray[np.intp], share: float | None
) -> FloatArray:
    job = stopping.case.job
    standing = standing_load(job.part, tool, job.gravity)
    moving = stopping.slower**2 * (part_load(job.part, tool, job.gravity) - standing)
    braking = stopping.slower * per_time_deceleration(stopping.case, tool)
    hard = stopping.rates.hard
    rate = 2.0 / (1.0 / hard[at] + 1.0 / hard[at + 1])
    return peak_with_swing(pads.maps, pads.gain, *stopping.path_start(standing, moving, braking, rate))[3]


def _axes_start(
    stopping: Stopping, pads: _Pads, tool: ToolMotion, at: NDArray[np.intp], share: float | None
) -> FloatArray:
    case, trajectory = stopping.case, stopping.case.job.trajectory
    standing = standing_load(case.job.part, tool, case.job.gravity)
    before = standing + stopping.slower**2 * (part_load(case.job.part, tool, case.job.gravity) - standing)
    assert isinstance(trajectory, JointTrajectory)  # noqa: S101 - the caller has looked
    q: FloatArray
    qd: FloatArray
    if share is None:
        positions, speeds = _joints(stopping)
        q, qd = 0.5 * (positions[at] + positions[at + 1]), 0.5 * (speeds[at] + speeds[at + 1])
    else:
        inside = interpolated(trajectory, share)
        q, qd = inside[0][at], stopping.slower * inside[1][at]
    worst = _Worst.over(pads, at, stopping.by_axes(at, q, qd, before, later=share is not None))
    return worst.most


def instants(stopping: Stopping, samples: NDArray[np.intp], kind: str) -> Iterable[Instant]:
    """Return the instants of the stops of one kind that begin at some samples.

    Args:
        stopping: The stops.
        samples: Indices into the program, shape (m,).
        kind: "path" or "axes".
    """
    if kind == "path":
        return stopping.along_path(samples, stopping.rates.hard[samples])
    q, qd = _joints(stopping)
    return stopping.by_axes(samples, q[samples], qd[samples], stopping.before[:, samples])
