"""Bounds of the second derivative of even samples by their second differences, for pieces too short to be made out.

A second difference is the mean of the second derivative over both intervals beside a sample, weighted by a triangle
(Peano, closed form). What lies between two of them does not matter where what is judged is convex in the second
derivatives: the worse of both counts. What goes beyond them is bounded by how far they stand out themselves.

A step within an interval leaves its means in all channels in the same proportion, if they step at the same time. Then
all are before it or after it; else each may be on either side by itself. Times are in sample intervals; samples lie
along the last axis, channels along the first.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.local_fit import running_max

# What a saw of 2.3 to 4 intervals goes beyond its differences, over the median by which these stand out from the line
# through their neighbours: its first harmonic, of 2/pi of its height, comes through by the square of sin(x)/x.
_SAW: Final = 2.0
_LASTS: Final = 8  # samples on either side of which the median is taken: what one step does not move
# What a line goes by from the last sample before a step halfway between two to that step, over how far it is from a
# step of its own there: 3/2 against 5/8 of its slope.
_LINE: Final = 2.4
_SEEN: Final = 0.5  # of the largest second difference about: what goes beyond it by more is not followed by samples
_ENDS: Final = 8  # samples at either end of which fewer are about
_KNOWN: Final = 0.5  # intervals to which the time of a step is known, else it is none


def difference_bounds(y: FloatArray, error: FloatArray) -> tuple[FloatArray, FloatArray, NDArray[np.bool_], FloatArray]:
    """Bound the second derivative of all channels together, but for the error of the values.

    Args:
        y: Samples at 0, 1, 2, ..., shape (channels, n), n >= 5.
        error: Bound of the error of each value, shape (channels,): it makes four times as much of a second difference.

    Returns:
        Least and largest second derivative [unit/interval^2] of each channel about each sample, whether samples follow
        it, and by how much the teeth of a saw go beyond what is smooth: none where the error of the values may explain
        all in every channel; shape (channels, n) each.
    """
    from scipy.ndimage import median_filter  # noqa: PLC0415 - only estimated rates need it

    bend = np.pad(np.diff(y, 2), ((0, 0), (1, 1)), mode="edge")
    rough = np.abs(bend - (_at(bend, -1) + _at(bend, 1)) / 2.0)
    saw = _SAW * median_filter(rough, (1, 2 * _LASTS + 1), mode="nearest")
    other, apart = _steps(bend, 4.0 * error[:, None])
    alone = {sign: _alone(sign * bend, 4.0 * error[:, None]) for sign in (-1.0, 1.0)}
    single = (alone[-1.0] + alone[1.0] > 0.0).sum(axis=0) == 1
    bounds, past = [], saw
    for sign in (-1.0, 1.0):
        beyond = np.maximum(_crest(sign * bend), saw)
        past = np.maximum(past, beyond)
        high = np.where(apart, np.max([_at(sign * bend, k) for k in (-1, 0, 1, 2)], axis=0), -np.inf)
        bounds.append(sign * (np.maximum(sign * bend + single * alone[sign], _beside(high)) + beyond + other))
    follows = running_max(past, 2) < _SEEN * running_max(np.abs(bend), 6)
    follows[:, :_ENDS], follows[:, -_ENDS:] = False, False
    seen = (saw > _SAW * 4.0 * error[:, None]).any(axis=0, keepdims=True)
    return bounds[0], bounds[1], follows, np.where(seen, saw, 0.0)


def _at(rows: FloatArray, k: int) -> FloatArray:
    """Values so many samples on, beyond the ends the last ones."""
    return np.asarray(rows[:, np.clip(np.arange(rows.shape[1]) + k, 0, rows.shape[1] - 1)])


def _beside(rows: FloatArray) -> FloatArray:
    """The largest of the intervals that a sample bounds and of those next to them; interval i is after sample i."""
    return np.asarray(np.max([_at(rows, k) for k in (1, 0, -1, -2)], axis=0))


def _crest(bend: FloatArray) -> FloatArray:
    """How far each stands out above both sides, two samples away at most.

    A line that begins or ends with a step is up to twice its slope higher there than at the first sample that does not
    see the step: as much as that stands out. A piece of one interval leaves half of its height and stands out by that.
    """
    sides = [bend - np.minimum(_at(bend, k), _at(bend, 2 * k)) for k in (-1, 1)]
    return np.maximum(np.minimum(*sides), 0.0)


def _alone(bend: FloatArray, error: FloatArray) -> FloatArray:
    """By how much a channel that steps alone is higher at the sample itself, by the line through three on one side.

    Where channels step together the samples beside it bound them, all before or all after.
    """
    higher = np.zeros_like(bend)
    for side in (-1, 1):
        one, two, three = (_at(bend, side * k) for k in (1, 2, 3))
        straight = np.abs(one - 2.0 * two + three) <= 4.0 * error
        higher = np.maximum(higher, np.where(straight, np.minimum(2.0 * one - two - 4.0 * error, one) - bend, 0.0))
    return higher


def _steps(bend: FloatArray, error: FloatArray) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Where channels step, and what is not explained by a common step.

    A step of D at g of an interval leaves (1 - g)^2 / 2 D at the sample before it and g^2 / 2 D less at the one after
    it: their sum is (3/2 - g) D above twice the level before.

    Returns:
        How far from it each sample beside a step of another channel may be, shape (channels, n); intervals with two
        steps that are not at the same time, shape (1, n).
    """
    before, after = _at(bend, -1), _at(bend, 2)
    height = after - before
    size = np.where(height == 0.0, np.inf, np.abs(height))
    place = 1.5 - (bend + _at(bend, 1) - 2.0 * before) / np.copysign(size, height)
    unsure = (4.0 * error + np.abs(before - _at(bend, -2)) + np.abs(_at(bend, 3) - after)) / size
    rise = np.abs(_at(bend, 1) - bend)
    sure = (unsure < _KNOWN) & (rise >= _at(rise, 1)) & (rise >= _at(rise, -1))
    sure &= (place > -unsure) & (place < 1.0 + unsure)
    time = place + np.arange(bend.shape[1])
    first, last = (np.where(sure, s * time - unsure, -np.inf).max(axis=0, keepdims=True) for s in (1.0, -1.0))
    first, last = (np.maximum(bound, _at(bound, 1)) for bound in (first, last))
    apart = first + last > 0.0
    best = np.argmin(np.where(sure, unsure, np.inf), axis=0)
    common = np.clip(np.take_along_axis(place, best[None], axis=0), 0.0, 1.0)
    away = np.abs(bend - before - height * (1.0 - common) ** 2 / 2.0)
    away = np.maximum(away, np.abs(_at(bend, 1) - after + height * common**2 / 2.0))
    steps = sure.any(axis=0, keepdims=True)
    other = _LINE * np.where(steps & ~sure, np.maximum(away - error, 0.0), 0.0)
    return _beside(other), apart | np.pad(apart, ((0, 0), (1, 0)))[:, :-1]
