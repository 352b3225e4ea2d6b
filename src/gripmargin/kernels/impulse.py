"""The most that a sum of damped oscillators can be made to respond, whatever drives them.

An oscillator that follows slow loads exactly answers an impulse with ``h = w exp(-z w t) sin(w' t) / sqrt(1 - z^2)``. A
load that is nowhere larger than 1 drives the sum of q_k h_k to no more than ``int |sum q_k h_k| dt``, and one does; a
load whose rate is nowhere larger than 1 takes it no farther from where the load alone would than ``int |sum q_k g_k|
dt``, g the integral of h from t on (convolution, once by parts; any text on linear systems).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray

FINE: Final = 0.15  # [rad] that the fastest mode which still swings turns from one instant to the next
FADED: Final = 1e-3  # share of a swing below which it is counted, not followed
BLOCK: Final = 2**23  # figures held at a time
CHORD: Final = FINE**2 / 12.0  # share that straight lines may miss of a sine (remainder of the trapezoidal rule)


@dataclass(frozen=True, eq=False)
class Impulse:
    """Answers of oscillators to an impulse, and what is left of them, over time.

    Attributes:
        weight: Of each instant in an integral over time [s], shape (n,).
        sudden: h of each mode [1/s], shape (modes, n).
        rest: Its integral from each instant on, shape (modes, n).
    """

    weight: FloatArray
    sudden: FloatArray
    rest: FloatArray

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
            weight=(np.append(step, 0.0) + np.append(0.0, step)) / 2.0,
            sudden=w * fading * np.sin(w * root * t),
            rest=fading * (root * np.cos(w * root * t) + z * np.sin(w * root * t)),
        )

    def most(self, factors: FloatArray, groups: list[list[int]]) -> tuple[FloatArray, FloatArray]:
        """Return what a load of size 1, and one whose rate is of size 1, does at most, from above.

        Args:
            factors: On the modes' answers to each component of a load, shape (rows, modes, components).
            groups: Which components are one load, whose size is the root of the sum of their squares.

        Returns:
            Shape (rows, groups) each [-], [s].
        """
        out, member = [], np.zeros((len(groups), factors.shape[2]), dtype=np.float32)
        for row, group in zip(member, groups, strict=True):
            row[group] = 1.0
        bounds = self.bounds(factors, groups)
        step = max(1, BLOCK // (self.weight.size * factors.shape[2]))
        for answer, bound in zip((self.sudden, self.rest), bounds, strict=True):
            found = np.empty(bound.shape)
            for first in range(0, len(factors), step):
                part = slice(first, first + step)
                # (rows, components, n); single precision is far within what is added for straight lines
                square = factors[part].transpose(0, 2, 1).astype(np.float32) @ answer.astype(np.float32)
                np.square(square, out=square)
                size = member @ square
                np.sqrt(size, out=size)
                found[part] = size @ self.weight
            out.append(found + (CHORD + FADED) * bound)
        return out[0], out[1]

    def bounds(self, factors: FloatArray, groups: list[list[int]]) -> tuple[FloatArray, FloatArray]:
        """Return the same as the sum of what each mode does alone: never less, and quick."""
        sizes = np.stack([np.linalg.norm(factors[:, :, group], axis=2) for group in groups], axis=2)
        each = [(1.0 + CHORD + FADED) * np.abs(answer) @ self.weight for answer in (self.sudden, self.rest)]
        return np.einsum("rmg,m->rg", sizes, each[0]), np.einsum("rmg,m->rg", sizes, each[1])


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
