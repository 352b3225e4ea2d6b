"""By how much the recorded motion of a robot is late behind its program: move by move, and piece by piece."""

from __future__ import annotations

import itertools
from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.recorded.alignment import LATEST, at, within
from gripmargin.checks.recorded.placing import Placed, carried_moves, way_of

TELLING: Final = 3.0  # standard errors by which a lag has to stand out
PIECES: Final = 16  # of the carry, each of which may be late by itself
SEEN: Final = 0.01  # share of the way from which being late is no small thing


def lags_of(case: Case, placed: Placed) -> dict[str | None, float]:
    """Return by how much each carried move of the recording is late [s]; 0 where it is too small to tell.

    Args:
        case: The job.
        placed: The recording beside the program.
    """
    carried = case.job.trajectory.t[case.carried]
    inside = within(placed.t, (float(carried[0]), float(carried[-1])))
    speed, left = _speed_and_rest(case, placed)
    labels = None if placed.labels is None else np.array(placed.labels)
    out: dict[str | None, float] = {}
    for move in carried_moves(case):
        here = inside if labels is None else inside & (labels == move)
        lag = placed.alignment.lag + least_lag(speed[here], left[here])
        out[move] = lag if abs(lag) < LATEST else 0.0
    return out


def pieces_late(case: Case, placed: Placed) -> FloatArray:
    """Return by how much the carry of the recording is late, piece by piece [s], shape (pieces,).

    A piece in which that makes a small difference counts as late as the whole.

    Args:
        case: The job.
        placed: The recording beside the program.
    """
    carried = case.job.trajectory.t[case.carried]
    size = way_of(case, placed)
    speed, left = _speed_and_rest(case, placed)
    out = np.full(PIECES, placed.alignment.lag)
    for i, (start, end) in enumerate(itertools.pairwise(np.linspace(carried[0], carried[-1], PIECES + 1).tolist())):
        here = within(placed.t, (start, end))
        if not here.any():
            continue
        lag = least_lag(speed[here], left[here])
        usual = float(np.sqrt((speed[here] ** 2).sum(axis=1).mean()))
        out[i] += lag if abs(lag) * usual > SEEN * size else 0.0
    return out


def _speed_and_rest(case: Case, placed: Placed) -> tuple[FloatArray, FloatArray]:
    """The program's speed at the recorded samples, and by how much these are elsewhere, shape (m, channels) each.

    The program counts as late as the whole recording: at the ends of a move it stands still where the robot does not.
    """
    t, places, when = case.job.trajectory.t, placed.programmed, placed.t - placed.alignment.lag
    return at(when, t, np.gradient(places, t, axis=0)), placed.recorded - at(when, t, places)


def least_lag(speed: FloatArray, left: FloatArray) -> float:
    """The lag by least squares, for what is left is minus the lag times the speed; 0 where it does not stand out."""
    total = float((speed**2).sum())
    if not total > 0.0:
        return 0.0
    lag = -float((left * speed).sum()) / total
    error = float(np.sqrt(((left + lag * speed) ** 2).sum(axis=1).mean() / total))
    return lag if abs(lag) > TELLING * error else 0.0
