"""Oscillators and rows between their times, in C and by numpy (IEEE 754, binary64)."""

import numpy as np
import pytest

from gripmargin.kernels.oscillator import fading_sum, free_vibration, response
from gripmargin.kernels.rows import straight_between, tables_between
from support.both_ways import assert_same, both_ways

W, Z = np.array([9.0, 40.0, 700.0]), np.array([0.0, 0.05, 0.9])


def times(n):
    return np.cumsum(np.random.default_rng(2).uniform(0.001, 0.003, n))


@pytest.mark.parametrize("n", [1, 2, 1500])
@pytest.mark.parametrize("pole", [-3.0 + 40.0j, -900.0 + 20.0j, -900.0 + 0.0j, 50.0j])
@pytest.mark.parametrize("held", [None, 0.4 - 2.0j])
def test_sums_that_turn_and_fade(monkeypatch, n, pole, held):
    """Over hundreds of e-folds, jumps real and complex, one no number."""
    random, t = np.random.default_rng(3), times(n)
    jumps = random.normal(size=n) if pole.imag == 0.0 else random.normal(size=(n, 2)) @ np.array([1.0, 1.0j])
    for wrong in (False, True):
        if wrong:
            jumps[2 * n // 3] = np.nan
        found = both_ways(monkeypatch, lambda: fading_sum(t, jumps, pole, held))
        assert_same(*(x.view(float) for x in found))
        assert np.isnan(found[1]).any() == (wrong and (n > 1 or held is None))


@pytest.mark.parametrize("samples", [1, 2, 900])
@pytest.mark.parametrize("at", [slice(None), np.arange(0, 1, 1), slice(None, None, -2)])
@pytest.mark.parametrize("share", [0.0, 0.3])
def test_responses(monkeypatch, samples, at, share):
    """One load is no number from the middle on; of the samples all, one, and every other one backwards."""
    random, t = np.random.default_rng(4), times(samples)
    load = np.cumsum(random.normal(size=(3, 2 * samples)), axis=1)[:, ::2]
    load[1, samples // 2 + 1 :] = np.nan
    begun = random.normal(size=3), random.normal(size=3)

    def task():
        return response(t, load, W, Z, free_vibration(t, load, W, Z, begun), share, at)

    by_numpy, by_core = both_ways(monkeypatch, task)
    assert np.isnan(by_numpy).any() == (samples > 2 and by_numpy.shape[1] > 1)
    assert_same(by_numpy, by_core)


@pytest.mark.parametrize("rows", [1, 6])
@pytest.mark.parametrize(("told", "many"), [(1, 40), (2, 40), (50, 300), (50, 0)])
def test_rows_between_their_times(monkeypatch, rows, told, many):
    """At times, between, before and after them, in any order, some no numbers or without bounds: to the last bit."""
    random = np.random.default_rng(6)
    known, values = times(told), random.normal(size=(2 * rows, told))[::2]
    values[:, told // 2 : told // 2 + 1] = np.nan
    values[0, -1:], values[0, :1] = np.inf, np.inf
    t = np.concatenate([random.uniform(known[0] - 0.02, known[-1] + 0.02, many), known, [np.nan]])[: many and None]
    with np.errstate(invalid="ignore"):
        by_numpy, by_core = both_ways(monkeypatch, lambda: straight_between(t, known, values))
    np.testing.assert_array_equal(by_core, by_numpy)


@pytest.mark.parametrize("shape", [(0,), (9,), (40, 1), (30, 8)])
def test_sums_of_tables_between_their_rows(monkeypatch, shape):
    """To the last bit; one factor is no number."""
    random = np.random.default_rng(7)
    near, table = random.integers(0, 11, size=(*shape, 2))[..., 0], random.normal(size=(36, 5))
    share, second, third = random.uniform(size=(3, *shape))
    second[-1:] = np.nan
    by_numpy, by_core = both_ways(monkeypatch, lambda: tables_between(table, near, share, second, third))
    assert np.isnan(by_numpy).any() == (shape != (0,))
    np.testing.assert_array_equal(by_core, by_numpy)
    if shape == (9,):  # by the definition
        rows = table.reshape(3, 12, 5)
        found = [(1.0 - share) * rows[i, near].T + share * rows[i, near + 1].T for i in range(3)]
        np.testing.assert_allclose(by_core[:, :8], (found[0] + second * found[1] + third * found[2])[:, :8], rtol=1e-12)
