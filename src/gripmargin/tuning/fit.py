"""Smooth curves through samples, as close as their noise allows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import BSpline, make_lsq_spline

from gripmargin.base.arrays import FloatArray

DEGREE = 5
FIRST_PIECES = 8
ROUNDS = 12  # halvings of a piece
ENDS = 1e4  # weight of the first and the last sample
NOISES = 6.0  # standard deviations of the noise within which the curve stays


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
    """Return a least-squares spline through samples; pieces in which it is not close enough are halved.

    It meets the first and the last sample. de Boor, A Practical Guide to Splines, 1978, ch. 14 (from memory).

    Args:
        x: Increasing, shape (n,), n >= 16.
        y: Samples, shape (n, channels).
        tolerance: Distance from the samples that is close enough.
    """
    weights = np.ones(x.size)
    weights[[0, -1]] = ENDS
    bounds = np.linspace(x[0], x[-1], FIRST_PIECES + 1)
    found: list[Fit] = []
    used = -1
    for _ in range(ROUNDS):
        knots = _between_samples(x, bounds[1:-1])
        if knots.size == used:
            break  # every piece is as short as the samples allow
        used = knots.size
        spline = make_lsq_spline(x, y, np.r_[(x[0],) * (DEGREE + 1), knots, (x[-1],) * (DEGREE + 1)], DEGREE, w=weights)
        distance = np.abs(spline(x) - y).max(axis=1)
        found.append(Fit(spline, float(distance.max())))
        if found[-1].deviation <= tolerance:
            break
        piece = np.clip(np.searchsorted(bounds, x, side="right") - 1, 0, bounds.size - 2)
        coarse = np.unique(piece[distance > tolerance])
        bounds = np.sort(np.concatenate([bounds, (bounds[coarse] + bounds[coarse + 1]) / 2]))
    return min(found, key=lambda fit: fit.deviation)


def _between_samples(x: FloatArray, knots: FloatArray) -> FloatArray:
    """Knots halfway between samples, with at least two samples between any two of them (Schoenberg and Whitney)."""
    at = np.unique(np.searchsorted(x, knots))
    at = at[(at > DEGREE) & (at < x.size - DEGREE - 1)]
    kept: list[int] = []
    for i in at.tolist():
        if not kept or i - kept[-1] >= 2:
            kept.append(i)
    spaced = np.array(kept, dtype=np.intp)
    return np.asarray((x[spaced - 1] + x[spaced]) / 2)
