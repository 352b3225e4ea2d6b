"""Rows of numbers, straight between their places, and sums of tables of them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

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


def tables_between(
    table: FloatArray, near: NDArray[np.intp], share: FloatArray, second: FloatArray, third: FloatArray
) -> FloatArray:
    """Return the sum of three tables times factors, 1 for the first, each straight between two of its rows.

    Args:
        table: One after the other, n rows each, shape (3 n, k).
        near: The row before, at most n - 2, shape (..., m).
        share: Of the way to the next one, likewise.
        second: Factor of the second table, likewise.
        third: Of the third one, likewise.

    Returns:
        Shape (..., k, m).
    """
    size, columns = len(table) // 3, table.shape[1]
    compiled = kernel("tables_between")
    if compiled is not None:
        out = np.empty((*near.shape[:-1], columns, near.shape[-1]))
        many = near.size // max(near.shape[-1], 1), near.shape[-1]
        compiled((size, columns, *many), (table, near, share, second, third), (out,))
        return out
    from scipy.sparse import csr_array  # noqa: PLC0415 - only jobs with stops need it

    factors, first = (np.ones_like(share), second, third), np.arange(3) * size
    weights = np.stack([x * y for x in factors for y in (1.0 - share, share)], axis=-1)
    places = near[..., None] + (first[:, None] + np.arange(2)).ravel()
    picked = csr_array((weights.ravel(), places.ravel(), np.arange(0, places.size + 1, 6)), (near.size, 3 * size))
    return np.ascontiguousarray((picked @ table).reshape(*near.shape, columns).swapaxes(-1, -2))
