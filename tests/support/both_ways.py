"""The same work by the kernels in C and by numpy alone."""

import os

import numpy as np
import pytest

from gripmargin.kernels import core


def need_the_core():
    """Skip a test where the kernels were not built; where `CI` is set that is a failure."""
    if core.kernel("follow") is None:
        reason = "the kernels in C were not built: install the package again where there is a C compiler"
        if os.environ.get("CI"):
            pytest.fail(reason)
        pytest.skip(reason)


def both_ways(monkeypatch, task):
    """What a task returns by numpy alone, and with the kernels."""
    monkeypatch.setenv(core.SWITCH, "on")
    need_the_core()
    by_core = task()
    monkeypatch.setenv(core.SWITCH, "off")
    return task(), by_core


def assert_same(one, other, size=None):
    """Arrays agree to 1e-12 of the largest number of the first, or of another size; what is none is none in both."""
    assert one.shape == other.shape
    if size is None:
        size = np.abs(one[np.isfinite(one)]).max(initial=0.0)
    np.testing.assert_allclose(other, one, rtol=1e-12, atol=1e-12 * size)
