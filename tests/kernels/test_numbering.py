"""Samples of a motion at whole numbers of periods: how many lie between them, by how smooth the motion is."""

import numpy as np
import pytest

from gripmargin.kernels.numbering import ORDER, increments, jerks, smoothest


def cubic(number, jerk=1e-7):
    """A motion whose third divided difference is its jerk."""
    return np.stack([1e-3 * number + jerk * number**3 / 6.0, 2e-3 * number])


def test_a_cubic_has_its_jerk_as_difference_over_any_numbers():
    """Newton: the third divided difference of a cubic is its leading coefficient, a sixth of the jerk, at any times.

    Over times in units of the mean step that jerk is as much more as the cube of the step.
    """
    number = np.array([0.0, 1.0, 3.0, 4.0, 6.0, 7.0])
    found = jerks(number, cubic(number), np.arange(3))
    mean = (number[3:] - number[:3]) / ORDER
    assert np.sqrt(found) / 1e-7 == pytest.approx(mean**3, rel=1e-4)


@pytest.mark.parametrize("usual", [1, 2])
def test_any_order_of_unusual_counts_is_found(usual):
    passed = np.random.default_rng(usual).choice([max(1, usual - 1), usual, usual + 1], 300, p=[0.2, 0.6, 0.2])
    number = np.concatenate([[0], np.cumsum(passed)]).astype(float)
    found, known = increments(cubic(number), usual)
    assert (found == passed)[known].all()
    assert known[1:-1].all()


def test_where_a_motion_turns_nothing_is_known():
    number = np.arange(60.0)
    y = 1e-4 * np.abs(number - 30.3)[None]
    found, known = increments(y, 1)
    assert not known[29:32].any()
    assert (found[known] == 1.0).all()
    assert known[3:27].all()


@pytest.mark.parametrize(("part", "passed"), [(0.35, 1.0), (0.65, 2.0)])
def test_a_step_is_unusual_from_half_a_step_more(part, passed):
    """What a step is too long by leaves differences of (1, -2, 1) of it, and of as much less than one over two."""
    y = (np.arange(60.0) + part * (np.arange(60) > 30))[None]
    assert increments(y, 1)[0][30] == passed


def test_of_two_numbers_those_are_taken_that_are_smoothest():
    true = np.cumsum(np.random.default_rng(2).choice([1.0, 2.0], 40))
    wrong = true.copy()
    wrong[[1, 12, 13, 30, 38]] += np.array([-1.0, 1.0, 1.0, -1.0, 1.0])
    for choice in (np.stack([wrong, true]), np.stack([true, wrong])):
        assert (smoothest(choice, cubic(true)) == true).all()
    assert (smoothest(true[None, :3].repeat(2, axis=0), cubic(true[:3])) == true[:3]).all()
