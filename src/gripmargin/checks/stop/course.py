"""A program as its stops meet it: the load of the part mode by mode, its swing, and what is not known of both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.hold.use import rate_errors
from gripmargin.checks.swing.drive import spacing, spline_missed
from gripmargin.checks.swing.ringing import Stretch, next_too
from gripmargin.checks.swing.vibration import Modes
from gripmargin.contact.loads import load_per_acceleration, part_load, standing_load
from gripmargin.kernels.law_defects import MARKED
from gripmargin.kernels.march import Oscillators, State, missed
from gripmargin.kernels.oscillator import ComplexArray, slopes
from gripmargin.kernels.rows import tables_between
from gripmargin.kernels.utilisation import traction_size
from gripmargin.motion.tool_motion import ToolMotion

Indices = NDArray[np.intp]
SPLINE: Final = 1.25  # a spline through positions misses so many times a step at most, however slowly it passes
NOTHING: Final = 1e-4  # utilisation below which noise is not looked at
AT_ONCE: Final = 1e9  # [rad/s] frequency of what has no mass to swing


@dataclass(frozen=True, eq=False, kw_only=True)
class Course:
    """The program over its time, at its n samples; k modes.

    Attributes:
        oscillators: The modes; what no mode takes, for lack of mass, comes last.
        take: Load wrench to the load of each mode, shape (k, 6).
        carry: What the pads carry for a unit of each response, shape (6, k).
        slower: Factor on the speed of the program.
        t: Times as it runs [s], shape (n,).
        tool: The tool's motion at full speed, n samples.
        table: Loads of each mode by gravity, then by the program's motion, then by a unit of time deceleration,
            shape (3 n, k).
        kicks: Swing that the load between the instants may start as the program runs, added up, and by steps however
            slowly they pass, shape (2, k, n).
        spline: Which modes' load is that of a spline through the positions, shape (k, 1).
        offset: Bound of the utilisation by errors of the accelerations, and of the speeds for a unit of time
            deceleration, shape (2, n).
        sigma: One standard deviation of it by noise, likewise.
        rough: What of the load noise shakes, shape (k, n); None: noise counts for nothing.
        growth: Variance that noise adds to the swing as the program runs, added up over the instants, shape (k, n).
        vibration: Free vibration of each mode after each instant, as `gripmargin.kernels.oscillator` has it, (k, n).
            Between samples that mark a step it is that about the load as it went on before: the load rises by any
            slope there, and what is left of that is no swing.
        driven: Load about which it swings, and the slope of it after each instant, shape (2, k, n).
        unsure: Bound of the systematic error of the response up to the next instant, shape (k, n).
        variance: Of its noise, likewise.
    """

    oscillators: Oscillators
    take: FloatArray
    carry: FloatArray
    slower: float
    t: FloatArray
    tool: ToolMotion
    table: FloatArray
    kicks: FloatArray
    spline: NDArray[np.bool_]
    offset: FloatArray
    sigma: FloatArray
    rough: FloatArray | None
    growth: FloatArray
    vibration: ComplexArray
    driven: FloatArray
    unsure: FloatArray
    variance: FloatArray

    @classmethod
    def of(cls, case: Case, modes: Modes, slower: float, stretches: Sequence[Stretch]) -> Course:
        """Work it out.

        Args:
            case: The job.
            modes: Natural vibrations of the part on the pads.
            slower: Factor on the speed of the program.
            stretches: The part's swing while the program runs, in these modes; without any it hangs still.
        """
        count, part = modes.frequency.size, case.job.part
        left, size, right = np.linalg.svd(np.eye(6) - modes.loads @ modes.shapes.T)
        stiff, swings = np.arange(6) < 6 - count, np.arange(6) < count
        carry, take = np.hstack([modes.loads, (left * size)[:, stiff]]), np.vstack([modes.shapes.T, right[stiff]])
        face = case.grip.face
        face = replace(face, maps=face.maps @ carry, spread=None if face.spread is None else face.spread @ carry)
        oscillators = Oscillators(
            frequency=np.append(modes.frequency, np.full(6 - count, AT_ONCE)),
            damping=np.append(modes.damping, np.full(6 - count, 0.5)),
            face=face,
            gain=np.where(swings, traction_size(face, np.eye(6)).max(axis=0), 0.0),
            followed=swings,
        )
        tool = case.motion.at
        t, still = tool.t / slower, standing_load(part, tool, case.job.gravity)
        moving = slower**2 * (part_load(part, tool, case.job.gravity, case.job.air_density) - still)
        loads = np.stack([take @ x for x in (still, moving, slower * per_time_deceleration(case, tool))])
        kicks, none = np.zeros((2, 6, t.size)), np.zeros((6, t.size))
        rough, growth, unsure, variance = (none.copy() for _ in range(4))
        vibration, driven = none.astype(np.complex128), np.stack([loads[0] + loads[1], none])
        offset, sigma = _errors(case, slower, t.size)
        for stretch in stretches:
            found = _at_speed(stretch, slower).swing
            drive, first, some = found.drive, int(stretch.samples[0]), slice(count)
            here = slice(first, first + drive.t.size)
            loads[1, some, here] = drive.load - loads[0, some, here]
            rough[some, here], growth[some, here] = drive.load - drive.base, drive.growth
            wider = max(1.0, 1.0 / slower)  # what a straight line between instants misses grows with the time between
            kicks[0, some, here] = wider * drive.kinks
            if rough[:, here].any():  # the load is no longer that of the smoothed rates
                gain = oscillators.gain[some]
                offset[0, here], sigma[0, here] = gain @ drive.bias, gain @ drive.sigma
            slope, steps = slopes(drive.t, drive.load), _on_steps(drive.t)
            even = np.where(steps < 0, 0.0, slope[:, steps])
            vibration[some, here] = found.vibration + oscillators.phase(none[:, :1], 1.0)[some] * (slope - even)
            driven[:, some, here] = drive.load, even
            unsure[some, here], variance[some, here] = wider * next_too(found.unsure), next_too(found.sigma**2)
        known = float(oscillators.gain @ np.sqrt(growth.sum(axis=1)) + sigma.max()) <= NOTHING
        turn, spline = oscillators.frequency[:, None] * spacing(t), rough.any(axis=1, keepdims=True)
        kicks[1] = kicks[0] * missed(np.inf) * np.where(spline, SPLINE / spline_missed(turn), 1.0 / missed(turn))
        return cls(
            oscillators=oscillators,
            take=take,
            carry=carry,
            slower=slower,
            t=t,
            tool=tool,
            table=np.ascontiguousarray(loads.swapaxes(1, 2)).reshape(-1, 6),
            kicks=np.cumsum(kicks, axis=2),
            spline=np.asarray(spline),
            offset=next_too(offset),
            sigma=0.0 * sigma if known else next_too(sigma),
            rough=None if known else rough,
            growth=0.0 * growth if known else np.cumsum(growth, axis=1),
            vibration=vibration,
            driven=driven,
            unsure=unsure,
            variance=0.0 * variance if known else variance,
        )

    def place(self, t: FloatArray) -> tuple[Indices, FloatArray]:
        """Return the instant before some times and the share of the interval that has passed; the last one stays."""
        near = np.clip(np.searchsorted(self.t, t, side="right") - 1, 0, self.t.size - 2)
        return near, np.clip((t - self.t[near]) / (self.t[near + 1] - self.t[near]), 0.0, 1.0)

    def between(self, near: Indices, share: FloatArray, square: FloatArray, rate: FloatArray) -> FloatArray:
        """Return the load of each mode at places, as `place` has them, shape (..., k, m).

        Args:
            near: Shape (..., m).
            share: Likewise.
            square: Square of the speed factor, likewise.
            rate: At which the program's time speeds up [1/s], likewise.
        """
        return tables_between(self.table, near, share, square, rate)

    def state(self, t: FloatArray) -> tuple[State, FloatArray]:
        """Return the swing of the part when stops begin, and how far it swings just before or after, shape (k, m).

        Args:
            t: When [s], shape (m,).
        """
        near, share = self.place(t)
        near = np.where(share < 1.0, near, near + 1)
        later = np.where(share < 1.0, t - self.t[near], 0.0)
        load, slope = self.driven[:, :, near]
        free = self.vibration[:, near] * np.exp(self.oscillators.pole * later)
        state = State(
            phase=self.oscillators.phase(load + slope * later, slope) + free,
            doubt=self.unsure[:, near],
            variance=self.variance[:, near],
            free=free,
        )
        before = np.maximum(near - 1, 0)
        before = np.where(self.t[near] - self.t[before] < MARKED, near, before)
        return state, np.maximum(np.abs(free), np.abs(self.vibration[:, before]))

    def passed(self, places: Indices, speed: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the swing that the load may start on a way, and the variance that noise adds to it, shape (k, m) each.

        What passes at a share s of its speed is weaker by s^2 and takes longer by 1/s. Straight lines miss a share of
        a step that grows with the time between samples, a spline one that grows with its fourth power. So does the
        spectrum of noise, up to a frequency: the variance that it adds over a sample grows by 1/s^2, and beyond that
        falls with s^2.

        Args:
            places: Instants one after the other on the way, shape (p, m).
            speed: Share of the speed at each, falling, likewise.
        """
        most, least = speed[:-1], np.maximum(speed[1:], 1e-9)
        swift, slow = np.diff(self.kicks[:, :, places], axis=2)
        spline = self.spline[:, :, None]
        kicks = np.minimum(swift * np.where(spline, least**-2.0, most), slow * most**2).sum(axis=1)
        if self.rough is None:
            return kicks, 0.0 * kicks
        turn = self.oscillators.frequency * float(np.diff(self.t).min())
        fastest = (4.0 / np.minimum(turn, 4.0))[:, None, None] ** 4
        at = np.clip(fastest**-0.25, least, np.maximum(most, least))
        grown = np.minimum(at**-2.0, fastest * at**2) * np.diff(self.growth[:, places], axis=1)
        return kicks, grown.sum(axis=1)


