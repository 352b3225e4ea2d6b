"""Samples of a controller that were read at a rate which is not its own.

A controller of period P renews its values at T + k P; who reads them at a time s gets those of k = floor((s - T)/P).
Reads closer than P repeat values, reads further apart miss some: the samples then look jerky over the times of the
reads and smooth over those of the controller. Where motion is steady the way between two samples says how
many periods have passed; the period is the one by which all reads of a stretch are alike late, within a period, and
stretches are joined as it becomes known well enough to count over what lies between them.

Samples lie along the last axis, channels along the first.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.digits import grid
from gripmargin.kernels.local_fit import running_max

Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]
Stretch = tuple[FloatArray, FloatArray]  # times of reads [s] and numbers of what they got

ORDER: Final = 3  # of the differences: they remove smooth motion and keep what a wrong time does
FEWEST: Final = 24  # differences in motion that tell a period
DIGITS: Final = 4.0  # steps of rounding by which a channel moves from sample to sample where it surely moves
HELD: Final = 2.0  # rows with one value, over the usual in motion, up to which they may repeat
ROUGH: Final = 0.1  # differences over those of first order from which samples are too jerky for their times
BETTER: Final = 0.5  # part of the differences over the reads that may be left over the controller's times
NEAR: Final = 4  # samples on either side that say how far a sample moves in one period
STEADY: Final = 1.5  # ratio of these up to which samples are numbered by how far they move
SHORTEST: Final = 12  # samples of a stretch that is numbered by itself
LONGEST: Final = 160  # the same; a wrong count spoils no more
FINE: Final = 41  # periods that are tried about one that was found
ALIKE: Final = 1.1  # lateness over the least up to which another period may hold
TAIL: Final = 0.02  # of the reads at either end of their lateness that may be misnumbered
LEAST: Final = 0.4  # periods by which they do at least: half of one where two reads fall on one period
TOO_LATE: Final = 1.3  # periods by which the reads of a stretch may differ in lateness: the poller's own delay is in it
COUNTED: Final = 0.2  # periods by which a count may be off and is still known
ODD: Final = 0.05  # part of reads one period apart that shows two periods to be two
PASSES: Final = 6  # in which numbers are mended
SURE: Final = 0.02  # by which part the period may be off


def repeated(t: FloatArray, y: FloatArray) -> Flags:
    """Which samples repeat the one before, in all channels, while the robot moves on all the same, shape (n,).

    A robot that stops slows down before and speeds up after. Where a channel moves on in the same sense, by steps well
    above rounding and on either side no smaller than half of the next ones, it has not stopped. At that speed it would
    have moved by more than rounding meanwhile. A value that many more rows have than others in motion is a rest.

    Args:
        t: Times of the reads [s], increasing, shape (n,).
        y: Samples, shape (channels, n).
    """
    change = np.diff(y, axis=1)
    same = ~change.any(axis=0)
    out = np.zeros(y.shape[1], dtype=bool)
    steps = np.flatnonzero(~same)  # change i leads from sample i to i + 1
    if not same.any() or steps.size < 4:
        return out
    digit = DIGITS * grid(y)[:, None]
    c = change[:, steps]
    size = np.abs(c)
    before, after = slice(1, -2), slice(2, -1)  # of every two neighbouring changes with one more on either side
    least = np.minimum(size[:, before], size[:, after])
    moves = (c[:, before] * c[:, after] > 0.0) & (least > digit)
    moves &= (size[:, before] > 0.5 * size[:, :-3]) & (size[:, after] > 0.5 * size[:, 3:])
    rows = np.diff(steps)[1:-1]  # that have a value
    if not moves.any():
        return out
    usual = float(np.median(rows[moves.any(axis=0)]))
    lasts, held = np.diff(t)[steps], t[steps[2:-1]] - t[steps[1:-2] + 1]
    part = held / np.maximum(lasts[before], lasts[after])  # of the next steps that it would have moved meanwhile
    between = (rows > 1) & (rows <= HELD * usual) & (moves & (np.minimum(part, 1.0) * least > digit)).any(axis=0)
    for i in np.flatnonzero(between) + 1:
        out[steps[i] + 2 : steps[i + 1] + 1] = True
    return out


@dataclass(frozen=True)
class Renewals:
    """When a controller renewed the values that were read.

    Attributes:
        period: Of the controller [s].
        error: By which part the period may be off.
        number: Of the value that each read got, never falling, shape (n,).
        events: Reads in motion that repeat a value or miss one, as far as they are not all alike.
    """

    period: float
    error: float
    number: NDArray[np.int64]
    events: int


def renewals(t: FloatArray, y: FloatArray, repeats: Flags) -> Renewals | None:
    """Find out when a controller renewed its values.

    Args:
        t: Times of the reads [s], increasing, shape (n,).
        y: Samples, shape (channels, n).
        repeats: Which of them repeat the one before, as `repeated`, shape (n,).

    Returns:
        None where no controller explains the samples better than the times of the reads do.
    """
    kept = np.flatnonzero(~repeats)
    fresh, s = y[:, kept], t - t[0]
    places = _in_motion(fresh)
    if places.size < FEWEST:
        return None
    if not jerky(s[kept], fresh):
        return None
    plain = _jerkiness(s[kept], fresh, places)
    found = [_counted(s, fresh, kept, usual) for usual in (1, 2)]
    best = None
    for each in found:
        left = np.inf if each is None else _jerkiness(each.number[kept].astype(np.float64), fresh, places)
        if left < BETTER * plain:
            best, plain = each, left
    return best


def jerky(t: FloatArray, y: FloatArray) -> bool:
    """Whether samples in motion are too jerky for their times.

    Args:
        t: Times [s], increasing, shape (n,).
        y: Samples, shape (channels, n).
    """
    places = _in_motion(y)
    if places.size == 0:
        return False
    way = float(np.sqrt(np.mean((np.diff(y, axis=1)[:, places] ** 2).sum(axis=0))))
    return _jerkiness(t, y, places) > ROUGH * way


def _counted(s: FloatArray, y: FloatArray, kept: Indices, usual: int) -> Renewals | None:
    """Number reads by how far the samples move between them.

    Args:
        s: Times of all reads [s], shape (n,).
        y: Samples that do not repeat, shape (channels, m).
        kept: Which reads these are, shape (m,).
        usual: Renewals between most reads.
    """
    passed, steady = _passed(s[kept], y)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], steady, [False]]).astype(np.int8))).reshape(-1, 2)
    edges = np.array(
        [
            (first, last)
            for a, b in edges
            for first, last in pairwise(np.linspace(a, b, -(-(b - a) // LONGEST) + 1).astype(int))
            if last - first >= SHORTEST
        ],
        dtype=np.intp,
    ).reshape(-1, 2)
    if not edges.size:
        return None
    inside = np.concatenate([np.arange(a, b) for a, b in edges])
    period = float(np.median(passed[inside])) / usual
    for _ in range(2):
        period = float(passed[inside].sum() / np.rint(passed[inside] / period).sum())
    renewed = np.maximum(np.rint(passed / period), 1.0)
    held = np.diff(np.append(kept, s.size))
    events = int((renewed[inside] != usual).sum() + (held[inside] > 1).sum())
    if usual > 1 and (renewed[inside] < usual).mean() < ODD:
        return None
    stretches = []
    for a, b in edges:
        count = np.concatenate([[0.0], np.cumsum(renewed[a:b])])
        reads = slice(kept[a], kept[b] + 1)
        stretches.append((s[reads], np.repeat(count, np.append(held[a:b], 1))))
    wide, (_, _, late) = 0.1, _period_of(stretches, period, 0.1)
    if late > TOO_LATE:  # some are miscounted
        period, _, _ = _period_of(stretches, period, wide, worst=0.5)
        counted = [(x, k) for x, k in stretches if _spread(x - period * k) <= TOO_LATE * period]
        if 2 * len(counted) <= len(stretches):
            return None
        stretches = counted
    while True:
        period, error, late = _period_of(stretches, period, wide)
        if not (LEAST <= late <= TOO_LATE and error <= SURE):
            return None
        joined = _joined(stretches, period, error)
        if len(joined) == len(stretches):
            break
        stretches, wide = joined, 2.0 * error
    number, done, start = np.zeros(s.size), 0, _renewed(*stretches[0], period)
    for x, k in stretches:
        origin = _renewed(x, k, period)
        ahead = np.rint((origin - start) / period)
        upto = int(np.searchsorted(s, x[-1], side="right"))
        number[done:upto] = ahead + np.floor((s[done:upto] - origin) / period)
        number[np.searchsorted(s, x)] = ahead + k
        done = upto
    number[done:] = ahead + np.floor((s[done:] - origin) / period)
    number = _mended(number[kept], y)[np.cumsum(np.isin(np.arange(s.size), kept)) - 1]
    whole = np.maximum.accumulate(number - number.min()).astype(np.int64)
    return Renewals(period, error, whole, events)


def _passed(t: FloatArray, y: FloatArray) -> tuple[FloatArray, Flags]:
    """By how much time samples move on, at the mean speed about them [s], and where that is steady, shape (m - 1,)."""
    way = np.sqrt((np.diff(y, axis=1) ** 2).sum(axis=0))
    ends = np.arange(way.size)
    a, b = np.maximum(ends - NEAR, 0), np.minimum(ends + NEAR + 1, way.size)
    total = np.concatenate([[0.0], np.cumsum(way)])
    speed = (total[b] - total[a]) / (t[b] - t[a])
    moving = np.zeros(way.size, dtype=bool)
    places = _in_motion(y)
    for o in range(ORDER):
        moving[places + o] = True
    steady = moving & (running_max(speed, NEAR) < -STEADY * running_max(-speed, NEAR))
    return np.divide(way, speed, out=np.zeros_like(way), where=speed > 0.0), steady


def _period_of(
    stretches: list[Stretch], about: float, wide: float, *, worst: float = 1.0
) -> tuple[float, float, float]:
    """The period over which all reads of a stretch are alike late, by which part it may be off, how late [periods].

    Args:
        stretches: Reads with their numbers.
        about: Where to look [s].
        wide: How far around, a part of it.
        worst: Quantile of the stretches that counts.
    """
    while True:
        tried = about * (1.0 + wide * np.linspace(-1.0, 1.0, FINE))
        late = np.array([np.quantile([_spread(x - p * k) / p for x, k in stretches], worst) for p in tried])
        holds = tried[late <= max(1.0, ALIKE * float(late.min()))]
        step = 2.0 * wide / (FINE - 1)
        about, error = float(holds.mean()), float(np.ptp(holds) / 2.0 / holds.mean())
        if error > 2.0 * step or late.min() > TOO_LATE or wide < 1e-7:
            return about, error + step, float(late.min())
        wide = error + 2.0 * step


def _joined(stretches: list[Stretch], period: float, error: float) -> list[Stretch]:
    """Stretches that follow one another so soon that the renewals between them can be counted, as one."""
    out = [stretches[0]]
    for x, k in stretches[1:]:
        before, count = out[-1]
        gap = (x[0] - before[-1]) / period
        if gap * error < COUNTED:
            ahead = np.rint((_renewed(x, k, period) - _renewed(before, count, period)) / period)
            out[-1] = np.concatenate([before, x]), np.concatenate([count, k + ahead])
        else:
            out.append((x, k))
    return out


def _renewed(x: FloatArray, number: FloatArray, period: float) -> float:
    """When number 0 was renewed, by a stretch: reads are between 0 and a period later than renewals."""
    off = x - period * number
    return float(np.quantile(off, TAIL) + np.quantile(off, 1.0 - TAIL) - period) / 2.0


def _spread(values: FloatArray) -> float:
    return float(np.quantile(values, 1.0 - TAIL) - np.quantile(values, TAIL))


def _jerkiness(x: FloatArray, y: FloatArray, places: Indices) -> float:
    """Root mean square of divided differences over times, scaled so that even ones give plain differences."""
    nodes = np.stack([x[places + o] for o in range(ORDER + 1)])
    length = nodes[-1] - nodes[0]
    apart = (np.diff(nodes, axis=0) > 0.0).all(axis=0)
    nodes = (nodes - nodes[0]) * (ORDER / np.where(length > 0.0, length, 1.0))
    total = np.zeros((len(y), places.size))
    with np.errstate(divide="ignore", invalid="ignore"):
        for o in range(ORDER + 1):
            weight = np.ones(places.size)
            for other in range(ORDER + 1):
                if other != o:
                    weight *= nodes[o] - nodes[other]
            total += 6.0 * y[:, places + o] / weight
    largest = float((np.diff(y, ORDER, axis=1) ** 2).sum(axis=0).max())
    return float(np.sqrt(np.where(apart, (total**2).sum(axis=0), largest).mean()))


def _in_motion(y: FloatArray) -> Indices:
    """First samples of the differences over which some channel moves all along by more than rounding."""
    moves = (np.abs(np.diff(y, axis=1)) > DIGITS * grid(y)[:, None] + 1e-12).any(axis=0)
    if moves.size < ORDER:
        return np.zeros(0, dtype=np.intp)
    return np.flatnonzero(np.lib.stride_tricks.sliding_window_view(moves, ORDER).all(axis=1))


def _mended(number: FloatArray, y: FloatArray) -> FloatArray:
    """Numbers by one lower or higher where the samples are smoother with that."""
    for _ in range(PASSES):
        better = number + _shifts(number, y)
        if (better == number).all():
            break
        number = better
    return number


def _shifts(x: FloatArray, y: FloatArray) -> FloatArray:
    """By how much to shift numbers, for each sample to lie near the cubic through two on either side of it."""
    out, n = np.zeros_like(x), x.size
    if n < 5:
        return out
    inner = slice(2, n - 2)
    nodes = np.stack([x[: n - 4], x[1 : n - 3], x[3 : n - 1], x[4:]]) - x[inner]
    values = np.stack([y[:, : n - 4], y[:, 1 : n - 3], y[:, 3 : n - 1], y[:, 4:]])
    off = np.empty((3, n - 4))
    with np.errstate(divide="ignore", invalid="ignore"):
        for i, shift in enumerate((-1.0, 0.0, 1.0)):
            fitted = np.zeros((len(y), n - 4))
            for o in range(4):
                weight = np.ones(n - 4)
                for other in range(4):
                    if other != o:
                        weight *= (shift - nodes[other]) / (nodes[o] - nodes[other])
                fitted += weight * values[o]
            away = ((fitted - y[:, inner]) ** 2).sum(axis=0)
            off[i] = np.where((nodes[1] < shift) & (shift < nodes[2]) & np.isfinite(away), away, np.inf)
        least = np.minimum(off[0], off[2])
        gain = np.where(off[1] > 4.0 * least, np.where(np.isfinite(off[1]), off[1], 1.0) - least, 0.0)
    # one of several neighbours at a time: the others are moved by what it shows
    highest = (gain > 0.0) & (gain >= running_max(gain, 2))
    out[inner] = np.where(highest, np.where(off[0] < off[2], -1.0, 1.0), 0.0)
    return out
