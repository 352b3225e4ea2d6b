"""A report made ready for its page: which samples are shown, which findings have a number, where the cursor starts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.reports.html.charts import COLUMNS
from gripmargin.reports.html.text import NONE, margin, safe, tag
from gripmargin.reports.series import IntArray, check_sample, envelope, sample_of, stops, used, worst_sample
from gripmargin.results.findings import Finding, worst_first
from gripmargin.results.governing import governing
from gripmargin.results.report import Report
from gripmargin.results.tuned import Move

STOPS = 900  # places of the time cursor, the marked samples besides
FULL = 12  # jobs of one page that have all places and columns; of more each has less
FEWEST = 32  # columns and places of a job among very many
MOST_MOVES = 200  # whose speed can be tried
NUMBERED = 12  # findings that get a number and a card
KINDS = (
    "nothing is judged",
    "twice the target or more",
    "from the target to twice that",
    "below the target, or perhaps below",
    "below half the target",
)
BOUNDS = (0.5, 1.0, 2.0)  # shares of the target between the kinds


@dataclass(frozen=True, eq=False)
class View:
    """A report made ready for its page.

    Attributes:
        report: The report.
        key: Prefix of all identifiers of this report in the page.
        worst: The sample that the page opens at; None where there is no sample.
        stops: Samples at which figures are given.
        numbered: The findings with a number, worst first; none that follows from a cause.
        hung: Whether the part hangs on the pads, sample by sample.
        columns: Of the drawings over time.
        moves: Stretches between rests whose speed can be tried, and others among them; none where it cannot.
    """

    report: Report
    key: str
    worst: int | None
    stops: IntArray
    numbered: tuple[Finding, ...]
    hung: NDArray[np.bool_]
    columns: int = COLUMNS
    moves: tuple[Move, ...] = ()

    @classmethod
    def of(cls, report: Report, key: str, jobs: int = 1) -> View:
        """Return the view of a report that shares its page with others: so many jobs in all."""
        samples = report.samples
        ranked = worst_first(report.findings)
        found = [sample_of(report, f) for f in ranked] + [check_sample(report, check) for check in report.checks]
        marked = [i for i in found if i is not None]
        worst = worst_sample(report)
        marked += [] if worst is None else [worst]
        moves = _tried(report) if jobs <= FULL else ()
        marked += [] if report.scene is None else report.scene.worst_at_speeds(samples, moves)
        hung = ~np.isnan(samples.hold_margin) if report.scene is None else report.scene.airborne
        return cls(
            report=report,
            key=key,
            worst=worst,
            stops=stops(samples.t, used(samples.governing), marked, _fewer(STOPS, jobs)),
            numbered=tuple([f for f in ranked if f.check not in report.explained][:NUMBERED]),
            hung=np.asarray(hung, dtype=bool),
            columns=_fewer(COLUMNS, jobs),
            moves=moves,
        )

    @property
    def t(self) -> FloatArray:
        """Times [s]."""
        return self.report.samples.t

    @property
    def span(self) -> tuple[float, float]:
        """First and last time [s]."""
        return float(self.t[0]), float(self.t[-1])

    @property
    def start(self) -> int:
        """Index of the sample that the page opens at among the stops."""
        return 0 if self.worst is None else int(np.searchsorted(self.stops, self.worst))

    @property
    def cursor(self) -> float | None:
        """Where the time cursor is at first [s]."""
        return None if self.worst is None else float(self.t[self.worst])

    def governs(self, sample: int) -> str:
        """What governs at a sample: the name of the check and its share of its target."""
        samples = self.report.samples
        name = samples.governed_by[sample]
        return f"{name.replace('_', ' ')} {margin(float(samples.governing[sample]))}" if name else NONE

    @cached_property
    def drawn(self) -> dict[str, FloatArray]:
        """Return the share of its target of each check over time as it is drawn: a swing by its envelope."""
        out = {name: share for name, share in self.report.shares.items() if not np.isnan(share).all()}
        for check in self.report.checks:
            slowest = min(check.details.get("frequencies", ()), default=None)
            if slowest and check.check in out and self.t.size > 1:
                near = math.ceil(0.25 / (slowest * float(np.median(np.diff(self.t)))))
                out[check.check] = used(envelope(self.t, used(out[check.check]), near))
        return out

    @cached_property
    def governing(self) -> tuple[FloatArray, Sequence[str]]:
        """Return what governs over time as it is drawn: shares of targets, and names."""
        samples = self.report.samples
        return governing(self.drawn, self.t.size) if self.drawn else (samples.governing, samples.governed_by)

    def load(self, sample: int) -> FloatArray:
        """Return the load that the faces are drawn for: of what governs where it is known, else of the program.

        Nothing where the part does not hang on the pads; at the tool origin [N, N m], shape (6,).
        """
        samples, name = self.report.samples, self.carried_by(sample)
        if name and self.report.scene is not None:
            return self.report.scene.loads[name][:, sample]
        return np.concatenate([samples.force[sample], samples.moment[sample]]) * self.hung[sample]

    def carried_by(self, sample: int) -> str:
        """Return the result whose load the faces are drawn for; empty for that of the program's motion."""
        name, scene = self.report.samples.governed_by[sample], self.report.scene
        known = scene is not None and name in scene.loads and np.isfinite(scene.loads[name][:, sample]).all()
        return name if known else ""

    @property
    def kind(self) -> IntArray:
        """How much of a target is kept at every stop: an index into `KINDS`."""
        share = self.report.samples.governing[self.stops]
        return np.where(np.isnan(share), 0, 4 - np.searchsorted(BOUNDS, np.nan_to_num(share, nan=9.0), side="right"))

    def target(self, check: str) -> float | None:
        """Target of a check, None where it was not made."""
        return next((c.target for c in self.report.checks if c.check == check), None)

    def carried(self, values: FloatArray) -> FloatArray:
        """Values where the part hangs on the pads, NaN elsewhere."""
        return np.where(self.hung, values, np.nan)


def _tried(report: Report) -> tuple[Move, ...]:
    """The stretches of a program, of very many those with the least hold margin."""
    moves = () if report.scene is None or np.isnan(report.samples.hold_margin).all() else report.scene.moves
    if len(moves) <= MOST_MOVES:
        return moves
    t, low = report.samples.t, np.nan_to_num(report.samples.hold_margin_low, nan=np.inf)
    least = [float(low[(t >= m.start) & (t <= m.end)].min(initial=np.inf)) if not m.kept else np.inf for m in moves]
    return tuple(moves[i] for i in np.sort(np.argsort(least, kind="stable")[:MOST_MOVES]))


def _fewer(count: int, jobs: int) -> int:
    """How many of so many a job has that shares the page: the page as a whole keeps its size."""
    return max(min(count, count * FULL // max(jobs, 1)), FEWEST)


def stop_of(view: View, finding: Finding) -> int:
    """Return at which stop a finding is worst."""
    sample = sample_of(view.report, finding)
    return -1 if sample is None else int(np.searchsorted(view.stops, sample))


def link(view: View, t: float) -> str:
    """Return a link that moves the time cursor."""
    return tag("a", safe(f"{t:.3f} s"), href=f"#{view.key}:t={t:.4f}", class_="at")
