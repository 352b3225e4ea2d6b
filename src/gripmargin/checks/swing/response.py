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
        sample: First sample of the stretch at which the part swings; up to there the pads just carry the load.
        load: What the pads carry when it begins, shape (6,).
        rate: Speed of the part against the gripper then, at the tool origin (translation, rotation), shape (6,).
        lead: How long before that sample it begins, less than the interval before it [s].
    """

    sample: int
    load: FloatArray
    rate: FloatArray
    lead: float = 0.0

    def of(self, modes: Modes, drive: Drive) -> Begun:
        """Return it at its sample mode by mode, under a drive."""
        response: FloatArray = modes.shapes.T @ self.load
        rate: FloatArray = modes.loads.T @ self.rate + drive.kick
        if self.lead > 0.0:
            response, rate = _state(modes, *self._until_its_sample(modes, drive))
        return Begun(sample=self.sample, response=np.asarray(response), rate=np.asarray(rate))

    def within(self, modes: Modes, drive: Drive, turn: float) -> tuple[FloatArray, FloatArray]:
        """Return the response at instants from where it begins to its sample, shape (modes, m), and its amplitude.

        Args:
            modes: The natural vibrations.
            drive: What drives them.
            turn: Of the fastest of them from instant to instant [rad].
        """
        t, load, free = self._until_its_sample(modes, drive)
        count = 1 + int(np.ceil(self.lead * float(modes.frequency.max()) / turn))
        shares = np.arange(count) / count
        parts = [response(t, load, modes.frequency, modes.damping, free, s, np.zeros(1, dtype=np.intp)) for s in shares]
        return np.concatenate(parts, axis=1), np.abs(free[:, 0])

    def _until_its_sample(self, modes: Modes, drive: Drive) -> tuple[FloatArray, FloatArray, ComplexArray]:
        """Both instants, the load at them and the free vibration."""
        last = slice(self.sample - 1, self.sample + 1)
        before, now = drive.t[last]
        share, t = self.lead / float(now - before), np.array([now - self.lead, now])
        load = np.asarray(drive.load[:, last] @ np.array([[share, 0.0], [1.0 - share, 1.0]]))
        begin = modes.shapes.T @ self.load, modes.loads.T @ self.rate + drive.kick
        return t, load, free_vibration(t, load, modes.frequency, modes.damping, begin)


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
        response, rate = _state(self.modes, self.drive.t[-2:], self.drive.load[:, -2:], self.vibration)
        return Begun(
            sample=0,
            response=response,
            rate=rate,
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


def _state(modes: Modes, t: FloatArray, load: FloatArray, free: ComplexArray) -> tuple[FloatArray, FloatArray]:
    """Response and its rate at the last sample, by the last two of the load and the free vibration."""
    slope, pole = slopes(t, load)[:, -1], -modes.damping * modes.frequency + 1j * modes.damped_frequency
    response = load[:, -1] - 2.0 * modes.damping / modes.frequency * slope + free[:, -1].imag
    return response, slope + (pole * free[:, -1]).imag


def swing(modes: Modes, drive: Drive, start: Start | Begun) -> Swing:
    """Return the swing that a drive starts or carries on.

    Args:
        modes: The natural vibrations.
        drive: The load history.
        start: How the stretch begins, or how far the swing has come.
    """
    begun = start.of(modes, drive) if isinstance(start, Start) else start
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
