"""How far the pads are used by a stop that begins at each carried sample, its swing included."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.hold.use import COVERAGE, SURE, crests, rate_errors
from gripmargin.checks.stop.instants import Instant, Ring
from gripmargin.checks.stop.stops import CLOSE, Stopping, per_time_deceleration
from gripmargin.checks.swing.ringing import Stretch, next_too
from gripmargin.checks.use import Use
from gripmargin.contact.loads import part_load, standing_load
from gripmargin.kernels.utilisation import traction_size
from gripmargin.motion.between import EIGHTHS, interpolated
from gripmargin.motion.tool_motion import ToolMotion
from gripmargin.motion.trajectory import RESOLVED, JointTrajectory

SPEEDS_COUNT = 3.0  # how often an error of a speed counts in a braking load: once as such, twice by its swing


@dataclass(frozen=True, eq=False)
class _Pads:
    """The pads with the errors of the rates at every sample of the program, in utilisation."""

    maps: FloatArray
    gain: FloatArray
    noise: FloatArray
    bias: FloatArray
    ring: Ring

    def at(self, samples: NDArray[np.intp]) -> _Pads:
        """Return the same with the swing at some samples of the program."""
        return replace(self, ring=self.ring.of(samples))


@dataclass(frozen=True, eq=False)
class _Worst:
    """The largest utilisation over the instants of stops, and what goes with it; each of shape (m,).

    Attributes:
        sure: Without the swing, as far as the part follows the load for certain.
        value: With the swing by the last change of load.
        most: With the swings by all changes.
        point: Where the first is largest.
        noise: One sigma of its error.
        bias: Bound of its systematic error.
        last: Last sample of the program that the stops come near.
    """

    sure: FloatArray
    value: FloatArray
    most: FloatArray
    point: NDArray[np.intp]
    noise: FloatArray
    bias: FloatArray
    last: NDArray[np.intp]

    @classmethod
    def over(cls, pads: _Pads, samples: NDArray[np.intp], instants: Iterable[Instant]) -> _Worst:
        """Go through the instants of stops that begin at some samples."""
        m, ring = samples.size, pads.at(samples).ring
        sure, value, most, point = np.zeros(m), np.zeros(m), np.zeros(m), np.zeros(m, dtype=np.intp)
        noise, bias, last = np.zeros(m), np.zeros(m), samples.copy()
        for instant in instants:
            _, u, at, all_of_it = instant.peak(pads.maps, pads.gain, ring)
            point = np.where(~(u <= value), at, point)
            sure = np.maximum(sure, instant.surely(pads.maps, pads.gain, ring))
            value, most = np.maximum(value, u), np.maximum(most, all_of_it)
            noise, bias = np.maximum(noise, pads.noise[instant.near]), np.maximum(bias, pads.bias[instant.near])
            last = np.maximum(last, instant.near)
        return cls(sure, value, most, point, noise, bias, last)


def stop_use(stopping: Stopping, samples: NDArray[np.intp], *, kind: str, stretches: Sequence[Stretch] = ()) -> Use:
    """Return how far stops of one kind use the pads.

    Args:
        stopping: The stops.
        samples: Where they begin, indices into the program, rising, shape (m,).
        kind: "path" or "axes".
        stretches: The part's swing while the program runs; without any it hangs still when a stop begins.
    """
    case = stopping.case
    maps, owner = case.backing.edge_maps(case.strengths)
    noise, bias = _errors(stopping, maps, kind)
    pads = _Pads(maps, stopping.gain(maps), noise, bias, ring_of(stopping, maps, stretches))
    if kind == "path":
        worst = _Worst.over(pads, samples, stopping.along_path(samples, stopping.rates.hard[samples]))
        least = worst.sure
        mild = stopping.rates.mild[samples]
        if not np.array_equal(mild, stopping.rates.hard[samples]):
            least = np.minimum(least, _Worst.over(pads, samples, stopping.along_path(samples, mild)).sure)
    else:
        worst = _by_axes(stopping, pads, samples)
        least = worst.sure
    sure = NormalDist().inv_cdf(1.0 - (1.0 - SURE) / max(samples.size, 1))
    low = np.maximum(least - sure * worst.noise - worst.bias, 0.0)
    high = worst.most + COVERAGE * worst.noise + worst.bias
    if case.motion.error is None:
        top = crests(case.job.trajectory.t[samples], samples, worst.value) - worst.value
        high = np.maximum(high, worst.most + np.maximum(top, 0.0))
        high = np.maximum(high, _between(stopping, pads, samples, kind))
    doubts = np.concatenate([[0], np.cumsum(np.isin(np.arange(case.load.shape[1]), case.motion.doubtful))])
    high[(doubts[worst.last + 1] > doubts[samples]) | ~np.isfinite(worst.most)] = np.inf
    return Use(samples=samples, value=worst.value, low=low, high=high, point=worst.point, maps=maps, owner=owner)


def ring_of(stopping: Stopping, maps: FloatArray, stretches: Sequence[Stretch]) -> Ring:
    """Return the swing of the part at every sample of the program, up to the next.

    Args:
        stopping: The stops.
        maps: Load wrench to normalised traction, shape (3, points, 6).
        stretches: The part's swing while the program runs.
    """
    n, slower = stopping.case.load.shape[1], stopping.slower
    if not stretches:
        return Ring.none(maps.shape[1], n)
    modes = stretches[0].swing.modes
    amplitude = np.zeros((modes.frequency.size, n))
    for stretch in stretches:
        if slower != 1.0:
            drive = stretch.swing.drive
            pace = np.full(drive.t.size, slower**2)
            stretch = stretch.driven(drive.scaled(drive.t / slower, pace, stretch.still))  # noqa: PLW2901 - it is that
        found = stretch.swing
        size = next_too(found.about_rest + found.unsure + COVERAGE * found.sigma)
        firsts = np.flatnonzero(np.diff(stretch.owner, prepend=-1))
        amplitude[:, stretch.samples] = np.maximum.reduceat(size, firsts, axis=1)
    return Ring(
        gain=traction_size(maps, modes.loads),
        amplitude=amplitude,
        turning=modes.damped_frequency,
        fading=modes.frequency * modes.damping,
    )


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
    return replace(
        first,
        sure=found.sure[ends].min(axis=0),
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
    error, n = case.motion.error, case.load.shape[1]
    if error is None:
        return np.zeros(n), np.zeros(n)
    square = stopping.slower**2
    if kind == "path":
        counts = (
            np.minimum(SPEEDS_COUNT * stopping.rates.hard, float(stopping.modes.frequency.max()))[:, None]
            * stopping.slower
        )
    else:
        counts = np.zeros((n, 1))  # axes brake at their own rates, whatever their speed
    both = replace(
        error,
        sigma=np.hypot(square * error.sigma, counts * error.speed_sigma),
        bias=square * error.bias + counts * error.speed_bias,
    )
    motion = replace(case.motion, error=both)
    first, last = int(case.carried[0]), int(case.carried[-1])
    stretch = np.arange(first, last + 1)
    noise, bias = np.zeros(n), np.zeros(n)
    noise[stretch], bias[stretch] = rate_errors(replace(case, motion=motion), maps, stretch)
    return noise, bias


@dataclass(frozen=True, eq=False)
class _Inside:
    """Places between samples at which stops may begin.

    Attributes:
        tool: The motion there, m samples.
        where: The sample before, an index into the carried samples, shape (m,).
        q: Joint positions, shape (m, joints); empty for poses.
        qd: Joint speeds.
        sparse: Whether these samples are too far apart to follow the motion.
    """

    tool: ToolMotion
    where: NDArray[np.intp]
    q: FloatArray
    qd: FloatArray
    sparse: bool


def _inside(stopping: Stopping, samples: NDArray[np.intp]) -> list[_Inside]:
    """Halfway between neighbours with the highest acceleration there, and at the eighths of wide intervals."""
    case, motion, trajectory = stopping.case, stopping.case.motion, stopping.case.job.trajectory
    first = np.flatnonzero(np.diff(samples) == 1)
    if motion.between_peak is None or first.size == 0 or not isinstance(trajectory, JointTrajectory):
        return []
    q, qd = _joints(stopping)
    at = samples[first]
    halfway, speed = 0.5 * (q[at] + q[at + 1]), 0.5 * (qd[at] + qd[at + 1])
    found = [_Inside(motion.between_peak.take(at), first, halfway, speed, sparse=False)]
    wide = first[np.diff(case.job.trajectory.t)[at] > RESOLVED]
    if wide.size and motion.sparse:
        at = samples[wide]
        tools = [tool.take(at) for tool in motion.sparse]
        joints = [interpolated(trajectory, share)[:2] for share in EIGHTHS]
        tool = ToolMotion(np.concatenate([x.t for x in tools]), np.concatenate([x.state for x in tools], axis=2))
        places, speeds = (np.concatenate([x[k][at] for x in joints]) for k in (0, 1))
        found.append(_Inside(tool, np.tile(wide, len(tools)), places, stopping.slower * speeds, sparse=True))
    return found


def _between(stopping: Stopping, pads: _Pads, samples: NDArray[np.intp], kind: str) -> FloatArray:
    """The utilisation by stops that begin between neighbouring samples, credited to both, shape (m,)."""
    job, out = stopping.case.job, np.zeros(samples.size)
    for inside in _inside(stopping, samples):
        at = samples[inside.where]
        standing = standing_load(job.part, inside.tool, job.gravity)
        moving = stopping.slower**2 * (part_load(job.part, inside.tool, job.gravity, job.air_density) - standing)
        if kind == "path":
            hard = stopping.rates.hard
            braking = stopping.slower * per_time_deceleration(stopping.case, inside.tool)
            rate = 2.0 / (1.0 / hard[at] + 1.0 / hard[at + 1])
            start = stopping.path_start(standing, moving, braking, rate)
            ring = pads.at(at).ring
            use = start.peak(pads.maps, pads.gain, ring)[3]
            if inside.sparse:  # and the end of the stop at that place
                rest = replace(start, load=start.load - moving)
                use = np.maximum(use, rest.peak(pads.maps, pads.gain, ring)[3])
        else:
            stops = stopping.by_axes(at, inside.q, inside.qd, standing + moving, later=inside.sparse)
            use = _Worst.over(pads, at, stops).most
        for end in (inside.where, inside.where + 1):
            np.maximum.at(out, end, use)
    return out


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
