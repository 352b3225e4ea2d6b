"""The period of a sampler behind stamps that scatter, against samplers that are known."""

import numpy as np
import pytest

from gripmargin.kernels.sampler import number_samples, share_of_motion


@pytest.mark.parametrize("seed", range(4))
def test_stamps_that_scatter_by_most_of_a_period(seed):
    """5 % of the samples are lost, which makes the median step too long by 1 to 2 %."""
    random = np.random.default_rng(seed)
    taken = np.flatnonzero(random.random(300) > 0.05)
    stamps = np.maximum.accumulate(taken + random.uniform(-0.42, 0.42, taken.size)) + 1e-6 * taken
    _, period = number_samples(0.004 * stamps)
    assert period == pytest.approx(0.004, rel=1.5e-3)


def test_stamps_that_are_late_are_no_lost_samples():
    """One late by 1.2 periods, so that the next one is late too."""
    stamps = 0.004 * np.arange(100)
    stamps[50:52] += 0.004 * np.array([1.2, 0.3])
    assert (number_samples(stamps)[0] == np.arange(100)).all()


@pytest.mark.parametrize("share", [0.0, 1.0])
def test_few_stamps_that_are_off_tell_whether_samples_follow_them(share):
    """Every eighth step is half as long, of the stamps alone or of the sampler too: all others say nothing."""
    stamps = 0.016 * np.cumsum(np.where(np.arange(400) % 8 == 0, 0.5, 1.0))
    nominal = np.linspace(stamps[0], stamps[-1], 400)
    taken = nominal + share * (stamps - nominal)
    y = 1e-6 * np.rint(np.stack([np.sin(2.0 * taken), 0.5 * np.cos(3.0 * taken)]) / 1e-6)
    found, error = share_of_motion(nominal, stamps - nominal, y, np.full(2, 3e-7))
    assert found == pytest.approx(share, abs=0.05)
    assert error < 0.02
