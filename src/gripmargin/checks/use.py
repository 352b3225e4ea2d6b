"""How far the pads are used: the inverse of a margin, at every carried sample."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import by_parts, filled_with, largest_of, parts
from gripmargin.contact.grip import Grip
from gripmargin.results.findings import short_of


@dataclass(frozen=True, eq=False, kw_only=True)
class Use:
    """Utilisation over the carried samples: the inverse of a margin.

    Attributes:
        samples: Indices of the carried samples, shape (m,).
        value: Best estimate [-], shape (m,).
        low: Least value it may have, shape (m,).
        high: Largest value it may have, shape (m,); inf where it is unknown.
        point: Place of the grip where it is largest, shape (m,).
        grip: The places that count.
    """

    samples: NDArray[np.intp]
    value: FloatArray
    low: FloatArray
    high: FloatArray
    point: NDArray[np.intp]
    grip: Grip

    def margin(self) -> FloatArray:
        """Return the margin 1/u, inf where nothing pulls, shape (m,)."""
        return inverse(self.value)

    def over_time(self, n: int) -> tuple[FloatArray, FloatArray]:
        """Return the margin and the least value it may have at each of n samples, NaN outside the carry."""
        margin, low = filled_with(np.nan, (n,)), filled_with(np.nan, (n,))
        for part in parts(self.samples.size):
            at = self.samples[part]
            margin[at], low[at] = inverse(self.value[part]), inverse(self.high[part])
        return margin, low

    @property
    def most(self) -> float:
        """The largest value that it may have anywhere; inf where it is unknown."""
        return float(largest_of(lambda high: np.where(np.isnan(high), np.inf, high), self.high))

    def worse(self, other: Use) -> Use:
        """Return the worse of two uses of the same pads by the same samples."""
        return replace(
            self,
            point=by_parts(
                lambda mine, its, a, b: np.asarray(np.where(~(b <= a), its, mine)),
                *(self.point, other.point, self.value, other.value),
                kind=np.intp,
            ),
            value=by_parts(np.maximum, self.value, other.value),
            low=by_parts(np.maximum, self.low, other.low),
            high=by_parts(np.maximum, self.high, other.high),
        )

    def short_of(self, target: float) -> NDArray[np.bool_]:
        """Return where the margin is not surely on target, shape (m,)."""
        return by_parts(lambda high: short_of(inverse(high), target), self.high, kind=bool)


@dataclass(frozen=True, eq=False, kw_only=True)
class Asked:
    """A use of the pads and the margin that it has to keep.

    Attributes:
        name: Of the result that judges it.
        target: Margin wanted.
        use: How far the pads are used.
    """

    name: str
    target: float
    use: Use


def inverse(use: ArrayLike) -> FloatArray:
    """Return 1/u, inf where nothing is used."""
    return quotient(1.0, use)


def quotient(value: float, by: ArrayLike) -> FloatArray:
    """Return a value over others, inf where these are 0."""
    with np.errstate(divide="ignore"):
        return np.asarray(value / (np.asarray(by, dtype=np.float64) + 0.0))  # -0.0 + 0.0 is 0.0
