"""The report as text, all of it: verdict first, then what falls short, then what was not checked."""

from __future__ import annotations

from gripmargin.checks import words
from gripmargin.reports.as_glance import hold_lines, hold_where, where_it_is, worst_holds
from gripmargin.reports.changes import no_help, sorted_out, together
from gripmargin.reports.in_short import law_line
from gripmargin.reports.layout import EMPTY, WIDTH, Line, bullets, laid_out
from gripmargin.results.findings import CheckResult, Finding, Verdict, worst_first
from gripmargin.results.report import CAUTIONS, Report

SHOWN = 10  # findings in full; the rest are counted


def report_text(report: Report, *, width: int = WIDTH) -> str:
    """Return the report as text for a person, all of it.

    Args:
        report: What is said.
        width: Largest number of characters in a line.
    """
    if report.holds:
        lines = _of_holds(report)
    else:
        lines = [(f"{report.verdict.upper()}  ", report.title), _scope(report), EMPTY, *_checked(report)]
    for title, items in (
        ("Not checked", [f"{item.check}: {item.reason}" for item in report.not_checked]),
        ("Assumed", report.assumed),
        ("As read", report.notes),
        ("Cautions", CAUTIONS),
    ):
        if items:
            lines += [EMPTY, ("", title), *bullets(items)]
    return laid_out(lines, width)


def _of_holds(report: Report) -> list[Line]:
    """How the holds of a program do, and all of those that do not pass, or of the one that is nearest to that."""
    worst = worst_holds(report)
    told = [hold for hold in worst if hold.verdict is not Verdict.PASS][:SHOWN] or worst[:1]
    lines = hold_lines(report)
    for hold in told:
        first = where_it_is(report, hold) if hold is told[0] else f"Hold {hold_where(hold)}"
        lines += [EMPTY, ("  ", first), _scope(hold.report), EMPTY, *_checked(hold.report)]
    return [*lines, *(_laws(report) if report.time_laws else [])]


def _checked(report: Report) -> list[Line]:
    """What the checks came to, what lies behind it, what to change."""
    lines: list[Line] = []
    for check in report.checks:
        lines += _check_lines(check, {cause.text for cause in report.causes})
    lines += _laws(report) if report.time_laws else []
    if report.causes:
        lines += [EMPTY, ("", "The cause"), *_causes(report)]
    own = [finding for finding in report.findings if finding.check not in report.explained]
    short = [finding for finding in own if finding.verdict == "fail"]
    unsure = [finding for finding in own if finding.verdict != "fail"]
    for title, findings in (("What falls short", short), ("What cannot be decided", unsure)):
        said = _doubts(report) if findings is unsure else []
        if findings or said:
            lines += [EMPTY, ("", title), *said, *_findings(findings)]
    if own:
        lines += [EMPTY, ("", "What to change"), *_changes(worst_first(own))]
    return lines


def _laws(report: Report) -> list[Line]:
    title = "Time laws tried, each with the least values over their targets"
    return [EMPTY, ("", title), *bullets(f"{law.name}: {law_line(law)}" for law in report.time_laws)]


def _scope(report: Report) -> Line:
    left_out = ", ".join(item.check for item in report.not_checked)
    made = f"checked: {', '.join(check.check for check in report.checks)}" if report.checks else report.nothing
    return "      ", made + (f"; not checked: {left_out}" if left_out else "")


def _check_lines(check: CheckResult, causes: set[str]) -> list[Line]:
    line = f"{check.measure} {words.figure(check.value)}, target {check.target:g}"
    if check.low is not None and check.high is not None and check.spread > 0.005:
        line += (
            f" (the true worst {check.measure} lies between {words.figure(check.low)}{words.elsewhere(check)} and "
            f"{words.figure(check.high)})"
        )
    if check.at is not None:
        line += f", worst at {words.when(check.at)}"
    lines = [(f"  {check.check:<13}{check.verdict:<10} ", line)]
    for sentence in check.lines:
        lines.append(("    ", "not worked out: see the cause" if sentence in causes else sentence))
    return lines


def _causes(report: Report) -> list[Line]:
    """What lies behind several findings, each with what follows from it."""
    lines: list[Line] = []
    for cause in report.causes:
        count = sum(finding.check in cause.explains for finding in report.findings)
        stop = "" if cause.text.endswith("?") else "."
        follows = f"{stop} From it follow {', '.join(cause.explains)}: {count} findings, in the JSON report"
        lines.append(("  - ", cause.text + (follows if cause.explains else "")))
    return lines


def _doubts(report: Report) -> list[Line]:
    """What checks take for granted and is not known to hold, each once, with the checks that do; not the causes."""
    names: dict[str, list[str]] = {}
    said = {cause.text for cause in report.causes}
    for check in report.checks:
        for doubt in (each for each in check.doubts if each not in said):
            names.setdefault(doubt, []).append(check.check)
    return bullets(f"{doubt} ({', '.join(checks)})" for doubt, checks in names.items())


def _findings(findings: list[Finding]) -> list[Line]:
    worst = worst_first(findings)
    lines: list[Line] = []
    for finding in (f for f in findings if f in worst[:SHOWN]):
        lines.append((f"  {finding.check:<8} ", finding.text))
    if len(findings) > SHOWN:
        lines.append(("  ", f"and {len(findings) - SHOWN} more, less severe; all are in the JSON report"))
    for check in dict.fromkeys(finding.check for finding in worst):
        first = next(finding for finding in worst if finding.check == check)
        lines.append(("  ", f"{check}: the worst, at {first.worst['t']:.3f} s"))
        for word, sentence in first.lines:
            lines.append((f"    {word:<8}", sentence))
    return lines


def _changes(worst_first: list[Finding]) -> list[Line]:
    """Remedies for the whole program, check by check: first what was shown to be enough, then hints."""
    lines: list[Line] = []
    checks = sorted({finding.check for finding in worst_first}, key=lambda name: (name != "preload", name))
    for check in checks:
        shown, hints, data, useless = sorted_out(finding for finding in worst_first if finding.check == check)
        if check in ("hold", "lift_off") and "preload" in checks:
            lines.append(
                (f"  - {check}: ", "mend the preload first, whose bond it stands on; or, as the bond now is:"),
            )
        title = f"{check}: " if len(checks) > 1 else ""
        for i, same in enumerate(shown):
            lines.append((f"  - {title}{'or ' if i else ''}", f"{together(same)}: then it passes"))
        lines += [(f"  - {title}would help: ", together(same)) for same in hints]
        enough = {True: ": then it passes", False: ""}
        lines += [(f"  - {title}to decide it: ", f"{remedy.text}{enough[remedy.shown]}") for remedy in data]
        if useless and not any(same[0].action == "slow" for same in shown):
            lines.append((f"  - {title}", no_help(useless)))
    return lines
