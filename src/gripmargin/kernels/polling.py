"""Samples of a controller that were read at a rate which is not its own.

A controller of period P renews its values at T + k P; who reads them at a time s gets those of k = floor((s - T)/P).
Reads closer than P repeat values, reads further apart miss some: the samples then look jerky over the times of the
reads and smooth over those of the controller. How many periods have passed between two reads of a motion is told by
how smooth it is over their numbers (`gripmargin.kernels.numbering`); the period is the one by which all reads of a
stretch are alike late, within a period, and stretches are joined as it becomes known well enough to count over what
lies between them.

Samples lie along the last axis, channels along the first.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import flagged, parts, stored
from gripmargin.kernels.digits import grid
from gripmargin.kernels.numbering import ORDER, SLIP, increments, jerks, smoothest, ways

Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]
Stretch = tuple[FloatArray, FloatArray]  # times of reads [s] and numbers of what they got

FEWEST: Final = 24  # differences in motion that tell a period
DIGITS: Final = 4.0  # steps of rounding by which a channel moves from sample to sample where it surely moves
HELD: Final = 2.0  # rows with one value, over the usual in motion, up to which they may repeat
ROUGH: Final = 0.1  # differences over those of first order from which samples are too jerky for their times
FINE: Final = 41  # periods that are tried about one that was found
ALIKE: Final = 1.1  # lateness over the least up to which another period may hold
TAIL: Final = 0.02  # of the reads at either end of their lateness that may be misnumbered
AT_ONCE: Final = 1_000_000  # values that are sorted at a time: memory alone
TOO_LATE: Final = 1.3  # periods by which the reads of a stretch may differ in lateness: the poller's own delay is in it
STOOD: Final = 2.0  # periods after a renewal from which a read surely got another, however late it was stamped
COUNTED: Final = 0.2  # periods by which a count may be off and is still known
SURE: Final = 0.02  # by which part the period may be off


def repeated(t: FloatArray, y: FloatArray, step: FloatArray | float = 0.0) -> Flags:
    """Which samples repeat the one before, in all channels, while the robot moves on all the same, shape (n,).

    A robot that stops slows down before and speeds up after. Where a channel moves on in the same sense, by steps well
    above rounding and on either side no smaller than half of the next ones, it has not stopped. At that speed it would
    have moved by more than rounding meanwhile. A value that many more rows have than others in motion is a rest.

    Args:
        t: Times of the reads [s], increasing, shape (n,).
        y: Samples, shape (channels, n).
        step: Of each channel by rounding, at least, beside what its samples show, shape (channels,).
    """
    same, out = _alike(y), stored((y.shape[1],), bool)
    if not same.any():
        return out
    steps = np.flatnonzero(~same)  # change i leads from sample i to i + 1
    if steps.size < 4:
        return out
    change = np.diff(y, axis=1)
    digit = _digit(y, step)
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


def renewals(t: FloatArray, y: FloatArray, repeats: Flags, step: FloatArray | float = 0.0) -> Renewals | None:
    """Find out when a controller renewed its values.

    Args:
        t: Times of the reads [s], increasing, shape (n,).
        y: Samples, shape (channels, n).
        repeats: Which of them repeat the one before, as `repeated`, shape (n,).
        step: Of each channel by rounding, at least, beside what its samples show, shape (channels,).

    Returns:
        None where no value is evidently missed or read again, or samples are jerky over the numbers beside one that is;
        without repeats, a single one that shows in one channel alone.
    """
    new = np.concatenate([[True], ~_alike(y)])
    if not (repeats.any() or slips(t, y, step)):
        return None
    for usual in (1, 2):
        found = _numbered(t - t[0], y[:, new], np.flatnonzero(new), usual, step, again=bool(repeats.any()))
        if found is not None:
            return found
    return None


def _alike(y: FloatArray) -> Flags:
    """Which samples but the first repeat the one before in all channels, shape (n - 1,)."""
    out = stored((y.shape[1] - 1,), bool)
    for part in parts(out.size):
        out[part] = ~np.diff(y[:, part.start : part.stop + 1], axis=1).any(axis=0)
    return out


def slips(t: FloatArray, y: FloatArray, step: FloatArray | float = 0.0) -> bool:
    """Whether samples in motion jump anywhere over their times, as where a value is missing.

    Args:
        t: Times [s], increasing, shape (n,).
        y: Samples, shape (channels, n).
        step: As `repeated`.
    """
    places, way = _in_motion(y, step), ways(y)
    if places.size == 0:
        return False
    found = jerks(t, y, places)
    return any(
        (found[part] > SLIP**2 * np.max([way[places[part] + o] for o in range(ORDER)], axis=0)).any()
        for part in parts(places.size)
    )


def jerky(t: FloatArray, y: FloatArray, step: FloatArray | float = 0.0) -> bool:
    """Whether samples in motion are too jerky for their times.

    Args:
        t: Times [s], increasing, shape (n,).
        y: Samples, shape (channels, n).
        step: As `repeated`.
    """
    places = _in_motion(y, step)
    if places.size == 0:
        return False
    return _over_way(t, y, places) > ROUGH


@dataclass(frozen=True)
class _Run:
    """Values that were read during a motion.

    Attributes:
        kept: Which reads these are, shape (n,).
        count: Renewals since the first, shape (n,).
        known: First and last of the values between which that is known.
    """

    kept: Indices
    count: FloatArray
    known: list[tuple[int, int]]


def _numbered(
    s: FloatArray, y: FloatArray, kept: Indices, usual: int, step: FloatArray | float, *, again: bool
) -> Renewals | None:
    """Number reads; None where samples are jerky over the numbers.

    Args:
        s: Times of all reads [s], shape (n,).
        y: Samples that differ from the ones before, shape (channels, m).
        kept: Which reads these are, shape (m,).
        usual: Renewals between most reads.
        step: As `repeated`.
        again: Whether reads in motion repeat values; else two have to be missed, or one in two channels.
    """
    held, places = np.diff(np.append(kept, s.size)), _in_motion(y, step)
    if places.size < FEWEST:
        return None
    moving = held[:-1] <= HELD * max(1.0, float(np.median(held[places])))
    moving[np.setdiff1d(np.arange(moving.size), np.unique(places[:, None] + np.arange(ORDER)))] = False
    runs: list[_Run] = []
    told: list[Indices] = []
    stretches: list[Stretch] = []
    for a, b in _stretches(moving):
        passed, known = increments(y[:, a : b + 1], usual)
        runs.append(_Run(kept[a : b + 1], np.concatenate([[0.0], np.cumsum(passed)]), _stretches(known)))
        told += [np.arange(a + i, a + k) for i, k in runs[-1].known]
        for i, k in runs[-1].known:
            reads = slice(kept[a + i], kept[a + k] + 1)
            stretches.append((s[reads], np.repeat(runs[-1].count[i : k + 1], np.append(held[a + i : a + k], 1))))
    clock = _clock(stretches)
    if clock is None:
        return None
    period, error, stretches = clock
    number = _all_numbers(s, runs, [y[:, np.isin(kept, run.kept)] for run in runs], stretches, period)
    steps = np.concatenate(told)
    renewed = np.diff(number[kept])[steps]
    odd = np.zeros(kept.size - 1, dtype=bool)
    odd[steps] = (renewed != np.median(renewed)) | (held[steps] != np.median(held[steps]))
    inside = np.isin(places, steps) & np.isin(places + ORDER - 1, steps)
    beside = places[inside & np.any([odd[places + o] for o in range(ORDER)], axis=0)]
    if beside.size == 0 or _over_way(number[kept], y, beside) > ROUGH:
        return None
    if not again and _telling(s[kept], number[kept], y, beside) < 2:  # one joint may jolt by just a step, once
        return None
    return Renewals(period, error, (number - number.min()).astype(np.int64), int(odd.sum()))


def _clock(stretches: list[Stretch]) -> tuple[float, float, list[Stretch]] | None:
    """Period [s] with which reads are late by no more than it, by which part it may be off, and stretches as joined."""
    if not stretches:
        return None
    x, k = max(stretches, key=lambda stretch: float(np.ptp(stretch[1])))
    period, wide = float(np.ptp(x) / np.ptp(k)), 2.0 * TOO_LATE / float(np.ptp(k))
    if _period_of(stretches, period, wide)[2] > TOO_LATE:  # some are miscounted
        period = _period_of(stretches, period, wide, worst=0.5)[0]
        counted = [(x, k) for x, k in stretches if _spread(x - period * k) <= TOO_LATE * period]
        if 2 * len(counted) <= len(stretches):
            return None
        stretches = counted
    while True:
        period, error, late = _period_of(stretches, period, wide)
        if late > TOO_LATE:
            return None
        wide, before = 2.0 * error, len(stretches)
        stretches = _joined(stretches, period, error)
        if len(stretches) == before:
            break
    period, error, late = _period_of(stretches, period, error)
    return (period, error, stretches) if late <= TOO_LATE and error <= SURE else None


def _all_numbers(
    s: FloatArray, runs: list[_Run], y: list[FloatArray], stretches: list[Stretch], period: float
) -> FloatArray:
    """Numbers of all reads, by the clock where they were not counted."""
    clock, counted, known = np.empty(s.size), np.empty(s.size), np.zeros(s.size, dtype=bool)
    done, start = 0, _renewed(*stretches[0], period)
    for i, (x, k) in enumerate(stretches):
        origin = _renewed(x, k, period)
        ahead = np.rint((origin - start) / period)
        upto = int(np.searchsorted(s, x[-1], side="right")) if i + 1 < len(stretches) else s.size
        clock[done:upto] = ahead + (s[done:upto] - origin) / period
        here = np.searchsorted(s, x)
        counted[here], known[here] = ahead + k, True
        done = upto
    number = np.where(known, counted, np.floor(clock))
    for run, values in zip(runs, y, strict=True):
        sure = known[run.kept]
        if sure.any():
            found = _beside(s[run.kept], number[run.kept], values, sure, period)
            number[run.kept[0] : run.kept[-1]] = np.repeat(found[:-1], np.diff(run.kept))
            number[run.kept[-1]] = found[-1]
            # what is read so late is no repeat: the robot turned, and stood for a digit
            rows = np.setdiff1d(np.arange(run.kept[0], run.kept[-1]), run.kept)
            rows = rows[(clock - number)[rows] > STOOD]
            number[rows] = np.floor(clock[rows])
    return np.maximum.accumulate(number)


def _beside(x: FloatArray, number: FloatArray, y: FloatArray, sure: Flags, period: float) -> FloatArray:
    """Numbers of a motion where they are not sure: those of the clock, or one off near its beats if that is smoother.

    The clock is that of the sure ones next to them: as many reads as these tell when it beats to a period over their
    number, and what they exceed a period by is how far the poller's own delay scatters.

    Args:
        x: Times of reads [s], shape (n,).
        number: Of them, shape (n,).
        y: Values, shape (channels, n).
        sure: Where numbers are, shape (n,).
        period: Of the clock [s].
    """
    number, n, near = number.copy(), x.size, np.zeros(x.size)
    runs, gaps = (np.flatnonzero(np.diff(np.pad(each, 1).astype(np.int8))).reshape(-1, 2) for each in (sure, ~sure))
    for a, b in gaps:
        here = np.arange(a, b)
        middle = (a + b) // 2 if a > 0 and b < n else a if a == 0 else b
        for begin, end, side in ((a, middle, runs[runs[:, 1] == a]), (middle, b, runs[runs[:, 0] == b])):
            for i, j in side:
                origin = _renewed(x[i:j], number[i:j], period)
                late = (x[i:j] - origin) / period - number[i:j]
                number[begin:end] = (x[begin:end] - origin) / period
                near[begin:end] = 1.0 / (j - i) + max(0.0, -late.min(), late.max() - 1.0)
        phase = number[here]
        number[here] = np.floor(phase)
        part = phase - number[here]
        off = np.where(part < near[here], -1.0, np.where(part > 1.0 - near[here], 1.0, 0.0))
        segment = slice(max(0, a - ORDER), min(n, b + ORDER))
        other = number[segment].copy()
        other[a - segment.start : b - segment.start] += off
        number[segment] = smoothest(np.stack([number[segment], other]), y[:, segment])
    return number


def _stretches(inside: Flags) -> list[tuple[int, int]]:
    """First and last sample of stretches of steps, as many as a difference takes."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(np.int8))).reshape(-1, 2)
    return [(int(a), int(b)) for a, b in edges if b - a >= ORDER]


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
        late = np.quantile([_spreads(x, k, tried) / tried for x, k in stretches], worst, axis=0)
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
        if gap * error + _unknown(before, count, period) + _unknown(x, k, period) < COUNTED:
            ahead = np.rint((_renewed(x, k, period) - _renewed(before, count, period)) / period)
            out[-1] = np.concatenate([before, x]), np.concatenate([count, k + ahead])
        else:
            out.append((x, k))
    return out


