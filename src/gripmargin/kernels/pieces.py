"""Bounds of the second derivative of even samples of a curve that is made of polynomial pieces.

Every value is known to within a hard bound, such as half a digit. A window of samples may be one piece where no
combination of its values that vanishes for polynomials of degree 2 (constant second derivative) or 3 (a straight line)
exceeds what that bound allows. The longest such windows are the hypotheses of what the curve is made of: at a sample
its second derivative lies between the least and the largest that they leave room for. A step between two pieces costs
next to nothing where both are long.

Combinations with places at the extrema of Chebyshev polynomials are the sharpest for their 1-norm (Rivlin, Chebyshev
Polynomials, Wiley 1990, from memory). Times are in sample intervals; samples lie along the last axis, channels along
the first. The constants are set by simulation, on the safe side.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import stored, wide_parts
from gripmargin.kernels.local_fit import running_max

Flags = NDArray[np.bool_]
Numbers = NDArray[np.intp]

FEWEST: Final = 20  # samples of which pieces can be made out
# points of a window, 2 degree + 1 at least: five of a move there and back are on a cubic by symmetry alone
_SIZES: Final = (5, 6, 7, 9, 11, 13, 17, 21, 27, 33, 41, 53, 65, 85, 107, 129)
_BEYOND: Final = 2.0  # error of a hypothesis over that of its values: it may reach a little beyond its piece
_CONSTANT: Final = 0.6  # length of the longest window of degree 2 over that of degree 3 from which degree 2 holds
_REACHES: Final = (1, 2, 3, 4, 6, 8, 12, 16)  # samples over which a change may hide in the error
_CHECKED: Final = (1, 2, 3, 4)  # intervals of second differences that must agree
# samples on either side that the bounds about one hang on: windows that hold it, those that explain these, what hides
REACH: Final = 2 * (_SIZES[-1] + _REACHES[-1])


def piece_bounds(y: FloatArray, error: FloatArray) -> tuple[FloatArray, FloatArray, Flags, FloatArray]:
    """Bound the second derivative.

    Args:
        y: Samples at 0, 1, 2, ..., shape (channels, n), n >= FEWEST.
        error: Bound of the error of each value, shape (channels,).

    Returns:
        Least and largest second derivative about each sample [unit/interval^2], infinite where no window holds it, and
        whether it is followed: not where second differences lie outside, so that a short phase hides; and the points of
        the longest window that holds it. Shape (channels, n) each.
    """
    out = stored(y.shape), stored(y.shape), stored(y.shape, bool), stored(y.shape)
    for part, wide, inside in wide_parts(y.shape[1], REACH):
        for rows, found in zip(out, _bounds(y[:, wide], error), strict=True):
            rows[:, part] = found[:, inside]
    return out


def _bounds(y: FloatArray, error: FloatArray) -> tuple[FloatArray, FloatArray, Flags, FloatArray]:
    """The bounds about samples, of which those within `REACH` of an end that is none may not hold."""
    constant, line = (_of_degree(y, error, degree) for degree in (2, 3))
    best: FloatArray = np.where(constant[2] >= _CONSTANT * line[2], constant, line)
    known = best[2] > 0
    low, high = _on_one_side(np.where(known, best[0], -np.inf), np.where(known, best[1], np.inf), error)
    low, high = -_with_hidden(-low, error), _with_hidden(high, error)
    lost = running_max(~known, 1)
    for apart in _CHECKED:
        bend, room = _bends(y, apart), 4.0 * error[:, None] / apart**2
        outside = (bend > running_max(high, apart) + room) | (bend < -running_max(-low, apart) - room)
        lost |= running_max(outside, apart)
    return low, high, ~lost, best[2]


def _on_one_side(low: FloatArray, high: FloatArray, error: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Bounds in which a sample at a step, which is on both pieces, counts to the one before.

    Both are bounded at its neighbours: what they do is no higher at a place between.
    """
    wide = high - low
    before, after = (np.s_[:, :-2], np.s_[:, 2:])
    both = wide[before] + wide[after]
    room = 8.0 * error[:, None]
    at_step = (both < wide[:, 1:-1]) & (np.isfinite(wide[:, 1:-1]))
    at_step &= low[:, 1:-1] >= np.minimum(low[before], low[after]) - room
    at_step &= high[:, 1:-1] <= np.maximum(high[before], high[after]) + room
    low, high = low.copy(), high.copy()
    low[:, 1:-1], high[:, 1:-1] = (
        np.where(at_step, bound[before], bound[:, 1:-1]) for bound in (low.copy(), high.copy())
    )
    return low, high


