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
from gripmargin.kernels.stopping import braked_axes, mass_matrix, modes, overshoot
from gripmargin.loads import load_per_acceleration, part_load
from gripmargin.motion.tool_motion import ToolMotion, joint_motion
from gripmargin.stop_rates import PathRates
from gripmargin.workcell import Stop

Indices = NDArray[np.intp]

FOLLOWED: Final = (0.75, 0.5, 0.25, 0.0)  # speed factors at which a stop along the path is looked at on its way
CLOSE: Final = 0.004  # [s] starts closer than this share what happens after the brakes have closed


@dataclass(frozen=True, eq=False, kw_only=True)
class Instant:
    """One instant of the stops that begin at some samples.

    Attributes:
        kind: "path" or "axes".
        load: Quasi-static load then, shape (6, m).
        swing: Amplitude of each mode around it, shape (6, m).
        near: Program sample whose errors count, shape (m,).
        after: Time since the stop began [s], shape (m,).
        motion: The tool's motion then.
    """

    kind: str
    load: FloatArray
    swing: FloatArray
    near: Indices
    after: FloatArray
    motion: Callable[[], ToolMotion]


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

    def along_path(self, samples: Indices, rate: FloatArray) -> Iterator[Instant]:
        """Yield the instants of stops along the path.

        Args:
            samples: Where they begin, shape (m,).
            rate: Deceleration of the program's time [1/s], shape (m,).
        """
        gravity, moving, braking = self.parts
        c, b, a = (x[:, samples] for x in self.parts)
        t = self.case.job.trajectory.t
        first, fade, (static, end, impulse) = self._pulse(b, a, rate)
        for s in (1.0, 0.0):
            yield self._on_path(c + s * s * b - static(a), first + fade, samples, s, rate, 0.0 * rate)
        ahead = 0.5 * self.slower / rate
        if float(ahead.max(initial=0.0)) <= 0.5 * float(np.median(np.diff(t))):
            yield self._on_path(c, end(a) + impulse + fade, samples, 0.0, 0.0 * rate, 1.0 / rate)
            return
        for s in FOLLOWED:
            tau = t[samples] + ahead * (1.0 - s * s)
            near, weight = _between(t, tau)
            far = np.minimum(near + 1, t.size - 1)
            c, b, a = ((1.0 - weight) * x[:, near] + weight * x[:, far] for x in (gravity, moving, braking))
            where = np.where(weight < 0.5, near, far)
            yield self._on_path(c + s * s * b - static(a), first + fade, where, s, rate, (1.0 - s) / rate)
        yield self._on_path(c, end(a) + impulse + fade, where, 0.0, 0.0 * rate, 1.0 / rate)

    def path_start(
        self, standing: FloatArray, moving: FloatArray, braking: FloatArray, rate: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return load and swing just after the start of stops along the path, each (6, m).

        Args:
            standing: What gravity gives of the load, shape (6, m).
            moving: What the program's motion adds, shape (6, m).
            braking: What a unit of time deceleration takes off, shape (6, m).
            rate: Deceleration of the program's time [1/s], shape (m,).
        """
        first, fade, (static, _, _) = self._pulse(moving, braking, rate)
        return standing + moving - static(braking), first + fade

    def _pulse(
        self, moving: FloatArray, braking: FloatArray, rate: FloatArray
    ) -> tuple[
        FloatArray,
        FloatArray,
        tuple[Callable[[FloatArray], FloatArray], Callable[[FloatArray], FloatArray], FloatArray],
    ]:
        """The swing of a pulse of deceleration that lasts 1/rate.

        A mode for which the pulse is long follows the load and swings around it; one for which it is short sees its
        impulse alone.

        Returns:
            Swing while it lasts, swing by the program's motion that fades with it, and three more: what of a braking
            load is followed, the swing after its end, the swing by its impulse.
        """
        omega, shapes = self.modes
        carried = self.case.backing.stiffness @ shapes
        damped = omega[:, None] * np.sqrt(1.0 - self.damping**2)
        blow = omega[:, None] ** 2 / damped
        long = 2.0 * rate <= omega[:, None]
        size = np.abs(shapes.T @ braking)
        rise = overshoot(omega, self.damping, self.stop.ramp)[:, None]
        impulse = np.where(long, 0.0, blow * size)
        first = np.where(long, rise * rate * size, 0.0) + impulse
        fade = np.minimum(1.0, 4.0 * rate / damped) * np.abs(shapes.T @ moving)
        lasting = np.maximum(1.0 / rate - self.stop.ramp, 0.0)
        ringing = np.minimum(omega[:, None] / damped, 2.0 / np.maximum(damped * self.stop.ramp, 2e-300))
        left = np.where(long, np.exp(-self.damping * omega[:, None] * lasting) * ringing * rate * size, 0.0)
        everything = bool(long.all())

        def static(a: FloatArray) -> FloatArray:
            if everything:
                return np.asarray(rate * a)
            return np.asarray(carried @ np.where(long, rate * (shapes.T @ a), 0.0))

        def end(a: FloatArray) -> FloatArray:
            again = overshoot(omega, self.damping, 0.0)[:, None] * rate * np.abs(shapes.T @ a)
            return left + np.where(long, again, 0.0)

        return first, fade, (static, end, impulse)

    def _on_path(
        self, load: FloatArray, swing: FloatArray, near: Indices, s: float, rate: FloatArray, after: FloatArray
    ) -> Instant:
        def motion() -> ToolMotion:
            at = self.case.motion.at
            return retimed(ToolMotion(at.t[near], at.state[:, :, near]), s * self.slower, rate * self.slower)

        return Instant(kind="path", load=load, swing=swing, near=near, after=after, motion=motion)

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
        case, robot = self.case, self.case.job.robot
        assert robot is not None and self.stop.axis_deceleration is not None  # noqa: S101, PT018 - the caller has looked
        rates = self.stop.axis_deceleration / self.softer
        omega, shapes = self.modes
        damped = omega[:, None] * np.sqrt(1.0 - self.damping**2)
        stop = np.abs(qd) / rates
        long = omega.max() * stop >= 2.0

        def at(after: FloatArray, braking: NDArray[np.bool_]) -> tuple[ToolMotion, FloatArray]:
            place, speed, _ = braked_axes(q, qd, rates, after)
            motion = joint_motion(robot, case.motion.at.t[samples], place, speed, -rates * np.sign(qd) * braking)
            return motion, part_load(case.job.part, motion, case.job.gravity)

        def instant(after: FloatArray, found: tuple[ToolMotion, FloatArray], swing: FloatArray) -> Instant:
            return Instant(kind="axes", load=found[1], swing=swing, near=samples, after=after, motion=lambda: found[0])

        now = np.zeros(samples.size)
        found = at(now, long)
        rise = overshoot(omega, self.damping, self.stop.ramp)[:, None]
        swing = self._blows(q, qd, long) + rise * np.abs(shapes.T @ (found[1] - before))
        yield instant(now, found, swing)
        ends = np.sort(np.where(long, stop, 0.0), axis=1) if later else np.zeros((samples.size, 0))
        again = overshoot(omega, self.damping, 0.0)[:, None]
        for when in ends.T:
            if not when.any():
                continue
            passed, earlier = when - now, found[1]
            found = at(when, long & (stop >= when[:, None]))
            drift = np.minimum(1.0, 4.0 / np.maximum(damped * passed, 4e-300))
            swing = swing * np.exp(-self.damping * omega[:, None] * passed)
            swing = swing + drift * np.abs(shapes.T @ (found[1] - earlier))
            yield instant(when, found, swing)
            earlier = found[1]
            found = at(when, long & (stop > when[:, None]))
            swing = swing + again * np.abs(shapes.T @ (found[1] - earlier))
            yield instant(when, found, swing)
            now = when

    def _blows(self, q: FloatArray, qd: FloatArray, long: NDArray[np.bool_]) -> FloatArray:
        """Swing by the impulses of axes so slow that they rest before any mode has moved, shape (6, m)."""
        omega, shapes = self.modes
        out = np.zeros((6, len(q)))
        some = np.flatnonzero((~long & (qd != 0)).any(axis=1))
        robot = self.case.job.robot
        if some.size == 0 or robot is None:
            return out
        columns = tool_jacobian(robot.links, robot.revolute, q[some])
        size = np.abs(np.einsum("ik,jin->jkn", load_per_acceleration(self.case.job.part).T @ shapes, columns))
        slow = np.where(long[some], 0.0, np.abs(qd[some]))
        blow = omega[:, None] / np.sqrt(1.0 - self.damping**2)
        out[:, some] = blow * np.einsum("jkn,nj->kn", size, slow)
        return out


def per_time_deceleration(case: Case, motion: ToolMotion) -> FloatArray:
    """Return what the load would gain if the program's time sped up by 1/s in a second, shape (6, n).

    The accelerations are then the speeds themselves: of the tool origin, and the angular ones.
    """
    speeds = np.concatenate([motion.velocity.T, motion.angular_velocity.T])
    return np.asarray(load_per_acceleration(case.job.part) @ speeds)


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
