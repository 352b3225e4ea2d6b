"""By how much the recorded motion of a robot is late behind its program: move by move, and piece by piece."""

from __future__ import annotations

import itertools
from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.recorded.alignment import LATEST, at, within

TELLING: Final = 3.0  # standard errors by which a lag has to stand out
PIECES: Final = 16  # of the carry, each of which may be late by itself
SEEN: Final = 0.01  # share of the way from which being late is no small thing


def lags_of(case: Case, t: FloatArray, compared: tuple[FloatArray, FloatArray]) -> dict[str | None, float]:
    """By how much each carried move of the recording is late: what is left is minus the lag times the speed."""
    program, (places, seen) = case.job.trajectory, compared
    speed = np.gradient(places, program.t, axis=0)
    out: dict[str | None, float] = {}
    carried = program.t[case.carried]
    inside = within(t, (float(carried[0]), float(carried[-1])))
    if program.moves is None:
        return {None: _lag(t[inside], seen[inside], program.t, places, speed)}
    nearest = np.clip(np.searchsorted(program.t, t, side="right") - 1, 0, program.samples - 1)
    labels = np.array(program.moves)[nearest]
    for move in dict.fromkeys(program.moves[i] for i in case.carried):
        here = inside & (labels == move)
        out[move] = _lag(t[here], seen[here], program.t, places, speed) if here.any() else 0.0
    return out


def pieces_late(case: Case, t: FloatArray, compared: tuple[FloatArray, FloatArray]) -> FloatArray:
    """By how much the carry of the recording is late, piece by piece, where that makes more than a small difference."""
    program_t, (places, seen) = case.job.trajectory.t, compared
    speed = np.gradient(places, program_t, axis=0)
    carried = program_t[case.carried]
    size = float(np.sqrt(places[case.carried].var(axis=0).sum()))
    borders = np.linspace(carried[0], carried[-1], PIECES + 1)
    out = np.zeros(PIECES)
    for i, span in enumerate(itertools.pairwise(borders)):
        here = within(t, (float(span[0]), float(span[1])))
        if not here.any():
            continue
        v = at(t[here], program_t, speed)
        lag = _least_lag(v, seen[here] - at(t[here], program_t, places))
        usual = float(np.sqrt((v**2).sum(axis=1).mean()))
        out[i] = lag if abs(lag) * usual > SEEN * size else 0.0
    return out


def _lag(t: FloatArray, seen: FloatArray, program_t: FloatArray, places: FloatArray, speed: FloatArray) -> float:
    """By least squares; 0 where the move is too small to tell."""
    lag = _least_lag(at(t, program_t, speed), seen - at(t, program_t, places))
    return lag if abs(lag) < LATEST else 0.0


def _least_lag(v: FloatArray, left: FloatArray) -> float:
    """The same from speeds and from what is left, however late it is."""
    total = float((v**2).sum())
    if not total > 0.0:
        return 0.0
    lag = -float((left * v).sum()) / total
    error = float(np.sqrt(((left + lag * v) ** 2).sum(axis=1).mean() / total))
    return lag if abs(lag) > TELLING * error else 0.0
