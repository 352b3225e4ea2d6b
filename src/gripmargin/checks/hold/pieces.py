"""Stretches of the carry that fall short, and figures of them that several checks give."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.hold.use import Use

SPAN = 0.05  # [s] spans of a finding closer than this are one
BRIDGE = 0.5  # [s] stretches closer than this, or of one move, are one finding


def margin_figure(use: float) -> float | None:
    """Return 1/u as a figure for a report: None where there is no load, 0 where the use is unbounded."""
    if np.isnan(use) or use <= 0:
        return None
    return 0.0 if np.isinf(use) else 1.0 / use


def pieces_of(case: Case, use: Use, short: NDArray[np.bool_]) -> list[NDArray[np.intp]]:
    """Return the carried samples that fall short, one piece a move, or a stretch where moves have no labels."""
    marked = np.flatnonzero(short)
    if marked.size == 0:
        return []
    samples = use.samples[marked]
    cut = np.diff(case.job.trajectory.t[samples]) > BRIDGE
    runs = case.job.trajectory.runs()
    if runs:
        firsts = np.array([first for _, first, _ in runs])
        run = np.searchsorted(firsts, samples, side="right")
        cut = np.diff(run) > 0
    return np.split(marked, np.flatnonzero(cut) + 1)


def spans_of(case: Case, use: Use, piece: NDArray[np.intp]) -> tuple[tuple[float, float], ...]:
    """Return from when to when a piece falls short [s]."""
    t = case.job.trajectory.t[use.samples[piece]]
    parts = np.split(t, np.flatnonzero(np.diff(t) > SPAN) + 1)
    return tuple((float(part[0]), float(part[-1])) for part in parts)


def edge_point(case: Case, use: Use, point: int) -> FloatArray:
    """Return the place of an edge point in the tool frame [m], shape (3,)."""
    patch = case.backing.patches[int(use.owner[point])]
    first = int(np.argmax(use.owner == use.owner[point]))
    return np.asarray(patch.edge[point - first])
