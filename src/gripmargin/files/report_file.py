"""Reports of earlier runs: a JSON report, a list of them, or JSON lines; what of them a comparison needs."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Container, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from gripmargin.base.errors import InputError
from gripmargin.base.given import as_path
from gripmargin.files.source import describe, parse_json, printable, read_text
from gripmargin.reports.as_json import ERROR_SCHEMA
from gripmargin.results.findings import Verdict
from gripmargin.results.report import SCHEMA

MAX_BYTES = 1_000_000_000

_VERDICTS = "verdict 'pass', 'undecided' or 'fail'"


@dataclass(frozen=True, kw_only=True)
class EarlierCheck:
    """A check of an earlier report.

    Attributes:
        verdict: Pass, fail or undecided.
        value: Its worst value; infinite where it passed without a load, None where nothing was known.
        low: The least value it may have had, likewise.
        target: The target then.
    """

    verdict: Verdict
    value: float | None
    low: float | None
    target: float


@dataclass(frozen=True, kw_only=True)
class EarlierFinding:
    """A finding of an earlier report: the check, fail or undecided, the move, first and last time [s]."""

    check: str
    verdict: Verdict
    move: str | None
    start: float
    end: float


@dataclass(frozen=True, kw_only=True)
class EarlierJob:
    """What is compared of an earlier report; of a program of several holds each check of each of them.

    Reports of earlier versions do not tell what was accepted (None).
    """

    checks: Mapping[str, EarlierCheck]
    findings: tuple[EarlierFinding, ...]
    accepted: frozenset[str] | None = None


@dataclass(frozen=True, kw_only=True)
class Baseline:
    """Approved earlier reports.

    Attributes:
        jobs: By the names of the jobs.
        broken: Job files that could not be checked then: there is nothing of them to compare with.
    """

    jobs: Mapping[str, EarlierJob]
    broken: tuple[str, ...] = ()


def own_name(name: str, others: Container[str], where: str = "jobs") -> None:
    """Refuse a name that another job has already.

    Raises:
        InputError: It does.
    """
    if name in others:
        raise InputError(
            where,
            f"two jobs with the name '{printable(name)}'",
            "a name of its own for each job, by which it is compared with its baseline",
            "change job.name in one of the files",
        )


def read_baseline(path: str | Path) -> Baseline:
    """Read approved reports: a JSON report, a list of them, or JSON lines.

    Raises:
        InputError: The file cannot be read, is no report, holds no job, or two jobs of the same name.
    """
    file = as_path(path)
    jobs: dict[str, EarlierJob] = {}
    broken: list[str] = []
    for where, tree in _trees(file, read_text(file, MAX_BYTES)):
        schema = _get(tree, "schema", where, (str,), "a text")
        if schema == ERROR_SCHEMA:
            broken.append(_get(tree, "job_file", where, (str,), "a text"))
            continue
        if schema != SCHEMA:
            raise InputError(f"{where}schema", describe(schema), f'"{SCHEMA}"', "hand in a report written with --json")
        name = _get(tree, "job", where, (str,), "a text")
        own_name(name, jobs, str(file))
        jobs[name] = earlier_job(tree, where)
    if not jobs:
        raise InputError(str(file), "no report of a job that was checked", "at least one to compare with")
    return Baseline(jobs=jobs, broken=tuple(broken))


def _trees(file: Path, text: str) -> list[tuple[str, Any]]:
    """The reports of a file, each with what to call it in an error."""
    lines = [(i, line) for i, line in enumerate(text.split("\n"), start=1) if line.strip()]
    if len(lines) > 1 and all(line.startswith("{") and line.rstrip().endswith("}") for _, line in lines):
        return [(f"{file}, line {i}: ", _line(file, i, line)) for i, line in lines]
    tree = parse_json(file, text)
    if isinstance(tree, list):
        return [(f"{file}: [{i}].", item) for i, item in enumerate(tree)]
    return [(f"{file}: ", tree)]


def _line(file: Path, number: int, line: str) -> Any:
    try:
        return parse_json(file, line)
    except InputError as error:
        raise error.at(f"{file}, line {number}") from error


def earlier_job(tree: Any, where: str) -> EarlierJob:
    """Return what is compared of a report.

    Args:
        tree: The report as JSON holds it.
        where: What to call it in an error, with what separates it from a key.

    Raises:
        InputError: A key is missing, or holds something else.
    """
    holds = tree.get("holds") if isinstance(tree, dict) else None
    told = isinstance(tree, dict) and "accepted" in tree
    accepted = frozenset(map(str, _get(tree, "accepted", where, (list,), "a list"))) if told else None
    if not isinstance(holds, list):
        return EarlierJob(checks=_checks(tree, where), findings=tuple(_findings(tree, where)), accepted=accepted)
    every = list(_named_findings(tree, where))
    checks: dict[str, EarlierCheck] = {}
    findings: list[EarlierFinding] = []
    begins: dict[str, float] = {}
    known: dict[str, dict[str, EarlierCheck]] = {}
    for i, hold in enumerate(holds):
        at = f"{where}holds[{i}]."
        name = _get(hold, "name", at, (str,), "a text")
        like = _get(hold, "like", at, (str, type(None)), "a text or null") or name
        begins[name] = _number(_get(hold, "from", at, (int, float), "a number"))
        known[name] = _checks(hold, at) if like == name else known.get(like, {})
        checks |= {f"hold {name}, {check}": each for check, each in known[name].items()}
        later = begins[name] - begins.get(like, begins[name])
        findings += [
            replace(each, check=f"hold {name}, {each.check}", start=each.start + later, end=each.end + later)
            for of, each in every
            if of == like
        ]
    return EarlierJob(checks=checks, findings=tuple(findings), accepted=accepted)


def _checks(tree: Any, where: str) -> dict[str, EarlierCheck]:
    checks: dict[str, EarlierCheck] = {}
    used: Counter[str] = Counter()
    for i, item in enumerate(_get(tree, "checks", where, (list,), "a list")):
        at = f"{where}checks[{i}]."
        name = _get(item, "check", at, (str,), "a text")
        used[name] += 1
        verdict = _verdict(item, at)
        none = math.inf if verdict is Verdict.PASS else None  # a pass without a figure: nothing loads the pads
        value, low = (_figure(item, key, at, none) for key in ("value", "low"))
        target = _number(_get(item, "target", at, (int, float), "a number"))
        key = name if used[name] == 1 else f"{name} ({used[name]})"
        checks[key] = EarlierCheck(verdict=verdict, value=value, low=low, target=target)
    return checks


def _findings(tree: Any, where: str) -> Iterator[EarlierFinding]:
    return (finding for _, finding in _named_findings(tree, where))


def _named_findings(tree: Any, where: str) -> Iterator[tuple[str, EarlierFinding]]:
    """Each finding with the hold that it is about; empty where there is but one."""
    for i, item in enumerate(_get(tree, "findings", where, (list,), "a list")):
        at = f"{where}findings[{i}]."
        worst = _get(item, "worst", at, (dict,), "a table")
        found = EarlierFinding(
            check=_get(item, "check", at, (str,), "a text"),
            verdict=_verdict(item, at),
            move=_get(worst, "move", f"{at}worst.", (str, type(None)), "a text or null"),
            start=_number(_get(item, "from", at, (int, float), "a number")),
            end=_number(_get(item, "to", at, (int, float), "a number")),
        )
        yield (_get(item, "hold", at, (str,), "a text") if "hold" in item else ""), found


def _get(tree: Any, key: str, where: str, kinds: tuple[type, ...], expected: str) -> Any:
    if not isinstance(tree, dict):
        raise InputError(where.rstrip(".: "), describe(tree), "a report, as --json writes it")
    if key not in tree:
        raise InputError(f"{where}{key}", "nothing", expected, "hand in a report written with --json")
    value = tree[key]
    if not isinstance(value, kinds) or (isinstance(value, bool) and bool not in kinds):
        raise InputError(f"{where}{key}", describe(value), expected)
    return value


def _verdict(tree: Any, where: str) -> Verdict:
    word = _get(tree, "verdict", where, (str,), _VERDICTS)
    try:
        return Verdict(word)
    except ValueError as error:
        raise InputError(f"{where}verdict", describe(word), _VERDICTS) from error


def _figure(tree: Any, key: str, where: str, none: float | None) -> float | None:
    value = _get(tree, key, where, (int, float, type(None)), "a number or null")
    return none if value is None else _number(value)


def _number(value: float) -> float:
    """As a float; whole numbers without end become infinite."""
    try:
        return float(value)
    except OverflowError:
        return math.inf if value > 0 else -math.inf
