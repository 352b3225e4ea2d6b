"""Messages of planners with 15 % more than the target are decided; tests/bench/planners.py runs more of them."""

import pytest

import gripmargin as gm
from support.planned import KINDS, PLANNERS, TARGET, decided


@pytest.mark.parametrize("planner", PLANNERS)
@pytest.mark.parametrize("kind", KINDS)
def test_what_planners_write_is_decided_and_never_above_the_truth(planner, kind):
    for seed in range(2):
        found = decided(planner, kind, seed, 1.15)
        assert found.verdict is gm.Verdict.PASS
        assert found.low <= 1.15 * TARGET * (1.0 + 1e-4) <= found.high * (1.0 + 2e-4)


def test_the_teeth_of_a_saw_that_smoothing_takes_for_noise_count():
    """The fastest way along a spline on a grid of 14 ms, just after a jump in all joints."""
    found = decided("toppra", "positions", 7, 1.15)
    assert found.verdict is gm.Verdict.PASS
    assert found.low <= 1.15 * TARGET
