"""Search on a line."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray

GUESSED: Final = 2  # places one after the other on the same side of a limit, after which guesses are left


def furthest(holds: Callable[[float], bool], start: float, end: float, *, halvings: int = 24) -> float:
    """Return the value furthest from start towards end that was found to hold, where start does and end does not.

    With a start above the end that is the least value that is enough, else the largest that is still right.

    Args:
        holds: Whether a value is right; from one end to the other it changes once.
        start: A value that is right.
        end: One that need not be.
        halvings: How often the way between them is halved.
    """
    for _ in range(halvings):
        middle = (start + end) / 2
        start, end = (middle, end) if holds(middle) else (start, middle)
    return start


def furthest_within(
    value: Callable[[float], float],
    limit: float,
    start: tuple[float, float],
    end: tuple[float, float],
    *,
    near: float,
    most: int,
) -> float | None:
    """Return a place between start and end whose value is a limit or little less; None where none was found.

    By inverse interpolation through the three values closest to the limit, and by halving where that leaves the
    bracket or comes from one side only (Brent, Algorithms for Minimization without Derivatives, 1973, ch. 4; from
    memory).

    Args:
        value: Of a place.
        limit: What it may be at most, above 0.
        start: A place, and its value or a guess of it: within the limit, and near it no guess.
        end: Likewise, beyond the limit.
        near: Share of the limit by which a value may be less.
        most: How many values are looked at; then it is the furthest of them that is within.
    """
    aim, points, found = limit * (1.0 - 0.5 * near), [start, end], None
    first, last, side, beyond = start[0], end[0], 0, 0
    if limit * (1.0 - near) <= start[1] <= limit:
        return first
    for _ in range(most):
        place = _where(sorted(points, key=lambda point: abs(point[1] - aim))[:3], aim)
        if found is None and beyond == GUESSED:
            place = first  # is there one at all?
        elif abs(side) >= GUESSED or not min(first, last) < place < max(first, last):
            place, side = 0.5 * (first + last), 0
        here = value(place)
        points.append((place, here))
        if here <= limit:
            first, found, side = place, place, max(side, 0) + 1
            if here >= limit * (1.0 - near):
                break
        elif place == first:
            break
        else:
            last, side, beyond = place, min(side, 0) - 1, beyond + 1
    return found


def _where(points: Sequence[tuple[float, float]], value: float) -> float:
    """Where a polynomial through the places of some values has another value."""
    return sum(
        place * math.prod((value - other) / (here - other) for _, other in points if other != here)
        for place, here in points
    )


def largest_over(values: FloatArray, first: NDArray[np.intp], last: NDArray[np.intp]) -> FloatArray:
    """Return the largest of values between two places, both among them, shape (m,).

    Args:
        values: Shape (n,).
        first: Where each stretch begins, shape (m,).
        last: Where it ends, at its begin or after it, shape (m,).
    """
    most, width = [values], 1
    while 2 * width <= values.size:
        most.append(np.maximum(most[-1][:-width], most[-1][width:]))
        width *= 2
    level = np.log2(last - first + 1.0).astype(np.intp)
    out = np.empty(first.size)
    for k in np.unique(level):
        at = level == k
        out[at] = np.maximum(most[k][first[at]], most[k][last[at] - 2**k + 1])
    return out