def _renewed(x: FloatArray, number: FloatArray, period: float) -> float:
    """When number 0 was renewed, by a stretch: reads are between 0 and a period later than renewals."""
    off = x - period * number
    return float(np.quantile(off, TAIL) + np.quantile(off, 1.0 - TAIL) - period) / 2.0


def _unknown(x: FloatArray, number: FloatArray, period: float) -> float:
    """By how many periods that may be off: reads that are all alike late do not say when values were renewed."""
    return max(0.0, 1.0 - _spread(x - period * number) / period) / 2.0


def _spread(values: FloatArray) -> float:
    return float(np.subtract(*np.quantile(values, (1.0 - TAIL, TAIL))))


def _spreads(x: FloatArray, number: FloatArray, periods: FloatArray) -> FloatArray:
    """The spread of what a stretch is late, for each of some periods."""
    some = np.array_split(periods, 1 + periods.size * x.size // AT_ONCE)
    off = (np.quantile(x - p[:, None] * number, (1.0 - TAIL, TAIL), axis=1) for p in some if p.size)
    return np.concatenate([np.subtract(*each) for each in off])


def _digit(y: FloatArray, step: FloatArray | float) -> FloatArray:
    """Changes by which each channel surely moves, shape (channels, 1)."""
    return np.asarray(DIGITS * np.maximum(grid(y), step)[:, None])


def _in_motion(y: FloatArray, step: FloatArray | float) -> Indices:
    """First samples of the differences over which some channel moves all along by more than rounding."""
    moves, least = stored((y.shape[1] - 1,), bool), _digit(y, step) + 1e-12
    for part in parts(moves.size):
        moves[part] = (np.abs(np.diff(y[:, part.start : part.stop + 1], axis=1)) > least).any(axis=0)
    if moves.size < ORDER:
        return np.zeros(0, dtype=np.intp)
    return flagged(np.logical_and.reduce([moves[o : moves.size - ORDER + 1 + o] for o in range(ORDER)]))


def _telling(x: FloatArray, number: FloatArray, y: FloatArray, places: Indices) -> int:
    """How often a channel by itself jumps over the times and is smooth over the numbers, once a missed value."""
    found = 0
    for event in np.split(places, np.flatnonzero(np.diff(places) > 1) + 1):
        for row in y[:, None]:
            way = float((np.diff(row[0])[event] ** 2).max())
            smooth = jerks(number, row, event).max() < ROUGH**2 * way
            found += bool(smooth and jerks(x, row, event).max() > SLIP**2 * way)
    return found


def _over_way(x: FloatArray, y: FloatArray, places: Indices) -> float:
    """Root mean square of divided differences over times, as part of that of the ways between samples."""
    way = (np.diff(y, axis=1)[:, places] ** 2).sum(axis=0).mean()
    return float(np.sqrt(jerks(x, y, places).mean() / way))
