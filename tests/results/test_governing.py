"""What governs at each instant, by hand."""

import numpy as np

from gripmargin.results.findings import Place, exact, undecided
from gripmargin.results.governing import governing, shares_of

T = np.array([0.0, 1.0, 2.0, 3.0])


def at(t):
    return Place(t=t, sample=int(t), move=None)


def test_the_least_share_governs_and_has_a_name():
    """By hand: hold 4, 3 of 2 and stop 1 of 1.5 make 2, 1.5 and 2/3."""
    results = [exact("hold", 3.0, 2.0, at(2.0), {}), exact("stop", 1.0, 1.5, at(1.0), {})]
    hold, stop = np.array([np.nan, 4.0, 3.0, np.nan]), np.array([np.nan, 1.0, 6.0, np.nan])
    share, names = governing(shares_of(T, results, (), {"hold": hold, "stop": stop}), T.size)
    np.testing.assert_allclose(share, [np.nan, 2 / 3, 1.5, np.nan])
    assert names == ("", "stop", "hold", "")


def test_a_result_without_a_curve_counts_where_it_is_worst():
    results = [
        exact("hold", np.inf, 2.0, at(1.0), {}),
        exact("lift_off", 1.0, 2.0, at(2.1), {}),
        undecided("preload", 0.9, "not known", at=at(3.0)),
    ]
    share, names = governing(shares_of(T, results, (), {"hold": np.array([np.nan, np.inf, np.inf, np.inf])}), T.size)
    np.testing.assert_allclose(share, [np.nan, np.inf, 0.5, 0.0])
    assert names == ("", "hold", "lift_off", "preload")
