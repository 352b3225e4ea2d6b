"""Cubics by the thousand: coefficients lowest power first, along the first axis; closed forms."""

from __future__ import annotations

import numpy as np

from gripmargin.base.arrays import FloatArray


def moved(c: FloatArray, start: float | FloatArray, scale: float | FloatArray) -> FloatArray:
    """Return the coefficients of a cubic as a function of x where it is taken at start + scale x."""
    c0, c1, c2, c3 = c
    a, b = start, scale
    return np.stack(
        [
            c0 + a * (c1 + a * (c2 + a * c3)),
            b * (c1 + a * (2.0 * c2 + 3.0 * a * c3)),
            b**2 * (c2 + 3.0 * a * c3),
            b**3 * c3,
        ]
    )


def between(y: FloatArray, rates: FloatArray, step: float) -> FloatArray:
    """Return the cubic over x from 0 to 1 with given values and rates at its ends (Hermite), shape (4, ...).

    Args:
        y: At both ends, shape (2, ...).
        rates: There, by a variable of which the whole way takes a step, shape (2, ...).
        step: That step.
    """
    rise, (first, last) = y[1] - y[0], step * rates
    return np.stack([y[0], first, 3.0 * rise - 2.0 * first - last, first + last - 2.0 * rise])


def value(c: FloatArray, x: FloatArray) -> FloatArray:
    """Return the value of a cubic at x."""
    return np.asarray(c[0] + x * (c[1] + x * (c[2] + x * c[3])))


def integrals(c: FloatArray, x: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the integrals from 0 to x of a cubic, and of it times (1 - x)."""
    plain = x * (c[0] + x * (c[1] / 2.0 + x * (c[2] / 3.0 + x * c[3] / 4.0)))
    return plain, plain - x**2 * (c[0] / 2.0 + x * (c[1] / 3.0 + x * (c[2] / 4.0 + x * c[3] / 5.0)))


def turning(c: FloatArray) -> FloatArray:
    """Return both places at which each cubic turns, NaN where it does not, shape (2, ...)."""
    _, c1, c2, c3 = c
    with np.errstate(divide="ignore", invalid="ignore"):
        root = np.sqrt(c2 * c2 - 3.0 * c1 * c3)
        both = -c2 - np.where(c2 < 0.0, -root, root)  # without cancellation
        found = np.stack([both / (3.0 * c3), c1 / both])
    return np.where(np.isfinite(found), found, np.nan)
