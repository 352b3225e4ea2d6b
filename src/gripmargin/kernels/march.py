"""Damped oscillators marched through loads that are straight between nodes: many starts, each with its own step.

An oscillator ``y''/w^2 + 2 z y'/w + y = p(t)`` has the pole ``s = w (-z + i sqrt(1 - z^2))`` and the *phase*
``(y' - conj(s) y) / Im s``, whose imaginary part is the response y. A free vibration turns and fades as ``exp(s t)``,
and changes where the slope of the load does (Duhamel's integral in steps: Chopra, Dynamics of Structures, ch. 4 and 5,
from memory): a step costs one complex product and has no error but that of the load's straight pieces.

Between two nodes the responses stay within an arc of the chord, and utilisation is convex. An oscillator too fast for
the step counts with its load and its whole amplitude instead, for utilisation is a seminorm.

Shapes: k oscillators, n steps, m starts; starts are the last axis.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise, product
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.oscillator import ComplexArray

Array = TypeVar("Array", FloatArray, ComplexArray)

BLOCK = 16_384  # normalised tractions of one component at a time: they stay in the cache
BESIDE = 0.03  # share of all amplitudes below which the sign of one is not tried


@dataclass(frozen=True, eq=False, kw_only=True)
class Oscillators:
    """Oscillators, and what their responses ask of the pads.

    Attributes:
        frequency: Undamped angular frequency w [rad/s], shape (k,).
        damping: Share z of critical damping, 0 up to 1, shape (k,).
        maps: Responses to normalised traction, shape (3, points, k).
        swings: Which swing, shape (k,); those without mass follow their load at once.
        followed: Which of them are followed from node to node, shape (k,).
    """

    frequency: FloatArray
    damping: FloatArray
    maps: FloatArray
    swings: NDArray[np.bool_]
    followed: NDArray[np.bool_]

    @property
    def pole(self) -> ComplexArray:
        """How a free vibration turns and fades [1/s], shape (k,)."""
        return np.asarray(self.frequency * (-self.damping + 1j * np.sqrt(1.0 - self.damping**2)))

    @property
    def gain(self) -> FloatArray:
        """Size of the normalised traction that a unit of each swing gives, at most, shape (k,)."""
        return np.asarray(np.where(self.swings, np.linalg.norm(self.maps, axis=0).max(axis=0), 0.0))

    def phase(self, load: FloatArray, slope: FloatArray) -> ComplexArray:
        """Return the phase under a load that has gone straight on for ever, of its shape (k, ...)."""
        across = (...,) + (None,) * (load.ndim - 1)
        back, turn = np.conj(self.pole)[across], self.pole.imag[across]
        lag = (2.0 * self.damping / self.frequency)[across] * slope
        return np.asarray((slope - back * (load - lag)) / turn)


@dataclass(frozen=True, eq=False, kw_only=True)
class Doubt:
    """What is not known of the load of a leg.

    Attributes:
        kicks: By how much more or less swing it may start on the leg, shape (k, m).
        offset: Bound of the utilisation by what the load itself is off, shape (n + 1, m).
        growth: Variance that noise adds to each response on the leg, shape (k, m).
        sigma: One standard deviation of the utilisation by noise of the load itself, shape (n + 1, m).
        rough: What of the load noise shakes, shape (n + 1, k, m): its second differences count as noise; None: nothing.
    """

    kicks: FloatArray
    offset: FloatArray | float = 0.0
    growth: FloatArray | float = 0.0
    sigma: FloatArray | float = 0.0
    rough: FloatArray | None = None


@dataclass(frozen=True, eq=False, kw_only=True)
class State:
    """Starts on their way.

    Attributes:
        phase: Of each oscillator, shape (k, m).
        doubt: Bound of the amplitude by which its response may differ, shape (k, m).
        variance: Of the noise of its response, shape (k, m).
        slope: Of the load before, where it goes on from there; None: it may jump, or its slope change for certain.
        swing: Amplitude of each about the load before, shape (k, m).
    """

    phase: ComplexArray
    doubt: FloatArray
    variance: FloatArray
    slope: FloatArray | None = None
    swing: FloatArray | float = 0.0


@dataclass(frozen=True, eq=False, kw_only=True)
class Peak:
    """The most that responses have asked of the pads over some time, each of shape (m,) but for the last.

    Attributes:
        use: Largest utilisation at a node.
        least: Largest utilisation that is sure.
        most: Largest utilisation that may have occurred, between nodes too.
        when: Time of the first since the begin [s].
        response: At that time, shape (k, m).
    """

    use: FloatArray
    least: FloatArray
    most: FloatArray
    when: FloatArray
    response: FloatArray

    def then(self, later: Peak, after: FloatArray) -> Peak:
        """Return the peak of both, the later one begun some time after [s], shape (m,)."""
        more = ~(later.use <= self.use)
        return Peak(
            use=np.maximum(self.use, later.use),
            least=np.maximum(self.least, later.least),
            most=np.maximum(self.most, later.most),
            when=np.where(more, after + later.when, self.when),
            response=np.where(more, later.response, self.response),
        )


def march(
    oscillators: Oscillators,
    state: State,
    step: FloatArray,
    load: FloatArray,
    doubt: Doubt | None = None,
    *,
    sure: float = 0.0,
    coverage: float = 0.0,
) -> tuple[State, Peak]:
    """Return where starts are at the end of a leg, and the most that the leg has asked of the pads.

    Args:
        oscillators: The oscillators.
        state: At the begin.
        step: From node to node [s], shape (m,).
        load: At the nodes, straight between them but for what their second differences show, shape (n + 1, k, m).
        doubt: What is not known of it; None: nothing.
        sure: Standard deviations of noise that are taken off what is sure.
        coverage: Standard deviations of noise that count in what may be.
    """
    doubt = doubt or Doubt(kicks=np.zeros(load.shape[1:]))
    frequency, damping = oscillators.frequency[:, None], oscillators.damping[:, None]
    slope = np.diff(load, axis=0) / step
    bend = np.diff(slope, axis=0)
    turn = np.exp(oscillators.pole[:, None] * step)
    unit = oscillators.phase(0.0 * frequency, 1.0 + 0.0 * frequency)
    free = _summed(turn, state.phase - oscillators.phase(load[0], slope[0]), -unit * bend)
    last = turn * free[-1]

    lag, followed = 2.0 * damping / frequency, np.where(oscillators.followed, 1.0, 0.0)[:, None]
    response = np.empty_like(load)
    np.subtract(load[:-1], lag * slope, out=response[:-1])
    response[:-1] += followed * free.imag
    response[-1] = load[-1] - lag * slope[-1] + followed * last.imag
    use = utilisation(oscillators.maps, response)

    chord = missed(frequency * step) * step
    fading, gain = np.exp(-damping * frequency * step), oscillators.gain
    before = 0.0 * slope[0] if state.slope is None else slope[0] - state.slope
    noise, spread = state.variance + doubt.growth, np.asarray(doubt.sigma)
    if doubt.rough is not None:
        rough = np.diff(doubt.rough, axis=0) / step
        bend, before = bend - np.diff(rough, axis=0), 0.0 * before
        noise, spread = _noise(fading**2, noise, chord * np.diff(rough, axis=0), gain, spread)
    elif noise.any():
        noise, spread = _noise(fading**2, noise, 0.0 * bend, gain, spread)
    if state.slope is None and len(bend):
        before = bend[0]  # the first step is as curved as the next
    bend = np.abs(bend)
    bend *= chord
    unsure = _summed(fading, state.doubt + doubt.kicks + chord * np.abs(before), bend)
    error = np.einsum("k,nkm->nm", gain, unsure)
    error = np.concatenate([error, error[-1:]]) + doubt.offset  # it fades to the end

    arc = np.where(followed > 0.0, between(frequency * step), 1.0)
    arcs = np.einsum("km,nkm->nm", gain[:, None] * arc, np.abs(free))
    top = use + error + coverage * spread
    at = use.argmax(axis=0)
    peak = Peak(
        use=np.take_along_axis(use, at[None], axis=0)[0],
        least=(use - error - sure * spread).max(axis=0),
        most=(np.maximum(top[:-1], top[1:]) + arcs).max(axis=0),
        when=at * step,
        response=np.take_along_axis(response, at[None, None], axis=0)[0],
    )
    phase = last + oscillators.phase(load[-1], slope[-1])
    doubt_left = fading * unsure[-1]
    return State(phase=phase, doubt=doubt_left, variance=noise, slope=slope[-1], swing=np.abs(last)), peak


def missed(turn: FloatArray | float) -> FloatArray:
    """Return the share of a second difference of the load by which straight lines may miss the swing that it starts.

    A step of height H at an unknown place in an interval h starts a swing of H, the straight line one of
    ``H sin(w h / 2) / (w h / 2)``; a kink less (closed form).

    Args:
        turn: Angle w h by which the oscillator turns from node to node [rad].
    """
    return np.minimum(np.asarray(turn) / 4.0, 0.61)  # half of 1 - min(sin x / x)


def between(turn: FloatArray) -> FloatArray:
    """Return how far a swing may be from the chord between two of its instants, over its amplitude.

    Args:
        turn: Angle by which it turns from one to the other [rad].
    """
    return 1.0 - np.cos(np.minimum(turn / 2.0, np.pi))


def utilisation(maps: FloatArray, response: FloatArray) -> FloatArray:
    """Return the largest utilisation over the points.

    Args:
        maps: Responses to normalised traction, shape (3, points, k).
        response: Shape (n, k, m).

    Returns:
        Shape (n, m).
    """
    nodes, _, starts = response.shape
    out = np.empty((nodes, starts))
    step = max(1, BLOCK // (maps.shape[1] * starts))
    for first in range(0, nodes, step):
        part = slice(first, first + step)
        flat = response[part].transpose(1, 0, 2).reshape(maps.shape[2], -1)
        t1, t2, pull = maps @ flat
        np.maximum(pull, 0.0, out=pull)
        pull *= pull
        t1 *= t1
        t2 *= t2
        pull += t1
        pull += t2
        np.sqrt(pull.max(axis=0).reshape(-1, starts), out=out[part])
    return out


def most_used(oscillators: Oscillators, response: FloatArray) -> NDArray[np.intp]:
    """Return the point that responses, shape (k, m), use most, shape (m,)."""
    t1, t2, pull = oscillators.maps @ response
    return np.asarray((t1**2 + t2**2 + np.maximum(pull, 0.0) ** 2).argmax(axis=0))


def in_phase(oscillators: Oscillators, load: FloatArray, amplitude: FloatArray, enough: FloatArray) -> FloatArray:
    """Return the utilisation if all oscillators reached their amplitudes about a constant load at once, shape (m,).

    Without damping they come as close to that as one likes, where no frequency is a multiple of another. Utilisation is
    convex: it is largest at a corner of the box of all responses, and no more than that of the load and of each
    amplitude added up (triangle inequality), with which it is left where that is enough.

    Args:
        oscillators: The oscillators.
        load: Shape (k, m).
        amplitude: 0 or more, likewise.
        enough: Utilisation below which it need not be exact, shape (m,).
    """
    size = oscillators.gain[:, None] * amplitude
    out = utilisation(oscillators.maps, load[None])[0] + size.sum(axis=0)
    near = np.flatnonzero(out > enough)
    if near.size == 0:
        return out
    large = np.flatnonzero((size[:, near] > BESIDE * size[:, near].sum(axis=0)).any(axis=1))
    signs = np.array(list(product((1.0, -1.0), repeat=large.size)))
    boxes = np.repeat(load[None, :, near], len(signs), axis=0)
    boxes[:, large] += signs[:, :, None] * amplitude[large][:, near]
    beside = np.delete(size[:, near], large, axis=0).sum(axis=0)
    out[near] = np.minimum(out[near], utilisation(oscillators.maps, boxes).max(axis=0) + beside)
    return out


def _noise(
    left: FloatArray, variance: FloatArray, kicks: FloatArray, gain: FloatArray, sigma: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Variance of the noise of responses at the end of a leg, and one sigma of the utilisation at its nodes."""
    every = _summed(left, variance, kicks**2)
    spread = np.einsum("k,nkm->nm", gain, np.sqrt(every))
    return left * every[-1], np.hypot(np.concatenate([spread, spread[-1:]]), sigma)


def _summed(left: Array, start: Array, gained: Array) -> Array:
    """Sums of what was gained so far at each node; of each a share is left at the next. Shape (n, k, m).

    Args:
        left: Share, shape (k, m).
        start: Held at the first node, likewise.
        gained: At the later nodes, shape (n - 1, k, m).
    """
    out = np.empty((len(gained) + 1, *start.shape), dtype=start.dtype)
    out[0] = start
    out[1:] = gained
    held = np.empty_like(start)
    for before, here in pairwise(out):
        np.multiply(left, before, out=held)
        here += held  # noqa: PLW2901 - a view
    return out
