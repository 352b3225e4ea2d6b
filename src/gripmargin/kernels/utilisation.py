"""The largest utilisation of the pads by loads, its error, and the largest load: see `gripmargin.kernels.face`."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import PART, leave, stored
from gripmargin.kernels.face import Face, squared, utilisation

IntArray = NDArray[np.intp]
DIRECTIONS, ROUNDS = 1000, 8  # in which loads look for the points that are used most
ALL = 250  # points up to which none are left out
# sets at most, of so many loads and as many at each step back from where they pull; what others may be used more
MORE, FEWER, ENOUGH = 20, 200, 5e-3
RELIEVED = 12  # steps in which loads are drawn back from where they pull
FAR = 0.8  # share of the most used point's use that a point has to reach under some of them to be looked at further
DOUBLINGS, HALVINGS = 20, 34  # of the search for a factor: up to 1e12, and to 1e-9 of what is found


def peak_utilisation(face: Face, wrench: FloatArray) -> tuple[FloatArray, IntArray, FloatArray, IntArray]:
    """Return the largest utilisation and the largest tension ratio of every sample, and at which points.

    Args:
        face: The judged points.
        wrench: Load, forces [N] then moments [N m], shape (6, samples).

    Returns:
        Largest utilisation [-], its point, largest ``max(sigma, 0) / S`` (peel index) [-], its point; each
        of shape (samples,).
    """
    samples = wrench.shape[1]
    u, peel = stored((samples,)), stored((samples,))
    at_u, at_peel = stored((samples,), np.intp), stored((samples,), np.intp)
    for part in _blocks(samples, face.points):
        if not face.plain:
            used, tension = utilisation(face, wrench[:, part])
            for values, where, most in ((used, at_u, u), (tension, at_peel, peel)):
                where[part] = values.argmax(axis=0)
                most[part] = np.take_along_axis(values, where[None, part], axis=0)[0]
            continue
        t1, t2, s = wrench[:, part].T @ face.maps.transpose(0, 2, 1)  # points last: the search is far faster
        np.maximum(s, 0.0, out=s)
        at_peel[part] = s.argmax(axis=1)
        peel[part] = np.take_along_axis(s, at_peel[part, None], axis=1)[:, 0]
        square = _square_length(t1, t2, s)
        at_u[part] = square.argmax(axis=1)
        u[part] = np.sqrt(np.take_along_axis(square, at_u[part, None], axis=1)[:, 0])
    return u, at_u, peel, at_peel


def largest_utilisation(face: Face, wrench: FloatArray) -> FloatArray:
    """Return the largest utilisation of every sample, shape (samples,); NaN where a load is no number.

    Args:
        face: The judged points.
        wrench: Load, shape (6, samples).
    """
    out = stored((wrench.shape[1],))
    for part in _blocks(out.size, face.points):
        if not face.plain:
            out[part] = utilisation(face, wrench[:, part])[0].max(axis=0)
            continue
        t1, t2, s = face.maps @ wrench[:, part]
        np.maximum(s, 0.0, out=s)
        np.sqrt(_square_length(t1, t2, s).max(axis=0), out=out[part])
    return out


def points_needed(face: Face, missed: float) -> tuple[IntArray, float]:
    """Return points of a face that stand for all, and the share by which others may be used more.

    Up to some hundred all are kept. Of more they are those that loads in many directions use most, along the axes of
    the load and between them; more are tried until none of a set finds another one. What others may be used more is
    twice what sets of their own find, most of which press where they would pull most.

    Args:
        face: A plain one.
        missed: Share up to which a load that finds another point need not have it [-].
    """
    if face.points <= ALL:
        return np.arange(face.points), 0.0
    size = np.sqrt(np.square(face.maps).sum(axis=(0, 1)))[:, None]
    directions, chosen = np.random.default_rng(0), np.zeros(0, dtype=np.intp)
    near, most = np.arange(face.points), np.zeros(face.points)
    for power in np.tile([1, 3], ROUNDS):
        loads = directions.normal(size=(size.size, DIRECTIONS)) ** power / size
        used = _used(face.maps[:, near], loads)
        largest = used.max(axis=0)
        most[near] = np.maximum(most[near], (used / largest).max(axis=1))
        more = largest > used[np.isin(near, chosen)].max(axis=0, initial=0.0) * (1.0 + missed)
        if not more.any() and power > 1:
            break
        chosen = np.union1d(chosen, near[used[:, more].argmax(axis=0)])
        near = near[most[near] > FAR] if power > 1 else near
    for _ in range(MORE):
        loads = directions.normal(size=(size.size, FEWER)) / size
        loads = np.concatenate([loads, *_less_pulling(face.only(chosen), loads, size)], axis=1)
        used = _used(face.maps, loads)
        more = used.max(axis=0) / used[chosen].max(axis=0) - 1.0
        if more.max() <= ENOUGH:
            break
        chosen = np.union1d(chosen, used[:, more > missed].argmax(axis=0))
    return chosen, 2.0 * max(float(more.max()), ENOUGH)


def _used(maps: FloatArray, loads: FloatArray) -> FloatArray:
    """Utilisation of every point of a plain face by every load, shape (points, loads)."""
    t1, t2, s = maps @ loads
    np.maximum(s, 0.0, out=s)
    return np.asarray(np.sqrt(_square_length(t1, t2, s), out=s))


def _less_pulling(face: Face, loads: FloatArray, size: FloatArray) -> Iterator[FloatArray]:
    """Loads drawn back step by step from what uses the most used point: they press, and others are used as much."""
    for _ in range(RELIEVED):
        traction = face.maps @ loads
        traction[2] = np.maximum(traction[2], 0.0)
        square = (traction**2).sum(axis=0)
        worst = square.argmax(axis=0), np.arange(loads.shape[1])
        slope = np.einsum("cni,cn->in", face.maps[:, worst[0]], traction[:, worst[0], worst[1]]) / size
        loads = loads - 0.5 * square[worst] / np.square(slope).sum(axis=0) * slope / size
        yield loads


def traction_size(face: Face, loads: FloatArray) -> FloatArray:
    """Return the most that loads use the points, whatever their sign, shape (points, k).

    Utilisation is a seminorm of the load's positive part, so ``|u(w + d) - u(w)|`` is at most that of d.

    Args:
        face: The judged points.
        loads: Shape (6, k).
    """
    size = np.linalg.norm(face.maps @ loads, axis=0)
    if face.plain:
        return np.asarray(size)
    return np.asarray((size + face.allowed_for(loads)) / face.free[:, None])


def utilisation_error(
    face: Face, columns: FloatArray, sigma: FloatArray, bias: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return by how much errors of the load can move the largest utilisation of every sample; see `traction_size`.

    Args:
        face: The judged points.
        columns: What one unit of each cause adds to the load, shape (causes, 6, samples).
        sigma: One standard deviation of each cause, shape (samples, causes).
        bias: Bound of its systematic error, shape (samples, causes).

    Returns:
        Root of the sum of squares of the noise over the causes, and sum of the bounds over the causes, each at the
        point where it is largest; each of shape (samples,).
    """
    samples, points = columns.shape[2], face.points
    rss, total = np.empty(samples), np.empty(samples)
    for part in _blocks(samples, points):
        square = np.zeros((sigma[part].shape[0], points))
        sum_ = np.zeros_like(square)
        for k, column in enumerate(columns[:, :, part]):
            if face.plain:
                t1, t2, s = column.T @ face.maps.transpose(0, 2, 1)
                size = _square_length(t1, t2, s)
            else:
                size = traction_size(face, column).T ** 2
                t1 = np.empty_like(size)
            np.multiply(size, sigma[part, k, None] ** 2, out=t1)
            square += t1
            np.sqrt(size, out=size)
            size *= np.abs(bias[part, k, None])
            sum_ += size
        rss[part] = np.sqrt(square.max(axis=1))
        total[part] = sum_.max(axis=1)
    return rss, total


