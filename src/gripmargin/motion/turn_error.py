"""How far orientations may be off by the digits of the numbers that they are written in.

In: angles or quaternions.
Out: a hard bound of the error about each body axis.
Error: of second order in the digit.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.digits import rounded_to

COARSEST: Final = 2.1e-4  # [rad] four decimals of a quaternion: half a digit, twice, times the sum of its numbers, 2


def turn_error(values: ArrayLike, rotations: Callable[[FloatArray], FloatArray]) -> FloatArray:
    """Return how far orientations may be off about each body axis by the digits of the numbers they are written in.

    Each number is within half of its last digit: together they turn the body by no more than the sum of what each
    does alone (first order in the digit).

    Args:
        values: Angles [rad] or quaternions, shape (n, 3) or (n, 4).
        rotations: What makes body axes of them, as columns, shape (n, 3, 3).

    Returns:
        The most of all samples [rad], shape (3,); 0 where the numbers do not show that they are rounded, or are
        so coarse that moves hide in a digit.
    """
    given = np.asarray(values, dtype=np.float64)
    error = 0.5 * rounded_to(np.ascontiguousarray(given.T))
    start, total = rotations(given), np.zeros((len(given), 3))
    for column, off in enumerate(error):
        beside = given.copy()
        beside[:, column] += off
        total += np.abs(sine_of_turn(start, rotations(beside)))
    most = total.max(axis=0)
    return np.asarray(np.where(most.max() <= COARSEST, most, 0.0))


def sine_of_turn(start: FloatArray, end: FloatArray) -> FloatArray:
    """Axis times sine of the angle of the turns from some orientations to others, in body axes, shape (n, 3).

    Args:
        start: Body axes as columns, shape (n, 3, 3).
        end: The same afterwards.
    """
    between = np.einsum("nji,njk->nik", start, end)
    return 0.5 * np.stack([between[:, k - 1, k - 2] - between[:, k - 2, k - 1] for k in range(3)], axis=-1)
