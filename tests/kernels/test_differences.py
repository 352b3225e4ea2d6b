"""Bounds by second differences: steps, lines and saws between even samples, of which all is known in closed form."""

import numpy as np
import pytest

from gripmargin.kernels.differences import difference_bounds
from support.steps import Pieces


def sampled(laws, late=0.0, n=80):
    return np.array([law(late + np.arange(float(n)))[0] for law in laws])


def bounds(laws, late=0.0, n=80, error=1e-9):
    return difference_bounds(sampled(laws, late, n), np.full(len(laws), error))


@pytest.mark.parametrize("late", [0.0, 0.2, 0.5, 0.9])
def test_a_step_of_all_at_once_leaves_nothing_open(late):
    """Before it all are at rest, after it at 1 and -2; no sample is beyond both, and none has one of each."""
    low, high, follows, _ = bounds([Pieces([(40.0, 0, 0), (1e9, 0, size)]) for size in (1.0, -2.0)], late)
    assert follows[:, 40:44].all()
    assert (high[0].max(), low[1].min()) == pytest.approx((1.0, -2.0), abs=1e-6)
    assert high[0] == pytest.approx(-low[1] / 2.0, abs=1e-6)
    assert (high - low).max() < 1e-6


@pytest.mark.parametrize("late", [0.0, 0.2, 0.5, 0.9])
def test_a_step_of_one_alone_is_bounded_at_the_sample_itself(late):
    """The other one rises on: the last sample before the step is at 0 and the first after it at 1, and no further."""
    low, high, *_ = bounds([Pieces([(40.0, 0, 0), (1e9, 0, 1.0)]), Pieces([(1e9, 0.05, 0.0)])], late)
    last = int(np.ceil(40.0 - late)) - 1
    assert low[0, last] <= 1e-6
    assert high[0, last + 1] >= 1.0 - 1e-6
    assert (low[0].min(), high[0].max()) == pytest.approx((0.0, 1.0), abs=1e-6)


@pytest.mark.parametrize("apart", [0.2, 0.5, 0.9, 1.4])
@pytest.mark.parametrize("late", [0.0, 0.3, 0.6])
def test_steps_at_different_times_leave_each_by_itself(apart, late):
    """One is at 1 already while the other has not yet left 2."""
    one, other = Pieces([(40.0, 0, 0), (1e9, 0, 1.0)]), Pieces([(40.0 + apart, 0, 2.0), (1e9, 0, -2.0)])
    low, high, *_ = bounds([one, other], late)
    both = (low <= np.array([[1.0], [2.0]]) + 1e-6) & (np.array([[1.0], [2.0]]) - 1e-6 <= high)
    assert both.all(axis=0)[38:44].any()


@pytest.mark.parametrize("late", np.arange(10) / 10)
@pytest.mark.parametrize("slope", [0.002, 0.01, 0.03])
def test_a_line_that_begins_with_a_step_is_reached_at_its_top(late, slope):
    """It is lower by up to twice its slope at the first difference that does not see the step, and not by more."""
    _, high, *_ = bounds([Pieces([(40.0, 0, 0), (30.0, -slope, 1.0), (1e9, 0, -1.0 + 30 * slope)])], late)
    assert 1.0 - 1e-6 <= high.max() <= 1.0 + 2.0 * slope


@pytest.mark.parametrize("period", [2.3, 2.7, 3.1, 4.0])
def test_a_saw_is_reached_at_its_teeth(period):
    """A planner's grid of 2.3 to 4 samples: 1 goes up to 1.1 and back within each."""
    teeth = 200.0 / period
    law = Pieces([(20.0, 0, 0), (period, 0.1 / period, 1.0), *[(period, 0.1 / period, -0.1)] * int(teeth)])
    _, high, follows, _ = bounds([law], n=180)
    assert follows[:, 40:-40].all()
    assert 1.1 <= high[0, 40:-40].max() <= 1.15


@pytest.mark.parametrize("late", [0.1, 0.3, 0.5, 0.7, 0.9])
def test_a_line_that_goes_on_while_another_steps_is_not_part_of_it(late):
    """Steps from 1 to 0 at 40, while the other one rises by 0.05 an interval: it is at 2 then, and both count."""
    step, line = Pieces([(40.0, 0, 1.0), (1e9, 0, -1.0)]), Pieces([(1e9, 0.05, 0.0)])
    low, high, *_ = bounds([step, line], late)
    assert (high - low)[1, 38:42].min() > 0.01
    there = (low[0] <= 1.0) & (high[0] + 0.02 >= 1.0)
    assert high[1, there].max() >= 2.0 - 1e-6
    assert high[1, :36].max() <= 2.0
    assert high[1, 38:42].max() <= 2.25


def test_moves_over_few_samples_are_not_followed():
    """A part there and back within four intervals stands out by as much as it is."""
    moves = Pieces([(20.0, 0, 0), *[(1.0, 0, 1.0), (1.0, 0, -2.0), (7.3, 0, 1.0)] * 5])
    _, _, follows, _ = bounds([moves])
    assert not follows[np.abs(np.pad(np.diff(sampled([moves]), 2), ((0, 0), (1, 1)))) > 0.1].any()


@pytest.mark.parametrize(("size", "seen"), [(0.8, True), (3.0, False)])
def test_what_stands_out_by_half_of_what_is_about_is_not_followed(size, seen):
    """A piece of one interval, an interval wide about samples: two differences stand out by half of it above 1."""
    law = Pieces([(40.0, 0, 1.0), (1.0, 0, size), (1e9, 0, -size)])
    _, _, follows, _ = bounds([law])
    assert follows[0, 39:42].all() == seen


def test_two_steps_are_no_saw():
    """Six intervals apart; each leaves four differences off the line through their neighbours, all others are on it."""
    low, high, *_ = bounds([Pieces([(40.3, 0, 1.0), (6.0, 0, 1.0), (1e9, 0, -1.0)])])
    assert (high - low)[0, [36, 43, 44, 50]].max() < 1e-6


def test_neither_end_is_followed():
    _, _, follows, _ = bounds([Pieces([(1e9, 0, 1.0)])])
    assert not follows[:, [0, 7, -8, -1]].any()
    assert follows[:, 8:-8].all()
