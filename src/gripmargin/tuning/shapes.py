"""Programs of positions alone whose moves have a known shape: the same with the rates of that shape."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.digits import value_error
from gripmargin.kernels.shapes import DIGIT, Found, shape_of
from gripmargin.motion.trajectory import JointTrajectory, Trajectory

FINE: Final = 1e-9  # [rad or m] finer than the last digit of any file: positions that are not rounded


class Shaped(NamedTuple):
    """A program with the rates of its moves' shapes.

    Attributes:
        trajectory: The program.
        names: Of the shapes.
        distance: Of its positions from those that were given [rad or m], at most.
    """

    trajectory: JointTrajectory
    names: tuple[str, ...]
    distance: float

    @property
    def in_words(self) -> str:
        """What was done, as a sentence."""
        return (
            f"The program gives positions alone, and its moves have the shape of known laws: {', '.join(self.names)}. "
            f"No sample misses them by more than {self.distance:.2g} rad or m. They are what was made faster and "
            "checked: the robot is taken to run them between the samples, too."
        )


def by_shape(old: Trajectory) -> Shaped | None:
    """Return a joint program with the rates of its moves' shapes; None where they are not known.

    Every move from rest to rest has to have one in every joint; no sample changes by more than one digit.

    Args:
        old: The program; one that gives rates is left as it is.
    """
    if not isinstance(old, JointTrajectory) or old.qd is not None or old.interpolation != "samples":
        return None
    y = np.ascontiguousarray(old.q.T)
    error = np.maximum(value_error(y), FINE)
    cuts = _cuts(y, error)
    moves: list[Found] = []
    for first, last in pairwise(cuts):
        span = slice(first, last + 1)
        found = shape_of(old.t[span], y[:, span], error)
        if found is None:
            return None
        moves.append(found)
    # between two moves is one place, where each of them says nearly the same
    ends = [moves[0].start, *(move.start + move.way for move in moves)]
    places = [ends[0], *((end + move.start) / 2.0 for end, move in zip(ends[1:], moves[1:], strict=False)), ends[-1]]
    rates = np.empty((3, *y.shape))
    for (first, last), move, (here, there) in zip(pairwise(cuts), moves, pairwise(places), strict=True):
        rates[:, :, first : last + 1] = (there - here)[:, None] * move.shares
        rates[0, :, first : last + 1] += here[:, None]
    off = np.abs(rates[0] - y).max(axis=1)
    if (off > DIGIT * error).any() or not rates[1].any():
        return None
    q, qd, qdd = rates.swapaxes(1, 2)
    names = tuple(dict.fromkeys(name for move in moves for name in move.names))
    return Shaped(replace(old, q=q, qd=qd, qdd=qdd), names, float(off.max()))


def _cuts(y: FloatArray, error: FloatArray) -> list[int]:
    """The first sample, one in the middle of every pause, and the last one.

    Where a move begins or ends slowly digits come one by one: that is part of the pause, whose middle is that of the
    longest time without any change.
    """
    digits = (np.abs(np.diff(y, axis=1)) / (DIGIT * error[:, None])).max(axis=0)
    inside = []
    for first, end in _runs(digits < 1.5):
        still = _runs(digits[first:end] < 0.5)
        if still and first > 0 and end < digits.size:
            longest = max(still, key=lambda run: run[1] - run[0])
            inside.append(first + sum(longest) // 2)
    return [0, *inside, y.shape[1] - 1]


def _runs(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return [(int(first), int(end)) for first, end in edges.reshape(-1, 2)]
