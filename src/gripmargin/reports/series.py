"""Figures over time made ready to be drawn: fewer points without losing a peak, and the samples a report is about."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.local_fit import running_max
from gripmargin.results.findings import CheckResult, Finding, worst_first
from gripmargin.results.governing import nearest
from gripmargin.results.report import Report

IntArray = NDArray[np.intp]

BOTTOMLESS = 1e9  # use that stands for no bound


def used(margin: FloatArray) -> FloatArray:
    """Return the share of the pads' hold that a margin stands for: its inverse, 0 without load, any shape."""
    with np.errstate(divide="ignore", over="ignore"):
        return np.asarray(1.0 / np.maximum(margin, 0.0))


def thinned(t: FloatArray, y: FloatArray, columns: int) -> list[IntArray]:
    """Return the samples that a line drawn over so many columns needs: first, last, least, largest of each.

    A drawing of these is the same as one of all samples (Jugel et al., M4, VLDB 2014, from memory). Samples that are
    no number, or infinite, break the line.

    Args:
        t: Times, rising, shape (n,).
        y: Values, shape (n,).
        columns: Width of the drawing in columns.

    Returns:
        Indices of one unbroken stretch each, rising.
    """
    good = np.flatnonzero(np.isfinite(y))
    if good.size == 0:
        return []
    column = _columns(t, columns)[good]
    order = np.lexsort((y[good], column))
    starts = np.flatnonzero(np.diff(column[order], prepend=-1))
    ends = np.append(starts[1:], good.size) - 1
    in_time = np.flatnonzero(np.diff(column, prepend=-1))
    last_in_time = np.append(in_time[1:], good.size) - 1
    kept = np.unique(np.concatenate([order[starts], order[ends], in_time, last_in_time]))
    stretch = np.cumsum(np.diff(good, prepend=good[0]) > 1)[kept]
    return np.split(good[kept], np.flatnonzero(np.diff(stretch)) + 1)


def envelope(t: FloatArray, y: FloatArray, reach: int) -> FloatArray:
    """Return the line over the peaks of what swings, NaN where it is, shape (n,).

    Args:
        t: Times, rising, shape (n,).
        y: Values, not below 0, shape (n,).
        reach: Samples within which only the largest is a peak.
    """
    out = y.copy()
    for piece in np.split(np.arange(y.size), np.flatnonzero(np.diff(np.isnan(y))) + 1):
        values = np.minimum(y[piece], BOTTOMLESS)
        peaks = np.flatnonzero(values == running_max(values, reach))
        peaks = np.unique(np.concatenate([[0], peaks, [piece.size - 1]]))
        out[piece] = np.maximum(values, np.interp(t[piece], t[piece[peaks]], values[peaks]))
    return out


def stops(t: FloatArray, worst: FloatArray, marked: Sequence[int], count: int) -> IntArray:
    """Return the samples at which figures are given: of each stretch of time the worst, and those that are marked.

    Args:
        t: Times, rising, shape (n,).
        worst: The larger the worse, NaN where there is nothing to say, shape (n,).
        marked: Samples that have to be among them.
        count: How many stretches.

    Returns:
        Rising indices: all of them where there are no more than `count`.
    """
    if t.size <= count:
        return np.arange(t.size)
    column = _columns(t, count)
    order = np.lexsort((np.where(np.isnan(worst), -np.inf, worst), column))
    ends = np.append(np.flatnonzero(np.diff(column[order])), t.size - 1)
    extra = [i for i in marked if 0 <= i < t.size]
    return np.unique(np.concatenate([order[ends], [0, t.size - 1], np.asarray(extra, dtype=np.intp)])).astype(np.intp)


def _columns(t: FloatArray, count: int) -> IntArray:
    span = float(t[-1] - t[0])
    share = (t - t[0]) / span if span > 0 else np.zeros(t.size)
    return np.minimum((share * count).astype(np.intp), count - 1)


def sample_of(report: Report, finding: Finding) -> int | None:
    """Return the sample of the program at which a finding is worst; None where the report has no samples.

    What concerns a recording numbers the recording's samples, so its time says where that is in the program.
    """
    t = report.samples.t
    return nearest(t, float(finding.worst.get("t", finding.start))) if t.size else None


def check_sample(report: Report, check: CheckResult) -> int | None:
    """Return the sample of the program at which a check is worst, likewise; None where it names no place."""
    t = report.samples.t
    return nearest(t, check.at.t) if check.at is not None and t.size else None


def worst_sample(report: Report) -> int | None:
    """Return the sample that a report is about: of the finding that decides, else where most of a target is used."""
    ranked = worst_first(report.findings)
    for finding in [*(f for f in ranked if f.check not in report.explained), *ranked]:
        return sample_of(report, finding)
    share = report.samples.governing
    return None if share.size == 0 else 0 if np.isnan(share).all() else int(np.nanargmin(share))
