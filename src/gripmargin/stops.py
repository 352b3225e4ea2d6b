"""What the robot may do when it is told to stop, instant by instant, and the load of the part in each.

A stop along the path brakes the program's own time: with its speed factor s falling from 1 to 0 at a constant rate r
the joints run at ``qd s`` and accelerate by ``qdd s^2 - r qd``, so the load is ``C + B s^2 - r A``: gravity, what the
program's motion adds, and what a unit of time deceleration adds. All three are known at every sample of the program,
and the poses ahead are the program's own. A stop off the path lets every axis brake at its own rate.

Each instant comes with the swing of the part around its load, a bound for every mode (`gripmargin.kernels.stopping`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.arrays import FloatArray
from gripmargin.case import Case
from gripmargin.kernels.jacobian import tool_jacobian
from gripmargin.kernels.stopping import braked_axes, mass_matrix, modes, overshoot, pulse_area
from gripmargin.loads import load_per_acceleration, part_load
from gripmargin.motion.tool_motion import ToolMotion, joint_motion
from gripmargin.stop_rates import TURNING, PathRates
from gripmargin.workcell import Stop

Indices = NDArray[np.intp]

STEP: Final = 0.03  # [s] of the program's time between the places at which a stop along the path is looked at
PLACES: Final = (4, 24)  # fewest and most of them
CURVED: Final = 1.25  # what the curvature of the load adds between them to the corners of straight lines
CLOSE: Final = 0.004  # [s] starts closer than this share what happens after the brakes have closed


@dataclass(frozen=True, eq=False, kw_only=True)
class Instant:
    """One instant of the stops that begin at some samples.

    Attributes:
        kind: "path" or "axes".
        load: Quasi-static load then, shape (6, m).
        swing: Amplitude of each mode around it by the change of load that came last, shape (6, m).
        further: What earlier changes may add to it, shape (6, m).
        near: Program sample whose errors count, shape (m,).
        after: Time since the stop began [s], shape (m,).
        motion: The tool's motion then.
    """

    kind: str
    load: FloatArray
    swing: FloatArray
    further: FloatArray
    near: Indices
    after: FloatArray
    motion: Callable[[], ToolMotion]


@dataclass(frozen=True, eq=False, kw_only=True)
class _Pulse:
    """Swings by a pulse of deceleration along the path, each of shape (6, m).

    Attributes:
        rate: Deceleration of the program's time [1/s], shape (m,).
        long: For which modes the pulse is long.
        shapes: Of the modes, as columns.
        carried: The load that each mode carries.
        again: Overshoot of a step.
        impulse: By the impulse, of the modes for which the pulse is short.
        first: By its start.
        left: What is left of that at its end, at most.
        fade: By the program's own motion, which fades with it.
    """

    rate: FloatArray
    long: NDArray[np.bool_]
    shapes: FloatArray
    carried: FloatArray
    again: FloatArray
    impulse: FloatArray
    first: FloatArray
    left: FloatArray
    fade: FloatArray

    def static(self, braking: FloatArray) -> FloatArray:
        """Return what of a braking load the long modes follow, shape (6, m)."""
        if self.long.all():
            return np.asarray(self.rate * braking)
        return np.asarray(self.carried @ np.where(self.long, self.rate * (self.shapes.T @ braking), 0.0))

    def end(self, braking: FloatArray) -> FloatArray:
        """Return the swing by its end, where the braking load vanishes, shape (6, m)."""
        return self.impulse + np.where(self.long, self.again * self.rate * np.abs(self.shapes.T @ braking), 0.0)


@dataclass(frozen=True, eq=False)
class Stopping:
    """The stops of a job.

    Attributes:
        case: The job; it says how the robot stops.
        slower: Factor on the speed of the program.
        softer: Factor on all stopping times.
    """

    case: Case
    slower: float = 1.0
    softer: float = 1.0

    @property
    def stop(self) -> Stop:
        """How the robot stops."""
        assert self.case.job.stop is not None  # noqa: S101 - the caller has looked
        return self.case.job.stop

    @cached_property
    def damping(self) -> float:
        """Least damping ratio of the pads' backings; one that does not say has none."""
        return min(patch.pad.material.damping_ratio or 0.0 for patch in self.case.backing.patches)

    @cached_property
    def modes(self) -> tuple[FloatArray, FloatArray]:
        """Natural frequencies [rad/s] and shapes of the part on the pads; see `gripmargin.kernels.stopping.modes`."""
        part, backing = self.case.job.part, self.case.backing
        return modes(backing.stiffness, mass_matrix(part.mass, part.com, part.inertia))

    def gain(self, maps: FloatArray) -> FloatArray:
        """Return the normalised traction that a unit of each mode gives at each point, shape (points, 6)."""
        return np.asarray(np.linalg.norm(maps @ (self.case.backing.stiffness @ self.modes[1]), axis=0))

    @cached_property
    def parts(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Gravity C, what the motion adds B, what unit time deceleration adds A, at all samples, each (6, n)."""
        case = self.case
        moving = (case.load - case.standing) * self.slower**2
        return case.standing, moving, self.slower * per_time_deceleration(case, case.motion.at)

    @cached_property
    def before(self) -> FloatArray:
        """Load of the program as it runs, at all samples, shape (6, n)."""
        return self.parts[0] + self.parts[1]

    @cached_property
    def rates(self) -> PathRates:
        """Time decelerations of stops along the path."""
        return PathRates.of(self.case, self.slower, self.softer, stiffest=float(self.modes[0].max()))

    @cached_property
    def followed(self) -> FloatArray:
        """Speed factors at which stops along the path are looked at on their way, evenly over the program's time."""
        longest = float((0.5 * self.slower / self.rates.mild[self.case.airborne]).max(initial=0.0))
        places = int(np.clip(np.ceil(longest / STEP), *PLACES))
        return np.sqrt(1.0 - np.arange(1, places + 1) / places)

    @cached_property
    def turns(self) -> NDArray[np.bool_]:
        """At which samples the tool turns so that a deceleration along the path may mean more than one thing."""
        if self.stop.deceleration is None:
            return np.zeros(self.case.load.shape[1], dtype=bool)
        return np.asarray(self.rates.mild < (1.0 - TURNING) * self.rates.hard)

    def along_path(self, samples: Indices, rate: FloatArray) -> Iterator[Instant]:
        """Yield the instants of stops along the path.

        Args:
            samples: Where they begin, shape (m,).
            rate: Deceleration of the program's time [1/s], shape (m,).
        """
        gravity, moving, braking = self.parts
        c, b, a = (x[:, samples] for x in self.parts)
        t = self.case.job.trajectory.t
        pulse = self._pulse(b, a, rate)
        static, first, fade = pulse.static, pulse.first, pulse.fade
        for s in (1.0, 0.0):
            yield self._on_path(c + s * s * b - static(a), first, fade, samples, s, rate, 0.0 * rate)
        ahead = 0.5 * self.slower / rate
        if float(ahead.max(initial=0.0)) <= 0.5 * float(np.median(np.diff(t))):
            yield self._on_path(c, pulse.end(a), pulse.left + fade, samples, 0.0, 0.0 * rate, 1.0 / rate)
            return
        shapes, ringing = self.modes[1], self.modes[0][:, None] * np.sqrt(1.0 - self.damping**2)
        place, slope = shapes.T @ (c + b - static(a)), np.zeros((6, samples.size))
        corners, travel, last = np.zeros_like(slope), np.zeros_like(slope), 1.0
        for s in self.followed:
            tau = t[samples] + ahead * (1.0 - s * s)
            near, weight = _between(t, tau)
            far = np.minimum(near + 1, t.size - 1)
            c, b, a = ((1.0 - weight) * x[:, near] + weight * x[:, far] for x in (gravity, moving, braking))
            where = np.where(weight < 0.5, near, far)
            load = c + s * s * b - static(a)
            earlier, place = place, shapes.T @ load
            before, slope = slope, (place - earlier) * rate / (last - s)
            corners, travel, last = corners + np.abs(slope - before), travel + np.abs(place - earlier), s
            fade = np.minimum(travel, CURVED * (corners + np.abs(slope)) / ringing)
            yield self._on_path(load, first, fade, where, s, rate, (1.0 - s) / rate)
        yield self._on_path(c, pulse.end(a), pulse.left + fade, where, 0.0, 0.0 * rate, 1.0 / rate)

    def path_start(
        self, standing: FloatArray, moving: FloatArray, braking: FloatArray, rate: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return load, swing and further swing just after the start of stops along the path, each (6, m).

        Args:
            standing: What gravity gives of the load, shape (6, m).
            moving: What the program's motion adds, shape (6, m).
            braking: What a unit of time deceleration takes off, shape (6, m).
            rate: Deceleration of the program's time [1/s], shape (m,).
        """
        pulse = self._pulse(moving, braking, rate)
        return standing + moving - pulse.static(braking), pulse.first, pulse.fade

    def _pulse(self, moving: FloatArray, braking: FloatArray, rate: FloatArray) -> _Pulse:
        """Work out the swing by a pulse of deceleration that lasts 1/rate.

        A mode for which the pulse is long follows the load and swings around it; one for which it is short sees its
        impulse alone.
        """
        omega, shapes, ramp = self.modes[0][:, None], self.modes[1], self.stop.ramp
        damped = omega * np.sqrt(1.0 - self.damping**2)
        size = np.abs(shapes.T @ braking)
        long = 2.0 * rate <= omega
        impulse = np.where(long, 0.0, omega**2 / damped * size)
        ringing = np.minimum(omega / damped, 2.0 / np.maximum(damped * ramp, 2e-300))
        decay = np.exp(-self.damping * omega * np.maximum(1.0 / rate - ramp, 0.0))
        return _Pulse(
            rate=rate,
            long=long,
            shapes=shapes,
            carried=self.case.backing.stiffness @ shapes,
            again=overshoot(omega, self.damping, 0.0),
            impulse=impulse,
            first=np.where(long, overshoot(omega, self.damping, ramp) * rate * size, 0.0) + impulse,
            left=np.where(long, decay * ringing * rate * size, 0.0),
            fade=np.minimum(1.0, 4.0 * rate / damped) * np.abs(shapes.T @ moving),
        )

    def _on_path(
        self,
        load: FloatArray,
        swing: FloatArray,
        further: FloatArray,
        near: Indices,
        s: float,
        rate: FloatArray,
        after: FloatArray,
    ) -> Instant:
        def motion() -> ToolMotion:
            at = self.case.motion.at
            return retimed(ToolMotion(at.t[near], at.state[:, :, near]), s * self.slower, rate * self.slower)

        return Instant(kind="path", load=load, swing=swing, further=further, near=near, after=after, motion=motion)

    def by_axes(
        self, samples: Indices, q: FloatArray, qd: FloatArray, before: FloatArray, *, later: bool = True
    ) -> Iterator[Instant]:
        """Yield the instants of stops in which every axis brakes on its own.

        Args:
            samples: Program samples at or near which they begin, shape (m,).
            q: Joint positions there, shape (m, joints).
            qd: Joint speeds there, shape (m, joints).
            before: Load just before, shape (6, m).
            later: Whether to go on after the brakes have closed.
        """
        assert self.stop.axis_deceleration is not None  # noqa: S101 - the caller has looked
        rates = self.stop.axis_deceleration / self.softer
        omega, shapes = self.modes[0][:, None], self.modes[1]
        damped = omega * np.sqrt(1.0 - self.damping**2)
        stop = np.abs(qd) / rates
        long = omega * stop.T[:, None] >= 2.0  # for each axis and mode whether its braking is no mere impulse
        again = overshoot(omega, self.damping, 0.0)

        now, none = np.zeros(samples.size), np.zeros((6, samples.size))
        place = self._braked(samples, q, qd, rates, now)
        load, start = place.load(long), shapes.T @ (place.coasting - before) + place.pull(long)
        blows = omega**2 / damped * pulse_area(np.where(long, 0.0, place.pulls), stop.T)
        swing = blows + overshoot(omega, self.damping, self.stop.ramp) * np.abs(start)
        yield place.instant(load, swing, none, long)
        # until a later change comes, each rings with its whole size about the new load, and dies down from there
        ringing = omega / damped
        swing = blows + np.minimum(ringing, 2.0 / np.maximum(damped * self.stop.ramp, 2e-300)) * np.abs(start)
        for when in np.sort(stop, axis=1).T if later else ():
            if not (omega[-1] * when >= 2.0).any():
                continue
            passed, earlier = when - now, load
            place = self._braked(samples, q, qd, rates, when)
            braking = long & (stop >= when[:, None]).T[:, None]
            load = place.load(braking)
            drift = np.minimum(1.0, 4.0 / np.maximum(damped * passed, 4e-300))
            swing = swing * np.exp(-self.damping * omega * passed) + drift * np.abs(shapes.T @ (load - earlier))
            yield place.instant(load, none, swing, braking)
            ended = braking & (stop <= when[:, None]).T[:, None]
            load = place.load(braking & ~ended)
            last = again * np.abs(place.pull(ended))
            yield place.instant(load, last, swing, braking & ~ended)
            swing, now = swing + ringing * np.abs(place.pull(ended)), when

    def _braked(self, samples: Indices, q: FloatArray, qd: FloatArray, rates: FloatArray, after: FloatArray) -> _Braked:
        """Work out the arm some time after its brakes have closed."""
        case, robot = self.case, self.case.job.robot
        assert robot is not None  # noqa: S101 - the caller has looked
        place, speed, _ = braked_axes(q, qd, rates, after)
        t = case.motion.at.t[samples]
        coasting = joint_motion(robot, t, place, speed, np.zeros_like(place))
        columns = tool_jacobian(robot.links, robot.revolute, place)
        per_axis = (load_per_acceleration(case.job.part, case.job.air_density).T @ self.modes[1]).T
        slowing = -rates * np.sign(qd)
        return _Braked(
            samples=samples,
            after=after,
            coasting=part_load(case.job.part, coasting, case.job.gravity, case.job.air_density),
            pulls=(per_axis @ columns) * slowing.T[:, None],
            carried=case.backing.stiffness @ self.modes[1],
            motion=lambda braking: joint_motion(robot, t, place, speed, slowing * braking.any(axis=1).T),
        )


@dataclass(frozen=True, eq=False, kw_only=True)
class _Braked:
    """The arm some time after its brakes have closed.

    Attributes:
        samples: Where the stops began, shape (m,).
        after: Time since then [s], shape (m,).
        coasting: Load without any braking, shape (6, m).
        pulls: What each axis that brakes pulls at each mode, shape (joints, 6, m).
        carried: The load that each mode carries, shape (6, 6).
        motion: The tool's motion with some axes braking.
    """

    samples: Indices
    after: FloatArray
    coasting: FloatArray
    pulls: FloatArray
    carried: FloatArray
    motion: Callable[[NDArray[np.bool_]], ToolMotion]

    def pull(self, braking: NDArray[np.bool_]) -> FloatArray:
        """Return the pull at each mode by the axes that brake, for each axis and mode; shape (6, m)."""
        return np.asarray(np.where(braking, self.pulls, 0.0).sum(axis=0))

    def load(self, braking: NDArray[np.bool_]) -> FloatArray:
        """Return the load with some axes braking, shape (6, m)."""
        return np.asarray(self.coasting + self.carried @ self.pull(braking))

    def instant(self, load: FloatArray, swing: FloatArray, further: FloatArray, braking: NDArray[np.bool_]) -> Instant:
        """Return the instant in which some axes brake."""
        return Instant(
            kind="axes",
            load=load,
            swing=swing,
            further=further,
            near=self.samples,
            after=self.after,
            motion=lambda: self.motion(braking),
        )


def per_time_deceleration(case: Case, motion: ToolMotion) -> FloatArray:
    """Return what the load would gain if the program's time sped up by 1/s in a second, shape (6, n).

    The accelerations are then the speeds themselves: of the tool origin, and the angular ones.
    """
    speeds = np.concatenate([motion.velocity.T, motion.angular_velocity.T])
    return np.asarray(load_per_acceleration(case.job.part, case.job.air_density) @ speeds)


def retimed(motion: ToolMotion, speed: float | FloatArray, rate: float | FloatArray) -> ToolMotion:
    """Return the motion on the same path at a share of its speed while the program's time slows down.

    Args:
        motion: At full speed.
        speed: Speed factor s, broadcast against the samples.
        rate: Deceleration of the program's time over s [1/s].
    """
    from gripmargin.kernels.recursion import AL, A, V, W  # noqa: PLC0415

    state = motion.state.copy()
    state[:, A] = speed**2 * state[:, A] - rate * state[:, V]
    state[:, AL] = speed**2 * state[:, AL] - rate * state[:, W]
    state[:, V] *= speed
    state[:, W] *= speed
    return ToolMotion(motion.t, state)


def _between(t: FloatArray, tau: FloatArray) -> tuple[Indices, FloatArray]:
    """The sample before each time and the share of the interval that has passed; the last sample stands for later."""
    near = np.clip(np.searchsorted(t, tau, side="right") - 1, 0, t.size - 2)
    return near, np.clip((tau - t[near]) / (t[near + 1] - t[near]), 0.0, 1.0)
