"""Which moves have to be slower, and by how much, for a check to pass: sought move by move, shown for all at once."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks import words
from gripmargin.checks.advice import Trials
from gripmargin.checks.case import Case
from gripmargin.checks.margin import Shortfall
from gripmargin.results.findings import Remedy
from gripmargin.workcell.job import Job
from gripmargin.workcell.scaling import scaled

AT_REST = 1e-3  # share of the largest speed below which the tool counts as at rest
STEPS_BACK = (1.0, 0.97, 0.9)  # of the factors found, until the check passes


@dataclass(frozen=True, eq=False, kw_only=True)
class Motion:
    """What is slowed as one: a move, all runs of its label, or from one rest to the next where moves have no labels.

    Attributes:
        move: Its label; None where there are no labels.
        start: First time [s].
        end: Last time [s].
        intervals: Which intervals between samples belong to it, shape (n - 1,).
        samples: Its samples, indices into the program, shape (m,).
    """

    move: str | None
    start: float
    end: float
    intervals: NDArray[np.bool_]
    samples: NDArray[np.intp]

    @property
    def known(self) -> object:
        """What tells it from others."""
        return self.start if self.move is None else self.move

    @property
    def subject(self) -> str:
        """What it is called."""
        return words.motion(self.move, self.start, self.end)

    @property
    def figures(self) -> dict[str, object]:
        """Which it is."""
        return {"move": self.move} if self.move is not None else {"move": None, "from": self.start, "to": self.end}


def motion_at(case: Case, sample: int) -> Motion:
    """Return what has to be slowed as one for a sample, an index into the program."""
    trajectory, speed = case.job.trajectory, case.shared(_speed)
    n, move = trajectory.samples, trajectory.move_at(sample)
    if trajectory.moves is not None:
        inside = case.shared(_labels) == move
        # on the border between two moves an interval belongs to the one that moves there
        owner = np.where(speed[:-1] > speed[1:], inside[:-1], inside[1:])
        samples = np.flatnonzero(inside)
    else:
        still = np.flatnonzero(speed <= AT_REST * speed.max(initial=0.0))
        first, last = int(still[still < sample].max(initial=0)), int(still[still > sample].min(initial=n - 1))
        samples = np.arange(first, last + 1)
        owner = np.zeros(n - 1, dtype=bool)
        owner[first:last] = True
    if trajectory.rates[0] is not None:
        # what is at rest beside it may be longer: its first and last rates are then its own
        rest = speed <= AT_REST * speed.max(initial=0.0)
        beside = np.zeros_like(owner)
        beside[1:] |= owner[:-1]
        beside[:-1] |= owner[1:]
        owner = owner | (beside & rest[:-1] & rest[1:])
    t = trajectory.t
    return Motion(
        move=move, start=float(t[samples[0]]), end=float(t[samples[-1]]), intervals=np.asarray(owner), samples=samples
    )


def _stands_still(case: Case, motion: Motion) -> bool:
    """Whether its samples all say the same."""
    tool = case.motion.at.take(motion.samples)
    return bool(np.ptp(tool.position, axis=0).max() == 0.0 and np.ptp(tool.rotation, axis=0).max() == 0.0)


def _labels(case: Case) -> NDArray[np.str_]:
    return np.array(case.job.trajectory.moves)


def _speed(case: Case) -> FloatArray:
    """How fast the tool goes or turns at each sample, each against the largest of the program, shape (n,)."""
    tool = case.motion.at
    sizes = [np.linalg.norm(rows, axis=1) for rows in (tool.velocity, tool.angular_velocity)]
    return np.asarray(np.max([size / max(float(size.max()), 1e-9) for size in sizes], axis=0))


def slowed(job: Job, factors: Sequence[tuple[Motion, float]]) -> Job:
    """Return a job with some of its motion at shares of its speed."""
    speed = np.ones(job.trajectory.samples - 1)
    for motion, factor in factors:
        speed[motion.intervals] = np.minimum(speed[motion.intervals], factor)
    return scaled(job, speed)


def slowing(
    case: Case,
    trials: Trials,
    found: Sequence[Shortfall],
    needed: Callable[[Motion, Shortfall], float | None],
    why_not: Callable[[Motion, Shortfall], Remedy],
    *,
    searched: int | None = None,
    possible: bool = True,
    back: Sequence[float] = STEPS_BACK,
) -> Mapping[int, Remedy]:
    """Return for each stretch that falls short how much slower it has to be, or why that does not help.

    Args:
        case: The job whose samples they are.
        trials: Of the check.
        found: The stretches.
        needed: The factor on the speed of a motion that one of them lies in, by a search of the check's own.
        why_not: What to say where there is none.
        searched: For how many motions, the worst ones, a factor is sought; the others are slowed like the slowest of
            them. None: for all.
        possible: Whether the job with the slower program can be tried.
        back: Shares of the factors found that are tried, until the check passes.

    Returns:
        By the stretch's `k`; nothing for one whose motion was not looked at.
    """
    motions = {short.k: motion_at(case, short.sample) for short in found}
    for last in (False, True):
        sought = trials.sought(1.0)
        factors, useless, rests = _sought(case, found, motions, needed, why_not, searched)
        together = list(factors.values())
        tries = possible and factors and not useless
        share = _shown(trials, together, back, once=not last) if tries else None
        if share is not None or not trials.sought(1.0) > sought:
            break  # else the part bends in more ways when it is slower: on from there
    said = {motion.known: remedy for (motion, _), remedy in zip(together, _remedies(together, share), strict=True)}
    said |= useless | (dict.fromkeys(rests, next(iter(said.values()))) if said else rests)
    return {short.k: said[motions[short.k].known] for short in found if motions[short.k].known in said}


def _sought(
    case: Case,
    found: Sequence[Shortfall],
    motions: Mapping[int, Motion],
    needed: Callable[[Motion, Shortfall], float | None],
    why_not: Callable[[Motion, Shortfall], Remedy],
    searched: int | None,
) -> tuple[dict[object, tuple[Motion, float]], dict[object, Remedy], dict[object, Remedy]]:
    """The factors of motions, what to say of those that no speed helps, and of those that stand still."""
    worst = sorted(found, key=lambda short: (not short.fails, -float(short.use.high[short.piece].max())))
    factors: dict[object, tuple[Motion, float]] = {}
    useless: dict[object, Remedy] = {}
    rests: dict[object, Remedy] = {}
    for short in worst:
        motion = motions[short.k]
        if _stands_still(case, motion):  # what it lacks comes from the motion beside it, if slowing helps at all
            rests[motion.known] = why_not(motion, short)
            continue
        tried = len(factors) + len(useless)
        if motion.known in useless or (motion.known in factors and searched is not None):
            continue
        if searched is not None and tried >= searched:
            if useless:
                break  # slowing is no help by itself: what the others would need does not matter
            factor: float | None = min(least for _, least in factors.values())
        else:
            factor = needed(motion, short)
        if factor is None:
            useless[motion.known] = why_not(motion, short)
            factors.pop(motion.known, None)
        else:
            factors[motion.known] = motion, min(factor, factors.get(motion.known, (motion, factor))[1])
    return factors, useless, rests


def slower_together(trials: Trials, factors: Sequence[tuple[Motion, float]]) -> list[Remedy]:
    """Return the remedy of each of some motions that have to be slower, by factors found: shown for all at once."""
    return _remedies(factors, _shown(trials, factors, STEPS_BACK)) if factors else []


def _shown(
    trials: Trials, factors: Sequence[tuple[Motion, float]], steps: Sequence[float], *, once: bool = False
) -> float | None:
    """By what share further than found all have to be slower, so that the check passes; None where it does not.

    Once means: no further where the search asked for less than bending of the part takes off.
    """
    job, sought = trials.case.job, trials.sought(1.0)

    def passes(back: float) -> bool:
        each = [(motion, _rounded(back * factor)) for motion, factor in factors]
        return trials.passes(lambda: slowed(job, each)) is not None

    for back in steps:
        if passes(back):
            return back
        if trials.doubted or (once and trials.sought(1.0) > sought):
            break
    return None


def _remedies(factors: Sequence[tuple[Motion, float]], back: float | None) -> list[Remedy]:
    others = len(factors) - 1
    found = [_remedy(motion, _rounded(factor * (back or 1.0)), others) for motion, factor in factors]
    return [replace(remedy, shown=back is not None) for remedy in found]


def _rounded(factor: float) -> float:
    return math.floor(100.0 * factor + 1e-9) / 100.0


def _remedy(motion: Motion, factor: float, others: int) -> Remedy:
    figures = {**motion.figures, "factor": factor, "others": others}
    return Remedy(action="slow", text=words.slow(motion.subject, factor), figures=figures)
