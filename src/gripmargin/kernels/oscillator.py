"""Damped oscillators under loads that change in straight lines between samples: exact, at any spacing.

An oscillator is scaled so that a constant load p gives the response p: ``y'' / w^2 + 2 z y' / w + y = p(t)``. On a
straight stretch of the load the response is ``p - 2 z p' / w`` plus a free vibration; where the slope changes by D the
free vibration gains ``2 z D / w`` in place and ``-D`` in speed (Duhamel's integral in steps: Chopra, Dynamics of
Structures, ch. 4 and 5, from memory). Written as a complex number that turns and fades, the free vibration is a sum
over all such changes, so it needs no loop over the samples.

Samples are the last axis.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.core import kernel

ComplexArray = NDArray[np.complexfloating]

FADED: Final = float(np.log(np.finfo(np.float64).max)) / 2.0  # e-folds: what fades by as many and back is a number


def fading_sum(
    t: FloatArray, jumps: FloatArray | ComplexArray, pole: complex, held: complex | None = None
) -> ComplexArray:
    """Return the sum of all jumps so far, each turned and faded for the time since: sum J_j exp(pole (t - t_j)).

    Args:
        t: Times [s], increasing, shape (n,).
        jumps: Shape (n,).
        pole: [1/s]; its real part is 0 or less.
        held: The sum just after the first time, where it goes on from earlier ones; None: it begins with its jump.

    Returns:
        Just after each time, shape (n,).
    """
    if held is not None:
        jumps = np.concatenate([[held], jumps[1:]])
    out = np.empty(t.size, dtype=np.complex128)
    compiled = kernel("fading_sum")
    if compiled is not None:
        compiled(
            (t.size,), (t, np.asarray(jumps, dtype=out.dtype), np.array([pole], out.dtype), np.array([FADED])), (out,)
        )
        return out
    span = np.floor((t[0] - t) * pole.real / FADED).astype(np.intp)
    starts = np.flatnonzero(np.diff(span, prepend=-1))
    before = 0.0 + 0.0j
    for first, end in zip(starts, [*starts[1:], t.size], strict=True):
        turn = np.exp(pole * (t[first:end] - t[first]))
        if first:
            before = complex(out[first - 1] * np.exp(pole * (t[first] - t[first - 1])))
        out[first:end] = (before + np.cumsum(jumps[first:end] / turn)) * turn
    return out


def slopes(t: FloatArray, load: FloatArray) -> FloatArray:
    """Return the slope of a load after each sample; after the last one that before it. Shape of the load."""
    rise = np.diff(load) / np.diff(t)
    return np.concatenate([rise, rise[..., -1:] if rise.shape[-1] else np.zeros((*load.shape[:-1], 1))], axis=-1)


def free_vibration(
    t: FloatArray, load: FloatArray, frequency: FloatArray, damping: FloatArray, start: tuple[FloatArray, FloatArray]
) -> ComplexArray:
    """Return the free vibration of each oscillator just after each sample.

    Its imaginary part is what the response has beyond ``load - 2 z slope / w``, its size the amplitude; until the
    next sample it turns and fades as ``exp((-z w + i wd) time)``.

    Args:
        t: Times [s], increasing, shape (n,).
        load: At the samples, straight between them, shape (modes, n).
        frequency: Undamped angular frequency w [rad/s], shape (modes,).
        damping: Share z of critical damping, 0 up to 1, shape (modes,).
        start: Response and its rate at the first sample, shape (modes,) each.

    Returns:
        Shape (modes, n).
    """
    slope = slopes(t, load)
    out = np.empty(load.shape, dtype=np.complex128)
    for i, (w, z) in enumerate(zip(frequency, damping, strict=True)):
        turn = w * np.sqrt(1.0 - z * z)
        pole = complex(-z * w, turn)
        place = np.diff(slope[i], prepend=0.0) * (2.0 * z / w)
        speed = -np.diff(slope[i], prepend=0.0)
        place[0] = start[0][i] - load[i, 0] + 2.0 * z * slope[i, 0] / w
        speed[0] = start[1][i] - slope[i, 0]
        out[i] = fading_sum(t, (speed - np.conj(pole) * place) / turn, pole)
    return out


def response(
    t: FloatArray,
    load: FloatArray,
    frequency: FloatArray,
    damping: FloatArray,
    vibration: ComplexArray,
    share: float = 0.0,
    at: NDArray[np.intp] | slice = slice(None),
) -> FloatArray:
    """Return the response at a share of the way from each sample to the next.

    Args:
        t: Times [s], shape (n,).
        load: Shape (modes, n).
        frequency: [rad/s], shape (modes,).
        damping: Shape (modes,).
        vibration: As `free_vibration` returns it, shape (modes, n).
        share: 0 to below 1; the last sample counts as itself.
        at: Which samples, m of them.

    Returns:
        Shape (modes, m).
    """
    slope, step = slopes(t, load)[:, at], np.append(np.diff(t), 0.0)[at]
    load, vibration = load[:, at], vibration[:, at]
    lag = 2.0 * (damping / frequency)
    if share == 0.0:
        return np.asarray(load - lag[:, None] * slope + vibration.imag)
    later = share * step
    poles = frequency * (-damping + 1j * np.sqrt(1.0 - damping**2))
    compiled = kernel("response")
    if compiled is not None:
        out = np.empty(load.shape)
        compiled(load.shape, (load, slope, later, vibration, lag, poles), (out,))
        return out
    return np.asarray(load + slope * later - lag[:, None] * slope + (vibration * np.exp(poles[:, None] * later)).imag)
