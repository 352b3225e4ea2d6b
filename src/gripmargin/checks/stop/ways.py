"""The ways to rest: along the path of the program, and off it with every axis braking on its own.

Along the path the program's own time brakes: its speed factor s falls from 1 to 0 at a rate r, and the load is
``C + B s^2 - r A`` with gravity C, what the motion adds B, and what a unit of time deceleration adds A, at the place
reached. Off the path every axis brakes at its own rate until it rests, one after the other.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property, partial
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.stop.course import Course, Indices
from gripmargin.contact.loads import part_load
from gripmargin.kernels.march import Doubt, missed
from gripmargin.kernels.stopping import braked, braking_time
from gripmargin.motion.chain import Chain
from gripmargin.motion.tool_motion import ToolMotion, joint_motion
from gripmargin.workcell.job import Job

FEWEST: Final = 4  # steps of a leg
FEWER: Final = 10  # longest steps of a leg from which on longer ones are worth it
SHORTEST: Final = 1e-9  # [s] stands for a leg that some stops do not have
PIECES: Final = 16  # in which the speed of a way counts as the worse of begin and end: fewer cost width alone
TURN: Final = 0.3  # [rad] by which an arm turns at most over one cubic of its load: it misses 4e-6 of it


class Leg(NamedTuple):
    """A part of the way, over which the load makes no jump that is known.

    Attributes:
        begin: Since the stops began [s], shape (m,).
        step: From node to node [s], shape (m,).
        steps: How many.
        late: Whether the swing may count with its whole amplitude.
        load: Numbers of some nodes, one after the other, to the load of each mode there, shape (n, k, m), and what is
            not known of it.
    """

    begin: FloatArray
    step: FloatArray
    steps: int
    late: bool
    load: Callable[[Indices], tuple[FloatArray, Doubt]]


@dataclass(frozen=True, eq=False, kw_only=True)
class AlongPath:
    """Stops along the path, which begin at m times.

    Attributes:
        course: The program.
        t: When they begin [s], shape (m,).
        gap: Time to the stops before and after them that count as well [s], shape (2, m).
        lasts: Over which the program's time would come to rest without a ramp, at each instant of it [s], shape (n,).
        ramp: Time over which the deceleration builds up [s].
    """

    course: Course
    t: FloatArray
    gap: FloatArray
    lasts: FloatArray
    ramp: float

    @cached_property
    def rate(self) -> FloatArray:
        """Deceleration of the program's time [1/s], shape (m,)."""
        return 1.0 / np.interp(self.t, self.course.t, self.lasts)

    @cached_property
    def borders(self) -> FloatArray:
        """Times since they began at which the load may jump, shape (3, m): begin, end of the ramp, and rest [s]."""
        return self.borders_at(self.t)

    def borders_at(self, t: FloatArray) -> FloatArray:
        """Return them for stops that begin at other times."""
        rest = braking_time(np.interp(t, self.course.t, self.lasts), self.ramp)
        return np.stack([0.0 * rest, np.minimum(self.ramp, rest), rest])

    @cached_property
    def ends(self) -> tuple[FloatArray, FloatArray]:
        """Load of each mode just after they begin, and at rest, shape (k, m) each."""
        none = np.zeros(self.t.size)
        first = self._load(none, none, np.zeros(1, dtype=np.intp))[0][0]
        return first, self.course.between(*self.course.place(self.reached), none, none)

    @property
    def reached(self) -> FloatArray:
        """Time of the program at rest [s], shape (m,)."""
        return self._way(self.borders[-1])[2]

    def legs(self, border: int, step: float, soon: float, late: int) -> Iterator[Leg]:
        """Yield the legs from a border to the next one.

        Args:
            border: Its number.
            step: Longest step [s].
            soon: Time after the border from which on steps may be longer [s].
            late: How many there are then.
        """
        begin, end = self.borders[border : border + 2]
        middle = np.minimum(begin + soon, end) if (end - begin).max() > soon + late * step else end
        for first, last, slow in ((begin, middle, False), (middle, end, True)):
            long = float((last - first).max())
            if long > 0.0:
                count = late if slow else max(FEWEST, math.ceil(long / step))
                length = np.maximum(last - first, SHORTEST) / count
                yield Leg(first, length, count, slow, partial(self._load, first, length))

    def motion(self, after: FloatArray) -> ToolMotion:
        """Return the tool's motion some time after they began, at the instants next to it."""
        course = self.course
        rate, speed, t = self._way(np.minimum(after, self.borders[-1]))
        near, share = course.place(t)
        braking = np.where(after < self.borders[-1], rate, 0.0) * course.slower
        return course.tool.take(near + (share > 0.5)).retimed(speed * course.slower, braking)

    def _way(self, after: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Deceleration of the program's time, its speed factor, and the time of the program reached."""
        brake, loss, way = braked(after, self.ramp)
        return self.rate * brake, np.maximum(1.0 - self.rate * loss, 0.0), self.t + after - self.rate * way

    def _load(self, begin: FloatArray, step: FloatArray, nodes: Indices) -> tuple[FloatArray, Doubt]:
        course = self.course
        rate, speed, t = self._way(begin + nodes[:, None] * step)
        near, share = course.place(t)
        square = speed**2
        load = course.between(near, share, square, -rate)
        ahead = near + (nodes[:, None] + begin > 0.0)  # what is ahead counts as soon as it is the next
        ahead[-1] = near[-1] + 1
        some = np.unique(np.linspace(0, nodes.size - 1, PIECES + 1).astype(np.intp))
        kicks, growth = course.passed(ahead[some], speed[some])
        offset = square * course.offset[0, near] + rate * course.offset[1, near]
        if course.rough is None:
            return load, Doubt(kicks=kicks, offset=offset)
        rough = (1.0 - share) * course.rough[:, near] + share * course.rough[:, near + 1]
        return load, Doubt(
            kicks=kicks,
            offset=offset,
            growth=growth,
            sigma=np.hypot(square * course.sigma[0, near], rate * course.sigma[1, near]),
            rough=np.ascontiguousarray((square * rough).swapaxes(0, 1)),
        )


@dataclass(frozen=True, eq=False, kw_only=True)
class OffPath:
    """Stops in which every axis brakes on its own; what is not said here is as in `AlongPath`.

    Attributes:
        job: The job.
        robot: Its robot.
        rates: Braking rate of each axis [rad/s^2 or m/s^2], shape (joints,).
        ramp: Time over which the deceleration builds up [s].
        joints: Positions and speeds at each instant of the program, shape (2, n, joints).
    """

    course: Course
    t: FloatArray
    gap: FloatArray
    job: Job
    robot: Chain
    rates: FloatArray
    ramp: float
    joints: FloatArray

    @cached_property
    def start(self) -> FloatArray:
        """Positions and speeds when the brakes close, shape (2, m, joints)."""
        return self._start(self.t)

    @cached_property
    def lasts(self) -> FloatArray:
        """When each axis rests, shape (m, joints)."""
        return self._lasts(self.start[1])

    @cached_property
    def borders(self) -> FloatArray:
        """Begin, end of the ramp, and when one axis after the other rests."""
        return self._borders(self.lasts)

    def borders_at(self, t: FloatArray) -> FloatArray:
        """Return them for stops that begin at other times."""
        return self._borders(self._lasts(self._start(t)[1]))

    def _start(self, t: FloatArray) -> FloatArray:
        near, share = self.course.place(t)
        here, there = self.joints[:, near], self.joints[:, near + 1]
        return here + share[:, None] * (there - here)

    def _lasts(self, speed: FloatArray) -> FloatArray:
        return np.where(speed == 0.0, 0.0, braking_time(np.abs(speed) / self.rates, self.ramp))

    def _borders(self, lasts: FloatArray) -> FloatArray:
        ramp = np.minimum(self.ramp, lasts.max(axis=1))
        return np.sort(np.column_stack([0.0 * ramp, ramp, lasts]), axis=1).T

    @cached_property
    def ends(self) -> tuple[FloatArray, FloatArray]:
        """Load of each mode just after they begin, and at rest."""
        first = self._loads(np.zeros((1, self.t.size)), self.lasts > 0.0)[0]
        return first, self._loads(self.borders[-1:], np.zeros(self.lasts.shape, dtype=np.bool_))[0]

    @property
    def reached(self) -> FloatArray:
        """Time of the program: where they begin."""
        return self.t

    def legs(self, border: int, step: float, soon: float, late: int) -> Iterator[Leg]:
        """Yield the legs from a border to the next one: the same axes brake."""
        begin, end = self.borders[border : border + 2]
        turning, long = np.array(self.robot.revolute), float((end - begin).max())
        moving = self.lasts >= end[:, None]
        speed = np.abs(self.start[1]) - self.rates * begin[:, None]
        speed = np.where(moving & turning, np.maximum(speed, 0.0), 0.0)
        pieces = max(1, math.ceil(float((speed.sum(axis=1) * (end - begin)).max()) / TURN))
        length = np.maximum(end - begin, SHORTEST) / pieces
        loads = self._loads(begin + np.arange(3 * pieces + 1)[:, None] * (length / 3.0), moving)
        fast = min(1.0, soon / float(length.mean() * pieces))
        for i in range(pieces):
            cut = float(np.clip(fast * pieces - i, 0.0, 1.0))
            if (1.0 - cut) * long < FEWER * pieces * step:
                cut = 1.0
            for first, last, slow in ((0.0, cut, False), (cut, 1.0, True)):
                if last > first:
                    way = last - first
                    count = FEWEST if slow else max(FEWEST, math.ceil(way * long / pieces / step))
                    load = partial(self._cubic, loads[3 * i : 3 * i + 4], (first, way / count), length)
                    yield Leg(begin + (i + first) * length, way / count * length, count, slow, load)

    def motion(self, after: FloatArray) -> ToolMotion:
        """Return the tool's motion some time after they began."""
        return self._motion(after[None], self.lasts > after[:, None])

    def _loads(self, after: FloatArray, moving: NDArray[np.bool_]) -> FloatArray:
        """Return the load of each mode some times after the brakes began to close, shape (n, k, m).

        Args:
            after: Shape (n, m).
            moving: Which axes still brake, shape (m, joints).
        """
        load = part_load(self.job.part, self._motion(after, moving), self.job.gravity, self.job.air_density)
        return np.ascontiguousarray((self.course.take @ load).reshape(-1, *after.shape).swapaxes(0, 1))

    def _motion(self, after: FloatArray, moving: NDArray[np.bool_]) -> ToolMotion:
        """Return the tool's motion, as `_loads` has the loads, n m samples."""
        (start, speed), spent = self.start, np.minimum(after[:, :, None], self.lasts)
        brake, loss, way = braked(spent, self.ramp)
        slowing = -self.rates * np.sign(speed)
        q = start + speed * spent + slowing * way
        qd, qdd = np.where(moving, speed + slowing * loss, 0.0), np.where(moving, slowing * brake, 0.0)
        return joint_motion(self.robot, after.ravel(), *(x.reshape(-1, q.shape[2]) for x in (q, qd, qdd)))

    def _cubic(
        self, loads: FloatArray, at: tuple[float, float], length: FloatArray, nodes: Indices
    ) -> tuple[FloatArray, Doubt]:
        """Loads at nodes on the cubic through four that are evenly spaced; third differences bound what it misses."""
        x = 3.0 * (at[0] + at[1] * nodes[:, None]) - np.arange(4.0)
        others = [x[:, [j for j in range(4) if j != i]].prod(axis=1) for i in range(4)]  # Lagrange
        weights = np.stack(others, axis=1) / [-6.0, 2.0, -2.0, 6.0]
        turn = self.course.oscillators.frequency[:, None] * length / 3.0
        kicks = missed(turn) * np.abs(np.diff(loads, 3, axis=0)[0]) if nodes[0] == at[0] == 0 else 0.0
        return np.tensordot(weights, loads, 1), Doubt(kicks=kicks)


Stops = AlongPath | OffPath
