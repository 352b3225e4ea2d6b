"""What errors of the rates do to the tool's accelerations.

In: `Rates` in a program's own coordinates, and what these do to the tool.
Out: `RateError`, cause by cause.
Error: that of a speed counts through the Coriolis terms, twice the angular velocity times it at most.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import by_parts
from gripmargin.motion.rates import Rates, Unsmoothed

AT_ONCE: Final = 8_192  # samples whose errors are worked out at a time: memory alone
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
            without any smoothing; None: not known.
        shaking: Acceleration of a shaking that smoothing takes for noise, and the size of that, which the bias counts,
            shape (2, n, causes), or None: there is none.
        speed_sigma: One standard deviation of the noise of each cause's speed, shape (n, causes).
        speed_bias: Bound of the systematic error of that speed, shape (n, causes).
        spin: Acceleration that one unit of an error of speed makes at most, shape (n, 1).
        noise: Noise of the positions that go with the causes [rad or m], shape (causes,).
        names: Of the causes, each with its unit.
        quick: How far each moves within less time than samples can follow, 0 elsewhere, shape (n, causes), or None.
    """

    sigma: FloatArray
    bias: FloatArray
    directions: Directions
    window: FloatArray
    unsmoothed: Unsmoothed | None
    shaking: FloatArray | None
    speed_sigma: FloatArray
    speed_bias: FloatArray
    spin: FloatArray
    noise: FloatArray
    names: tuple[tuple[str, str], ...] = ()
    quick: FloatArray | None = None

    @classmethod
    def of(
        cls,
        t: FloatArray,
        rates: Rates,
        spin: FloatArray,
        directions: Directions,
        names: tuple[tuple[str, str], ...] = (),
    ) -> RateError:
        """Work out the errors of rates.

        Args:
            t: Times [s], shape (n,).
            rates: Of the program's coordinates.
            spin: Acceleration that one unit of an error of each speed makes at most, shape (n, causes).
            directions: As the attribute.
            names: As the attribute.
        """
        return cls(
            sigma=by_parts(lambda a, of, v: np.hypot(a, of * v), rates.sigma_second, spin, rates.sigma_first),
            bias=by_parts(lambda a, of, v: a + of * v, rates.bias_second, spin, rates.bias_first),
            directions=directions,
            window=rates.window,
            unsmoothed=rates.unsmoothed(t),
            shaking=rates.shaking,
            speed_sigma=rates.sigma_first,
            speed_bias=rates.bias_first,
            spin=spin.max(axis=1, keepdims=True),
            noise=rates.noise,
            names=names,
            quick=rates.quick,
        )

    def regripped(self, frame: FloatArray) -> RateError:
        """Return what the same errors do to another frame that is fixed to the tool, by its pose in the tool frame."""
        turn, arm = frame[:3, :3].T, frame[:3, 3]

        def directions(samples: NDArray[np.intp]) -> FloatArray:
            line, angular = np.split(self.directions(samples), 2, axis=1)
            line = line + np.cross(angular, arm[:, None], axisa=1, axisb=0, axisc=1)
            return np.concatenate([np.einsum("ij,cjm->cim", turn, rows) for rows in (line, angular)], axis=1)

        return replace(self, directions=directions)

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
        out = np.empty((2, 2, samples.size))
        for first in range(0, samples.size, AT_ONCE):
            here = slice(first, first + AT_ONCE)
            noise, bias = (self.columns(samples[here], bias=of_bias) for of_bias in (False, True))
            for k, part in enumerate((slice(3), slice(3, 6))):
                out[0, k, here] = np.linalg.norm(noise[:, part], axis=(0, 1))
                out[1, k, here] = np.abs(bias[:, part]).sum(axis=(0, 1))
        return out

    def largest(self, sample: int) -> int:
        """Return which cause has the largest error at a sample."""
        at = np.array([sample])
        both = 2.0 * self.columns(at, bias=False), self.columns(at, bias=True)
        return int(np.argmax(sum(np.linalg.norm(part[..., 0], axis=1) for part in both)))

    def most_of_it(self, sample: int) -> str:
        """Say which cause has the largest error at a sample, and how far it moved if that was too quick."""
        if not self.names:
            return ""
        worst = self.largest(sample)
        name, unit = self.names[worst]
        way = 0.0 if self.quick is None else float(self.quick[sample, worst])
        return f"{name}, which moves by {way:.2g} {unit} there within one or two samples" if way > 0.0 else name
