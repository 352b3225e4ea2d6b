"""Noise of samples, found from the samples themselves, and whether it can be told from motion.

High differences of neighbouring samples remove smooth motion and keep noise (von Neumann, Ann. Math. Stat.
12(4), 1941, for the first difference); medians keep single jumps of the motion out (Hampel, JASA 69(346),
1974). Samples lie along the last axis, channels along the first.
"""

from __future__ import annotations

from itertools import pairwise
from math import comb
from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import largest_of, leave, numbered, parts
from gripmargin.kernels.digits import grid
from gripmargin.kernels.local_fit import even_step, running_max

BLOCK: Final = 32  # samples that share one noise level
STRETCH: Final = 32  # blocks over which noise is compared with motion
ORDERS: Final = (4, 6, 8)  # of differences; the least counts: motion that is left in one only adds to it
MEDIAN_TO_SIGMA: Final = 1.482602218505602  # 1 / 0.75 quantile of the normal distribution
ROUNDING_SIGMA: Final = 0.2886751345948129  # 1 / sqrt(12), standard deviation of rounding to whole numbers


def noise_levels(t: FloatArray, y: FloatArray, step: float | None) -> tuple[FloatArray, FloatArray]:
    """Noise of the samples, block by block.

    A level is never below that of the whole channel, nor below what rounding of t and y to binary numbers
    does. Samples that do not change say nothing about noise and are left out: rounding hides it.

    Where motion is hardly resolved by the samples (its steps from sample to sample are within a few times the
    "noise", which grows when every second sample is left out), what looks like noise may be motion. There the
    floor says what noise may be relied on for smoothing: only the rounding of binary numbers.

    Args:
        t: Times [s], increasing, shape (n,).
        y: Samples, shape (channels, n).
        step: The time step [s] where sampling is even, else None.

    Returns:
        Level (one standard deviation) and reliable level, both of shape (channels, ceil(n / BLOCK)).
    """
    n = t.size
    even = step is not None
    rounding = _rounding(t, y, step)
    blocks = rounding.shape[1]
    orders = [p for p in ORDERS if 2 * p + 2 < n] or [min(4, n - 1)]
    fine = [_block_medians(t, y, p, even=even) for p in orders]
    level = np.min([_smoothed(f) for f in fine], axis=0)
    level = np.hypot(level, rounding)
    if n <= 2 * orders[0] + 2:
        return level, rounding
    low = [_stretch_rms(t, y, p, blocks, even=even) for p in (1, 2)]
    high = np.min([_stretch_medians(f) for f in fine], axis=0)
    coarse = np.min([_every_second(t, y, p, even=even, blocks=blocks) for p in orders], axis=0)
    # Few samples say less, by twice the scatter of the growth in pure noise; but noise that is a good part of the way
    # is motion sooner than noise.
    unsure = 1.0 + 3.7 / np.sqrt([min(b - a, STRETCH) * BLOCK for a, b in _stretches(blocks)])
    way = largest_of(np.positive, y.T) + largest_of(np.negative, y.T)
    unsure = np.where(high < 0.01 * way[:, None], unsure, 1.0)
    # Noise does not grow where every second sample is left out, its lower differences are no larger than its higher
    # ones (scaled), and steps from sample to sample many times as large show motion that is resolved.
    motion = (coarse > 1.35 * unsure * high) & (low[1] > 1.15 * np.sqrt(unsure) * high)
    motion &= (low[0] > 1.15 * high) & (low[0] < 12.0 * high)
    motion &= high > 0.75 * grid(y)[:, None]  # else it comes from rounding to the grid
    unresolved = np.repeat(running_max(motion, 1), STRETCH, axis=1)[:, :blocks]
    return level, np.where(unresolved, rounding, level)


def channel_noise(t: FloatArray, y: FloatArray) -> FloatArray:
    """Return the noise of each channel of samples (channels, n) over the whole record, shape (channels,)."""
    level, _ = noise_levels(t, y, even_step(t))
    return np.asarray(np.sqrt(np.mean(level**2, axis=-1)))


def differences(t: FloatArray, y: FloatArray, order: int, *, even: bool) -> FloatArray:
    """Divided differences of neighbouring samples, scaled so that white noise of 1 gives differences of 1.

    Args:
        t: Times [s], increasing, shape (n,).
        y: Samples, shape (channels, n), n > order.
        order: Order of the difference: polynomials of lower degree give 0.
        even: Whether sampling is even.

    Returns:
        Shape (channels, n - order).
    """
    if even:
        return np.asarray(np.diff(y, order, axis=-1)) / np.sqrt(comb(2 * order, order))
    rows = t.size - order
    x = np.stack([t[o : o + rows] for o in range(order + 1)])
    x = (x - x[0]) * ((order + 1) / (x[-1] - x[0]))
    total, square = np.zeros((len(y), rows)), np.zeros(rows)
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        for o in range(order + 1):
            weight = np.ones(rows)
            for other in range(order + 1):
                if other != o:
                    weight *= x[o] - x[other]
            weight = 1.0 / weight
            total += weight * y[:, o : o + rows]
            square += weight * weight
        scaled = total / np.sqrt(square)
    return np.asarray(np.where(np.isfinite(scaled), scaled, 0.0))


