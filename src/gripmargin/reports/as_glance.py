"""The report at a glance: verdict, a line a check, what lies behind it, what to change, what was not checked."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import zip_longest

from gripmargin.checks import words
from gripmargin.reports.changes import no_help, sorted_out, together
from gripmargin.reports.in_short import holds_line, in_hold
from gripmargin.reports.layout import EMPTY, WIDTH, Line, laid_out, printable
from gripmargin.results.findings import CheckResult, Finding, Verdict, trouble, worst_first
from gripmargin.results.report import HoldReport, Report

MOST_CHANGES = 3  # that are said; a person tries one and looks again
MOST_HOLDS = 6  # that do not pass, a line each
_LABEL = 13  # characters of the words in front


def report_glance(report: Report, *, width: int = WIDTH) -> str:
    """Return what a person has to know of a report first, in about fifteen lines.

    Args:
        report: What is said.
        width: Largest number of characters in a line.
    """
    if report.holds:
        return laid_out(_of_holds(report), width, hang=2 + _LABEL)
    lines = [(f"{report.verdict.upper()}  ", report.title), EMPTY, *_body(report), *_last(report, report)]
    return laid_out(lines, width, hang=2 + _LABEL)


def _body(report: Report) -> list[Line]:
    """A line a check, what lies behind the verdict, what to change, what was not checked."""
    lines = _table(report)
    lines += [EMPTY] if report.checks else []
    lines += [_labelled("why", sentence) for sentence in _cause(report)]
    for i, change in enumerate(_changes(report)):
        lines.append(_labelled("" if i else "to change", change))
    return lines


def _last(report: Report, worst: Report) -> list[Line]:
    """What holds for the whole: the time law, what was not checked, the caution, where there is more."""
    codes = [each.code for each in worst.causes[:1]] or [check.check for check in _worst(worst)]
    lines = []
    for law in (law for law in report.time_laws if law.counts):
        lines.append(
            _labelled("time law", f"assumed: {law.name} is the worst of {len(report.time_laws)} that were tried")
        )
    if report.not_checked:
        names = dict.fromkeys(item.check for item in report.not_checked)
        lines.append(_labelled("not checked", ", ".join(names)))
    if report.accepted:
        lines.append(_labelled("accepted", f"{', '.join(report.accepted)}: what looks wrong by it is taken as meant"))
    lines.append(_labelled("caution", "a part that falls can hurt someone; this is an aid, no safety function"))
    more = f"-v says all of it, and the {len(report.assumed)} things taken for granted"
    lines.append(_labelled("more", more + "".join(f"; gripmargin explain {code}" for code in codes)))
    return lines


def _of_holds(report: Report) -> list[Line]:
    """How the holds of a program do, those that do not pass, and the worst of them as a job of its own."""
    worst = worst_holds(report)[0]
    lines = [*hold_lines(report), EMPTY, ("  ", where_it_is(report, worst)), EMPTY]
    return [*lines, *_body(worst.report), *_last(report, worst.report)]


def hold_lines(report: Report) -> list[Line]:
    """Return the verdict on a program of several holds, how many come to what, and those that do not pass."""
    lines = [(f"{report.verdict.upper()}  ", report.title), EMPTY, ("  ", holds_line(report))]
    short = [hold for hold in worst_holds(report) if hold.verdict is not Verdict.PASS]
    for hold in short[:MOST_HOLDS]:
        same = [other.name for other in report.holds if other.like == hold.name]
        others = f", and {len(same)} like it ({', '.join(same[:3])}{', ...' if len(same) > 3 else ''})" if same else ""
        lines.append((f"    {hold.name}  ", f"{_decided(hold.report)}{others}"))
    if len(short) > MOST_HOLDS:
        lines.append(("    ", f"and {len(short) - MOST_HOLDS} more that do not pass"))
    return lines


def worst_holds(report: Report) -> list[HoldReport]:
    """Return the holds that are like no other, the worst first."""

    def trouble_of(hold: HoldReport) -> list[tuple[int, float]]:
        return sorted(trouble(check) for check in hold.report.checks)

    return sorted((hold for hold in report.holds if hold.like is None), key=trouble_of)


def where_it_is(report: Report, hold: HoldReport) -> str:
    """Return which hold is said more of: when it is, from where, and where to."""
    which = "nearest to its targets" if report.verdict is Verdict.PASS else "worst"
    return f"The {which}: hold {hold_where(hold)}"


def hold_where(hold: HoldReport) -> str:
    """Return the name of a hold, when it is, from where, and where to."""
    places = f"{f', from {hold.pick}' if hold.pick else ''}{f', into {hold.nest}' if hold.nest else ''}"
    return f"{hold.name}, {hold.start:.3f} to {hold.end:.3f} s{places}"


def verdict_line(report: Report) -> str:
    """Return the verdict and the figure that decides it, in one line."""
    also = f"; accepted: {', '.join(report.accepted)}" if report.accepted else ""
    return printable(f"{report.verdict.upper()}  {report.title}: {_figure_of(report)}{also}") + "\n"


def _figure_of(report: Report) -> str:
    """The figure that decides the verdict, with its target and place."""
    if report.nothing:
        return report.nothing
    decides = min(_worst(report) or report.checks, key=_share)
    where = "" if decides.at is None else f" at {words.when(decides.at)}"
    return f"{in_hold(decides)}{decides.check}, {_figures(decides)}, target {decides.target:g}{where}"


def _decided(report: Report) -> str:
    """Verdict of a hold, and the cause of it or the figure that decides it."""
    return f"{report.verdict}: {report.causes[0].text if report.causes else _figure_of(report)}"


def _labelled(word: str, sentence: str) -> Line:
    return f"  {word:<{_LABEL}}", sentence


def _table(report: Report) -> list[Line]:
    """A line a check: its name, verdict, figure, target and place, one under the other."""
    checks, causes = report.checks, {cause.text for cause in report.causes}
    rows = [(check.check, str(check.verdict), _figures(check), f"target {check.target:g}") for check in checks]
    wide = [max(map(len, column)) for column in zip(*rows, strict=True)]
    lines = []
    for check, row in zip(checks, rows, strict=True):
        name, verdict, figure, target = (f"{cell:<{size}}  " for cell, size in zip(row, wide, strict=True))
        unknown = "not worked out: see below" if check.text in causes else check.text
        where = unknown if check.value is None else "" if check.at is None else f"at {words.when(check.at)}"
        lines.append((f"  {name:<{_LABEL}}{verdict}{figure}", f"{target}{where}".rstrip()))
    return lines


def _figures(check: CheckResult) -> str:
    said = f"{check.measure} {words.figure(check.value)}"
    if check.low is not None and check.high is not None and check.spread > 0.005:
        said += f" ({words.figure(check.low)} to {words.figure(check.high)})"
    return said


def _worst(report: Report) -> list[CheckResult]:
    """The check that decides the verdict, where it is no pass."""
    short = [check for check in report.checks if check.verdict is report.verdict is not Verdict.PASS]
    return sorted(short, key=_share)[:1]


def _share(check: CheckResult) -> float:
    return 0.0 if check.low is None else check.low / check.target if check.target else float("inf")


def _cause(report: Report) -> Iterator[str]:
    """What lies behind the verdict: one thing."""
    if report.nothing:
        yield report.nothing
    if report.causes:
        yield report.causes[0].text
    for finding in [] if report.causes else _own(report)[:1]:
        reasons = [reason for reason in finding.because.get("undecided", ()) if reason not in finding.text]
        yield f"{finding.check}: {finding.text}" + (f"; undecided: {'; '.join(reasons)}" if reasons else "")
        return
    for check in [] if report.causes else _worst(report):
        yield "; ".join((*check.doubts, *check.lines[:1])) or check.text


def _own(report: Report) -> list[Finding]:
    """Findings that no cause explains, the worst first."""
    return worst_first(finding for finding in report.findings if finding.check not in report.explained)


def _changes(report: Report) -> list[str]:
    """What to change first: for each check that falls short, the worst first, then what else would do."""
    found = _own(report)
    checks = list(dict.fromkeys(finding.check for finding in found))
    said: dict[str, list[str]] = {}
    for check in checks:
        shown, hints, data, useless = sorted_out(finding for finding in found if finding.check == check)
        said[check] = [f"to decide it: {remedy.text}: then it passes" for remedy in data if remedy.shown]
        said[check] += [f"{together(same)}: then it passes" for same in shown]
        said[check] += [f"to decide it: {remedy.text}" for remedy in data if not remedy.shown]
        said[check] += [f"would help: {together(same)}" for same in hints]
        said[check] += [no_help(useless)] if useless and not said[check] else []
    by_turns = [each for turn in zip_longest(*said.values()) for each in zip(checks, turn, strict=True) if each[1]]
    return [f"{check}: {change}" if len(checks) > 1 else change for check, change in by_turns[:MOST_CHANGES]]
