"""A report in a few lines: for a summary of many jobs, for what a pipeline shows of a failure."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Sequence

from gripmargin.checks import words
from gripmargin.results.findings import CheckResult, Finding, Verdict, worst_first
from gripmargin.results.report import Judgement, Report
from gripmargin.results.time_laws import TimeLaw

SHOWN = 10  # findings; viewers of test results show about as many lines


def result_line(check: CheckResult) -> str:
    """Return one sentence: name, verdict, figure, target, where."""
    line = f"{check.check}: {check.verdict}, {check.measure} {words.figure(check.value)}, target {check.target:g}"
    line = in_hold(check) + line
    if check.verdict is Verdict.UNDECIDED and check.low is not None and check.low != check.value:
        line += f", may be as low as {words.figure(check.low)}{words.elsewhere(check)}"
    if check.at is not None:
        line += f", worst at {words.when(check.at)}"
    if check.value is None and check.text:
        line += f": {check.text}"
    return "; ".join((line, *check.doubts))


def in_hold(said: CheckResult | Finding) -> str:
    """Return what stands before a result or finding of one of several holds; else nothing."""
    return f"hold {said.hold}, " if said.hold else ""


def finding_lines(findings: tuple[Finding, ...]) -> list[str]:
    """Return the worst ten findings, each with what to change, and how many more there are."""
    worst = worst_first(findings)
    lines = []
    for finding in worst[:SHOWN]:
        lines.append(f"{in_hold(finding)}{finding.check}: {finding.text}")
        reasons = finding.because.get("undecided")
        if reasons:
            lines.append(f"  undecided: {'; '.join(reasons)}")
        if finding.remedy:
            lines.append(f"  to change: {finding.remedy}")
    if len(worst) > SHOWN:
        lines.append(f"and {len(worst) - SHOWN} more, less severe; {len(worst)} in all")
    return lines


def law_line(law: TimeLaw) -> str:
    """Return one sentence on a time law: duration, verdict, and each check's least value over its target."""
    shares = ", ".join(
        f"{each.check} {words.figure(each.share)}{'' if each.verdict is Verdict.PASS else f' ({each.verdict})'}"
        for each in law.checks
    )
    return f"{law.duration:.3f} s, {law.verdict}: {shares}{'; this one counts' if law.counts else ''}"


def shortfall(report: Report) -> list[str]:
    """Return what is not a pass in a report: what lies behind it, its checks, its findings with what to change."""
    lines = [f"cause: {cause.text}" for cause in report.causes]
    lines += [result_line(check) for check in report.checks if check.verdict is not Verdict.PASS]
    lines += [holds_line(report)] if report.holds else []
    return lines + finding_lines(tuple(f for f in report.findings if f.check not in report.explained))


def holds_line(report: Report) -> str:
    """Return how many holds a program has, and what they come to."""
    words_of = {
        "pass": ("passes", "pass"),
        "fail": ("falls short", "fall short"),
        "undecided": ("is undecided", "are undecided"),
    }
    counts = Counter(str(hold.verdict) for hold in report.holds)
    sums = ", ".join(f"{counts[v]} {said[counts[v] > 1]}" for v, said in words_of.items() if counts[v])
    alike = sum(hold.like is not None for hold in report.holds)
    differ = f"; {alike} differ{'s' * (alike == 1)} from another in place and time alone" if alike else ""
    return f"{len(report.holds)} holds: {sums}{differ}"


def summary_text(judgements: Sequence[Judgement]) -> str:
    """Return the sum over several jobs, and a line for each that does not pass, at most 100 characters wide."""
    words_of = {"pass": "pass", "fail": "falling short", "undecided": "undecided", "": "could not be checked"}
    verdicts = ["" if j.report is None or j.report.nothing else str(j.report.verdict) for j in judgements]
    counts = Counter(verdicts)
    sums = ", ".join(f"{counts[v]} {said}" for v, said in words_of.items() if counts[v])
    some = ", by chosen checks only" if any(j.report is not None and j.report.partial for j in judgements) else ""
    lines = [f"IN ALL  {len(judgements)} job{'' if len(judgements) == 1 else 's'}{some}: {sums}"]
    for verdict, judgement in zip(verdicts, judgements, strict=True):
        if verdict == "pass":
            continue
        if judgement.report is None:
            said = str(judgement.error).splitlines()[0]
        else:
            found = [check for check in judgement.report.checks if check.verdict == verdict]
            said = "".join(f"{cause.text}; " for cause in judgement.report.causes[:1])
            said += result_line(found[0]) if found else judgement.report.nothing
            said += f", and {len(found) - 1} more" if len(found) > 1 else ""
            said = f"{judgement.job_file}: {said}"
        said = "".join(c if c.isprintable() else " " for c in said)
        lines += textwrap.wrap(f"  {said}", 100, subsequent_indent=" " * 6, break_on_hyphens=False)
    return "\n".join(lines) + "\n"