def run_lengths(y: FloatArray) -> FloatArray:
    """For each sample the number of consecutive samples of the same value it belongs to.

    Args:
        y: Samples, shape (channels, n).
    """
    lengths = np.empty(y.shape)
    for channel, values in enumerate(y):
        starts = np.flatnonzero(np.concatenate([[True], values[1:] != values[:-1]]))
        sizes = np.diff(np.append(starts, values.size))
        lengths[channel] = np.repeat(sizes, sizes)
    return lengths


def _rounding(t: FloatArray, y: FloatArray, step: float | None) -> FloatArray:
    """What rounding of stamps and samples to binary numbers does, as noise of the samples by block."""
    n = t.size
    blocks = -(-n // BLOCK)
    stamp = ROUNDING_SIGMA * float(np.spacing(np.abs(t).max()))
    if step is not None:
        stamp = max(stamp, float(largest_of(lambda t_, k: np.abs(t_ - (t[0] + step * k)), t, numbered(n))))
    speed = np.empty((len(y), -(-(n - 1) // BLOCK)))
    for part in parts(n - 1):  # a whole number of blocks
        ends = slice(part.start, part.stop + 1)
        some = np.abs(np.diff(y[:, ends], axis=-1)) / np.diff(t[ends])
        first = part.start // BLOCK
        found = np.maximum.reduceat(some, np.arange(0, some.shape[1], BLOCK), axis=-1)
        speed[:, first : first + found.shape[1]] = found
    speed = np.pad(speed, ((0, 0), (0, blocks - speed.shape[1])), mode="edge")
    binary = ROUNDING_SIGMA * np.spacing(largest_of(np.abs, y.T))
    return np.asarray(np.hypot(binary[:, None], stamp * running_max(speed, 1)))


def _block_medians(t: FloatArray, y: FloatArray, order: int, *, even: bool, block: int = BLOCK) -> FloatArray:
    """Noise by the median difference of each block, shape (channels, blocks); NaN where nothing changes."""
    n = t.size
    found = np.full((len(y), -(-n // block)), np.nan)
    for each in parts(n - order):
        a, part = each.start, slice(each.start, each.stop + order)
        size = np.abs(differences(t[part], y[:, part], order, even=even))
        changes = np.diff(y[:, part], axis=-1) != 0
        moves = np.zeros(size.shape, dtype=bool)
        for o in range(order):
            moves |= changes[:, o : o + size.shape[1]]
        here = -(-size.shape[1] // block)
        padded = np.full((len(y), here * block), np.nan)
        padded[:, : size.shape[1]] = np.where(moves, size, np.nan)
        found[:, a // block : a // block + here] = _median(padded.reshape(len(y), here, block))
    return found * MEDIAN_TO_SIGMA


def _median(values: FloatArray) -> FloatArray:
    """The (upper) median along the last axis without the NaN; NaN where there is nothing else."""
    ordered = np.sort(values, axis=-1)
    middle = np.isfinite(values).sum(axis=-1) // 2
    return np.asarray(np.take_along_axis(ordered, middle.clip(max=values.shape[-1] - 1)[..., None], axis=-1)[..., 0])


def _smoothed(blocks: FloatArray) -> FloatArray:
    """The largest of each block, its neighbours and the whole channel."""
    whole = np.nan_to_num(_median(blocks), nan=0.0)
    return np.maximum(running_max(np.nan_to_num(blocks, nan=0.0), 1), whole[:, None])


def _stretches(blocks: int) -> list[tuple[int, int]]:
    """First and last block (exclusive) of each stretch; a short rest is judged with the stretch before it."""
    edges = [*range(0, max(1, blocks // STRETCH) * STRETCH, STRETCH), blocks]
    found = list(pairwise(edges))
    return found + found[-1:] * (-(-blocks // STRETCH) - len(found))


def _stretch_medians(blocks: FloatArray) -> FloatArray:
    return np.stack([_median(blocks[:, a:b]) for a, b in _stretches(blocks.shape[1])], axis=-1)


def _stretch_rms(t: FloatArray, y: FloatArray, order: int, blocks: int, *, even: bool) -> FloatArray:
    """Root mean square of the differences of each stretch, shape (channels, stretches)."""
    last, out = t.size - order, []
    for a, b in _stretches(blocks):
        here = slice(min(a * BLOCK, last - 1), min(b * BLOCK, last) + order)
        out.append(np.sqrt(np.mean(differences(t[here], y[:, here], order, even=even) ** 2, axis=-1)))
        if len(out) % STRETCH == 0:
            leave()
    return np.stack(out, axis=-1)


def _every_second(t: FloatArray, y: FloatArray, order: int, *, even: bool, blocks: int) -> FloatArray:
    """Noise of stretches by the differences among every second sample."""
    squares = []
    for phase in (0, 1):
        medians = _block_medians(t[phase::2], y[:, phase::2], order, even=even, block=BLOCK // 2)[:, :blocks]
        missing = blocks - medians.shape[1]
        squares.append(_stretch_medians(np.pad(medians, ((0, 0), (0, missing)), constant_values=np.nan)) ** 2)
    return np.asarray(np.sqrt(np.mean(squares, axis=0)))
