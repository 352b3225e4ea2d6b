"""Verdicts, results and findings; the one place that compares a value with its target and ranks what falls short."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.results.record import NoFigures, Record


class Verdict(StrEnum):
    """What a check, or a whole program, comes to."""

    PASS = "pass"  # noqa: S105 - not a password
    FAIL = "fail"
    UNDECIDED = "undecided"


def judge(low: float, high: float, target: float) -> Verdict:
    """Compare a margin, known to lie between two values, with its target.

    What is not a number never passes, nor do bounds that contradict each other.

    Args:
        low: Least value it may have.
        high: Largest value it may have.
        target: Least value wanted.
    """
    if not low <= high or math.isnan(target):
        return Verdict.UNDECIDED
    if low >= target:
        return Verdict.PASS
    if high < target:
        return Verdict.FAIL
    return Verdict.UNDECIDED


def short_of(low: FloatArray, target: float) -> NDArray[np.bool_]:
    """Return where the least value a margin may have is not surely on target; NaN is short."""
    return ~(low >= target)


def on_target(low: ArrayLike, target: float) -> bool:
    """Return whether every least value that a margin may have is surely on target; NaN is not."""
    return not short_of(np.asarray(low, dtype=np.float64), target).any()


def finite(value: float) -> float | None:
    """Return a figure for a report: None where it is no finite number."""
    return value if math.isfinite(value) else None


def overall(verdicts: Iterable[Verdict]) -> Verdict:
    """Return the worst verdict; nothing checked is undecided."""
    found = set(verdicts)
    for verdict in (Verdict.FAIL, Verdict.UNDECIDED, Verdict.PASS):
        if verdict in found:
            return verdict
    return Verdict.UNDECIDED


@dataclass(frozen=True, kw_only=True, eq=False)
class Place(Record):
    """A sample of the program.

    Attributes:
        t: Time [s].
        sample: Index, from 0.
        move: Label of the move, or None.
    """

    t: float
    sample: int
    move: str | None


@dataclass(frozen=True, kw_only=True)
class CheckResult:
    """What one check found over the whole program.

    Attributes:
        check: Its name.
        verdict: Pass, fail or undecided.
        value: The worst value; None where it is not a number, with the reason in `text`.
        low: Least value it may have, errors of the rates included.
        high: Largest value it may have.
        target: Least value wanted.
        at: Where `value` is.
        low_at: Where `low` is.
        details: Further figures, SI.
        text: What the value is, for a person.
        lines: Further sentences for a person.
        measure: What kind of figure the value is: margin, ratio or share.
        doubts: Why a pass would not be one, a sentence each: what the check takes for granted and is not known to hold.
        hold: Of a program of several holds: which one; empty in the report of one hold.
    """

    check: str
    verdict: Verdict
    value: float | None
    low: float | None
    high: float | None
    target: float
    at: Place | None
    low_at: Place | None = None
    details: Mapping[str, Any] = field(default_factory=NoFigures)
    text: str = ""
    lines: tuple[str, ...] = ()
    measure: str = "margin"
    doubts: tuple[str, ...] = ()
    hold: str = ""

    @property
    def spread(self) -> float:
        """How far `low` and `high` are apart, over the target [-]; inf where one of them is not known."""
        if self.low is None or self.high is None:
            return math.inf
        return (self.high - self.low) / self.target


def trouble(result: CheckResult) -> tuple[int, float]:
    """Return by what results are ordered, the worst first: the verdict, then the share of the target that is kept."""
    rank = (Verdict.FAIL, Verdict.UNDECIDED, Verdict.PASS).index(result.verdict)
    if result.low is None:
        return rank, math.inf if result.verdict is Verdict.PASS else 0.0
    return rank, result.low / result.target


@dataclass(frozen=True, kw_only=True)
class Remedy:
    """One change that helps.

    Attributes:
        action: What kind of change: slow, shift pads, larger pads, spread pads, move pad, round pads, strengthen;
            less force; smooth, stiffen, ramp; stop softer; press deeper, align, dwell, press less; peel angle; travel,
            release, smaller pads, fewer pads, hold down, nest, seat, wait; shift part, lighten, robot; clean sooner;
            better data; or none (why something does not help).
        text: The change in words.
        figures: The change in numbers, SI.
        shown: Whether the check passes with it, run on the changed job at these figures; else it is a hint.
    """

    action: str
    text: str
    figures: dict[str, Any] = field(default_factory=dict)
    shown: bool = False

    @property
    def change(self) -> str:
        """The change in words, with how many others of its kind belong to it."""
        others = self.figures.get("others", 0)
        if not others:
            return self.text
        rest = "one that falls" if others == 1 else f"{others} that fall"
        return f"{self.text}, together with the other {rest} short"

    @property
    def sentence(self) -> str:
        """The change and what is known of it; only where it was shown does it say that the check then passes."""
        if self.shown:
            return f"{self.change}: then it passes"
        return self.text if self.action in ("none", "better data") else f"would help: {self.change}"


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One stretch of the program that falls short, or that cannot be decided.

    Attributes:
        check: Name of the check.
        verdict: Fail or undecided.
        start: First time of the stretch [s].
        end: Last time of the stretch [s].
        spans: The times within it that are short, each (from, to) [s].
        worst: The worst sample in it and what is known there.
        because: Causes, as shares and figures.
        remedies: What to change, by how much: first those that were shown to be enough, each by itself (moves to slow
            belong together), then hints.
        share: Least value that the check's figure may have there, over its target [-]; 0 where it is not known.
        text: The finding in a sentence.
        lines: More about the worst sample, each a word and a sentence.
        hold: Of a program of several holds: which one; empty in the report of one hold.
    """

    check: str
    verdict: Verdict
    start: float
    end: float
    spans: tuple[tuple[float, float], ...]
    worst: Mapping[str, Any]
    because: Mapping[str, Any]
    remedies: tuple[Remedy, ...]
    share: float = 0.0
    text: str = ""
    lines: tuple[tuple[str, str], ...] = ()
    hold: str = ""

    @property
    def remedy(self) -> str:
        """All remedies in a sentence; where there is none, why."""
        useful = [remedy.sentence for remedy in self.remedies if remedy.action != "none"]
        return "; or ".join(useful or [remedy.sentence for remedy in self.remedies])


