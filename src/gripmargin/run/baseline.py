"""Comparing reports with earlier ones that somebody approved: what got worse, by how much.

Jobs are known by their names, checks by theirs, and by their hold where a program has several. Compared are, for each
check, the worst value and the least value that it may have, the verdict and the target; then the findings, the checks
and the jobs themselves. A check that is not made any more is worse than one that passes.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from gripmargin.base.errors import InputError
from gripmargin.files.report_file import Baseline, EarlierFinding, EarlierJob, earlier_job, own_name
from gripmargin.files.source import printable
from gripmargin.reports.as_json import report_tree
from gripmargin.results.findings import Verdict, on_target
from gripmargin.results.report import Judgement, Report

WORSE = 0.05  # share of an earlier value that may be lost without a word

_RANK = {Verdict.PASS: 0, Verdict.UNDECIDED: 1, Verdict.FAIL: 2}


@dataclass(frozen=True, kw_only=True)
class Worsening:
    """One thing that is worse than in the baseline.

    Attributes:
        job: Name of the job.
        check: Name of the check; None where the job as a whole is meant.
        kind: value, low, verdict, target, finding, accepted, check gone or job gone.
        before: The figure then; None where it is no figure or was not bounded.
        now: The figure now, likewise.
        text: The change in a sentence, without the name of the job.
    """

    job: str
    check: str | None
    kind: str
    before: float | None
    now: float | None
    text: str


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """Reports against a baseline.

    Attributes:
        allowed: Share of an earlier value that may be lost without being called worse.
        compared: Names of the jobs that are in both, in order.
        worse: What got worse, job by job in the order of the baseline.
        new: What had nothing to be compared with, in sentences.
    """

    allowed: float
    compared: tuple[str, ...]
    worse: tuple[Worsening, ...]
    new: tuple[str, ...]

    @property
    def passed(self) -> bool:
        """Whether nothing got worse."""
        return not self.worse

    def by_job(self) -> dict[str, list[str]]:
        """What got worse in sentences, by the name of the job."""
        found: dict[str, list[str]] = {}
        for item in self.worse:
            found.setdefault(item.job, []).append(item.text)
        return found


def checked_share(worse: float, where: str = "worse") -> float:
    """Return the share of a value that may be lost.

    Raises:
        InputError: Not a number from 0 to below 1.
    """
    if isinstance(worse, bool) or not isinstance(worse, int | float) or not 0 <= worse < 1:
        raise InputError(where, repr(worse), "a share of the earlier value, from 0 to below 1", "0.05 stands for 5 %")
    return float(worse)


def compare(results: Iterable[Report | Judgement], baseline: Baseline, *, worse: float = WORSE) -> Comparison:
    """Say what is worse than in a baseline.

    A value is worse where it is below ``(1 - worse)`` times the earlier one, the least value that it may have
    likewise; a verdict where it goes from pass to undecided or fail, or from undecided to fail; a target where it is
    lower. A finding is new where the check had none of its kind in the same move, or, without labels of moves, none
    that overlaps it. Checks and jobs that are gone are worse, and so is a code that is accepted now and was not. What
    else is new is said, and is not worse by itself.

    Args:
        results: Reports, or what `check_files` returns; a job that could not be checked now counts as gone.
        baseline: What `read_baseline` returns.
        worse: Share of the earlier value that may be lost.

    Raises:
        InputError: `worse` is no such share, or two jobs have the same name.
    """
    allowed = checked_share(worse)
    reports = [r if isinstance(r, Report) else r.report for r in results]
    now: dict[str, Report] = {}
    for report in reports:
        if report is not None:
            own_name(report.job, now)
            now[report.job] = report
    found: list[Worsening] = []
    new = [f"job '{printable(name, 200)}' is not in the baseline" for name in now if name not in baseline.jobs]
    new += [f"'{printable(name, 200)}' could not be checked when the baseline was made" for name in baseline.broken]
    for name, before in baseline.jobs.items():
        if name not in now:
            text = "the job is in the baseline and was not checked now"
            found.append(Worsening(job=name, check=None, kind="job gone", before=None, now=None, text=text))
            continue
        today = earlier_job(report_tree(now[name]), "report.")
        found += _job(name, before, today, now[name], allowed)
        new += [
            f"check '{check}' of job '{printable(name, 200)}' is not in the baseline"
            for check in today.checks
            if check not in before.checks
        ]
    compared = tuple(name for name in baseline.jobs if name in now)
    return Comparison(allowed=allowed, compared=compared, worse=tuple(found), new=tuple(new))


def _job(name: str, before: EarlierJob, now: EarlierJob, report: Report, allowed: float) -> list[Worsening]:
    found = []
    reasons = {item.check: item.reason for item in report.not_checked}

    def add(check: str, kind: str, text: str, was: float | None = None, is_: float | None = None) -> None:
        was, is_ = (None if figure is None or math.isinf(figure) else figure for figure in (was, is_))
        found.append(Worsening(job=name, check=check, kind=kind, before=was, now=is_, text=f"{check}: {text}"))

    for check, was in before.checks.items():
        if check not in now.checks:
            reason = f": {reasons[check]}" if check in reasons else ""
            add(check, "check gone", f"was made ({was.verdict}) and is not made now{reason}")
            continue
        is_ = now.checks[check]
        if _RANK[is_.verdict] > _RANK[was.verdict]:
            add(check, "verdict", f"was {was.verdict} and is {is_.verdict} now")
        if not on_target(is_.target, was.target):
            add(check, "target", f"target was {was.target:g} and is {is_.target:g} now", was.target, is_.target)
        for kind, then, today in (("value", was.value, is_.value), ("low", was.low, is_.low)):
            if _lost(then, today, allowed):
                what = "value" if kind == "value" else "least value it may have"
                add(check, kind, f"{what} {_change(then, today)}", then, today)
    if before.accepted is not None and now.accepted is not None:
        for code in sorted(now.accepted - before.accepted):
            text = f"'{printable(code)}' is accepted now (job.accept) and was not"
            found.append(Worsening(job=name, check=None, kind="accepted", before=None, now=None, text=text))
    for finding in now.findings:
        if not any(_covers(earlier, finding) for earlier in before.findings):
            place = f" in move '{printable(finding.move)}'" if finding.move is not None else ""
            add(
                finding.check,
                "finding",
                f"{finding.verdict} from {finding.start:.3f} to {finding.end:.3f} s{place}, where there was none",
            )
    return found


def _lost(then: float | None, today: float | None, allowed: float) -> bool:
    """Whether more than the allowed share of an earlier value is gone; what was not known cannot be lost."""
    if then is None:
        return False
    if today is None:
        return True
    if math.isinf(then):
        return not math.isinf(today)
    return not today >= then * (1.0 - allowed)


def _change(then: float | None, today: float | None) -> str:
    was = "without a bound" if then is None or math.isinf(then) else f"{then:.4g}"
    if today is None:
        return f"was {was} and is not known now"
    text = f"was {was} and is {today:.4g} now"
    if then is not None and math.isfinite(then) and then > 0:
        text += f", {100 * (then - today) / then:.1f} % less"
    return text


def _covers(earlier: EarlierFinding, finding: EarlierFinding) -> bool:
    """Whether a finding was known: of the same check, as bad at least, in the same move or at the same time."""
    if earlier.check != finding.check or _RANK[earlier.verdict] < _RANK[finding.verdict]:
        return False
    if earlier.move is not None or finding.move is not None:
        return earlier.move == finding.move
    return earlier.start <= finding.end and finding.start <= earlier.end


def comparison_text(comparison: Comparison) -> str:
    """Return the comparison as text for a person: job by job what got worse, then what is new."""
    share = f"{100 * comparison.allowed:g} %"
    jobs = comparison.by_job()
    compared = f"{len(comparison.compared)} job{'' if len(comparison.compared) == 1 else 's'} compared"
    if not jobs:
        lines = [f"BASELINE  {compared}; nothing got worse by more than {share}"]
    else:
        lines = [f"BASELINE  worse than approved: {len(comparison.worse)} changes in {len(jobs)} of the jobs"]
        lines.append(f"      {compared}; values count where more than {share} is lost")
    for job, sentences in jobs.items():
        lines += ["", f"  {printable(job, 200)}", *(f"    - {sentence}" for sentence in sentences)]
    if comparison.new:
        lines += ["", "  Without anything to compare with", *(f"    - {sentence}" for sentence in comparison.new)]
    return "\n".join("".join(c if c.isprintable() else " " for c in line) for line in lines) + "\n"
