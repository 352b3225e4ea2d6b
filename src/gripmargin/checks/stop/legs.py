"""The way of a stop from the brake to rest, in legs over which the load makes no jump that is known.

Along the path the program's own time brakes: its speed factor s falls from 1 to 0 at a rate r, and the load is
``C + B s^2 - r A`` with gravity C, what the motion adds B and what a unit of time deceleration adds A at the place
reached. Off the path every axis brakes at its own rate until it rests, one after the other.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property, partial
from itertools import pairwise
from typing import ClassVar, Protocol, Self

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.stop.course import Course, Indices
from gripmargin.contact.loads import part_load
from gripmargin.kernels.march import Doubt, missed
from gripmargin.motion.chain import Chain
from gripmargin.motion.tool_motion import joint_motion
from gripmargin.workcell.job import Job

FEWEST = 4  # steps of a leg
SHORTEST = 1e-9  # [s] stands for a leg that some stops do not have
TURN = 0.3  # [rad] by which an arm turns at most over one cubic of its load


def braked(after: FloatArray, ramp: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return what brakes with a rate of 1 have done: deceleration, loss of speed, and loss of way.

    Args:
        after: Time since they began to close [s].
        ramp: Time over which the deceleration builds up [s].
    """
    rising = np.minimum(after, ramp)
    full = after - rising
    if ramp == 0.0:
        return np.ones_like(after), full, full**2 / 2.0
    speed = rising**2 / (2.0 * ramp)
    return rising / ramp, speed + full, rising**3 / (6.0 * ramp) + speed * full + full**2 / 2.0


def braking_time(speed: FloatArray, ramp: float) -> FloatArray:
    """Return the time in which brakes with a rate of 1 take a speed away [s]; see `braked`."""
    return np.where(speed >= ramp / 2.0, speed + ramp / 2.0, np.sqrt(2.0 * ramp * speed))


@dataclass(frozen=True, eq=False, kw_only=True)
class Leg:
    """A part of the way.

    Attributes:
        begin: Since the stops began [s], shape (m,).
        step: From node to node [s], shape (m,).
        count: Steps.
        goes_on: Whether load and slope go on from the leg before.
        load: Numbers of some nodes, one after the other, to the load of each mode there, shape (n, k, m), and what is
            not known of it.
    """

    begin: FloatArray
    step: FloatArray
    count: int
    goes_on: bool
    load: Callable[[Indices], tuple[FloatArray, Doubt]]


@dataclass(frozen=True, eq=False, kw_only=True)
class Rest:
    """Stops at their end.

    Attributes:
        after: Time since they began [s], shape (m,).
        load: Of each mode, by gravity alone, shape (k, m).
        kicks: Bound of the swing by what is not known of the load that ends there, likewise.
    """

    after: FloatArray
    load: FloatArray
    kicks: FloatArray


class Stops(Protocol):
    """Stops of one kind.

    Attributes:
        course: The program.
        t: When they begin [s], shape (m,).
    """

    together: ClassVar[int]  # stops that are best followed side by side

    @property
    def course(self) -> Course:
        """The program."""

    @property
    def t(self) -> FloatArray:
        """When they begin [s], shape (m,)."""

    def some(self, chosen: Indices) -> Self:
        """Return some of them."""

    @property
    def arrive(self) -> FloatArray:
        """Time of the program that they reach [s], shape (m,)."""

    @property
    def first(self) -> FloatArray:
        """Load of each mode just after they begin, shape (k, m)."""

    @property
    def rest(self) -> Rest:
        """Their end."""

    def legs(self, step: float, soon: float, late: float) -> Iterator[Leg]:
        """Yield the legs.

        Args:
            step: Longest step at first [s].
            soon: For how long [s].
            late: Longest step from then on [s].
        """


