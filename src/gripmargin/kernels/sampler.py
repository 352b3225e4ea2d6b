"""The regular sampler behind jittered time stamps: its period, the number of each sample, its nominal times.

A logger stamps what a periodic sampler hands it: the stamps scatter, samples are lost, and two clocks drift
apart slowly. Samples are numbered by what their stamps add up to over several neighbours, so that one late stamp
is not taken for a lost sample; the nominal times are a smooth function of the numbers (least squares, trimmed).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.sample_noise import MEDIAN_TO_SIGMA, differences

BLOCK = 256  # samples over which the clocks cannot drift apart by a part of a period that matters
NEAR = 4  # samples on either side that say how many have been lost so far


def number_samples(t: FloatArray) -> tuple[NDArray[np.int64], float]:
    """Number the samples of a periodic sampler; lost samples leave out numbers.

    Args:
        t: Stamps [s], increasing, shape (n,), n >= 2.

    Returns:
        Numbers, increasing, from 0, shape (n,), and the period [s].
    """
    x = t - t[0]
    period = _period(x)
    found = np.zeros(t.size, dtype=np.int64)
    number, phase = 0, 0.0
    for a in range(0, t.size, BLOCK):
        part = slice(a, min(a + BLOCK, t.size))
        ahead = x[a : part.stop + NEAR]
        lost = _lost((ahead - phase) / period - number - np.arange(ahead.size))[: part.stop - a]
        found[part] = number + lost + np.arange(part.stop - a)
        off = x[part] - phase - period * found[part]
        phase += float(np.median(off[-BLOCK // 2 :]))
        number = int(found[part.stop - 1]) + 1
    return found, period


def _period(x: FloatArray) -> float:
    """The period whose whole multiples the times between stamps come to, by the mean angle of their phases."""
    period = float(np.median(np.diff(x)))
    if np.abs(np.exp(2j * np.pi * np.diff(x) / period).mean()) < 0.5:  # else their median step is near enough
        period = _searched(x, period)
    for apart in (4, 8, 16, 32, 64, 128, 256):  # samples apart that find the period better and better
        if x.size < 3 * apart:
            break
        turns = (x[apart:] - x[:-apart]) / period
        mean = np.exp(2j * np.pi * turns).mean()
        if np.abs(mean) < 3.0 / np.sqrt(turns.size):  # no more than random phases agree
            break
        period *= 1.0 + float(np.angle(mean)) / (2.0 * np.pi) / float(turns.mean())
    return period


def _searched(x: FloatArray, about: float) -> float:
    """The period within 6 % of another at which the phases of stamps agree best, block by block."""
    blocks = x[: x.size // BLOCK * BLOCK].reshape(-1, BLOCK)[:64] if x.size >= 2 * BLOCK else x[None]
    trial = about * np.linspace(0.94, 1.06, int(0.6 * blocks.shape[1]) + 1)
    agree = [float((np.abs(np.exp(2j * np.pi * blocks / period).sum(axis=1)) ** 2).sum()) for period in trial]
    return float(trial[int(np.argmax(agree))])


def _lost(late: FloatArray) -> NDArray[np.int64]:
    """How many samples have been lost up to each one, from how late the stamps are, in periods.

    None have been before the first.
    """
    padded = np.concatenate([np.zeros(NEAR), late, np.full(NEAR, late[-1])])
    level = np.rint(np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * NEAR + 1), axis=-1))
    around = np.concatenate([np.zeros(NEAR), level, np.full(NEAR, level[-1])])
    options = np.stack([around[: late.size], level, around[2 * NEAR :]])
    nearest = np.take_along_axis(options, np.abs(options - late).argmin(axis=0)[None], axis=0)[0]
    nearest = np.where(np.abs(late - nearest) > 1.5, np.rint(late), nearest)  # a gap as wide as the neighbourhood
    return np.maximum.accumulate(np.maximum(nearest, 0.0)).astype(np.int64)


def nominal_times(t: FloatArray, number: NDArray[np.int64]) -> tuple[FloatArray, float]:
    """Fit the times at which a periodic sampler with slowly drifting clocks took its samples.

    Args:
        t: Stamps [s], shape (n,).
        number: Of the samples, shape (n,).

    Returns:
        Nominal times [s], shape (n,), and how far the mean of neighbouring stamps still strays from them, over what
        jitter explains (1 and below: nothing is left).
    """
    span = max(int(number[-1]), 1)
    x = 2.0 * number / span - 1.0
    y = t - t[0]
    fitted, astray = y, np.inf
    for degree in (1, 2, 3, 5, 7, 9):  # for clocks that drift apart
        if t.size < 4 * (degree + 1):
            break
        keep = np.ones(t.size, dtype=bool)
        for _ in range(4):
            fitted = np.polynomial.chebyshev.chebval(x, np.polynomial.chebyshev.chebfit(x[keep], y[keep], degree))
            off = y - fitted
            sigma = MEDIAN_TO_SIGMA * float(np.median(np.abs(off[keep] - np.median(off[keep]))))
            keep = np.abs(off - np.median(off)) <= 4.0 * sigma + 1e-9
        astray = _astray(off, keep, sigma)
        if astray <= 1.0:
            break
    return t[0] + fitted, astray


def _astray(off: FloatArray, keep: NDArray[np.bool_], sigma: float) -> float:
    slow = 64  # samples over which jitter averages out and drift does not
    if off.size < 2 * slow:
        return 0.0
    blocks = np.array_split(np.where(keep, off, 0.0), off.size // slow)
    means = np.array([block.mean() for block in blocks])
    return float(np.sqrt(np.mean(means**2)) / (2.0 * sigma / np.sqrt(slow) + 1e-9))


def share_of_motion(nominal: FloatArray, off: FloatArray, y: FloatArray, noise: FloatArray) -> tuple[float, float]:
    """Find which share of the stamps' deviations the samples follow: 1 where they were taken at their stamps.

    A sample that was taken later than its nominal time by d lies ahead by the speed times d. High differences
    remove the motion; what is left is compared with the same differences of speed times deviation (least
    squares). What sticks out is left out, which from either guess, none and all, may be what tells: what leaves less
    counts.

    Args:
        nominal: Nominal times [s], shape (n,).
        off: Stamps less nominal times [s], shape (n,).
        y: Samples, shape (channels, n).
        noise: What the channels' samples are rounded to or known to at best, shape (channels,).

    Returns:
        The share, and its standard error; an infinite one where nothing says.
    """
    order = 4  # of the differences that remove motion and keep what jitter does
    if nominal.size < 48:
        return 0.0, np.inf
    speed = _speeds(nominal, y)
    seen = differences(nominal, y, order, even=False)
    due = differences(nominal, speed * off, order, even=False)
    found = [_share(seen, due, noise, start) for start in (0.0, 1.0)]
    scale = np.minimum(*(level for *_, level in found))
    cost = [float((np.minimum(np.abs(seen - share * due) / scale, 5.0) ** 2).sum()) for share, *_ in found]
    share, error, _ = found[int(np.argmin(cost))]
    return share, error


def _share(seen: FloatArray, due: FloatArray, noise: FloatArray, share: float) -> tuple[float, float, FloatArray]:
    """Least squares without what sticks out, from a first guess; the share, its error, and what is left usually."""
    for _ in range(3):
        left = np.abs(seen - share * due)
        level = MEDIAN_TO_SIGMA * _levels(left)
        level = np.maximum(level, MEDIAN_TO_SIGMA * np.median(left, axis=1, keepdims=True))
        level = np.maximum(np.maximum(level, noise[:, None]), 1e-12)
        weight = 1.0 / level**2
        weight[left > 5.0 * level] = 0.0
        total = float((weight * due**2).sum())
        if not total > 0.0:
            return 0.0, np.inf, level
        share = float((weight * seen * due).sum()) / total
    # neighbouring differences share samples: their sum of squares counts about twice too often
    return share, float(np.sqrt(2.0 / total)), level


def _levels(left: FloatArray, block: int = 32) -> FloatArray:
    """The median over blocks, the last one of up to half as much again, at every place, shape (channels, n)."""
    n = left.shape[1]
    last = (max(n - block // 2, 1) - 1) // block * block
    whole = np.median(left[:, :last].reshape(len(left), -1, block), axis=2)
    rest = np.median(left[:, last:], axis=1, keepdims=True)
    return np.concatenate([whole.repeat(block, axis=1), rest.repeat(n - last, axis=1)], axis=1)


def _speeds(t: FloatArray, y: FloatArray, reach: int = 4) -> FloatArray:
    """Mean speeds over some samples on either side, shape (channels, n)."""
    i = np.arange(t.size)
    a, b = np.maximum(i - reach, 0), np.minimum(i + reach, t.size - 1)
    return np.asarray((y[:, b] - y[:, a]) / (t[b] - t[a]))
