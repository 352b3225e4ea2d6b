"""The one comparison with a target, verdicts put together, what falls short."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gripmargin.results.findings import Verdict, finite, judge, on_target, overall, short_of

FLOATS = st.floats(allow_nan=True, allow_infinity=True)
NAN, INF = math.nan, math.inf


class TestJudge:
    @pytest.mark.parametrize(
        ("low", "high", "target", "verdict"),
        [
            (2.0, 2.0, 2.0, "pass"),
            (2.5, 3.0, 2.0, "pass"),
            (1.9, 2.1, 2.0, "undecided"),
            (1.9, 2.0, 2.0, "undecided"),
            (1.0, 1.9, 2.0, "fail"),
            (INF, INF, 2.0, "pass"),
            (0.0, INF, 2.0, "undecided"),
            (0.0, 0.0, 2.0, "fail"),
            (-INF, INF, 2.0, "undecided"),
            (np.nextafter(2.0, 0), 2.0, 2.0, "undecided"),
        ],
    )
    def test_table(self, low, high, target, verdict):
        assert judge(low, high, target) == verdict

    @pytest.mark.parametrize("position", range(3))
    @pytest.mark.parametrize("others", list(itertools.product([0.0, 1.0, 5.0, INF, NAN], repeat=2)))
    def test_what_is_no_number_is_undecided(self, position, others):
        values = [*others]
        values.insert(position, NAN)
        assert judge(*values) is Verdict.UNDECIDED

    @given(low=FLOATS, high=FLOATS, target=FLOATS)
    @settings(derandomize=True, deadline=None, max_examples=300)
    def test_a_pass_means_that_even_the_least_value_is_on_target(self, low, high, target):
        verdict = judge(low, high, target)
        assert (verdict is Verdict.PASS) == (low >= target and high >= low)
        assert (verdict is Verdict.FAIL) == (high < target and low <= high)

    def test_bounds_that_contradict_each_other_are_undecided(self):
        assert judge(3.0, 1.0, 2.0) is Verdict.UNDECIDED


class TestShortOf:
    def test_what_is_no_number_is_short(self):
        margins = np.array([1.0, 2.0, 3.0, NAN, INF, -INF])
        np.testing.assert_array_equal(short_of(margins, 2.0), [True, False, False, True, False, True])
        assert short_of(margins, NAN).all()


class TestOverall:
    @pytest.mark.parametrize(
        ("verdicts", "worst"),
        [
            ([], "undecided"),
            (["pass"], "pass"),
            (["pass", "undecided"], "undecided"),
            (["undecided", "fail", "pass"], "fail"),
            (["pass", "pass"], "pass"),
        ],
    )
    def test_is_the_worst(self, verdicts, worst):
        assert overall(Verdict(v) for v in verdicts) == worst


def test_on_target_is_what_is_nowhere_short():
    assert on_target([2.0, INF], 2.0)
    assert not on_target([2.0, np.nextafter(2.0, 0)], 2.0)
    assert not on_target([3.0, NAN], 2.0)
    assert not on_target(NAN, 2.0)


def test_what_is_no_finite_number_is_no_figure():
    assert [finite(x) for x in (1.5, INF, -INF, NAN)] == [1.5, None, None, None]
