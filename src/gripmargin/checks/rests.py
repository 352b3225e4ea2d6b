"""Where a program rests: the places at which its moves may be given different speeds."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import by_parts, largest_of, parts, stored
from gripmargin.checks.case import Case
from gripmargin.motion.trajectory import JointTrajectory

CREEP = 2e-3  # [rad/s, m/s] speed that counts as rest
STEP = 0.5  # times the largest acceleration and the step: by how much samples may miss the instant of rest
EXACT = 1e-4  # [rad/s, m/s] speed up to which a change of speed is no jerk worth naming
WORTH_NAMING = 0.05  # share of a stretch from which a label counts: borders need not lie exactly at rest
PAUSE = 0.02  # [s] a rest at least this long is a wait of its own


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """Samples from one rest to the next.

    Attributes:
        first: First sample.
        last: Last sample.
        moves: Labels in it; empty without labels.
        kept: Why it keeps its speed; empty where it is carried and moves.
    """

    first: int
    last: int
    moves: tuple[str, ...]
    kept: str


def at_rest(case: Case) -> NDArray[np.bool_]:
    """Return in which samples nothing moves, shape (n,)."""
    speed, acceleration = _rates(case)
    t, most = case.job.trajectory.t, largest_of(np.abs, acceleration)
    out = stored(t.shape, bool)
    for part in parts(t.size):
        step = np.diff(t[max(part.start - 1, 0) : part.stop + 1])
        ends = int(part.start == 0), int(part.stop == t.size)
        step = np.pad(step, ends, mode="edge")
        reach = np.maximum(step[:-1], step[1:])
        out[part] = (np.abs(speed[part]) <= np.maximum(CREEP, STEP * most * reach[:, None])).all(axis=1)
    return out


def stretches(case: Case, *, by_label: bool) -> list[Stretch]:
    """Return the program cut at its rests.

    Args:
        case: The job.
        by_label: Cut only where the label of the move changes, where there are labels.
    """
    rest = at_rest(case)
    runs = case.job.trajectory.runs()
    cuts = _between_labels(rest, runs) if by_label and runs else _at_rests(case, rest)
    n = case.job.trajectory.samples
    bounds = sorted({0, n - 1, *cuts})
    labels = case.job.trajectory.moves or ()
    out = []
    for first, last in pairwise(bounds):
        inside = slice(first + 1, last) if last - first > 1 else slice(first, last + 1)
        count = Counter(labels[inside])
        names = tuple(label for label in count if count[label] >= WORTH_NAMING * count.total())
        out.append(Stretch(first=first, last=last, moves=names, kept=_kept(case, rest, first, last)))
    return out


def _rates(case: Case) -> tuple[FloatArray, FloatArray]:
    motion = case.motion
    if isinstance(case.job.trajectory, JointTrajectory) and motion.joint_rates is not None:
        return motion.joint_rates
    at = motion.at
    return (
        by_parts(lambda *both: np.hstack(both), at.velocity, at.angular_velocity),
        by_parts(lambda *both: np.hstack(both), at.acceleration, at.angular_acceleration),
    )


def _between_labels(rest: NDArray[np.bool_], runs: list[tuple[str, int, int]]) -> list[int]:
    """The samples at rest where the label changes."""
    cuts = []
    for _, first, _ in runs[1:]:
        if rest[first - 1]:
            cuts.append(first - 1)
        elif rest[first]:
            cuts.append(first)
    return cuts


def _at_rests(case: Case, rest: NDArray[np.bool_]) -> list[int]:
    """Both ends of every wait, and the slowest sample of every instant of rest."""
    speed = by_parts(lambda some: np.abs(some).max(axis=1), _rates(case)[0])
    t = case.job.trajectory.t
    cuts: list[int] = []
    for first, last in _runs(rest):
        over = speed[first : last + 1]
        still = first + np.flatnonzero(over <= max(EXACT, float(over.min())))
        if t[still[-1]] - t[still[0]] >= PAUSE:
            cuts += [int(still[0]), int(still[-1])]
        else:
            cuts.append(first + int(np.argmin(over)))
    return cuts


def _runs(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return [(int(first), int(end) - 1) for first, end in edges.reshape(-1, 2)]


def _kinds(case: Case) -> Sequence[str]:
    return case.job.phase_map.kinds()


def _kept(case: Case, rest: NDArray[np.bool_], first: int, last: int) -> str:
    inside = slice(first + 1, last) if last - first > 1 else slice(first, last + 1)
    carried = case.airborne[inside]
    if rest[inside].all():
        return "stands still"
    if carried.all():
        return ""
    kinds = set(case.shared(_kinds)[inside]) - {"carry"}
    if kinds == {"free"}:
        return "no part"
    return " and ".join(sorted(kinds))
