"""The way of a stop from the brake to rest, in legs over which the load makes no jump that is known."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import ClassVar, Final, Protocol, Self

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.stop.course import Course, Indices
from gripmargin.kernels.march import Doubt
from gripmargin.motion.tool_motion import ToolMotion

FEWEST: Final = 4  # steps of a leg
SHORTEST: Final = 1e-9  # [s] stands for a leg that some stops do not have


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


def next_to(values: FloatArray, joined: NDArray[np.bool_]) -> FloatArray:
    """Return by how much values, along the last axis, differ from those next to them that they are joined to."""
    out = np.zeros_like(values)
    change = np.where(joined, np.abs(np.diff(values)), 0.0)
    out[..., :-1] = change
    out[..., 1:] = np.maximum(out[..., 1:], change)
    return out


def around(t: FloatArray, gap: FloatArray, chosen: Indices, parts: int) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Return times in the parts of the intervals around some, and which of those one after the other are joined.

    Args:
        t: Times, rising, shape (m,).
        gap: Largest time to the next one that it is joined to, shape (m,); 0: it stands alone.
        chosen: Some of them, shape (n,).
        parts: Of each interval.

    Returns:
        Shapes (n (2 parts - 1),) and one less.
    """
    share = np.arange(1 - parts, parts) / parts
    side = np.clip(chosen[:, None] + np.sign(share).astype(np.intp), 0, t.size - 1)
    way = np.clip(t[side] - t[chosen][:, None], -gap[chosen][:, None], gap[chosen][:, None])
    times = t[chosen][:, None] + np.abs(share) * way
    joined = np.ones(times.shape, dtype=np.bool_)
    joined[:, -1] = False
    return times.ravel(), joined.ravel()[:-1]


@dataclass(frozen=True, eq=False, kw_only=True)
class Leg:
    """A part of the way.

    Attributes:
        begin: Since the stops began [s], shape (m,).
        step: From node to node [s], shape (m,).
        count: Steps.
        goes_on: Whether load and slope go on from the leg before.
        shift: By how much it begins earlier or later in the stops next to them [s], shape (m,).
        load: Numbers of some nodes, one after the other, to the load of each mode there, shape (n, k, m), and what is
            not known of it.
    """

    begin: FloatArray
    step: FloatArray
    count: int
    goes_on: bool
    shift: FloatArray
    load: Callable[[Indices], tuple[FloatArray, Doubt]]


@dataclass(frozen=True, eq=False, kw_only=True)
class Rest:
    """Stops at their end.

    Attributes:
        after: Time since they began [s], shape (m,).
        shift: By how much it differs in the stops next to them [s], shape (m,).
        load: Of each mode, by gravity alone, shape (k, m).
    """

    after: FloatArray
    shift: FloatArray
    load: FloatArray


class Stops(Protocol):
    """Stops of one kind.

    Attributes:
        course: The program.
        t: When they begin [s], shape (m,).
        gap: Time to the begin of those next to them that count as well [s], shape (m,).
    """

    together: ClassVar[int]  # stops that are best followed side by side

    @property
    def course(self) -> Course:
        """The program."""

    @property
    def t(self) -> FloatArray:
        """When they begin [s], shape (m,)."""

    @property
    def gap(self) -> FloatArray:
        """Time to the begin of those next to them that count as well [s], shape (m,)."""

    @property
    def shift(self) -> FloatArray:
        """By how much they last longer or shorter in those next to them [s], shape (m,)."""

    def some(self, chosen: Indices) -> Self:
        """Return some of them."""

    def closer(self, chosen: Indices, parts: int) -> Self:
        """Return for each of some the stops in the parts of the intervals around it, 2 parts - 1 with itself amid."""

    @property
    def arrive(self) -> FloatArray:
        """Time of the program that they reach [s], shape (m,)."""

    @property
    def first(self) -> FloatArray:
        """Load of each mode just after they begin, shape (k, m)."""

    @property
    def rest(self) -> Rest:
        """Their end."""

    def motion(self, after: FloatArray) -> ToolMotion:
        """Return the tool's motion some time after they began [s], shape (m,)."""

    def legs(self, step: float, soon: float, late: float) -> Iterator[Leg]:
        """Yield the legs.

        Args:
            step: Longest step at first [s].
            soon: For how long [s].
            late: Longest step from then on [s].
        """