def _bends(y: FloatArray, apart: int) -> FloatArray:
    """Second differences over so many intervals either side of each sample, those at the ends as their neighbours."""
    inner = (y[:, 2 * apart :] - 2.0 * y[:, apart:-apart] + y[:, : -2 * apart]) / apart**2
    return np.pad(inner, ((0, 0), (apart, apart)), mode="edge")


def _with_hidden(high: FloatArray, error: FloatArray) -> FloatArray:
    """The largest values with those of neighbours, as far as a change back and forth hides in the error.

    A second derivative that differs by D over r intervals either side of a sample moves it by D r^2 / 2, twice that of
    the half of it that an error of both signs hides: up to 8 errors / r^2.
    """
    out = high.copy()
    for r in _REACHES:
        if r >= high.shape[1]:
            break
        more = high + 8.0 * error[:, None] / r**2
        np.maximum(out[:, r:], np.minimum(high[:, :-r], more[:, r:]), out=out[:, r:])
        np.maximum(out[:, :-r], np.minimum(high[:, r:], more[:, :-r]), out=out[:, :-r])
    return out


def _of_degree(y: FloatArray, error: FloatArray, degree: int) -> FloatArray:
    """Least and largest second derivative by hypotheses of a degree, and points of the longest.

    Returns:
        Shape (3, channels, n).
    """
    n = y.shape[1]
    # with a sample more on either side: the top of two lines that cross between samples is on both of them carried on;
    # by all hypotheses, and by those that hold the sample well inside
    hull = np.stack([np.full((2, len(y), n + 2), fill) for fill in (np.inf, -np.inf, 0.0)])
    low, high, longest = hull.reshape(3, 2, -1)
    for size, channel, first in _hypotheses(y, error, degree):
        weights, inner = _weights(size, degree)  # windows come last: the rows of what follows lie in one piece
        value = weights.T @ y[channel, first + np.arange(size)[:, None]]
        half = _BEYOND * np.abs(weights).sum(axis=0)[:, None] * error[channel]
        place = channel * (n + 2) + first + np.arange(size + 2)[:, None]
        held = slice(1, -1)
        for kind, part in ((0, held if degree == 2 else slice(None)), (1, inner)):
            at, middle, width = place[part].ravel(), value[part], half[part]
            np.minimum.at(low[kind], at, (middle - width).ravel())
            np.maximum.at(high[kind], at, (middle + width).ravel())
            longest[kind][_covered(longest[kind].size, place[inner if kind else held])] = size
    everything, inside = hull[:, 0, :, 1:-1], hull[:, 1, :, 1:-1]
    best = np.where(inside[2] > 0, inside, everything)
    return np.stack([best[0], best[1], everything[2]])


def _covered(size: int, place: Numbers) -> Flags:
    """Which of so many places are in columns of places that follow each other."""
    ends = np.zeros(size + 1, dtype=np.intp)
    np.add.at(ends, place[0], 1)
    np.add.at(ends, place[-1] + 1, -1)
    return np.asarray(np.cumsum(ends[:-1]) > 0)


def _hypotheses(y: FloatArray, error: FloatArray, degree: int) -> list[tuple[int, Numbers, Numbers]]:
    """(points, channels, first samples) of the longest windows that may be one piece.

    A window counts where no longer one holds it, and where no two at least twice as long cover it end to end: these
    explain it by a step between them.
    """
    n = y.shape[1]
    windows: list[Flags] = []  # by their first sample
    sizes: list[int] = []
    for size in (size for size in _SIZES if size >= 2 * degree + 1):
        if size > n or (windows and not windows[-1].any()):
            break
        whole = np.zeros(y.shape, dtype=bool)
        whole[:, : n - size + 1] = _may_be_one(y, error, size, degree)
        if windows:
            whole &= ~_within(~windows[-1], 0, size - sizes[-1])
        windows.append(whole)
        sizes.append(size)
    reach = [_Reach.of(y.shape)]
    for size, whole in zip(sizes[::-1], windows[::-1], strict=True):
        reach.insert(0, reach[0].with_windows(whole, size))
    found: list[tuple[int, Numbers, Numbers]] = []
    for k, (size, whole) in enumerate(zip(sizes, windows, strict=True)):
        longest = whole
        if k + 1 < len(sizes):
            longest = whole & ~_within(windows[k + 1], sizes[k + 1] - size, 0)
        twice = next((j for j, other in enumerate(sizes) if other >= 2 * size - 1), len(sizes))
        longest = longest[:, : n - size + 1]
        apart = reach[twice].first[:, size - 1 :] - reach[twice].last[:, : n - size + 1]
        channel, start = np.nonzero(longest & (apart > 1))
        found.append((size, channel, start))
    return found


