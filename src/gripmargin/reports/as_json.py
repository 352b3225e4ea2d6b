"""The report as JSON: SI units, radians, null where there is no number."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from functools import partial
from typing import Any

import numpy as np

from gripmargin.base.errors import GripmarginError, InputErrors
from gripmargin.results.findings import CheckResult, Finding, RootCause
from gripmargin.results.holds import of_hold
from gripmargin.results.report import CAUTIONS, SCHEMA, HoldReport, Report

ERROR_SCHEMA = "gripmargin-error/1"


def report_tree(report: Report, *, samples: bool = False) -> dict[str, Any]:
    """Return the report as a tree of plain values.

    Args:
        report: The report.
        samples: Whether to include the figures at every sample.
    """
    tree: dict[str, Any] = {
        "schema": SCHEMA,
        "verdict": str(report.verdict),
        "job": report.job,
        "checks": [_check(check) for check in report.checks],
        "findings": [_finding(finding, report.of_hold(finding.hold).causes) for finding in report.findings],
        "causes": [asdict(cause) for cause in report.causes],
        "accepted": list(report.accepted),
        "time_laws": [asdict(law) for law in report.time_laws],
        "not_checked": [asdict(item) for item in report.not_checked],
        "assumed": list(report.assumed),
        "notes": list(report.notes),
        "references": list(report.references),
        "cautions": list(CAUTIONS),
    }
    if report.holds:
        tree["holds"] = [_hold(hold) for hold in report.holds]
    if samples:
        tree["samples"] = {name: plain(values) for name, values in vars(report.samples).items()}
    return tree


def report_json(report: Report, *, samples: bool = False) -> str:
    """Return the report as JSON text: the same input gives the same bytes.

    Args:
        report: The report.
        samples: Whether to include the figures at every sample.
    """
    return tree_text(report_tree(report, samples=samples)) + "\n"


def tree_text(tree: Mapping[str, Any]) -> str:
    """Return the tree of a report, or of what stands in its place, as JSON text: a line each of the samples' columns.

    (Python's encoder is fast only where it does not indent.)
    """
    dumps = partial(json.dumps, allow_nan=False, ensure_ascii=False)
    text = dumps({key: value for key, value in tree.items() if key != "samples"}, indent=1)
    if "samples" not in tree:
        return text
    columns = ",\n".join(f"  {dumps(name)}: {dumps(values)}" for name, values in tree["samples"].items())
    return f'{text.removesuffix("}").rstrip()},\n "samples": {{\n{columns}\n }}\n}}'


def error_tree(job: str, error: GripmarginError) -> dict[str, Any]:
    """Return what stands in place of the report of a job that could not be checked, as a tree of plain values.

    Args:
        job: The job file as it was named.
        error: Why not.
    """
    problems = error.problems if isinstance(error, InputErrors) else (error,)
    return {
        "schema": ERROR_SCHEMA,
        "job_file": job,
        "errors": [{"where": p.where, "found": p.found, "expected": p.expected, "remedy": p.remedy} for p in problems],
    }


def error_json(job: str, error: GripmarginError) -> str:
    """Return what stands in place of the report of a job that could not be checked, as JSON text.

    Args:
        job: The job file as it was named.
        error: Why not.
    """
    return tree_text(error_tree(job, error)) + "\n"


def _hold(hold: HoldReport) -> dict[str, Any]:
    """A hold; of one that is like another what it came to stands there."""
    own, report = hold.like is None, hold.report
    tree: dict[str, Any] = {
        "name": hold.name,
        "part": hold.part,
        "pick": hold.pick,
        "nest": hold.nest,
        "station": hold.station,
        "from": hold.start,
        "to": hold.end,
        "first": hold.first,
        "like": hold.like,
        "verdict": str(hold.verdict),
    }
    if own:
        tree["checks"] = [_check(of_hold(check, hold)) for check in report.checks]
        tree["causes"] = [asdict(cause) for cause in report.causes]
        tree["not_checked"] = [asdict(item) for item in report.not_checked]
        tree["assumed"] = list(report.assumed)
    return tree


def _check(check: CheckResult) -> dict[str, Any]:
    return _named(check.hold) | {
        "check": check.check,
        "verdict": str(check.verdict),
        "value": check.value,
        "low": check.low,
        "high": check.high,
        "target": check.target,
        "at": None if check.at is None else asdict(check.at),
        "low_at": None if check.low_at is None else asdict(check.low_at),
        "text": check.text,
        "measure": check.measure,
        "lines": list(check.lines),
        "doubts": list(check.doubts),
        "details": plain(check.details),
    }


def _named(hold: str) -> dict[str, Any]:
    """The key that says which hold is meant, where there are several."""
    return {"hold": hold} if hold else {}


def _finding(finding: Finding, causes: Iterable[RootCause]) -> dict[str, Any]:
    return _named(finding.hold) | {
        "check": finding.check,
        "code": next((cause.code for cause in causes if finding.check in cause.explains), finding.check),
        "verdict": str(finding.verdict),
        "from": finding.start,
        "to": finding.end,
        "spans": [list(span) for span in finding.spans],
        "worst": plain(finding.worst),
        "because": plain(finding.because),
        "remedy": finding.remedy,
        "remedies": [plain(asdict(remedy)) for remedy in finding.remedies],
        "share": plain(finding.share),
        "text": finding.text,
    }


def plain(value: Any) -> Any:
    """Return lists and plain numbers in place of arrays; what is not finite becomes None."""
    if isinstance(value, np.ndarray):
        if value.dtype.kind == "f" and not np.isfinite(value).all():
            holes = value.astype(object)
            holes[~np.isfinite(value)] = None
            return holes.tolist()
        return value.tolist()
    if isinstance(value, Mapping):
        return {key: plain(item) for key, item in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [plain(item) for item in value]
    if isinstance(value, float) and not np.isfinite(value):
        return None
    return value
