"""Where within an interval a law of motion changes, so that mean and first moment of the acceleration are met.

What is sought stands in `gripmargin.kernels.time_law`: one change between the laws of the neighbours, or two kinks.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import product
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.cubics import integrals, moved, value

ALIKE: Final = 0.25  # share by which the defects of neighbours differ at most where one smooth law goes through both
STARTS: Final = np.linspace(0.0, 1.0, 9)  # shares at which a change is sought
STEPS: Final = 16  # of Gauss and Newton: 4 find all changes that tests have, 2 do not; what is not found is loose

Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Open:
    """Intervals whose law is sought, m of them.

    Attributes:
        left: The law of the interval before, carried on, shape (4, m).
        right: That of the interval after, carried back, shape (4, m).
        sure: Whether these are known.
        ends: Accelerations at both samples.
        mean: Mean acceleration.
        moment: Integral of (1 - x) times the acceleration.
        within: By how much a law may miss mean and moment, shape (2, m).
        speed: What of it half a digit of either speed makes of the mean.
        sides: By how much the laws of the neighbours may be off.
    """

    left: FloatArray
    right: FloatArray
    sure: tuple[Bools, Bools]
    ends: tuple[FloatArray, FloatArray]
    mean: FloatArray
    moment: FloatArray
    within: FloatArray
    speed: FloatArray
    sides: FloatArray

    @property
    def reversed(self) -> Open:
        """The same with time running backwards."""
        tail = self.mean - self.moment
        return Open(
            left=moved(self.right, 1.0, -1.0),
            right=moved(self.left, 1.0, -1.0),
            sure=self.sure[::-1],
            ends=self.ends[::-1],
            mean=self.mean,
            moment=tail,
            within=np.stack([self.within[0], self.within.sum(axis=0)]),
            speed=self.speed,
            sides=self.sides,
        )

    def missed(self, left: FloatArray, right: FloatArray, s: FloatArray) -> FloatArray:
        """By how much the left law until s and the right one after it miss mean and moment, over what they may."""
        one = np.ones_like(s)
        (l0, l1), (r0, r1), (w0, w1) = integrals(left, s), integrals(right, s), integrals(right, one)
        return np.stack([l0 + w0 - r0 - self.mean, l1 + w1 - r1 - self.moment]) / self.within[:, None]


class Found(NamedTuple):
    """Changes found, of m intervals.

    Attributes:
        ok: Where one was found.
        breaks: Shares at which the law changes, shape (2, m).
        pieces: Laws before, between and after, shape (3, 4, m).
        slack: What the acceleration may be off by.
    """

    ok: Bools
    breaks: FloatArray
    pieces: FloatArray
    slack: FloatArray

    def jumps(self, most: FloatArray) -> Bools:
        """Where the acceleration jumps by a good part of a given one."""
        first, second = (value(piece, self.breaks[0]) for piece in self.pieces[:2])
        return np.asarray(self.ok & (np.abs(first - second) > ALIKE * most))

    @property
    def reversed(self) -> Found:
        """The same with time running backwards, of laws that change once."""
        after, before = (moved(self.pieces[k], 1.0, -1.0) for k in (1, 0))
        breaks = np.stack([1.0 - self.breaks[0], self.breaks[1]])
        return self._replace(breaks=breaks, pieces=np.stack([after, before, before]))


Sought = Callable[[FloatArray], FloatArray]  # the share of a change, shape (k, m), to the law after it


def _one(open_: Open, after: Sought, allowed: Bools, slack: FloatArray, root: Sought | None = None) -> Found:
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
    return Found(
        ok=allowed & (off[best, every] <= 1.0),
        breaks=np.stack([share, np.ones_like(share)]),
        pieces=np.stack([open_.left, then, then]),
        slack=slack,
    )


def kink(open_: Open) -> Found:
    """The law of the left until it meets that of the right."""
    apart = (open_.left - open_.right)[:, None]
    both = open_.sure[0] & open_.sure[1]
    return _one(open_, lambda _: open_.right[:, None], both, open_.sides, lambda s: value(apart, s)[None])


def step(open_: Open) -> Found:
    """The law of the left, and from somewhere on that of the right."""
    both = open_.sure[0] & open_.sure[1]
    return _one(open_, lambda _: open_.right[:, None], both, open_.sides)


def kink_before(open_: Open) -> Found:
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


def step_before(open_: Open) -> Found:
    """The law of the left, and from somewhere on the acceleration of the sample."""

    def after(s: FloatArray) -> FloatArray:
        return np.stack([open_.ends[1] + 0.0 * s, 0.0 * s, 0.0 * s, 0.0 * s])

    return _one(open_, after, open_.sure[0], open_.sides)


def kink_after(open_: Open) -> Found:
    """As `kink_before`, from the right."""
    return kink_before(open_.reversed).reversed


def step_after(open_: Open) -> Found:
    """As `step_before`, from the right."""
    return step_before(open_.reversed).reversed


def two_kinks(open_: Open) -> Found:
    """A straight line from the law of the left to that of the right, both straight.

    How far it may be off is what the same equations give at the ends of what mean and moment may miss: the closer the
    kinks, the more. A speed that is off at the first sample moves both, one at the last the mean alone.
    """
    ok, breaks, pieces = _two_kinks(open_, open_.mean, open_.moment)
    off = np.zeros_like(open_.mean)
    rest = open_.within - np.stack([2.0 * open_.speed, open_.speed])
    for first, last, *signs in product((-1.0, 1.0), repeat=4):
        missed = rest * np.array(signs)[:, None] + np.array([[last - first], [-first]]) * open_.speed
        known, at, other = _two_kinks(open_, open_.mean + missed[0], open_.moment + missed[1])
        ok &= known
        for x in (*breaks, *at):
            off = np.maximum(off, np.abs(_value(breaks, pieces, x) - _value(at, other, x)))
    return Found(ok, breaks, pieces, open_.sides + off)


def _two_kinks(open_: Open, mean: FloatArray, moment: FloatArray) -> tuple[Bools, FloatArray, FloatArray]:
    """Where there are two kinks of a mean and a moment, their places, and the laws about them, as in `Found`.

    Four moments of two changes of slope about the end of the interval give their places (de Prony, J. Ecole
    Polytechnique 1(22), 1795).
    """
    a0, a1 = open_.ends
    before, after = open_.left[1], open_.right[1]
    straight = (open_.left[2:] == 0.0).all(axis=0) & (open_.right[2:] == 0.0).all(axis=0)
    m0, m1, m2, m3 = (
        after - before,
        a1 - a0 - before,
        2.0 * (mean - a0) - before,
        6.0 * (moment - a0 / 2.0) - before,
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        det = m1 * m1 - m0 * m2
        total, product_ = (m1 * m2 - m0 * m3) / det, (m2 * m2 - m1 * m3) / det
        spread = np.sqrt(total * total / 4.0 - product_)
        first, second = 1.0 - (total / 2.0 + spread), 1.0 - (total / 2.0 - spread)
        known = straight & open_.sure[0] & open_.sure[1] & (second > first)
        ok = known & (first >= -1e-6) & (second <= 1.0 + 1e-6)
        first, second = np.clip(np.where(ok, first, 0.0), 0.0, 1.0), np.clip(np.where(ok, second, 1.0), 0.0, 1.0)
        low, high = value(open_.left, first), value(open_.right, second)
        slope = (high - low) / np.maximum(second - first, 1e-12)
    middle = np.stack([low - slope * first, slope, 0.0 * slope, 0.0 * slope])
    return ok, np.stack([first, second]), np.stack([open_.left, middle, open_.right])


def _value(breaks: FloatArray, pieces: FloatArray, x: FloatArray) -> FloatArray:
    """Acceleration of laws that change twice, at shares of their intervals, shape (m,)."""
    before, between, after = (value(piece, x) for piece in pieces)
    return np.where(x <= breaks[0], before, np.where(x < breaks[1], between, after))
