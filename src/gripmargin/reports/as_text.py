"""The report as short text: verdict first, then what falls short, then what was not checked."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from gripmargin.checks import words
from gripmargin.reports.in_short import law_line
from gripmargin.results.findings import CheckResult, Finding, Remedy, worst_first
from gripmargin.results.report import CAUTIONS, Report

WIDTH = 100
SHOWN = 10  # findings in full; the rest are counted


def report_text(report: Report) -> str:
    """Return the report as text for a person, at most 100 characters wide."""
    title = f"{report.verdict.upper()}  {_printable(report.job)}"
    lines = [*textwrap.wrap(title, WIDTH, subsequent_indent=" " * 6), *_scope(report), ""]
    for check in report.checks:
        lines += _check_lines(check, {cause.text for cause in report.causes})
    if report.time_laws:
        title = "Time laws tried, each with the least values over their targets"
        lines += ["", title, *_bullets(f"{law.name}: {law_line(law)}" for law in report.time_laws)]
    if report.causes:
        lines += ["", "The cause", *_causes(report)]
    own = [finding for finding in report.findings if finding.check not in report.explained]
    short = [finding for finding in own if finding.verdict == "fail"]
    unsure = [finding for finding in own if finding.verdict != "fail"]
    for title, findings in (("What falls short", short), ("What cannot be decided", unsure)):
        said = _doubts(report) if findings is unsure else []
        if findings or said:
            lines += ["", title, *said, *_findings(findings)]
    if own:
        lines += ["", "What to change", *_changes(worst_first(own))]
    for title, items in (
        ("Not checked", [f"{item.check}: {item.reason}" for item in report.not_checked]),
        ("Assumed", report.assumed),
        ("As read", report.notes),
        ("Cautions", CAUTIONS),
    ):
        if items:
            lines += ["", title, *_bullets(items)]
    return "\n".join(lines) + "\n"


def _scope(report: Report) -> list[str]:
    left_out = ", ".join(item.check for item in report.not_checked)
    made = ", ".join(check.check for check in report.checks)
    return _wrapped("      ", f"checked: {made}" + (f"; not checked: {left_out}" if left_out else ""))


def _printable(text: str) -> str:
    """Text from a job on one line, without control characters."""
    return "".join(c if c.isprintable() else " " for c in text)


def _check_lines(check: CheckResult, causes: set[str]) -> list[str]:
    line = f"{check.measure} {words.figure(check.value)}, target {check.target:g}"
    if check.low is not None and check.high is not None and check.spread > 0.005:
        line += (
            f" (the true worst {check.measure} lies between {words.figure(check.low)}{words.elsewhere(check)} and "
            f"{words.figure(check.high)})"
        )
    if check.at is not None:
        line += f", worst at {words.when(check.at)}"
    lines = _wrapped(f"  {check.check:<13}{check.verdict:<10} ", line)
    for sentence in check.lines:
        lines += _wrapped("    ", "not worked out: see the cause" if sentence in causes else sentence)
    return lines


def _causes(report: Report) -> list[str]:
    """What lies behind several findings, each with what follows from it."""
    lines = []
    for cause in report.causes:
        count = sum(finding.check in cause.explains for finding in report.findings)
        stop = "" if cause.text.endswith("?") else "."
        follows = f"{stop} From it follow {', '.join(cause.explains)}: {count} findings, in the JSON report"
        lines += _wrapped("  - ", cause.text + (follows if cause.explains else ""))
    return lines


def _doubts(report: Report) -> list[str]:
    """What checks take for granted and is not known to hold, each once, with the checks that do; not the causes."""
    names: dict[str, list[str]] = {}
    said = {cause.text for cause in report.causes}
    for check in report.checks:
        for doubt in (each for each in check.doubts if each not in said):
            names.setdefault(doubt, []).append(check.check)
    return _bullets(f"{doubt} ({', '.join(checks)})" for doubt, checks in names.items())


def _findings(findings: list[Finding]) -> list[str]:
    worst = worst_first(findings)
    lines = []
    for finding in (f for f in findings if f in worst[:SHOWN]):
        lines += _wrapped(f"  {finding.check:<8} ", finding.text)
    if len(findings) > SHOWN:
        lines.append(f"  and {len(findings) - SHOWN} more, less severe; all are in the JSON report")
    for check in dict.fromkeys(finding.check for finding in worst):
        first = next(finding for finding in worst if finding.check == check)
        lines.append(f"  {check}: the worst, at {first.worst['t']:.3f} s")
        for word, sentence in first.lines:
            lines += _wrapped(f"    {word:<8}", sentence)
    return lines


def _changes(worst_first: list[Finding]) -> list[str]:
    """Remedies for the whole program, check by check: first what was shown to be enough, then hints."""
    lines = []
    checks = sorted({finding.check for finding in worst_first}, key=lambda name: (name != "preload", name))
    for check in checks:
        shown, hints, data, useless = _sorted_out(finding for finding in worst_first if finding.check == check)
        if check in ("hold", "lift_off") and "preload" in checks:
            lines += _wrapped(
                f"  - {check}: ", "mend the preload first, whose bond it stands on; or, as the bond now is:"
            )
        title = f"{check}: " if len(checks) > 1 else ""
        for i, same in enumerate(shown):
            lines += _wrapped(f"  - {title}{'or ' if i else ''}", f"{_together(same)}: then it passes")
        for same in hints:
            lines += _wrapped(f"  - {title}would help: ", _together(same))
        for remedy in data:
            lines += _wrapped(f"  - {title}to decide it: ", remedy.text)
        if useless and not any(same[0].action == "slow" for same in shown):
            lines += _wrapped(f"  - {title}", _no_help(useless))
    return lines


def _sorted_out(
    findings: Iterable[Finding],
) -> tuple[list[list[Remedy]], list[list[Remedy]], list[Remedy], list[Remedy]]:
    """Remedies that were shown, hints, data that would decide, what does not help; each of the first by action."""
    shown: dict[str, list[Remedy]] = {}
    hints: dict[str, list[Remedy]] = {}
    data: list[Remedy] = []
    useless: list[Remedy] = []
    for remedy in (remedy for finding in findings for remedy in finding.remedies):
        if remedy.action == "better data":
            same = data
        elif remedy.action == "none":
            same = useless
        else:
            same = (shown if remedy.shown else hints).setdefault(remedy.action, [])
        if not any(_alike(remedy, other) for other in same):
            same.append(remedy)
    return list(shown.values()), list(hints.values()), data, useless


def _alike(remedy: Remedy, other: Remedy) -> bool:
    keys = ("move", "from", "during")
    return all(remedy.figures.get(key) == other.figures.get(key) for key in keys)


def _together(remedies: list[Remedy]) -> str:
    """Moves to slow, and handovers to press less deep, belong together; of other changes one is enough."""
    if remedies[0].action in ("slow", "press less"):
        return "; and ".join(remedy.text for remedy in remedies)
    return remedies[0].text


def _no_help(remedies: list[Remedy]) -> str:
    """Why something does not help; moves that fall short at standstill in one sentence."""
    standing = [remedy.text for remedy in remedies if "standing_margin" in remedy.figures]
    other = [remedy.text for remedy in remedies if "standing_margin" not in remedy.figures]
    said = [f"slowing alone does not help: {', '.join(standing)}"] if standing else []
    return "; ".join(said + other)


def _bullets(items: Iterable[str]) -> list[str]:
    return [line for item in items for line in _wrapped("  - ", item)]


def _wrapped(first: str, text: str) -> list[str]:
    indent = " " * min(len(first), 14)
    return textwrap.wrap(
        _printable(text), WIDTH, initial_indent=first, subsequent_indent=indent, break_on_hyphens=False
    )
