"""The most that a sum of damped oscillators can be made to respond, whatever drives them.

An oscillator that follows slow loads exactly answers an impulse with ``h = w exp(-z w t) sin(w' t) / sqrt(1 - z^2)``. A
load that is nowhere larger than 1 drives the sum of q_k h_k to no more than ``int |sum q_k h_k| dt``, and one does; a
load whose rate is nowhere larger than 1 takes it no farther from where the load alone would than ``int |sum q_k g_k|
dt``, g the integral of h from t on (convolution, once by parts; any text on linear systems). A load that is nowhere
larger than 1, nor its rate than 1/T, meets ``G = sum q_k g_k`` both ways: by parts, a share r(t) of G(0) counts by its
size and what is left of G by its rate, no more than ``|G(0)| + 1/T int |G - r G(0)| dt``, whichever r falls from 1 to
0 or more (multipliers of the dual problem; Luenberger, Optimization by Vector Space Methods, ch. 5, from memory). One
whose rate changes steadily, by no more than b in a second, is followed more closely: by parts twice, ``|rate|
|sum q_k k_k(0)| + b int |sum q_k k_k| dt``, k the integral of g from t on.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray

Groups = Sequence[Sequence[int]]

FINE: Final = 0.2  # [rad] that the fastest mode which still swings turns from one instant to the next
FADED: Final = 1e-3  # share of a swing below which it is counted, not followed
TINY: Final = 1e-30  # square of an answer that is none: against a division by 0
BLOCK: Final = 2**17  # figures held at a time
CHORD: Final = FINE**2 / 12.0  # share that straight lines may miss of a sine (remainder of the trapezoidal rule)


@dataclass(frozen=True, eq=False)
class Impulse:
    """Answers of oscillators to an impulse, and what is left of them, over time.

    Attributes:
        frequency: Undamped angular frequency [rad/s], shape (modes,).
        t: Instants [s], shape (n,).
        weight: Of each instant in an integral over time [s], shape (n,).
        sudden: h of each mode [1/s], shape (modes, n).
        rest: Its integral from each instant on, shape (modes, n).
        tail: The integral of that from each instant on [s], shape (modes, n).
    """

    frequency: FloatArray
    t: FloatArray
    weight: FloatArray
    sudden: FloatArray
    rest: FloatArray
    tail: FloatArray

    @classmethod
    def of(cls, frequency: FloatArray, damping: FloatArray) -> Impulse:
        """Work them out.

        Args:
            frequency: Undamped angular frequency [rad/s], shape (modes,).
            damping: Share of critical damping, above 0 and below 1, shape (modes,).
        """
        w, z = frequency[:, None], damping[:, None]
        over = -np.log(FADED) / (damping * frequency)
        t = _instants(frequency, over)
        root = np.sqrt(1.0 - z * z)
        fading = np.exp(-z * w * t) / root * (t <= over[:, None])
        step = np.diff(t)
        return cls(
            frequency=frequency,
            t=t,
            weight=(np.append(step, 0.0) + np.append(0.0, step)) / 2.0,
            sudden=w * fading * np.sin(w * root * t),
            rest=fading * (root * np.cos(w * root * t) + z * np.sin(w * root * t)),
            tail=fading * (2.0 * z * root * np.cos(w * root * t) + (2.0 * z * z - 1.0) * np.sin(w * root * t)) / w,
        )

    def most(self, factors: FloatArray, groups: Groups, ramps: Sequence[float] = ()) -> tuple[FloatArray, ...]:
        """Return what a load of size 1, one whose rate is of size 1, and what both do at most, from above.

        Args:
            factors: On the modes' answers to each component of a load, shape (rows, modes, components).
            groups: Which components are one load, whose size is the root of the sum of their squares.
            ramps: Times in which a load may go from none to 1 [s].

        Returns:
            Shape (rows, groups) each [-], [s]; by its rate beside the balance, where it is of size 1 as well [s]; and
            for each of the ramps [-], shape (ramps, rows, groups).
        """
        bounds, out = self.bounds(factors, groups)[:2], []
        weight, soon = self.weight.astype(np.float32), int(np.searchsorted(self.t, np.pi / self.frequency.min()))
        for part in self._blocks(factors):
            missed = [(CHORD + FADED) * each[part] for each in bounds]
            sudden = _lengths(self._over_time(self.sudden, factors[part]), groups) @ weight + missed[0]
            left = self._over_time(self.rest, factors[part])
            length = _lengths(left, groups)
            balance, rest = length[:, :, 0].copy(), length @ weight + missed[1]
            length[:, :, :soon] = _beside(left[:, :, :soon], length[:, :, :soon], groups)
            beside = length @ weight + missed[1]
            eased = [np.minimum(sudden, balance + beside / ramp) for ramp in ramps]
            out.append((sudden, rest, beside, np.reshape(eased, (len(ramps), *sudden.shape))))
        return tuple(np.concatenate(each, axis=-2) for each in zip(*out, strict=True))

    def ways(self, factors: FloatArray) -> FloatArray:
        """Return what a load whose rate is of size 1 does beside its balance, by its way c: at most ``sqrt(c' M c)``.

        ``int |c.b| dt`` is no more than the root of ``int |b| dt`` times ``int (c.b)^2 / |b| dt`` (Cauchy and Schwarz).

        Args:
            factors: On the modes' answers to each component of a load, shape (rows, modes, components).

        Returns:
            M, shape (rows, components, components) [s^2].
        """
        group, out = list(range(factors.shape[2])), []
        missed = (CHORD + FADED) * self.bounds(factors, [group])[1]
        for part in self._blocks(factors):
            left = self._over_time(self.rest, factors[part])
            aside = left - _kept(left, group)[:, None] * left[:, :, :1]
            length = _lengths(aside, [group])[:, 0]
            each = aside * (self.weight / np.maximum(length, TINY)).astype(np.float32)[:, None]
            out.append((length @ self.weight)[:, None, None] * (each @ aside.swapaxes(1, 2)))
        found = np.concatenate(out).astype(float)
        # what straight lines miss of any way, m, by e = m / a: (a + m)^2 <= (1 + e) a^2 + (1 + 1 / e) m^2
        size = np.sqrt(np.trace(found, axis1=1, axis2=2))[:, None, None]
        more = missed[:, :, None]
        return np.asarray((1.0 + more / np.maximum(size, TINY)) * found + more * (more + size) * np.eye(len(group)))

    def slowly(self, factors: FloatArray, groups: Groups) -> FloatArray:
        """Return of what `most` returns what a load whose rate is of size 1 does, shape (rows, groups) [s]."""
        parts = [
            _lengths(self._over_time(self.rest, factors[part]), groups) @ self.weight for part in self._blocks(factors)
        ]
        return np.asarray(np.concatenate(parts) + (CHORD + FADED) * self.bounds(factors, groups)[1])

    def bounds(self, factors: FloatArray, groups: Groups) -> tuple[FloatArray, ...]:
        """Return the sum of what each mode does alone, as `alone`: never less, and quick."""
        sizes = _sizes(factors, groups)
        return tuple(np.einsum("rmg,m->rg", sizes, each) for each in self.alone)

    @property
    def alone(self) -> tuple[FloatArray, ...]:
        """What loads do of each mode alone, shape (modes,) each.

        One of size 1 [-], and one whose rate is of size 1 [s]; of one whose rate changes steadily its rate [s], and the
        change of that in a second [s^2].
        """
        sudden, rest, tail = (
            (1.0 + CHORD + FADED) * np.abs(x) @ self.weight for x in (self.sudden, self.rest, self.tail)
        )
        return sudden, rest, np.abs(self.tail[:, 0]), tail

    @property
    def differ(self) -> tuple[FloatArray, ...]:
        """By how much the second half of the oscillators, one by one, may differ from the first, as `alone` has it."""
        half = self.frequency.size // 2
        sudden, rest, tail = (np.abs(x[:half] - x[half:]) for x in (self.sudden, self.rest, self.tail))
        apart = sudden @ self.weight, rest @ self.weight, tail[:, 0], tail @ self.weight
        both = ((CHORD + FADED) * (each[:half] + each[half:]) for each in self.alone)
        return tuple(x + more for x, more in zip(apart, both, strict=True))

    def _blocks(self, factors: FloatArray) -> Iterator[slice]:
        step = max(1, BLOCK // (self.t.size * factors.shape[2]))
        for first in range(0, max(len(factors), 1), step):
            yield slice(first, first + step)

    def _over_time(self, answer: FloatArray, factors: FloatArray) -> NDArray[np.float32]:
        """Answers over time, shape (rows, components, n): single precision is far within what straight lines miss."""
        # one product a row: threads of a large one would wait for each other longer than they work
        return np.asarray(factors.transpose(0, 2, 1).astype(np.float32) @ answer.astype(np.float32))


def _lengths(answers: NDArray[np.float32], groups: Groups) -> NDArray[np.float32]:
    """Sizes of loads over time, shape (rows, groups, n)."""
    if all(len(group) == 1 for group in groups):
        return np.abs(answers[:, [group[0] for group in groups]])
    square = np.empty((len(answers), len(groups), answers.shape[2]), dtype=np.float32)
    for i, (first, *others) in enumerate(groups):
        np.square(answers[:, first], out=square[:, i])
        for other in others:
            square[:, i] += np.square(answers[:, other])
    return np.sqrt(square, out=square)


def _beside(left: NDArray[np.float32], length: NDArray[np.float32], groups: Groups) -> NDArray[np.float32]:
    """What is left of G beside a share of G(0) that falls from 1: of all such shares the largest up to G's own."""
    out = np.empty_like(length)
    for i, group in enumerate(groups):
        begin, share, along = length[:, i, :1] ** 2, _kept(left, group), _along(left, group)
        out[:, i] = np.sqrt(np.maximum(length[:, i] ** 2 - begin * share * (2.0 * along - share), 0.0))
    return out


def _along(left: NDArray[np.float32], group: Sequence[int]) -> NDArray[np.float32]:
    """The share of G(0) in what is left of G, shape (rows, n)."""
    begin = np.einsum("rc,rc->r", left[:, group, 0], left[:, group, 0])[:, None]
    return np.einsum("rc,rcn->rn", left[:, group, 0], left[:, group]) / np.maximum(begin, np.float32(TINY))


def _kept(left: NDArray[np.float32], group: Sequence[int]) -> NDArray[np.float32]:
    """The largest share of G(0) up to G's own that falls from 1, shape (rows, n)."""
    return np.minimum.accumulate(np.clip(_along(left, group), 0.0, 1.0), axis=1)


def lags(frequency: FloatArray, damping: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return how far a load of rate 1, from rest, can be ahead of its oscillator, and by how much that can change.

    The integral of g from 0 on: its first peak, where ``tan(w' t) = -sqrt(1 - z^2) / z``, and that less the trough half
    a wave later, if below 0. Without damping 1/w and 2/w: a ramp of time T leaves at most ``2 / (w T)`` of swing.

    Args:
        frequency: Undamped angular frequency [rad/s], shape (modes,).
        damping: Share of critical damping, 0 or more and below 1, shape (modes,).

    Returns:
        Both [s], shape (modes,).
    """
    z, root = damping, np.sqrt(1.0 - damping * damping)

    def lag(turn: FloatArray) -> FloatArray:
        wave = 2.0 * z * np.cos(turn) - (1.0 - 2.0 * z * z) / root * np.sin(turn)
        return np.asarray((2.0 * z - np.exp(-z * turn / root) * wave) / frequency)

    peak = np.pi / 2.0 + np.arcsin(z)
    ahead = lag(peak)
    return ahead, ahead - np.minimum(lag(peak + np.pi), 0.0)


def _sizes(factors: FloatArray, groups: Groups) -> FloatArray:
    return np.stack([np.linalg.norm(factors[:, :, group], axis=2) for group in groups], axis=2)


def _instants(frequency: FloatArray, over: FloatArray) -> FloatArray:
    """Instants close enough for every mode that still swings, from 0 until the last has faded."""
    out, now = [np.zeros(1)], 0.0
    for end in np.sort(over):
        step = FINE / frequency[over >= end].max()
        count = int(np.ceil((end - now) / step))
        if count:
            out.append(now + (end - now) * np.arange(1, count + 1) / count)
            now = end
    return np.concatenate(out)
