"""A speed that changes within a few samples and stays: its acceleration is bounded, or followed by the samples."""

import numpy as np
import pytest

from gripmargin.kernels.bursts import burst_bias
from gripmargin.motion.rates import estimate_rates


def change(t, start, lasts):
    """Position of a speed that rises by 1 with the acceleration (1 - cos)/T, whose peak is 2/T (closed form)."""
    s, w = np.clip(t - start, 0, lasts), 2 * np.pi / lasts
    return (s**2 / 2 - (1 - np.cos(w * s)) / (w * w)) / lasts + np.clip(t - start - lasts, 0, None)


@pytest.mark.parametrize("step", [0.001, 0.004, 0.02])
@pytest.mark.parametrize("samples", [0.75, 1, 1.5, 2, 2.5, 3, 4, 5, 6])
@pytest.mark.parametrize("phase", [0.0, 0.15, 0.5, 0.85])
def test_the_true_peak_is_within_the_stated_error(step, samples, phase):
    t = np.arange(0, 120) * step
    x = change(t, (40 + phase) * step, samples * step)
    found = estimate_rates(t, x[:, None])
    stated = np.abs(found.second) + 2 * found.sigma_second + found.bias_second
    assert stated.max() >= 2 / (samples * step)


def test_the_crest_of_a_long_change_that_just_reaches_the_noise_is_no_burst():
    """A minimum-jerk move whose largest second differences are some 25 times the noise of the samples."""
    t = np.arange(500) * 0.004
    s = np.clip(t / 1.9 - 0.02, 0, 1)
    y = 0.5 * (10 * s**3 - 15 * s**4 + 6 * s**5)
    noise = np.abs(np.diff(y, 2)).max() / 25
    flagged = [
        burst_bias(t, (y + noise * np.random.default_rng(seed).normal(size=t.size))[None], even=True).any()
        for seed in range(40)
    ]
    assert np.mean(flagged) <= 0.1
