"""Search by halving against the roots that it looks for."""

import numpy as np
import pytest
from scipy.optimize import bisect

from gripmargin.kernels.search import furthest


@pytest.mark.parametrize("root", [0.1, 0.5, 2.0, 2.9])
def test_both_ways_find_the_root_from_the_side_that_holds(root):
    least = furthest(lambda x: x >= root, 3.0, 0.0, halvings=40)
    most = furthest(lambda x: x <= root, 0.0, 3.0, halvings=40)
    due = bisect(lambda x: x - root, 0.0, 3.0)
    assert [least, most] == pytest.approx([due, due], abs=1e-11)
    assert most <= root <= least


@pytest.mark.parametrize("halvings", [0, 1, 9])
def test_what_is_returned_holds_and_is_as_near_as_the_halvings_say(halvings):
    root = np.sqrt(0.5)
    least = furthest(lambda x: x >= root, 1.0, 0.0, halvings=halvings)
    assert root <= least <= root + 2.0**-halvings
