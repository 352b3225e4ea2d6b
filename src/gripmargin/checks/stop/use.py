"""How far the pads are used by a stop that begins at each carried sample, its swing included."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, replace
from functools import cached_property, reduce
from statistics import NormalDist
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.hold.letting_go import settled
from gripmargin.checks.hold.use import SURE, above_between
from gripmargin.checks.premises import STOPPING
from gripmargin.checks.resting import raised
from gripmargin.checks.stop.braking import TURNING, PathRates
from gripmargin.checks.stop.course import Course, Indices
from gripmargin.checks.stop.follow import followed
from gripmargin.checks.stop.ways import AlongPath, OffPath, Stops
from gripmargin.checks.swing.pushed import DISPLACED, used_by_forces
from gripmargin.checks.swing.ringing import keep_swing, mode_sets, other_stretches, stretches_of
from gripmargin.checks.swing.use import swing_use
from gripmargin.checks.swing.vibration import Modes
from gripmargin.checks.use import Asked, Use
from gripmargin.kernels.march import Peak
from gripmargin.kernels.search import largest_over
from gripmargin.kernels.utilisation import largest_utilisation, peak_utilisation
from gripmargin.motion.trajectory import JointTrajectory
from gripmargin.workcell import Stop, StopFigure
from gripmargin.workcell.job import Job

PATH: Final = "path"
AXES: Final = "axes"
LEAST: Final = 1e-3  # share of a published way that is left for braking at least
CLOSE: Final = 0.004  # [s] of stops that begin closer to each other some are followed


@dataclass(frozen=True, eq=False, kw_only=True)
class Stopping:
    """The stops of a job.

    Attributes:
        case: The job.
        stop: How its robot stops.
        slower: Factor on the speed of the program.
        softer: Factor on all stopping times.
        swinging: Whether the part swings while the program runs; else it hangs still when a stop begins.
    """

    case: Case
    stop: Stop
    slower: float = 1.0
    softer: float = 1.0
    swinging: bool = True

    @property
    def kinds(self) -> tuple[str, ...]:
        """Those that can be judged of the kinds of stop that the job asks for: "path", "axes"."""
        kinds = (PATH,) if self.stop.on_path and self.stop.category != 0 else ()
        known = self.case.job.robot is not None and self.case.motion.joint_rates is not None
        return (*kinds, AXES) if self.asks_for_axes and known else kinds

    @property
    def asks_for_axes(self) -> bool:
        """Whether stops in which every axis brakes on its own are to be judged."""
        return self.stop.axis_deceleration is not None and self.stop.category in (None, 0)

    @cached_property
    def modes(self) -> Modes:
        """Natural vibrations of the part on the softest that the pads can be."""
        return self.case.shared(mode_sets)[-1]

    @cached_property
    def rates(self) -> PathRates:
        """Time decelerations of stops along the path, from when the robot is told to stop."""
        return self._rates(self.stop)

    def _rates(self, stop: Stop) -> PathRates:
        stiffest = float(self.modes.frequency.max())
        return PathRates.of(self.case, stop, self.slower, self.softer, stiffest=stiffest)

    @cached_property
    def turns(self) -> NDArray[np.bool_]:
        """At which samples the tool turns so that a deceleration along the path may mean more than one thing."""
        if self.stop.deceleration is None:
            return np.zeros(self.case.load.shape[1], dtype=np.bool_)
        return np.asarray(self.rates.mild < (1.0 - TURNING) * self.rates.hard)

    @cached_property
    def courses(self) -> tuple[tuple[Modes, Course], ...]:
        """The program with the vibrations that the part may have, the main ones first.

        Where it swings more at a stiffness in between, that is followed too, and comes last.
        """
        case, (*others, main) = self.case, self.case.shared(mode_sets)
        swings = (
            [case.shared(stretches_of), *case.shared(other_stretches)] if self.swinging else [()] * (1 + len(others))
        )
        if self.swinging and others and (built_up := case.shared(swing_use).built_up) and built_up.swing:
            others, swings = [*others, built_up.swing[0].modes], [*swings, built_up.swing]
        return tuple(
            (modes, Course.of(case, modes, self.slower, stretches if self.swinging else ()))
            for modes, stretches in zip((main, *others), swings, strict=True)
        )

    def other(self, *, slower: float, softer: float) -> Stopping:
        """Return the stops of the program at another speed, or in other times."""
        out = replace(self, slower=slower, softer=softer)
        if slower == self.slower:
            vars(out)["courses"] = self.courses  # as `cached_property` keeps it
        return out

    def begun(self, kind: str, course: Course, t: FloatArray, gap: FloatArray) -> list[Stops]:
        """Return stops that begin at some times, once for each thing that the figures of the job may mean."""
        if kind == AXES:
            return [self._off_path(course, t, gap)]
        late = self.stop.reaction
        readings = [(0.0, self.rates), *([(late, self._rates(self._braking_alone))] if late else [])]
        return [
            AlongPath(course=course, t=t + after, gap=gap, lasts=1.0 / rate, ramp=self.stop.ramp)
            for after, rates in readings
            for rate in ((rates.hard, rates.mild) if self.turns.any() else (rates.hard,))
        ]

    @property
    def _braking_alone(self) -> Stop:
        """The stops without the reaction time, which is part of the published times and ways."""
        stop, limits = self.stop, self.case.job.joint_limits
        full = None if limits is None else limits.speed

        def left(figure: StopFigure) -> float | None:
            if figure.distance is None or full is None or figure.axis is None:
                return figure.distance
            way = figure.speed * float(full[figure.axis - 1]) * stop.reaction
            return max(figure.distance - way, LEAST * figure.distance)

        measured = tuple(replace(f, time=f.time - stop.reaction, distance=left(f)) for f in stop.measured)
        return replace(
            stop, time=None if stop.time is None else stop.time - stop.reaction, measured=measured, reaction=0.0
        )

    def _off_path(self, course: Course, t: FloatArray, gap: FloatArray) -> OffPath:
        job, rates, stop = self.case.job, self.case.motion.joint_rates, self.stop
        trajectory = job.trajectory
        if not isinstance(trajectory, JointTrajectory) or job.robot is None or rates is None:
            raise TypeError("stops off the path need joints")
        joints = np.stack([trajectory.q, self.slower * rates[0]])
        braking = np.asarray(stop.axis_deceleration) / self.softer
        return OffPath(
            course=course, t=t, gap=gap, job=job, robot=job.robot, rates=braking, ramp=stop.ramp, joints=joints
        )


@dataclass(frozen=True, eq=False, kw_only=True)
class StopUse:
    """The stops of a job, and how far they use the pads.

    Attributes:
        stopping: The stops.
        by_kind: How far the stops of each kind use the pads.
        loads: What the pads carry then, by kind, shape (6, m) each.
    """

    stopping: Stopping
    by_kind: Mapping[str, Use]
    loads: Mapping[str, FloatArray]

    @cached_property
    def whole(self) -> Use:
        """The worse of the kinds at every sample."""
        return reduce(Use.worse, self.by_kind.values())

    @property
    def load(self) -> FloatArray:
        """What the pads carry in the worse of the kinds of stop that begin at each sample, shape (6, m)."""
        worst = np.argmax([use.value for use in self.by_kind.values()], axis=0)
        return np.stack(list(self.loads.values()))[worst, :, np.arange(worst.size)].T

    @property
    def axes_unknown(self) -> bool:
        """Whether stops off the path are asked for and the program tells no joints."""
        return self.stopping.asks_for_axes and AXES not in self.by_kind


def use_of_stops(case: Case) -> StopUse | None:
    """Return how far the stops of a job use the pads; None where it has none that can be judged."""
    if case.job.stop is None:
        return None
    stopping = Stopping(case=case, stop=case.job.stop)
    found = {kind: _used(stopping, kind, case.carried, quick=case.trial) for kind in stopping.kinds}
    by_kind, loads = {kind: use for kind, (use, _) in found.items()}, {kind: load for kind, (_, load) in found.items()}
    return StopUse(stopping=stopping, by_kind=by_kind, loads=loads) if found else None


def keep_stops(case: Case, changed: Case) -> None:
    """Hand the swing of a case to a changed one in which it is the same; and the stops, where pads hold more alone.

    All of a use is of first degree in what the places hold: with the same motion, loads, modes and stops it is that of
    the case times one factor, bounds and all.

    Args:
        case: The job.
        changed: The job with a change.
    """
    if not keep_swing(case, changed) or not _stops_alike(case.job, changed.job):
        return
    stops, factor = case.shared(use_of_stops), changed.grip.face.times(case.grip.face)
    if stops is None or factor is None or not factor <= 1.0:
        return
    by_kind = {
        kind: replace(
            use, grip=changed.grip, **{name: factor * getattr(use, name) for name in ("value", "low", "high")}
        )
        for kind, use in stops.by_kind.items()
    }
    changed.keep(use_of_stops, replace(stops, stopping=replace(stops.stopping, case=changed), by_kind=by_kind))


def _stops_alike(job: Job, changed: Job) -> bool:
    """Whether nothing tells two jobs of one hold apart but their pads and targets."""
    names = (each.name for each in fields(job) if each.name not in ("gripper", "targets"))
    pairs = ((getattr(job, name), getattr(changed, name)) for name in names)
    return all(x is y or (isinstance(x, Mapping) and not x and not y) for x, y in pairs)


def asked_of_the_pads(case: Case) -> Iterator[Asked]:
    """Yield what the stops of a job ask of the pads, the swing of the part included."""
    stops = case.shared(use_of_stops)
    if stops is not None:
        yield Asked(name="stop", target=case.job.targets.stop, use=stops.whole)


def stop_use(stopping: Stopping, kind: str, samples: Indices, *, quick: bool = False) -> Use:
    """Return how far stops of one kind use the pads.

    Args:
        stopping: The stops.
        kind: "path" or "axes".
        samples: Where they begin, indices into the program, rising, shape (m,).
        quick: Whether nothing else counts than whether all are on target.
    """
    return _used(stopping, kind, samples, quick=quick)[0]


def _used(stopping: Stopping, kind: str, samples: Indices, *, quick: bool) -> tuple[Use, FloatArray]:
    """How far stops of one kind use the pads, and what these carry then, shape (6, m)."""
    ((use, load), *others) = (_on(stopping, kind, samples, quick, *side) for side in stopping.courses)
    high = use.high
    case, known = stopping.case, len(stopping.case.shared(mode_sets)) - 1
    for k, (other, _) in enumerate(others):
        apart = abs(float(use.value.max() - other.value.max())) if k < known else 0.0
        high = np.maximum(high, other.high) + apart
    case, use = stopping.case, replace(use, high=high)
    return (use if quick else settled(case, use, load, case.job.targets.stop, apart=True)), load


def _on(
    stopping: Stopping, kind: str, samples: Indices, quick: bool, modes: Modes, course: Course
) -> tuple[Use, FloatArray]:
    """The use with one of the vibrations that the part may have, and what the pads carry then, shape (6, m)."""
    case, motion = stopping.case, stopping.case.motion
    stride = max(1, int(CLOSE / float(np.median(np.diff(course.t))) + 1e-6))
    run = np.diff(samples, prepend=-2) == 1
    chosen = np.flatnonzero((np.arange(samples.size) % stride == 0) | ~run | ~np.append(run[1:], False))
    kept = samples[chosen]
    # what lies between counts, but on the ground
    ground = np.concatenate([[-1], np.flatnonzero(~case.airborne), [case.airborne.size]])
    border = np.searchsorted(ground, kept)
    before = np.maximum(kept - stride, ground[border - 1] + 1)
    after = np.minimum(kept + stride, ground[border] - 1)
    t = course.t[kept]
    stops = stopping.begun(kind, course, t, np.stack([t - course.t[before], course.t[after] - t]))
    sure = NormalDist().inv_cdf(1.0 - (1.0 - SURE) / max(samples.size, 1))
    level = 1.0 / (case.job.targets.stop * raised(case, STOPPING))
    peak = reduce(_worse, [followed(some, sure, level, quick=quick) for some in stops])
    reached = np.max([x.reached for x in stops], axis=0)
    # of a sample between two that are followed the worse of both
    sides = np.searchsorted(chosen, np.arange(samples.size) + np.array([[1], [0]])) + np.array([[-1], [0]])
    within = sides[0] < sides[1]  # not followed itself: nothing is sure there
    low, high = np.where(within, 0.0, peak.least[sides[0]]), peak.most[sides].max(axis=0)
    reached, at = reached[sides].max(axis=0), np.where(peak.use[sides[1]] > peak.use[sides[0]], sides[1], sides[0])
    value, response = np.where(within, np.nextafter(peak.use[at], 0.0), peak.use[at]), peak.response[:, at]
    if case.pushes:
        low, response = _pushed(stopping, course, samples, (value, low), response)
        value = np.maximum(value, largest_utilisation(course.oscillators.face, response))
    displaced = DISPLACED * _displaced(stopping, modes, course, samples, response) * value
    high += displaced
    if motion.given:
        high += above_between(case, samples, largest_utilisation(case.grip.face, case.load[:, samples]))
    last = np.minimum(np.searchsorted(course.t, reached), course.t.size - 1)
    if case.pushes:  # what acts anywhere on the way to rest, as the pads feel it by itself: uses of two loads add up
        high += largest_over(used_by_forces(case, modes), samples, last)
    doubts = np.searchsorted(motion.doubtful, np.arange(course.t.size + 1))
    high[(doubts[last + 1] > doubts[samples]) | ~np.isfinite(high)] = np.inf
    use = Use(
        samples=samples,
        value=value,
        low=np.maximum(low - displaced, 0.0),
        high=high,
        point=peak_utilisation(course.oscillators.face, response)[1],
        grip=case.grip,
    )
    return use, course.carry @ response


def _pushed(
    stopping: Stopping, course: Course, samples: Indices, used: tuple[FloatArray, FloatArray], response: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """What is sure of the use, and the response, with forces of the process that act where stops begin."""
    (value, least), face, alone, case = used, course.oscillators.face, response, stopping.case
    most, low, response = value.copy(), least.copy(), response.copy()
    for more in case.added:
        _, k, there = np.intersect1d(samples, more.samples, assume_unique=True, return_indices=True)
        pushed = alone[:, k] + course.take @ more.wrench[:, there]
        use = largest_utilisation(face, pushed)
        worse = use > most[k]
        most[k[worse]], response[:, k[worse]] = use[worse], pushed[:, worse]
        low[k] = np.maximum(low[k], use - np.maximum(value[k] - least[k], 0.0))
    if stopping.swinging and stopping.slower == 1.0 and not case.trial:  # as the program swings where a stop begins
        carry = case.shared(swing_use).use
        acted = np.unique(np.concatenate([push.samples for push in case.pushes]))
        _, k, there = np.intersect1d(samples, acted, assume_unique=True, return_indices=True)
        own = np.searchsorted(carry.samples, acted[there])
        worse = carry.value[own] > most[k]
        response[:, k[worse]] = course.take @ case.shared(swing_use).load[:, acted[there[worse]]]
        low[k] = np.maximum(low[k], carry.low[own])
    return low, response


def _displaced(stopping: Stopping, modes: Modes, course: Course, samples: Indices, response: FloatArray) -> FloatArray:
    """What the model of small displacements leaves out, over the whole, shape (samples,).

    It is of the order of the angle by which the part turns on its pads, and of that by which the tool turns while the
    slowest mode turns by 1: when the stop begins, and for the swing that is left from faster times also then.
    """
    at, slowest = stopping.case.motion.at, float(course.oscillators.frequency.min())
    sway = np.linalg.norm((modes.shapes @ response[: modes.frequency.size])[3:], axis=0)
    spin = np.maximum(stopping.slower * np.linalg.norm(at.angular_velocity, axis=1), 1e-300) / slowest
    fading = float(course.oscillators.damping.min()) * slowest * course.t
    spun = np.exp(np.maximum.accumulate(np.log(spin) + fading) - fading)[samples]
    gain, begun = course.oscillators.gain[:, None], np.abs(course.vibration[:, samples])
    left = (gain * begun).sum(axis=0) / np.maximum((gain * np.abs(response)).sum(axis=0), 1e-300)
    return np.asarray(sway + spin[samples] + np.minimum(left, 1.0) * spun)


def _worse(one: Peak, other: Peak) -> Peak:
    """The worse of what a stop may be, where it is not known which; sure is what both reach."""
    return replace(one.then(other), least=np.minimum(one.least, other.least))
