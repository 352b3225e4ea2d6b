"""The one place that compares a value with its target."""

import math

import numpy as np
import pytest

from gripmargin.findings import Verdict, judge, overall, short_of

NAN, INF = math.nan, math.inf


@pytest.mark.parametrize(
    ("low", "high", "target", "verdict"),
    [
        (2.0, 2.0, 2.0, "pass"),
        (2.1, 2.5, 2.0, "pass"),
        (1.9, 2.1, 2.0, "undecided"),
        (1.0, 1.9, 2.0, "fail"),
        (1.0, 2.0, 2.0, "undecided"),
        (INF, INF, 2.0, "pass"),
        (0.0, 0.0, 2.0, "fail"),
        (0.0, INF, 2.0, "undecided"),
        (NAN, 3.0, 2.0, "undecided"),
        (3.0, NAN, 2.0, "undecided"),
        (3.0, 3.0, NAN, "undecided"),
        (NAN, NAN, NAN, "undecided"),
        (-1.0, -1.0, 0.5, "fail"),
    ],
)
def test_judge(low, high, target, verdict):
    assert judge(low, high, target) == verdict


def test_what_is_not_a_number_is_short():
    np.testing.assert_array_equal(short_of(np.array([NAN, 1.9, 2.0, INF]), 2.0), [True, True, False, False])


def test_overall_is_the_worst_and_nothing_checked_is_undecided():
    assert overall([]) is Verdict.UNDECIDED
    assert overall([Verdict.PASS]) is Verdict.PASS
    assert overall([Verdict.PASS, Verdict.UNDECIDED]) is Verdict.UNDECIDED
    assert overall([Verdict.UNDECIDED, Verdict.FAIL, Verdict.PASS]) is Verdict.FAIL
