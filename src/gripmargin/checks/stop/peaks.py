"""The largest utilisation of the pads over the instants of stops."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.stop.instants import Instant, Ring
from gripmargin.kernels.face import Face


@dataclass(frozen=True, eq=False)
class Pads:
    """The pads, with the part's swing and the errors of the rates at every sample of the program.

    Attributes:
        face: The places that count.
        gain: Size of the normalised traction that a unit of each mode gives, shape (points, modes).
        noise: One sigma of the error of the utilisation, shape (n,).
        bias: Bound of its systematic error, shape (n,).
        ring: The swing that the part has when a stop begins.
    """

    face: Face
    gain: FloatArray
    noise: FloatArray
    bias: FloatArray
    ring: Ring

    def swing_at(self, samples: NDArray[np.intp]) -> Ring:
        """Return the swing of stops that begin at some samples of the program."""
        return self.ring.of(samples)


@dataclass(frozen=True, eq=False)
class Worst:
    """The largest utilisation over the instants of stops, and what goes with it; each of shape (m,).

    Attributes:
        sure: Without the swing, as far as the part follows the load for certain.
        value: With the swing by the last change of load.
        most: With the swings by all changes.
        point: Where the first is largest.
        noise: One sigma of its error.
        bias: Bound of its systematic error.
        last: Last sample of the program that the stops come near.
    """

    sure: FloatArray
    value: FloatArray
    most: FloatArray
    point: NDArray[np.intp]
    noise: FloatArray
    bias: FloatArray
    last: NDArray[np.intp]

    @classmethod
    def over(cls, pads: Pads, samples: NDArray[np.intp], instants: Iterable[Instant]) -> Worst:
        """Go through the instants of stops that begin at some samples."""
        m, ring = samples.size, pads.swing_at(samples)
        sure, value, most, point = np.zeros(m), np.zeros(m), np.zeros(m), np.zeros(m, dtype=np.intp)
        noise, bias, last = np.zeros(m), np.zeros(m), samples.copy()
        for instant in instants:
            _, u, at, all_of_it = instant.peak(pads.face, pads.gain, ring)
            point = np.where(~(u <= value), at, point)
            sure = np.maximum(sure, instant.surely(pads.face, pads.gain, ring))
            value, most = np.maximum(value, u), np.maximum(most, all_of_it)
            noise, bias = np.maximum(noise, pads.noise[instant.near]), np.maximum(bias, pads.bias[instant.near])
            last = np.maximum(last, instant.near)
        return cls(sure, value, most, point, noise, bias, last)

    def with_later(self, later: Worst, kept: NDArray[np.intp]) -> Worst:
        """Return it with what happens later on, which is known of some of the stops; the others take it from theirs.

        Args:
            later: Of the stops that are kept.
            kept: Which they are, rising, the first and the last among them.
        """
        every = np.arange(self.value.size)
        after = np.searchsorted(kept, every)
        ends = np.stack([np.where(kept[after] == every, after, np.maximum(after - 1, 0)), after])
        side = np.take_along_axis(ends, later.value[ends].argmax(axis=0)[None], axis=0)[0]
        value = later.value[ends].max(axis=0)
        return replace(
            self,
            sure=later.sure[ends].min(axis=0),
            value=np.maximum(self.value, value),
            most=np.maximum(self.most, later.most[ends].max(axis=0)),
            point=np.where(value > self.value, later.point[side], self.point),
        )
