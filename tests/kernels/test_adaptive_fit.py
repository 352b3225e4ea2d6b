"""Windows as wide as the motion allows: their times, their errors at the ends, a long record worked on in chunks."""

import numpy as np
import pytest

from gripmargin.kernels import adaptive_fit as module
from gripmargin.kernels.adaptive_fit import adaptive_fit

STEP = 0.004


def swinging(n, noise, seed=0, hertz=1.0):
    """A sine of 1 with white noise, and its second derivative."""
    random = np.random.default_rng(seed)
    t, w, phase = np.arange(n) * STEP, 2 * np.pi * hertz, random.uniform(0, 6)
    y = np.sin(w * t + phase)
    return t, (y + noise * random.normal(size=n))[None], -(w**2) * y


def test_windows_last_as_long_whenever_the_clock_began():
    """At rest in noise: the widest windows that are tried, 199 points, less two steps of the ladder, a factor of 2."""
    t, y = np.arange(1000) * STEP, np.random.default_rng(1).normal(size=(1, 1000))
    widths = [adaptive_fit(t + began, y, (2,))[1] for began in (0.0, 512.0)]
    np.testing.assert_allclose(widths[1], widths[0], atol=1e-9)
    assert np.median(widths[0]) == pytest.approx(98 * STEP)


def test_a_long_record_is_worked_on_in_chunks_as_at_once(monkeypatch):
    """At rest, in the widest windows, up to 160 and 180 samples after a chunk ends: then it moves."""
    t, ends = np.arange(2400) * STEP, 1536
    moved = np.stack([0.3 * np.clip(t - t[ends + later], 0, None) ** 2 for later in (160, 180)])
    y = moved + 1e-5 * np.random.default_rng(0).normal(size=moved.shape)
    whole = adaptive_fit(t, y, (2, 1))
    monkeypatch.setattr(module, "_CHUNK", ends)
    chunks = adaptive_fit(t, y, (2, 1))
    for one, other in zip(whole[:2], chunks[:2], strict=True):
        np.testing.assert_allclose(other, one, rtol=1e-6, atol=1e-9)


def test_at_its_ends_a_record_is_known_as_well_as_said_and_less_well_than_inside():
    """A polynomial of degree 3 misses six times as much of one of degree 4 at its end as in its middle (P4'': 45, 7.5);
    a narrower window there, and the difference between windows that shows some of it, leave about three."""
    held, ends, inside = [], [], []
    for seed in range(12):
        t, y, due = swinging(400, 1e-4, seed)
        value, sigma, bias = adaptive_fit(t, y, (2,))[0][0][:, 0]
        outer, inner = np.r_[:6, 394:400], slice(100, 300)
        held.append(np.abs(value - due)[outer] <= (bias + 2 * sigma)[outer])
        ends.append(np.median(bias[outer]))
        inside.append(np.median(bias[inner]))
    assert np.mean(held) > 0.93
    assert 2.0 < np.median(ends) / np.median(inside) < 4.5
