"""The report as short text: verdict first, then what falls short, then what was not checked."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

import numpy as np

from gripmargin.checks.explain import main_causes, main_ways
from gripmargin.findings import CheckResult, Finding, Remedy
from gripmargin.report import CAUTIONS, Report

WIDTH = 100
SHOWN = 10  # findings in full; the rest are counted


def report_text(report: Report) -> str:
    """Return the report as text for a person, at most 100 characters wide."""
    lines = [f"{report.verdict.upper()}  {_printable(report.job)}", *_scope(report), ""]
    for check in report.checks:
        lines += _check_lines(check)
    short = [finding for finding in report.findings if finding.verdict == "fail"]
    unsure = [finding for finding in report.findings if finding.verdict != "fail"]
    for title, findings in (("What falls short", short), ("What cannot be decided", unsure)):
        if findings:
            lines += ["", title, *_findings(findings)]
    if report.findings:
        lines += ["", "What to change", *_changes(sorted(short + unsure, key=_severity))]
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


def _severity(finding: Finding) -> tuple[bool, float]:
    low = finding.worst.get("margin_low")
    return (finding.verdict != "fail", float(low) if low is not None else 0.0)


def _number(value: float | None) -> str:
    return "-" if value is None else f"{value:.2f}" if value < 100 else f"{value:.3g}"


def _check_lines(check: CheckResult) -> list[str]:
    line = f"margin {_number(check.value)}, target {check.target:g}"
    if check.low is not None and check.high is not None and check.high - check.low > 0.005 * check.target:
        line += f" (the true worst margin lies between {_number(check.low)} and {_number(check.high)})"
    if check.at is not None:
        line += f", worst at {check.at.t:.3f} s{_in_move(check.at.move)}"
    lines = _wrapped(f"  {check.check:<13}{check.verdict:<10} ", line)
    shared = check.details.get("shared_margin")
    if shared is not None:
        lines += _wrapped(
            "    ",
            f"a backing that shared the load ideally would give {_number(shared)}: the upper end of what is possible, "
            "not to be relied on",
        )
    peel = check.details.get("peel")
    if peel is not None and peel["peel_index"] > 0:
        amplification = peel["edge_amplification"]
        edge = f", {amplification:.1f} times the pad's mean tension" if amplification is not None else ""
        lines += _wrapped(
            "    ",
            f"highest tension {100 * peel['peel_index']:.0f} % of the pull-off stress (peel index "
            f"{peel['peel_index']:.2f}) at {peel['t']:.3f} s on pad '{_printable(peel['pad'])}', {_spot(peel)}{edge}",
        )
    for item in check.details.get("one_pad_lost", []):
        falls = ": the part falls" if item["margin"] is not None and item["margin"] < 1 else ""
        lines += _wrapped(
            "    ",
            f"with pad '{_printable(item['lost'])}' gone: margin {_number(item['margin'])} at {item['t']:.3f} s{falls}",
        )
    return lines


def _in_move(move: str | None) -> str:
    return "" if move is None else f" in move '{_printable(move)}'"


def _spot(place: dict[str, object]) -> str:
    x, y, _ = (1e3 * c for c in place["point"])  # type: ignore[attr-defined]
    return f"edge at x {x:.1f}, y {y:.1f} mm ({np.degrees(place['azimuth']):.0f} deg about tool z)"  # type: ignore[call-overload]


def _findings(findings: list[Finding]) -> list[str]:
    worst = sorted(findings, key=_severity)
    lines = []
    for finding in (f for f in findings if f in worst[:SHOWN]):
        lines += _wrapped(f"  {finding.check:<6}", _summary(finding))
    if len(findings) > SHOWN:
        lines.append(f"  and {len(findings) - SHOWN} more, less severe; all are in the JSON report")
    return [*lines, f"  the worst of them, at {worst[0].worst['t']:.3f} s:", *_worst_lines(worst[0])]


def _summary(finding: Finding) -> str:
    worst = finding.worst
    spans = [f"{a:.3f} to {b:.3f} s" for a, b in finding.spans[:3]]
    more = f" and {len(finding.spans) - 3} more spans" if len(finding.spans) > 3 else ""
    margin = f"margin {_number(worst['margin'])}"
    if finding.verdict != "fail":
        low = worst["margin_low"]
        margin += f", may be as low as {_number(low)}" if low else ", may be anything"
    where = _in_move(worst["move"]).removeprefix(" in ")
    start = f"{where}, " if where else ""
    return (
        f"{start}{', '.join(spans)}{more}: {margin} at {worst['t']:.3f} s on pad '{_printable(worst['pad'])}'; "
        f"{main_causes(finding.because)}; acts as {main_ways(finding.because)}"
    )


def _worst_lines(finding: Finding) -> list[str]:
    worst = finding.worst
    lines = _wrapped(
        "    where   ",
        f"pad '{_printable(worst['pad'])}', {_spot(worst)}: tension {_stress(max(worst['normal_stress'], 0.0))} of "
        f"{_stress(worst['pull_off_stress'])}, shear {_stress(worst['shear_stress'])} of "
        f"{_stress(worst['shear_strength'])}",
    )
    (fx, fy, fz), (mx, my, mz) = worst["force"], (1e3 * m for m in worst["moment"])
    lines += _wrapped(
        "    load    ",
        f"force x {_plain(fx, 2)}, y {_plain(fy, 2)}, z {_plain(fz, 2)} N (z pulls off), moment x {_plain(mx, 0)}, "
        f"y {_plain(my, 0)}, z {_plain(mz, 0)} N mm about the tool frame's origin",
    )
    for reason in finding.because.get("undecided", []):
        lines += _wrapped("    unsure  ", reason)
    return lines


def _plain(value: float, digits: int) -> str:
    return f"{round(value, digits) + 0.0:.{digits}f}"


def _changes(worst_first: list[Finding]) -> list[str]:
    """Remedies for the whole program; the moves to slow belong together, the others are each enough."""
    found: dict[tuple[str, str], list[Remedy]] = {}
    for finding in worst_first:
        for remedy in finding.remedies:
            same = found.setdefault((finding.check, remedy.action), [])
            if not any(remedy.figures.get("move") == other.figures.get("move") for other in same):
                same.append(remedy)
    several = len({check for check, _ in found}) > 1
    lines, useless = [], []
    for (check, action), remedies in found.items():
        for_check = f"{check}: " if several else ""
        if action == "none":
            useless += _wrapped(f"  - {for_check}slowing does not help: ", "; ".join(r.text for r in remedies))
        elif action == "slow":
            rest = " (and see below for the other moves)" if (check, "none") in found else ""
            lines += _wrapped(f"  - {for_check}", "; and ".join(r.text for r in remedies) + rest)
        else:
            lines += _wrapped(f"  - {for_check}", remedies[0].text)
    enough = ["  any one of these is enough:"] if len(lines) > 1 and not several else []
    return [*enough, *lines, *useless]


def _stress(pascal: float) -> str:
    return f"{pascal / 1e4:.2f} N/cm2"


def _bullets(items: Iterable[str]) -> list[str]:
    return [line for item in items for line in _wrapped("  - ", item)]


def _wrapped(first: str, text: str) -> list[str]:
    indent = " " * min(len(first), 14)
    return textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False
    )
