"""The swing that a load history starts: the response of each mode, with its errors.

A response is the load as the pads feel it, mode by mode: for a load that changes slowly both are the same.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.swing.drive import FOLLOWED, Drive, spacing
from gripmargin.checks.swing.vibration import Modes
from gripmargin.kernels.oscillator import ComplexArray, fading_sum, free_vibration, response, slopes


@dataclass(frozen=True, eq=False, kw_only=True)
class Start:
    """How a stretch in the air begins.

    Attributes:
        sample: From which sample of the stretch on the part swings; up to there the pads just carry the load.
        load: What the pads carry then, shape (6,).
        rate: Speed of the part against the gripper then, at the tool origin (translation, rotation), shape (6,).
    """

    sample: int
    load: FloatArray
    rate: FloatArray


@dataclass(frozen=True, eq=False, kw_only=True)
class Swing:
    """The response of each mode over a stretch in the air.

    Attributes:
        modes: The natural vibrations.
        drive: What drives them.
        first: Sample from which on the part swings.
        vibration: Free vibration after each sample, as `gripmargin.kernels.oscillator` has it, shape (modes, n).
        unsure: Bound of the systematic error of the response, shape (modes, n).
        sigma: One standard deviation of its noise, shape (modes, n).
    """

    modes: Modes
    drive: Drive
    first: int
    vibration: ComplexArray
    unsure: FloatArray
    sigma: FloatArray

    def rows_of(self, other: Swing, taken: NDArray[np.bool_]) -> Swing:
        """Return the swing with the modes marked, shape (modes,), taken from another: each swings by itself."""
        if not taken.any() or taken.all():
            return other if taken.any() else self
        rows = {
            name: np.where(taken[:, None], getattr(other, name), getattr(self, name))
            for name in ("vibration", "unsure", "sigma")
        }
        return replace(self, drive=self.drive.rows_of(other.drive, taken), **rows)

    @cached_property
    def amplitude(self) -> FloatArray:
        """Amplitude of the swing about the load after each sample, as a response, shape (modes, n)."""
        return np.abs(self.about_base)

    @cached_property
    def about_base(self) -> ComplexArray:
        """The swing about the load after each sample as a complex number that turns and fades, shape (modes, n).

        Its imaginary part is the response less the load, its size the amplitude.
        """
        return self._about(slopes(self.drive.t, self.drive.load - self.drive.base))

    @cached_property
    def about_rest(self) -> FloatArray:
        """Amplitude of the residual vibration if the load stayed as it is after each sample, shape (modes, n)."""
        return np.abs(self._about(slopes(self.drive.t, self.drive.load)))

    def _about(self, slope: FloatArray) -> ComplexArray:
        """The swing about the base load, or where that stays what it is, by the slope of the load against it."""
        drive = self.drive
        w, z, turn = (x[:, None] for x in (self.modes.frequency, self.modes.damping, self.modes.damped_frequency))
        off = drive.load - drive.base
        out = self.vibration + (slope + (z * w + 1j * turn) * (off - 2.0 * z / w * slope)) / turn
        out[:, : self.first] = 0.0
        return out

    @cached_property
    def rates(self) -> tuple[FloatArray, FloatArray]:
        """Rate and second derivative of the response just after each sample, shape (modes, n) each."""
        drive, modes = self.drive, self.modes
        pole = modes.damping * -modes.frequency + 1j * modes.damped_frequency
        rate = slopes(drive.t, drive.load) + (pole[:, None] * self.vibration).imag
        w, z = modes.frequency[:, None], modes.damping[:, None]
        bend = w * w * (drive.load - self.response()) - 2.0 * z * w * rate
        rate[:, : self.first], bend[:, : self.first] = 0.0, 0.0
        return rate, bend

    def response(self, share: float = 0.0, at: NDArray[np.intp] | None = None) -> FloatArray:
        """Return the response at a share of the way from samples to the next ones, shape (modes, m).

        Args:
            share: 0 to below 1.
            at: Which samples, rising, shape (m,); None: all.
        """
        drive, modes = self.drive, self.modes
        at = np.arange(drive.t.size) if at is None else at
        out = response(drive.t, drive.load, modes.frequency, modes.damping, self.vibration, share, at)
        still = at[at < self.first]
        out[:, : still.size] = (1.0 - share) * drive.base[:, still] + share * drive.base[:, still + 1]
        return out


def swing(modes: Modes, drive: Drive, start: Start) -> Swing:
    """Return the swing that a drive starts.

    Args:
        modes: The natural vibrations.
        drive: The load history.
        start: How the stretch begins.
    """
    first = start.sample
    t, load = drive.t[first:], drive.load[:, first:]
    begin = begun(modes, drive, start)
    vibration = np.zeros(drive.load.shape, dtype=np.complex128)
    vibration[:, first:] = free_vibration(t, load, modes.frequency, modes.damping, begin)
    unsure, variance = drive.bias.copy(), drive.sigma**2
    for i, rate in enumerate(modes.damping * modes.frequency):
        unsure[i, first:] += fading_sum(t, drive.kinks[i, first:], complex(-rate)).real
        variance[i, first:] += fading_sum(t, drive.growth[i, first:], complex(-2.0 * rate)).real
    return Swing(modes=modes, drive=drive, first=first, vibration=vibration, unsure=unsure, sigma=np.sqrt(variance))


def begun(modes: Modes, drive: Drive, start: Start) -> tuple[FloatArray, FloatArray]:
    """Return the response and its rate with which a swing begins, shape (modes,) each."""
    return modes.shapes.T @ start.load, modes.loads.T @ start.rate + drive.kick


def better(modes: Modes, drives: tuple[Drive, Drive | None], start: Start, coverage: float) -> Swing:
    """Return the swing with, for each mode, the drive whose errors are smaller at their largest.

    Args:
        modes: The natural vibrations.
        drives: As `estimated_drives` returns them.
        start: How the stretch begins.
        coverage: Standard deviations of noise that count.
    """
    smoothed, unsmoothed = drives
    first = swing(modes, smoothed, start)
    if unsmoothed is None:
        return first
    followed = modes.frequency * spacing(smoothed.t).max() <= FOLLOWED
    other = swing(modes, smoothed.rows_of(unsmoothed, followed), start)
    less = (other.unsure + coverage * other.sigma).max(axis=1) < (first.unsure + coverage * first.sigma).max(axis=1)
    return first.rows_of(other, followed & less)
