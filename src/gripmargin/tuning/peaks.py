"""The largest speed, acceleration and jerk of each joint from one sample to the next, by the law between them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.cubics import integrals, turning, value
from gripmargin.kernels.law_defects import MARKED, Samples
from gripmargin.kernels.time_law import LONG, Law

SHARES = np.linspace(0.0, 1.0, 9)[1:]


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
    speed, acceleration = (np.maximum(np.abs(x[:-1]), np.abs(x[1:])) for x in (given.qd, given.qdd))
    jerk, before, now = np.zeros_like(speed), given.qdd[:-1].copy(), given.qd[:-1].copy()
    for k, law_piece in enumerate(law.pieces):
        at = np.nonzero(edges[k + 1] > edges[k])
        low, high, c, start = edges[k][at], edges[k + 1][at], law_piece[:, *at], now[at]
        long = high - low > LONG
        slope = np.stack([c[1], 2.0 * c[2], 3.0 * c[3], 0.0 * low])
        with np.errstate(divide="ignore", invalid="ignore"):
            steepest = np.clip(np.nan_to_num(-c[2] / (3.0 * c[3])), low, high)
        turns = np.clip(np.nan_to_num(turning(c)), low, high)
        steep = np.max([np.abs(value(slope, x)) for x in (low, steepest, high)], axis=0)
        jumped = np.abs(value(c, low) - before[at])
        jerk[at] = np.maximum(jerk[at], np.maximum(np.where(long, steep, 0.0), jumped))
        acceleration[at] = np.max([acceleration[at], *(np.abs(value(c, x)) for x in (low, *turns, high))], axis=0)
        gone = integrals(c, low)[0]
        for share in SHARES:
            now[at] = start + width[at[0], 0] * (integrals(c, low + share * (high - low))[0] - gone)
            speed[at] = np.maximum(speed[at], np.abs(now[at]))
        before[at] = np.where(long, value(c, high), before[at])
    jerk = np.maximum(jerk, np.abs(given.qdd[1:] - before)) / h
    change, mean = np.diff(given.qdd, axis=0), np.diff(given.qd, axis=0) / width
    missed = 2.0 * np.abs(mean - (given.qdd[1:] + given.qdd[:-1]) / 2.0) / h
    jerk = np.where(law.loose, missed + np.hypot(missed, change / h), jerk)
    return Peaks(speed, acceleration + law.beyond(slice(None), acceleration), jerk)
