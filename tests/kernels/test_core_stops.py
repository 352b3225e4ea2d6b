"""What stops are followed by, in C and by numpy (IEEE 754, binary64)."""

from dataclasses import replace

import numpy as np
import pytest

from gripmargin.kernels.face import Face
from gripmargin.kernels.march import Doubt, Oscillators, State, in_phase, march
from support.both_ways import assert_same, both_ways

W, Z = np.array([60.0, 95.0, 210.0, 400.0, 900.0, 2000.0]), np.array([0.02, 0.1, 0.3, 0.0, 0.05, 0.2])


def oscillators(points=7):
    face = Face(np.random.default_rng(5).normal(size=(3, points, 6)))
    gain = np.linalg.norm(face.maps, axis=0).max(axis=0)
    return Oscillators(frequency=W, damping=Z, face=face, gain=gain, followed=W < 500.0)


@pytest.mark.parametrize("starts", [0, 1, 90])
@pytest.mark.parametrize("large", [0, 1, 3, 6])
def test_all_amplitudes_at_once(monkeypatch, starts, large):
    """Some too small to be tried by sign, some boxes near enough, one that is no number, one beyond all bounds."""
    random, some = np.random.default_rng(1), oscillators()
    load, amplitude = random.normal(size=(6, 3 * starts))[:, ::3], np.abs(random.normal(size=(6, starts)))
    amplitude[large:] *= 1e-6
    enough = random.uniform(0.0, 8.0, starts)
    if starts > 1:
        load[2, 3], amplitude[0, 4] = np.nan, np.inf
    with np.errstate(invalid="ignore"):
        found = both_ways(monkeypatch, lambda: in_phase(some, load, amplitude, enough))
    assert_same(*found)
    if starts > 1 and large > 1:
        assert (found[0] < some.gain @ (np.abs(load) + amplitude) * (1.0 - 1e-3)).any()  # corners were looked at


@pytest.mark.parametrize(("steps", "starts"), [(1, 1), (2, 0), (40, 9)])
@pytest.mark.parametrize("followed", [True, False])
def test_marches_one_after_the_other(monkeypatch, steps, starts, followed):
    """Under noise and doubt; one load is no number from its middle on, and stays so at its start alone."""
    random, some = np.random.default_rng(2), replace(oscillators(), followed=(W < 500.0) & followed)
    load = np.cumsum(random.normal(size=(2 * steps + 1, 6, 2 * starts)), axis=0)[..., ::2]
    load[steps + 1 :, 2, 4:5] = np.nan
    step, rough = random.uniform(1e-3, 2e-2, starts), 0.1 * random.normal(size=load.shape)
    phase = random.normal(size=(6, starts, 2)) @ np.array([1.0, 1.0j])
    doubt = Doubt(kicks=np.abs(phase), offset=0.1, growth=0.01 * np.abs(phase), sigma=0.2, rough=rough[: steps + 1])

    def task():
        state = State(phase=phase, doubt=np.abs(phase), variance=np.abs(phase), free=phase)
        state, one = march(some, state, step, load[: steps + 1], doubt, sure=3.0, coverage=2.0)
        state, two = march(some, state, step, load[steps:], sure=3.0, coverage=2.0)
        return [np.array(x) for found in (state, one, two) for x in vars(found).values()]

    for by_numpy, by_core in zip(*both_ways(monkeypatch, task), strict=True):
        assert np.isnan(by_numpy).any(axis=tuple(range(by_numpy.ndim - 1))).sum() <= 1
        assert_same(by_numpy, by_core)
