"""How hard the robot brakes, along its path and axis by axis, from what the job says of it.

The robot is taken to brake as hard from any speed as from the one that its figures are for: a program that runs slower
then stops sooner. So a time T from full speed gives the program's time a deceleration of 1/(T v), where v is the share
of the full speed at which the program runs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.stop import words
from gripmargin.checks.use import quotient
from gripmargin.kernels.stopping import between_published, mean_rates
from gripmargin.motion.tool_motion import ToolMotion
from gripmargin.workcell import Stop, StopFigure

TURNING: Final = 1e-3  # share by which the fastest point must outrun the tool origin for the two to be told apart


@dataclass(frozen=True, eq=False, kw_only=True)
class PathRates:
    """Decelerations of the program's time over its speed, at every sample.

    Attributes:
        hard: [1/s], shape (n,).
        mild: The least that the data may mean, where they leave it open; else ``hard``.
        notes: What was taken for granted, in sentences.
    """

    hard: FloatArray
    mild: FloatArray
    notes: tuple[str, ...]

    @classmethod
    def of(cls, case: Case, stop: Stop, slower: float, softer: float, *, stiffest: float) -> PathRates:
        """Work them out.

        Args:
            case: The job.
            stop: How its robot stops along its path.
            slower: Factor on the speed of the program.
            softer: Factor on all stopping times.
            stiffest: Highest natural frequency of the part on the pads [rad/s]: a stop over within less than its
                inverse is one at once, and rates are cut there.
        """
        if stop.deceleration is not None:
            hard, mild, notes = _by_deceleration(case, stop.deceleration)
        else:
            hard, notes = _by_times(case, stop, slower)
            mild = hard
        most = 2.0 * stiffest
        hard, mild = (np.minimum(rate / (slower * softer), most) for rate in (hard, mild))
        return cls(hard=hard, mild=mild, notes=tuple(notes))


def fastest_point(case: Case, motion: ToolMotion) -> FloatArray:
    """Return a bound of the speed of any point of pads and part [m/s], shape (n,)."""
    return np.linalg.norm(motion.velocity, axis=1) + _reach(case) * np.linalg.norm(motion.angular_velocity, axis=1)


def _reach(case: Case) -> float:
    """How far points of pads and part may be from the tool's origin [m]."""
    points = [patch.points for patch in case.whole.patches]
    corners = case.job.part.outline
    reach = max(float(np.linalg.norm(x, axis=1).max()) for x in (*points, case.job.part.com[None]))
    if corners is not None:
        deep = max(float(np.linalg.norm(case.job.part.com)), case.job.part.thickness or 0.0)
        reach = max(reach, float(np.hypot(np.linalg.norm(corners, axis=1).max(), deep)))
    return reach


def _by_deceleration(case: Case, deceleration: float) -> tuple[FloatArray, FloatArray, Sequence[str]]:
    """Rates by a deceleration of the tool origin, or of the fastest point, and notes."""
    at = case.motion.at
    origin, fastest = np.linalg.norm(at.velocity, axis=1), fastest_point(case, at)
    turns = (fastest[case.airborne] > (1.0 + TURNING) * origin[case.airborne]).any()
    notes = (words.OF_THE_ORIGIN, words.FASTEST_POINT) if turns else (words.OF_THE_ORIGIN,)
    return quotient(deceleration, origin), quotient(deceleration, fastest), notes


def _by_times(case: Case, stop: Stop, slower: float) -> tuple[FloatArray, Sequence[str]]:
    """Rates before ``slower`` is divided out: the time deceleration of the unslowed program at full braking; notes."""
    limits, rates = case.job.joint_limits, case.motion.joint_rates
    full = None if limits is None else limits.speed
    if full is None:
        return _from_the_fastest(case, stop, words.NO_RATED_SPEED, slower)
    if rates is None:
        return _from_the_fastest(case, stop, words.NO_JOINT_SPEEDS, slower)
    share = np.minimum(np.abs(rates[0]) / full, 1.0 / slower)
    if stop.time is None:
        own, notes = _measured(stop, slower * share, full)
    else:
        own = np.full(share.shape, 1.0 / (stop.time - stop.ramp / 2.0))
        notes = [words.AS_HARD_AS_FROM_FULL_SPEED]
    return quotient(1.0, (share / own).max(axis=1)), notes


