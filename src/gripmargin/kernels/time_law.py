"""The law of motion between two samples that give position, speed and acceleration, channel by channel.

Two defects say how an interval departs from a straight line of acceleration: by its mean, from the speeds, and by its
first moment, from the positions. Where both vanish the line is the law. Else the acceleration is a polynomial of degree
three that goes on in the next interval; or it changes once (kink or step) between the laws of its neighbours, which
mean and moment both have to confirm; or it has two kinks between straight neighbours (two equations for two places).
What is left is loose: nothing but a bound by the largest jerk of the channel. In an interval x goes from 0 to 1;
accelerations are polynomials of degree three in it, lowest power first.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.cubics import integrals, moved, value

MARKED: Final = 1e-6  # [s] samples closer than this mark a step: nothing is carried over it
ALIKE: Final = 0.25  # share by which the defects of neighbours differ at most where one smooth law goes through both
LONG: Final = 0.1  # share of an interval over which a slope is known well
SMALL: Final = 1e-4  # share of a channel's largest acceleration that is not looked into, but counted
NOTHING: Final = 1e-100  # [m/s^2] that even a channel of zeros may miss
EXACT: Final = (
    1e-9  # share of the largest acceleration that floating point may cost; of 4 times as much kinks are misplaced
)
STARTS: Final = np.linspace(0.0, 1.0, 9)  # shares at which a change is sought
STEPS: Final = 16  # of Gauss and Newton: 4 find all changes that tests have, 2 do not; what is not found is loose

Bools = NDArray[np.bool_]


class Samples(NamedTuple):
    """What is given: times, shape (n,), the rest with shape (n, channels), and half a digit of each column."""

    t: FloatArray
    q: FloatArray
    qd: FloatArray
    qdd: FloatArray
    digits: FloatArray  # of q, qd and qdd, shape (3, channels)
    late: float = 0.0  # [s] by which a stamp may be rounded


class Law(NamedTuple):
    """Acceleration in each of n - 1 intervals and each channel.

    Attributes:
        breaks: Shares at which the law changes, rising, 1 where it does not, shape (2, n - 1, channels).
        pieces: Before, between and after them, shape (3, 4, n - 1, channels).
        slack: By how much the acceleration may exceed the law on either side, shape (n - 1, channels).
        most: Its size at most where that is known better, else inf, its shape.
        loose: Where nothing but the largest jerk bounds it, its shape.
    """

    breaks: FloatArray
    pieces: FloatArray
    slack: FloatArray
    most: FloatArray
    loose: Bools

    def beyond(self, interval: NDArray[np.intp] | slice, values: FloatArray) -> FloatArray:
        """By how much the acceleration may exceed its values at some places of intervals, each of their shape."""
        return np.minimum(self.slack[interval], np.maximum(self.most[interval] - np.abs(values), 0.0))


def law_between(given: Samples, *, polynomial: bool = False) -> Law:
    """Find the law between samples.

    Args:
        given: The samples.
        polynomial: Whether it is known that a polynomial of degree five goes through each pair of them.
    """
    found = _Search(given)
    if polynomial:
        found.known[:] = True
        found.slack[:] = 0.0
    while not polynomial and found.improve():
        pass
    found.known |= found.likely
    slack, most = found.bounded()
    return Law(found.breaks, found.pieces, slack, most, ~found.known)


class _Search:
    """The law as far as it is known; arrays without a shape have shape (intervals, channels)."""

    def __init__(self, given: Samples) -> None:
        t, q, qd, qdd, digits, late = given
        self.h = h = np.diff(t)[:, None]
        self.a0, self.a1 = qdd[:-1], qdd[1:]
        self.mean = np.diff(qd, axis=0) / h
        self.moment = (np.diff(q, axis=0) - h * qd[:-1]) / h**2
        used = np.where(h < MARKED, 0.0, np.abs(self.mean))
        self.most = np.maximum(np.maximum(np.abs(qdd).max(axis=0), used.max(axis=0)), np.finfo(np.float64).tiny)
        place, speed, self.digit = digits
        # of floating point, over the square of the step
        double = 16.0 * np.finfo(np.float64).eps
        exact = double * (np.abs(q).max(axis=0) + h * np.abs(qd).max(axis=0) + h**2 * self.most)
        speed, place = speed + late * np.abs(qdd[:-1]), place + late * np.abs(qd[:-1])
        self.rounded = 2.0 * speed / h + self.digit
        self.rounded_moment = 2.0 * place / h**2 + speed / h + self.digit / 2.0
        even = self.mean - (self.a0 + self.a1) / 2.0
        odd = even / 2.0 - (self.moment - self.a0 / 3.0 - self.a1 / 6.0)
        self.rounded_odd = self.rounded / 2.0 + self.rounded_moment
        # values may lie on a grid by chance: then most defects are none
        moving = (self.a0 != 0.0) | (self.a1 != 0.0)
        shown = (np.maximum(np.abs(even), np.abs(odd)) > exact / h**2) & moving
        real = shown.sum(axis=0) > moving.sum(axis=0) / 4.0
        self.digit = np.where(real, self.digit, 0.0)
        self.rounded, self.rounded_odd = (
            np.where(real, x, 0.0) + exact / h**2 for x in (self.rounded, self.rounded_odd)
        )
        self.even, self.odd = _beyond(even, self.rounded), _beyond(odd, self.rounded_odd)
        chord, e, o = self.a1 - self.a0, self.even, self.odd
        cubic = np.stack([self.a0, chord + 6.0 * e - 60.0 * o, 180.0 * o - 6.0 * e, -120.0 * o])
        self.breaks, self.pieces = np.ones((2, *e.shape)), np.stack([cubic, cubic, cubic])
        self.marked = np.broadcast_to(h < MARKED, e.shape)
        self.slack = self._unlike()
        self.known = (e == 0.0) & (o == 0.0) | self.marked
        alike = SMALL * self.most + 2.0 * self.rounded
        smooth = self.slack <= alike
        self.likely = self.slack <= ALIKE * np.abs(e) + alike
        self.slack = np.where(self.known, self._hidden(), 2.0 * self.slack)
        self.known |= smooth
        self.confirmed = self.known.copy()
        self.stepped = bool((self.marked & (np.abs(chord) > ALIKE * self.most)).any())

    def _unlike(self) -> FloatArray:
        """By how much the polynomials of neighbours miss being the same one, as a mean acceleration.

        The second derivative of a cubic is straight: the even part of the next interval follows from both parts here.
        """
        ratio = self.h[1:] / self.h[:-1]
        (e, f), (o, p) = ((x[:-1], x[1:]) for x in (self.even, self.odd))
        ahead = np.maximum(np.abs(f / ratio**2 - e - 30.0 * o * (1 + ratio)), 30.0 * np.abs(p / ratio**3 - o))
        back = np.maximum(np.abs(e * ratio**2 - f + 30.0 * p * (1 + 1 / ratio)), 30.0 * np.abs(o * ratio**3 - p))
        cut = self.marked[1:] | self.marked[:-1]
        out = np.full(self.even.shape, np.inf)
        out[:-1] = np.where(cut, np.inf, ahead)
        out[1:] = np.minimum(out[1:], np.where(cut, np.inf, back))
        return out

    def _hidden(self) -> FloatArray:
        """What a kink between the slopes of the neighbours may exceed the chord by, and rounding hides."""
        change, out = np.diff(np.where(self.marked, 0.0, (self.a1 - self.a0) / self.h), axis=0), 0.0 * self.even
        turn = np.maximum(np.abs(change) * np.minimum(self.h[1:], self.h[:-1]) - 8.0 * self.digit, 0.0)
        before, after = turn[:-1], turn[1:]
        apex = before * after / np.where(before + after > 0.0, before + after, 1.0)
        out[1:-1] = np.minimum(4.0 * self.rounded[1:-1], apex)
        return np.where(self.marked, 0.0, out)

    def bounded(self) -> tuple[FloatArray, FloatArray]:
        """The slack, with what the largest jerk of a channel leaves open where the law is loose, and the largest size.

        An acceleration that keeps to a jerk J and has no excess in the mean rises above its chord by J h / 4 at most:
        a rise and two falls of one slope; a mean excess adds itself.
        """
        slope = (np.abs(self.pieces[:, 1:]) * np.array([1.0, 2.0, 3.0])[:, None, None]).sum(axis=1)
        long = np.diff(self.breaks, axis=0, prepend=0.0, append=1.0) > LONG
        steep = np.where(long & self.known & ~self.marked, slope / self.h, 0.0).max(axis=(0, 1))
        even, odd = np.abs(self.even), np.abs(self.odd)
        change = np.maximum(steep * self.h, np.maximum(4.0 * even, 32.0 * odd))  # at least that of a triangle or two
        most = np.minimum(change / 2.0, change / 4.0 + even)
        # a triangle of slope J whose mean is that by which the polynomial is unlike its neighbours, and two changes
        unlike = self.slack / 2.0
        most = np.minimum(most, np.sqrt(change * unlike) + 4.0 * unlike)
        size = np.full(even.shape, np.inf)
        if self.stepped:  # where accelerations jump none but the largest of the program is known to bound one
            low, high = np.sort(np.abs([self.a0, self.a1]), axis=0)
            triangle = np.minimum(2.0 * np.abs(self.mean), high + 2.0 * even)  # of that mean
            size = np.where(self.known, np.inf, np.maximum(np.maximum(self.most, triangle), self._continued()))
            most = size - low
            self.pieces = np.where(self.known, self.pieces, self._straight)
        return np.where(self.known, self.slack, most), size

    def _continued(self) -> FloatArray:
        """What known laws of the neighbours come to at the far end of an interval; at most twice the largest."""
        sure, ratio = self.known & ~self.marked, self.h[1:] / self.h[:-1]
        ahead = np.where(sure[:-1], np.abs(value(self.pieces[2][:, :-1], 1.0 + ratio)), 0.0)
        back = np.where(sure[1:], np.abs(value(self.pieces[0][:, 1:], -1.0 / ratio)), 0.0)
        sizes = np.maximum(np.pad(ahead, ((1, 0), (0, 0))), np.pad(back, ((0, 1), (0, 0))))
        return np.minimum(sizes, 2.0 * self.most)

    @property
    def _straight(self) -> FloatArray:
        """The straight line of acceleration, shape (4, intervals, channels)."""
        return np.stack([self.a0, self.a1 - self.a0, 0.0 * self.a0, 0.0 * self.a0])

    def improve(self) -> bool:
        """Find the law of intervals with a neighbour whose law is known; return whether any was found."""
        start = self.known.copy()
        for sought in (_kink, _step, _kink_before, _kink_after, _step_before, _step_after, _two_kinks):
            beside = np.pad(self.confirmed, ((1, 1), (0, 0)))
            at = np.nonzero(~self.known & (beside[:-2] | beside[2:]))
            if at[0].size and not (sought is _two_kinks and self.stepped):  # nothing confirms these
                found = sought(self._open(at))
                self.stepped |= bool(found.jumps(self.most[at[1]]).any())
                self._take(at, found, confirmed=sought is not _two_kinks)
        return bool((self.known & ~start).any() and not self.known.all())

    def _open(self, at: tuple[NDArray[np.intp], ...]) -> _Open:
        i, j = at
        last = len(self.h) - 1
        before, after = np.maximum(i - 1, 0), np.minimum(i + 1, last)
        ratios = self.h[i, 0] / self.h[before, 0], self.h[i, 0] / self.h[after, 0]
        unsure, sure = [], []
        for r, k in zip(ratios, (before, after), strict=True):
            curved = (self.pieces[:, 2:, k, j] != 0.0).any(axis=(0, 1))
            further = np.maximum(1.0, r) ** 3
            rounded = np.where(curved, 6.0 * self.rounded[k, j] + 60.0 * self.rounded_odd[k, j], 0.0)
            unsure.append(self.digit[j] * (1.0 + 2.0 * r) + 4.0 * further * (self.slack[k, j] + rounded))
            worth = np.maximum(np.abs(self.even[i, j]), np.abs(self.odd[i, j]))  # else they explain anything
            sure.append(self.confirmed[k, j] & ~self.marked[k, j] & (k != i) & (unsure[-1] <= worth))
        sides = np.where(sure[0], unsure[0], 0.0) + np.where(sure[1], unsure[1], 0.0) + EXACT * self.most[j]
        return _Open(
            left=moved(self.pieces[2][:, before, j], 1.0, ratios[0]),
            right=moved(self.pieces[0][:, after, j], -ratios[1], ratios[1]),
            sure=(sure[0], sure[1]),
            ends=(self.a0[i, j], self.a1[i, j]),
            mean=self.mean[i, j],
            moment=self.moment[i, j],
            within=np.stack([self.rounded[i, j] + sides, self.rounded_moment[i, j] + sides]) + NOTHING,
            sides=sides,
        )

    def _take(self, at: tuple[NDArray[np.intp], ...], found: _Found, *, confirmed: bool) -> None:
        ok = found.ok
        i, j = at[0][ok], at[1][ok]
        self.breaks[:, i, j] = found.breaks[:, ok]
        self.pieces[:, :, i, j] = found.pieces[:, :, ok]
        self.slack[i, j] = found.slack[ok]
        self.known[i, j], self.confirmed[i, j] = True, confirmed


@dataclass(frozen=True, eq=False)
class _Open:
    """Intervals whose law is sought, m of them.

    Attributes:
        left: The law of the interval before, carried on, shape (4, m).
        right: That of the interval after, carried back, shape (4, m).
        sure: Whether these are known.
        ends: Accelerations at both samples.
        mean: Mean acceleration.
        moment: Integral of (1 - x) times the acceleration.
        within: By how much a law may miss mean and moment, shape (2, m).
        sides: By how much the laws of the neighbours may be off.
    """

    left: FloatArray
    right: FloatArray
    sure: tuple[Bools, Bools]
    ends: tuple[FloatArray, FloatArray]
    mean: FloatArray
    moment: FloatArray
    within: FloatArray
    sides: FloatArray

    @property
    def reversed(self) -> _Open:
        """The same with time running backwards."""
        tail = self.mean - self.moment
        return _Open(
            left=moved(self.right, 1.0, -1.0),
            right=moved(self.left, 1.0, -1.0),
            sure=self.sure[::-1],
            ends=self.ends[::-1],
            mean=self.mean,
            moment=tail,
            within=np.stack([self.within[0], self.within.sum(axis=0)]),
            sides=self.sides,
        )

    def missed(self, left: FloatArray, right: FloatArray, s: FloatArray) -> FloatArray:
        """By how much the left law until s and the right one after it miss mean and moment, over what they may."""
        one = np.ones_like(s)
        (l0, l1), (r0, r1), (w0, w1) = integrals(left, s), integrals(right, s), integrals(right, one)
        return np.stack([l0 + w0 - r0 - self.mean, l1 + w1 - r1 - self.moment]) / self.within[:, None]


class _Found(NamedTuple):
    ok: Bools
    breaks: FloatArray
    pieces: FloatArray
    slack: FloatArray

    def jumps(self, most: FloatArray) -> Bools:
        """Where the acceleration jumps by a good part of a given one."""
        first, second = (value(piece, self.breaks[0]) for piece in self.pieces[:2])
        return np.asarray(self.ok & (np.abs(first - second) > ALIKE * most))

    @property
    def reversed(self) -> _Found:
        """The same with time running backwards."""
        pieces = np.stack([moved(piece, 1.0, -1.0) for piece in self.pieces[::-1]])
        pieces = np.where(self.breaks[1] >= 1.0, np.stack([pieces[1], pieces[2], pieces[2]]), pieces)
        (first, second), one = self.breaks, self.breaks[1] >= 1.0
        breaks = np.stack([np.where(one, 1.0 - first, 1.0 - second), np.where(one, 1.0, 1.0 - first)])
        return self._replace(breaks=breaks, pieces=pieces)


Sought = Callable[[FloatArray], FloatArray]  # the share of a change, shape (k, m), to the law after it


def _one(open_: _Open, after: Sought, allowed: Bools, slack: FloatArray, root: Sought | None = None) -> _Found:
    """Find the change that fits mean and moment best, among several starts.

    Args:
        open_: The intervals.
        after: The law after a change, shape (4, k, m).
        allowed: Where it may be sought.
        slack: What the acceleration may be off by then.
        root: What vanishes at the change; None: what mean and moment miss.
    """
    left = open_.left[:, None]

    def missed(s: FloatArray) -> FloatArray:
        return open_.missed(left, after(s), s)

    s = np.broadcast_to(STARTS[:, None], (STARTS.size, open_.mean.size)).copy()
    s[:, ~allowed] = 0.0
    for _ in range(STEPS):
        gap = missed(s) if root is None else root(s)
        ahead = np.where(s < 0.5, 1e-6, -1e-6)
        slope = ((missed(s + ahead) if root is None else root(s + ahead)) - gap) / ahead
        down = (slope**2).sum(axis=0)
        s = np.clip(s - (slope * gap).sum(axis=0) / np.where(down > 0.0, down, np.inf), 0.0, 1.0)
    off = np.abs(missed(s)).max(axis=0)
    best, every = np.argmin(off, axis=0), np.arange(open_.mean.size)
    share = s[best, every]
    then = after(share[None])[:, 0]
    return _Found(
        ok=allowed & (off[best, every] <= 1.0),
        breaks=np.stack([share, np.ones_like(share)]),
        pieces=np.stack([open_.left, then, then]),
        slack=slack,
    )


def _kink(open_: _Open) -> _Found:
    """The law of the left until it meets that of the right."""
    apart = (open_.left - open_.right)[:, None]
    both = open_.sure[0] & open_.sure[1]
    return _one(open_, lambda _: open_.right[:, None], both, open_.sides, lambda s: value(apart, s)[None])


def _step(open_: _Open) -> _Found:
    """The law of the left, and from somewhere on that of the right."""
    both = open_.sure[0] & open_.sure[1]
    return _one(open_, lambda _: open_.right[:, None], both, open_.sides)


def _kink_before(open_: _Open) -> _Found:
    """The law of the left, and from somewhere on a straight line to the sample."""

    def after(s: FloatArray) -> FloatArray:
        end, from_ = open_.ends[1], value(open_.left[:, None], s)
        rest = np.maximum(1.0 - s, 1e-9)
        slope = (end - from_) / rest
        return np.stack([end - slope, slope, 0.0 * s, 0.0 * s])

    found = _one(open_, after, open_.sure[0], open_.sides)
    # a kink is twice its mean high, over the rest; rounding may put the mean off, and once more what is found to fit it
    s = found.breaks[0]
    further = np.abs(value(open_.left, np.ones_like(s)) - value(open_.left, s))
    return found._replace(slack=open_.sides + np.minimum(4.0 * open_.within[0] / np.maximum(1.0 - s, 1e-9), further))


def _step_before(open_: _Open) -> _Found:
    """The law of the left, and from somewhere on the acceleration of the sample."""

    def after(s: FloatArray) -> FloatArray:
        return np.stack([open_.ends[1] + 0.0 * s, 0.0 * s, 0.0 * s, 0.0 * s])

    return _one(open_, after, open_.sure[0], open_.sides)


def _kink_after(open_: _Open) -> _Found:
    """As `_kink_before`, from the right."""
    return _kink_before(open_.reversed).reversed


def _step_after(open_: _Open) -> _Found:
    """As `_step_before`, from the right."""
    return _step_before(open_.reversed).reversed


def _two_kinks(open_: _Open) -> _Found:
    """A straight line from the law of the left to that of the right, both straight.

    Four moments of two changes of slope about the end of the interval give their places (de Prony, J. Ecole
    Polytechnique 1(22), 1795).
    """
    a0, a1 = open_.ends
    before, after = open_.left[1], open_.right[1]
    straight = (open_.left[2:] == 0.0).all(axis=0) & (open_.right[2:] == 0.0).all(axis=0)
    m0, m1, m2, m3 = (
        after - before,
        a1 - a0 - before,
        2.0 * (open_.mean - a0) - before,
        6.0 * (open_.moment - a0 / 2.0) - before,
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        det = m1 * m1 - m0 * m2
        total, product = (m1 * m2 - m0 * m3) / det, (m2 * m2 - m1 * m3) / det
        spread = np.sqrt(total * total / 4.0 - product)
        first, second = 1.0 - (total / 2.0 + spread), 1.0 - (total / 2.0 - spread)
        ok = straight & open_.sure[0] & open_.sure[1] & (first >= -1e-6) & (second <= 1.0 + 1e-6) & (second > first)
        first, second = np.clip(np.where(ok, first, 0.0), 0.0, 1.0), np.clip(np.where(ok, second, 1.0), 0.0, 1.0)
        low, high = value(open_.left, first), value(open_.right, second)
        slope = (high - low) / np.maximum(second - first, 1e-12)
    middle = np.stack([low - slope * first, slope, 0.0 * slope, 0.0 * slope])
    slack = open_.sides + 2.0 * open_.within.sum(axis=0)
    return _Found(ok, np.stack([first, second]), np.stack([open_.left, middle, open_.right]), slack)


def _beyond(values: FloatArray, known: FloatArray) -> FloatArray:
    """The values that are beyond a size that is explained, else 0."""
    return np.where(np.abs(values) > known, values, 0.0)


def evaluated(
    given: Samples, law: Law, interval: NDArray[np.intp], share: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return positions, speeds and accelerations at shares of intervals, each of shape (m, channels).

    Args:
        given: The samples.
        law: Between them.
        interval: Which, shape (m,).
        share: Of it, shape (m,).
    """
    h, x = np.diff(given.t)[interval][:, None], share[:, None]
    first, second = law.breaks[:, interval]
    speed, travel, acceleration = 0.0 * first, 0.0 * first, 0.0 * first
    edges = (0.0 * first, np.minimum(first, x), np.minimum(second, x), x)
    for k in range(3):
        c, low, high = law.pieces[k][:, interval], edges[k], edges[k + 1]
        (p0, p1), (m0, m1) = integrals(c, high), integrals(c, low)
        area = p0 - m0
        speed += area
        travel += (x - 1.0) * area + (p1 - m1)  # integral of (x - y) a(y)
        inside = (low < x) | (k == 0)
        acceleration = np.where(inside, value(c, x), acceleration)
    q, qd = given.q[interval], given.qd[interval]
    return q + h * qd * x + h**2 * travel, qd + h * speed, acceleration
