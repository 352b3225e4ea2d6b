"""Time laws from rest to rest: the share of a path that is done, with its first and second derivative."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from gripmargin.base.arrays import FloatArray


class Law(Protocol):
    """A share that runs from 0 to 1 with rest at both ends."""

    @property
    def duration(self) -> float:
        """[s]."""

    def share(self, t: FloatArray) -> FloatArray:
        """Share, its rate [1/s] and its second derivative [1/s^2] at times from the start, shape (3, n)."""


@dataclass(frozen=True)
class MinimumJerk:
    """The polynomial of degree five with rest at both ends (Flash & Hogan, J. Neurosci. 5:1688, 1985)."""

    duration: float

    @classmethod
    def within(cls, length: float, speed: float, acceleration: float) -> MinimumJerk:
        """The shortest one over a length that stays within a speed and an acceleration."""
        # peaks of the unit polynomial: 15/8 and 10/sqrt(3)
        return cls(max(15 / 8 * length / speed, np.sqrt(10 / np.sqrt(3) * length / acceleration)))

    def share(self, t: FloatArray) -> FloatArray:
        s = np.clip(t / self.duration, 0.0, 1.0)
        return np.stack(
            [
                s**3 * (10 - 15 * s + 6 * s * s),
                30 * s**2 * (1 - s) ** 2 / self.duration,
                60 * s * (1 - s) * (1 - 2 * s) / self.duration**2,
            ]
        )


@dataclass(frozen=True)
class SCurve:
    """Seven stretches of constant jerk over a length of 1.

    Cases as in Biagiotti & Melchiorri, Trajectory Planning for Automatic Machines and Robots, sec. 3.4 (from
    memory); the tests integrate them anew.

    Attributes:
        ramp: Time over which the acceleration rises or falls [s].
        rise: Time to full speed [s].
        cruise: Time at full speed [s].
    """

    ramp: float
    rise: float
    cruise: float

    @classmethod
    def within(cls, length: float, speed: float, acceleration: float, jerk: float) -> SCurve:
        """The shortest one over a length that stays within a speed, an acceleration and a jerk."""
        v, a, j = speed / length, acceleration / length, jerk / length
        if v * j < a * a:
            ramp = np.sqrt(v / j)
            rise = 2 * ramp
        else:
            ramp = a / j
            rise = ramp + v / a
        cruise = 1 / v - rise
        if cruise < 0:  # full speed is not reached
            cruise = 0.0
            if 2 * a**3 <= j * j:
                ramp = a / j
                rise = ramp / 2 + np.sqrt(ramp**2 / 4 + 1 / a)
            else:
                ramp = (1 / (2 * j)) ** (1 / 3)
                rise = 2 * ramp
        return cls(float(ramp), float(rise), float(cruise))

    @property
    def duration(self) -> float:
        return 2 * self.rise + self.cruise

    def stretched(self, factor: float) -> SCurve:
        """The same curve over a time that is a factor longer."""
        return SCurve(self.ramp * factor, self.rise * factor, self.cruise * factor)

    def share(self, t: FloatArray) -> FloatArray:
        flat = self.rise - 2 * self.ramp
        spans = np.array([self.ramp, flat, self.ramp, self.cruise, self.ramp, flat, self.ramp])
        # the rise covers rise/2 of what full speed would, twice, and the cruise all of it
        top = 1 / (self.rise + self.cruise)
        jerk = top / (self.ramp * (self.rise - self.ramp)) * np.array([1, 0, -1, 0, -1, 0, 1])
        state = np.zeros((8, 3))
        for i, (h, k) in enumerate(zip(spans, jerk, strict=True)):
            s, v, a = state[i]
            state[i + 1] = s + h * v + h * h * a / 2 + h**3 * k / 6, v + h * a + h * h * k / 2, a + h * k
        starts = np.concatenate([[0.0], np.cumsum(spans)])
        t = np.clip(t, 0.0, self.duration)
        piece = np.clip(np.searchsorted(starts, t, side="right") - 1, 0, 6)
        h, k = t - starts[piece], jerk[piece]
        s, v, a = state[piece].T
        return np.stack([s + h * v + h * h * a / 2 + h**3 * k / 6, v + h * a + h * h * k / 2, a + h * k])
