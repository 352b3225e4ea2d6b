"""The checker has the last word: what is given out has passed all of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks import registry
from gripmargin.results.findings import Verdict
from gripmargin.results.report import Report
from gripmargin.run.one import check_job
from gripmargin.workcell.job import Job

Watch = Callable[[str], None]


@dataclass(frozen=True, kw_only=True)
class Shortfall:
    """A check that a program does not pass.

    Attributes:
        check: Its name.
        verdict: Fail or undecided.
        ratio: The least value it may have over its target [-]; 0 where it is not known.
        sample: Where that least margin is, or None.
        text: The finding in words.
    """

    check: str
    verdict: Verdict
    ratio: float
    sample: int | None
    text: str

    @property
    def stays(self) -> bool:
        """Whether the speed of the carry changes nothing: at a handover, or where nobody can tell."""
        return not registry.check_of(self.check).of_the_carry or (self.sample is None and self.ratio == 0.0)


@dataclass(frozen=True, eq=False, kw_only=True)
class Judged:
    """A job and what the checker says of it.

    Attributes:
        job: The job.
        report: What it says; of a trial only whether it passes, and the least margins, count.
        trial: Whether that was one.
    """

    job: Job
    report: Report
    trial: bool = False

    @cached_property
    def full(self) -> Report:
        """The report with everything that the checker says."""
        return check_job(self.job) if self.trial else self.report

    @property
    def passed(self) -> bool:
        """Whether the whole job passes."""
        return self.report.passed

    @property
    def shortfalls(self) -> tuple[Shortfall, ...]:
        """The checks that do not pass, worst first."""
        found = [
            Shortfall(
                check=result.check,
                verdict=result.verdict,
                ratio=(result.low or 0.0) / result.target,
                sample=None if place is None else place.sample,
                text=f"{result.check} is {result.verdict} ({result.text or result.measure})",
            )
            for result in self.report.checks
            if result.verdict is not Verdict.PASS
            for place in [result.low_at or result.at]
        ]
        return tuple(sorted(found, key=lambda shortfall: shortfall.ratio))

    @property
    def of_the_carry(self) -> tuple[Shortfall, ...]:
        """Those that the speed of the carry can change."""
        return tuple(s for s in self.shortfalls if not s.stays)

    @property
    def blocked(self) -> tuple[Shortfall, ...]:
        """Those that it cannot."""
        return tuple(s for s in self.shortfalls if s.stays)

    @property
    def reached(self) -> float:
        """The least margin over its target of the checks of the carry; inf where none has a value."""
        ratios = [
            result.low / result.target
            for result in self.report.checks
            if registry.check_of(result.check).of_the_carry and result.low is not None
        ]
        return min(ratios, default=float("inf"))

    @property
    def ratios(self) -> FloatArray:
        """The least margin over its target at every sample, of the checks that tell; inf where none does."""
        samples = self.report.samples
        out = np.full(samples.t.size, np.inf)
        targets = {result.check: result.target for result in self.report.checks}
        for check, name in registry.series().items():
            if check in targets:
                out = np.fmin(out, getattr(samples, f"{name}_low", getattr(samples, name)) / targets[check])
        return out


def judged(job: Job, *, trial: bool = False) -> Judged:
    """Check a job.

    Args:
        job: The job.
        trial: Whether another one may be given out in its place: the check takes a third of the time where it fails.
    """
    return Judged(job=job, report=check_job(job, trial=trial), trial=trial)
