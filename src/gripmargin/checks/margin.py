"""From a use of the pads to a result and to the stretches that fall short."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gripmargin.checks.case import Case
from gripmargin.checks.use import Use, inverse
from gripmargin.results.findings import CheckResult, Finding, Place, Remedy, Verdict, judge, on_target, short_of
from gripmargin.results.record import Record, part

SPAN = 0.05  # [s] spans of a finding closer than this are one
BRIDGE = 0.5  # [s] stretches closer than this, or of one move, are one finding


def margin_figure(use: float) -> float | None:
    """Return 1/u as a figure for a report: None where there is no load, 0 where the use is unbounded."""
    if np.isnan(use) or use <= 0:
        return None
    return 0.0 if np.isinf(use) else 1.0 / use


def margin_result(
    case: Case, name: str, use: Use, target: float, details: Mapping[str, Any], *, proven: bool = True
) -> CheckResult:
    """Return the result that a use comes to.

    Args:
        case: The job.
        name: Of the result.
        use: How far the pads are used.
        target: Margin wanted.
        details: Further figures.
        proven: Whether a pass may be believed; else it is undecided.
    """
    worst, surest = int(np.argmax(use.value)), int(np.argmax(use.high))
    low, high = use.high.max(), use.low.max()
    verdict = judge(float(inverse(low)), float(inverse(high)), target)
    return CheckResult(
        check=name,
        verdict=Verdict.UNDECIDED if verdict is Verdict.PASS and not proven else verdict,
        value=margin_figure(float(use.value[worst])),
        low=margin_figure(float(low)),
        high=margin_figure(float(high)),
        target=target,
        at=case.place(int(use.samples[worst])),
        low_at=case.place(int(use.samples[surest])),
        details=details,
    )


@dataclass(frozen=True, eq=False, kw_only=True)
class WorstMargin(Record):
    """The sample of a stretch that tells most: the least margin where it fails, else the least that it may be.

    Attributes:
        at: The sample.
        margin: Best estimate [-].
        margin_low: Least value it may have.
        margin_high: Largest value it may have.
    """

    at: Place = part()
    margin: float | None
    margin_low: float | None
    margin_high: float | None


@dataclass(frozen=True, eq=False)
class Shortfall:
    """A stretch of the carry that falls short of a target, or that cannot be decided.

    Attributes:
        use: How far the pads are used.
        target: Margin wanted.
        piece: Its carried samples, indices into the use.
        fails: Whether it surely falls short.
        k: The worst of them, an index into the use.
        worst: What is known there.
    """

    use: Use
    target: float
    piece: NDArray[np.intp]
    fails: bool
    k: int
    worst: WorstMargin

    @classmethod
    def of(cls, case: Case, use: Use, target: float, piece: NDArray[np.intp]) -> Shortfall:
        """Look at a stretch."""
        low, high = inverse(use.high[piece].max()), inverse(use.low[piece].max())
        fails = judge(float(low), float(high), target) is Verdict.FAIL
        k = int(piece[np.argmax(use.value[piece] if fails else use.high[piece])])
        worst = WorstMargin(
            at=case.place(int(use.samples[k])),
            margin=margin_figure(float(use.value[k])),
            margin_low=margin_figure(float(use.high[k])),
            margin_high=margin_figure(float(use.low[k])),
        )
        return cls(use, target, piece, fails, k, worst)

    def lacks_samples(self, case: Case, blamed: int) -> bool:
        """Return whether what is not known at a sample leaves it open, and no change of the program settles that."""
        lost = not self.fails and case.motion.rest_without_samples(blamed) is not None
        return lost or bool(case.motion.doubts_at(self.sample))

    @property
    def sample(self) -> int:
        """The worst sample, an index into the program."""
        return self.worst.at.sample

    @property
    def point(self) -> int:
        """The place of the grip that is used most there."""
        return int(self.use.point[self.k])

    @property
    def lets_go(self) -> bool:
        """Whether it is not only the data that falls short: a place lets go for certain, and the others may hold."""
        return not self.fails and bool(short_of(inverse(self.use.value[self.k]), self.target))

    @property
    def bounded(self) -> bool:
        """Whether only a bound is known, for the part is stretched as well as bent."""
        film = self.use.grip.film
        return film is not None and film.counts

    @property
    def unknown(self) -> bool:
        """Whether it cannot be decided, and what is not known of the motion may be all that it lacks."""
        at_best = 2.0 * self.use.value[self.k] - self.use.high[self.k]
        return not self.fails and not self.bounded and on_target(inverse(max(float(at_best), 0.0)), self.target)

    def finding(
        self, case: Case, check: str, worst: Mapping[str, Any], because: Mapping[str, Any], remedies: Sequence[Remedy]
    ) -> Finding:
        """Return the finding.

        Args:
            case: The job.
            check: Name of the check.
            worst: What is known of the worst sample, with `self.worst` among it.
            because: Causes.
            remedies: What to change.
        """
        spans = spans_of(case, self.use, self.piece)
        return Finding(
            check=check,
            verdict=Verdict.FAIL if self.fails else Verdict.UNDECIDED,
            start=spans[0][0],
            end=spans[-1][1],
            spans=spans,
            worst=worst,
            because=because,
            remedies=tuple(remedies),
            share=(self.worst.margin_low or 0.0) / self.target,
        )


def pieces_of(case: Case, use: Use, short: NDArray[np.bool_]) -> list[NDArray[np.intp]]:
    """Return the carried samples that fall short, one piece a move, or a stretch where moves have no labels."""
    marked = np.flatnonzero(short)
    if marked.size == 0:
        return []
    samples = use.samples[marked]
    cut = np.diff(case.job.trajectory.t[samples]) > BRIDGE
    runs = case.job.trajectory.runs()
    if runs:
        run = np.searchsorted(np.array([first for _, first, _ in runs]), samples, side="right")
        cut = np.diff(run) > 0
    return np.split(marked, np.flatnonzero(cut) + 1)


def shortfalls(case: Case, use: Use, target: float) -> list[Shortfall]:
    """Return the stretches that are not surely on target, one a move, or a stretch where moves have no labels."""
    short = use.short_of(target)
    return [Shortfall.of(case, use, target, piece) for piece in pieces_of(case, use, short)]


def spans_of(case: Case, use: Use, piece: NDArray[np.intp]) -> tuple[tuple[float, float], ...]:
    """Return from when to when a piece falls short [s]."""
    t = case.job.trajectory.t[use.samples[piece]]
    parts = np.split(t, np.flatnonzero(np.diff(t) > SPAN) + 1)
    return tuple((float(part[0]), float(part[-1])) for part in parts)
