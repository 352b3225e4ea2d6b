"""Local polynomial least squares over samples in time: derivatives, their noise gain, and noise itself.

Samples lie along the last axis, channels along the first. Sources: Savitzky & Golay, Anal. Chem. 36(8),
1964 (even sampling); Forsythe, J. SIAM 5(2), 1957 (orthogonal polynomials on given points, used for any
sampling); von Neumann, Ann. Math. Stat. 12(4), 1941 (noise from differences of neighbouring samples).
"""

from __future__ import annotations

from math import comb
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from gripmargin.arrays import FloatArray

T = TypeVar("T", bound=np.generic)

UNUSABLE_GAIN = 1e120  # noise gain of a fit whose points (nearly) coincide: finite, and beyond any use
_TABLE = 1 << 17  # entries of one table of weights, so that it stays in the cache
_MEDIAN_TO_SIGMA = 1.482602218505602  # 1 / 0.75 quantile of the normal distribution


def fit_weights(x: FloatArray, degree: int, orders: tuple[int, ...]) -> list[tuple[FloatArray, FloatArray]]:
    """Weights by which samples give the derivatives at x = 0 of their least-squares polynomial.

    Args:
        x: Sample places relative to where the derivative is wanted [s], shape (points, n), one fit a column.
        degree: Degree of the polynomial, below the number of points.
        orders: Orders of the derivatives wanted.

    Returns:
        For each order the weights [s^-order], shape (points, n), and their Euclidean norm, shape (n,): the
        gain from white noise of the samples to noise of the derivative.
    """
    scale = np.abs(x).max(axis=0)
    x = x / scale
    top = max(orders)
    before, now = np.zeros_like(x), np.ones_like(x)
    before_at_0 = [np.zeros(x.shape[1])] * (top + 1)
    now_at_0 = [np.ones(x.shape[1]), *before_at_0[1:]]
    before_square = np.ones(x.shape[1])
    weights = [np.zeros_like(x) for _ in orders]
    squares = [np.zeros(x.shape[1]) for _ in orders]
    for k in range(degree + 1):
        square = np.maximum((now * now).sum(axis=0), 1e-280)
        for i, order in enumerate(orders):
            if k >= order:
                weights[i] += now * (now_at_0[order] / square)
                squares[i] += now_at_0[order] ** 2 / square
        if k < degree:
            shift = (x * now * now).sum(axis=0) / square
            carry = square / before_square if k else np.zeros_like(square)
            before, now = now, (x - shift) * now - carry * before
            at_0 = [
                (d * now_at_0[d - 1] if d else 0.0) - shift * now_at_0[d] - carry * before_at_0[d]
                for d in range(top + 1)
            ]
            before_at_0, now_at_0, before_square = now_at_0, at_0, square
    return [(w / scale**order, np.sqrt(s) / scale**order) for w, s, order in zip(weights, squares, orders, strict=True)]


