"""The better of two kinds of bounds along a series, where each sample at which the kinds meet has to have both."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray


def better_course(one: FloatArray, other: FloatArray, both: FloatArray) -> NDArray[np.bool_]:
    """Where the other kind serves, so that the sum is least (Viterbi, IEEE Trans. Inf. Theory 13(2), 1967).

    Args:
        one: What a sample costs by the first kind, shape (n,).
        other: By the other kind, shape (n,).
        both: By the other kind beside a sample of the first, shape (n,); at least `other`.

    Returns:
        Whether each sample is of the other kind, shape (n,).
    """
    gain, change = (one - other).tolist(), (both - other).tolist()
    ahead = [gain[0]]  # by how much the least sum that ends with the other kind is less
    for k in range(1, len(gain)):
        ahead.append(min(max(ahead[-1], -change[k]), change[k - 1]) + gain[k])
    kind = ahead[-1] > 0.0
    course = [kind]
    for k in range(len(gain) - 2, -1, -1):
        kind = ahead[k] > (-change[k + 1] if kind else change[k])
        course.append(kind)
    return np.array(course[::-1])
