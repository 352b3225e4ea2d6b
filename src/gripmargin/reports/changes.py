"""Remedies of several findings, sorted for a person who wants to know what to change."""

from __future__ import annotations

from collections.abc import Iterable

from gripmargin.results.findings import Finding, Remedy


def sorted_out(
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
    keys = ("move", "from", "during", "damping_ratio")
    return all(remedy.figures.get(key) == other.figures.get(key) for key in keys)


def together(remedies: list[Remedy]) -> str:
    """Moves to slow, and handovers to press less deep, belong together; of other changes one is enough."""
    if remedies[0].action in ("slow", "press less"):
        return "; and ".join(remedy.text for remedy in remedies)
    return remedies[0].text


def no_help(remedies: list[Remedy]) -> str:
    """Why something does not help; moves that fall short at standstill in one sentence."""
    standing = [remedy.text for remedy in remedies if "standing_margin" in remedy.figures]
    other = [remedy.text for remedy in remedies if "standing_margin" not in remedy.figures]
    said = [f"slowing alone does not help: {', '.join(standing)}"] if standing else []
    return "; ".join(said + other)
