"""What samples are rounded to: the last digit of a file, or the counts of an encoder.

Where all values of a channel are multiples of one step, each is within half a step of the truth, whatever statistics
say. Samples lie along the last axis, channels along the first.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import largest_of, parts

_UNITS: Final = (1.0, np.pi / 180.0)  # radians or metres, degrees
_PLACES: Final = range(1, 10)  # decimal places that files are written with
_OFTEN: Final = 20  # uneven third differences that show a step to be one of rounding
_BINARY: Final = 4.0  # spacings of binary numbers by which a value may be off
_FEW: Final = 4.0  # noise over the bound of an error up to which it may as well be a saw of a planner's grid
_STANDS: Final = 24  # samples over which a joint that goes nowhere stands: noise repeats a value so often by no chance
_WITHIN: Final = 16.0  # half digits to either side: noise of 4 strays so far once in 16,000 (normal distribution)
_TURNS: Final = 4  # times that noise turns back among them at least; what is meant does so once or twice
_RARELY: Final = 3.0  # noise of half a digit, rounded, stays within one digit at most 0.93^24 = 0.18 of the time
_ALIKE: Final = 1e-3  # part of a step by which a channel may miss that of another


def grid(y: FloatArray) -> FloatArray:
    """The step of the grid that a channel's samples are rounded to, shape (channels,); 0 where there is none.

    Found where the smallest change occurs and all others are whole multiples of it.
    """
    changes = [np.s_[:, part.start : part.stop + 1] for part in parts(y.shape[-1] - 1)]
    least = np.full(len(y), np.inf)
    for some in changes:
        change = np.abs(np.diff(y[some], axis=-1))
        least = np.minimum(least, np.min(change, axis=-1, initial=np.inf, where=change > 0))
    off = np.zeros(len(y))
    for some in changes:
        off = np.maximum(off, _off(np.abs(np.diff(y[some], axis=-1)), least))
    return np.where((off < 0.01) & np.isfinite(least), least, 0.0)


def rounded_to(y: FloatArray) -> FloatArray:
    """The step that each channel is surely rounded to, shape (channels,); 0 where its values do not say so.

    A move over two samples makes all changes multiples of the smallest, and at a constant speed or acceleration they
    are multiples of one another: only many uneven third differences show rounding. A channel that hardly moves is
    rounded as another one.
    """
    step = np.zeros(len(y))
    for found in (grid(y), _decimal(y)):
        often = _uneven(y, found) >= _OFTEN
        step = np.where((step == 0) & often, found, step)
    for sure in np.unique(step[step > 0])[::-1] if (step == 0).any() else ():
        moves, off = np.zeros(len(y), dtype=bool), np.zeros(len(y))
        for part in parts(y.shape[-1] - 1):
            change = np.abs(np.diff(y[:, part.start : part.stop + 1], axis=-1))
            moves, off = moves | change.any(axis=-1), np.maximum(off, _off(change, sure))
        step = np.where((step == 0) & moves & (off < _ALIKE), sure, step)
    return step


def _uneven(y: FloatArray, step: FloatArray) -> NDArray[np.intp]:
    """How many third differences are more than half of a step, shape (channels,)."""
    out = np.zeros(len(y), dtype=np.intp)
    for part in parts(y.shape[-1] - 3):
        third = np.abs(np.diff(y[:, part.start : part.stop + 3], 3, axis=-1))
        out += (third > 0.5 * step[:, None]).sum(axis=-1)
    return out


def value_error(y: FloatArray) -> FloatArray:
    """The bound of the error of each value: half a step where it is rounded, else that of binary numbers.

    Args:
        y: Samples, shape (channels, n).

    Returns:
        Shape (channels,).
    """
    return np.asarray(0.5 * rounded_to(y) + _BINARY * np.spacing(largest_of(np.abs, y.T)))


def few_digits(y: FloatArray, error: FloatArray, noise: FloatArray) -> NDArray[np.bool_]:
    """Whether the noise of rounded channels is so few digits that it may be motion, and is not seen at rest.

    Args:
        y: Samples, shape (channels, n).
        error: As `value_error` returns it, shape (channels,).
        noise: One standard deviation of what is found, shape (channels,).

    Returns:
        Shape (channels,).
    """
    rounded = error > 2.0 * _BINARY * np.spacing(largest_of(np.abs, y.T))
    return np.asarray(rounded & (noise <= _FEW * error) & ~shakes_at_rest(y, error))


def shakes_at_rest(y: FloatArray, error: FloatArray) -> NDArray[np.bool_]:
    """Whether a channel goes to and fro where it stands, shape (channels,); not where it stands nowhere.

    What creeps, or turns back once, is no noise. Noise of a digit stays within one by chance, now and then.

    Args:
        y: Samples, shape (channels, n).
        error: Bound of the error of each value, shape (channels,).
    """
    out = np.zeros(len(y), dtype=bool)
    if y.shape[1] > _STANDS:
        for k, row in enumerate(y):
            shakes, stands_still, way = 0, 0, 0.0
            for part in parts(row.size - _STANDS + 1):
                some = row[part.start : part.stop + _STANDS - 1]
                ranges = np.ptp(np.lib.stride_tricks.sliding_window_view(some, _STANDS), axis=1)
                ways = np.sign(np.diff(some))
                ways[0] = ways[0] or way  # a rest keeps its way
                ways = ways[np.maximum.accumulate(np.where(ways != 0.0, np.arange(ways.size), 0))]
                turned = np.concatenate([[0], np.cumsum(ways[1:] * ways[:-1] < 0.0)])
                stands, still = ranges <= 2.0 * _WITHIN * error[k], ranges <= 2.0 * error[k]
                shakes += (stands & ~still & (turned[_STANDS - 2 :] - turned[: 2 - _STANDS] >= _TURNS)).sum()
                stands_still, way = stands_still + still.sum(), ways[part.stop - part.start - 1]
            out[k] = shakes > _RARELY * stands_still
    return out


def _decimal(y: FloatArray) -> FloatArray:
    """The coarsest decimal step that all values are multiples of, shape (channels,); 0 where there is none."""
    found = np.zeros(len(y))
    size = largest_of(np.abs, y.T)
    for unit in _UNITS:
        for places in _PLACES:
            step = unit * 10.0**-places
            binary = 4.0 * np.spacing(size) / step
            fits = (found == 0) & (binary < 0.01)
            for part in parts(y.shape[-1]) if fits.any() else ():
                fits[fits] = _off(y[fits, part], step) <= binary[fits]
                if not fits.any():
                    break
            found = np.where(fits, step, found)
    return found


def _off(values: FloatArray, step: float | FloatArray) -> FloatArray:
    """By which part of a step values miss its whole multiples at most, shape (channels,)."""
    with np.errstate(over="ignore", invalid="ignore"):  # a step next to nothing is none: NaN is below no bound
        off = values / np.reshape(step, (-1, 1))
        off -= np.rint(off)
    return np.asarray(np.abs(off, out=off).max(axis=-1))
