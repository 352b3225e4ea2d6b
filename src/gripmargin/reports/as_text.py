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
    lines = [f"{report.verdict.upper()}  {report.job}", ""]
    lines += [_check_line(check) for check in report.checks]
    for check in report.checks:
        lines += _check_details(check)
    if report.findings:
        lines += _findings(report.findings)
    if report.not_checked:
        lines += ["", "Not checked"]
        lines += _bullets(f"{item.check}: {item.reason}" for item in report.not_checked)
    for title, items in (("Assumed", report.assumed), ("As read", report.notes), ("Cautions", CAUTIONS)):
        if items:
            lines += ["", title, *_bullets(items)]
    return "\n".join(lines) + "\n"


def _severity(finding: Finding) -> tuple[bool, float]:
    low = finding.worst.get("margin_low")
    return (finding.verdict != "fail", float(low) if low is not None else 0.0)


def _number(value: float | None) -> str:
    return "-" if value is None else f"{value:.2f}" if value < 100 else f"{value:.3g}"


def _check_line(check: CheckResult) -> str:
    line = f"  {check.check:<13}{check.verdict:<10} margin {_number(check.value)}, target {check.target:g}"
    if check.low is not None and check.high is not None and check.high - check.low > 0.005 * check.target:
        line += f" (between {_number(check.low)} and {_number(check.high)})"
    if check.at is not None:
        move = f" in move '{check.at.move}'" if check.at.move is not None else ""
        line += f", worst at {check.at.t:.3f} s{move}"
    return line


def _check_details(check: CheckResult) -> list[str]:
    lines = []
    shared = check.details.get("shared_margin")
    if shared is not None:
        lines.append(f"    if the backing let all of the pads share the load: {_number(shared)} (upper bracket)")
    peel = check.details.get("peel")
    if peel is not None and peel["peel_index"] > 0:
        amplification = peel["edge_amplification"]
        edge = f", edge tension {amplification:.1f} times the mean" if amplification is not None else ""
        lines += _wrapped(
            "    ",
            f"peel index {peel['peel_index']:.2f} at {peel['t']:.3f} s on pad '{peel['pad']}', {_spot(peel)}{edge}",
        )
    for item in check.details.get("one_pad_lost", []):
        lines.append(f"    with pad '{item['lost']}' gone: margin {_number(item['margin'])} at {item['t']:.3f} s")
    return lines


def _spot(place: dict[str, object]) -> str:
    x, y, _ = (1e3 * c for c in place["point"])  # type: ignore[attr-defined]
    return f"edge at x {x:.1f}, y {y:.1f} mm ({np.degrees(place['azimuth']):.0f} deg about tool z)"  # type: ignore[call-overload]


def _findings(findings: tuple[Finding, ...]) -> list[str]:
    worst = sorted(findings, key=_severity)
    shown = [finding for finding in findings if finding in worst[:SHOWN]]
    lines = ["", "What falls short"]
    for finding in shown:
        lines += _wrapped(f"  {finding.check} {finding.verdict}  ", _summary(finding))
    if len(findings) > SHOWN:
        lines.append(f"  and {len(findings) - SHOWN} more, less severe; all are in the JSON report")
    lines += ["", f"The worst of them, at {worst[0].worst['t']:.3f} s", *_worst_lines(worst[0])]
    return [*lines, "", "What to change (one of these is enough where it names every move above)", *_changes(worst)]


def _summary(finding: Finding) -> str:
    worst = finding.worst
    move = "" if worst["move"] is None else f" in move '{worst['move']}'"
    margin = f"margin {_number(worst['margin'])}"
    if finding.verdict != "fail":
        low = worst["margin_low"]
        margin += f", may be as low as {_number(low)}" if low else ", may be anything"
    return (
        f"{finding.start:.3f} to {finding.end:.3f} s{move}: {margin} at {worst['t']:.3f} s on pad '{worst['pad']}'; "
        f"{main_causes(finding.because)}; acts as {main_ways(finding.because)}"
    )


def _worst_lines(finding: Finding) -> list[str]:
    worst = finding.worst
    lines = _wrapped(
        "  where    ",
        f"pad '{worst['pad']}', {_spot(worst)}: tension {_stress(max(worst['normal_stress'], 0.0))} of "
        f"{_stress(worst['pull_off_stress'])}, shear {_stress(worst['shear_stress'])} of "
        f"{_stress(worst['shear_strength'])}",
    )
    lines += _wrapped(
        "  load     ",
        f"force ({', '.join(f'{f:.2f}' for f in worst['force'])}) N, moment "
        f"({', '.join(f'{1e3 * m:.0f}' for m in worst['moment'])}) N mm at the tool frame",
    )
    for reason in finding.because.get("undecided", []):
        lines += _wrapped("  unsure   ", reason)
    return lines


def _changes(worst_first: list[Finding]) -> list[str]:
    """Remedies for the whole program: the slower moves together, of the others the most demanding."""
    found: dict[tuple[str, str], list[Remedy]] = {}
    for finding in worst_first:
        for remedy in finding.remedies:
            same = found.setdefault((finding.check, remedy.action), [])
            if not any(remedy.figures.get("move") == other.figures.get("move") for other in same):
                same.append(remedy)
    lines, useless = [], []
    for (_, action), remedies in found.items():
        if action == "none":
            useless += _wrapped("  No help: ", "; ".join(remedy.text for remedy in remedies))
        elif action == "slow":
            lines += _wrapped("  - ", "; and ".join(remedy.text for remedy in remedies))
        else:
            lines += _wrapped("  - ", remedies[0].text)
    return [*lines, *useless]


def _stress(pascal: float) -> str:
    return f"{pascal / 1e4:.2f} N/cm2"


def _bullets(items: Iterable[str]) -> list[str]:
    return [line for item in items for line in _wrapped("  - ", item)]


def _wrapped(first: str, text: str) -> list[str]:
    indent = " " * min(len(first), 14)
    return textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False
    )
