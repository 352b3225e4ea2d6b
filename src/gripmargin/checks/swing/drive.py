"""What drives the part's swing: its load history, mode by mode, with what samples and noise leave open."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import differences_of
from gripmargin.checks.swing.vibration import Modes
from gripmargin.kernels.chord import sag
from gripmargin.kernels.oscillator import fading_sum

STEP_MISSED = 0.61  # half of 1 - min(sin x / x): the most by which a ramp may understate what a step does
STANDS_OUT = 4.0  # standard deviations of noise beyond which it is no noise: 3 in 10,000 (Rayleigh's distribution)
UNSEEN = 4.8  # [rad] from sample to sample beyond which a shaking looks like a slow motion: it shows as 2 pi less
FOLLOWED = 2.5  # [rad] that a mode turns from sample to sample beyond which a spline misses as much as a ramp does


@dataclass(frozen=True, eq=False, kw_only=True)
class Doubt:
    """Independent errors of a load history that comes from estimated rates.

    Attributes:
        columns: What one unit of each cause adds to the load, shape (causes, 6, n).
        sigma: One standard deviation of each cause, shape (n, causes).
        bias: Bound of its systematic error, shape (n, causes).
        window: Time over which it was smoothed [s], shape (n, causes).
        unsmoothed: What its integral and itself have to be changed by to follow the positions without smoothing,
            shape (2, n, causes), or None: not known.
        shaking: Acceleration of a shaking that smoothing takes for noise, and the size of that, which the bias counts,
            shape (2, n, causes).
        speed_sigma: One standard deviation of the noise of its integral, the speed, shape (n, causes).
        speed_bias: Bound of the systematic error of that speed, shape (n, causes).
        spin: What one unit of an error of speed adds to the cause at most, shape (n, 1).
        noise: Noise of the positions that it is the second derivative of, shape (causes,).
    """

    columns: FloatArray
    sigma: FloatArray
    bias: FloatArray
    window: FloatArray
    unsmoothed: FloatArray | None
    shaking: FloatArray
    speed_sigma: FloatArray
    speed_bias: FloatArray
    spin: FloatArray
    noise: FloatArray


@dataclass(frozen=True, eq=False, kw_only=True)
class Drive:
    """What drives the swing over a stretch in the air, mode by mode; arrays without a shape have shape (modes, n).

    Attributes:
        t: Times [s], shape (n,).
        load: Load as each mode takes it, straight between the samples.
        base: The load about which it swings: the same, or smoothed where the load is full of noise.
        kinks: By how much the load may start more or less swing at each sample than straight lines do.
        bias: Bound of the systematic error of the load itself.
        growth: Variance that noise adds to the swing from sample to sample.
        sigma: One standard deviation of the noise of the load itself.
        kick: What the start's rate is changed by, for a load whose own speed is not the smoothed one, shape (modes,).
    """

    t: FloatArray
    load: FloatArray
    base: FloatArray
    kinks: FloatArray
    bias: FloatArray
    growth: FloatArray
    sigma: FloatArray
    kick: FloatArray

    def scaled(self, t: FloatArray, factor: FloatArray, still: FloatArray) -> Drive:
        """Return the drive with moves at other speeds.

        Args:
            t: New times [s], shape (n,).
            factor: Square of the speed factor at each sample, shape (n,).
            still: What of the load does not depend on speed, shape (modes, n).
        """
        return Drive(
            t=t,
            load=still + factor * (self.load - still),
            base=still + factor * (self.base - still),
            kinks=factor * self.kinks,
            bias=factor * self.bias,
            growth=factor**2 * self.growth,
            sigma=factor * self.sigma,
            kick=np.sqrt(factor[0]) * self.kick,
        )

    def over(self, part: slice) -> Drive:
        """Return the drive over some of its instants."""
        rows = {name: getattr(self, name)[:, part] for name in ("load", "base", "kinks", "bias", "growth", "sigma")}
        return Drive(t=self.t[part], kick=self.kick, **rows)

    def rows_of(self, other: Drive, taken: NDArray[np.bool_]) -> Drive:
        """Return the drive with the modes marked, shape (modes,), taken from another."""
        if not taken.any() or taken.all():
            return other if taken.any() else self
        pick = {
            name: np.where(taken[:, None], getattr(other, name), getattr(self, name))
            for name in ("load", "base", "kinks", "bias", "growth", "sigma")
        }
        return Drive(t=self.t, kick=np.where(taken, other.kick, self.kick), **pick)


def given_drive(modes: Modes, t: FloatArray, wrench: FloatArray, doubt: Doubt | None = None) -> Drive:
    """Return the drive of a load that is known at the samples, and straight between them but for its curvature.

    A pulse of mean m over an interval h starts a swing of w h m at most, and of 4 m however long it is.

    Args:
        modes: The natural vibrations.
        t: Times [s], shape (n,).
        wrench: Load, shape (6, n).
        doubt: What accelerations may exceed the straight lines by; None: nothing.
    """
    load = modes.shapes.T @ wrench
    zero, none = np.zeros_like(load), np.zeros(modes.frequency.size)
    bias = zero
    if doubt is not None:
        bias = np.einsum("im,cin,nc->mn", np.abs(modes.shapes), np.abs(doubt.columns), doubt.bias)
    pulse = sag(t, load) * (2.0 / 3.0) + np.minimum(bias[:, :-1], bias[:, 1:])
    kinks = zero.copy()
    kinks[:, 1:] = np.minimum(modes.frequency[:, None] * np.diff(t), 4.0) * pulse
    return Drive(t=t, load=load, base=load, kinks=kinks, bias=bias, growth=zero, sigma=zero, kick=none)


def estimated_drives(
    modes: Modes, t: FloatArray, wrench: FloatArray, doubt: Doubt, first: int = 0, shaken: FloatArray | float = 0.0
) -> tuple[Drive, Drive | None]:
    """Return the drive of a load twice: with rates given or estimated by smoothing, and as the positions have it.

    Smoothing turns a step of the load into a ramp, and hides swing that the step starts: of a step of height H the
    bound of its bias shows H / 2 on either side, so twice the bound's ups and downs cover it. Unsmoothed, the load is
    that of the cubic spline through the positions. An oscillator that is slower than the samples follows the positions
    themselves and takes noise as w^2 times that of the positions; one that is faster cannot be followed.

    Args:
        modes: The natural vibrations.
        t: Times [s], shape (n,).
        wrench: Load, shape (6, n).
        doubt: Its errors.
        first: Sample from which on the part swings; it need not be among these.
        shaken: Swing that a shaking starts and smoothing takes for noise, as `shaking` returns it, shape (modes, n).

    Returns:
        Smoothed, and unsmoothed or None where that is not known.
    """
    estimate = _Estimate(modes=modes, t=t, load=modes.shapes.T @ wrench, doubt=doubt)
    unsmoothed = None if doubt.unsmoothed is None else estimate.unsmoothed(doubt.unsmoothed, first)
    smoothed = estimate.smoothed()
    return replace(smoothed, bias=smoothed.bias + shaken), unsmoothed


def shaking(
    modes: Modes, t: FloatArray, doubts: Iterable[tuple[slice, Doubt]], *, anywhere: bool = False
) -> FloatArray:
    """Return the swing that a shaking at the rate of a mode starts and smoothing takes for noise.

    Samples that are too far apart to follow it show it as a slower one; what the smoothing has left of the spline's
    acceleration is then that of the mode's own rate times a factor, for the spline turns y into
    -6 (1 - cos x) / (2 + cos x) y / h^2 (difference equation of the cubic spline; de Boor, A Practical Guide to
    Splines, ch. 4, from memory). It counts where it stands out from what noise does.

    Args:
        modes: The natural vibrations.
        t: Times [s], shape (n,).
        doubts: Errors of the load over parts of all samples; each begins with the last sample of the one before.
        anywhere: Whether the motion may shake at the rate of a mode even where no line in its spectrum shows it.

    Returns:
        Shape (modes, n); 0 where it does not stand out. Of modes that are too fast to be seen only what they
        exceed a shaking by that the bias counts.
    """
    out = np.zeros((modes.frequency.size, t.size))
    usual, least = float(np.median(spacing(t))), STANDS_OUT if anywhere else 0.0
    sums: list[tuple[complex | None, complex | None]] = [(None, None)] * modes.frequency.size
    for part, doubt in doubts:
        left = doubt.shaking[0] if doubt.unsmoothed is None or not anywhere else doubt.unsmoothed[1]
        columns = np.einsum("im,cin->mcn", modes.shapes, doubt.columns)
        for i, (w, z, per_cause) in enumerate(zip(modes.frequency, modes.damping, columns, strict=True)):
            x = w * usual
            if x >= UNSEEN:  # follows what shakes by up to half a turn from sample to sample
                counted = np.einsum("cn,nc->n", np.abs(per_cause), doubt.shaking[1])
                out[i, part] = counted / ((x / np.pi) ** 2 - 1.0)
                continue
            factor = x * x * (2.0 + np.cos(x)) / (6.0 * (1.0 - np.cos(x)))
            pushed = w * usual * factor * np.einsum("cn,nc->n", per_cause, left)
            grown = np.einsum("cn,c->n", per_cause**2, doubt.noise**2) * w**6 * usual**2 / 2.0
            swung = fading_sum(t[part], pushed, complex(-z * w, w * np.sqrt(1.0 - z * z)), sums[i][0])
            noise = fading_sum(t[part], grown, complex(-2.0 * z * w), sums[i][1])
            size = np.abs(swung)
            out[i, part] = np.where(size > least * np.sqrt(noise.real), size, 0.0)
            sums[i] = complex(swung[-1]), complex(noise[-1])
    return out


@dataclass(frozen=True, eq=False, kw_only=True)
class _Estimate:
    """A load by estimated rates, as each mode takes it, shape (modes, n), with its errors."""

    modes: Modes
    t: FloatArray
    load: FloatArray
    doubt: Doubt

    @cached_property
    def per_cause(self) -> FloatArray:
        """What one unit of each cause adds to the load of each mode, shape (modes, causes, n)."""
        return np.asarray(np.einsum("im,cin->mcn", self.modes.shapes, self.doubt.columns))

    @cached_property
    def bias(self) -> FloatArray:
        """Bound of the systematic error, shape (modes, n)."""
        return np.asarray(np.einsum("mcn,nc->mn", np.abs(self.per_cause), self.doubt.bias))

    @cached_property
    def bends(self) -> FloatArray:
        """Steps of the load that the samples leave room for, shape (modes, n)."""
        hidden = self.bias - self.shaken
        return _bends(self.t, self.load) + 2.0 * np.abs(np.diff(hidden, axis=1, prepend=0.0))

    @cached_property
    def shaken(self) -> FloatArray:
        """Size of a shaking that the bias counts, shape (modes, n)."""
        return np.asarray(np.einsum("mcn,nc->mn", np.abs(self.per_cause), self.doubt.shaking[1]))

    def smoothed(self) -> Drive:
        modes, doubt, step = self.modes, self.doubt, spacing(self.t)
        window = np.maximum(doubt.window, step[:, None])
        growth = [
            (column.T**2 * doubt.sigma**2 * _noise_share(w * window, window / step[:, None]) * window).sum(axis=1)
            * (w**2 / 2.0 * step)
            for w, column in zip(modes.frequency, self.per_cause, strict=True)
        ]
        ramps = np.minimum(modes.frequency[:, None] * window.max(axis=1) / 4.0, STEP_MISSED)
        return Drive(
            t=self.t,
            load=self.load,
            base=self.load,
            kinks=ramps * self.bends,
            bias=self.bias,
            growth=np.stack(growth),
            sigma=np.sqrt(np.einsum("mcn,nc->mn", self.per_cause**2, doubt.sigma**2)),
            kick=np.zeros(modes.frequency.size),
        )

    def unsmoothed(self, change: FloatArray, first: int) -> Drive:
        modes, doubt, step, w = self.modes, self.doubt, spacing(self.t), self.modes.frequency[:, None]
        noise2 = np.einsum("mcn,c->mn", self.per_cause**2, doubt.noise**2)
        speed_bias = np.einsum("mcn,nc->mn", np.abs(self.per_cause), doubt.speed_bias)
        speed_noise2 = np.einsum("mcn,nc->mn", self.per_cause**2, doubt.speed_sigma**2)
        kinks, growth = spline_missed(w * step) * self.bends, noise2 * w**6 * step**2 / 2.0
        kick = np.zeros(modes.frequency.size)
        if 0 <= first < self.t.size:
            # The part starts at the smoothed speed; the positions as they are have another one there.
            kinks[:, first] += modes.frequency * speed_bias[:, first]
            growth[:, first] += modes.frequency**2 * speed_noise2[:, first]
            kick = modes.frequency**2 * np.einsum("mc,c->m", self.per_cause[:, :, first], change[0, first])
        spin = doubt.spin[:, 0]
        return Drive(
            t=self.t,
            load=self.load + np.einsum("mcn,nc->mn", self.per_cause, change[1]),
            base=self.load,
            kinks=kinks,
            bias=spin * speed_bias,
            growth=growth,
            sigma=np.sqrt(noise2 * w**4 + spin**2 * speed_noise2),
            kick=kick,
        )


def spacing(t: FloatArray) -> FloatArray:
    """The wider of the intervals next to each sample [s], shape (n,)."""
    h = np.diff(t)
    return np.maximum(np.append(h, h[-1:]), np.concatenate([h[:1], h])) if h.size else np.full(t.size, 1e-9)


def widest(t: FloatArray) -> float:
    """Return the widest of the intervals [s]."""
    return float(differences_of(t).max()) if t.size > 1 else float(spacing(t).max())


def _bends(t: FloatArray, load: FloatArray) -> FloatArray:
    """Size of the second differences of a load at its samples, zero at both ends, its shape."""
    out = np.zeros_like(load)
    h = np.diff(t)
    if h.size > 1:
        out[:, 1:-1] = np.abs(np.diff(np.diff(load) / h)) * np.maximum(h[:-1], h[1:])
    return out


def spline_missed(turn: FloatArray) -> FloatArray:
    """Share of a step of acceleration that the spline through the positions may add to the swing or leave out.

    A mode that turns by x between samples sees the spline's own fading, sinc(x/2)^4 / ((2 + cos x) / 3), and the
    images of a step at 2 pi - x and 2 pi + x, whose positions are (x / (2 pi -+ x))^3 times as large; further ones
    are smaller than what both say too much together (Unser, IEEE Signal Process. Mag. 16(6), 1999, from memory).
    """
    x, once = np.clip(turn, 1e-6, FOLLOWED), 2.0 * np.pi
    fading = 1.0 - (np.sin(x / 2.0) / (x / 2.0)) ** 4 * 3.0 / (2.0 + np.cos(x))
    missed = np.maximum(fading, 0.0) + (x / (once - x)) ** 3 + (x / (once + x)) ** 3
    return np.where(turn <= FOLLOWED, missed, 1e3)  # a large number where nothing is followed


def _noise_share(turn: FloatArray, points: FloatArray) -> FloatArray:
    """Spectrum of the noise of a local fit, over its variance and its window, at a turn of the mode over the window.

    An upper bound of the spectra of local polynomials of degree 3 over 7 points and more, and of degree 4 over 5, all
    of which rise with the fourth power and fall beyond a turn of 7.
    """
    rise = np.minimum((turn / 4.0) ** 4, 1.0)
    fall = np.where(points > 4.5, np.minimum((7.0 / np.maximum(turn, 1e-9)) ** 1.5, 1.0), 1.0)
    return np.asarray(0.75 * rise * fall)