@dataclass(frozen=True)
class _Reach:
    """The last and the first sample of windows that hold a sample, as far as they reach, shape (channels, n)."""

    last: Numbers
    first: Numbers

    @classmethod
    def of(cls, shape: tuple[int, ...]) -> _Reach:
        """Of no windows at all."""
        return cls(np.full(shape, -1), np.full(shape, shape[1] + 1))

    def with_windows(self, whole: Flags, size: int) -> _Reach:
        """Return the reach of these and of other windows, given by their first sample."""
        n = whole.shape[1]
        i = np.arange(n)
        start = np.maximum.accumulate(np.where(whole, i, -n), axis=1)
        last = np.where(start + size > i, start + size - 1, -1)
        ends = np.zeros_like(whole)
        ends[:, size - 1 :] = whole[:, : n - size + 1]
        end = np.minimum.accumulate(np.where(ends, i, 3 * n)[:, ::-1], axis=1)[:, ::-1]
        first = np.where(end - size < i, end - size + 1, n + 1)
        return _Reach(np.maximum(self.last, last), np.minimum(self.first, first))


def _may_be_one(y: FloatArray, error: FloatArray, size: int, degree: int) -> Flags:
    """Whether windows may be one polynomial, by their first sample."""
    count = y.shape[1] - size + 1
    may = np.ones((len(y), count), dtype=bool)
    for places, weights in _vanishing(size, degree):
        total = np.zeros_like(may, dtype=np.float64)
        for place, weight in zip(places, weights, strict=True):
            total += weight * y[:, place : place + count]
        may &= np.abs(total) <= error[:, None]
    return may


def _within(flags: Flags, before: int, after: int) -> Flags:
    """Whether a flag is set from so many places before to so many after, along the last axis."""
    count = np.cumsum(np.pad(flags, ((0, 0), (1, 0))), axis=1)
    i = np.arange(flags.shape[1])
    return np.asarray(count[:, np.minimum(i + after + 1, i.size)] > count[:, np.maximum(i - before, 0)])


@cache
def _vanishing(size: int, degree: int) -> tuple[tuple[tuple[int, ...], FloatArray], ...]:
    """Places of a window and weights of 1-norm 1 with which polynomials of a degree vanish.

    The extrema of the next Chebyshev polynomial over the window; and those of the polynomial itself over a part of it
    with one place at the other end, which sees a step near there.
    """
    part = _extrema(degree)
    families = [_extrema(degree + 1)]
    for gap in (1.0 / (size - 1), 2.0 / (size - 1), 0.125, 0.25):
        families += [np.append(part * (1.0 - gap), 1.0), np.append(0.0, gap + part * (1.0 - gap))]
    found = {}
    for family in families:
        places = np.rint(family * (size - 1))
        if (np.diff(places) > 0).all():
            apart = places[:, None] - places + np.eye(places.size)
            weights = 1.0 / apart.prod(axis=1)  # of the divided difference
            found[tuple(places.astype(int).tolist())] = weights / np.abs(weights).sum()
    return tuple(found.items())


@cache
def _weights(size: int, degree: int) -> tuple[FloatArray, slice]:
    """Weights of a window's second derivative at each place, one beyond both ends included; places well inside.

    That of the polynomial through the extrema of a Chebyshev polynomial over half of the window about the place.
    """
    points = max(size // 2 + 1, degree + 1)
    if degree == 2 and points % 2 == 0:
        points += 1
    nodes = np.rint(_extrema(degree) * (points - 1)).astype(int)
    weights = np.zeros((size, size + 2))
    for column in range(size + 2):
        place = column - 1
        start = min(max(place - points // 2, 0), size - points)
        powers = np.vander(nodes + (start - place), degree + 1, increasing=True)
        weights[start + nodes, column] = 2.0 * np.linalg.inv(powers)[2]
    return weights, slice(1 + size // 4, 1 + size - size // 4)


def _extrema(degree: int) -> FloatArray:
    """Where a Chebyshev polynomial has its extrema over 0 to 1, shape (degree + 1,)."""
    return np.asarray((1.0 - np.cos(np.pi * np.arange(degree + 1) / degree)) / 2.0)
