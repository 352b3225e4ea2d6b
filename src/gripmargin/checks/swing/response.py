"""The swing that a load history starts: the response of each mode, with its errors.

A response is the load as the pads feel it, mode by mode: for a load that changes slowly both are the same.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.swing.drive import Drive
from gripmargin.checks.swing.vibration import Modes
from gripmargin.kernels.oscillator import ComplexArray, fading_sum, free_vibration, response, slopes


@dataclass(frozen=True, eq=False, kw_only=True)
class Begun:
    """A swing at an instant, mode by mode, from which it goes on; arrays of shape (modes,).

    Attributes:
        sample: Of the drive with which it goes on; up to there the pads just carry the load.
        response: There.
        rate: Of the response.
        unsure: Swing that the load may have started more or less so far; None: it starts here.
        variance: That noise has added so far; None likewise.
    """

    sample: int
    response: FloatArray
    rate: FloatArray
    unsure: FloatArray | None = None
    variance: FloatArray | None = None


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

    def of(self, modes: Modes, kick: FloatArray) -> Begun:
        """Return it mode by mode, with what the rate is changed by."""
        return Begun(sample=self.sample, response=modes.shapes.T @ self.load, rate=modes.loads.T @ self.rate + kick)


@dataclass(frozen=True, eq=False, kw_only=True)
class Swing:
    """The response of each mode over a stretch in the air.

    Attributes:
        modes: The natural vibrations.
        drive: What drives them.
        begun: How it begins.
        vibration: Free vibration after each sample, as `gripmargin.kernels.oscillator` has it, shape (modes, n).
        unsure: Bound of the systematic error of the response, shape (modes, n).
        sigma: One standard deviation of its noise, shape (modes, n).
    """

    modes: Modes
    drive: Drive
    begun: Begun
    vibration: ComplexArray
    unsure: FloatArray
    sigma: FloatArray

    @property
    def first(self) -> int:
        """Sample from which on the part swings."""
        return self.begun.sample

    @property
    def end(self) -> Begun:
        """The swing at the last sample, from which it goes on."""
        modes, load = self.modes, self.drive.load[:, -2:]
        slope, free = slopes(self.drive.t[-2:], load)[:, -1], self.vibration[:, -1]
        pole = -modes.damping * modes.frequency + 1j * modes.damped_frequency
        return Begun(
            sample=0,
            response=load[:, -1] - 2.0 * modes.damping / modes.frequency * slope + free.imag,
            rate=slope + (pole * free).imag,
            unsure=self.unsure[:, -1] - self.drive.bias[:, -1],
            variance=np.maximum(self.sigma[:, -1] ** 2 - self.drive.sigma[:, -1] ** 2, 0.0),
        )

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


def swing(modes: Modes, drive: Drive, start: Start | Begun) -> Swing:
    """Return the swing that a drive starts or carries on.

    Args:
        modes: The natural vibrations.
        drive: The load history.
        start: How the stretch begins, or how far the swing has come.
    """
    begun = start.of(modes, drive.kick) if isinstance(start, Start) else start
    first = begun.sample
    t, load, begin = drive.t[first:], drive.load[:, first:], (begun.response, begun.rate)
    vibration = np.zeros(drive.load.shape, dtype=np.complex128)
    vibration[:, first:] = free_vibration(t, load, modes.frequency, modes.damping, begin)
    unsure, variance = drive.bias.copy(), drive.sigma**2
    for i, rate in enumerate(modes.damping * modes.frequency):
        held, grown = (None if x is None else complex(x[i]) for x in (begun.unsure, begun.variance))
        unsure[i, first:] += fading_sum(t, drive.kinks[i, first:], complex(-rate), held).real
        variance[i, first:] += fading_sum(t, drive.growth[i, first:], complex(-2.0 * rate), grown).real
    return Swing(modes=modes, drive=drive, begun=begun, vibration=vibration, unsure=unsure, sigma=np.sqrt(variance))


def better(
    modes: Modes, drives: Iterable[tuple[Drive, Drive]], start: Start, coverage: float, may: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Return which modes are known better by the unsmoothed drive: its errors are smaller at their largest.

    Args:
        modes: The natural vibrations.
        drives: Smoothed and unsmoothed, part by part; each begins with the last sample of the one before.
        start: How the stretch begins.
        coverage: Standard deviations of noise that count.
        may: Which modes may be followed by it, shape (modes,).
    """
    most = np.zeros((2, may.size))
    states: list[Start | Begun] = [start, start]
    for smoothed, unsmoothed in drives:
        for k, drive in enumerate((smoothed, smoothed.rows_of(unsmoothed, may))):
            found = swing(modes, drive, states[k])
            most[k] = np.maximum(most[k], (found.unsure + coverage * found.sigma).max(axis=1))
            states[k] = found.end
    return may & (most[1] < most[0])
