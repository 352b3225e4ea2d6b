"""A shaking that smoothing takes for noise: found by its line, and as large as it is."""

import numpy as np
import pytest

from gripmargin.kernels.cubic_spline import spline_rates
from gripmargin.kernels.shaking import SPAN, shakes, sizes


def leftover(turn, stands_out, n=512):
    """Left by smoothing: a spectrum that is level but for one part, over the mean of those looked at."""
    turns = np.linspace(0.0, 2.0 * np.pi, n, endpoint=False)[: n // 2 + 1]
    power = np.ones(turns.size)
    at, seen = int(np.argmin(np.abs(turns - turn))), turns > 1.0
    others = seen.sum() - seen[at]
    power[at] = stands_out * others / (seen.sum() - stands_out) if seen[at] else 100.0
    with np.errstate(divide="ignore"):
        gain = (2.0 + np.cos(turns)) / (1.0 - np.cos(turns))
    return np.fft.irfft(np.where(turns > 0, np.sqrt(power) / gain, 0.0), n)[:, None]


@pytest.mark.parametrize(
    ("turn", "stands_out", "shaken"),
    [
        (2.0, 15.8, True),  # ln(512 / 1e-4) = 15.45: the chance that one of 512 parts of noise stands out so far
        (2.0, 15.1, False),
        (1.05, 15.8, True),  # from 1 rad a sample on
        (0.95, 100.0, False),
    ],
)
def test_a_line_in_what_smoothing_leaves_is_no_noise(turn, stands_out, shaken):
    found = shakes(leftover(turn, stands_out))
    assert found.all() == found.any() == shaken


def left_of_noise(seed, *shape):
    """White noise of positions, all of which a fit has smoothed away."""
    return spline_rates(np.arange(float(shape[0])), np.random.default_rng(seed).normal(size=shape))[1]


def test_white_noise_shakes_as_seldom_as_said():
    """One in 10,000 by its chance; of 200 channels none (a chance of 2 in 100)."""
    assert not shakes(left_of_noise(1, 2000, 200)).any()


def test_a_short_shaking_is_found_where_it_is():
    """60 samples of 20,000: over all of them its line would be lost in the noise."""
    left = left_of_noise(2, 20_000, 1)
    left[7000:7060, 0] += 90.0 * np.sin(2.2 * np.arange(60))
    where = np.flatnonzero(shakes(left)[:, 0])
    assert 7000 - SPAN < where[0] < 7000
    assert 7060 < where[-1] < 7060 + SPAN


@pytest.mark.parametrize("turn", [1.2, 2.0, 2.9, 3.11])
def test_speed_and_acceleration_that_it_reaches(turn):
    """A sin(v t) reaches A v and A v^2, wherever its samples fall."""
    step, size = 0.004, 1e-4
    t = np.arange(2000) * step
    rise = np.sin(np.pi * t / t[-1]) ** 2
    y = size * rise * np.sin(turn / step * t + 0.3)
    found = sizes(spline_rates(t, y[:, None])[1], step)[1:, :, 0]
    rate = turn / step
    for have, due in zip(found, (size * rate, size * rate**2), strict=True):
        assert np.abs(have - due * rise).max() < 0.01 * due


@pytest.mark.parametrize("errors", ["to and fro", "saw tooth", "random"])
def test_errors_within_a_bound_come_to_no_more_way_than_said(errors):
    """Their mean square is at most that of the bound, and the analytic signal has twice as much (Parseval)."""
    k = np.arange(4096)
    made = {"to and fro": (-1.0) ** k, "saw tooth": 2.0 * (0.43 * k % 1.0) - 1.0}
    y = made.get(errors, np.random.default_rng(3).uniform(-1.0, 1.0, k.size))
    way = sizes(spline_rates(k.astype(float), y[:, None])[1], 1.0)[0, 100:-100]
    assert way.max() <= np.sqrt(2.0)
    assert way.max() > (0.9 if errors == "to and fro" else 0.5)
