"""What the robot may do when it is told to stop, instant by instant, and the load of the part in each.

A stop along the path brakes the program's own time: with its speed factor s falling from 1 to 0 at a constant rate r
the joints run at ``qd s`` and accelerate by ``qdd s^2 - r qd``, so the load is ``C + B s^2 - r A``: gravity, what the
program's motion adds, and what a unit of time deceleration adds. All three are known at every sample of the program,
and the poses ahead are the program's own. A stop off the path lets every axis brake at its own rate.

Each instant comes with the swing of the part around its load, a bound for every mode (`gripmargin.kernels.stopping`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.stop.braking import TURNING, Arm, PathRates
from gripmargin.checks.stop.instants import Braked, Indices, Instant, Means, averaged, drift
from gripmargin.checks.swing.vibration import Modes, modes_of
from gripmargin.contact.loads import load_per_acceleration, part_load
from gripmargin.kernels.face import Face
from gripmargin.kernels.jacobian import tool_jacobian
from gripmargin.kernels.stopping import braked_axes, mean_of_step, overshoot, pulse_area
from gripmargin.kernels.utilisation import traction_size
from gripmargin.motion.tool_motion import ToolMotion, joint_motion
from gripmargin.workcell import Stop

Steps = tuple[tuple[FloatArray, FloatArray], ...]

STEP: Final = 0.03  # [s] of the program's time between the places at which a stop along the path is looked at
PLACES: Final = (4, 80)  # fewest and most of them
CURVED: Final = 1.25  # what the curvature of the load adds between them to the corners of straight lines
SPANS: Final = 8  # parts of a period after the stop over which the load on the pads is averaged
FOREVER: Final = np.inf  # [s] for which the part rests after a stop
TURN: Final = 0.25  # [rad] by which the arm turns between places at which braking axes are looked at
MOST_TURNS: Final = 6  # of those places, from one axis that comes to rest to the next
CLOSE: Final = 0.004  # [s] starts closer than this share what happens after the brakes have closed


@dataclass(frozen=True, eq=False, kw_only=True)
class _Pulse:
    """Swings by a pulse of deceleration along the path, each of shape (k, m).

    Attributes:
        rate: Deceleration of the program's time [1/s], shape (m,).
        long: For which modes the pulse is long.
        shapes: Of the modes, as columns.
        carried: The load that each mode carries.
        again: Overshoot of a step.
        impulse: By the impulse, of the modes for which the pulse is short.
        first: By its start.
        lag: Half of what damping takes off that, with the sign of the change of load.
        ring: By its start, until it has died down, and by its impulse.
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
    lag: FloatArray
    ring: FloatArray
    left: FloatArray
    fade: FloatArray

    def static(self, braking: FloatArray) -> FloatArray:
        """Return what of a braking load is followed, by all but the modes for which it is short, shape (6, m)."""
        short = np.where(self.long, 0.0, self.rate * (self.shapes.T @ braking))
        return np.asarray(self.rate * braking - self.carried @ short)

    def end(self, braking: FloatArray) -> FloatArray:
        """Return the swing by its end, where the braking load vanishes, shape (k, m)."""
        return self.impulse + np.where(self.long, self.again * self.rate * np.abs(self.shapes.T @ braking), 0.0)

    def end_lag(self, braking: FloatArray) -> FloatArray:
        """Return half of what damping takes off that swing, with the sign of the change of load, shape (k, m)."""
        return np.where(self.long, (1.0 - self.again) / 2.0 * self.rate * (self.shapes.T @ braking), 0.0)


@dataclass(frozen=True, eq=False)
class _At:
    """An instant along the path: program samples, speed factor, deceleration and time since the stop began."""

    near: Indices
    s: float
    rate: FloatArray
    after: FloatArray


