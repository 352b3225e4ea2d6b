"""Which result governs at each instant: the least of their figures in shares of their targets."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import partial

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.labels import Labels
from gripmargin.base.stored import by_parts, parts, stored
from gripmargin.results.findings import CheckResult, Finding, Verdict


def shares_of(
    t: FloatArray, results: Iterable[CheckResult], findings: Iterable[Finding], least: Mapping[str, FloatArray]
) -> dict[str, FloatArray]:
    """Return for each result the least share of its target that its figure may have at every sample.

    A result without a figure at every sample has its least at one sample, and every finding of it at its worst, so
    that the least over time of a result is what its verdict rests on; 0 where it is not known.

    Args:
        t: Times of the program [s], rising, shape (n,).
        results: Of all checks.
        findings: Of all checks.
        least: Least value that the figure of a result may have, by its name, NaN where it has none, each shape (n,).

    Returns:
        By name of the result, NaN where it says nothing, each shape (n,).
    """
    shares: dict[str, FloatArray] = {}
    for result in results:
        own = least.get(result.check, np.broadcast_to(np.nan, t.shape))
        share = by_parts(partial(_over, result.target), own)
        known = [(f.worst.get("t"), f.share) for f in findings if f.check == result.check]
        where = result.low_at or result.at
        if where is not None and not (result.low is None and result.verdict is Verdict.PASS):
            known.append((where.t, (result.low or 0.0) / result.target))
        for when, figure in known:
            if when is not None:
                at = nearest(t, when)
                share[at] = np.fmin(share[at], figure)
        shares[result.check] = share
    return shares


def _over(target: float, figure: FloatArray) -> FloatArray:
    return figure / target


def governing(shares: Mapping[str, FloatArray], n: int) -> tuple[FloatArray, Labels]:
    """Return the least share of its target that any result may have at each sample, and which result that is.

    Args:
        shares: By name of the result, NaN where it says nothing, each shape (n,).
        n: How many samples.

    Returns:
        The share [-], NaN where none says anything, shape (n,); names, empty there.
    """
    share, number = stored((n,)), stored((n,), np.uint8)
    for part in parts(n):
        rows = np.stack([*(each[part] for each in shares.values()), np.full(part.stop - part.start, np.nan)])
        known = np.where(np.isnan(rows), np.inf, rows)
        least, which = known.min(axis=0), known.argmin(axis=0)
        silent = np.isnan(rows).all(axis=0)
        # without any load they are alike: the first that says something names it
        which = np.where(np.isinf(least), np.argmin(np.isnan(rows), axis=0), which)
        share[part], number[part] = np.where(silent, np.nan, least), np.where(silent, len(shares), which)
    return share, Labels([*shares, ""], number)


def nearest(t: FloatArray, when: float) -> int:
    """Return the sample next to a time [s]."""
    after = int(np.clip(np.searchsorted(t, when), 1, t.size - 1)) if t.size > 1 else 0
    return after - 1 if after and when - t[after - 1] <= t[after] - when else after
