"""Stops off the path: every axis brakes at its own rate until it rests, one after the other."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property, partial
from itertools import pairwise
from typing import ClassVar, Final, Self

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.stop.course import Course, Indices
from gripmargin.checks.stop.legs import FEWEST, SHORTEST, Leg, Rest, around, braked, braking_time, next_to
from gripmargin.contact.loads import part_load
from gripmargin.kernels.march import Doubt, missed
from gripmargin.motion.chain import Chain
from gripmargin.motion.tool_motion import ToolMotion, joint_motion
from gripmargin.workcell.job import Job

TURN: Final = 0.3  # [rad] by which an arm turns at most over one cubic of its load


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
        gap: Time to the begin of those next to them that count as well [s], shape (m,).
        shifts: By how much the axes of those come to rest earlier or later, one after the other [s], (joints + 2, m).
    """

    together: ClassVar[int] = 512  # their legs are short
    course: Course
    job: Job
    t: FloatArray
    q: FloatArray
    qd: FloatArray
    rates: FloatArray
    ramp: float
    gap: FloatArray
    shifts: FloatArray

    @classmethod
    def of(
        cls,
        course: Course,
        job: Job,
        at: tuple[FloatArray, ...],
        joined: NDArray[np.bool_],
        rates: FloatArray,
        ramp: float,
    ) -> OffPath:
        """Return stops that begin one after the other.

        Args:
            course: The program.
            job: The job; it names the robot.
            at: When the brakes close [s], rising, shape (m,), and positions and speeds then, shape (m, joints).
            joined: Whether what lies between counts as well, shape (m - 1,).
            rates: Braking rate of each axis, shape (joints,).
            ramp: Time over which the deceleration builds up [s].
        """
        t, q, qd = at
        none = np.zeros((q.shape[1] + 2, t.size))
        found = cls(
            course=course, job=job, t=t, q=q, qd=qd, rates=rates, ramp=ramp, gap=next_to(t, joined), shifts=none
        )
        return replace(found, shifts=next_to(found.borders, joined))

    def some(self, chosen: Indices) -> Self:
        """Return some of them."""
        return replace(
            self,
            t=self.t[chosen],
            q=self.q[chosen],
            qd=self.qd[chosen],
            gap=self.gap[chosen],
            shifts=self.shifts[:, chosen],
        )

    @property
    def shift(self) -> FloatArray:
        """By how much they last longer or shorter in those next to them [s], shape (m,)."""
        return self.shifts.max(axis=0)

    def closer(self, chosen: Indices, parts: int) -> Self:
        """Return for each of some the stops in the parts of the intervals around it, 2 parts - 1 with itself amid."""
        t, joined = around(self.t, self.gap, chosen, parts)
        q, qd = (np.column_stack([np.interp(t, self.t, column) for column in x.T]) for x in (self.q, self.qd))
        return self.of(self.course, self.job, (t, q, qd), joined, self.rates, self.ramp)

    @property
    def arrive(self) -> FloatArray:
        """Time of the program that they reach [s], shape (m,)."""
        return self.t

    @cached_property
    def ends(self) -> FloatArray:
        """When each axis rests, shape (m, joints)."""
        return np.where(self.qd == 0.0, 0.0, braking_time(np.abs(self.qd) / self.rates, self.ramp))

    @cached_property
    def borders(self) -> FloatArray:
        """Begin, end of the ramp, and when one axis after the other rests, shape (joints + 2, m)."""
        ramp = np.minimum(self.ramp, self.ends.max(axis=1))
        return np.sort(np.column_stack([0.0 * ramp, ramp, self.ends]), axis=1).T

    @property
    def first(self) -> FloatArray:
        """Load of each mode just after they begin, shape (k, m)."""
        return self._loads(np.zeros((1, len(self.q))), self.ends > 0.0)[0]

    @cached_property
    def rest(self) -> Rest:
        """Their end."""
        after = self.ends.max(axis=1)
        load = self._loads(after[None], np.zeros(self.q.shape, dtype=np.bool_))[0]
        return Rest(after=after, shift=self.shifts[-1], load=load)

    def legs(self, step: float, soon: float, late: float) -> Iterator[Leg]:
        """Yield the legs: while the brakes close, and from one axis that comes to rest to the next."""
        ends = self.ends
        turning = np.array(self._robot.revolute)
        for shift, (begin, end) in zip(self.shifts, pairwise(self.borders), strict=False):
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
                    shift=shift,
                    load=partial(self._cubic, loads[3 * i : 3 * i + 4], count, length),
                )

    @property
    def _robot(self) -> Chain:
        assert self.job.robot is not None  # noqa: S101 - a joint program has one
        return self.job.robot

    def motion(self, after: FloatArray) -> ToolMotion:
        """Return the tool's motion some time after they began [s], shape (m,)."""
        return self._motion(after[None], self.ends > after[:, None])

    def _loads(self, after: FloatArray, moving: NDArray[np.bool_]) -> FloatArray:
        """Return the load of each mode some times after the brakes began to close, shape (n, k, m).

        Args:
            after: Shape (n, m).
            moving: Which axes still brake, shape (m, joints).
        """
        load = part_load(self.job.part, self._motion(after, moving), self.job.gravity, self.job.air_density)
        taken = (self.course.springs.take @ load).reshape(-1, *after.shape)
        return np.ascontiguousarray(taken.swapaxes(0, 1))

    def _motion(self, after: FloatArray, moving: NDArray[np.bool_]) -> ToolMotion:
        """Return the tool's motion, as `_loads` has the loads, n m samples."""
        spent = np.minimum(after[:, :, None], self.ends)
        brake, loss, way = braked(spent, self.ramp)
        slowing = -self.rates * np.sign(self.qd)
        q = self.q + self.qd * spent + slowing * way
        qd, qdd = self.qd + slowing * loss, slowing * brake
        joints = (x.reshape(-1, q.shape[2]) for x in (q, np.where(moving, qd, 0.0), np.where(moving, qdd, 0.0)))
        return joint_motion(self._robot, after.ravel(), *joints)

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
