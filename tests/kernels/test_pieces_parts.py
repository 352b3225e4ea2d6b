"""Bounds of pieces, of second differences and between samples: what is beside a part tells them all of the whole."""

from types import SimpleNamespace

import numpy as np
import pytest

from gripmargin.base import stored
from gripmargin.checks.hold.use import above_between
from gripmargin.kernels.differences import difference_bounds
from gripmargin.kernels.pieces import piece_bounds
from gripmargin.motion.closer_bounds import REACH


def cubics(seed, n):
    """Samples of cubics in pieces, rounded, and half of their digit."""
    random = np.random.default_rng(seed)
    bend = np.zeros(n)
    for first in random.integers(0, n, random.integers(1, 6)):
        bend[first:] += random.normal() * 10 ** random.uniform(-3, 0)
    error = 10 ** random.uniform(-6, 1)
    return np.round(np.cumsum(np.cumsum(bend)) / (2 * error))[None] * 2 * error, np.array([error])


@pytest.mark.parametrize("seed", range(8))
def test_parts_of_pieces_are_those_of_the_whole(monkeypatch, seed):
    y, error = cubics(seed, 1400)
    whole = piece_bounds(y, error)
    monkeypatch.setattr(stored, "PART", 60)
    for found, due in zip(piece_bounds(y, error), whole, strict=True):
        np.testing.assert_allclose(found, due, rtol=1e-6, atol=1e-6 * error[0])


@pytest.mark.parametrize("seed", range(4))
def test_second_differences_look_no_further_than_is_said(seed):
    y, error = cubics(seed, 400)
    whole = difference_bounds(y, error)
    for first in range(0, 400, 25):
        begin = max(first - REACH, 0)
        part = difference_bounds(y[:, begin : first + 25 + REACH], error)
        for found, due in zip(part, whole, strict=True):
            own = found[:, first - begin :][:, :25]
            np.testing.assert_allclose(own, due[:, first : first + 25], rtol=1e-9, atol=1e-9 * error[0])


def test_what_lies_between_samples_is_that_of_the_whole(monkeypatch):
    random = np.random.default_rng(3)
    t = np.cumsum(random.uniform(0.5, 2.0, 200))
    case = SimpleNamespace(job=SimpleNamespace(trajectory=SimpleNamespace(t=t)))
    samples = np.flatnonzero(random.random(200) < 0.9)
    value = random.uniform(0.0, 1.0, samples.size)
    whole = above_between(case, samples, value)
    monkeypatch.setattr(stored, "PART", 7)
    np.testing.assert_allclose(above_between(case, samples, value), whole, rtol=1e-12)
