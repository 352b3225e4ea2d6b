"""Noise found in samples against the noise that was put in, and motion that must not be taken for noise."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gripmargin.kernels.local_fit import even_step
from gripmargin.kernels.sample_noise import differences, noise_levels, run_lengths


def even(rate, seconds):
    return np.arange(round(rate * seconds)) / rate


def swing(t):
    return np.sin(1.3 * t) + 0.4 * np.sin(2.9 * t + 1.0)


def found(t, y):
    level, reliable = noise_levels(t, y[None], even_step(t))
    return level[0], reliable[0]


@settings(max_examples=30, derandomize=True, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), order=st.sampled_from([2, 4, 6, 8]))
def test_differences_remove_lower_polynomials_on_any_times(seed, order):
    rng = np.random.default_rng(seed)
    t = np.cumsum(rng.uniform(0.3, 1.0, 60))
    x = (t - t[0]) / (t[-1] - t[0])
    y = np.polynomial.Polynomial(rng.normal(size=order))(x)
    assert np.abs(differences(t, y[None], order, even=False)).max() <= 1e-12 * np.abs(y).max()


@pytest.mark.parametrize("is_even", [True, False])
@pytest.mark.parametrize("order", [1, 2, 4, 8])
def test_differences_keep_the_size_of_white_noise(order, is_even):
    rng = np.random.default_rng(order)
    t = np.cumsum(np.ones(60_000) if is_even else rng.uniform(0.5, 1.5, 60_000))
    size = differences(t, rng.normal(size=(1, t.size)), order, even=is_even)
    assert np.std(size) == pytest.approx(1.0, rel=0.03)


def test_the_second_difference_has_the_published_noise():
    # sqrt(1 + 4 + 1) = sqrt(6): variances add (von Neumann 1941 for the first difference)
    y = np.random.default_rng(0).normal(size=(1, 200_000))
    scaled = differences(np.arange(200_000.0), y, 2, even=True)
    np.testing.assert_allclose(scaled * np.sqrt(6), np.diff(y, 2), atol=1e-12)
    assert np.diff(y, 2).std() == pytest.approx(np.sqrt(6), rel=0.01)


@pytest.mark.parametrize("uneven", [0.0, 0.3])
@pytest.mark.parametrize("sigma", [1e-6, 1e-4])
def test_white_noise_is_found(uneven, sigma):
    rng = np.random.default_rng(1)
    t = even(500, 20) + uneven / 500 * rng.uniform(-1, 1, 10_000)
    level, reliable = found(t, swing(t) + sigma * rng.normal(size=t.size))
    assert level.min() >= 0.93 * sigma
    assert np.median(level) <= 1.35 * sigma
    np.testing.assert_array_equal(level, reliable)


@pytest.mark.parametrize("grid", [1e-4, np.radians(1e-3)])
def test_rounding_is_found_though_stand_still_hides_it(grid):
    # rounding to a grid: grid / sqrt(12) (Bennett, Bell Syst. Tech. J. 27, 1948)
    t = even(250, 24)
    moving = (t > 10) & (t < 14)
    y = np.where(moving, swing(np.clip(t, 10, 14)), swing(np.where(t < 12, 10.0, 14.0)))
    level, reliable = found(t, np.round(y / grid) * grid)
    assert level.min() >= 0.9 * grid / np.sqrt(12)
    assert np.median(level) <= 2.0 * grid / np.sqrt(12)
    np.testing.assert_array_equal(level, reliable)


def test_jitter_of_the_stamps_is_noise_in_proportion_to_speed():
    rng = np.random.default_rng(3)
    n, jitter = 8000, 3e-4
    t = np.arange(n) * 0.004
    y = 0.05 * t**2
    level, _ = found(np.sort(t + jitter * rng.normal(size=n)), y)
    speed = 0.1 * t.reshape(-1, 32).mean(axis=1)
    fast = speed > np.median(speed)
    assert (level[fast] >= 0.7 * jitter * speed[fast]).all()
    assert np.median(level[fast] / (jitter * speed[fast])) == pytest.approx(1.2, abs=0.25)


def test_stamps_since_1970_lose_what_binary_numbers_lose():
    # IEEE 754 binary64: 52 fraction bits, so 2**-22 s between stamps around 2**30 s
    t = even(1000, 8) + 1.7e9
    level, _ = found(t, 2.0 * (t - t[0]))
    assert level.min() >= 0.28 * 2**-22 * 2.0
    assert level.max() <= 1.2 * 2**-22 * 2.0


def test_exact_programs_have_no_noise_but_rounding():
    t = even(250, 8)
    level, _ = found(t, swing(t))
    assert level.max() < 1e-13


@pytest.mark.parametrize("samples_a_move", [1, 2, 3])
@pytest.mark.parametrize("noise", [0.0, 1e-5])
def test_moves_that_the_samples_do_not_resolve_are_not_noise(samples_a_move, noise):
    rng = np.random.default_rng(samples_a_move)
    for _ in range(5):
        t = even(20, 12)
        y = np.zeros_like(t)
        start = 0.1
        while start < 12:
            s = np.clip((t - start) / (samples_a_move / 20), 0, 1)
            y += rng.uniform(-1, 1) * s**3 * (10 - 15 * s + 6 * s**2)
            start += samples_a_move / 20 + rng.uniform(0, 0.2)
        level, reliable = found(t, y + noise * rng.normal(size=t.size))
        assert (reliable < 1e-10).all()
        assert (level > 1e-3).all()


@pytest.mark.parametrize("rate", [100, 250, 1000])
@pytest.mark.parametrize("slow", [0.02, 1.0])
def test_noise_of_resolved_motion_is_relied_on(rate, slow):
    rng = np.random.default_rng(rate)
    t = even(rate, 8)
    for noisy in (swing(slow * t) + 1e-4 * rng.normal(size=t.size), np.round(swing(slow * t), 4)):
        level, reliable = found(t, noisy)
        np.testing.assert_array_equal(level, reliable)


@pytest.mark.parametrize("rate", [250, 1000])
@pytest.mark.parametrize("grid", [1e-4, np.radians(1e-3)])
def test_steps_of_rounding_in_a_slow_move_are_not_taken_for_motion(rate, grid):
    t = even(rate, 8)
    rng = np.random.default_rng(0)
    for _ in range(6):
        y = np.zeros_like(t)
        for start, distance in ((0.3, rng.uniform(0.005, 0.05)), (4.0, rng.uniform(0.0005, 0.005))):
            s = np.clip((t - start) / 3, 0, 1)
            y += distance * s**3 * (10 - 15 * s + 6 * s**2)
        level, reliable = found(t, np.round(y / grid) * grid)
        np.testing.assert_array_equal(level, reliable)


def test_runs_are_counted():
    y = np.array([[1.0, 1.0, 1.0, 2.0, 3.0, 3.0], [0.0, 1.0, 2.0, 3.0, 4.0, 5.0]])
    np.testing.assert_array_equal(run_lengths(y), [[3, 3, 3, 1, 2, 2], [1, 1, 1, 1, 1, 1]])


def relied_on(y, step=0.004):
    """For each block of samples whether its noise is relied on."""
    level, reliable = noise_levels(np.arange(len(y)) * step, np.asarray(y)[None], step)
    return (reliable > 0.5 * level)[0]


class TestNoiseOrMotion:
    """Motion that is hardly resolved looks like noise; each sign that tells them apart has its case."""

    i = np.arange(1024)

    @pytest.mark.parametrize(("turn", "resolved"), [(1.5, False), (1.25, True)])
    def test_steps_twelve_times_the_noise_are_motion_that_is_resolved(self, turn, resolved):
        """A sine turns by so much between samples; its steps are 9 and 27 times its highest differences."""
        assert relied_on(np.sin(turn * self.i)).all() == resolved
        assert relied_on(np.sin(turn * self.i)).any() == resolved

    def test_noise_does_not_grow_among_every_second_sample(self):
        noise = np.random.default_rng(0).normal(size=1024)
        assert relied_on(5 / 0.25**2 * np.sin(0.25 * self.i) + noise).all()

    @pytest.mark.parametrize(("digits", "noise"), [(2.0, True), (5.0, False)])
    def test_two_steps_of_the_last_digit_come_from_rounding(self, digits, noise):
        assert relied_on(np.round(digits * np.sin(1.7 * self.i))).all() == noise

    def test_few_samples_of_noise_are_seldom_taken_for_motion(self):
        """Slow motion under noise of a thousandth of its way."""
        found = []
        for n in (48, 64, 96, 128):
            slow = 100 * np.sin(0.02 * np.arange(n))
            found += [relied_on(slow + np.random.default_rng(seed).normal(size=n)).all() for seed in range(300)]
        assert np.mean(found) >= 0.985

    def test_motion_in_one_stretch_says_nothing_of_the_far_ones(self):
        """Stretches are 1024 samples long; the neighbours of one that moves are doubted with it."""
        noise = np.random.default_rng(1).normal(size=8192)
        y = np.where(np.arange(8192) < 1024, 40.0 * np.sin(1.6 * np.arange(8192)), 0.0) + noise
        assert not relied_on(y)[:64].any()
        assert relied_on(y)[64:].all()


@pytest.mark.parametrize("n", [6, 8, 12, 16])
def test_noise_of_a_few_samples_is_seldom_found_too_small(n):
    """Differences of an order of which there are few say little: the fourth alone count then."""
    t = np.arange(n) * 0.004
    level, _ = noise_levels(t, np.random.default_rng(4).normal(size=(1000, n)), 0.004)
    assert np.median(level) > 0.93
    assert np.mean(level < 0.3) < (0.06 if n < 10 else 0.025)
