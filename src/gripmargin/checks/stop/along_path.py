"""Stops along the path of the program.

The program's own time brakes: its speed factor s falls from 1 to 0 at a rate r, and the load is ``C + B s^2 - r A``
with gravity C, what the motion adds B, and what a unit of time deceleration adds A, at the place reached.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property, partial
from itertools import pairwise
from typing import ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.stop.course import Course, Indices
from gripmargin.checks.stop.instants import retimed
from gripmargin.checks.stop.legs import FEWEST, SHORTEST, Leg, Rest, around, braked, braking_time, next_to
from gripmargin.kernels.march import Doubt
from gripmargin.motion.tool_motion import ToolMotion


@dataclass(frozen=True, eq=False, kw_only=True)
class AlongPath:
    """Stops along the path.

    Attributes:
        course: The program.
        t: When they begin [s], shape (m,).
        gap: Time to the begin of those next to them that count as well [s], shape (m,).
        rate: Deceleration of the program's time [1/s], shape (m,).
        shift: By how much the stops next to them last longer or shorter [s], shape (m,).
        ramp: Time over which it builds up [s].
    """

    together: ClassVar[int] = 128
    course: Course
    t: FloatArray
    gap: FloatArray
    rate: FloatArray
    shift: FloatArray
    ramp: float

    @classmethod
    def of(cls, course: Course, t: FloatArray, joined: NDArray[np.bool_], rate: FloatArray, ramp: float) -> AlongPath:
        """Return stops that begin one after the other.

        Args:
            course: The program.
            t: When they begin [s], rising, shape (m,).
            joined: Whether what lies between counts as well, shape (m - 1,).
            rate: Deceleration of the program's time [1/s], shape (m,).
            ramp: Time over which it builds up [s].
        """
        gap, shift = next_to(t, joined), next_to(braking_time(1.0 / rate, ramp), joined)
        return cls(course=course, t=t, gap=gap, rate=rate, shift=shift, ramp=ramp)

    def some(self, chosen: Indices) -> Self:
        """Return some of them."""
        return replace(self, t=self.t[chosen], gap=self.gap[chosen], rate=self.rate[chosen], shift=self.shift[chosen])

    def closer(self, chosen: Indices, parts: int) -> Self:
        """Return for each of some the stops in the parts of the intervals around it, 2 parts - 1 with itself amid."""
        t, joined = around(self.t, self.gap, chosen, parts)
        lasts = np.asarray(np.interp(t, self.t, 1.0 / self.rate))
        shift = next_to(braking_time(lasts, self.ramp), joined)
        return replace(self, t=t, gap=next_to(t, joined), rate=1.0 / lasts, shift=shift)

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
        load = self.course.between(*self.course.place(self._reached(after)[2]))[0]
        return Rest(after=after, shift=self.shift, load=load)

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
                yield Leg(begin=begin, step=length, count=count, goes_on=i == 2, shift=0.0 * begin, load=load)

    def motion(self, after: FloatArray) -> ToolMotion:
        """Return the tool's motion some time after they began [s], shape (m,), at the instants next to it."""
        rate, speed, t = self._reached(np.minimum(after, self.rest.after))
        near, share = self.course.place(t)
        at = self.course.tool
        there = ToolMotion(at.t[near + (share > 0.5)], at.state[:, :, near + (share > 0.5)])
        return retimed(
            there, speed * self.course.slower, np.where(after < self.rest.after, rate, 0.0) * self.course.slower
        )

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
        kicks = course.passed(*passed, (speed[0], speed[-1]))
        offset = square * course.offset[near]
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
