"""Tolerance bounds about a line: against the noncentral t distribution of scipy.stats, and by their coverage."""

import numpy as np
import pytest
from scipy import stats

from gripmargin.kernels.tolerance import tolerance_bounds

PICKS = np.repeat([0.0, 50.0, 100.0, 200.0, 400.0], 6)
SCATTER = np.tile(stats.norm.ppf((np.arange(6) + 0.5) / 6), 5)
LOGS = np.log(75e3) - 8e-4 * PICKS + 0.08 * SCATTER


@pytest.mark.parametrize("at", [0.0, 100.0, 146.3, 400.0, 800.0])
@pytest.mark.parametrize(("content", "confidence"), [(0.99, 0.95), (0.9, 0.95), (0.99, 0.5)])
def test_both_bounds_are_those_of_the_noncentral_t(at, content, confidence):
    found = tolerance_bounds(PICKS, LOGS, at, content=content, confidence=confidence)
    fit = stats.linregress(PICKS, LOGS)
    line = fit.intercept + fit.slope * at
    scatter = np.sqrt(((LOGS - fit.intercept - fit.slope * PICKS) ** 2).sum() / 28)
    height = np.sqrt(1 / 30 + (at - PICKS.mean()) ** 2 / ((PICKS - PICKS.mean()) ** 2).sum())
    off = height * stats.nct.ppf(confidence, 28, stats.norm.ppf(content) / height) * scatter
    assert found == pytest.approx((line - off, line + off), rel=1e-9)


def test_nineteen_bounds_of_twenty_keep_what_they_promise():
    """Of lines drawn at random, each with its own bound: how often does the true share lie on the right side."""
    random, picks, at = np.random.default_rng(0), np.array([0.0, 0.0, 10.0, 20.0, 50.0, 90.0]), 70.0
    drawn = 3.0 - 0.01 * picks + 0.2 * random.normal(size=(4000, picks.size))
    bounds = np.array([tolerance_bounds(picks, each, at, content=0.9, confidence=0.95) for each in drawn])
    least, most = 3.0 - 0.01 * at + 0.2 * stats.norm.ppf(0.9) * np.array([-1.0, 1.0])
    kept = np.array([(bounds[:, 0] <= least).mean(), (bounds[:, 1] >= most).mean()])
    assert kept == pytest.approx([0.95, 0.95], abs=4 * np.sqrt(0.95 * 0.05 / 4000))
