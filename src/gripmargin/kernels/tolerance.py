"""What all but a few of a scattered quantity keep, as far as a straight line through measured values tells."""

from __future__ import annotations

from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray

BETWEEN: Final = 0.905  # confidence of the ratio of variances, for bounds of 0.95 (Mee & Owen 1983, from memory)


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


def block_tolerance_bounds(
    x: FloatArray, y: FloatArray, block: FloatArray, at: float, *, content: float, confidence: float
) -> tuple[float, float]:
    """Return such bounds of a quantity that scatters from block to block, and within each about a line of its own.

    The lines give ``k`` values at ``at``, whose variance is that between the blocks and ``h`` of that within: ``h`` is
    their mean ``1/m + (at - mean x)^2/Sxx``. From there it is the one-way random model: the total variance by both mean
    squares, its degrees of freedom by Satterthwaite, and as many values that count as a confidence bound of the ratio
    of variances leaves, between ``k`` and ``k/h`` (Mee & Owen, J. Am. Stat. Assoc. 78:901-905, 1983, from memory;
    unequal blocks by unweighted means: Thomas & Hultquist, Ann. Stat. 6:582-587, 1978, from memory). How often it keeps
    its promise is measured in `tests/bench/tolerance.py`.

    Args:
        x: Where values were measured, shape (n,): in each block at two places at least, in one at a third time.
        y: The values, shape (n,).
        block: Which block each is of, shape (n,); two at least.
        at: Where they are asked for, in the unit of ``x``.
        content: Share of all values of all blocks that lies on the right side, 0.5 to 1.
        confidence: With which it does, 0.5 to 1.

    Returns:
        The value that so many exceed, and the one that as many stay below, in the unit of ``y``.
    """
    from scipy import special  # noqa: PLC0415 - 0.05 s that only curves of single presses pay

    blocks = np.unique(block)
    k, lines, heights, left, freedom = blocks.size, [], [], 0.0, 0
    for one in blocks:
        own = block == one
        from_mean, values = x[own] - x[own].mean(), y[own]
        spread = float(from_mean @ from_mean)
        slope = float(from_mean @ values) / spread
        residual = values - values.mean() - slope * from_mean
        left, freedom = left + float(residual @ residual), freedom + int(own.sum()) - 2
        lines.append(float(values.mean()) + slope * (at - float(x[own].mean())))
        heights.append(1.0 / own.sum() + (at - float(x[own].mean())) ** 2 / spread)
    height, within, between = float(np.mean(heights)), left / freedom, float(np.var(lines, ddof=1))
    rest = max(1.0 - height, 0.0)
    ratio = max(between / within * special.fdtri(freedom, k - 1, BETWEEN), height) if within > 0.0 else np.inf
    share = rest / ratio  # of the variance within that the lines do not have, over what they have
    counted = k * (1.0 + share)
    degrees = (1.0 + share) ** 2 / (1.0 / (k - 1) + share**2 / freedom)
    scatter = np.sqrt((between + rest * within) / counted)
    off = special.nctdtrit(degrees, special.ndtri(content) * np.sqrt(counted), confidence) * float(scatter)
    middle = float(np.mean(lines))
    return middle - off, middle + off
