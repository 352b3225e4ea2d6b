"""What a check is: a question with a name, targets, what it needs, how it is answered and how that is said."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from gripmargin.base.errors import BudgetError
from gripmargin.checks import premises
from gripmargin.checks.case import Case
from gripmargin.checks.resting import raised, resting_on
from gripmargin.checks.standing import Premise
from gripmargin.checks.use import Asked
from gripmargin.results.findings import CheckResult, Finding, NotChecked, Outcome, undecided
from gripmargin.results.record import NoFigures, Record
from gripmargin.workcell.job import Job

NOTHING_CARRIED = "the program carries no part"

Said = tuple[str, tuple[str, ...]]
SaidOfFinding = tuple[str, tuple[tuple[str, str], ...]]


@dataclass(frozen=True, kw_only=True)
class Judged:
    """One result that a check may give.

    Attributes:
        name: Of the result.
        target: Least value wanted; None where the job does not ask for the result.
        details: What its details are.
        series: Name of its figure at every sample in `gripmargin.results.samples.Samples`; None where it has none.
        rests_on: What it takes for granted of part and pads; by default all that there is.
    """

    name: str
    target: Callable[[Job], float | None]
    details: type[Record] = NoFigures
    series: str | None = None
    rests_on: tuple[Premise, ...] = premises.ALL


@dataclass(frozen=True, kw_only=True)
class Check:
    """One question that is asked of a program.

    Attributes:
        name: Of the check; its results may have other names.
        question: What it asks.
        judged: The results that it may give, in their order.
        run: Works it out: figures, no sentences. Texts of what it returns are filled in by `answer`.
        result_words: Says a result, given beside its details: what its figure is, and further sentences.
        finding_words: Says a finding, given beside its worst and its because: in a sentence, and more about the worst
            sample, each a word and a sentence.
        needs: Why a job cannot be asked this, in a few words; None where it can.
        references: Published sources of its methods, for a job.
        of_the_carry: Whether the speed of the carry changes what it comes to.
        needs_carry: Whether it asks about the part while it is carried.
        of_contact: Whether it is about pads and part where they meet, in tray and nest.
        uses: How far the pads are used, and which margins that has to keep; None where it is not about that.
    """

    name: str
    question: str
    judged: tuple[Judged, ...]
    run: Callable[[Case], Outcome]
    result_words: Callable[[CheckResult, Any], Said]
    finding_words: Callable[[Finding, Any, Any], SaidOfFinding]
    needs: Callable[[Job], str | None] = lambda _: None
    references: Callable[[Job], tuple[str, ...]] = lambda _: ()
    of_the_carry: bool = True
    needs_carry: bool = True
    of_contact: bool = False
    uses: Callable[[Case], Iterable[Asked]] | None = None

    def answer(self, case: Case) -> Outcome:
        """Return what the check comes to, in figures and in words, as far as what it takes for granted holds."""
        missing = self.needs(case.job)
        if missing is not None:
            return Outcome(not_checked=(NotChecked(check=self.name, reason=missing),))
        if self.needs_carry and case.carried.size == 0:
            return Outcome(not_checked=(NotChecked(check=self.name, reason=NOTHING_CARRIED),))
        if self.of_contact and case.undone:
            return self._undecided(case.job, case.undone)
        grounds = self._grounds()
        case.grounds.update(grounds)
        try:
            outcome = self.worded(self.run(case))
        except BudgetError as error:
            return self._undecided(case.job, str(error))
        results = [resting_on(case, grounds[result.check], result) for result in outcome.results]
        return replace(outcome, results=tuple(results))

    def _undecided(self, job: Job, reason: str) -> Outcome:
        targets = {judged.name: judged.target(job) for judged in self.judged}
        results = [undecided(name, target, reason) for name, target in targets.items() if target is not None]
        return Outcome(results=tuple(results))

    def asked(self, case: Case) -> Iterator[Asked]:
        """Yield the uses of the pads that it is about, and what their bounds have to keep, premises included."""
        for asked in () if self.uses is None else self.uses(case):
            factor = raised(case, self._grounds()[asked.name])
            yield replace(asked, target=factor * asked.target)

    def _grounds(self) -> dict[str, tuple[Premise, ...]]:
        return {judged.name: judged.rests_on for judged in self.judged}

    def worded(self, outcome: Outcome) -> Outcome:
        """Return an outcome with its sentences; a result that has a text keeps it."""
        results = []
        for result in outcome.results:
            text, lines = (result.text, result.lines) if result.text else self.result_words(result, result.details)
            results.append(replace(result, text=text, lines=lines))
        findings = []
        for finding in outcome.findings:
            text, more = finding.text, finding.lines
            if not text:
                text, more = self.finding_words(finding, finding.worst, finding.because)
            findings.append(replace(finding, text=text, lines=more))
        return replace(outcome, results=tuple(results), findings=tuple(findings))
