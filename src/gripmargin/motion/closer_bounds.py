"""Closer bounds of second derivatives of samples whose errors have a hard bound: by pieces, and by second differences.

In: samples, and their second derivative by local polynomials with its error.
Out: the same with closer bounds in their place.
Error: that of `gripmargin.kernels.pieces` and `gripmargin.kernels.differences`.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import by_parts, differences_of, flagged, largest_of, numbered, parts, stored
from gripmargin.kernels.courses import better_course
from gripmargin.kernels.differences import difference_bounds
from gripmargin.kernels.local_fit import running_max
from gripmargin.kernels.pieces import FEWEST, piece_bounds

NEVER: Final = 10**6  # points that no window has
REACH: Final = 12  # samples on either side that bounds by second differences look at
AT_ONCE: Final = 131_072  # values of all channels that are worked out at a time: time and memory alone


def by_pieces(
    t: FloatArray,
    y: FloatArray,
    error: FloatArray,
    second: FloatArray,
    window: FloatArray,
    *,
    proof: Callable[[slice, NDArray[np.intp]], NDArray[np.intp]],
    only: NDArray[np.bool_] | None = None,
) -> NDArray[np.bool_]:
    """Put in the bounds of polynomial pieces where they are closer, in place; return where, shape (channels, n).

    Args:
        t: Times [s], shape (n,).
        y: Samples, shape (channels, n).
        error: Bound of the error of each value, shape (channels,).
        second: Second derivative, noise and bias, shape (3, n, channels).
        window: Time over which was smoothed [s], shape (channels, n).
        proof: Points of a window that show the bound to hold, of some samples and channels, shape (channels, samples).
        only: Channels without such a flag are left as they are, shape (channels, n); None: none is.
    """
    taken = stored(y.shape, bool)
    moves = largest_of(np.positive, y.T) + largest_of(np.negative, y.T) > 0.0
    every = np.flatnonzero(moves if only is None else moves & only.any(axis=1))
    together = max(1, AT_ONCE // t.size)
    for run in _even_runs(t) if every.size else ():
        for bounded in (every[k : k + together] for k in range(0, every.size, together)):
            step, off = _evenly(t, y, run, bounded)
            since = stored((bounded.size, run.stop - run.start))
            for part in parts(since.shape[1]):
                at = slice(run.start + part.start, run.start + part.stop)
                since[:, part] = y[bounded, at] - y[bounded, run.start, None]
            found = piece_bounds(since, error[bounded] + off)
            for part in parts(run.stop - run.start):
                at = slice(run.start + part.start, run.start + part.stop)
                low, high, followed, points = (rows[:, part] for rows in found)
                followed = np.logical_and(followed, points >= proof(at, bounded))
                low, high = (np.where(followed, bound, 0.0).T / step**2 for bound in (low, high))
                before = second[:, at, bounded]
                closer = followed.T & ((high - low) / 2.0 < 2.0 * before[1] + before[2])
                bounds = np.stack([low + high, np.zeros_like(low), high - low]) / 2.0
                second[:, at, bounded] = np.where(closer, bounds, before)
                window[bounded, at] = np.where(followed, step, window[bounded, at])
                taken[bounded, at] = closer.T
    return taken


def by_differences(
    t: FloatArray,
    y: FloatArray,
    error: FloatArray,
    second: FloatArray,
    window: FloatArray,
    quick: NDArray[np.bool_],
    few: NDArray[np.bool_],
) -> None:
    """Put in the bounds of second differences over the stretches where they are closer, in place.

    What lies between two samples is bounded by the two of one kind: where the kinds meet, a sample has both. The teeth
    of a saw are smoothed away: a fit that is left counts with them beside.

    Args:
        t: Times [s], shape (n,).
        y: Samples, shape (channels, n).
        error: Bound of the error of each value, shape (channels,).
        second: Second derivative, noise and bias, shape (3, n, channels).
        window: Time over which was smoothed [s], shape (channels, n).
        quick: Where moves are too quick to be followed: no difference bounds them, shape (channels, n).
        few: Which channels have noise of a few digits, and none at rest, shape (channels,).
    """
    for run in _even_runs(t):
        step, off = _evenly(t, y, run, np.arange(len(y)))
        known, room = error + off, 4.0 * (error + off)[:, None] / step**2
        fit, beside = np.swapaxes(second[:, run], 1, 2), y[:, run]
        may, low, high = stored(beside.shape, bool), stored(beside.shape), stored(beside.shape)
        costs, size = [stored(beside.shape[1:]) for _ in range(3)], max(1, AT_ONCE // len(y))
        for part in parts(beside.shape[1], size=size):
            wide = slice(max(part.start - REACH, 0), part.stop + REACH)
            here = slice(part.start - wide.start, part.stop - wide.start)
            found = difference_bounds(beside[:, wide] - beside[:, :1], known)
            low[:, part], high[:, part], may[:, part], teeth = (x[:, here] for x in found)
            smoothed = few[:, None] & (window[:, run][:, part] > 1.5 * step)
            fit[2, :, part] += np.where(smoothed, teeth / step**2, 0.0)
            may[:, part] &= ~quick[:, run][:, part]
            low[:, part], high[:, part] = low[:, part] / step**2 - room, high[:, part] / step**2 + room
            kinds = _kinds(fit[:, :, part], may[:, part], low[:, part], high[:, part])
            for cost, bounds in zip(costs, kinds, strict=True):
                cost[part] = np.square(np.diff(bounds, axis=0)[0]).sum(axis=0)
        taken, course = stored(may.shape, bool), better_course(*costs)
        del costs
        for part in parts(beside.shape[1], size=size):
            taken[:, part] = may[:, part] & course[part]
        meets = running_max(~taken, 1)
        for part in parts(beside.shape[1], size=size):
            _, differences, both = _kinds(fit[:, :, part], may[:, part], low[:, part], high[:, part])
            least, most = np.where(taken[:, part] & meets[:, part], both, differences)
            bounds = np.stack([least + most, np.zeros_like(least), most - least]) / 2.0
            fit[:, :, part] = np.where(taken[:, part], bounds, fit[:, :, part])
            at = slice(run.start + part.start, run.start + part.stop)
            window[:, at] = np.where(taken[:, part], 2.0 * step, window[:, at])


def _kinds(fit: FloatArray, may: NDArray[np.bool_], low: FloatArray, high: FloatArray) -> tuple[FloatArray, ...]:
    """Least and largest by the fit, by second differences where these may serve, and by both; (2, channels, n) each."""
    value, sigma, bias = fit
    fits = np.stack([value - 2.0 * sigma - bias, value + 2.0 * sigma + bias])
    differences = np.where(may, np.stack([low, high]), fits)
    return fits, differences, np.stack([np.minimum(fits[0], differences[0]), np.maximum(fits[1], differences[1])])


def _evenly(t: FloatArray, y: FloatArray, run: slice, channels: NDArray[np.intp]) -> tuple[float, FloatArray]:
    """The interval of a run of even times [s], and what their rounding does to some channels [unit], their shape."""
    first, last, count = t[run.start], t[run.stop - 1], run.stop - run.start

    def even(at: NDArray[np.intp]) -> FloatArray:
        return np.asarray(first + at * (last - first) / (count - 1))

    begin = even(np.arange(2))
    step = float(begin[1] - begin[0])
    late = largest_of(lambda some, at: np.abs(some - even(at)), t[run], numbered(count))
    late = late + 2.0 * np.spacing(max(abs(first), abs(last)))
    moves = largest_of(lambda a, b: np.abs(b - a), y[:, run.start : run.stop - 1].T, y[:, run.start + 1 : run.stop].T)
    return step, late * moves[channels] / step


def _even_runs(t: FloatArray) -> list[slice]:
    """Stretches of samples at even times."""
    step = differences_of(t)
    middle = np.median(step)
    odd = flagged(by_parts(lambda some: np.abs(some - middle) > 1e-6 * middle, step, kind=bool))
    edges = np.concatenate([[-1], odd, [step.size]])
    return [slice(a + 1, b + 1) for a, b in pairwise(edges.tolist()) if b - a >= FEWEST]
