"""Programs of positions alone: what falls short never passes, and what has room is decided.

More of them: `python tests/bench/positions.py`.
"""

import pytest

import gripmargin as gm
from support.positions import ATTACKS, attack, decided


@pytest.mark.parametrize("first", range(len(ATTACKS)), ids=ATTACKS)
def test_no_pass_for_what_falls_short(first):
    """By 3 %, with holes, jitter, encoders, blends within a sample, cut files, values that are off."""
    assert [seed for seed in range(first, 60, len(ATTACKS)) if attack(seed)[1]] == []


def test_no_pass_where_stops_drown_in_late_samples():
    """Blends of half a sample at 20 ms, read up to 8 ms early or late (3.6 ms rms)."""
    assert attack(5063) == ("jitter", False)


@pytest.mark.parametrize("kind", ["trapezoid", "bang-bang", "S-curve", "minimum jerk"])
@pytest.mark.parametrize("factor", [1.2, 1.5])
def test_what_has_room_is_decided(kind, factor):
    """Every 4 ms, to 1 um; the true margin is 1.2 and 1.5 times the target."""
    assert {decided(kind, seed, factor) for seed in range(8)} == {gm.Verdict.PASS}


def test_what_falls_short_by_a_tenth_fails():
    assert {decided("trapezoid", seed, 0.9) for seed in range(8)} == {gm.Verdict.FAIL}
