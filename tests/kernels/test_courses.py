"""The least sum over both kinds, against every course there is."""

from itertools import product

import numpy as np
import pytest

from gripmargin.kernels.courses import better_course


def cost(course, one, other, both):
    # A sample of the other kind costs what both do once for each neighbour of the first kind.
    total = np.where(course, other, one).sum()
    for k in range(len(course) - 1):
        if course[k] != course[k + 1]:
            inner = k if course[k] else k + 1
            total += both[inner] - other[inner]
    return total


@pytest.mark.parametrize("seed", range(20))
def test_no_course_costs_less(seed):
    random = np.random.default_rng(seed)
    one, other, more = random.uniform(0.0, 1.0, (3, 8))
    both = other + 0.5 * more
    least = min(cost(course, one, other, both) for course in product([False, True], repeat=8))
    assert cost(better_course(one, other, both).tolist(), one, other, both) == pytest.approx(least, abs=1e-12)


def test_a_short_gain_is_not_worth_both_kinds():
    one, other = np.full(9, 1.0), np.full(9, 2.0)
    other[4] = 0.5
    assert not better_course(one, other, other + 1.0).any()
    assert better_course(one, other, other + 0.2).tolist() == [k == 4 for k in range(9)]
