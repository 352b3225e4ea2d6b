"""The cubic spline through samples: its first and second derivative at them."""

from __future__ import annotations

import numpy as np
from scipy.linalg import cho_solve_banded, cholesky_banded

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
    step = np.diff(t)
    # The second derivative is straight between samples; where it bends, the first one has to go on.
    rows = np.zeros((2, t.size - 2))
    rows[0, 1:], rows[1] = step[1:-1], 2.0 * (step[:-1] + step[1:])
    rows[1, 0] += step[0]
    rows[1, -1] += step[-1]
    factors = cholesky_banded(rows, overwrite_ab=True, check_finite=False)
    slope, bend = out = np.empty((2, *y.shape))
    for channel, values in enumerate(y.T):  # one after the other: of a long program there is no room for all
        rise = np.diff(values) / step
        inside = cho_solve_banded((factors, False), 6.0 * np.diff(rise), overwrite_b=True, check_finite=False)
        bend[:, channel] = own = np.concatenate([inside[:1], inside, inside[-1:]])
        slope[:-1, channel] = rise - step * (2.0 * own[:-1] + own[1:]) / 6.0
        slope[-1, channel] = rise[-1] + step[-1] * own[-1] / 2.0
    return out
