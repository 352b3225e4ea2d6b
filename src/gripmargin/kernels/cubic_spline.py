"""The cubic spline through samples: its first and second derivative at them."""

from __future__ import annotations

from typing import Any

import numpy as np

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
    from scipy.interpolate import make_interp_spline  # noqa: PLC0415 - 0.15 s that only estimated rates pay

    no_third = [(3, np.zeros(y.shape[1]))]
    ends: Any = no_third, no_third  # a form of the ends that the stubs of scipy do not know
    spline = make_interp_spline(t, y, k=3, bc_type=ends, check_finite=False)
    return np.stack([spline(t, nu=1), spline(t, nu=2)])
