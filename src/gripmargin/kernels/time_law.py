"""The law of motion between two samples that give position, speed and acceleration, channel by channel.

Two defects say how an interval departs from a straight line of acceleration: by its mean, from the speeds, and by its
first moment, from the positions. Where both vanish the line is the law. Else the acceleration is a polynomial of degree
three that goes on in the next interval; or it changes once (kink or step) between the laws of its neighbours, which
mean and moment both have to confirm; or it has two kinks between straight neighbours (two equations for two places).
What is left is loose: nothing but a bound by the largest jerk of the channel. In an interval x goes from 0 to 1;
accelerations are polynomials of degree three in it, lowest power first.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import parts
from gripmargin.kernels.cubics import integrals, moved, value
from gripmargin.kernels.law_changes import (
    Bools,
    Found,
    Open,
    kink,
    kink_after,
    kink_before,
    step,
    step_after,
    step_before,
    two_kinks,
)
from gripmargin.kernels.law_defects import Begun, Defects, Samples, Scale, steepest

AT_ONCE: Final = 8_192  # intervals that are worked out at a time: time and memory alone
BESIDE: Final = 2  # intervals on either side that tell whether the law of one is known, and of those beside it
LONG: Final = 0.1  # share of an interval over which a slope is known well
NOTHING: Final = 1e-100  # [m/s^2] that even a channel of zeros may miss
# share of the largest acceleration that floating point may cost: of 4e-9 kinks are misplaced, of 1e-13 cubics missed
EXACT: Final = 1e-9


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
    """Find the law between samples, as `Laws`."""
    return Laws(given, polynomial=polynomial).over(slice(0, given.t.size - 1))


class Laws:
    """The law between samples: what had to be searched for is kept, the rest worked out where it is asked for."""

    def __init__(self, given: Samples, *, polynomial: bool = False) -> None:
        """Find it.

        Args:
            given: The samples.
            polynomial: Whether it is known that a polynomial of degree five goes through each pair of them.
        """
        self._given, self._polynomial = given, polynomial
        parts = list(self.parts())
        self._scale, defects = Scale.of(given, parts)
        # of a program of one part nothing is worked out twice
        self._defects = {(0, parts[0].stop): defects} if len(parts) == 1 else {}
        self._last: dict[tuple[int, int], tuple[Begun, slice]] = {}
        self._where = np.zeros(0, dtype=np.intp)
        self._found: Law | None = None
        if not polynomial:
            self._search()

    def parts(self) -> Iterator[slice]:
        """Yield all intervals so many at a time."""
        yield from parts(self._given.t.size - 1, size=AT_ONCE)

    def over(self, part: slice) -> Law:
        """Return the law of some intervals, one after the other."""
        found, inside = self._begun(part)
        breaks, pieces = np.ones((2, *found.even[inside].shape)), np.stack([found.cubic[:, inside]] * 3)
        slack, most = found.slack[inside], np.full(breaks.shape[1:], np.inf)
        loose = np.zeros(breaks.shape[1:], dtype=bool)
        if self._polynomial:
            return Law(breaks, pieces, 0.0 * slack, most, loose)
        here = slice(*np.searchsorted(self._where, (part.start, part.stop)))
        if self._found is not None and here.start < here.stop:
            to, law = self._where[here] - part.start, self._found
            breaks[:, to], pieces[:, :, to] = law.breaks[:, here], law.pieces[:, :, here]
            slack[to], most[to], loose[to] = law.slack[here], law.most[here], law.loose[here]
        return Law(breaks, pieces, slack, most, loose)

    def _begun(self, part: slice) -> tuple[Begun, slice]:
        """What is known at once of some intervals and of those beside them, and where they are among these."""
        key = part.start, part.stop
        if key not in self._last:
            wide = slice(max(part.start - BESIDE, 0), min(part.stop + BESIDE, self._given.t.size - 1))
            inside = slice(part.start - wide.start, part.stop - wide.start)
            defects = self._defects.pop(key, None) or Defects(self._given.over(wide), self._scale)
            self._last = {key: (Begun.of(defects, self._scale), inside)}
        return self._last[key]

    def _search(self) -> None:
        where, rows, steep, stepped = [], [], [], False
        for part in self.parts():
            found, inside = self._begun(part)
            open_ = np.pad(~found.known.all(axis=1), 1)
            near = open_[:-2] | open_[1:-1] | open_[2:]
            at = np.flatnonzero(near[inside])
            where.append(part.start + at)
            rows.append(found.at(inside.start + at))
            steep.append(found.steep)
            stepped |= found.stepped(self._scale)
        self._where = np.concatenate(where)
        if self._where.size:
            search = _Search(Begun.joined(rows), self._scale, np.max(steep, axis=0), stepped=stepped)
            while search.improve():
                pass
            search.known |= search.likely
            slack, most = search.bounded()
            self._found = Law(search.breaks, search.pieces, slack, most, ~search.known)


class _Search:
    """Intervals whose law is sought, and those beside them; arrays as those of `Begun`."""

    def __init__(self, begun: Begun, scale: Scale, steep: FloatArray, *, stepped: bool) -> None:
        (self.h, self.a0, self.a1, self.mean, self.moment, self.even, self.odd) = begun[:7]
        (self.rounded, self.rounded_moment, self.rounded_odd, self.rounded_speed) = begun[7:11]
        (self.marked, self.slack, self.known, self.likely, cubic) = begun[11:]
        self.breaks, self.pieces = np.ones((2, *self.even.shape)), np.stack([cubic, cubic, cubic])
        self.confirmed = self.known.copy()
        self.most, self.digit, self.steep, self.stepped = scale.most, scale.digit, steep, stepped

    def bounded(self) -> tuple[FloatArray, FloatArray]:
        """The slack, with what the largest jerk of a channel leaves open where the law is loose, and the largest size.

        An acceleration that keeps to a jerk J and has no excess in the mean rises above its chord by J h / 4 at most:
        a rise and two falls of one slope; a mean excess adds itself.
        """
        slope = steepest(self.pieces.swapaxes(0, 1))
        long = np.diff(self.breaks, axis=0, prepend=0.0, append=1.0) > LONG
        steep = np.where(long & self.known & ~self.marked, slope / self.h, 0.0).max(axis=(0, 1))
        steep = np.maximum(steep, self.steep)
        even, odd = np.abs(self.even), np.abs(self.odd)
        change = np.maximum(steep * self.h, np.maximum(4.0 * even, 32.0 * odd))  # at least that of a triangle or two
        most = change / 4.0 + even
        size = np.full(even.shape, np.inf)
        if self.stepped:  # where accelerations jump none but the largest of the program is known to bound one
            low, high = np.sort(np.abs([self.a0, self.a1]), axis=0)
            triangle = np.minimum(2.0 * np.abs(self.mean), high + 2.0 * even)  # of that mean
            size = np.where(self.known, np.inf, np.maximum(np.maximum(self.most, triangle), self._continued()))
            most = size - low
            self.pieces = np.where(self.known, self.pieces, self._straight)
        return np.where(self.known, self.slack, most), size

    def _continued(self) -> FloatArray:
        """What known laws of the neighbours come to at the far end of an interval."""
        sure, ratio = self.known & ~self.marked, self.h[1:] / self.h[:-1]
        ahead = np.where(sure[:-1], np.abs(value(self.pieces[2][:, :-1], 1.0 + ratio)), 0.0)
        back = np.where(sure[1:], np.abs(value(self.pieces[0][:, 1:], -1.0 / ratio)), 0.0)
        return np.maximum(np.pad(ahead, ((1, 0), (0, 0))), np.pad(back, ((0, 1), (0, 0))))

    @property
    def _straight(self) -> FloatArray:
        """The straight line of acceleration, shape (4, intervals, channels)."""
        return np.stack([self.a0, self.a1 - self.a0, 0.0 * self.a0, 0.0 * self.a0])

    def improve(self) -> bool:
        """Find the law of intervals with a neighbour whose law is known; return whether any was found."""
        start = self.known.copy()
        for sought in (kink, step, kink_before, kink_after, step_before, step_after, two_kinks):
            beside = np.pad(self.confirmed, ((1, 1), (0, 0)))
            at = np.nonzero(~self.known & (beside[:-2] | beside[2:]))
            if at[0].size and not (sought is two_kinks and self.stepped):  # nothing confirms these
                found = sought(self._open(at))
                self.stepped |= bool(found.jumps(self.most[at[1]]).any())
                self._take(at, found, confirmed=sought is not two_kinks)
        return bool((self.known & ~start).any() and not self.known.all())

    def _open(self, at: tuple[NDArray[np.intp], ...]) -> Open:
        i, j = at
        last = len(self.h) - 1
        before, after = np.maximum(i - 1, 0), np.minimum(i + 1, last)
        ratios = self.h[i, 0] / self.h[before, 0], self.h[i, 0] / self.h[after, 0]
        unsure, sure = [], []
        for r, k in zip(ratios, (before, after), strict=True):
            curved = (self.pieces[:, 2:, k, j] != 0.0).any(axis=(0, 1))
            further = np.maximum(1.0, r) ** 3
            unsure.append(carried(r, self.digit[j]) + 4.0 * further * self.slack[k, j])
            unsure[-1] += np.where(curved, bent(r, self.rounded[k, j], self.rounded_odd[k, j]), 0.0)
            worth = np.maximum(np.abs(self.even[i, j]), np.abs(self.odd[i, j]))  # else they explain anything
            sure.append(self.confirmed[k, j] & ~self.marked[k, j] & (k != i) & (unsure[-1] <= worth))
        sides = np.where(sure[0], unsure[0], 0.0) + np.where(sure[1], unsure[1], 0.0) + EXACT * self.most[j]
        return Open(
            left=moved(self.pieces[2][:, before, j], 1.0, ratios[0]),
            right=moved(self.pieces[0][:, after, j], -ratios[1], ratios[1]),
            sure=(sure[0], sure[1]),
            ends=(self.a0[i, j], self.a1[i, j]),
            mean=self.mean[i, j],
            moment=self.moment[i, j],
            within=np.stack([self.rounded[i, j] + sides, self.rounded_moment[i, j] + sides]) + NOTHING,
            speed=self.rounded_speed[i, j],
            sides=sides,
        )

    def _take(self, at: tuple[NDArray[np.intp], ...], found: Found, *, confirmed: bool) -> None:
        ok = found.ok
        i, j = at[0][ok], at[1][ok]
        self.breaks[:, i, j] = found.breaks[:, ok]
        self.pieces[:, :, i, j] = found.pieces[:, :, ok]
        self.slack[i, j] = found.slack[ok]
        self.known[i, j], self.confirmed[i, j] = True, confirmed


def carried(ratio: FloatArray, digit: FloatArray) -> FloatArray:
    """Return how far a line through two accelerations may be off at the far end of the next interval.

    Args:
        ratio: Length of that over the line's own.
        digit: By how much either acceleration may be off.
    """
    return digit * (1.0 + 2.0 * ratio)


def bent(ratio: FloatArray, even: FloatArray, odd: FloatArray) -> FloatArray:
    """Return how far what bends a cubic may be off there: ``6 e x (1 - x)`` and ``60 o x (1 - x) (1 - 2 x)``.

    Args:
        ratio: As in `carried`.
        even: By how much the mean may be off.
        odd: By how much the second defect may be.
    """
    return 6.0 * ratio * (1.0 + ratio) * (even + 10.0 * (1.0 + 2.0 * ratio) * odd)


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
