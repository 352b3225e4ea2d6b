"""Reads of a controller at another rate: what repeats while it moves, and when it renewed its values."""

import numpy as np
import pytest

from gripmargin.kernels.polling import jerky, renewals, repeated

PERIOD = 0.008


def motion(t):
    """Three joints; the first two never stop together."""
    return np.stack([0.6 * np.sin(2.1 * t), 0.4 * np.sin(1.3 * t + 1.0), 0.2 * np.cos(3.0 * t)])


def polled(rate, *, seconds=6.0, period=PERIOD, phase=0.0031, jitter=0.0, law=motion, digit=1e-6):
    """Times of reads, what they got, and the number of the value."""
    s = np.arange(0.01, seconds, 1.0 / rate)
    s = np.sort(s + jitter * np.random.default_rng(3).normal(size=s.size))
    number = np.floor((s - phase) / period).astype(int)
    return s, digit * np.rint(law(phase + period * number) / digit), number


@pytest.mark.parametrize("rate", [126.0, 130.0, 150.0, 250.0, 700.0])
def test_exactly_the_rows_that_got_the_value_before_are_repeats(rate):
    s, y, number = polled(rate)
    again = np.concatenate([[False], np.diff(number) == 0])
    found = repeated(s, y)
    assert not found[~again].any()
    assert found[again & (np.abs(s - s.mean()) < 2.9)].all()  # at the ends nothing says that it moves


@pytest.mark.parametrize(
    "law",
    [
        lambda t: 0.3 * np.clip(t - 1.0, 0.0, 1.0)[None] ** 2 - 0.3 * np.clip(t - 2.0, 0.0, 1.0)[None] ** 2,
        lambda t: 0.3 * np.cos(4.0 * t)[None],
        lambda t: np.minimum(t, 1.0)[None] ** 2 + np.clip(t - 1.01, 0.0, 2.0)[None] ** 2,
    ],
    ids=["move and rest", "turning points", "a stop of two samples"],
)
def test_a_robot_that_stops_does_not_repeat_its_values(law):
    t = np.arange(0.0, 3.0, 0.008)
    assert not repeated(t, np.rint(law(t) / 1e-5) * 1e-5).any()


@pytest.mark.parametrize(("digit", "found"), [(1e-2, False), (1e-3, False), (4.5e-4, True), (1e-4, True)])
def test_values_that_stay_within_a_digit_do_not_repeat(digit, found):
    """At 0.3 rad/s a joint moves by 2.4 mrad from row to row: four digits of 0.45 mrad and more, not of 1 mrad."""
    s, y, _ = polled(130.0, law=lambda t: 0.3 * np.sin(t)[None], digit=digit)
    assert repeated(s, y).any() == found


@pytest.mark.parametrize("rate", [68.0, 90.0, 100.0, 110.0, 119.0, 130.0, 140.0, 175.0])
@pytest.mark.parametrize("phase", [0.0005, 0.0044])
def test_values_are_numbered_and_the_period_is_found(rate, phase):
    s, y, number = polled(rate, phase=phase)
    found = renewals(s, y, repeated(s, y))
    assert np.ptp(found.number - number) == 0
    assert abs(found.period / PERIOD - 1.0) < found.error < 2e-3
    assert found.events > 20


def test_they_are_where_reads_scatter():
    s, y, number = polled(140.0, jitter=4e-4)
    found = renewals(s, y, repeated(s, y))
    assert (np.diff(found.number) == np.diff(number)).mean() > 0.995


def test_a_joint_that_turns_within_a_digit_does_not_repeat():
    """Read at 66 Hz every row is another value, also where a joint that turns stands for a digit of 0.1 mrad."""
    s, y, number = polled(66.0, law=lambda t: 0.6 * np.sin(2.1 * t)[None], digit=1e-4)
    assert (np.diff(y) == 0.0).any()
    assert np.ptp(renewals(s, y, repeated(s, y)).number - number) == 0


def test_they_are_where_few_stamps_are_late():
    """Three of a hundred rows are stamped most of a period after they were read: two at either end may be off."""
    s, y, number = polled(140.0)
    late = np.random.default_rng(1).choice(np.arange(30, s.size - 30), int(0.03 * s.size), replace=False)
    s[late] += 0.79 * PERIOD
    found = renewals(np.maximum.accumulate(s + 1e-9 * np.arange(s.size)), y, repeated(s, y))
    assert np.ptp(found.number - number) == 0
    assert abs(found.period / PERIOD - 1.0) < found.error


def test_samples_at_their_own_times_are_not_renumbered():
    """Even ones, uneven ones, and those of a recorder that loses some."""
    random = np.random.default_rng(1)
    for t in (
        np.arange(800) * 0.008,
        np.cumsum(random.uniform(0.004, 0.012, 800)),
        np.arange(800)[random.random(800) > 0.1] * 0.008,
    ):
        y = motion(t) + 1e-6 * random.normal(size=(3, t.size))
        assert not jerky(t, y)
        assert renewals(t, y, np.zeros(t.size, dtype=bool)) is None


def test_noise_is_no_controller():
    t = np.arange(800) * 0.008
    y = motion(t) + 2e-3 * np.random.default_rng(5).normal(size=(3, t.size))
    assert jerky(t, y)
    assert renewals(t, y, np.zeros(t.size, dtype=bool)) is None


