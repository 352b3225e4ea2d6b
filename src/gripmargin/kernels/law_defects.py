"""What samples say at once of the law of motion between them: how it departs from straight lines of acceleration.

The law itself stands in `gripmargin.kernels.time_law`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import leave
from gripmargin.kernels.law_changes import ALIKE, Bools

MARKED: Final = 1e-6  # [s] samples closer than this mark a step: nothing is carried over it
SMALL: Final = 1e-4  # share of a channel's largest acceleration that is not looked into, but counted


class Samples(NamedTuple):
    """What is given: times, shape (n,), the rest with shape (n, channels), and half a digit of each column."""

    t: FloatArray
    q: FloatArray
    qd: FloatArray
    qdd: FloatArray
    digits: FloatArray  # of q, qd and qdd, shape (3, channels)
    late: float = 0.0  # [s] by which a stamp may be rounded

    def over(self, part: slice) -> Samples:
        """Return what is given at both ends of some intervals."""
        ends = slice(part.start, part.stop + 1)
        return self._replace(t=self.t[ends], q=self.q[ends], qd=self.qd[ends], qdd=self.qdd[ends])


class Scale(NamedTuple):
    """Largest sizes over the whole program, and whether digits show; of each channel, shape (channels,)."""

    place: FloatArray
    speed: FloatArray
    most: FloatArray
    digit: FloatArray  # half of that of accelerations
    real: Bools

    @classmethod
    def of(cls, given: Samples, parts: Sequence[slice]) -> tuple[Scale, Defects]:
        """Return the scale, and the defects of the last of some parts that cover all intervals."""
        sizes = []
        for part in parts:
            t, q, qd, qdd = given.over(part)[:4]
            h = np.diff(t)[:, None]
            used = np.where(h < MARKED, 0.0, np.abs(np.diff(qd, axis=0) / h))
            sizes.append([np.abs(rows).max(axis=0) for rows in (q, qd, qdd, used)])
            leave()
        place, speed, acceleration, used = np.max(sizes, axis=0)
        most = np.maximum(np.maximum(acceleration, used), np.finfo(np.float64).tiny)
        raw = cls(place, speed, most, given.digits[2], np.zeros(most.size, dtype=bool))
        # values may lie on a grid by chance: then most defects are none
        counts = []
        for part in parts:
            found = Defects(given.over(part), raw)
            counts.append(found.counts())
            leave()
        shown, moving = np.sum(counts, axis=0)
        real = shown > moving / 4.0
        return raw._replace(real=real, digit=np.where(real, raw.digit, 0.0)), found


class Defects:
    """How intervals depart from straight lines; arrays without a shape have shape (intervals, channels)."""

    def __init__(self, given: Samples, scale: Scale) -> None:
        t, q, qd, qdd, (place, speed, digit), late = given
        self.h = h = np.diff(t)[:, None]
        self.a0, self.a1 = qdd[:-1], qdd[1:]
        self.mean = np.diff(qd, axis=0) / h
        self.moment = (np.diff(q, axis=0) - h * qd[:-1]) / h**2
        # of floating point, over the square of the step
        self.exact = 16.0 * np.finfo(np.float64).eps * (scale.place + h * scale.speed + h**2 * scale.most) / h**2
        speed, place = speed + late * np.abs(qdd[:-1]), place + late * np.abs(qd[:-1])
        self.rounded_speed = speed / h
        self.rounded = 2.0 * speed / h + digit
        self.rounded_moment = 2.0 * place / h**2 + speed / h + digit / 2.0
        self.even = self.mean - (self.a0 + self.a1) / 2.0
        self.odd = self.even / 2.0 - (self.moment - self.a0 / 3.0 - self.a1 / 6.0)

    def counts(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """In how many intervals a defect shows, and in how many each channel moves, shape (channels,) each."""
        moving = np.asarray((self.a0 != 0.0) | (self.a1 != 0.0))
        shown = (np.maximum(np.abs(self.even), np.abs(self.odd)) > self.exact) & moving
        return shown.sum(axis=0), moving.sum(axis=0)


class Begun(NamedTuple):
    """What is known of intervals at once; arrays have shape (intervals, channels), the last (4, intervals, channels).

    Attributes:
        h: Their lengths [s], shape (intervals, 1).
        a0: Acceleration at the sample before.
        a1: At the one after.
        mean: Mean acceleration, from the speeds.
        moment: Integral of (1 - x) times the acceleration, from the positions.
        even: By how much the mean departs from that of a straight line, where rounding does not explain it.
        odd: The same of the moment.
        rounded: What rounding may make of the mean.
        rounded_moment: What it may make of the moment.
        rounded_odd: What it may make of the second defect.
        rounded_speed: What that of one speed may make of the mean.
        marked: Where an interval marks a step.
        slack: By how much the acceleration may exceed the polynomial; where it is not known, twice what that misses.
        known: Where the polynomial is the law.
        likely: Where it may be, if nothing else is found.
        cubic: The polynomial.
    """

    h: FloatArray
    a0: FloatArray
    a1: FloatArray
    mean: FloatArray
    moment: FloatArray
    even: FloatArray
    odd: FloatArray
    rounded: FloatArray
    rounded_moment: FloatArray
    rounded_odd: FloatArray
    rounded_speed: FloatArray
    marked: Bools
    slack: FloatArray
    known: Bools
    likely: Bools
    cubic: FloatArray

    @classmethod
    def of(cls, found: Defects, scale: Scale) -> Begun:
        """Work it out."""
        h, rounded_odd = found.h, found.rounded / 2.0 + found.rounded_moment
        rounded, rounded_odd = (np.where(scale.real, x, 0.0) + found.exact for x in (found.rounded, rounded_odd))
        e, o = _beyond(found.even, rounded), _beyond(found.odd, rounded_odd)
        chord, marked = found.a1 - found.a0, np.broadcast_to(h < MARKED, e.shape)
        unlike, alike = _unlike(h, e, o, marked), SMALL * scale.most + 2.0 * rounded
        straight = (e == 0.0) & (o == 0.0) | marked
        hidden = hidden_kink(h, np.where(marked, 0.0, chord / h), scale.digit, rounded)
        return cls(
            h=h,
            a0=found.a0,
            a1=found.a1,
            mean=found.mean,
            moment=found.moment,
            even=e,
            odd=o,
            rounded=rounded,
            rounded_moment=found.rounded_moment,
            rounded_odd=rounded_odd,
            rounded_speed=np.where(scale.real, found.rounded_speed, 0.0),
            marked=marked,
            slack=np.where(straight, np.where(marked, 0.0, hidden), 2.0 * unlike),
            known=straight | (unlike <= alike),
            likely=unlike <= ALIKE * np.abs(e) + alike,
            cubic=np.stack([found.a0, chord + 6.0 * e - 60.0 * o, 180.0 * o - 6.0 * e, -120.0 * o]),
        )

    def stepped(self, scale: Scale) -> bool:
        """Return whether the acceleration jumps where an interval marks a step."""
        return bool((self.marked & (np.abs(self.a1 - self.a0) > ALIKE * scale.most)).any())

    @property
    def steep(self) -> FloatArray:
        """The largest jerk where the law is known, shape (channels,)."""
        return np.asarray(np.where(self.known & ~self.marked, steepest(self.cubic) / self.h, 0.0).max(axis=0))

    def at(self, rows: NDArray[np.intp]) -> Begun:
        """Return what is known of some intervals."""
        return self._replace(**{name: x[..., rows, :] for name, x in self._asdict().items()})

    @classmethod
    def joined(cls, parts: Sequence[Begun]) -> Begun:
        """Return what is known of several lots of intervals, one after the other."""
        columns = {name: [getattr(part, name) for part in parts] for name in cls._fields}
        return parts[0]._replace(**{name: np.concatenate(x, axis=x[0].ndim - 2) for name, x in columns.items()})


def _unlike(h: FloatArray, even: FloatArray, odd: FloatArray, marked: Bools) -> FloatArray:
    """By how much the polynomials of neighbours miss being the same one, as a mean acceleration.

    The second derivative of a cubic is straight: the even part of the next interval follows from both parts here.
    """
    ratio = h[1:] / h[:-1]
    (e, f), (o, p) = ((x[:-1], x[1:]) for x in (even, odd))
    ahead = np.maximum(np.abs(f / ratio**2 - e - 30.0 * o * (1 + ratio)), 30.0 * np.abs(p / ratio**3 - o))
    back = np.maximum(np.abs(e * ratio**2 - f + 30.0 * p * (1 + 1 / ratio)), 30.0 * np.abs(o * ratio**3 - p))
    cut = marked[1:] | marked[:-1]
    out = np.full(even.shape, np.inf)
    out[:-1] = np.where(cut, np.inf, ahead)
    out[1:] = np.minimum(out[1:], np.where(cut, np.inf, back))
    return out


def hidden_kink(h: FloatArray, slope: FloatArray, digit: FloatArray, rounded: FloatArray) -> FloatArray:
    """Return what a kink between the slopes of the neighbours may exceed the chord by, and rounding hides.

    A turn is ``a - 2 b + c`` of three accelerations: four times what each may be off is none.

    Args:
        h: Lengths of intervals, shape (n, 1).
        slope: Of the chord of each, shape (n, channels).
        digit: By how much an acceleration may be off, shape (channels,).
        rounded: What rounding may make of the mean, shape (n, channels).
    """
    change, out = np.diff(slope, axis=0), np.zeros(slope.shape)
    turn = np.maximum(np.abs(change) * np.minimum(h[1:], h[:-1]) - 4.0 * digit, 0.0)
    before, after = turn[:-1], turn[1:]
    apex = before * after / np.where(before + after > 0.0, before + after, 1.0)
    out[1:-1] = np.minimum(4.0 * rounded[1:-1], apex)
    return out


def steepest(cubic: FloatArray) -> FloatArray:
    """Return the largest slope that cubics may have from 0 to 1, shape of a coefficient."""
    weights = np.array([1.0, 2.0, 3.0]).reshape(3, *(1 for _ in cubic.shape[1:]))
    return np.asarray((np.abs(cubic[1:]) * weights).sum(axis=0))


def _beyond(values: FloatArray, known: FloatArray) -> FloatArray:
    """The values that are beyond a size that is explained, else 0."""
    return np.where(np.abs(values) > known, values, 0.0)
