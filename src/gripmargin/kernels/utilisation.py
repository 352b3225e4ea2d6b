"""How far each judged point of the pads is used by a load, over whole arrays.

A point's *normalised traction* is its traction divided by what it can hold: two tangential components over
the shear strength, the normal one over the pull-off stress. It is linear in the load wrench, so one matrix
``maps`` of shape (3, points, 6) serves every sample. Utilisation is
``u^2 = t1^2 + t2^2 + max(s, 0)^2``: compression neither helps nor hurts.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray

IntArray = NDArray[np.intp]

BLOCK_VALUES = 32_768  # doubles of one component at a time, 256 kB: all three stay in the cache


def _block(points: int) -> int:
    return max(1, BLOCK_VALUES // points)


def peak_utilisation(maps: FloatArray, wrench: FloatArray) -> tuple[FloatArray, IntArray, FloatArray, IntArray]:
    """Return the largest utilisation and the largest tension ratio of every sample, and at which points.

    Args:
        maps: Load wrench to normalised traction, shape (3, points, 6).
        wrench: Load, forces [N] then moments [N m], shape (6, samples).

    Returns:
        Largest utilisation [-], its point, largest ``max(sigma, 0) / S`` (peel index) [-], its point; each
        of shape (samples,).
    """
    samples, points = wrench.shape[1], maps.shape[1]
    u, at_u = np.empty(samples), np.empty(samples, dtype=np.intp)
    peel, at_peel = np.empty(samples), np.empty(samples, dtype=np.intp)
    step = _block(points)
    for first in range(0, samples, step):
        part = slice(first, first + step)
        t1, t2, s = wrench[:, part].T @ maps.transpose(0, 2, 1)  # points last: the search for the largest is far faster
        np.maximum(s, 0.0, out=s)
        at_peel[part] = s.argmax(axis=1)
        peel[part] = np.take_along_axis(s, at_peel[part, None], axis=1)[:, 0]
        s *= s
        t1 *= t1
        t2 *= t2
        s += t1
        s += t2
        at_u[part] = s.argmax(axis=1)
        u[part] = np.sqrt(np.take_along_axis(s, at_u[part, None], axis=1)[:, 0])
    return u, at_u, peel, at_peel


def utilisation_error(
    maps: FloatArray, columns: FloatArray, sigma: FloatArray, bias: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return by how much errors of the load can move the largest utilisation of every sample.

    Utilisation is a seminorm of the load's positive part, so ``|u(w + d) - u(w)|`` is at most the size of the
    normalised traction of d at some point, whatever its sign.

    Args:
        maps: Load wrench to normalised traction, shape (3, points, 6).
        columns: What one unit of each cause adds to the load, shape (causes, 6, samples).
        sigma: One standard deviation of each cause, shape (samples, causes).
        bias: Bound of its systematic error, likewise.

    Returns:
        Root of the sum of squares of the noise over the causes, and sum of the bounds over the causes, each at the
        point where it is largest; each of shape (samples,).
    """
    samples, points = columns.shape[2], maps.shape[1]
    rss, total = np.empty(samples), np.empty(samples)
    step, across = _block(points), maps.transpose(0, 2, 1)
    for first in range(0, samples, step):
        part = slice(first, first + step)
        square = np.zeros((sigma[part].shape[0], points))
        sum_ = np.zeros_like(square)
        for k, column in enumerate(columns[:, :, part]):
            t1, t2, size = column.T @ across
            size *= size
            t1 *= t1
            t2 *= t2
            size += t1
            size += t2
            np.multiply(size, sigma[part, k, None] ** 2, out=t1)
            square += t1
            np.sqrt(size, out=size)
            size *= np.abs(bias[part, k, None])
            sum_ += size
        rss[part] = np.sqrt(square.max(axis=1))
        total[part] = sum_.max(axis=1)
    return rss, total


def largest_scale(
    maps: FloatArray, still: FloatArray, moving: FloatArray, limit: float, error: FloatArray | None = None
) -> FloatArray:
    """Return the largest factor on the moving part of the load that keeps every point within a limit.

    With all rates scaled by k the load is ``still + k^2 moving``. Utilisation is convex in k^2, so where the
    still part alone is within the limit the factors that are form an interval from 0; its upper end is the
    smallest positive root over the points of a quadratic, with the tension counted where it is one. An error of
    the utilisation that grows with k^2 leaves the least root of ``|still + x moving| = limit - x error``: a
    quadratic as well.

    Args:
        maps: Load wrench to normalised traction, shape (3, points, 6).
        still: Load at standstill, shape (6, samples).
        moving: What the motion adds, shape (6, samples).
        limit: Largest utilisation allowed [-].
        error: What errors of the moving part may add to the utilisation [-], shape (samples,), or None.

    Returns:
        Largest k^2 for every sample, shape (samples,); inf where nothing limits it, NaN where the still part
        alone exceeds the limit or a load is no number.
    """
    samples = still.shape[1]
    out = np.empty(samples)
    added = np.zeros(samples) if error is None else error
    step = _block(3 * maps.shape[1])
    for first in range(0, samples, step):
        part = slice(first, first + step)
        a1, a2, a3 = maps @ still[:, part]
        b1, b2, b3 = maps @ moving[:, part]
        square, slope = added[part] ** 2, limit * added[part]
        sheared = _upper_root(b1**2 + b2**2 - square, a1 * b1 + a2 * b2 + slope, a1**2 + a2**2 - limit**2)
        both = _upper_root(
            b1**2 + b2**2 + b3**2 - square, a1 * b1 + a2 * b2 + a3 * b3 + slope, a1**2 + a2**2 + a3**2 - limit**2
        )
        # The tension counts at a root only where it is positive there; of the two branches' roots the
        # smaller one is the first crossing of the maximum of both.
        with np.errstate(invalid="ignore"):
            tension = a3 + np.where(np.isfinite(both), both, 0.0) * b3
        root = np.where(np.isfinite(both) & (tension > 0), np.fmin(sheared, both), sheared)
        worst = root.min(axis=0)
        alone = (a1**2 + a2**2 + np.maximum(a3, 0.0) ** 2).max(axis=0)
        number = np.isfinite(still[:, part]).all(axis=0) & np.isfinite(moving[:, part]).all(axis=0)
        number &= np.isfinite(added[part])
        out[part] = np.where((alone <= limit**2) & number, worst, np.nan)
    return out


def _upper_root(a: FloatArray, b: FloatArray, c: FloatArray) -> FloatArray:
    """Larger root of a x^2 + 2 b x + c, inf where there is none or a vanishes."""
    with np.errstate(divide="ignore", invalid="ignore"):
        discriminant = b * b - a * c
        root = np.where(b > 0, -c / (b + np.sqrt(discriminant)), (np.sqrt(discriminant) - b) / a)
    return np.where((discriminant < 0) | ~np.isfinite(root), np.inf, root)