@dataclass(frozen=True, eq=False, kw_only=True)
class AlongPath:
    """Stops along the path.

    Attributes:
        course: The program.
        t: When they begin [s], shape (m,).
        rate: Deceleration of the program's time [1/s], shape (m,).
        ramp: Time over which it builds up [s].
    """

    together: ClassVar[int] = 128
    course: Course
    t: FloatArray
    rate: FloatArray
    ramp: float

    def some(self, chosen: Indices) -> Self:
        """Return some of them."""
        return replace(self, t=self.t[chosen], rate=self.rate[chosen])

    @property
    def arrive(self) -> FloatArray:
        """Time of the program that they reach [s], shape (m,)."""
        return self._reached(braking_time(1.0 / self.rate, self.ramp))[2]

    @property
    def first(self) -> FloatArray:
        """Load of each mode just after they begin, shape (k, m)."""
        none = np.zeros(self.t.size)
        return self._load(none, none, np.zeros(1, dtype=np.intp))[0][0]

    @cached_property
    def rest(self) -> Rest:
        """Their end."""
        after = braking_time(1.0 / self.rate, self.ramp)
        brake, _, t = self._reached(after)
        near, share = self.course.place(t)
        load = self.course.between(near, share)[0]
        return Rest(after=after, load=load, kicks=self._wrong_speeds(brake, near))

    def legs(self, step: float, soon: float, late: float) -> Iterator[Leg]:
        """Yield the legs: while the brakes close, the time given, and what is left."""
        rest = self.rest.after
        borders = [0.0 * rest, np.minimum(self.ramp, rest), np.minimum(self.ramp + soon, rest), rest]
        for i, (begin, end) in enumerate(pairwise(borders)):
            long = float((end - begin).max(initial=0.0))
            if long > 0.0:
                count = max(FEWEST, math.ceil(long / (step if i < 2 else late)))
                length = np.maximum(end - begin, SHORTEST) / count
                load = partial(self._load, begin, length)
                yield Leg(begin=begin, step=length, count=count, goes_on=i == 2, load=load)

    def _reached(self, after: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Deceleration of the program's time, its speed factor, and the time of the program reached."""
        brake, loss, way = braked(after, self.ramp)
        return self.rate * brake, np.maximum(1.0 - self.rate * loss, 0.0), self.t + after - self.rate * way

    def _load(self, begin: FloatArray, step: FloatArray, nodes: Indices) -> tuple[FloatArray, Doubt]:
        course = self.course
        rate, speed, t = self._reached(begin + nodes[:, None] * step)
        near, share = course.place(t)
        gravity, moving, braking = course.between(near, share)
        square = speed**2
        moving *= square
        braking *= rate
        load = np.ascontiguousarray((gravity + moving - braking).swapaxes(0, 1))
        starts, noise = nodes[0] == 0 and not begin.any(), course.noise
        passed = near[0] + (0 if starts else 1), near[-1] + 1  # what is ahead counts as soon as it is the next
        kicks = square[0] * (course.kicks[:, passed[1]] - course.kicks[:, passed[0]])
        offset = square * course.offset[near]
        if course.speeds.any():
            speeds = self._wrong_speeds(rate[-1], near[0])
            offset += course.springs.oscillators.gain @ speeds
            kicks += speeds if starts else 0.0
        if noise is None:
            return load, Doubt(kicks=kicks, offset=offset)
        growth = noise.weight(speed[0], speed[-1]) * (noise.growth[:, passed[1]] - noise.growth[:, passed[0]])
        rough = (1.0 - share) * noise.rough[:, near] + share * noise.rough[:, near + 1]
        return load, Doubt(
            kicks=kicks,
            offset=offset,
            growth=growth,
            sigma=square * noise.sigma[near],
            rough=np.ascontiguousarray((square * rough).swapaxes(0, 1)),
        )

    def _wrong_speeds(self, rate: FloatArray, near: Indices) -> FloatArray:
        """What errors of the speeds may add to the braking load of each mode; a short stop is a blow (impulse)."""
        return np.minimum(rate, self.course.springs.oscillators.frequency[:, None] / 2.0) * self.course.speeds[:, near]


@dataclass(frozen=True, eq=False, kw_only=True)
class OffPath:
    """Stops in which every axis brakes on its own.

    Attributes:
        course: The program.
        job: The job; it names the robot.
        t: When they begin [s], shape (m,).
        q: Joint positions when the brakes close, shape (m, joints).
        qd: Joint speeds then, shape (m, joints).
        rates: Braking rate of each axis, shape (joints,).
        ramp: Time over which the deceleration builds up [s].
    """

    together: ClassVar[int] = 512  # their legs are short
    course: Course
    job: Job
    t: FloatArray
    q: FloatArray
    qd: FloatArray
    rates: FloatArray
    ramp: float

    def some(self, chosen: Indices) -> Self:
        """Return some of them."""
        return replace(self, t=self.t[chosen], q=self.q[chosen], qd=self.qd[chosen])

    @property
    def arrive(self) -> FloatArray:
        """Time of the program that they reach [s], shape (m,)."""
        return self.t

    @cached_property
    def ends(self) -> FloatArray:
        """When each axis rests, shape (m, joints)."""
        return np.where(self.qd == 0.0, 0.0, braking_time(np.abs(self.qd) / self.rates, self.ramp))

    @property
    def first(self) -> FloatArray:
        """Load of each mode just after they begin, shape (k, m)."""
        return self._loads(np.zeros((1, len(self.q))), self.ends > 0.0)[0]

    @cached_property
    def rest(self) -> Rest:
        """Their end."""
        after = self.ends.max(axis=1)
        load = self._loads(after[None], np.zeros(self.q.shape, dtype=np.bool_))[0]
        return Rest(after=after, load=load, kicks=0.0 * load)

    def legs(self, step: float, soon: float, late: float) -> Iterator[Leg]:
        """Yield the legs: while the brakes close, and from one axis that comes to rest to the next."""
        ends = self.ends
        borders = np.sort(np.column_stack([0.0 * ends[:, 0], np.minimum(self.ramp, ends.max(axis=1)), ends]), axis=1).T
        turning = np.array(self._robot.revolute)
        for begin, end in pairwise(borders):
            long = float((end - begin).max(initial=0.0))
            if long <= SHORTEST < float(ends.max()):
                continue
            moving = ends >= end[:, None]
            speed = np.where(moving, np.maximum(np.abs(self.qd) - self.rates * begin[:, None], 0.0), 0.0)[:, turning]
            pieces = max(1, math.ceil(float((speed.sum(axis=1) * (end - begin)).max(initial=0.0)) / TURN))
            length = np.maximum(end - begin, SHORTEST) / pieces
            loads = self._loads(begin + np.arange(3 * pieces + 1)[:, None] * (length / 3.0), moving)
            wanted = step if float(begin.min()) < soon else late
            count = max(FEWEST, math.ceil(long / pieces / wanted))
            for i in range(pieces):
                yield Leg(
                    begin=begin + i * length,
                    step=length / count,
                    count=count,
                    goes_on=i > 0,
                    load=partial(self._cubic, loads[3 * i : 3 * i + 4], count, length),
                )

    @property
    def _robot(self) -> Chain:
        assert self.job.robot is not None  # noqa: S101 - a joint program has one
        return self.job.robot

    def _loads(self, after: FloatArray, moving: NDArray[np.bool_]) -> FloatArray:
        """Return the load of each mode some times after the brakes began to close, shape (n, k, m).

        Args:
            after: Shape (n, m).
            moving: Which axes still brake, shape (m, joints).
        """
        spent = np.minimum(after[:, :, None], self.ends)
        brake, loss, way = braked(spent, self.ramp)
        slowing = -self.rates * np.sign(self.qd)
        q = self.q + self.qd * spent + slowing * way
        qd, qdd = self.qd + slowing * loss, slowing * brake
        motion = joint_motion(
            self._robot,
            after.ravel(),
            *(x.reshape(-1, q.shape[2]) for x in (q, np.where(moving, qd, 0.0), np.where(moving, qdd, 0.0))),
        )
        load = part_load(self.job.part, motion, self.job.gravity, self.job.air_density)
        taken = (self.course.springs.take @ load).reshape(-1, *after.shape)
        return np.ascontiguousarray(taken.swapaxes(0, 1))

    def _cubic(self, loads: FloatArray, count: int, length: FloatArray, nodes: Indices) -> tuple[FloatArray, Doubt]:
        """Loads at nodes on the cubic through four that are evenly spaced; third differences bound what it misses."""
        x = 3.0 * nodes / count
        weights = np.stack(
            [
                -(x - 1.0) * (x - 2.0) * (x - 3.0) / 6.0,
                x * (x - 2.0) * (x - 3.0) / 2.0,
                -x * (x - 1.0) * (x - 3.0) / 2.0,
                x * (x - 1.0) * (x - 2.0) / 6.0,
            ],
            axis=1,
        )
        kicks = np.zeros(loads.shape[1:])
        if nodes[0] == 0:
            turn = self.course.springs.oscillators.frequency[:, None] * length / 3.0
            kicks = missed(turn) * np.abs(np.diff(loads, 3, axis=0)[0])
        return np.tensordot(weights, loads, 1), Doubt(kicks=kicks)