def _from_the_fastest(case: Case, stop: Stop, missing: str, slower: float) -> tuple[FloatArray, Sequence[str]]:
    """Rates with `stop.speed` as the full one, for want of it the highest speed of the program, and notes."""
    shortest = min([figure.time for figure in stop.measured] or [stop.time or np.inf])
    speed = fastest_point(case, case.motion.at)
    if stop.speed is None:
        straight, turning = case.motion.speeds()
        highest = float((straight + _reach(case) * turning).max())
        share, notes = speed / max(highest, 1e-300), [words.fastest_of_the_program(missing)]
    else:
        share, notes = np.minimum(speed / stop.speed, 1.0 / slower), [words.AS_HARD_AS_FROM_STOP_SPEED]
    if stop.measured:
        notes.append(words.shortest_measured(shortest))
    return quotient(1.0 / (shortest - stop.ramp / 2.0), share), notes


def _measured(stop: Stop, share: FloatArray, full: FloatArray) -> tuple[FloatArray, Sequence[str]]:
    """Deceleration of each axis by measured stops, in its full speeds per second, shape (n, joints), and notes.

    Args:
        stop: With the measured stops, of all axes alike or axis by axis.
        share: Speeds from which the axes stop, over their full speeds, shape (n, joints).
        full: These full speeds [rad/s or m/s], shape (joints,).
    """
    tables = {axis: _Table.of([f for f in stop.measured if f.axis == axis]) for axis in {f.axis for f in stop.measured}}
    fastest = share.max(axis=1)

    def of_axis(axis: int, speed: FloatArray) -> FloatArray:
        return tables[axis].deceleration(stop, speed, float(full[axis - 1]))

    if None in tables:
        others = tables[None].deceleration(stop, fastest, 1.0)
    else:  # as the hardest that was measured
        others = np.max([of_axis(axis, fastest) for axis in tables if axis is not None], axis=0)
    axes = range(1, len(full) + 1)
    rates = [of_axis(axis, share[:, axis - 1]) if axis in tables else others for axis in axes]
    notes = [words.MEASURED_SPEEDS, *_of_loads(stop)]
    without = [axis for axis in axes if axis not in tables and None not in tables]
    if without:
        notes.append(words.not_measured(without))
    return np.stack(rates, axis=1), notes


def _of_loads(stop: Stop) -> Sequence[str]:
    """What is taken for granted where stops were measured with other loads than the robot carries."""
    loads = {figure.load for figure in stop.measured}
    if stop.load is None:
        return [words.UNKNOWN_LOAD] if len(loads) > 1 else []
    return [words.lighter_than_measured(min(loads))] if stop.load < min(loads) else []


@dataclass(frozen=True, eq=False, kw_only=True)
class _Table:
    """Measured stops of one axis, or of all of them alike.

    Attributes:
        speeds: From which the robot stopped, over the full speed, rising, shape (s,).
        loads: That it carried, over the payload, rising, shape (k,).
        times: To rest [s], shape (s, k).
        distances: To rest [rad or m], shape (s, k); None where they were not measured.
    """

    speeds: FloatArray
    loads: FloatArray
    times: FloatArray
    distances: FloatArray | None

    @classmethod
    def of(cls, figures: Sequence[StopFigure]) -> _Table:
        """Arrange stops, one for each speed with each load."""
        speeds, loads = (np.unique([getattr(f, key) for f in figures]) for key in ("speed", "load"))
        at = {(f.speed, f.load): f for f in figures}
        grid = [[at[s, k] for k in loads.tolist()] for s in speeds.tolist()]
        known = figures[0].distance is not None  # of one stop: of all
        return cls(
            speeds=speeds,
            loads=loads,
            times=np.array([[f.time for f in row] for row in grid]),
            distances=np.array([[f.distance or 0.0 for f in row] for row in grid]) if known else None,
        )

    def deceleration(self, stop: Stop, speed: FloatArray, full: float) -> FloatArray:
        """Return the hardest braking by its load, or by any measured load where that is not known, shape (n,).

        Args:
            stop: The load, and the ramp of the deceleration.
            speed: From which the robot stops, over the full speed, shape (n,).
            full: Full speed [rad/s or m/s]; counts with distances alone.
        """
        axes, speed = (self.speeds, self.loads), np.clip(speed, self.speeds[0], self.speeds[-1])

        def with_load(load: float) -> FloatArray:
            time = between_published(axes, self.times, speed, load)
            distance = None if self.distances is None else between_published(axes, self.distances, speed, load)
            return mean_rates(speed, time, distance, full, stop.ramp)

        loads = self.loads.tolist() if stop.load is None else [stop.load]
        return np.asarray(np.max([with_load(load) for load in loads], axis=0))
