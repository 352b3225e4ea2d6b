"""The step that samples are rounded to: what shows it, and what only looks like it."""

import numpy as np
import pytest

from gripmargin.kernels.digits import grid, rounded_to, shakes_at_rest, value_error

T = np.arange(400) * 0.004
MOVE = 0.3 + 0.2 * np.sin(2.0 * T)


def rounded(y, step):
    return np.rint(y / step) * step


@pytest.mark.parametrize(("off", "found"), [(0.007, 1.0), (0.015, 0.0)])
def test_a_grid_is_found_where_changes_are_whole_multiples_of_the_least(off, found):
    y = np.cumsum(np.random.default_rng(2).integers(1, 5, 200)).astype(float)
    y[100:] += off
    assert grid(y[None])[0] == pytest.approx(found, abs=1e-9)


@pytest.mark.parametrize("step", [1e-3, 1e-4, 1e-6, np.radians(1e-2), np.radians(1e-3), 2 * np.pi / 2**17])
def test_digits_and_counts_are_found_in_a_move(step):
    y = rounded(MOVE, step)[None]
    assert rounded_to(y)[0] == pytest.approx(step, rel=1e-6)
    # half a step, by definition of rounding; and no more
    assert np.abs(y - MOVE).max() <= value_error(y)[0] <= 0.5001 * step


@pytest.mark.parametrize("step", [1e-4, np.radians(1e-3)])
def test_decimals_are_found_where_no_change_is_one_digit(step):
    """A fast joint never moves by one digit between two samples: its changes are multiples of none of them."""
    y = rounded(0.5 * T + 0.01 * np.sin(9 * T), step)[None]
    assert grid(y)[0] == 0.0
    assert rounded_to(y)[0] == pytest.approx(step, rel=1e-9)


@pytest.mark.parametrize(
    "y",
    [
        0.002 * np.arange(400),  # a constant speed
        8e-6 * np.arange(400) ** 2,  # a constant acceleration of 1 rad/s^2 at 4 ms
        np.where(np.arange(400) < 200, 0.0, 0.1),  # a jump
        MOVE,
        np.full(400, 0.5),
    ],
    ids=["speed", "acceleration", "jump", "exact", "rest"],
)
def test_multiples_by_the_law_alone_are_no_digits(y):
    assert rounded_to(y[None])[0] == 0.0
    assert value_error(y[None])[0] <= 1e-12


@pytest.mark.parametrize(("changes", "found"), [(5, False), (14, True)])
def test_twenty_uneven_changes_show_the_last_digit(changes, found):
    """A change of one digit is three uneven third differences: 15 of them say too little, 42 enough."""
    y = 0.001 * np.minimum(np.arange(400) // 12, changes)
    assert (rounded_to(y[None])[0] > 0.0) == found


def test_a_joint_that_hardly_moves_is_rounded_as_the_others_are():
    still = np.where(T < 1.0, 0.1, 0.1001)
    both = np.stack([rounded(0.5 * T + 0.01 * np.sin(9 * T), 1e-4), still])
    assert rounded_to(both) == pytest.approx([1e-4, 1e-4])
    assert rounded_to(still[None])[0] == 0.0
    for more, found in ((0.5e-7, 1e-4), (1.5e-7, 0.0), (0.5e-4, 0.0)):  # by a share of a digit no rounding explains
        assert rounded_to(np.stack([both[0], still + more * (T > 1.0)]))[1] == pytest.approx(found)


@pytest.mark.parametrize(
    ("samples", "half", "shakes"), [(30, 0.0, False), (30, 12.0, True), (20, 12.0, False), (30, 24.0, False)]
)
def test_noise_at_rest(samples, half, shakes):
    """A joint that stands for so many samples, there and back by so many half digits from one to the next, and goes."""
    still = np.where(np.arange(samples) % 2 == 0, half, -half)
    y = 0.5 * np.concatenate([still, 100.0 * np.arange(1.0, 60.0)])[None]
    assert shakes_at_rest(y, np.array([0.5])).tolist() == [shakes]


@pytest.mark.parametrize(("turns", "shakes"), [(3, False), (5, True)])
def test_what_turns_back_a_few_times_is_no_noise(turns, shakes):
    """A joint that creeps to and fro by three digits, so often in all 24 samples, and goes."""
    legs = np.concatenate([np.full(24 // (turns + 1) + 1, (-1.0) ** k) for k in range(turns + 1)])[:24]
    y = np.concatenate([np.cumsum(legs) / np.ptp(np.cumsum(legs)) * 3.0, 100.0 * np.arange(1.0, 60.0)])[None]
    assert shakes_at_rest(y, np.array([0.5])).tolist() == [shakes]


@pytest.mark.parametrize(("still", "shakes"), [(0, True), (40, True), (60, False), (200, False)])
def test_noise_that_stands_still_now_and_then(still, shakes):
    """77 windows of 24 samples of noise, and some within one digit: more than a third as many are a rest."""
    noise = np.where(np.arange(100) % 2 == 0, 2.0, 0.0)
    y = np.concatenate([noise, 100.0 * np.arange(1.0, 60.0), np.full(still, 6000.0)])[None]
    assert shakes_at_rest(y, np.array([0.5])).tolist() == [shakes]
