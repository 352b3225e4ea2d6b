"""The cubic spline through samples: its second derivative, straight between them."""

from __future__ import annotations

import numpy as np

from gripmargin.base.arrays import FloatArray


def spline_curvature(t: FloatArray, y: FloatArray) -> FloatArray:
    """Return the second derivative at the samples of the cubic spline through them.

    Its first and last pieces are parabolas, so that neither rest nor a steady acceleration at the ends is distorted
    (de Boor, A Practical Guide to Splines, ch. IV, from memory).

    Args:
        t: Times [s], increasing, shape (n,), n >= 3.
        y: Samples, shape (n, channels).

    Returns:
        [unit/s^2], shape (n, channels).
    """
    from scipy.linalg import solve_banded  # noqa: PLC0415 - only estimated rates need it

    h = np.diff(t)
    bend = np.diff(np.diff(y, axis=0) / h[:, None], axis=0)
    bands = np.zeros((3, t.size))
    bands[1, 1:-1] = (h[:-1] + h[1:]) / 3.0
    bands[0, 2:] = h[1:] / 6.0
    bands[2, :-2] = h[:-1] / 6.0
    bands[1, 0], bands[0, 1] = h[0], -h[0]
    bands[1, -1], bands[2, -2] = h[-1], -h[-1]
    right = np.zeros(y.shape)
    right[1:-1] = bend
    return np.asarray(solve_banded((1, 1), bands, right, check_finite=False))


def spline_slope(t: FloatArray, y: FloatArray, curvature: FloatArray) -> FloatArray:
    """Return the first derivative at the samples of the cubic spline with the given second derivative, its shape."""
    h = np.diff(t)[:, None]
    rise = np.diff(y, axis=0) / h
    after = rise - h * (2.0 * curvature[:-1] + curvature[1:]) / 6.0
    return np.concatenate([after, rise[-1:] + h[-1:] * (curvature[-2:-1] + 2.0 * curvature[-1:]) / 6.0])
