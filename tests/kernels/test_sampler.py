"""The period of a sampler behind stamps that scatter, against samplers that are known."""

import numpy as np
import pytest

from gripmargin.kernels.sampler import number_samples


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
