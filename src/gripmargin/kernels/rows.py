"""Rows of numbers, straight between their places."""

from __future__ import annotations

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.core import kernel


def straight_between(t: FloatArray, told: FloatArray, rows: FloatArray) -> FloatArray:
    """Return rows at some times, straight between the nearest two; before the first and after the last as there.

    Args:
        t: Times [s], shape (m,).
        told: Times of the rows [s], increasing, shape (n,), one or more.
        rows: Shape (r, n).

    Returns:
        Shape (r, m).
    """
    compiled = kernel("straight_between")
    if compiled is not None:
        out = np.empty((len(rows), t.size))
        compiled((len(rows), told.size, t.size), (t, told, rows), (out,))
        return out
    return np.stack([np.interp(t, told, row) for row in rows])
