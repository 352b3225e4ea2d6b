"""Where in a recording a program runs: the shift in time at which both agree best.

The shift with the least sum of squared differences, found over all shifts by the fast Fourier transform (the
matched filter of signal processing, closed form), then refined between samples by Gauss and Newton.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.local_fit import running_max

MOST: Final = 1 << 17  # grid points over the longer of both: what memory bears
LATEST: Final = 0.25  # [s] by which a controller may be late
LEAST_MOVE: Final = 1e-3  # [rad or m] root mean square of a channel from which it counts by itself
RESTS: Final = 0.05  # [s] at the end of a recording over which the robot has to stand still for it to be at rest
STILL: Final = 1e-3  # share of the program's spread by which what stands still may move
SAME: Final = 0.1  # misfit over the way from which a recording is not taken for one of the program
ALSO: Final = 4.0  # sum of squares over the least one up to which another place counts as another run


@dataclass(frozen=True)
class Alignment:
    """A program placed in a recording.

    Attributes:
        offset: Time of the recording's clock less that of the program [s].
        lag: By which the recording is late beyond that as a whole [s]; 0 where the offset was found and not given.
        misfit: Root mean square of what is left between both, over that of the program about its mean.
        runs: Places of the recording that fit about as well: how often it holds the program.
        astray: Whether both would agree better at a shift further away than a controller may be late.
        apart: For each channel the same as `misfit`; NaN where the program does not move it, shape (channels,).
    """

    offset: float
    lag: float
    misfit: float
    runs: int
    astray: bool
    apart: FloatArray


@dataclass(frozen=True)
class Uncovered:
    """That a recording does not cover a stretch.

    Attributes:
        before: What is missing at its beginning [s].
        after: What is missing at its end [s]; 0 for both where the recording is too short wherever it is put.
    """

    before: float = 0.0
    after: float = 0.0


def align(
    t: FloatArray,
    y: FloatArray,
    recorded_t: FloatArray,
    recorded_y: FloatArray,
    span: tuple[float, float],
    *,
    offset: float | None = None,
) -> Alignment | Uncovered:
    """Place a stretch of a program in a recording.

    Args:
        t: Times of the program [s], shape (n,).
        y: Its positions, shape (n, channels).
        recorded_t: Times of the recording, by its own clock [s], shape (m,).
        recorded_y: Its positions, shape (m, channels).
        span: First and last time of the stretch, by the program's clock [s].
        offset: Where it is known.

    Returns:
        Where it runs, or what of it the recording does not cover. What is missing at an end where both rest is
        covered, as far as a controller may be late.
    """
    still = STILL * float(np.sqrt(y[within(t, span)].var(axis=0).sum()))
    held_t, held_y = _held(recorded_t, recorded_y, still)
    found = _coarse(t, y, held_t, held_y, span) if offset is None else (offset, 1)
    if found is None:
        return Uncovered()
    start, runs = found
    fitted, astray = _refined(t, y, held_t, held_y, span, start)
    offset = fitted if offset is None else offset  # a known one stays: a controller is late, by whatever clock
    for shift in (offset, fitted):
        if not (_covers(held_t - shift, span) and _rests_outside(recorded_t - shift, span, t, y, still)):
            first, last = float(recorded_t[0] - shift), float(recorded_t[-1] - shift)
            return Uncovered(min(first, span[1]) - span[0], span[1] - max(last, span[0]))
    inside = within(recorded_t - fitted, span)
    here = at(recorded_t[inside] - fitted, t, y)
    moves = ((here - here.mean(axis=0)) ** 2).mean(axis=0)
    left = ((recorded_y[inside] - here) ** 2).mean(axis=0)
    misfit = float(np.sqrt(left.sum() / moves.sum())) if moves.sum() > 0 else np.inf
    apart = np.sqrt(np.where(moves > LEAST_MOVE**2, left, np.nan) / np.maximum(moves, LEAST_MOVE**2))
    return Alignment(offset, fitted - offset, misfit, runs, astray, apart)


def _covers(t: FloatArray, span: tuple[float, float]) -> bool:
    slack = 2.0 * float(np.median(np.diff(t)))
    return bool(t[0] <= span[0] + slack and t[-1] >= span[1] - slack and within(t, span).any())


def _held(t: FloatArray, y: FloatArray, still: float) -> tuple[FloatArray, FloatArray]:
    """A recording that goes on at rest before and after it, at each end where it rests."""
    step = float(np.median(np.diff(t)))
    more = step * np.arange(1, int(LATEST / step) + 1)
    before = t[0] - more[::-1] if _moved(y[t <= t[0] + RESTS]) <= still else t[:0]
    after = t[-1] + more if _moved(y[t >= t[-1] - RESTS]) <= still else t[:0]
    rows = np.repeat(y[:1], before.size, axis=0), y, np.repeat(y[-1:], after.size, axis=0)
    return np.concatenate([before, t, after]), np.concatenate(rows)


def _rests_outside(recorded: FloatArray, span: tuple[float, float], t: FloatArray, y: FloatArray, still: float) -> bool:
    """Whether the program rests in what of a stretch lies before and after the recorded times."""
    slack = 2.0 * float(np.median(np.diff(recorded)))
    ends = (span[0], float(recorded[0]) - slack), (float(recorded[-1]) + slack, span[1])
    return all(_moved(at(np.array(end), t, y)) + _moved(y[within(t, end)]) <= still for end in ends if end[0] < end[1])


def _moved(y: FloatArray) -> float:
    return float(np.ptp(y, axis=0).max()) if len(y) else 0.0


def within(t: FloatArray, span: tuple[float, float]) -> NDArray[np.bool_]:
    """Return which times lie in a stretch, its ends among them."""
    return np.asarray((t >= span[0]) & (t <= span[1]))


def at(times: FloatArray, t: FloatArray, y: FloatArray) -> FloatArray:
    """Return samples at other times, joined by straight lines, shape (times, channels)."""
    return np.column_stack([np.interp(times, t, column) for column in y.T])


def _coarse(
    t: FloatArray, y: FloatArray, recorded_t: FloatArray, recorded_y: FloatArray, span: tuple[float, float]
) -> tuple[float, int] | None:
    long = float(recorded_t[-1] - recorded_t[0])
    step = max(0.001, float(min(np.median(np.diff(t)), np.median(np.diff(recorded_t)))), long / MOST)
    points = int((span[1] - span[0]) / step) + 1
    grid = int(long / step) + 1
    if points > grid:
        return None
    middle = y.mean(axis=0)
    wanted = at(span[0] + step * np.arange(points), t, y) - middle
    seen = at(recorded_t[0] + step * np.arange(grid), recorded_t, recorded_y) - middle
    size = 1 << int(np.ceil(np.log2(grid + points)))
    product = np.fft.rfft(seen, size, axis=0) * np.conj(np.fft.rfft(wanted, size, axis=0))
    both = np.fft.irfft(product.sum(axis=1), size)[: grid - points + 1]
    square = np.concatenate([[0.0], np.cumsum((seen**2).sum(axis=1))])
    left = np.maximum(square[points:] - square[: grid - points + 1] - 2.0 * both + (wanted**2).sum(), 0.0)
    best = int(np.argmin(left))
    floor = max(ALSO * float(left[best]), SAME**2 * float((wanted**2).sum()))
    near = max(points // 2, 1)
    lowest = np.flatnonzero((left <= -running_max(-left, near)) & (left <= floor))
    runs = 1 + int((np.diff(lowest) > near).sum())  # a clock half a sample off fits as well at both sides of it
    return recorded_t[0] + best * step - span[0], runs


def _refined(
    t: FloatArray,
    y: FloatArray,
    recorded_t: FloatArray,
    recorded_y: FloatArray,
    span: tuple[float, float],
    offset: float,
) -> tuple[float, bool]:
    """The shift at which both agree best, and whether that is too far from the given one, which then stays."""
    speed, start = np.gradient(y, t, axis=0), offset
    for _ in range(12):
        inside = within(recorded_t - offset, span)
        shifted = recorded_t[inside] - offset
        v = at(shifted, t, speed)
        total = float((v**2).sum())
        if not total > 0.0:
            break
        change = -float(((recorded_y[inside] - at(shifted, t, y)) * v).sum()) / total
        if abs(offset + change - start) > LATEST:
            return start, True
        offset += change
        if abs(change) < 1e-7:  # [s]
            break
    return offset, False
