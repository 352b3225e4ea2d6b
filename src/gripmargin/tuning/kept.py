"""Pieces of a program that keep their time law, at instants between their samples."""

from __future__ import annotations

import numpy as np
from scipy.interpolate import BSpline

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.sample_noise import channel_noise
from gripmargin.motion.interpolate import quintic_between
from gripmargin.tuning.fit import NOISES, fitted
from gripmargin.tuning.joint_program import JointProgram
from gripmargin.tuning.path import FEWEST
from gripmargin.tuning.peaks import Intervals

EXACT = 2e-7  # [rad or m] distance from exact samples of moves that keep their time law
AGREES = 0.02  # share of a step of acceleration by which the place may tell another instant than the speed does
ROUNDING = 1e-6  # share of an interval


class Kept:
    """Samples from one rest to another that are run as before."""

    def __init__(self, program: JointProgram, first: int, last: int) -> None:
        """Take them from a program; what happens beyond the rests at both ends is not theirs."""
        old = program.laws.trajectory
        span = slice(first, last + 1)
        self.t, self.q, self.qd, self.qdd = old.t[span], old.q[span], program.qd[span], program.qdd[span].copy()
        self._curve: BSpline | None = None
        if old.qdd is None and self.t.size >= FEWEST:
            noise = float(channel_noise(self.t, np.ascontiguousarray(self.q.T)).max())
            self._curve = fitted(self.t, self.q, EXACT + NOISES * noise).spline
            return
        smooth, h = self._intervals().smooth, np.diff(self.t)
        for end, beside, interval in ((0, 1, 0), (-1, -2, -1)):
            inside = 2.0 * (self.qd[end] - self.qd[beside]) / (h[interval] * (1 if end else -1)) - self.qdd[beside]
            self.qdd[end] = np.where(smooth[interval], self.qdd[end], inside)
        self._steps = self._found_steps()

    def at(self, times: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return positions, speeds and accelerations at times of the program, each of shape (m, joints).

        Where one step of acceleration or jerk between two samples explains them it is one; a polynomial would swing
        about it.
        """
        if self._curve is not None:
            return self._curve(times), self._curve(times, 1), self._curve(times, 2)
        q, qd, qdd = quintic_between(self.t, self.q, self.qd, self.qdd, times)
        step, slopes, known = self._steps
        i = np.clip(np.searchsorted(self.t, times, side="right") - 1, 0, self.t.size - 2)
        h, x = np.diff(self.t)[i, None], (times - self.t[i])[:, None]
        ahead = x < step[i]
        slope, x = np.where(ahead, slopes[0][i], slopes[1][i]), np.where(ahead, x, x - h)
        a, v, p = (np.where(ahead, rows[i], rows[i + 1]) for rows in (self.qdd, self.qd, self.q))
        stepped = p + x * (v + x * (a / 2 + x * slope / 6)), v + x * (a + x * slope / 2), a + x * slope
        here = known[i]
        return np.where(here, stepped[0], q), np.where(here, stepped[1], qd), np.where(here, stepped[2], qdd)

    def _intervals(self) -> Intervals:
        return Intervals.of(self.t, self.q, self.qd, self.qdd, given=True)

    def _found_steps(self) -> tuple[FloatArray, tuple[FloatArray, FloatArray], FloatArray]:
        """When after each sample the law before it gives way to that of the interval after it, their slopes, and where.

        The law a0 + j0 x before the step and a1 + j1 (x - h) after it have to make up the change of speed, which gives
        the instant, and the travel, which has to agree.
        """
        found, h = self._intervals(), np.diff(self.t)[:, None]
        change, none = found.end[1] - found.start[1], np.zeros((1, self.q.shape[1]))
        last, first = (change - found.even - found.odd) / found.h, (change + found.even - found.odd) / found.h
        j0 = np.vstack([none, np.where(found.smooth, last, 0.0)[:-1]])
        j1 = np.vstack([np.where(found.smooth, first, 0.0)[1:], none])
        jump = change - h * j1  # of the two laws at the first sample
        bend, excess = j0 - j1, np.diff(self.qd, axis=0) - h * found.end[1] + h**2 * j1 / 2
        # -jump s + bend s^2 / 2 = excess
        with np.errstate(divide="ignore", invalid="ignore"):
            root = np.sqrt(np.maximum(jump**2 + 2.0 * bend * excess, 0.0))
            s = -2.0 * excess / (jump + np.where(jump < 0, -root, root))
            travel = -jump * s**2 / 2 + bend * s**3 / 3
            # h v1 - (q1 - q0) is the first moment of the acceleration about the first sample
            moment = h * found.end[0] - np.diff(self.q, axis=0) - (found.end[1] * h**2 / 2 - j1 * h**3 / 6)
            agrees = np.abs(travel - moment) <= AGREES * np.abs(jump) * h**2
            known = ~found.smooth & (s >= -ROUNDING * h) & (s <= h * (1.0 + ROUNDING)) & agrees
        return np.where(known, np.clip(s, 0.0, h), 0.0), (j0, j1), known
