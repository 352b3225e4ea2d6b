"""Pieces of a program that keep their time law, at instants between their samples."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.interpolate import BSpline

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.law_defects import Samples
from gripmargin.kernels.sample_noise import channel_noise
from gripmargin.kernels.time_law import Law, evaluated
from gripmargin.motion.between import law_of
from gripmargin.motion.trajectory import JointTrajectory
from gripmargin.tuning.fit import NOISES, fitted
from gripmargin.tuning.joint_program import JointProgram
from gripmargin.tuning.path import FEWEST


def joined(trajectory: JointTrajectory) -> tuple[Samples, Law]:
    """Return the samples of a program with rates and the law between them; where none is known one that joins them."""
    given, law = law_of(trajectory)
    through = law_of(replace(trajectory, interpolation="quintic"))[1]
    breaks, pieces = (
        np.where(law.loose, *both) for both in ((through.breaks, law.breaks), (through.pieces, law.pieces))
    )
    return given, law._replace(breaks=breaks, pieces=pieces)


class Kept:
    """Samples from one rest to another that are run as before."""

    def __init__(self, program: JointProgram, first: int, last: int) -> None:
        """Take them from a program; what happens beyond the rests at both ends is not theirs."""
        old = program.laws.trajectory
        self._curve: BSpline | None = None
        span = slice(first, last + 1)
        if old.qdd is None and last - first + 1 >= FEWEST:
            t, q = old.t[span], old.q[span]
            noise = float(channel_noise(t, np.ascontiguousarray(q.T)).max())
            self._curve = fitted(t, q, NOISES * noise).spline
            return
        if old.qdd is None:
            old = replace(old, qd=program.qd, qdd=program.qdd, interpolation="quintic")
        self._given, self._law = joined(old)
        t = self._given.t
        self._first = int(np.searchsorted(t, old.t[first], side="right")) - 1
        self._last = int(np.searchsorted(t, old.t[last])) - 1

    def at(self, times: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return positions, speeds and accelerations at times of the program, each of shape (m, joints)."""
        if self._curve is not None:
            return self._curve(times), self._curve(times, 1), self._curve(times, 2)
        t = self._given.t
        i = np.clip(np.searchsorted(t, times, side="right") - 1, self._first, self._last)
        return evaluated(self._given, self._law, i, (times - t[i]) / np.diff(t)[i])