def shares(maps: FloatArray, total: FloatArray, parts: FloatArray) -> FloatArray:
    """Return what the utilisation of a point is made of: shares that add up to 1, negative where a part relieves.

    Each part counts with the projection of its normalised traction on that of the whole load.

    Args:
        maps: Of the point in question for each sample, shape (3, samples, 6).
        total: Load, shape (6, samples).
        parts: Loads that add up to it, shape (parts, 6, samples).

    Returns:
        Shape (parts, samples); 0 where the point is not used.
    """
    traction = np.einsum("cni,in->cn", maps, total)
    traction[2] = np.maximum(traction[2], 0.0)
    square = (traction**2).sum(axis=0)
    along = np.einsum("cni,pin,cn->pn", maps, parts, traction, optimize=True)
    return np.divide(along, square, out=np.zeros_like(along), where=square > 0)


def largest_scale(
    face: Face, still: FloatArray, moving: FloatArray, limit: float, error: FloatArray | None = None
) -> FloatArray:
    """Return the largest factor on the moving part of the load that keeps every point within a limit.

    With all rates scaled by k the load is ``still + k^2 moving``. Utilisation is convex in k^2, so where the
    still part alone is within the limit the factors that are form an interval from 0; its upper end is the
    least `first_crossing` over the points. An error of the utilisation that grows with k^2 leaves the least root of
    ``|still + x moving| = limit - x error``: a quadratic as well. A face that is not plain is searched by halving.

    Args:
        face: The judged points.
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
    if not face.plain:
        return _halved(face, still, moving, limit, added)
    for part in _blocks(samples, 3 * face.points):
        a1, a2, a3 = face.maps @ still[:, part]
        b1, b2, b3 = face.maps @ moving[:, part]
        shear = b1**2 + b2**2 - added[part] ** 2, a1 * b1 + a2 * b2 + limit * added[part], a1**2 + a2**2 - limit**2
        worst = first_crossing(*shear, a3, b3).min(axis=0)
        alone = squared(a1**2 + a2**2, a3).max(axis=0)
        number = np.isfinite(still[:, part]).all(axis=0) & np.isfinite(moving[:, part]).all(axis=0)
        number &= np.isfinite(added[part])
        out[part] = np.where((alone <= limit**2) & number, worst, np.nan)
    return out


def _halved(face: Face, still: FloatArray, moving: FloatArray, limit: float, added: FloatArray) -> FloatArray:
    """The largest factor of `largest_scale`, from below, within 1e-9 of it."""

    def within(x: FloatArray) -> NDArray[np.bool_]:
        with np.errstate(invalid="ignore"):
            return np.asarray(peak_utilisation(face, still + x * moving)[0] + x * added <= limit)

    low, high = np.zeros(still.shape[1]), np.ones(still.shape[1])
    held = within(low)
    for _ in range(DOUBLINGS):
        far = within(high) & held
        if not far.any():
            break
        low, high = np.where(far, high, low), np.where(far, 4.0 * high, high)
    else:
        low = np.where(far, np.inf, low)
    for _ in range(HALVINGS):
        middle = np.where(np.isfinite(low), 0.5 * (low + high), high)
        inside = within(middle)
        low, high = np.where(inside & np.isfinite(low), middle, low), np.where(inside, high, middle)
    return np.where(held, low, np.nan)


def first_crossing(
    square: FloatArray, half: FloatArray, rest: FloatArray, still: FloatArray, slope: FloatArray
) -> FloatArray:
    """Return where on a straight path of loads the utilisation first exceeds a limit, inf where it does nowhere.

    At a place x of the path the squared shear less the squared limit is ``square x^2 + 2 half x + rest``, the normal
    traction ``still + slope x``. The tension counts at a root only where it is positive there; of the roots with and
    without it the smaller one is the first crossing.
    """
    sheared = _upper_root(square, half, rest)
    both = _upper_root(square + slope**2, half + still * slope, rest + still**2)
    some = np.isfinite(both)
    with np.errstate(invalid="ignore"):
        pulled = some & (still + np.where(some, both, 0.0) * slope > 0)
    return np.where(pulled, np.fmin(sheared, both), sheared)


def _upper_root(a: FloatArray, b: FloatArray, c: FloatArray) -> FloatArray:
    """Larger root of a x^2 + 2 b x + c, inf where there is none or a vanishes."""
    with np.errstate(divide="ignore", invalid="ignore"):
        root = np.sqrt(b * b - a * c)
        out = np.where(b > 0, -c / (b + root), (root - b) / a)
    return np.where(np.isfinite(out), out, np.inf)


def _square_length(t1: FloatArray, t2: FloatArray, s: FloatArray) -> FloatArray:
    """Squared length of vectors by components, in place of the last one."""
    s *= s
    t1 *= t1
    t2 *= t2
    s += t1
    s += t2
    return s


def _blocks(samples: int, points: int) -> Iterator[slice]:
    """Samples so many at a time that three components of all points stay in the cache."""
    step = max(1, 32_768 // points)  # 256 kB a component
    for first in range(0, samples, step):
        yield slice(first, first + step)
        if first // PART < (first + step) // PART:
            leave()
