"""Searches on a line against the roots that they look for."""

import numpy as np
import pytest
from scipy.optimize import bisect

from gripmargin.kernels.search import furthest, furthest_within, largest_over


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


CURVES = {
    "straight": lambda x: x,
    "square": lambda x: x * x,
    "bent": lambda x: max(0.7 + 0.1 * x, 2.0 * x - 0.5),
    "steep": lambda x: np.expm1(6.0 * x) / np.expm1(6.0),
    "unknown beyond": lambda x: x if x <= 0.81 else np.inf,
}


@pytest.mark.parametrize("curve", CURVES)
@pytest.mark.parametrize("guess", [0.0, 0.5, 0.9])
def test_false_position_comes_close_from_within_with_few_values(curve, guess):
    """With any guess of the value at the start; halving alone takes seven values for a hundredth of the way."""
    values, places = CURVES[curve], []

    def value(x):
        places.append(x)
        return values(x)

    found = furthest_within(value, 0.8, (0.1, guess), (1.0, values(1.0)), near=0.01, most=8)
    assert found is not None
    assert values(found) <= 0.8
    assert found == pytest.approx(bisect(lambda x: min(values(x), 9.0) - 0.8, 0.1, 1.0), abs=0.012)
    assert len(places) <= (6 if curve in ("straight", "square") else 8)


def test_what_is_nowhere_within_is_none_after_the_start_was_looked_at():
    """As a guess at the start says otherwise: two values, and that of the start."""
    places = []
    assert (
        furthest_within(lambda x: places.append(x) or 1.0 + x, 0.8, (0.1, 0.2), (1.0, 2.0), near=0.01, most=8) is None
    )
    assert places[-1] == 0.1
    assert len(places) == 3


def test_the_largest_between_places_is_that_of_each_stretch():
    values = np.random.default_rng(3).normal(size=60)
    first = np.arange(45)
    last = first + np.random.default_rng(4).integers(0, 15, 45)
    due = [values[i : j + 1].max() for i, j in zip(first, last, strict=True)]
    np.testing.assert_array_equal(largest_over(values, first, last), due)
