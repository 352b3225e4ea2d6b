"""How many renewals of a controller lie between samples of a motion: those over which it is smoothest.

Divided differences of third order say how rough samples are over numbers: they remove smooth motion and keep what a
wrong number does. Samples lie along the last axis, channels along the first.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import PART, leave, numbered, parts, stored

Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]

ORDER: Final = 3  # of the differences
SLIP: Final = 0.5  # differences over the step from which a number is wrong: one too few makes them one step
BLOCK: Final = 8192  # samples worked on at a time


def increments(y: FloatArray, usual: int) -> tuple[FloatArray, Flags]:
    """Renewals from each sample of a motion to the next with which samples are smoothest, and where these are known.

    What is not smoother by half a step than with the usual number has that. Where samples are then still as rough as a
    wrong number leaves them, as at turning points, they tell none.

    Args:
        y: Samples that differ from the ones before, shape (channels, n).
        usual: Renewals between most of them.

    Returns:
        Each of shape (n - 1,).
    """
    options = np.arange(max(1, usual - 1), usual + 2)
    size, count = options.size, y.shape[1] - ORDER
    way = ways(y)
    weights = _weights(options)
    odd = SLIP**2 * (options != usual) / options.astype(np.float64) ** 2

    def costs() -> Iterator[FloatArray]:
        for begin in range(0, count, BLOCK):
            here = np.arange(begin, min(begin + BLOCK, count))
            cost = np.zeros((len(weights), here.size))
            for row in y:
                cost += (weights @ np.stack([row[here + o] for o in range(ORDER + 1)])) ** 2
            yield from cost.T.reshape(here.size, size, size, size) + way[here + ORDER - 1][:, None, None, None] * odd

    passed = options[_path(costs(), odd[:, None] * way[0] + odd * way[1], count)].astype(np.float64)
    way /= passed**2
    left = jerks(np.concatenate([[0.0], np.cumsum(passed)]), y, numbered(count))
    rough = left > SLIP**2 * np.minimum(np.minimum(way[:count], way[1 : count + 1]), way[2 : count + 2])
    known = np.zeros(passed.size, dtype=bool)
    known[1:-1] = True  # at the ends a single difference tells
    for o in range(ORDER):
        known[o : o + count] &= ~rough
    return passed, known


def smoothest(choice: FloatArray, y: FloatArray) -> FloatArray:
    """Of two numbers for each sample those with which samples are smoothest, the second only if by half a step.

    Args:
        choice: Numbers, shape (2, n).
        y: Samples, shape (channels, n).

    Returns:
        Shape (n,).
    """
    count = y.shape[1] - ORDER
    if count < 1:
        return choice[0]
    way = np.pad((np.diff(y, axis=1) ** 2).sum(axis=0), 1, mode="edge")
    odd = SLIP**2 * np.minimum(way[1:], way[:-1]) * (choice[1] != choice[0])
    largest = float((np.diff(y, ORDER, axis=1) ** 2).sum(axis=0).max() + way.max())
    axes = np.indices((2,) * (ORDER + 1)).reshape(ORDER + 1, -1)
    nodes = np.stack([choice[axes[o]][:, o : o + count] for o in range(ORDER + 1)])
    near = np.stack([y[:, o : o + count] for o in range(ORDER + 1)])
    cost = np.stack([_divided(nodes[:, i], near, largest) for i in range(nodes.shape[1])], axis=-1)
    cost = cost.reshape(count, *(2,) * (ORDER + 1)) + odd[ORDER:][:, None, None, None, None] * np.arange(2)
    first = np.array([0.0, 1.0])
    total = sum(odd[o] * first.reshape([-1 if axis == o else 1 for axis in range(ORDER)]) for o in range(ORDER))
    return np.asarray(choice[_path(cost, total, count), np.arange(choice.shape[1])])


def _path(costs: Iterable[FloatArray], total: FloatArray, count: int) -> Indices:
    """The cheapest way to choose among options one after the other (Viterbi, IEEE Trans. Inf. Theory 13(2), 1967).

    Args:
        costs: Of so many options in a row and of the next, each of shape (options, ..., options).
        total: Costs of the first in a row, with one dimension less.
        count: How many costs there are.
    """
    came = stored((count, *total.shape), np.uint8)
    for i, each in enumerate(costs):
        both = total[..., None] + each
        came[i], total = both.argmin(axis=0), both.min(axis=0)
        if i % PART == 0:
            leave()
    row = total.ndim
    chosen = np.zeros(count + row, dtype=np.intp)
    chosen[count:] = np.unravel_index(int(total.argmin()), total.shape)
    for i in range(count - 1, -1, -1):
        chosen[i] = came[(i, *chosen[i + 1 : i + 1 + row])]
    return chosen


def _weights(options: NDArray[np.int64]) -> FloatArray:
    """Of four samples in their difference of third order, for all times between them, shape (options^3, 4)."""
    steps = np.stack(np.meshgrid(*[options] * ORDER, indexing="ij"), axis=-1).reshape(-1, ORDER).astype(np.float64)
    nodes = np.cumsum(np.pad(steps, ((0, 0), (1, 0))), axis=1)
    apart = nodes[:, :, None] - nodes[:, None, :] + np.eye(ORDER + 1)
    scale: FloatArray = 6.0 * (nodes[:, -1:] / ORDER) ** ORDER
    return np.asarray(scale / apart.prod(axis=2))


def jerks(x: FloatArray, y: FloatArray, places: Indices) -> FloatArray:
    """Squares of the divided differences over times, even ones as plain differences.

    Args:
        x: Times, shape (n,).
        y: Samples, shape (channels, n).
        places: First samples of the differences, shape (m,).

    Returns:
        Shape (m,); the square of the largest plain difference where times do not increase.
    """
    spans = [slice(part.start, part.stop + ORDER) for part in parts(y.shape[1] - ORDER)]
    largest = max(float((np.diff(y[:, span], ORDER, axis=1) ** 2).sum(axis=0).max()) for span in spans)
    out = stored(places.shape)
    for part in parts(places.size):
        at = [places[part] + o for o in range(ORDER + 1)]
        nodes, near = (np.stack([rows[..., each] for each in at]) for rows in (x, y))
        out[part] = _divided(nodes, near, largest)
    return out


def ways(y: FloatArray) -> FloatArray:
    """Squares of the ways from sample to sample, all channels together, shape (n - 1,)."""
    out = stored((y.shape[1] - 1,))
    for part in parts(out.size):
        out[part] = (np.diff(y[:, part.start : part.stop + 1], axis=1) ** 2).sum(axis=0)
    return out


def _divided(nodes: FloatArray, near: FloatArray, largest: float) -> FloatArray:
    """Squares of divided differences over times, scaled so that even ones give plain differences.

    Args:
        nodes: Times of each, shape (samples, m).
        near: Samples, shape (samples, channels, m).
        largest: What counts where times do not increase.
    """
    length = nodes[-1] - nodes[0]
    apart = (np.diff(nodes, axis=0) > 0.0).all(axis=0)
    nodes = (nodes - nodes[0]) * (ORDER / np.where(length > 0.0, length, 1.0))
    total = np.zeros(near.shape[1:])
    with np.errstate(divide="ignore", invalid="ignore"):
        for o in range(ORDER + 1):
            weight = np.ones_like(length)
            for other in range(ORDER + 1):
                if other != o:
                    weight *= nodes[o] - nodes[other]
            total += 6.0 * near[o] / weight
    return np.asarray(np.where(apart, (total**2).sum(axis=0), largest))
