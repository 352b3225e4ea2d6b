"""How far from target a program at other speeds is, without findings: to search with; the checker has the last word."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks import registry
from gripmargin.checks.case import Case
from gripmargin.checks.use import Asked
from gripmargin.contact.loads import part_load
from gripmargin.motion.program import ProgramMotion
from gripmargin.motion.tool_motion import joint_motion
from gripmargin.motion.trajectory import JointTrajectory
from gripmargin.workcell.job import Job
from gripmargin.workcell.scaling import at_samples, scaled

RESERVE = 1.0 + 1e-9  # margin over target that a search aims at; the last digits may differ in the check
PRECISION = 1.005  # ratio of two factors that are one
TRIES = 9  # programs tried in one search


@dataclass(frozen=True, kw_only=True)
class Nearest:
    """The check of the carry that is nearest to its target, or farthest below it.

    Attributes:
        ratio: Least margin it may have, over its target [-]; 0 where it is unknown.
        check: Its name.
        sample: The worst sample.
    """

    ratio: float
    check: str
    sample: int


class QuickCheck:
    """Looks at a job's program at other speeds, on the bond that its press has left as programmed."""

    def __init__(self, case: Case) -> None:
        """Take the job as it is programmed, worked out."""
        self._case = case

    def nearest(self, factors: FloatArray) -> Nearest:
        """Return how far from target the program is.

        Args:
            factors: On the speed of each interval between samples, shape (n - 1,).
        """
        case = self._at(factors)
        asked = (each for check in registry.CHECKS for each in check.asked(case))
        return min((_nearest(each) for each in asked), key=lambda near: near.ratio)

    def _at(self, factors: FloatArray) -> Case:
        base = self._case
        job = scaled(base.job, factors)
        motion = _motion(job, base.motion, at_samples(factors))
        return replace(
            base,
            job=job,
            motion=motion,
            load=part_load(job.part, motion.at, job.gravity, job.air_density),
        )


def largest(ratio: Callable[[float], float], high: float, lowest: float) -> float | None:
    """Return the largest factor found that is on target.

    The ratio need not fall steadily with the factor: what is returned was looked at.

    Args:
        ratio: Margin over target at a factor.
        high: Largest factor to look at.
        lowest: Least one.

    Returns:
        None where nothing from `lowest` on is.
    """
    if ratio(high) >= RESERVE:
        return high
    low = min(1.0, high / PRECISION)
    for _ in range(TRIES):
        found = ratio(low)
        if found >= RESERVE:
            break
        high = low
        low = max(lowest, low * (min(0.97, max(0.6, found**0.5)) if found > 0 else 0.8))
        if high <= lowest:
            return None
    else:
        return None
    for _ in range(TRIES):
        if high <= PRECISION * low:
            break
        middle = float(np.sqrt(low * high))
        if ratio(middle) >= RESERVE:
            low = middle
        else:
            high = middle
    return low


def _nearest(asked: Asked) -> Nearest:
    high = np.where(np.isnan(asked.use.high), np.inf, asked.use.high)
    worst = int(np.argmax(high))
    most = asked.target * float(high[worst])
    return Nearest(ratio=1.0 / most if most > 0 else np.inf, check=asked.name, sample=int(asked.use.samples[worst]))


def _motion(job: Job, base: ProgramMotion, k: FloatArray) -> ProgramMotion:
    """The motion of a scaled program; estimated rates and their errors scale with it."""
    trajectory, error = job.trajectory, base.error
    if not isinstance(trajectory, JointTrajectory) or job.robot is None or error is None or base.joint_rates is None:
        return ProgramMotion.of(trajectory, job.robot, stamps=job.stamps)
    k = k[:, None]
    qd, qdd = base.joint_rates
    error = replace(
        error,
        sigma=k**2 * error.sigma,
        bias=k**2 * error.bias,
        window=error.window / k,
        unsmoothed=None if error.unsmoothed is None else error.unsmoothed * np.stack([k, k**2]),
        speed_sigma=k * error.speed_sigma,
        speed_bias=k * error.speed_bias,
        spin=k * error.spin,
    )
    return replace(
        base,
        at=joint_motion(job.robot, trajectory.t, trajectory.q, k * qd, k**2 * qdd),
        error=error,
        joint_rates=(k * qd, k**2 * qdd),
    )
