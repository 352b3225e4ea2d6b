"""The better of two kinds of bounds along a series, where each sample at which the kinds meet has to have both."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import leave, parts, stored


def better_course(one: FloatArray, other: FloatArray, both: FloatArray) -> NDArray[np.bool_]:
    """Where the other kind serves, so that the sum is least (Viterbi, IEEE Trans. Inf. Theory 13(2), 1967).

    Args:
        one: What a sample costs by the first kind, shape (n,).
        other: By the other kind, shape (n,).
        both: By the other kind beside a sample of the first, shape (n,); at least `other`.

    Returns:
        Whether each sample is of the other kind, shape (n,).
    """
    ahead = stored(one.shape)  # by how much the least sum that ends with the other kind is less
    least, before = 0.0, 0.0
    for part in parts(one.size):
        gain, change = (one[part] - other[part]).tolist(), (both[part] - other[part]).tolist()
        some = []
        for own, own_change in zip(gain, change, strict=True):
            least = min(max(least, -own_change), before) + own
            before = own_change
            some.append(least)
        ahead[part] = some
    course = stored(one.shape, bool)
    kind, after = False, 0.0
    for part in [*parts(one.size)][::-1]:
        sums, change = ahead[part].tolist(), (both[part] - other[part]).tolist()
        course_here: list[bool] = []
        for k in range(len(sums) - 1, -1, -1):
            last = part.stop == one.size and not course_here
            kind = sums[k] > (0.0 if last else -after if kind else change[k])
            after = change[k]
            course_here.append(kind)
        course[part] = course_here[::-1]
        leave()
    return course
