"""Damped oscillators marched through loads that are straight between nodes: many starts, each with its own step.

An oscillator ``y''/w^2 + 2 z y'/w + y = p(t)`` has the pole ``s = w (-z + i sqrt(1 - z^2))`` and the *phase*
``(y' - conj(s) y) / Im s``, whose imaginary part is the response y. A free vibration turns and fades as ``exp(s t)``,
and changes where the slope of the load does (Duhamel's integral in steps: Chopra, Dynamics of Structures, ch. 4 and 5,
from memory): a step costs one complex product and has no error but that of the load's straight pieces.

Between two nodes the responses stay within an arc of the chord, and utilisation is convex. An oscillator too fast for
the step counts with its load and its whole amplitude instead: utilisation is a seminorm.

Shapes: k oscillators, n steps, m starts; starts are the last axis.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise, product
from typing import Self, TypeVar

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.core import kernel
from gripmargin.kernels.face import Face
from gripmargin.kernels.oscillator import ComplexArray
from gripmargin.kernels.utilisation import largest_utilisation

Array = TypeVar("Array", FloatArray, ComplexArray)

BESIDE = 0.03  # share of all amplitudes below which the sign of one is not tried: it is added, a bound all the same


@dataclass(frozen=True, eq=False, kw_only=True)
class Oscillators:
    """Oscillators, and what their responses ask of the pads.

    Attributes:
        frequency: Undamped angular frequency w [rad/s], shape (k,).
        damping: Share z of critical damping, 0 up to below 1, shape (k,).
        face: The judged points, for responses in place of loads.
        gain: Utilisation that a unit of each swing gives, at most; 0 of what does not swing, shape (k,).
        followed: Which of them are followed from node to node, shape (k,).
    """

    frequency: FloatArray
    damping: FloatArray
    face: Face
    gain: FloatArray
    followed: NDArray[np.bool_]

    @cached_property
    def pole(self) -> ComplexArray:
        """How a free vibration turns and fades [1/s], shape (k, 1)."""
        return np.asarray(self.frequency * (-self.damping + 1j * np.sqrt(1.0 - self.damping**2)))[:, None]

    @cached_property
    def lag(self) -> FloatArray:
        """Time by which a response is behind a load that rises for ever [s], shape (k, 1)."""
        return np.asarray(2.0 * self.damping / self.frequency)[:, None]

    def fading(self, time: FloatArray | float) -> FloatArray:
        """Return what is left of a vibration after some time [s], shape (k, m)."""
        return np.exp(self.pole.real * time)

    def free(self, phase: ComplexArray, load: FloatArray, step: FloatArray) -> ComplexArray:
        """Return the free vibration at the first of some nodes, shape (k, m); see `march`."""
        return phase - self.phase(load[0], (load[1] - load[0]) / step)

    def phase(self, load: FloatArray, slope: FloatArray | float = 0.0) -> ComplexArray:
        """Return the phase under a load, shape (k, m), that has gone straight on for ever."""
        return np.asarray((slope - np.conj(self.pole) * (load - self.lag * slope)) / self.pole.imag)


@dataclass(frozen=True, eq=False, kw_only=True)
class Doubt:
    """What is not known of the load over some steps.

    Attributes:
        kicks: By how much more or less swing it may start, shape (k, m).
        offset: Bound of the utilisation by what the load itself is off, shape (n + 1, m).
        growth: Variance that noise adds to each response, shape (k, m).
        sigma: One standard deviation of the utilisation by noise of the load itself, shape (n + 1, m).
        rough: What of the load noise shakes, shape (n + 1, k, m): its second differences count as noise; None: nothing.
    """

    kicks: FloatArray | float = 0.0
    offset: FloatArray | float = 0.0
    growth: FloatArray | float = 0.0
    sigma: FloatArray | float = 0.0
    rough: FloatArray | None = None


class _Starts:
    """Arrays whose last axis is that of the starts."""

    def take(self, chosen: NDArray[np.intp]) -> Self:
        """Return that of some starts."""
        return type(self)(**{name: x if np.ndim(x) == 0 else x[..., chosen] for name, x in vars(self).items()})

    def put(self, chosen: NDArray[np.intp], found: Self) -> None:
        """Set that of some starts, in place."""
        for name, x in vars(self).items():
            if x is not None:
                x[..., chosen] = getattr(found, name)


@dataclass(frozen=True, eq=False, kw_only=True)
class State(_Starts):
    """Starts on their way.

    Attributes:
        phase: Of each oscillator, shape (k, m).
        doubt: Bound of the amplitude by which its response may differ, shape (k, m).
        variance: Of the noise of its response, shape (k, m).
        free: Free vibration of each about the load before, shape (k, m).
        slope: Of the load before, where it goes on from there; None: it may jump.
    """

    phase: ComplexArray
    doubt: FloatArray
    variance: FloatArray
    free: ComplexArray
    slope: FloatArray | None = None


@dataclass(frozen=True, eq=False, kw_only=True)
class Peak(_Starts):
    """The most that responses have asked of the pads over some time; all but the last have shape (m,).

    Attributes:
        use: Largest utilisation.
        least: Largest utilisation that is sure.
        most: Largest utilisation that may have occurred.
        when: Time of the first since the begin [s].
        response: At that time, shape (k, m).
    """

    use: FloatArray
    least: FloatArray
    most: FloatArray
    when: FloatArray
    response: FloatArray

    def then(self, later: Peak, after: FloatArray | float = 0.0) -> Peak:
        """Return the peak of both, the later one begun some time after [s]."""
        more = ~(later.use <= self.use)
        return Peak(
            use=np.maximum(self.use, later.use),
            least=np.maximum(self.least, later.least),
            most=np.maximum(self.most, later.most),
            when=np.where(more, after + later.when, self.when),
            response=np.where(more, later.response, self.response),
        )

    def within(self, rough: Peak) -> Peak:
        """Return that of the same starts with what a rougher look has shown."""
        most = np.maximum(np.minimum(self.most, rough.most), self.use)
        return replace(self, most=most, least=np.minimum(np.maximum(self.least, rough.least), self.use))


def begin(
    oscillators: Oscillators, state: State, unsure: FloatArray, *, sure: float = 0.0, coverage: float = 0.0
) -> Peak:
    """Return what starts ask of the pads at the begin, with a further bound of the amplitudes; see `march`."""
    response = state.phase.imag.copy()
    use, doubt, sigma = (
        largest_utilisation(oscillators.face, response),
        oscillators.gain @ (state.doubt + unsure),
        oscillators.gain @ np.sqrt(state.variance),
    )
    return Peak(
        use=use,
        least=use - doubt - sure * sigma,
        most=use + doubt + coverage * sigma,
        when=0.0 * use,
        response=response,
    )


def march(
    oscillators: Oscillators,
    state: State,
    step: FloatArray,
    load: FloatArray,
    doubt: Doubt = Doubt(),
    *,
    sure: float = 0.0,
    coverage: float = 0.0,
) -> tuple[State, Peak]:
    """Return where starts are after some steps, and the most that they have asked of the pads on the way.

    Args:
        oscillators: The oscillators.
        state: At the begin.
        step: From node to node [s], shape (m,).
        load: At the nodes, straight between them but for what their second differences show, shape (n + 1, k, m).
        doubt: What is not known of it.
        sure: Standard deviations of noise that are taken off what is sure.
        coverage: Standard deviations of noise that count in what may be.
    """
    frequency, pole, gain = oscillators.frequency[:, None], oscillators.pole, oscillators.gain
    followed = oscillators.followed[:, None]
    unit = oscillators.phase(0.0 * frequency, 1.0)
    slope, bend, free, last, use = _marched(oscillators, state.phase, step, load)

    kinks, chord, fading = np.empty_like(slope), missed(frequency * step) * step, oscillators.fading(step)
    kinks[1:] = bend
    if doubt.rough is not None:
        kinks[1:] -= np.diff(doubt.rough, 2, axis=0) / step
    kinks[0] = kinks[1:2].sum(axis=0) if state.slope is None else slope[0] - state.slope  # curved as the next
    held, kinked = state.doubt + doubt.kicks, chord * np.abs(kinks)
    if followed.any():  # what may be is held against every node, as large as it may grow
        size = (np.abs(free[0]) + np.abs(unit) * np.abs(bend).sum(axis=0))[None]
        unsure = (held + kinked.sum(axis=0))[None]
        left = fading ** len(slope) * held + kinked.sum(axis=0)
    else:  # steps are long
        size, unsure = np.abs(free), _summed(fading, held + kinked[0], kinked[1:])
        left = fading * unsure[-1]
    variance, shaken = state.variance + doubt.growth, 0.0
    if doubt.rough is not None:
        shaken = ((chord / step * np.diff(doubt.rough, 2, axis=0)) ** 2).sum(axis=0)
    spread = np.hypot(gain @ np.sqrt(variance + shaken), doubt.sigma)
    variance = np.asarray(fading ** (2 * len(slope)) * variance + shaken)
    error = _to_the_end(gain @ unsure) + doubt.offset
    hidden = _to_the_end((gain * ~oscillators.followed) @ size)  # a response may be less than its load, too
    less = np.broadcast_to(error + sure * spread + hidden, use.shape)
    top = use + error + coverage * spread
    arcs = (gain[:, None] * np.where(followed, between(frequency * step), 1.0) * size).sum(axis=1)
    most = (np.maximum(top[:-1], top[1:]) + arcs).max(axis=0)

    at = use.argmax(axis=0)
    beside = np.clip([at - 1, at, at + 1], 0, len(use) - 1)
    vertex = _vertex(*np.take_along_axis(use, beside, axis=0))
    node = np.clip(np.where(vertex < 0.0, at - 1, at), 0, len(slope) - 1)
    later = np.clip(at - node + vertex, 0.0, 1.0) * step
    start, rise, swung = (np.take_along_axis(x, node[None, None], axis=0)[0] for x in (load, slope, free))
    there = start + (later - oscillators.lag) * rise + followed * (swung * np.exp(pole * later)).imag
    value = np.fmax(largest_utilisation(oscillators.face, there), use.max(axis=0))
    off = np.take_along_axis(less, at[None], axis=0)[0]
    least = np.maximum((use - less).max(axis=0), value - off)
    peak = Peak(use=value, least=least, most=np.maximum(most, value), when=node * step + later, response=there)
    phase = last + oscillators.phase(load[-1], slope[-1])
    return State(phase=phase, doubt=left, variance=variance, free=last, slope=slope[-1]), peak


def _marched(
    oscillators: Oscillators, phase: ComplexArray, step: FloatArray, load: FloatArray
) -> tuple[FloatArray, FloatArray, ComplexArray, ComplexArray, FloatArray]:
    """Slopes of the load and their changes, free vibrations, that at the last node, and utilisation at all nodes."""
    slope = np.empty((len(load) - 1, *load.shape[1:]))
    turn: ComplexArray = np.exp(oscillators.pole * step)
    compiled = kernel("marched") if oscillators.face.plain else None
    if compiled is not None:
        (steps, many, starts), face = slope.shape, oscillators.face
        bend, free, last = np.empty_like(slope[1:]), np.empty(slope.shape, turn.dtype), np.empty_like(turn)
        use, work = np.empty((steps + 1, starts)), np.empty((many + 3, starts))
        given = face.maps, load, step, phase, oscillators.pole, oscillators.lag, turn, oscillators.followed
        compiled((many, steps, starts, face.points), given, (slope, bend, free, last, use, work))
        return slope, bend, free, last, use
    np.divide(np.diff(load, axis=0), step, out=slope)
    bend, unit = np.diff(slope, axis=0), oscillators.phase(np.zeros_like(oscillators.lag), 1.0)
    free = _summed(turn, phase - oscillators.phase(load[0], slope[0]), -unit * bend)
    last, followed = turn * free[-1], oscillators.followed[:, None]
    response = np.empty_like(load)
    np.subtract(load[:-1], oscillators.lag * slope, out=response[:-1])
    response[:-1] += followed * free.imag
    response[-1] = load[-1] - oscillators.lag * slope[-1] + followed * last.imag
    return slope, bend, free, last, _used(oscillators.face, response)


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
    out = largest_utilisation(oscillators.face, load) + size.sum(axis=0)
    near = np.flatnonzero(out > enough)
    if near.size == 0:
        return out
    large = (size[:, near] > BESIDE * size[:, near].sum(axis=0)).any(axis=1)
    corners = _corners(oscillators.face, load[:, near], amplitude[:, near], large)
    out[near] = np.minimum(out[near], corners + size[np.ix_(~large, near)].sum(axis=0))
    return out


def _corners(face: Face, load: FloatArray, amplitude: FloatArray, tried: NDArray[np.bool_]) -> FloatArray:
    """The largest utilisation by loads with some of the amplitudes of either sign; shapes (k, m) and (k,), to (m,)."""
    many, starts = load.shape
    compiled = kernel("corners") if face.plain else None
    if compiled is not None:
        out, work = np.empty(starts), np.empty((2 * many + 1, 3, face.points))
        compiled((many, starts, face.points), (face.maps, load, amplitude, tried), (out, work))
        return out
    signs = np.array(list(product((1.0, -1.0), repeat=int(tried.sum()))))
    boxes = np.repeat(load[None], len(signs), axis=0)
    boxes[:, tried] += signs[:, :, None] * amplitude[tried]
    return np.asarray(_used(face, boxes).max(axis=0))


def _used(face: Face, response: FloatArray) -> FloatArray:
    """The largest utilisation by responses of shape (n, k, m), shape (n, m)."""
    nodes, many, starts = response.shape
    return largest_utilisation(face, response.transpose(1, 0, 2).reshape(many, -1)).reshape(nodes, starts)


def _to_the_end(steps: FloatArray) -> FloatArray:
    """What counts from each node to the next, shape (n, m), or on all of them, (1, m): at the last node, too."""
    return steps if len(steps) == 1 else np.concatenate([steps, steps[-1:]])


def _vertex(before: FloatArray, at: FloatArray, after: FloatArray) -> FloatArray:
    """Where the parabola through three even places, the middle one the largest, has its top: -1/2 to 1/2."""
    curve = 2.0 * at - before - after
    return np.clip(np.divide(after - before, 2.0 * curve, out=np.zeros_like(at), where=curve > 0.0), -0.5, 0.5)


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
