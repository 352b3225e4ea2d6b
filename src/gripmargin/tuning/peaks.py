"""The largest speed, acceleration and jerk of each joint from one sample to the next."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.sample_noise import grid
from gripmargin.motion.consistency import in_motion, rounding

MARKED = 1e-6  # [s] samples closer than this mark a step
ALIKE = 0.01  # share by which the jerk of two polynomials may differ where they are one
ABRUPT = 4.0  # times the change of acceleration in the intervals beside it: a change within one interval
SHARES = np.linspace(0.0, 1.0, 9)


@dataclass(frozen=True, eq=False)
class Intervals:
    """The law of each joint between samples.

    With given rates it is the polynomial of degree five through both ends. Where three in a row
    go on in each other it is the law itself; elsewhere acceleration or jerk step within the interval.

    Attributes:
        h: Widths [s], shape (n - 1, 1); of a marked step the least of those beside it.
        start: Speed and acceleration at the first sample, each shape (n - 1, joints).
        end: At the second.
        even: What the acceleration has on top of the straight line through both ends: s (1 - s) (even + odd (2 s - 1))
            at the share s of the interval, shape (n - 1, joints).
        odd: Likewise.
        smooth: Where that is the law, shape (n - 1, joints).
    """

    h: FloatArray
    start: tuple[FloatArray, FloatArray]
    end: tuple[FloatArray, FloatArray]
    even: FloatArray
    odd: FloatArray
    smooth: NDArray[np.bool_]

    @classmethod
    def of(cls, t: FloatArray, q: FloatArray, qd: FloatArray, qdd: FloatArray, *, given: bool) -> Intervals:
        """Find the laws.

        Args:
            t: Times [s], shape (n,), n >= 2.
            q: Positions, shape (n, joints).
            qd: Speeds.
            qdd: Accelerations.
            given: Whether the rates are the program's own; those that are estimated do not follow from each other.
        """
        h = np.diff(t)[:, None]
        wide = np.where(h > MARKED, h, np.inf)
        beside = np.minimum(np.vstack([wide[1:], [[np.inf]]]), np.vstack([[[np.inf]], wide[:-1]]))
        h = np.where((h > MARKED) | np.isinf(beside), h, beside)
        even = odd = np.zeros_like(qd[1:])
        if given:
            moving, span = in_motion(qd), np.diff(t)[:, None]
            excess = np.diff(qd, axis=0) - span * (qdd[:-1] + qdd[1:]) / 2
            moment = np.diff(q, axis=0) - span * (qd[:-1] + qd[1:]) / 2 + span**2 * np.diff(qdd, axis=0) / 12
            dq, dv, da = (grid(np.ascontiguousarray(column.T)) for column in (q, qd, qdd))
            even = 6.0 * _beyond(excess, np.maximum(rounding(excess, moving), dv + span * da / 2)) / h
            digits = dq + span * dv / 2 + span**2 * da / 12
            odd = -60.0 * _beyond(moment, np.maximum(rounding(moment, moving), digits)) / h**2
        change = np.diff(qdd, axis=0)
        first, last = (change + even - odd) / h, (change - even - odd) / h
        size = np.maximum(np.abs(last[:-1]), np.abs(first[1:]))
        on = np.abs(last[:-1] - first[1:]) <= ALIKE * size + 1e-6 * np.abs(change / h).max(axis=0)
        three = np.pad(on[:-1] & on[1:], ((2, 2), (0, 0)))
        smooth = three[:-2] | three[1:-1] | three[2:] if len(h) > 2 else np.zeros(change.shape, dtype=bool)
        return cls(h, (qd[:-1], qdd[:-1]), (qd[1:], qdd[1:]), even, odd, smooth)

    def speed(self) -> FloatArray:
        """Return the largest speed in each interval, shape (n - 1, joints)."""
        out = np.maximum(np.abs(self.start[0]), np.abs(self.end[0]))
        a0, rise = self.start[1], self.end[1] - self.start[1]
        for s in SHARES[1:-1]:
            bump = self.even * (s**2 / 2 - s**3 / 3) + self.odd * (s**3 - s**2 / 2 - s**4 / 2)
            v = self.start[0] + self.h * (a0 * s + rise * s**2 / 2 + bump)
            out = np.where(self.smooth, np.maximum(out, np.abs(v)), out)
        return out

    def acceleration(self) -> FloatArray:
        """Return the largest acceleration in each interval, shape (n - 1, joints)."""
        a0, a1 = self.start[1], self.end[1]
        out = np.maximum(np.abs(a0), np.abs(a1))
        for s in SHARES[1:-1]:
            a = a0 + (a1 - a0) * s + s * (1 - s) * (self.even + self.odd * (2 * s - 1))
            out = np.where(self.smooth, np.maximum(out, np.abs(a)), out)
        return np.maximum(out, np.abs((self.end[0] - self.start[0]) / self.h))

    def jerk(self) -> FloatArray:
        """Return the largest jerk in each interval, shape (n - 1, joints).

        Exact on polynomials up to degree five. A change of acceleration within one interval counts from sample to
        sample; one that takes longer, with the least jerk that brings about the change of speed in it as well: up and
        down at J from a0 to a1 over h, the mean acceleration exceeds (a0 + a1) / 2 by (J^2 - d^2) h / (4 J).
        """
        change = self.end[1] - self.start[1]
        steady = np.abs(change) / self.h
        ends = np.abs(change - self.odd) + np.abs(self.even)
        with np.errstate(divide="ignore", invalid="ignore"):
            u = -self.even / (3.0 * self.odd)
            inside = np.where(np.abs(u) < 1, np.abs(change + self.odd / 2 + self.even**2 / (6 * self.odd)), 0.0)
        polynomial = np.maximum(ends, np.nan_to_num(inside)) / self.h
        pad = np.zeros((1, steady.shape[1]))
        beside = np.maximum(np.vstack([pad, steady[:-1]]), np.vstack([steady[1:], pad]))
        missed = np.abs(self.even) / (3.0 * self.h)
        least = np.where(steady > ABRUPT * beside, steady, missed + np.hypot(missed, steady))
        first, last = (change + self.even - self.odd) / self.h, (change - self.even - self.odd) / self.h
        inner = self.smooth[:-1] & self.smooth[1:]  # the law next to a step goes on into it, seen from one further in
        back = np.pad(np.where(inner, np.abs(3.0 * first - 2.0 * last)[1:], 0.0), ((0, 2), (0, 0)))[1:]
        forth = np.pad(np.where(inner, np.abs(3.0 * last - 2.0 * first)[:-1], 0.0), ((2, 0), (0, 0)))[:-1]
        reach = np.maximum(back, forth)
        return np.where(self.smooth, polynomial, np.maximum(least, reach))


def _beyond(values: FloatArray, known: FloatArray) -> FloatArray:
    """Values, of either sign, without what rounding explains."""
    return np.asarray(np.sign(values) * np.maximum(np.abs(values) - known, 0.0))
