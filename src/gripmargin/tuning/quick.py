"""How far from target a program at other speeds is, without findings: to search with; the checker has the last word."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks import registry
from gripmargin.checks.case import Case
from gripmargin.checks.use import Asked, quotient
from gripmargin.motion.program import ProgramMotion
from gripmargin.motion.rate_error import RateError
from gripmargin.motion.trajectory import Filling, JointTrajectory
from gripmargin.workcell.scaling import at_samples, scaled

RESERVE = 1.0 + 1e-9  # margin over target that a search aims at; the last digits may differ in the check
PRECISION = 1.005  # ratio of two factors that are one
TRIES = 9  # programs tried in one search
SPACING = 0.004  # [s] between the samples that are looked at where more are given


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


@dataclass(frozen=True, eq=False, kw_only=True)
class Look:
    """How far from target a program is, sample by sample.

    Attributes:
        samples: Those of the program that were looked at, indices, shape (m,).
        ratio: Least margin over its target of the check that is nearest, shape (m,); 0 where it is unknown.
        check: Which of ``names`` that is, shape (m,).
        names: Of the checks.
    """

    samples: NDArray[np.intp]
    ratio: FloatArray
    check: NDArray[np.intp]
    names: tuple[str, ...]

    def nearest(self, first: int = 0, end: int | None = None) -> Nearest:
        """Return the worst of the program's samples from one on, up to one before another."""
        low, high = np.searchsorted(self.samples, [first, self.samples[-1] + 1 if end is None else end])
        at = low + int(np.argmin(self.ratio[low:high]))
        return Nearest(ratio=float(self.ratio[at]), check=self.names[self.check[at]], sample=int(self.samples[at]))


class QuickCheck:
    """Looks at a job's program at other speeds, on the bond that its press has left as programmed."""

    def __init__(self, case: Case, borders: Iterable[int] = (), *, spacing: float = SPACING) -> None:
        """Take the job as it is programmed, worked out.

        Args:
            case: The job.
            borders: Samples at which the factor on the speed may change.
            spacing: Between the samples that are looked at, where more are given [s].
        """
        self._case, self._samples = _thinned(case, borders, spacing)

    @property
    def samples(self) -> int:
        """How many samples are looked at."""
        return self._samples.size

    def look(self, factors: FloatArray) -> Look:
        """Return how far from target the program is.

        Args:
            factors: On the speed of each interval between samples, shape (n - 1,).
        """
        case = self._at(factors[self._samples[:-1]])
        asked = [each for check in registry.CHECKS for each in check.asked(case)]
        ratios = np.full((len(asked), self._samples.size), np.inf)
        for row, each in zip(ratios, asked, strict=True):
            row[each.use.samples] = _ratios(each)
        names = tuple(each.name for each in asked)
        return Look(samples=self._samples, ratio=ratios.min(axis=0), check=np.argmin(ratios, axis=0), names=names)

    def _at(self, factors: FloatArray) -> Case:
        base = self._case
        job = scaled(base.job, factors)
        motion = _faster(base.motion, factors)
        return base.moved(motion, job=job)


def _thinned(case: Case, borders: Iterable[int], spacing: float) -> tuple[Case, NDArray[np.intp]]:
    """The job by as many samples as are enough, on the bond that it has, and which they are.

    Where the program gives its rates what lies between follows from fewer samples than all.
    """
    old, job = case.job.trajectory, case.job
    if not isinstance(old, JointTrajectory) or old.qdd is None or old.qd is None:
        return case, np.arange(old.samples)
    kept = np.diff(np.floor((old.t - old.t[0]) / spacing + 1e-6), prepend=-1.0) > 0
    step, kinds = np.diff(old.t), job.phase_map.kinds()
    for apart in (step < 0.5 * np.median(step), np.diff(case.airborne), kinds[1:] != kinds[:-1]):
        kept[:-1] |= apart
        kept[1:] |= apart
    kept[[-1, *borders]] = True
    if kept.all():
        return case, np.arange(old.samples)
    at = np.flatnonzero(kept)
    moves = None if old.moves is None else tuple(old.moves[i] for i in at)
    missed = None if old.filling is None else old.filling.missed
    filling = Filling(
        given=np.arange(at.size), missed=None if missed is None else np.maximum.reduceat(missed, at, axis=0)
    )
    fewer = replace(old, t=old.t[at], q=old.q[at], qd=old.qd[at], qdd=old.qdd[at], moves=moves, filling=filling)
    motion = ProgramMotion.of(fewer, job.robot, stamps=job.stamps)
    return case.moved(motion, job=replace(job, trajectory=fewer), airborne=case.airborne[at]), at


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


def _ratios(asked: Asked) -> FloatArray:
    high = asked.target * asked.use.high
    return np.where(np.isnan(high), 0.0, quotient(1.0, high))


def _faster(base: ProgramMotion, factors: FloatArray) -> ProgramMotion:
    """The motion of a scaled program: what is known of its rates, and their errors, scale with it."""
    k = at_samples(factors)
    t = base.at.t[0] + np.concatenate([[0.0], np.cumsum(np.diff(base.at.t) / factors)])
    rates = base.joint_rates
    return replace(
        base,
        at=replace(base.at.retimed(k, 0.0), t=t),
        error=None if base.error is None else _errors(base.error, k[:, None]),
        joint_rates=None if rates is None else (k[:, None] * rates[0], k[:, None] ** 2 * rates[1]),
    )


def _errors(error: RateError, k: FloatArray) -> RateError:
    return replace(
        error,
        sigma=k**2 * error.sigma,
        bias=k**2 * error.bias,
        window=error.window / k,
        unsmoothed=None if error.unsmoothed is None else error.unsmoothed.times(k, k**2),
        shaking=None if error.shaking is None else k**2 * error.shaking,
        speed_sigma=k * error.speed_sigma,
        speed_bias=k * error.speed_bias,
        spin=k * error.spin,
    )
