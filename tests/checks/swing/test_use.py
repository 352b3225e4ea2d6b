"""How finely the swing is looked at between samples."""

from types import SimpleNamespace

import numpy as np
import pytest

from gripmargin.checks.swing.use import resolution


def looked_at(*turns, steps=(1.0,), n=1001):
    """Modes that turn by some angles [rad] in a time of 1; steps between samples in that time."""
    t = np.cumsum(np.resize(steps, n)) if np.ndim(steps) else steps * np.arange(n)
    found = SimpleNamespace(drive=SimpleNamespace(t=t), modes=SimpleNamespace(frequency=np.array(turns)))
    followed, count = resolution(found)
    return followed.tolist(), count


@pytest.mark.parametrize(
    ("turns", "followed", "count"),
    [
        ((0.4,), [True], 1),
        ((0.4, 2.0), [True, True], 4),  # half a radian from instant to instant
        ((0.4, 3.9), [True, True], 8),
        ((0.4, 7.5), [True, True], 8),  # no more than eight, and no more than a radian
        ((0.4, 8.5), [True, False], 1),  # counts with its whole amplitude
    ],
)
def test_modes_are_followed_as_far_as_eight_instants_a_sample_do(turns, followed, count):
    assert looked_at(*turns) == (followed, count)


def test_long_stretches_are_looked_at_less_finely():
    """400 000 instants at most."""
    assert looked_at(2.0, n=130_000) == ([True], 3)
    assert looked_at(3.5, n=130_000) == ([False], 3)


def test_the_usual_interval_is_one_that_nine_in_ten_do_not_exceed():
    assert looked_at(1.0, steps=(*[1.0] * 17, *[2.0] * 3)) == ([True], 4)
    assert looked_at(1.0, steps=(*[1.0] * 19, 2.0)) == ([True], 2)
