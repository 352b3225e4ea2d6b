"""What errors of the rates do to the tool's accelerations.

In: `Rates` in a program's own coordinates, and what these do to the tool.
Out: `RateError`, cause by cause.
Error: that of a speed counts through the Coriolis terms, twice the angular velocity times it at most.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.motion.rates import Rates

Directions = Callable[[NDArray[np.intp]], FloatArray]


@dataclass(frozen=True, eq=False)
class RateError:
    """Errors of the tool's accelerations that come from the rates; each coordinate of the program is a cause.

    Attributes:
        sigma: One standard deviation of each independent cause, shape (n, causes).
        bias: Bound of its systematic error, shape (n, causes).
        directions: Samples to what one unit of each cause does to (acceleration of the origin, angular
            acceleration), tool axes; returns shape (causes, 6, m).
        window: Time over which each cause was smoothed [s], shape (n, causes).
        unsmoothed: What the speed and the acceleration of each cause have to be changed by to follow the positions
            without any smoothing, shape (2, n, causes), or None: not known.
        speed_sigma: One standard deviation of the noise of each cause's speed, shape (n, causes).
        speed_bias: Bound of the systematic error of that speed, shape (n, causes).
        spin: Acceleration that one unit of an error of speed makes at most, shape (n, 1).
        noise: Noise of the positions that go with the causes [rad or m], shape (causes,).
    """

    sigma: FloatArray
    bias: FloatArray
    directions: Directions
    window: FloatArray
    unsmoothed: FloatArray | None
    speed_sigma: FloatArray
    speed_bias: FloatArray
    spin: FloatArray
    noise: FloatArray

    @classmethod
    def of(cls, rates: Rates, spin: FloatArray, directions: Directions) -> RateError:
        """Work out the errors of rates.

        Args:
            rates: Of the program's coordinates.
            spin: Acceleration that one unit of an error of each speed makes at most, shape (n, causes).
            directions: As the attribute.
        """
        used = np.stack([rates.first, rates.second])
        return cls(
            sigma=np.hypot(rates.sigma_second, spin * rates.sigma_first),
            bias=rates.bias_second + spin * rates.bias_first,
            directions=directions,
            window=rates.window,
            unsmoothed=None if rates.spline is None else rates.spline - used,
            speed_sigma=rates.sigma_first,
            speed_bias=rates.bias_first,
            spin=spin.max(axis=1, keepdims=True),
            noise=rates.noise,
        )

    def columns(self, samples: NDArray[np.intp], *, bias: bool) -> FloatArray:
        """Return the independent errors of (acceleration, angular acceleration), shape (causes, 6, m)."""
        size = (self.bias if bias else self.sigma)[samples]
        return self.directions(samples) * size.T[:, None, :]

    def sizes(self, samples: NDArray[np.intp]) -> FloatArray:
        """Return the size of the error of the tool's accelerations.

        Returns:
            One sigma of the noise, then the bound of the bias; each of the acceleration of the origin [m/s^2], then of
            the angular acceleration [rad/s^2], shape (2, 2, m).
        """
        noise, bias = (self.columns(samples, bias=of_bias) for of_bias in (False, True))
        parts = slice(3), slice(3, 6)
        return np.array(
            [
                [np.linalg.norm(noise[:, part], axis=(0, 1)) for part in parts],
                [np.abs(bias[:, part]).sum(axis=(0, 1)) for part in parts],
            ]
        )