def worst_first(findings: Iterable[Finding]) -> list[Finding]:
    """Return findings by severity: what falls short first, then by share of the target, then by time."""
    return sorted(findings, key=lambda f: (f.verdict is not Verdict.FAIL, f.share, f.start))


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What a check came to.

    Attributes:
        results: Its results; none where it was not made.
        findings: Stretches that fall short or cannot be decided.
        not_checked: What of it was not made, and why.
        assumed: What it took for granted.
        series: Figures at every sample, by their names in `gripmargin.results.report.Samples`.
        least: Least value that the figure of a result may have at every sample, by the result's name; NaN where it has
            none.
        loads: What the pads carry where the figure of a result is worst from each sample to the next, by the result's
            name, at the tool origin [N, N m], NaN where it has none, shape (6, n).
    """

    results: tuple[CheckResult, ...] = ()
    findings: tuple[Finding, ...] = ()
    not_checked: tuple[NotChecked, ...] = ()
    assumed: tuple[str, ...] = ()
    series: Mapping[str, FloatArray] = field(default_factory=dict)
    least: Mapping[str, FloatArray] = field(default_factory=dict)
    loads: Mapping[str, FloatArray] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class RootCause:
    """What lies behind several results, or makes all of them doubtful.

    Attributes:
        code: By which it is known.
        text: What it is and what to look at, in a sentence.
        explains: Names of the results that follow from it; none: they may stand, but are doubtful.
    """

    code: str
    text: str
    explains: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class NotChecked:
    """A check that was not made, and why.

    Attributes:
        check: Its name.
        reason: Why it was not made.
    """

    check: str
    reason: str


def undecided(
    check: str, target: float, reason: str, *, remedy: str = "", measure: str = "margin", at: Place | None = None
) -> CheckResult:
    """Return the result of a check whose figure is not known.

    Args:
        check: Its name.
        target: Least value wanted.
        reason: Why it is not known.
        remedy: What would help, in a few words.
        measure: What kind of figure it would be.
        at: Where it would be.
    """
    return CheckResult(
        check=check,
        verdict=Verdict.UNDECIDED,
        value=None,
        low=None,
        high=None,
        target=target,
        at=at,
        text=reason,
        lines=(f"{reason}; {remedy}" if remedy else reason,),
        measure=measure,
    )


def exact(
    check: str, value: float, target: float, at: Place, details: Mapping[str, Any], *, measure: str = "margin"
) -> CheckResult:
    """Return the result of a check whose figure is known without an error.

    Args:
        check: Its name.
        value: The figure; None stands in its place where it is not finite.
        target: Least value wanted.
        at: Where it is.
        details: Further figures.
        measure: What kind of figure it is.
    """
    figure = finite(value)
    return CheckResult(
        check=check,
        verdict=judge(value, value, target),
        value=figure,
        low=figure,
        high=figure,
        target=target,
        at=at,
        low_at=at,
        details=details,
        measure=measure,
    )
