"""A stretch of a program whose motion has been worked out, as a program of its own.

In: trajectory and motion over the whole program, first and last sample.
Out: both over the stretch; rates, their errors and the times stay what they are in the whole program.
Error: none.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.motion.program import ProgramMotion
from gripmargin.motion.rate_error import RateError
from gripmargin.motion.rates import Unsmoothed
from gripmargin.motion.trajectory import Filling, Trajectory


def with_fastest(motion: ProgramMotion) -> ProgramMotion:
    """Return the motion of a whole program with what its stretches have to know of the rest: how fast it is."""
    speeds = motion.speeds()
    speeds = speeds[:, np.lexsort((-speeds[1], -speeds[0]))]
    turning = np.maximum.accumulate(speeds[1])
    return replace(motion, fastest=speeds[:, np.append(True, turning[1:] > turning[:-1])])


def stretch_of(
    trajectory: Trajectory, motion: ProgramMotion, first: int, last: int
) -> tuple[Trajectory, ProgramMotion]:
    """Return a stretch of a program.

    Args:
        trajectory: The program, with samples put in where its motion has them.
        motion: Over all of its samples, as `with_fastest` returns it.
        first: First sample of the stretch, one that the program gives.
        last: Its last sample, likewise.
    """
    here = slice(first, last + 1)
    columns: dict[str, Any] = {
        name: row[here]
        for name in (*trajectory.PLACES, *trajectory.RATES)
        if (row := getattr(trajectory, name)) is not None
    }
    filling = trajectory.filling
    if filling is not None:
        own = filling.given[(filling.given >= first) & (filling.given <= last)] - first
        filling = Filling(given=own, missed=None if filling.missed is None else filling.missed[here])
    moves = None if trajectory.moves is None else trajectory.moves[here]
    part = replace(trajectory, t=trajectory.t[here], moves=moves, filling=filling, **columns)
    rates = motion.joint_rates
    doubts = tuple(
        (max(begin, first) - first, min(end, last) - first, reason)
        for begin, end, reason in motion.doubts
        if begin <= last and end >= first
    )
    return part, ProgramMotion(
        at=motion.at.take(here),
        given=motion.given,
        error=None if motion.error is None else _error(motion.error, here),
        joint_rates=None if rates is None else (rates[0][here], rates[1][here]),
        doubts=doubts,
        notes=motion.notes,
        references=motion.references,
        fastest=motion.fastest,
    )


def _error(error: RateError, here: slice) -> RateError:
    return replace(
        error,
        sigma=error.sigma[here],
        bias=error.bias[here],
        directions=partial(_later, error.directions, here.start),
        window=error.window[here],
        unsmoothed=None if error.unsmoothed is None else _unsmoothed(error.unsmoothed, here),
        shaking=None if error.shaking is None else error.shaking[:, here],
        speed_sigma=error.speed_sigma[here],
        speed_bias=error.speed_bias[here],
        spin=error.spin[here],
        quick=None if error.quick is None else error.quick[here],
    )


def _unsmoothed(whole: Unsmoothed, here: slice) -> Unsmoothed:
    speed, acceleration = (factor[here] if isinstance(factor, np.ndarray) else factor for factor in whole.factors)
    used = whole.used[0][here], whole.used[1][here]
    return Unsmoothed(whole.t[here], whole.places[here], used, (speed, acceleration))


def _later(directions: Callable[[NDArray[np.intp]], FloatArray], first: int, samples: NDArray[np.intp]) -> FloatArray:
    """What errors do at samples that are counted from a later one on."""
    return directions(samples + first)
