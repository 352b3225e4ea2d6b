"""A program as its stops meet it: the load of the part mode by mode, its swing, and what is not known of both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.hold.use import rate_errors
from gripmargin.checks.stop.stops import per_time_deceleration
from gripmargin.checks.swing.ringing import Stretch, next_too
from gripmargin.checks.swing.vibration import Modes, given_drive, modes_of
from gripmargin.contact.loads import part_load, standing_load
from gripmargin.kernels.march import Oscillators, State, between, missed
from gripmargin.kernels.oscillator import ComplexArray, slopes
from gripmargin.kernels.utilisation import utilisation_error
from gripmargin.motion.tool_motion import ToolMotion

Indices = NDArray[np.intp]
SPLINE = 1.25  # a spline through positions misses so many times what straight lines do at most
NOTHING = 1e-4  # utilisation below which noise is not looked at
AT_ONCE = 1e12  # [rad/s] frequency of what has no mass to swing


@dataclass(frozen=True, eq=False, kw_only=True)
class Springs:
    """The part on its pads, mode by mode; what no mode takes, for lack of mass, comes last.

    Attributes:
        oscillators: The modes.
        take: Load wrench to the load of each mode, shape (k, 6).
        carry: What the pads carry for a unit of each response, shape (6, k).
    """

    oscillators: Oscillators
    take: FloatArray
    carry: FloatArray

    @classmethod
    def of(cls, modes: Modes, maps: FloatArray) -> Springs:
        """Return the modes with what they ask of the pads.

        Args:
            modes: The natural vibrations.
            maps: Load wrench to normalised traction, shape (3, points, 6).
        """
        count = modes.frequency.size
        left, size, right = np.linalg.svd(np.eye(6) - modes.loads @ modes.shapes.T)
        stiff = np.arange(6) < 6 - count
        carry = np.hstack([modes.loads, (left * size)[:, stiff]])
        return cls(
            oscillators=Oscillators(
                frequency=np.concatenate([modes.frequency, np.full(6 - count, AT_ONCE)]),
                damping=np.concatenate([modes.damping, np.zeros(6 - count)]),
                maps=maps @ carry,
                swings=np.arange(6) < count,
                followed=np.arange(6) < count,
            ),
            take=np.vstack([modes.shapes.T, right[stiff]]),
            carry=carry,
        )


@dataclass(frozen=True, eq=False, kw_only=True)
class Noise:
    """What noise of the positions does.

    Attributes:
        rough: What of the program's load it shakes, mode by mode, shape (k, n).
        growth: Variance that it adds to the swing of the program, added up over the instants, shape (k, n).
        fastest: By how much more it can add where the samples pass slowly, shape (k,).
        sigma: One standard deviation of the utilisation by accelerations, shape (n,).
    """

    rough: FloatArray
    growth: FloatArray
    fastest: FloatArray
    sigma: FloatArray

    def weight(self, first: FloatArray, last: FloatArray) -> FloatArray:
        """Return how often the variance of the swing grows where the program slows down from one speed to another.

        Noise that passes at a share s of its speed is slower by s and weaker by s^2. Up to a frequency its spectrum
        rises with the fourth power of it, so that the variance that it adds over a sample grows by 1/s^2, and beyond
        that falls with s^2.

        Args:
            first: Share of its speed at first, shape (m,).
            last: Share at last, no more, likewise.
        """
        turning = self.fastest[:, None] ** -0.25
        most = np.clip(turning, last, np.maximum(first, 1e-9))
        return np.asarray(np.minimum(most**-2.0, self.fastest[:, None] * most**2))


@dataclass(frozen=True, eq=False, kw_only=True)
class Course:
    """The program over its time, at n instants: the samples, and more where those are far apart.

    Attributes:
        springs: The part on its pads.
        t: Times as the program runs [s], shape (n,).
        per: Instants a sample.
        tool: The tool's motion at full speed, n samples.
        slower: Factor on the speed of the program.
        loads: Of each mode by gravity, by the program's motion, and by a unit of time deceleration, shape (3, k, n).
        kicks: Swing that the load between the instants may start at full speed, added up, and however slowly it
            passes, shape (2, k, n).
        spline: Which modes' load is that of a spline through the positions, shape (k,).
        offset: Bound of the utilisation by errors of the accelerations, shape (n,).
        noise: Of the positions; None: it counts for nothing.
        vibration: Free vibration of each mode after each instant, as `gripmargin.kernels.oscillator` has it, (k, n).
        driven: Load about which it swings, and the slope of it after each instant, shape (2, k, n).
        unsure: Bound of the systematic error of the response up to the next instant, shape (k, n).
        variance: Of its noise, likewise.
    """

    springs: Springs
    t: FloatArray
    per: int
    tool: ToolMotion
    slower: float
    loads: FloatArray
    kicks: FloatArray
    spline: NDArray[np.bool_]
    offset: FloatArray
    noise: Noise | None
    vibration: ComplexArray
    driven: FloatArray
    unsure: FloatArray
    variance: FloatArray

    @classmethod
    def of(cls, case: Case, maps: FloatArray, slower: float, stretches: Sequence[Stretch]) -> Course:
        """Work it out.

        Args:
            case: The job.
            maps: Load wrench to normalised traction, shape (3, points, 6).
            slower: Factor on the speed of the program.
            stretches: The part's swing while the program runs; without any it hangs still.
        """
        modes = stretches[0].swing.modes if stretches else modes_of(case.backing, case.job.part, case.job.air_density)
        springs, some = Springs.of(modes, maps), slice(modes.frequency.size)
        tool = _instants(case)
        t, still = tool.t / slower, standing_load(case.job.part, tool, case.job.gravity)
        moving = slower**2 * (part_load(case.job.part, tool, case.job.gravity, case.job.air_density) - still)
        braking = slower * per_time_deceleration(case, tool)
        loads = np.stack([springs.take @ x for x in (still, moving, braking)])
        none, per = np.zeros(loads.shape[1:]), 1 + len(case.motion.sparse)
        wider = max(1.0, 1.0 / slower)  # what a straight line between instants misses grows with the time between them
        kicks, growth, rough, unsure, variance = (none.copy() for _ in range(5))
        at_once = replace(modes, frequency=np.full(modes.frequency.size, AT_ONCE))
        kicks[some], steps = (given_drive(each, t, still + moving).kinks for each in (modes, at_once))
        vibration, driven = none.astype(np.complex128), np.stack([loads[0] + loads[1], none])
        offset, sigma = (slower**2 * x for x in _errors(case, maps, t.size))
        for stretch in stretches:
            found = _at_speed(stretch, slower).swing
            drive, first = found.drive, int(stretch.samples[0]) * per
            here = slice(first, first + drive.t.size)
            loads[1, some, here] = drive.load - loads[0, some, here]
            rough[some, here], growth[some, here] = drive.load - drive.base, drive.growth
            kicks[some, here] = wider * drive.kinks
            if rough[:, here].any():  # the load is no longer that of the smoothed rates
                gain = springs.oscillators.gain[some]
                offset[here], sigma[here] = gain @ drive.bias, gain @ drive.sigma
            vibration[some, here] = found.vibration
            driven[:, some, here] = drive.load, slopes(drive.t, drive.load)
            unsure[some, here], variance[some, here] = wider * next_too(found.unsure), next_too(found.sigma**2)
        noise = None
        if springs.oscillators.gain @ np.sqrt(growth.sum(axis=1)) + sigma.max() > NOTHING:
            turn = np.minimum(springs.oscillators.frequency * float(np.diff(t).min()), 4.0)
            noise = Noise(
                rough=rough, growth=np.cumsum(growth, axis=1), fastest=(4.0 / turn) ** 4, sigma=next_too(sigma)
            )
        spline = rough.any(axis=1)
        slowly = kicks / missed(springs.oscillators.frequency * float(np.diff(t).min()))[:, None] * missed(np.inf)
        slowly[some] = np.where(spline[some, None], SPLINE * steps, slowly[some])
        return cls(
            springs=springs,
            t=t,
            per=per,
            tool=tool,
            slower=slower,
            loads=loads,
            kicks=np.cumsum([kicks, slowly], axis=2),
            spline=spline,
            offset=next_too(offset),
            noise=noise,
            vibration=vibration,
            driven=driven,
            unsure=unsure,
            variance=0.0 * variance if noise is None else variance,
        )

    def passed(self, first: Indices, last: Indices, speed: tuple[FloatArray, FloatArray]) -> FloatArray:
        """Return the swing that the load between two instants may start, shape (k, m).

        What passes at a share s of its speed is weaker by s^2 and takes longer by 1/s. Straight lines miss a share of
        a step that grows with the time between samples, a spline one that grows with its fourth power.

        Args:
            first: The first instant, shape (m,).
            last: The last one, likewise.
            speed: Shares of the speed at first and at last, shape (m,) each.
        """
        most, least = speed
        swift, slow = self.kicks[:, :, last] - self.kicks[:, :, first]
        grown = swift * np.where(self.spline[:, None], np.maximum(least, 1e-9) ** -2.0, most)
        return np.asarray(np.minimum(grown, slow * most**2))

    def place(self, t: FloatArray) -> tuple[Indices, FloatArray]:
        """Return the instant before some times and the share of the interval that has passed; the last one stays."""
        near = np.clip(np.searchsorted(self.t, t, side="right") - 1, 0, self.t.size - 2)
        return near, np.clip((t - self.t[near]) / (self.t[near + 1] - self.t[near]), 0.0, 1.0)

    def between(self, near: Indices, share: FloatArray) -> FloatArray:
        """Return the loads at places, as `place` has them, shape (3, k, ...)."""
        out, there = self.loads[:, :, near], self.loads[:, :, near + 1]
        there -= out
        there *= share
        out += there
        return out

    def state(self, t: FloatArray, gap: FloatArray) -> State:
        """Return the swing of the part when stops begin.

        Args:
            t: When [s], shape (m,).
            gap: Time to the next of them [s], shape (m,): a stop between has a swing within the doubt.
        """
        oscillators, (near, share) = self.springs.oscillators, self.place(t)
        near = np.where(share < 1.0, near, near + 1)
        later = np.where(share < 1.0, t - self.t[near], 0.0)
        load, slope = self.driven[:, :, near]
        free = self.vibration[:, near] * np.exp(oscillators.pole[:, None] * later)
        size = np.maximum(np.abs(free), np.abs(self.vibration[:, np.maximum(near - 1, 0)]))
        return State(
            phase=oscillators.phase(load + slope * later, slope) + free,
            doubt=self.unsure[:, near] + size * between(oscillators.frequency[:, None] * gap),
            variance=self.variance[:, near],
        )


def _at_speed(stretch: Stretch, slower: float) -> Stretch:
    """The stretch with its whole motion at another speed."""
    if slower == 1.0:
        return stretch
    drive = stretch.swing.drive
    return stretch.driven(drive.scaled(drive.t / slower, np.full(drive.t.size, slower**2), stretch.still))


def _instants(case: Case) -> ToolMotion:
    """The tool's motion at the samples, and at the eighths between them where some of them are far apart."""
    motion, t = case.motion, case.job.trajectory.t
    count = 1 + len(motion.sparse)
    state = np.empty((3, 8, count * (t.size - 1) + 1))
    state[:, :, ::count] = motion.at.state
    for k, tool in enumerate(motion.sparse, start=1):
        state[:, :, k::count] = tool.state
    return ToolMotion(np.interp(np.arange(state.shape[2]) / count, np.arange(t.size), t), state)


def _errors(case: Case, maps: FloatArray, size: int) -> tuple[FloatArray, FloatArray]:
    """Bound and one sigma of the utilisation by errors of accelerations, shape (n,) each."""
    offset, motion = np.zeros(size), case.motion
    if motion.error is not None:
        sigma, offset = rate_errors(case, maps, np.arange(size))
        return offset, sigma
    if motion.between_mean is not None and not motion.sparse:  # a rise and a fall reach twice their mean
        mean = part_load(case.job.part, motion.between_mean, case.job.gravity, case.job.air_density)
        excess, one = mean - (case.load[:, :-1] + case.load[:, 1:]) / 2.0, np.ones((size - 1, 1))
        offset[:-1] = utilisation_error(maps, 2.0 * excess[None], 0.0 * one, one)[1]
    return offset, np.zeros(size)