@dataclass(frozen=True, eq=False)
class Stopping:
    """The stops of a job.

    Attributes:
        case: The job.
        stop: How its robot stops.
        slower: Factor on the speed of the program.
        softer: Factor on all stopping times.
        side: Which of the backings that the pads may have, from the stiffest to the softest.
    """

    case: Case
    stop: Stop
    slower: float = 1.0
    softer: float = 1.0
    side: int = -1

    @cached_property
    def damping(self) -> float:
        """Least damping ratio of the pads' backings; one that does not say has none."""
        return min(patch.pad.material.damping_ratio or 0.0 for patch in self.case.whole.patches)

    @cached_property
    def modes(self) -> Modes:
        """Natural vibrations of the part on the pads, k of them."""
        return modes_of(self.case.grip.backings[self.side], self.case.job.part, self.case.job.air_density)

    def gain(self, face: Face) -> FloatArray:
        """Return the normalised traction that a unit of each mode gives at each point, shape (points, k)."""
        return traction_size(face, self.modes.loads)

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
    def jumps(self) -> tuple[FloatArray, FloatArray]:
        """Ways of the load up and down and its changes of slope, mode by mode, added up over the samples, (k, n)."""
        load = self.modes.shapes.T @ self.before
        ways = np.abs(np.diff(load, prepend=load[:, :1]))
        slope = np.diff(load, append=load[:, -1:]) / np.diff(self.case.job.trajectory.t, append=np.inf)
        bends = np.abs(np.diff(slope, prepend=slope[:, :1]))
        return np.cumsum(ways, axis=1), np.cumsum(bends, axis=1)

    @cached_property
    def rates(self) -> PathRates:
        """Time decelerations of stops along the path."""
        return PathRates.of(self.case, self.stop, self.slower, self.softer, stiffest=float(self.modes.frequency.max()))

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
        static, first, fade, none = pulse.static, pulse.first, pulse.fade, 0.0 * pulse.fade
        for s in (1.0, 0.0):
            at = _At(samples, s, rate, 0.0 * rate)
            yield self._on_path(at, c + s * s * b - static(a), (first, fade, pulse.lag), ())
        ahead = 0.5 * self.slower / rate
        if float(ahead.max(initial=0.0)) <= 0.5 * float(np.median(np.diff(t))):
            swings = pulse.end(a), pulse.left + fade, pulse.end_lag(a)
            yield self._on_path(
                _At(samples, 0.0, 0.0 * rate, 1.0 / rate), c, swings, ((c, none, FOREVER + 0.0 * rate),)
            )
            return
        shapes, ringing = self.modes.shapes, self.modes.frequency[:, None] * np.sqrt(1.0 - self.damping**2)
        start, place = rate * (shapes.T @ a), shapes.T @ (c + b - static(a))
        slope, corners, travel, last = none, none, none, 1.0
        whole, total, full = 1.0 / rate, np.zeros_like(c), c + b - rate * a
        ways, bends = self.jumps
        sudden, behind = none, samples
        for s in self.followed:
            tau = t[samples] + ahead * (1.0 - s * s)
            near, weight = _between(t, tau)
            far = np.minimum(near + 1, t.size - 1)
            c, b, a = ((1.0 - weight) * x[:, near] + weight * x[:, far] for x in (gravity, moving, braking))
            where = np.where(weight < 0.5, near, far)
            load, mean, full = c + s * s * b - static(a), full, c + s * s * b - rate * a
            mean = (mean + full) / 2.0
            total = total + mean * (last - s)
            earlier, place = place, shapes.T @ load
            before, slope = slope, (place - earlier) * rate / (last - s)
            corners, travel = corners + np.abs(slope - before), travel + np.abs(place - earlier)
            sudden = sudden + np.minimum(ways[:, far] - ways[:, behind], (bends[:, far] - bends[:, behind]) / ringing)
            fade = np.maximum(np.minimum(travel, CURVED * (corners + np.abs(slope)) / ringing), sudden)
            behind = near
            swings, span = (first, fade, pulse.lag), ((1.0 - last) * whole, (1.0 - s) * whole)
            means: Means = (self._felt(mean, span, ((-start, 0.0 * rate),), fade),)
            yield self._on_path(_At(where, s, rate, span[1]), load, swings, means)
            last = s
        steps = (-start, 0.0 * rate), (rate * (shapes.T @ a), whole)
        means = self._felt(total, (0.0 * rate, whole), steps[:1], fade), *self._at_rest(c, whole, steps, fade)
        swings = pulse.end(a), pulse.left + fade, pulse.end_lag(a)
        yield self._on_path(_At(where, 0.0, 0.0 * rate, whole), c, swings, means)

    def _felt(
        self,
        mean: FloatArray,
        span: tuple[FloatArray, FloatArray],
        steps: Steps,
        further: FloatArray,
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the mean load that the pads carry over some time, its spread, and the time; see `Instant.means`.

        Args:
            mean: Of the load, shape (6, m).
            span: Start and end of the time, since the stop began [s], shape (m,) each.
            steps: By how much the load steps, mode by mode, shape (k, m), and when [s], shape (m,). Without a ramp; the
                first becomes a ramp where there is one.
            further: Amplitude of other swings, shape (k, m).
        """
        omega = self.modes.frequency[:, None]
        turning = omega * np.sqrt(1.0 - self.damping**2)
        if self.stop.ramp > 0:
            (size, _), steps = steps[0], steps[1:]
            further = further + omega / turning * np.abs(size)
        for size, at in steps:
            missing = size * mean_of_step(omega, self.damping, span[0] - at, span[1] - at)
            mean = mean - self.modes.loads @ missing
        time = span[1] - span[0]
        return mean, averaged(further, turning, time), time

    def _at_rest(self, load: FloatArray, since: FloatArray, steps: Steps, further: FloatArray) -> Means:
        """Return the mean load after a stop, and that of spans of the first swing that the slowest mode makes then.

        A stop that is short against a mode is over before that mode has followed; it then swings by the stop's impulse.
        """
        means: Means = ((load, 0.0 * further, FOREVER + since),)
        slowest = float(self.modes.frequency.min())
        if slowest * float(since.min(initial=np.inf)) > 2.0 * np.pi:
            return means
        span = 2.0 * np.pi / slowest / SPANS
        spans = ((since + span * i, since + span * (i + 1)) for i in range(SPANS))
        return (*means, *(self._felt(load, times, steps, further) for times in spans))

    def path_start(self, standing: FloatArray, moving: FloatArray, braking: FloatArray, rate: FloatArray) -> Instant:
        """Return the instant just after the start of stops along the path; its samples are not the program's.

        Args:
            standing: What gravity gives of the load, shape (6, m).
            moving: What the program's motion adds, shape (6, m).
            braking: What a unit of time deceleration takes off, shape (6, m).
            rate: Deceleration of the program's time [1/s], shape (m,).
        """
        pulse = self._pulse(moving, braking, rate)
        at = _At(np.zeros(rate.size, dtype=np.intp), 1.0, rate, 0.0 * rate)
        swings = pulse.first, pulse.fade, pulse.lag
        return self._on_path(at, standing + moving - pulse.static(braking), swings, ())

    def _pulse(self, moving: FloatArray, braking: FloatArray, rate: FloatArray) -> _Pulse:
        """Work out the swing by a pulse of deceleration that lasts 1/rate.

        A mode for which the pulse is long follows the load and swings around it; one for which it is short sees its
        impulse alone.
        """
        omega, shapes, ramp = self.modes.frequency[:, None], self.modes.shapes, self.stop.ramp
        damped = omega * np.sqrt(1.0 - self.damping**2)
        pull = shapes.T @ braking
        size = np.abs(pull)
        long = 2.0 * rate <= omega
        impulse = np.where(long, 0.0, omega**2 / damped * size)
        ringing = np.minimum(omega / damped, 2.0 / np.maximum(damped * ramp, 2e-300))
        over = overshoot(omega, self.damping, ramp)
        decay = np.exp(-self.damping * omega * np.maximum(1.0 / rate - ramp, 0.0))
        return _Pulse(
            rate=rate,
            long=long,
            shapes=shapes,
            carried=self.modes.loads,
            again=overshoot(omega, self.damping, 0.0),
            impulse=impulse,
            first=np.where(long, over * rate * size, 0.0) + impulse,
            lag=np.where(long, -(1.0 - over) / 2.0 * rate * pull, 0.0),
            ring=np.where(long, ringing * rate * size, 0.0) + impulse,
            left=np.where(long, decay * ringing * rate * size, 0.0),
            fade=np.minimum(1.0, 4.0 * rate / damped) * np.abs(shapes.T @ moving),
        )

    def _on_path(
        self,
        at: _At,
        load: FloatArray,
        swings: tuple[FloatArray, FloatArray, FloatArray],
        means: Means,
    ) -> Instant:
        def motion() -> ToolMotion:
            return self.case.motion.at.take(at.near).retimed(at.s * self.slower, at.rate * self.slower)

        swing, further, lag = swings
        return Instant(
            kind="path",
            load=load,
            swing=swing,
            further=further,
            lag=lag,
            carried=self.modes.loads,
            means=means,
            near=at.near,
            after=at.after,
            motion=motion,
        )

    def by_axes(self, samples: Indices, arm: Arm, before: FloatArray, *, later: bool = True) -> Iterator[Instant]:
        """Yield the instants of stops in which every axis brakes on its own.

        Args:
            samples: Program samples at or near which they begin, shape (m,).
            arm: The arm there.
            before: Load just before, shape (6, m).
            later: Whether to go on after the brakes have closed.
        """
        qd, rates = arm.qd, arm.rates
        omega, shapes = self.modes.frequency[:, None], self.modes.shapes
        damped = omega * np.sqrt(1.0 - self.damping**2)
        stop = np.abs(qd) / rates
        long = omega * stop.T[:, None] >= 2.0  # for each axis and mode whether its braking is no mere impulse
        again = overshoot(omega, self.damping, 0.0)

        turning = np.array(arm.robot.revolute)
        now, none = np.zeros(samples.size), np.zeros((len(omega), samples.size))
        place = self._braked(samples, arm, now)
        load, start = place.load(long), shapes.T @ (place.coasting - before) + place.pull(long)
        blows = omega**2 / damped * pulse_area(np.where(long, 0.0, place.pulls), stop.T)
        over, ringing = overshoot(omega, self.damping, self.stop.ramp), omega / damped
        yield place.instant(load, blows + over * np.abs(start), none, (1.0 - over) / 2.0 * start, long)
        # until a later change comes, each rings with its whole size about the new load, and dies down from there
        swing = blows + np.minimum(ringing, 2.0 / np.maximum(damped * self.stop.ramp, 2e-300)) * np.abs(start)
        ends = np.argsort(stop, axis=1).T
        all_brake = np.ones_like(long)
        steps: Steps = ((shapes.T @ (place.load(all_brake) - before), now),)
        drifts = none
        for k, axis in enumerate(ends if later else ()):
            when = np.take_along_axis(stop, axis[:, None], axis=1)[:, 0]
            this = (np.arange(len(rates))[:, None] == axis)[:, None]
            if not (omega[-1] * when >= 2.0).any():
                steps = (*steps, (-place.pull(this & all_brake), when))
                all_brake = all_brake & ~this
                continue
            passed, braking = when - now, long & (stop >= when[:, None]).T[:, None]
            speed = np.maximum(np.abs(qd) - rates * now[:, None], 0.0)[:, turning]
            count = int(np.clip(np.ceil((speed.sum(axis=1) * passed).max(initial=0.0) / TURN), 1, MOST_TURNS))
            way = [self._braked(samples, arm, now + passed * (i / count)) for i in range(1, count + 1)]
            loads = [load, *(there.load(braking) for there in way)]
            drifting = drift(np.stack([shapes.T @ x for x in loads]), passed, damped)
            drifts = drifts + drifting
            full = place.load(all_brake)
            for i, there in enumerate(way):
                mean, full = full, there.load(all_brake)
                span = now + passed * (i / count), now + passed * ((i + 1) / count)
                means: Means = (self._felt((mean + full) / 2.0, span, steps, drifts),)
                fading = swing * np.exp(-self.damping * omega * passed * ((i + 1) / count)) + drifting
                yield there.instant(loads[i + 1], none, fading, none, braking, means)
            swing, place = fading, way[-1]
            ended = braking & (stop <= when[:, None]).T[:, None]
            load, gone = place.load(braking & ~ended), place.pull(ended)
            steps = (*steps, (-place.pull(this & all_brake), when))
            all_brake = all_brake & ~this
            means = self._at_rest(load, when, steps, drifts) if k == len(rates) - 1 else ()
            lag = (again - 1.0) / 2.0 * gone
            yield place.instant(load, again * np.abs(gone), swing, lag, braking & ~ended, means)
            swing, now = swing + ringing * np.abs(gone), when

    def _braked(self, samples: Indices, arm: Arm, after: FloatArray) -> Braked:
        """Work out the arm some time after its brakes have closed."""
        case, robot = self.case, arm.robot
        place, speed, _ = braked_axes(arm.q, arm.qd, arm.rates, after)
        t = case.motion.at.t[samples]
        coasting = joint_motion(robot, t, place, speed, np.zeros_like(place))
        columns = tool_jacobian(robot.links, robot.revolute, place)
        slowing = -arm.rates * np.sign(arm.qd)
        loads = (load_per_acceleration(case.job.part, case.job.air_density) @ columns) * slowing.T[:, None]
        return Braked(
            samples=samples,
            after=after,
            coasting=part_load(case.job.part, coasting, case.job.gravity, case.job.air_density),
            loads=loads,
            pulls=self.modes.shapes.T @ loads,
            carried=self.modes.loads,
            motion=lambda braking: joint_motion(robot, t, place, speed, slowing * braking.any(axis=1).T),
        )


def per_time_deceleration(case: Case, motion: ToolMotion) -> FloatArray:
    """Return what the load would gain if the program's time sped up by 1/s in a second, shape (6, n).

    The accelerations are then the speeds themselves: of the tool origin, and the angular ones.
    """
    speeds = np.concatenate([motion.velocity.T, motion.angular_velocity.T])
    return np.asarray(load_per_acceleration(case.job.part, case.job.air_density) @ speeds)


def _between(t: FloatArray, tau: FloatArray) -> tuple[Indices, FloatArray]:
    """The sample before each time and the share of the interval that has passed; the last sample stands for later."""
    near = np.clip(np.searchsorted(t, tau, side="right") - 1, 0, t.size - 2)
    return near, np.clip((tau - t[near]) / (t[near + 1] - t[near]), 0.0, 1.0)
