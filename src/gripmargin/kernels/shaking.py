"""A shaking of samples that smoothing takes for noise: it has a line in its spectrum, which noise has not.

Parts of the spectrum of white noise, over their mean, are distributed exponentially (Fisher, Proc. R. Soc. A 125, 1929,
from memory). A line stands for a motion slower than half a turn from sample to sample: what is faster nobody who
drives a robot by such samples can have meant. Samples lie along the first axis, evenly in time.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import PART, leave, stored

CHANCE: Final = 1e-4  # that noise alone has such a line in its spectrum
SEEN: Final = 1.0  # [rad] from sample to sample above which smoothing leaves a shaking in what it takes for noise
TOGETHER: Final = 32  # samples over which the way is averaged
SPAN: Final = 1024  # samples that are looked at together: a motion repeated in it often enough to have lines is shaking


def shakes(left: FloatArray) -> NDArray[np.bool_]:
    """Find where what smoothing has left of accelerations has a line in its spectrum.

    Args:
        left: Acceleration of the cubic spline through the samples less the smoothed one, shape (n, channels).

    Returns:
        Its shape.
    """
    n = len(left)
    out = stored(left.shape, bool)
    size = min(n, SPAN)
    for first in sorted({*range(0, n - size + 1, SPAN // 2), n - size}):
        part = slice(first, first + size)
        turn = _turns(size)
        power = np.abs(np.fft.rfft(left[part], axis=0) * _of_positions(turn)[:, None])[turn > SEEN] ** 2
        if power.size:
            out[part] |= power.max(axis=0) > np.log(n / CHANCE) * power.mean(axis=0)
        if first % PART == 0:
            leave()
    return out


def sizes(left: FloatArray, step: float) -> FloatArray:
    """Return way, speed and acceleration that a shaking reaches about each sample, to either side.

    The size of the analytic signal (Gabor, J. IEE 93(3), 1946, from memory), so that it does not matter where in the
    shaking samples fall; of the way its root mean square over some samples: errors of the samples within a bound of e
    come to no more than sqrt(2) e.

    Args:
        left: As `shakes`.
        step: Time from sample to sample [s].

    Returns:
        Shape (3, n, channels).
    """
    from scipy.ndimage import uniform_filter1d  # noqa: PLC0415 - only estimated rates need it

    n = len(left)
    turn = _turns(n)
    bend = turn**2 * _of_positions(turn) / 6.0  # the spline turns y into -6 (1 - cos x) / (2 + cos x) y / h^2
    sides = np.where(2.0 * np.arange(turn.size) < n, 2.0, 1.0)  # what turns half a turn is its own other side
    parts = np.where(turn > SEEN, sides * bend, 0.0)[:, None] * np.fft.rfft(left, axis=0)
    over = step / np.maximum(turn, SEEN)[:, None]
    way, *rates = (np.abs(np.fft.ifft(parts * over**power, n, axis=0)) for power in (2, 1, 0))
    return np.stack([np.sqrt(uniform_filter1d(way**2, TOGETHER, axis=0)), *rates])


def _turns(n: int) -> FloatArray:
    """Turns from sample to sample of the parts of a spectrum [rad], shape (n // 2 + 1,)."""
    return np.asarray(2.0 * np.pi / n * np.arange(n // 2 + 1))


def _of_positions(turn: FloatArray) -> FloatArray:
    """What the positions have over what their spline makes of it, up to a factor; any value for no turn at all."""
    return np.asarray((2.0 + np.cos(turn)) / np.maximum(1.0 - np.cos(turn), 1e-12))