def per_time_deceleration(case: Case, motion: ToolMotion) -> FloatArray:
    """Return what the load would gain if the program's time sped up by 1/s in a second, shape (6, n).

    The accelerations are then the speeds themselves: of the tool origin, and the angular ones.
    """
    speeds = np.concatenate([motion.velocity.T, motion.angular_velocity.T])
    return np.asarray(load_per_acceleration(case.job.part, case.job.air_density) @ speeds)


def _on_steps(t: FloatArray) -> Indices:
    """Return the interval whose slope counts after each sample: its own, or the last one that marks no step; -1: none.

    Args:
        t: Times [s], shape (n,).
    """
    steps = np.append(np.diff(t) < MARKED, False)
    return np.asarray(np.maximum.accumulate(np.where(steps, -1, np.arange(t.size))))


def _at_speed(stretch: Stretch, slower: float) -> Stretch:
    """The stretch with its whole motion at another speed."""
    if slower == 1.0:
        return stretch
    drive = stretch.swing.drive
    return stretch.driven(drive.scaled(drive.t / slower, np.full(drive.t.size, slower**2), stretch.still))


def _errors(case: Case, slower: float, size: int) -> tuple[FloatArray, FloatArray]:
    """Bound and one sigma of the utilisation by errors of accelerations, and of speeds; shape (2, size) each."""
    offset, sigma = np.zeros((2, 2, size))
    motion, face, every = case.motion, case.grip.face, np.arange(size)
    if motion.error is not None:
        speeds = replace(motion.error, sigma=motion.error.speed_sigma, bias=motion.error.speed_bias)
        for i, error in enumerate((motion.error, speeds)):
            sigma[i], offset[i] = rate_errors(replace(case, motion=replace(motion, error=error)), face, every)
    power = np.array([[slower**2], [slower]])
    return power * offset, power * sigma
