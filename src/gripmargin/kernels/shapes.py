"""The law of a move from rest to rest whose positions alone are known: one of a few shapes, or none.

Shapes are those of Biagiotti & Melchiorri, Trajectory Planning for Automatic Machines and Robots, Springer 2008, ch. 2
and 3 (from memory): constant acceleration, speed and deceleration; the same with ramps of acceleration; polynomials of
degree 3, 5 and 7. Times are found by least squares of the channel that moves by most digits (Golub & Pereyra, SIAM J.
Numer. Anal. 10, 1973: place and way are linear); a shape counts if no sample is farther from it than one digit.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, NamedTuple

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.profiles import Profile, of_jerks

DIGIT: Final = 2.0  # bounds of the error of a value: two values rounded to the same digits differ by so much at most
FEWEST: Final = 16  # samples in which a move shows its shape
ALIKE: Final = 0.01  # share by which the largest accelerations of shapes that all fit may differ
MOST: Final = 128  # samples by which it is looked for: time alone
LEAST: Final = 1e-9  # share of the time that a part takes at least: none is left out
TOUCH: Final = 1e-7  # share of the time by which slopes are found
CLOSE: Final = 1e-8  # share by which times still change when the search ends
GIVEN_UP: Final = 1e9  # damping with which a step is none
EVEN: Final = 0.3, 0.4, 0.3  # shares of a trapezoid's parts with which its search begins
RAMPS: Final = 0.2, 0.5, 0.9  # shares of its rise in which a jerk-limited law's ramps begin
STEPS: Final = 30  # of the search at most: time alone
TINY: Final = 1e-300


_Law = Callable[[FloatArray], Profile]


class _Shape(NamedTuple):
    name: str
    profile: _Law  # from the times of its parts
    begun: Callable[[FloatArray], FloatArray]  # times to begin with, by those of the closest trapezoid


def _trapezoid(times: FloatArray) -> Profile:
    rise, cruise, fall = times
    v = 1.0 / (rise / 2.0 + cruise + fall / 2.0)
    return of_jerks([(rise, v / rise, 0.0), (cruise, 0.0, 0.0), (fall, -v / fall, 0.0)], True)


def _ramped(times: FloatArray) -> Profile:
    up, level, cruise, even, down = times
    rise, fall = 2.0 * up + level, 2.0 * down + even
    v = 1.0 / (rise / 2.0 + cruise + fall / 2.0)
    a, d = v / (up + level), v / (down + even)
    first = [(up, 0.0, a / up), (level, a, 0.0), (up, a, -a / up), (cruise, 0.0, 0.0)]
    return of_jerks([*first, (down, 0.0, -d / down), (even, -d, 0.0), (down, -d, d / down)], False)


def _polynomial(*coefficients: float) -> _Law:
    def profile(times: FloatArray) -> Profile:
        powers = np.arange(len(coefficients))
        pieces = np.array(coefficients) / times[0] ** powers
        return Profile(np.array([0.0, times[0]]), pieces[:, None], len(coefficients) == 4)

    return profile


def _whole(trapezoid: FloatArray) -> FloatArray:
    return trapezoid.sum(keepdims=True)


def _with_ramps(share: float) -> Callable[[FloatArray], FloatArray]:
    def begun(trapezoid: FloatArray) -> FloatArray:
        rise, cruise, fall = trapezoid
        up, down = share * rise, share * fall
        return np.array([up, rise - up, max(cruise - (up + down) / 2.0, up), fall - down, down])

    return begun


SHAPES: Final = (
    _Shape("trapezoid", _trapezoid, lambda trapezoid: trapezoid),
    _Shape("polynomial of degree 3", _polynomial(0.0, 0.0, 3.0, -2.0), _whole),
    _Shape("polynomial of degree 5", _polynomial(0.0, 0.0, 0.0, 10.0, -15.0, 6.0), _whole),
    _Shape("polynomial of degree 7", _polynomial(0.0, 0.0, 0.0, 0.0, 35.0, -84.0, 70.0, -20.0), _whole),
    *(_Shape("jerk-limited", _ramped, _with_ramps(share)) for share in RAMPS),
)


class Found(NamedTuple):
    """The law of a move.

    Attributes:
        names: Of the shapes of the channels that move.
        start: Place at rest before it, shape (channels,).
        way: From there to the rest after it, shape (channels,).
        shares: Of the way at the samples, with the two rates, shape (3, channels, n).
    """

    names: tuple[str, ...]
    start: FloatArray
    way: FloatArray
    shares: FloatArray


def shape_of(t: FloatArray, y: FloatArray, error: FloatArray) -> Found | None:
    """Return the law that a move has in all channels; None: it is none of these shapes, or not from rest to rest.

    Channels that start and stop together share their times; each may have its own.

    Args:
        t: Times, from rest to rest [s], shape (n,).
        y: Positions, shape (channels, n).
        error: Bound of the error of each value, shape (channels,), above 0.
    """
    counts = np.ptp(y, axis=1) / error
    start, way, shares = (y.max(axis=1) + y.min(axis=1)) / 2.0, np.zeros(len(y)), np.zeros((3, *y.shape))
    left = counts > DIGIT
    names: list[str] = []
    while left.any():
        lead = int(np.argmax(np.where(left, counts, 0.0)))
        law = _law(t, y[lead] / error[lead]) if t.size >= FEWEST else None
        if law is None:
            return None
        name, share = law
        first, whole = _through(share[0], y)
        near = left & (np.abs(first[:, None] + whole[:, None] * share[0] - y).max(axis=1) <= DIGIT * error)
        at_rest = abs(whole[lead]) * max(share[0, 0], 1.0 - share[0, -1]) <= error[lead]
        if not (near[lead] and at_rest):
            return None
        start[near], way[near], shares[:, near] = first[near], whole[near], share[:, None]
        left &= ~near
        names.append(name)
    return Found(tuple(dict.fromkeys(names)), start, way, shares)


def _law(t: FloatArray, counts: FloatArray) -> tuple[str, FloatArray] | None:
    """The name of a channel's shape, and share of the way with its rates, shape (3, n).

    None where no shape is close enough, or several whose largest accelerations are not alike: few digits have room for
    many.
    """
    moving = np.flatnonzero(np.abs(np.diff(counts)) > DIGIT)
    if moving.size == 0:
        return None
    begin, lasts = t[moving[0]], t[moving[-1] + 1] - t[moving[0]]
    some = np.unique(np.linspace(0, t.size - 1, MOST).astype(np.intp))
    seen, at = counts[some], (t[some] - begin) / lasts

    def off(times: FloatArray, profile: _Law) -> FloatArray:
        share = profile(times[1:]).at(at - times[0])[0]
        start, way = _through(share, seen[None])
        return start + way * share - seen

    about = _closest(off, np.array([0.0, *EVEN]), _trapezoid)
    fits: list[tuple[str, FloatArray]] = []
    for shape in SHAPES:
        if any(name == shape.name for name, _ in fits):
            continue
        times = _closest(off, np.append(about[0], shape.begun(about[1:])), shape.profile)
        if np.abs(off(times, shape.profile)).max() <= DIGIT:
            rates = shape.profile(times[1:]).at((t - begin) / lasts - times[0])
            fits.append((shape.name, rates / lasts ** np.arange(3)[:, None]))
    peaks = [np.abs(rates[2]).max() for _, rates in fits]
    return fits[0] if fits and max(peaks) <= (1.0 + ALIKE) * min(peaks) else None


def _closest(off: Callable[[FloatArray, _Law], FloatArray], times: FloatArray, law: _Law) -> FloatArray:
    """Times with which least is off, by steps of Levenberg and Marquardt; all but the first stay above 0.

    Marquardt, J. Soc. Ind. Appl. Math. 11(2), 1963 (from memory).
    """
    damped, now = 1e-3, off(times, law)
    least = np.array([-np.inf, *np.full(times.size - 1, LEAST)])
    for _ in range(STEPS):
        slopes = np.stack([(off(times + step, law) - now) / TOUCH for step in TOUCH * np.eye(times.size)], axis=1)
        normal, fall = slopes.T @ slopes, slopes.T @ now
        while damped < GIVEN_UP:
            tried = np.maximum(times - np.linalg.solve(normal + damped * np.diag(np.diag(normal) + TINY), fall), least)
            then = off(tried, law)
            if then @ then < now @ now:
                break
            damped *= 10.0
        else:
            break
        moved, times, now, damped = np.abs(tried - times).max(), tried, then, damped / 10.0
        if moved < CLOSE:
            break
    return times


def _through(share: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Place before and way of channels along a share of the way, by least squares."""
    even = share - share.mean()
    way = y @ even / max(float(even @ even), TINY)
    return y.mean(axis=1) - way * share.mean(), way
