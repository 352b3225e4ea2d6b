"""What to change where a check falls short: a change is called enough only if the check passes the changed job.

A pass on trial is one under all that the check takes for granted: a doubt that the change leaves is no pass.

A search on a piece of the motion, or on a few samples, only says what to try. `Trials` then puts the job with that
change, at the figure that will be printed, to the check itself, over the whole program.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from math import inf, nan
from typing import Final

from gripmargin.base.errors import InputError
from gripmargin.checks.case import Case, work_out
from gripmargin.checks.resting import doubted, on_trial, raised
from gripmargin.results.findings import CheckResult, Remedy, Verdict
from gripmargin.workcell.job import Job

STEEPEST: Final = 3.0  # power of a size with which a margin grows at most: a pad against tilting, its section modulus
Results = Callable[[Case], Iterable[CheckResult]]


@dataclass(frozen=True, eq=False, kw_only=True)
class Change:
    """One change at one size.

    Attributes:
        remedy: What it is called.
        job: The job with it; None where no job can say it: it stays a hint.
        reached: What it is called with the figure that the check then comes to; None: the same.
        size: Which it is, of several that each let a margin grow; inf: that tells nothing of the others.
    """

    remedy: Remedy
    job: Callable[[], Job] | None = None
    reached: Callable[[float], Remedy] | None = None
    size: float = inf


@dataclass(eq=False)
class Trials:
    """Changes of one job, put to one check.

    Attributes:
        case: The job.
        results: The results of the check, for a case.
        name: Of the result that has to pass.
        too: Further results that the change may not spoil.
        most: How many changed jobs are put to the check; further changes are hints.
        enough: How many of them have to pass; then, too, further changes are hints.
        keep: Hands what a changed case has in common with the job's own to it, for the check to use again.
        last: What was tried last, worked out: a search that missed the worst place finds it there.
        share: Of its target that it reached for sure; NaN where that is not known.
        factor: By which bending may raise the use of the pads, at most, of the jobs asked about so far.
        doubted: Whether it would have passed, but for what makes the job itself doubtful: more of it does not help.
    """

    case: Case
    results: Results
    name: str
    too: Results = field(default=lambda _: ())
    most: int = 8
    enough: int = 8
    keep: Callable[[Case, Case], object] = field(default=lambda case, tried: None)
    last: Case | None = field(init=False, default=None)
    share: float = field(init=False, default=nan)
    factor: float = field(init=False, default=1.0)
    doubted: bool = field(init=False, default=False)

    @property
    def done(self) -> bool:
        """Whether no further change is put to the check."""
        return self.most <= 0 or self.enough <= 0

    def sought(self, target: float) -> float:
        """Return the margin that a search has to reach for a target, with what bending of the part may take off it.

        It takes off as much as from the job or from any change of it that was tried.
        """
        self.factor = max(self.factor, raised(self.case, self.case.grounds.get(self.name, ())))
        return target * self.factor

    def passes(self, job: Callable[[], Job]) -> CheckResult | None:
        """Return the result of a changed job where it is a pass; None where not, or where the job makes no sense."""
        self.share, self.doubted = nan, False
        if self.done:
            return None
        try:
            changed = job()
            self.most -= 1
            motion = self.case.motion if changed.trajectory is self.case.job.trajectory else None
            self.last = tried = work_out(changed, motion=motion, trial=True)
            if tried.carried.size == 0:
                return None
            self.keep(self.case, tried)
            found = {result.check: result for result in self.results(tried)}.get(self.name)
            if found is not None and found.low is not None:
                self.share = found.low / found.target
            if found is None or found.verdict is not Verdict.PASS:
                return None
            held = on_trial(tried, self.case, found)
            if held.low:
                self.factor = max(self.factor, self.share * held.target / held.low)
                self.share = held.low / held.target
            self.doubted = not doubted(self.case, self.name).isdisjoint(held.doubts)
            if held.verdict is not Verdict.PASS:
                return None
            if any(result.verdict is not Verdict.PASS for result in self.too(tried)):
                return None
            self.enough -= 1
            return held
        except InputError:
            return None

    def tried(self, changes: Iterable[Change]) -> Remedy | None:
        """Return the first of several sizes of one change, the least first, with which the check passes.

        Where it passes with none of them the first is a hint; None where there is no size at all, or where the job is
        on trial itself. Sizes that are hopeless by what the one before reached are not tried.
        """
        if self.case.trial:
            return None
        hint: Remedy | None = None
        least = 0.0
        for change in changes:
            hint = hint or change.remedy
            if change.size < least:
                continue
            found = None if change.job is None else self.passes(change.job)
            if found is not None:
                named = change.remedy
                if change.reached is not None and found.low is not None:
                    named = change.reached(found.low)
                return replace(named, shown=True)
            if self.doubted:
                return change.remedy
            if self.share > 0.0:
                least = change.size * self.share ** (-1.0 / STEEPEST)
        return hint


def ordered(remedies: Iterable[Remedy | None]) -> tuple[Remedy, ...]:
    """Return remedies with those that were shown first, without those that are none."""
    return tuple(sorted((x for x in remedies if x is not None), key=lambda remedy: not remedy.shown))
