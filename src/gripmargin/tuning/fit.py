"""Smooth curves through samples, as close as their noise allows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import BSpline, make_lsq_spline

from gripmargin.arrays import FloatArray

DEGREE = 5
FIRST_PIECES = 8
ENDS = 1e4  # weight of the first and the last sample
NOISES = 4.0  # standard deviations of the noise within which the curve stays


@dataclass(frozen=True, eq=False)
class Fit:
    """A spline and how far it stays from the samples.

    Attributes:
        spline: Of degree five.
        deviation: Largest distance from a sample in any channel.
    """

    spline: BSpline
    deviation: float


def fitted(x: FloatArray, y: FloatArray, tolerance: float) -> Fit:
    """Return the least-squares spline with the fewest even pieces, doubled until it is close enough.

    It meets the first and the last sample. de Boor, A Practical Guide to Splines, 1978, ch. 14 (from memory).

    Args:
        x: Increasing, shape (n,), n >= 8.
        y: Samples, shape (n, channels).
        tolerance: Distance from the samples that is close enough.
    """
    weights = np.ones(x.size)
    weights[[0, -1]] = ENDS
    best: Fit | None = None
    pieces = FIRST_PIECES
    while best is None or (best.deviation > tolerance and pieces <= x.size // 3):
        knots = _between_samples(x, np.linspace(x[0], x[-1], pieces + 1)[1:-1])
        spline = make_lsq_spline(x, y, np.r_[(x[0],) * (DEGREE + 1), knots, (x[-1],) * (DEGREE + 1)], DEGREE, w=weights)
        deviation = float(np.abs(spline(x) - y).max())
        if best is None or deviation < best.deviation:
            best = Fit(spline, deviation)
        pieces *= 2
    return best


def _between_samples(x: FloatArray, knots: FloatArray) -> FloatArray:
    """Knots halfway between samples, with at least two samples between any two of them (Schoenberg and Whitney)."""
    at = np.unique(np.searchsorted(x, knots))
    at = at[(at > DEGREE) & (at < x.size - DEGREE - 1)]
    spaced = at[np.concatenate([[True], np.diff(at) >= 2])] if at.size else at
    return (x[spaced - 1] + x[spaced]) / 2
