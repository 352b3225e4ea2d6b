"""Velocity profiles from rest to rest over a way of 1: trapezoid, limited jerk, polynomial of degree five.

Each is the fastest of its kind within a peak speed and a peak acceleration. Source: Biagiotti & Melchiorri, Trajectory
Planning for Automatic Machines and Robots, Springer 2008, sec. 2.1.7, 3.2 and 3.4 (from memory).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from gripmargin.base.arrays import FloatArray

# peaks of speed, acceleration and jerk of 10 s^3 - 15 s^4 + 6 s^5, whose way and time are 1
QUINTIC_PEAKS = 15.0 / 8.0, 10.0 / np.sqrt(3.0), 60.0


class Profile(NamedTuple):
    """Pieces of polynomials of degree five, at rest before and after.

    Attributes:
        knots: Times at which pieces begin, and the end of the last one [s], rising, shape (m + 1,).
        pieces: Share of the way in each, by the time since its beginning, lowest power first, shape (6, m).
        stepped: Whether the acceleration jumps at the knots.
    """

    knots: FloatArray
    pieces: FloatArray
    stepped: bool

    @property
    def duration(self) -> float:
        """[s]."""
        return float(self.knots[-1])

    def at(self, t: FloatArray) -> FloatArray:
        """Return share of the way, its rate [1/s] and the rate of that [1/s^2], shape (3, n).

        Args:
            t: Times from the start [s], shape (n,).
        """
        if self.pieces.shape[1] == 0:
            return np.stack([np.where(t < 0.0, 0.0, 1.0), 0.0 * t, 0.0 * t])
        piece = np.clip(np.searchsorted(self.knots, t, side="right") - 1, 0, self.pieces.shape[1] - 1)
        since, c = t - self.knots[piece], self.pieces[:, piece]
        out = np.stack([_value(_slope(c, order), since) for order in range(3)])
        before, after = t < 0.0, t >= self.knots[-1]
        out[:, before] = 0.0
        out[:, after] = np.array([[1.0], [0.0], [0.0]])
        return out

    def time_left(self, share: float) -> float:
        """Return how long before the end a share of the way is left [s]; from the middle on, shares fall all the way.

        Args:
            share: From 0 to 1.
        """
        low, high = 0.0, self.duration
        while high - low > 1e-12 * self.duration:  # bisection: rising all the way, but flat at both ends
            middle = (low + high) / 2.0
            if middle in (low, high):
                break
            low, high = (middle, high) if 1.0 - float(self.at(np.array([middle]))[0, 0]) > share else (low, middle)
        return self.duration - high


def _slope(coefficients: FloatArray, order: int) -> FloatArray:
    for _ in range(order):
        coefficients = coefficients[1:] * np.arange(1, len(coefficients))[:, None]
    return coefficients


def _value(coefficients: FloatArray, x: FloatArray) -> FloatArray:
    out = np.zeros_like(x)
    for row in coefficients[::-1]:
        out = out * x + row
    return out


def trapezoid(speed: float, acceleration: float) -> Profile:
    """Return the profile of constant acceleration, constant speed and constant deceleration.

    Args:
        speed: Largest [1/s].
        acceleration: Largest [1/s^2].
    """
    peak = min(speed, np.sqrt(acceleration))
    rise = peak / acceleration
    return of_jerks([(rise, acceleration, 0.0), (1.0 / peak - rise, 0.0, 0.0), (rise, -acceleration, 0.0)], True)


def jerk_limited(speed: float, acceleration: float, jerk: float | None = None) -> Profile:
    """Return the profile whose acceleration is made of ramps: up, level and down, cruise, and back.

    Args:
        speed: Largest [1/s].
        acceleration: Largest [1/s^2].
        jerk: Largest [1/s^3]; None: ramps use the whole time of acceleration, whose peak is still the largest.
    """
    if jerk is None:
        peak = min(speed, np.sqrt(acceleration / 2.0))
        ramp, rise = peak / acceleration, 2.0 * peak / acceleration
        top = acceleration
    else:
        ramp = min(acceleration / jerk, np.sqrt(speed / jerk))
        rise = ramp + speed / (jerk * ramp)
        peak = speed
        if peak * rise > 1.0:  # full speed is not reached
            if 2.0 * acceleration**3 <= jerk**2:
                ramp = acceleration / jerk
                rise = ramp / 2.0 + np.sqrt(ramp**2 / 4.0 + 1.0 / acceleration)
            else:
                ramp = (2.0 * jerk) ** (-1.0 / 3.0)
                rise = 2.0 * ramp
            peak = 1.0 / rise
        top = jerk * ramp
    up, level, cruise = (ramp, 0.0, top / ramp), (rise - 2.0 * ramp, top, 0.0), (1.0 / peak - rise, 0.0, 0.0)
    down, back, fall = (ramp, top, -top / ramp), (ramp, 0.0, -top / ramp), (rise - 2.0 * ramp, -top, 0.0)
    return of_jerks([up, level, down, cruise, back, fall, (ramp, -top, top / ramp)], False)


def quintic(speed: float, acceleration: float, jerk: float | None = None) -> Profile:
    """Return the polynomial of degree five over the whole way, in the least time that keeps to the limits.

    Args:
        speed: Largest [1/s].
        acceleration: Largest [1/s^2].
        jerk: Largest [1/s^3], which it has at both ends; None: any.
    """
    limits = speed, acceleration, np.inf if jerk is None else jerk
    peaks = zip(QUINTIC_PEAKS, limits, strict=True)
    time = max((peak / limit) ** (1.0 / n) for n, (peak, limit) in enumerate(peaks, start=1))
    pieces = np.array([0.0, 0.0, 0.0, 10.0 / time**3, -15.0 / time**4, 6.0 / time**5])[:, None]
    return Profile(np.array([0.0, time]), pieces, False)


def standstill() -> Profile:
    """Return the profile of no way, which takes no time."""
    return Profile(np.zeros(1), np.zeros((6, 0)), False)


def of_jerks(pieces: list[tuple[float, float, float]], stepped: bool) -> Profile:
    """Return the profile of (duration, first acceleration, jerk) in turn; what takes no time is left out."""
    longest = max(time for time, _, _ in pieces)
    knots, rows, s, v = [0.0], [], 0.0, 0.0
    for time, a, j in pieces:
        if time > 1e-12 * longest:
            rows.append([s, v, a / 2.0, j / 6.0, 0.0, 0.0])
            s += time * (v + time * (a / 2.0 + time * j / 6.0))
            v += time * (a + time * j / 2.0)
            knots.append(knots[-1] + time)
    return Profile(np.array(knots), np.array(rows).T, stepped)
