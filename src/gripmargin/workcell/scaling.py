"""A job with stretches of its program made faster or slower on the same path."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, TypeVar

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.motion.trajectory import Trajectory
from gripmargin.workcell import Phase, Process
from gripmargin.workcell.job import Job

Timed = TypeVar("Timed", Phase, Process)


def scaled(job: Job, factors: FloatArray) -> Job:
    """Return a job with its program at other speeds; the samples stay the same, their times and rates change.

    Where neighbouring intervals have different factors the program has to be at rest.

    Args:
        job: The job.
        factors: On the speed of each interval between samples, shape (n - 1,).
    """
    t = job.trajectory.t
    times = t[0] + np.concatenate([[0.0], np.cumsum(np.diff(t) / factors)])
    return replace(job, trajectory=_scaled(job.trajectory, times, factors), **when_moved(job, t, times))


def at_samples(factors: FloatArray) -> FloatArray:
    """Return the factor on the rates of each sample, shape (n,), from those of the intervals.

    A sample between two factors is at rest; its acceleration counts with the larger one.
    """
    return np.maximum(np.append(factors, factors[-1]), np.insert(factors, 0, factors[0]))


def when_moved(job: Job, now: FloatArray, then: FloatArray) -> dict[str, Any]:
    """Return the phases and process forces of a job for a program whose times have changed, as `moved_phases`."""
    return {"phases": moved_phases(job.phases, now, then), "process": moved_phases(job.process, now, then)}


def moved_phases(phases: tuple[Timed, ...], now: FloatArray, then: FloatArray) -> tuple[Timed, ...]:
    """Return phases, or process forces, for a program whose times have changed.

    Args:
        phases: As they are.
        now: Times of some points of the program, increasing, shape (k,).
        then: What they become, shape (k,).
    """
    return tuple(
        phase
        if phase.span is None
        else replace(phase, start=_moved(phase.span[0], now, then), end=_moved(phase.span[1], now, then))
        for phase in phases
    )


def _moved(time: float, now: FloatArray, then: FloatArray) -> float:
    if time < now[0]:
        return float(then[0] + time - now[0])
    if time > now[-1]:
        return float(then[-1] + time - now[-1])
    return float(np.interp(time, now, then))


def _scaled(trajectory: Trajectory, times: FloatArray, factors: FloatArray) -> Trajectory:
    k = at_samples(factors)[:, None]
    both = zip(trajectory.RATES, trajectory.rates, (k, k**2), strict=True)
    rates: dict[str, Any] = {name: size * rows for name, rows, size in both if rows is not None}
    filling = trajectory.filling
    if filling is not None and filling.missed is not None:
        filling = filling._replace(missed=k**2 * filling.missed)
    return replace(trajectory, t=times, filling=filling, **rates)
