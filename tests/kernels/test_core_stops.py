"""What stops are followed by, in C and by numpy (IEEE 754, binary64)."""

import numpy as np
import pytest

from gripmargin.kernels.face import Face
from gripmargin.kernels.march import Oscillators, in_phase
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
