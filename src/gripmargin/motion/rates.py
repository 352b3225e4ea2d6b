"""Speeds and accelerations from samples, with the error of each as part of the answer.

In: times and samples.
Out: `Rates`, by local polynomials (`gripmargin.kernels.adaptive_fit`) and by the spline through all samples.
Error: noise and smoothing, and what quick moves hide between samples (`gripmargin.kernels.bursts`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gripmargin.base.arrays import FloatArray, Value, first_wrong, frozen, owned
from gripmargin.base.errors import InputError
from gripmargin.base.stored import (
    differences_of,
    largest_of,
    parts,
    stored,
    turned,
    wide_parts,
)
from gripmargin.kernels.adaptive_fit import FEWEST, adaptive_fit
from gripmargin.kernels.bursts import burst_bias, hidden_bias
from gripmargin.kernels.cubic_spline import spline_rates
from gripmargin.kernels.digits import few_digits, value_error
from gripmargin.kernels.local_fit import even_step, running_max
from gripmargin.kernels.sample_noise import BLOCK, ROUNDING_SIGMA
from gripmargin.kernels.shaking import shakes, sizes
from gripmargin.motion.closer_bounds import NEVER, by_differences, by_pieces

ORDINARY: Final = 1e-4  # [rad or m] half of the coarsest last digit of files: 0.2 mm, 0.01 deg (no source)
JITTER: Final = 5e-6  # [rad or m] that positions may stray from a motion unseen in a file of 0.01 mm or 5e-4 deg
ROUNDED: Final = 1.2  # noise over the bound of an error that rounding explains: 1 / sqrt(3) of it, twice over
PROVEN: Final = 17  # points of a window that stay within a bound by chance in one of 60 where noise is 1.2 of it
NOISE_BAND: Final = 4.5  # standard deviations within which noise stays
AT_ONCE: Final = 131_072  # values of all channels that are worked out at a time: time and memory alone
SPLINE_REACH: Final = 64  # samples beyond which nobody sees what a spline does: a quarter from each to the next
METHOD: Final = (
    "Local polynomial least squares (Savitzky & Golay, Anal. Chem. 36(8), 1964); window at each sample by "
    "intersection of confidence intervals (Goldenshluger & Nemirovski, Math. Methods Stat. 6(2), 1997; Katkovnik, "
    "IEEE Trans. Signal Process. 47(9), 1999), then half as wide; noise from high differences of the samples. Where "
    "values have a hard bound, the pieces of constant or straight acceleration that they leave room for, by "
    "combinations of least 1-norm (Rivlin, Chebyshev Polynomials, Wiley 1990)"
)


class Unsmoothed(NamedTuple):
    """What speeds and accelerations have to be changed by to be those of the cubic spline through the positions.

    Attributes:
        t: Times [s], shape (n,).
        places: Positions, shape (n, causes).
        used: Speeds and accelerations, shape (n, causes) each.
        factors: Parts of the changes that count, of speeds and of accelerations, each a number or of shape (n, 1).
    """

    t: FloatArray
    places: FloatArray
    used: tuple[FloatArray, FloatArray]
    factors: tuple[FloatArray | float, FloatArray | float] = (1.0, 1.0)

    def times(self, speed: FloatArray | float, acceleration: FloatArray | float) -> Unsmoothed:
        """Return parts of the changes."""
        return self._replace(factors=(speed * self.factors[0], acceleration * self.factors[1]))

    def over(self, part: slice) -> FloatArray:
        """Return the changes at some samples, shape (2, m, causes)."""
        wide = slice(max(part.start - SPLINE_REACH, 0), part.stop + SPLINE_REACH)
        here = slice(part.start - wide.start, part.stop - wide.start)
        out = spline_rates(self.t[wide], self.places[wide])[:, here]
        for k, (used, factor) in enumerate(zip(self.used, self.factors, strict=True)):
            out[k] -= used[part]
            out[k] *= factor[part] if isinstance(factor, np.ndarray) else factor
        return out


@dataclass(frozen=True, eq=False)
class Rates(Value):
    """Derivatives of samples and their errors: at least 95 % lie between those of a sample and of one beside it.

    Both within 2 sigma + bias, of all channels together: what is convex in them is no larger between.

    Attributes:
        first: First derivative [unit/s], shape (n, channels).
        second: Second derivative [unit/s^2], shape (n, channels); (0, channels) where only the first was asked for.
        sigma_first: Noise of the first derivative, one standard deviation, its shape.
        sigma_second: Noise of the second derivative, one standard deviation, its shape.
        bias_first: Estimated bound of what smoothing and sampling do to the first derivative, its shape.
        bias_second: Estimated bound of what smoothing and sampling do to the second derivative, its shape.
        noise: Noise found in the samples [unit], one standard deviation, shape (channels,).
        window: Time over which a step of the second derivative is smoothed [s], shape (n, channels).
        places: The samples, shape (n, channels), or None: the second derivative is not theirs. The cubic spline through
            them is not smoothed at all, so all noise is in it; an oscillator slower than the samples smooths it itself.
        quick: How far the samples move within less time than they can follow [unit], 0 elsewhere, shape (n, channels),
            or None: not looked for.
        jitter: The same of what is taken for jitter of the positions, not for motion.
        shaking: Acceleration of a shaking that smoothing takes for noise, and the size of that, which the bias counts,
            0 elsewhere, shape (2, n, channels), or None: not found.
    """

    first: FloatArray
    second: FloatArray
    sigma_first: FloatArray
    sigma_second: FloatArray
    bias_first: FloatArray
    bias_second: FloatArray
    noise: FloatArray
    window: FloatArray
    places: FloatArray | None = None
    quick: FloatArray | None = None
    jitter: FloatArray | None = None
    shaking: FloatArray | None = None

    def __post_init__(self) -> None:
        n, channels = np.shape(self.first)
        seconds = len(self.second)
        for name, rows in (("first", n), ("second", seconds)):
            for field in (name, f"sigma_{name}", f"bias_{name}"):
                object.__setattr__(self, field, frozen(getattr(self, field), (rows, channels), f"rates {field}"))
        object.__setattr__(self, "noise", frozen(self.noise, (channels,), "rates noise"))
        object.__setattr__(self, "window", frozen(self.window, (n, channels), "rates window"))
        both, each = (2, n, channels), (n, channels)
        shapes = {"places": each, "shaking": both, "quick": each, "jitter": each}
        for field, shape in shapes.items():
            if getattr(self, field) is not None:
                object.__setattr__(self, field, frozen(getattr(self, field), shape, f"rates {field}"))

    def beside(self, other: Rates) -> Rates:
        """Return these channels and those of other samples taken at the same times, side by side."""
        both: dict[str, Any] = {f.name: (getattr(self, f.name), getattr(other, f.name)) for f in fields(self)}
        for name, (one, two) in both.items():
            rows = [np.zeros_like(two) if one is None else one, np.zeros_like(one) if two is None else two]
            both[name] = None if one is None and two is None else np.concatenate(rows, axis=-1)
        return Rates(**both)

    def unsmoothed(self, t: FloatArray) -> Unsmoothed | None:
        """Return what speeds and accelerations have to be changed by to follow the samples; None: it is not known."""
        return None if self.places is None else Unsmoothed(t, self.places, (self.first, self.second))

    def shaken(self, t: FloatArray, error: FloatArray) -> Rates:
        """Return the rates with a bias that counts a shaking of the positions that was smoothed away as noise.

        Args:
            t: Times [s], shape (n,).
            error: Bound of what rounding does to each position, shape (channels,).
        """
        if (unsmoothed := self.unsmoothed(t)) is None:
            return self
        left, seen = stored(self.second.shape), stored(self.second.shape)
        for part in parts(t.size, size=AT_ONCE // 8):
            left[part] = unsmoothed.over(part)[1]
            beyond = (self.sigma_second[part] > 0.0) & (np.abs(left[part]) > self.bias_second[part])
            seen[part] = np.where(beyond, left[part], 0.0)
        where = shakes(seen)
        if first_wrong(where, lambda some: some) is None:
            return self
        way, speed, acceleration = sizes(left, float(np.median(np.diff(t))))
        where &= (self.sigma_second > 0.0) & (way > np.sqrt(2.0) * error)
        speed, acceleration, left = (np.where(where, rows, 0.0) for rows in (speed, acceleration, left))
        return replace(
            self,
            bias_first=self.bias_first + speed,
            bias_second=self.bias_second + acceleration,
            shaking=np.stack([left, acceleration]),
        )

    def in_words(self, turning: NDArray[np.bool_]) -> str:
        """Return bandwidth and noise in words, of channels of which some are angles."""
        unit = "rad" if turning.all() else "m" if not turning.any() else "rad or m"
        low, high = -1e3 * largest_of(np.negative, self.window).max(), 1e3 * largest_of(np.positive, self.window).max()
        span = f"{low:.3g} ms" if high <= 1.01 * low else f"{low:.3g} to {high:.3g} ms"
        return f"local polynomials that smooth steps over {span}; noise found {self.noise.max():.2g} {unit}."

    def jitter_in_words(self, t: FloatArray, names: Sequence[tuple[str, str]]) -> tuple[str, ...]:
        """Say where the largest jitter of the positions is; nothing where there is none.

        Args:
            t: Times [s], shape (n,).
            names: Of the channels, each with its unit.
        """
        if self.jitter is None or first_wrong(self.jitter, lambda some: some != 0.0) is None:
            return ()
        sample, channel = divmod(int(np.argmax(self.jitter)), self.jitter.shape[1])
        name, unit = names[channel]
        way = f"{self.jitter[sample, channel]:.2g} {unit} within one or two samples at {t[sample]:.3f} s"
        said = (
            f"Jitter: {name} moves by {way}; what strays from a motion by less than {JITTER:.2g} {unit} for less than "
            "three samples is not taken for acceleration."
        )
        return (said,)


@dataclass(frozen=True, eq=False, kw_only=True)
class ProgramRates:
    """When the samples of a program were taken, and its rates in its own coordinates.

    Attributes:
        t: Times [s], increasing, shape (n,).
        rates: Of every coordinate.
        known: Whether the file gives speeds and accelerations.
        doubts: (first sample, last sample, reason) of stretches that cannot be judged.
        notes: How they came about, in sentences.
    """

    t: FloatArray
    rates: Rates
    known: bool = False
    doubts: tuple[tuple[int, int, str], ...] = ()
    notes: tuple[str, ...] = ()


def estimate_rates(
    t: ArrayLike,
    y: ArrayLike,
    *,
    order: int = 2,
    scatter: float = 0.0,
    late: float = 0.0,
    bursts: bool = True,
    pieces: bool = True,
    error: FloatArray | None = None,
    jitter: float = JITTER,
) -> Rates:
    """Estimate the derivatives of samples.

    Args:
        t: Times [s], increasing, evenly spaced or not, shape (n,), n >= 5.
        y: Samples, shape (n, channels).
        order: 2 for first and second derivative of positions, 1 for the first derivative of speeds.
        scatter: By which the times may be off [s], one standard deviation.
        late: By which each sample may be older than its time says [s]: noise that goes with the speed.
        bursts: Whether quick moves that samples cannot follow are looked for.
        pieces: Whether polynomial pieces are, which needs times and values whose errors have a bound.
        error: Bound of the error of each value, shape (channels,); None: half of the last digit that the values show.
        jitter: What values may stray from a motion for a sample or two without being taken for motion [unit].

    Raises:
        InputError: Fewer than 5 samples, times that do not increase, NaN, or numbers too large to differentiate.
    """
    times = frozen(t, (None,), "t")
    samples = frozen(y, (times.size, None), "samples")
    if order not in (1, 2):
        raise InputError("order", f"{order}", "1 or 2")
    if times.size < FEWEST:
        raise InputError(
            "samples", f"{times.size}", f"at least {FEWEST}", f"at least {FEWEST} samples are needed to estimate rates"
        )
    if first_wrong(differences_of(times), lambda some: some <= 0) is not None:
        raise InputError("t", "times that repeat or go back", "times that increase")
    scatter = max(scatter, ROUNDING_SIGMA * late)
    columns = turned(samples)
    known = value_error(columns) if error is None else frozen(error, (len(columns),), "error")
    found = _estimated(
        times,
        samples,
        columns,
        order,
        scatter,
        late,
        bursts=bursts,
        pieces=pieces,
        error=error,
        known=known,
        jitter=jitter,
    )
    del columns
    if late > 0.0:  # scatter that goes with the speed is no shaking, and has its place in the noise already
        return found
    return found.shaken(times, known)


def _estimated(
    times: FloatArray,
    samples: FloatArray,
    columns: FloatArray,
    order: int,
    scatter: float,
    late: float,
    *,
    bursts: bool,
    pieces: bool,
    error: FloatArray | None,
    known: FloatArray,
    jitter: float,
) -> Rates:
    """Rates but for what shaking hides; what a long program takes on the way is free again when they are found.

    Of samples, shape (n, channels), and the same in columns; a bound of their error that is given, or found.
    """
    fits, window, noise, sure = adaptive_fit(times, columns, (2, 1) if order == 2 else (1,), late=ROUNDING_SIGMA * late)
    first, second = (np.swapaxes(rows, 1, 2) for rows in (fits[-1], fits[0]))
    if order == 1:
        none = np.zeros((0, samples.shape[1]))
        value, sigma, bias = (owned(rows) for rows in first)
        return Rates(value, none, sigma, none, bias, none, noise, window.T)
    quick, strays = stored(columns.shape), stored(columns.shape)
    if bursts:
        even = even_step(times) is not None
        bias = burst_bias(times, columns, even=even, scatter=scatter, error=error)
        hidden = hidden_bias(times, columns, first[0].T, even=even) if scatter == 0.0 else bias
        for part, wide, inside in wide_parts(times.size, 4):
            way = np.zeros((len(columns), wide.stop - wide.start))
            way[:, 1:-1] = np.abs(np.diff(columns[:, wide], 2))
            quick[:, part] = np.where(bias[:, part] > 0.0, running_max(way, 3)[:, inside], 0.0)
            second[2, part] += np.maximum(bias[:, part], hidden[:, part]).T
        del bias, hidden
    if pieces:
        error = known
        way = largest_of(np.positive, samples) + largest_of(np.negative, samples)
        for still in np.flatnonzero((way <= 2.01 * error) & (error <= ORDINARY)):  # in one digit: at rest
            for part in parts(times.size):
                second[:, part, still] = 0.0
        if scatter == 0.0:
            noisy = sure > ROUNDED * error[:, None]

            def proven(run: slice, channels: NDArray[np.intp]) -> NDArray[np.intp]:
                return np.where(noisy[channels][:, np.arange(run.start, run.stop) // BLOCK], PROVEN, 0)

            by_pieces(times, columns, error, second, window, proof=proven)
            shaken = np.median(sure, axis=1) <= jitter / NOISE_BAND

            def strayed(run: slice, channels: NDArray[np.intp]) -> NDArray[np.intp]:
                return np.where(beside[channels, run], 0, NEVER)

            beside = stored(columns.shape, bool)
            for part, wide, inside in wide_parts(times.size, 2):
                beside[:, part] = shaken[:, None] & running_max(quick[:, wide] > 0.0, 2)[:, inside]
            is_quick = stored(columns.shape, bool)
            small = by_pieces(times, columns, np.maximum(error, jitter), second, window, proof=strayed, only=beside)
            for part in parts(times.size):
                is_quick[:, part] = quick[:, part] > 0.0
                strays[:, part] = np.where(small[:, part], quick[:, part], 0.0)
                quick[:, part] = np.where(small[:, part], 0.0, quick[:, part])
            few = few_digits(columns, error, noise)
            by_differences(times, columns, error, second, window, is_quick, few)
    seen = [turned(rows) if first_wrong(rows.T, lambda some: some != 0.0) else None for rows in (quick, strays)]
    del quick, strays
    (speed, speed_sigma, speed_bias), (value, sigma, bias) = (
        [owned(rows) for rows in each] for each in (first, second)
    )
    smoothed = owned(turned(window))
    return Rates(speed, value, speed_sigma, sigma, speed_bias, bias, noise, smoothed, samples, *seen)
