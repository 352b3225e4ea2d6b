"""Changes of speed that are over within so few samples that how fast they were cannot be told.

A move from rest to rest over two samples looks the same whether it took all of the time between them or half of
it; polynomials through the samples give a fraction of its acceleration. Such a change shows as a few second
differences with none on either side of them.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import differences_of, flagged, largest_of, leave, parts, stored, wide_parts
from gripmargin.kernels.digits import value_error
from gripmargin.kernels.local_fit import running_max
from gripmargin.kernels.sample_noise import BLOCK, MEDIAN_TO_SIGMA, ORDERS, differences, noise_levels

_WINDOW: Final = 4  # intervals of the least window of a fit
_SEEN: Final = 4.5  # standard deviations that noise does not reach
_SHARES: Final = 1 / 4, 1 / 10  # of the highest speed: above the first a channel moves, below the second it hardly does
_ENOUGH: Final = 12  # samples of either that tell its noise
# Two standard errors of a deviation by the median, 1.17/sqrt(n) each (asymptotic, normal distribution; Rousseeuw &
# Croux, JASA 88(424), 1993; from memory), of neighbouring differences that share samples: half of them count.
_UNSURE: Final = 2.0 * 1.17 * np.sqrt(2.0)


def burst_bias(
    t: FloatArray, y: FloatArray, *, even: bool, scatter: float = 0.0, error: FloatArray | None = None
) -> FloatArray:
    """Return what the second derivative may be in bursts beyond what samples show, 0 elsewhere.

    It is that of a move which takes half of a sample interval; faster ones leave no more trace. The second
    differences of a move from rest to rest add up to its travel at least, wherever the samples fall. The peak of a
    minimum-jerk move of a travel d in a time T is 10/sqrt(3) d/T^2 = 5.77 d/T^2 (Flash & Hogan, J. Neurosci. 5(7),
    1985, from memory).

    Args:
        t: Times [s], increasing, shape (n,).
        y: Samples, shape (channels, n).
        even: Whether sampling is even.
        scatter: By which the times may be off [s], one standard deviation: noise that goes with the speed.
        error: Bound of the error of each value, shape (channels,); None: half of the last digit that they show, which
            noise comes on top of.

    Returns:
        Shape (channels, n) [unit/s^2].
    """
    out = stored(y.shape)
    if t.size < 4:
        return out
    known = (4.02 * (value_error(y) if error is None else error))[:, None]  # four errors in a second difference
    noise = _noise(t, y, even=even, scatter=scatter)
    # a bound that is given counts the digits that noise shows: what reaches beyond both is a change
    both = np.add if error is None else np.maximum
    bend, changes = stored((len(y), t.size - 2)), stored((len(y), t.size - 2), bool)
    beside = stored(changes.shape, bool)
    for part in parts(t.size - 2):
        ends = slice(part.start, part.stop + 2)
        h = np.diff(t[ends])
        middle = (h[:-1] + h[1:]) / 2
        bend[:, part] = np.diff(np.diff(y[:, ends], axis=1) / h, axis=1) / middle  # [unit/s^2]
        size = np.abs(bend[:, part]) * middle * np.minimum(h[:-1], h[1:])
        noisy = 24.5 * (noise[:, part] if noise.shape[1] > 1 else noise)  # ten times that of a second difference
        changes[:, part] = size > both(known, noisy)
        # Where a long change of speed just reaches the noise, its neighbours nearly do.
        beside[:, part] = size > both(known, 0.5 * noisy)
    for channel, marks in enumerate(beside):
        marked = flagged(marks)
        # three second differences without a change part one burst from the next
        for run in np.split(marked, np.flatnonzero(np.diff(marked) > 3) + 1):
            if run.size and _is_burst(run, bend[channel], changes[channel]):
                around = slice(max(int(run[0]) - 1, 0), int(run[-1]) + 4)  # second difference i is about sample i + 1
                out[channel, around] = np.maximum(out[channel, around], _peak(bend[channel, run]))
        leave()
    return out


def hidden_bias(t: FloatArray, y: FloatArray, speed: FloatArray, *, even: bool) -> FloatArray:
    """Return what the second derivative may be beyond a fit where samples come so late or early that bursts drown.

    The least window, of four intervals h, takes a change of speed D within it for an even one: they are up to D h/2
    apart in its middle, and noise has to be 4.5 times less for that to be seen. Where times are off by more than a
    ninth of an interval not even a full stop is, and any change may be over within half an interval. How far they are
    off is told by noise that comes and goes with the speed.

    Args:
        t: Times [s], increasing, shape (n,).
        y: Samples, shape (channels, n).
        speed: Smoothed first derivative, shape (channels, n).
        even: Whether sampling is even.

    Returns:
        Shape (channels, n) [unit/s^2]; 0 where a full stop is seen.
    """
    h = float(np.median(differences_of(t)))
    off, out = _lateness(t, y, speed, even=even), stored(y.shape)
    for k in np.flatnonzero(_SEEN * off > _WINDOW * h / 8.0):
        for part, wide, inside in wide_parts(t.size, _WINDOW):
            some = speed[k, wide]
            change = running_max(some, _WINDOW) + running_max(-some, _WINDOW)
            out[k, part] = 4.0 * change[inside] / h
    return out


def _lateness(t: FloatArray, y: FloatArray, speed: FloatArray, *, even: bool) -> FloatArray:
    """Most that times may scatter [s, 1 sigma] by noise that goes with the speed, 0 where none does; (channels,)."""
    off = np.zeros(len(y))
    if t.size <= 2 * ORDERS[0]:
        return off
    rough, about = stored((t.size - ORDERS[0],)), stored((t.size - ORDERS[0],))
    for channel, most in enumerate(largest_of(np.abs, speed.T)):
        for part in parts(rough.size):
            ends = slice(part.start, part.stop + ORDERS[0])
            rough[part] = np.abs(differences(t[ends], y[channel, None, ends], ORDERS[0], even=even)[0])
            about[part] = sliding_window_view(np.abs(speed[channel, ends]), ORDERS[0] + 1).mean(axis=-1)
        moving, slow = about > most * _SHARES[0], about < most * _SHARES[1]
        if min(moving.sum(), slow.sum()) >= _ENOUGH:
            noise, rest = (MEDIAN_TO_SIGMA * np.median(rough[some]) for some in (moving, slow))
            ratio = MEDIAN_TO_SIGMA * np.median(rough[moving] / about[moving])
            ratio *= 1.0 + _UNSURE / np.sqrt(moving.sum())
            off[channel] = ratio if noise * _SHARES[1] > rest * _SHARES[0] else 0.0
    return off


def _is_burst(run: NDArray[np.intp], bend: FloatArray, changes: NDArray[np.bool_]) -> bool:
    """Whether a run of second differences stands alone and is too short to follow."""
    few = 5 if bend[run].min() < 0 < bend[run].max() else 3
    return bool(run[-1] - run[0] < few and changes[run].any())


def _peak(bend: FloatArray) -> float:
    """What the second derivative may reach in a burst.

    A move goes one way and back in its second differences; 5.77 d/T^2 within half a sample interval is 23 of them.
    Where all have one sign, the speed changes and stays: the largest of them times its interval, within half of that,
    is a mean of 2 and a peak of 4.
    """
    size = np.abs(bend)
    return float(24.0 * size.sum() if bend.min() < 0 < bend.max() else 4.0 * size.max())


def _noise(t: FloatArray, y: FloatArray, *, even: bool, scatter: float) -> FloatArray:
    """Noise about each second difference, shape (channels, n - 2), or (channels, 1) where it is the same about all."""
    steady = _steady_noise(t, y, even=even)[:, None]
    if not scatter > 0.0:
        return steady
    level, _ = noise_levels(t, y, None)
    here = level[:, np.arange(1, t.size - 1) // BLOCK]
    reach = np.minimum(t.size // 2, 4)
    i = np.arange(1, t.size - 1)
    a, b = np.maximum(i - reach, 0), np.minimum(i + reach, t.size - 1)
    speed = np.abs(y[:, b] - y[:, a]) / (t[b] - t[a])
    return np.asarray(np.maximum(steady, np.minimum(here, scatter * running_max(speed, reach))))


def _steady_noise(t: FloatArray, y: FloatArray, *, even: bool) -> FloatArray:
    """Noise that most of a channel shows, shape (channels,); what happens in a few samples does not count."""
    orders = [order for order in ORDERS if 2 * order < t.size]
    if not orders:
        return np.zeros(len(y))
    found = np.empty((len(orders), len(y)))
    for i, order in enumerate(orders):
        size = stored((t.size - order,))
        for k in range(len(y)):
            for part in parts(size.size):
                ends = slice(part.start, part.stop + order)
                size[part] = np.abs(differences(t[ends], y[k, None, ends], order, even=even)[0])
            found[i, k] = np.median(size)
    return MEDIAN_TO_SIGMA * np.min(found, axis=0)
