"""The cubic spline through samples: its first and second derivative at them."""

from __future__ import annotations

import numpy as np
from scipy.linalg import solveh_banded

from gripmargin.base.arrays import FloatArray


def spline_rates(t: FloatArray, y: FloatArray) -> FloatArray:
    """Return the first and the second derivative at the samples of the cubic spline through them.

    Its first and last pieces are parabolas, so that neither rest nor a steady acceleration at the ends is distorted
    (de Boor, A Practical Guide to Splines, ch. IV, from memory).

    Args:
        t: Times [s], increasing, shape (n,), n >= 4.
        y: Samples, shape (n, channels).

    Returns:
        [unit/s] and [unit/s^2], shape (2, n, channels).
    """
    step = np.diff(t)[:, None]
    rise = np.diff(y, axis=0) / step
    # The second derivative is straight between samples; where it bends, the first one has to go on.
    rows = np.zeros((2, t.size - 2))
    rows[0, 1:], rows[1] = step[1:-1, 0], 2.0 * (step[:-1, 0] + step[1:, 0])
    rows[1, 0] += step[0, 0]
    rows[1, -1] += step[-1, 0]
    inside = solveh_banded(rows, 6.0 * np.diff(rise, axis=0), check_finite=False)
    bend = np.concatenate([inside[:1], inside, inside[-1:]])
    slope = rise - step * (2.0 * bend[:-1] + bend[1:]) / 6.0
    last = rise[-1:] + step[-1:] * bend[-1:] / 2.0
    return np.stack([np.concatenate([slope, last]), bend])