@pytest.mark.parametrize(("part", "found"), [(0.8, False), (1.25, True)])
def test_a_tenth_of_the_way_is_jerky(part, found):
    """Every other sample of a steady motion further by a: third differences are 8 a, a way of 1 a sample."""
    n = np.arange(400)
    a = part * 0.1 / 8.0
    assert jerky(0.008 * n, (n + a / 2.0 * (-1.0) ** n)[None]) is False
    assert jerky(0.008 * n, (n + a * (-1.0) ** n)[None]) is found


@pytest.mark.parametrize("jitter", [0.0, 3e-4])
@pytest.mark.parametrize("rate", [121.0, 124.5, 125.4, 126.0])
def test_reads_that_are_all_but_as_often_are_numbered(rate, jitter):
    """One value in 30 to 300 is read twice or missed; where reads scatter, many are about the times of renewal."""
    s, y, number = polled(rate, jitter=jitter)
    found = renewals(s, y, repeated(s, y))
    assert abs(found.period / PERIOD - 1.0) < found.error < 0.004
    assert (np.diff(found.number) == np.diff(number)).mean() > 0.995
    fresh = np.diff(found.number) > 0
    assert np.ptp((found.number - number)[1:][fresh][3:-3]) <= (1 if jitter else 0)


def test_moves_that_each_are_too_short_for_a_slip_are_numbered():
    """Six moves of least jerk in 6 s at 124.5 Hz: a value is missed every 2 s, by chance within a move or not."""
    starts = 0.1 + 0.93 * np.arange(6)
    s, y, number = polled(124.5, law=sum_of_moves(starts))
    found = renewals(s, y, repeated(s, y))
    moving = (np.diff(y, axis=1) != 0.0).any(axis=0)
    assert (np.diff(found.number) == np.diff(number))[moving].mean() > 0.995


@pytest.mark.parametrize(("rate", "jitter", "error"), [(130.0, 0.0, 1e-3), (124.5, 3e-4, 6e-3)])
def test_counting_goes_on_over_rests_as_far_as_the_period_is_known(rate, jitter, error):
    """Six moves of 0.8 s and rests of 0.13 s: one move tells the period to 0.3 %, which is 0.05 periods over a rest.

    Where reads scatter, what they tell of the times of renewal leaves more than a fifth of a period open: no count.
    """
    s, y, _ = polled(rate, jitter=jitter, law=sum_of_moves(0.1 + 0.93 * np.arange(6)))
    found = renewals(s, y, repeated(s, y))
    assert abs(found.period / PERIOD - 1.0) < found.error < error


def sum_of_moves(starts):
    return lambda t: np.outer([0.5, 0.3, -0.2], sum(_least_jerk(t - start) for start in starts))


def _least_jerk(t):
    """From 0 to 1 within 0.8 s (Flash & Hogan, J. Neurosci. 5(7), 1985)."""
    s = np.clip(t / 0.8, 0.0, 1.0)
    return s**3 * (10 - 15 * s + 6 * s**2)


@pytest.mark.parametrize(("jolt", "missed"), [(0.8, False), (1.0, True)])
def test_a_jolt_that_is_no_step_of_the_motion_is_no_missed_value(jolt, missed):
    """All joints jump along their way in one sample: only by just what they move in a period is it a missed value."""
    t = 0.008 * np.arange(600)
    y = 1e-6 * np.rint(motion(t + 0.008 * jolt * (t > 2.0)) / 1e-6)
    found = renewals(t, y, repeated(t, y))
    assert (found is not None) == missed
    if missed:
        assert np.flatnonzero(np.diff(found.number) != 1).tolist() == [np.searchsorted(t, 2.0, "right") - 1]


@pytest.mark.parametrize(("joints", "found"), [(1, False), (2, True)])
def test_a_single_missed_value_has_to_show_in_two_joints(joints, found):
    """One joint alone may jolt by just what it moves in a period; hardly twice, and two hardly at once."""
    t = 0.008 * np.arange(600)
    y = 1e-6 * np.rint(motion(t + 0.008 * (t > 2.0))[:joints] / 1e-6)
    assert (renewals(t, y, repeated(t, y)) is not None) == found
    s, y, _ = polled(124.4, law=lambda t: motion(t)[:joints])
    assert renewals(s, y, repeated(s, y)) is not None


@pytest.mark.parametrize(("reads", "found"), [(26, False), (27, True)])
def test_so_few_reads_tell_no_period(reads, found):
    """Twenty-four third differences in motion: 27 reads at 100 Hz of a motion that goes on, each of another value."""
    s = 0.01 + 0.01 * np.arange(reads)
    x = 0.0031 + PERIOD * np.floor((s - 0.0031) / PERIOD)
    y = 1e-6 * np.rint((0.3 * x + 0.2 * x**2) / 1e-6)[None]
    got = renewals(s, y, repeated(s, y))
    assert (got is not None) == found
    if got is not None:
        # Reads are late by 1/8, 3/8, 5/8 or 7/8 of a period, less or more by one part: a quarter is left, over the 30
        # periods from the second read to the last but one. Two hundredths would still count.
        assert abs(got.period / PERIOD - 1.0) < 0.25 / 30.0 <= got.error <= 1.4 * 0.25 / 30.0
