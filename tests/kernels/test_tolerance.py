"""Tolerance bounds about a line: against the noncentral t distribution of scipy.stats, and by their coverage."""

import numpy as np
import pytest
from scipy import special, stats

from gripmargin.kernels.tolerance import block_tolerance_bounds, tolerance_bounds

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


def blocks(between, random, count=3, each=5, draws=1):
    """Picks, pads and logarithms of pulls of some pads over their lives, with a scatter of 1 within each pad."""
    picks, pads = np.tile(np.linspace(0.0, 400.0, each), count), np.repeat(np.arange(count), each)
    own = between * random.normal(size=(draws, count))
    return picks, pads, -8e-4 * picks + own[:, pads] + random.normal(size=(draws, picks.size))


@pytest.mark.parametrize("between", [0.0, 1.0, 10.0])
def test_bounds_of_pads_keep_what_they_promise_whatever_differs_between_pads(between):
    """Three pads of five pulls: nineteen bounds of twenty, or more, as one-way random models are bounded safely."""
    picks, pads, drawn = blocks(between, np.random.default_rng(0), draws=800)
    asked = {"content": 0.99, "confidence": 0.95}
    bounds = np.array([block_tolerance_bounds(picks, each, pads, 400.0, **asked) for each in drawn])
    true = -0.32 + np.hypot(between, 1.0) * stats.norm.ppf(0.99) * np.array([-1.0, 1.0])
    kept = np.array([(bounds[:, 0] <= true[0]).mean(), (bounds[:, 1] >= true[1]).mean()])
    assert (kept >= 0.95 - 3 * np.sqrt(0.95 * 0.05 / 800)).all()
    alone = np.array([tolerance_bounds(picks, each, 400.0, **asked)[0] for each in drawn])
    assert between == 0.0 or (alone <= true[0]).mean() < 0.9  # as pulls of many pads they would promise too much


def test_pads_that_differ_far_more_than_their_pulls_count_as_one_value_each():
    """The factor of 3 values at 99 % and 95 % is 10.5527 (Owen's tables; scipy.stats.nct gives it, too)."""
    picks, pads, (within,) = blocks(0.0, np.random.default_rng(1))
    values = 1e-6 * within + np.array([1.0, 2.0, 4.0])[pads]
    low, high = block_tolerance_bounds(picks, values, pads, 200.0, content=0.99, confidence=0.95)
    assert stats.nct.ppf(0.95, 2, stats.norm.ppf(0.99) * np.sqrt(3)) / np.sqrt(3) == pytest.approx(10.5527, abs=1e-4)
    assert (high - low) / 2 == pytest.approx(10.5527 * np.std([1, 2, 4], ddof=1), rel=1e-4)
    assert (high + low) / 2 == pytest.approx(7 / 3, rel=1e-5)


def test_pads_alike_are_bounded_by_mee_and_owens_figures():
    """Balanced, at the mean of all picks: h = 1/5, and the one-way model's own factor by hand (Mee & Owen 1983)."""
    picks, pads, (drawn,) = blocks(1.0, np.random.default_rng(2), count=4)
    low, _ = block_tolerance_bounds(picks, drawn, pads, 200.0, content=0.9, confidence=0.95)
    table = drawn.reshape(4, 5)
    fits = [np.polynomial.Polynomial.fit(picks[:5], row, 1) for row in table]
    within = sum(((row - fit(picks[:5])) ** 2).sum() for row, fit in zip(table, fits, strict=True)) / 12
    between = 5 * np.var(table.mean(axis=1), ddof=1)
    ratio = max((between / within * stats.f.ppf(0.905, 12, 3) - 1) / 5, 0)
    counted, total = 20 * (ratio + 1) / (5 * ratio + 1), between / 5 + 0.8 * within
    degrees = (ratio + 1) ** 2 / ((ratio + 0.2) ** 2 / 3 + 0.8**2 / 12)
    factor = stats.nct.ppf(0.95, degrees, stats.norm.ppf(0.9) * np.sqrt(counted)) / np.sqrt(counted)
    assert low == pytest.approx(table.mean() - factor * np.sqrt(total), rel=1e-8)


@pytest.mark.parametrize(
    ("n", "factors"), [(3, (6.1553, 7.6559, 10.5527)), (5, (3.4066, 4.2027, 5.7411)), (10, (2.3546, 2.9110, 3.9811))]
)
def test_factors_of_one_sided_tolerance_limits(n, factors):
    """Of a sample without a trend: the kernel's own quantile against published tables (ISO 16269-6, from memory)."""
    found = [special.nctdtrit(n - 1, special.ndtri(p) * np.sqrt(n), 0.95) / np.sqrt(n) for p in (0.9, 0.95, 0.99)]
    assert found == pytest.approx(factors, abs=1e-4)
