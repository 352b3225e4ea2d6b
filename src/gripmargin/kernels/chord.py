"""What a curve that is smooth but for kinks at its samples may exceed the straight lines between them by."""

from __future__ import annotations

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.law_defects import MARKED


def sag(t: FloatArray, values: FloatArray, *, upward: bool = False) -> FloatArray:
    """Return how far a curve is from its chord halfway between samples, shape (..., n - 1).

    An eighth of the second difference (remainder of linear interpolation, closed form): of both samples the larger, but
    at most twice the smaller, for at a kink it is large and says nothing of the curve beside it. Nothing is carried
    over the samples of a step.

    Args:
        t: Times [s], shape (n,).
        values: At the samples, shape (..., n).
        upward: Whether only a curve above its chord counts.
    """
    h = np.diff(t)
    bend = np.full(values.shape, np.inf)
    if h.size > 1:
        bend[..., 1:-1] = -np.diff(np.diff(values) / h) * 2.0 / (h[:-1] + h[1:])
        bend = np.maximum(bend, 0.0) if upward else np.abs(bend)
        bend[..., 1:-1][..., np.minimum(h[:-1], h[1:]) < MARKED] = np.inf
    one, other = bend[..., :-1], bend[..., 1:]
    least = np.minimum(one, other)
    bend = np.minimum(np.maximum(one, other), np.where(np.isinf(one) | np.isinf(other), least, 2.0 * least))
    return np.asarray(np.where(np.isfinite(least) & (h >= MARKED), bend, 0.0) * h**2 / 8.0)


def above(t: FloatArray, values: FloatArray) -> FloatArray:
    """Return by how much the top of a parabola exceeds the higher of neighbouring samples, shape (n - 1,).

    Args:
        t: Times [s], shape (n,).
        values: At the samples, shape (n,).
    """
    bulge, rise = sag(t, values, upward=True), np.abs(np.diff(values))
    top = (4.0 * bulge - rise) ** 2 / (16.0 * np.where(bulge > 0.0, bulge, 1.0))
    return np.where(4.0 * bulge <= rise, 0.0, top)  # of values that are no numbers it is none either
