"""What all but a few of a scattered quantity keep, as far as a straight line through measured values tells."""

from __future__ import annotations

import numpy as np

from gripmargin.base.arrays import FloatArray


def tolerance_bounds(
    x: FloatArray, y: FloatArray, at: float, *, content: float, confidence: float
) -> tuple[float, float]:
    """Return two values of which each by itself leaves out at most a given share of what is scattered about a line.

    One-sided tolerance bounds of a normal quantity about its line of regression: with ``h = 1/n + (at - mean x)^2/Sxx``
    they lie ``sqrt(h) t s`` below and above the line, ``t`` from the noncentral t distribution of ``n - 2`` degrees of
    freedom with the noncentrality ``z / sqrt(h)`` (Owen, SIAM J. Appl. Math. 16(3), 1968, from memory).

    Args:
        x: Where values were measured, at two places at least, shape (n,), n >= 3.
        y: The values, shape (n,).
        at: Where they are asked for, in the unit of ``x``.
        content: Share of all values that lies on the right side, 0.5 to 1.
        confidence: With which it does, 0.5 to 1.

    Returns:
        The value that so many exceed, and the one that as many stay below, in the unit of ``y``.
    """
    from scipy import special  # noqa: PLC0415 - 0.05 s that only curves of single presses pay

    from_mean, n = x - x.mean(), x.size
    spread = float(from_mean @ from_mean)
    slope = float(from_mean @ y) / spread
    left = y - y.mean() - slope * from_mean
    scatter = float(np.sqrt(left @ left / (n - 2)))
    height = np.sqrt(1.0 / n + (at - x.mean()) ** 2 / spread)
    off = height * special.nctdtrit(n - 2, special.ndtri(content) / height, confidence) * scatter
    line = float(y.mean() + slope * (at - x.mean()))
    return line - off, line + off
