"""Changes of speed that are over within so few samples that how fast they were cannot be told.

A move from rest to rest over two samples looks the same whether it took all of the time between them or half of
it; polynomials through the samples give a fraction of its acceleration. Such a change shows as a few second
differences with none on either side of them.
"""

from __future__ import annotations

import numpy as np

from gripmargin.arrays import FloatArray
from gripmargin.kernels.sample_noise import differences, grid

FEW = 5  # second differences in a row that are too few to follow a change of speed
QUIET = 3  # second differences without a change that part one burst from the next
ROUNDED = 2.01  # steps of rounding that a second difference of a straight line may reach
NOISY = 24.5  # noise of the samples, ten times that of a second difference, beyond which it is a change
OFTEN = 20  # changes that show a step of rounding
WIDE = 5.0  # steps of rounding in the largest change that show it too
UNSEEN = 24.0  # 5.77 travel/time^2, the peak of a minimum-jerk move, for one that takes half a sample interval
MEDIAN_TO_SIGMA = 1.482602218505602  # 1 / 0.75 quantile of the normal distribution
ORDERS = (4, 6, 8)


def burst_bias(t: FloatArray, y: FloatArray, *, even: bool) -> FloatArray:
    """Return what the second derivative may be in bursts beyond what samples show, 0 elsewhere.

    It is that of a move which takes half of a sample interval; faster ones leave no more trace. The second
    differences of a move from rest to rest add up to its travel at least, wherever the samples fall. The peak of a
    minimum-jerk move of a travel d in a time T is 10/sqrt(3) d/T^2 = 5.77 d/T^2 (Flash & Hogan, J. Neurosci. 5(7),
    1985, from memory).

    Args:
        t: Times [s], increasing, shape (n,).
        y: Samples, shape (channels, n).
        even: Whether sampling is even.

    Returns:
        Shape (channels, n) [unit/s^2].
    """
    out = np.zeros(y.shape)
    if t.size < 4:
        return out
    h = np.diff(t)
    middle = (h[:-1] + h[1:]) / 2
    bend = np.diff(np.diff(y, axis=1) / h, axis=1) / middle  # [unit/s^2]
    floor = ROUNDED * _rounding(y) + NOISY * _steady_noise(t, y, even=even) + 4.0 * np.spacing(np.abs(y).max(axis=1))
    changes = np.abs(bend) * middle * np.minimum(h[:-1], h[1:]) > floor[:, None]
    for channel, marks in enumerate(changes):
        marked = np.flatnonzero(marks)
        for run in np.split(marked, np.flatnonzero(np.diff(marked) > QUIET) + 1):
            if run.size and run[-1] - run[0] < FEW:
                around = slice(max(int(run[0]) - 1, 0), int(run[-1]) + 4)  # second difference i is about sample i + 1
                out[channel, around] = np.maximum(out[channel, around], UNSEEN * np.abs(bend[channel, run]).sum())
    return out


def _rounding(y: FloatArray) -> FloatArray:
    """Step that a channel is rounded to, 0 where too few of its values say so, shape (channels,).

    A move over two samples also makes all changes multiples of the smallest.
    """
    step = grid(y)
    change = np.abs(np.diff(y, axis=1))
    often = (change > 0).sum(axis=1) >= OFTEN
    wide = change.max(axis=1) >= WIDE * step
    return np.where(often | wide, step, 0.0)


def _steady_noise(t: FloatArray, y: FloatArray, *, even: bool) -> FloatArray:
    """Noise that most of a channel shows, shape (channels,); what happens in a few samples does not count."""
    orders = [order for order in ORDERS if 2 * order < t.size]
    if not orders:
        return np.zeros(len(y))
    found = [np.median(np.abs(differences(t, y, order, even=even)), axis=1) for order in orders]
    return MEDIAN_TO_SIGMA * np.min(found, axis=0)
