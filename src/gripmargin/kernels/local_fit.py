"""Local polynomial least squares over samples in time: derivatives and their noise gain.

Samples lie along the last axis, channels along the first. Sources: Savitzky & Golay, Anal. Chem. 36(8),
1964 (even sampling); Forsythe, J. SIAM 5(2), 1957 (orthogonal polynomials on the given points, for any
sampling).
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import largest_of, numbered, stored, wide_parts

Value = TypeVar("Value", np.floating[Any], np.bool_)

UNUSABLE_GAIN = 1e100  # noise gain of a fit whose points all but coincide: finite, and beyond any use


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
    (+1). Near the ends it is moved inwards, and the polynomial is evaluated off its centre. With uneven
    sampling, neighbouring samples share a wide window: its centre is off by a sixteenth of its half width at most.

    Args:
        t: Times [s], increasing, shape (n,).
        y: Samples, shape (channels, n).
        points: Points in a window, at most n.
        degree: Degree of the polynomial, below the number of points.
        orders: Orders of the derivatives wanted.
        step: The time step [s] where sampling is even, else None.
        side: Where the window lies.

    Returns:
        For each order the derivative, shape (channels, n), and the gain from white noise of the samples to
        noise of the derivative [s^-order], shape (n,). Where points all but coincide the derivative is 0 and
        the gain UNUSABLE_GAIN.
    """
    reach = {0: points // 2, -1: points - 1, 1: 0}[side]
    if step is None:
        share = max(1, points // 16) if side == 0 else 1
        return _fit(t, y, points, degree, orders, reach, share)
    n = t.size
    found: list[tuple[FloatArray, FloatArray]] = []
    for order, (hat, norm) in zip(orders, _even_fit(points, degree, orders), strict=True):
        scale = step**-order
        value, gain = np.empty(y.shape), np.empty(n)
        inner = slice(reach, reach + n - points + 1)
        for channel in range(len(y)):
            value[channel, inner] = np.correlate(y[channel], hat[:, reach], "valid")
        value[:, : inner.start] = y[:, :points] @ hat[:, :reach]
        value[:, inner.stop :] = y[:, n - points :] @ hat[:, reach + 1 :]
        gain[inner] = norm[reach]
        gain[: inner.start], gain[inner.stop :] = norm[:reach], norm[reach + 1 :]
        found.append((value * scale, gain * scale))
    return found


@lru_cache(maxsize=64)
def _even_fit(points: int, degree: int, orders: tuple[int, ...]) -> list[tuple[FloatArray, FloatArray]]:
    """For unit steps: weights (points, place of evaluation) and gains, by fitting each unit sample."""
    return _fit(np.arange(float(points)), np.eye(points), points, degree, orders, points // 2, points)


def _fit(
    t: FloatArray, y: FloatArray, points: int, degree: int, orders: tuple[int, ...], reach: int, share: int
) -> list[tuple[FloatArray, FloatArray]]:
    n = t.size
    group = np.arange(n) // share
    centre = np.minimum(np.arange(group[-1] + 1) * share + share // 2, n - 1)
    index = np.clip(centre - reach, 0, n - points) + np.arange(points)[:, None]
    x = t[index] - t[centre]
    scale = np.abs(x).max(axis=0)
    x /= scale
    near = y[:, index]
    at = (t - t[centre][group]) / scale[group]
    top = max(orders)
    before, now = np.zeros_like(x), np.ones_like(x)
    before_at = [np.zeros(n) for _ in range(top + 1)]
    now_at = [np.ones(n), *before_at[1:]]
    before_square = np.ones(group[-1] + 1)
    value = [np.zeros((len(y), n)) for _ in orders]
    square_gain = [np.zeros(n) for _ in orders]
    for k in range(degree + 1):
        squares = now * now
        square = np.maximum(squares.sum(axis=0), 1e-280)
        if k >= min(orders):
            share_of_y = (np.einsum("pg,cpg->cg", now, near) / square)[:, group]
            for i, order in enumerate(orders):
                if k >= order:
                    value[i] += share_of_y * now_at[order]
                    square_gain[i] += now_at[order] ** 2 / square[group]
        if k < degree:
            shift = np.einsum("pg,pg->g", x, squares) / square
            carry = square / before_square if k else np.zeros_like(square)
            before *= -carry
            before += (x - shift) * now
            before, now = now, before
            at_next = [
                (d * now_at[d - 1] if d else 0.0) + (at - shift[group]) * now_at[d] - carry[group] * before_at[d]
                for d in range(top + 1)
            ]
            before_at, now_at, before_square = now_at, at_next, square
    found: list[tuple[FloatArray, FloatArray]] = []
    for order, derivative, square_of in zip(orders, value, square_gain, strict=True):
        unit = scale[group] ** -order
        gain = np.sqrt(square_of) * unit
        usable = (gain < UNUSABLE_GAIN) & np.isfinite(derivative).all(axis=0)
        found.append((np.where(usable, derivative * unit, 0.0), np.where(usable, gain, UNUSABLE_GAIN)))
    return found


def even_step(t: FloatArray) -> float | None:
    """Return the time step [s] where sampling is even but for rounding of the stamps, else None.

    Args:
        t: Times [s], increasing, shape (n,).
    """
    step = float((t[-1] - t[0]) / (t.size - 1))
    off = largest_of(lambda t_, k: np.abs(t_ - (t[0] + step * k)), t, numbered(t.size))
    return step if off <= max(4.0 * float(np.spacing(np.abs(t).max())), 1e-8 * step) else None


def running_max(values: NDArray[Value], reach: int) -> NDArray[Value]:
    """Return the largest value within so many samples on either side, along the last axis; NaN beside one.

    Args:
        values: Shape (..., n).
        reach: Samples on either side.
    """
    from scipy.ndimage import maximum_filter1d  # noqa: PLC0415 - only estimated rates need it

    most = stored(values.shape, values.dtype)
    for part, wide, inside in wide_parts(values.shape[-1], reach):
        some = values[..., wide]
        found = maximum_filter1d(some, 2 * reach + 1, axis=-1, mode="nearest")
        unknown = np.isnan(some)
        if unknown.any():
            found[maximum_filter1d(unknown, 2 * reach + 1, axis=-1, mode="nearest")] = np.nan
        most[..., part] = found[..., inside]
    return most


def step_between(t: FloatArray, a: FloatArray, reach: int) -> FloatArray:
    """Height of the step at each sample that a slope cannot explain.

    Compares the change over two reaches with that over four: a straight line gives 0 and a step its height.

    Args:
        t: Times [s], shape (n,).
        a: Values, shape (channels, n).
        reach: Samples from the step to where the values no longer see it.
    """
    n = t.size
    i = np.arange(n)
    near, near_back, far, far_back = (np.clip(i + k * reach, 0, n - 1) for k in (1, -1, 2, -2))
    ratio = (t[near] - t[near_back]) / (t[far] - t[far_back])
    return np.asarray(2.0 * ((a[:, near] - a[:, near_back]) - (a[:, far] - a[:, far_back]) * ratio))
