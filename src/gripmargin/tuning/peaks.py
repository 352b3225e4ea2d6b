"""The largest speed, acceleration and jerk of each joint from one sample to the next, by the law between them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.cubics import turning, value
from gripmargin.kernels.time_law import LONG, MARKED, Law, Samples, evaluated

SHARES = np.linspace(0.0, 1.0, 9)


class Peaks(NamedTuple):
    """Of each interval and joint, shape (n - 1, joints)."""

    speed: FloatArray
    acceleration: FloatArray
    jerk: FloatArray


def peaks(given: Samples, law: Law) -> Peaks:
    """Return the largest rates between samples.

    A change of acceleration within a small part of an interval counts from sample to sample. Where the law is loose it
    is the least jerk that brings about the change of speed: up and down at J from a0 to a1 over h, the mean
    acceleration exceeds (a0 + a1) / 2 by (J^2 - d^2) h / (4 J), where d = (a1 - a0) / h.

    Args:
        given: The samples.
        law: Between them.
    """
    width = np.diff(given.t)[:, None]
    wide = np.pad(np.where(width > MARKED, width, np.inf), ((1, 1), (0, 0)), constant_values=np.inf)
    beside = np.minimum(wide[2:], wide[:-2])
    h = np.where((width > MARKED) | np.isinf(beside), width, beside)  # of a marked step the least of those beside it
    edges = np.concatenate([np.zeros((1, *law.slack.shape)), law.breaks, np.ones((1, *law.slack.shape))])
    speed = np.maximum(np.abs(given.qd[:-1]), np.abs(given.qd[1:]))
    every = np.arange(len(h))
    for share in SHARES[1:-1]:
        speed = np.maximum(speed, np.abs(evaluated(given, law, every, np.full(every.size, share))[1]))
    acceleration = np.maximum(np.abs(given.qdd[:-1]), np.abs(given.qdd[1:]))
    jerk, before = np.zeros_like(speed), given.qdd[:-1]
    for k, piece in enumerate(law.pieces):
        low, high = edges[k], edges[k + 1]
        there, long = high > low, high - low > LONG
        slope = np.stack([piece[1], 2.0 * piece[2], 3.0 * piece[3], 0.0 * low])
        with np.errstate(divide="ignore", invalid="ignore"):
            steepest = np.clip(np.nan_to_num(-piece[2] / (3.0 * piece[3])), low, high)
        for x in (low, steepest, high):
            jerk = np.where(long, np.maximum(jerk, np.abs(value(slope, x))), jerk)
        for x in (low, *np.clip(np.nan_to_num(turning(piece)), low, high), high):
            acceleration = np.where(there, np.maximum(acceleration, np.abs(value(piece, x))), acceleration)
        jerk = np.where(there, np.maximum(jerk, np.abs(value(piece, low) - before)), jerk)
        before = np.where(long, value(piece, high), before)
    jerk = np.maximum(jerk, np.abs(given.qdd[1:] - before)) / h
    change, mean = np.diff(given.qdd, axis=0), np.diff(given.qd, axis=0) / width
    missed = 2.0 * np.abs(mean - (given.qdd[1:] + given.qdd[:-1]) / 2.0) / h
    jerk = np.where(law.loose, missed + np.hypot(missed, change / h), jerk)
    return Peaks(speed, acceleration + law.slack, jerk)