def local_fit(
    t: FloatArray,
    y: FloatArray,
    points: int,
    degree: int,
    orders: tuple[int, ...],
    *,
    step: float | None,
    side: int = 0,
) -> list[tuple[FloatArray, FloatArray]]:
    """Derivatives at every sample of the least-squares polynomial through its neighbours.

    The window holds the given number of points: around the sample (side 0), up to it (-1) or from it on
    (+1). Near the ends it is moved inwards.

    Args:
        t: Times [s], increasing, shape (n,).
        y: Samples, shape (channels, n).
        points: Points in a window, odd for side 0, at most n.
        degree: Degree of the polynomial.
        orders: Orders of the derivatives wanted.
        step: The time step [s] where sampling is even, else None.
        side: Where the window lies.

    Returns:
        For each order the derivative, shape (channels, n), and its noise gain [s^-order], shape (n,). Where
        points all but coincide the derivative is 0 and the gain UNUSABLE_GAIN.
    """
    n = t.size
    reach = {0: points // 2, -1: points - 1, 1: 0}[side]
    inner = slice(reach, reach + n - points + 1)
    found = [(np.empty(y.shape), np.empty(n)) for _ in orders]
    if step is not None:
        offsets = (np.arange(points) - reach)[:, None] * step
        for (value, gain), (w, norm) in zip(found, fit_weights(offsets, degree, orders), strict=True):
            for channel in range(len(y)):
                value[channel, inner] = np.correlate(y[channel], w[:, 0], "valid")
            gain[inner] = norm[0]
    else:
        rows = max(64, _TABLE // points)
        for a in range(inner.start, inner.stop, rows):
            b = min(a + rows, inner.stop)
            x = np.stack([t[a - reach + o : b - reach + o] - t[a:b] for o in range(points)])
            for (value, gain), (w, norm) in zip(found, fit_weights(x, degree, orders), strict=True):
                total = value[:, a:b]
                total[:] = 0.0
                for o in range(points):
                    total += w[o] * y[:, a - reach + o : b - reach + o]
                gain[a:b] = norm
    for first, at in ((0, np.arange(inner.start)), (n - points, np.arange(inner.stop, n))):
        if at.size:
            x = t[first : first + points, None] - t[at]
            for (value, gain), (w, norm) in zip(found, fit_weights(x, degree, orders), strict=True):
                value[:, at] = y[:, first : first + points] @ w
                gain[at] = norm
    for value, gain in found:
        bad = ~((gain < UNUSABLE_GAIN) & np.isfinite(value).all(axis=0))
        value[:, bad] = 0.0
        gain[bad] = UNUSABLE_GAIN
    return found


def even_step(t: FloatArray) -> float | None:
    """The time step [s] where sampling is even but for rounding of the stamps, else None."""
    step = float((t[-1] - t[0]) / (t.size - 1))
    off = np.abs(t - (t[0] + step * np.arange(t.size))).max()
    return step if off <= max(4.0 * float(np.spacing(np.abs(t).max())), 1e-8 * step) else None


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
            weight = 1.0 / np.prod(np.delete(x[o] - x, o, axis=0), axis=0)
            total += weight * y[:, o : o + rows]
            square += weight * weight
        scaled = total / np.sqrt(square)
    return np.asarray(np.where(np.isfinite(scaled), scaled, 0.0))


def block_noise(t: FloatArray, y: FloatArray, order: int, block: int, *, even: bool) -> FloatArray:
    """Noise of the samples in each block, from the median size of their differences.

    Differences of samples that are all equal say nothing about noise (rounding hides it): they are left out.

    Args:
        t: Times [s], increasing, shape (n,).
        y: Samples, shape (channels, n), n > order.
        order: Order of the difference.
        block: Samples in a block.
        even: Whether sampling is even.

    Returns:
        One standard deviation, shape (channels, blocks), blocks = ceil(n / block); NaN where nothing moves.
    """
    size = np.abs(differences(t, y, order, even=even))
    changes = np.diff(y, axis=-1) != 0
    moves = running_max(changes, 0, order - 1)[:, : size.shape[1]]
    blocks = -(-y.shape[1] // block)
    padded = np.full((len(y), blocks * block), np.nan)
    padded[:, order // 2 : order // 2 + size.shape[1]] = np.where(moves, size, np.nan)
    ordered = np.sort(padded.reshape(len(y), blocks, block), axis=-1)
    count = np.isfinite(ordered).sum(axis=-1)
    middle = np.take_along_axis(ordered, np.maximum(count // 2, 0)[..., None].clip(max=block - 1), axis=-1)[..., 0]
    return np.asarray(np.where(count > 0, middle, np.nan) * _MEDIAN_TO_SIGMA)


def running_max(values: NDArray[T], back: int, ahead: int) -> NDArray[T]:
    """Largest value from so many samples back to so many ahead, cut off at the ends.

    Args:
        values: Shape (..., n).
        back: Samples before.
        ahead: Samples after.
    """
    span = back + ahead + 1
    edge = [(0, 0)] * (values.ndim - 1) + [(back, ahead)]
    most = np.pad(values, edge, mode="edge")
    covered = 1
    while covered < span:
        shift = min(covered, span - covered)
        most = np.maximum(most[..., :-shift], most[..., shift:])
        covered += shift
    return most


def run_lengths(y: FloatArray) -> FloatArray:
    """For each sample the number of consecutive samples of the same value it belongs to.

    Args:
        y: Samples, shape (channels, n).
    """
    lengths = np.empty(y.shape)
    for channel, values in enumerate(y):
        starts = np.flatnonzero(np.r_[True, values[1:] != values[:-1]])
        sizes = np.diff(np.r_[starts, values.size])
        lengths[channel] = np.repeat(sizes, sizes)
    return lengths
