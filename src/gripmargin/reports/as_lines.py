"""Reports as JSON lines: one compact object a line, for logs and for tools that read line by line."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from gripmargin.base.errors import FaultError
from gripmargin.reports.as_json import error_tree, report_tree
from gripmargin.results.report import Judgement


def judgement_tree(judgement: Judgement, *, samples: bool = False) -> dict[str, Any]:
    """Return the report of a job, or what stands in its place, as a tree of plain values."""
    if judgement.report is not None:
        return report_tree(judgement.report, samples=samples)
    nothing = FaultError(judgement.job_file, "neither a report nor an error", "one of them")
    return error_tree(judgement.job_file, judgement.error or nothing)


def report_line(judgement: Judgement, *, samples: bool = False) -> str:
    """Return the report of a job, or what stands in its place, as one line of JSON with its line end."""
    tree = judgement_tree(judgement, samples=samples)
    return json.dumps(tree, allow_nan=False, ensure_ascii=False, separators=(",", ":")) + "\n"


def report_lines(judgements: Iterable[Judgement], *, samples: bool = False) -> str:
    """Return one line of JSON a job, in the order given; the objects are those of the JSON report.

    Args:
        judgements: What `check_files` returns.
        samples: Whether to include the figures at every sample.
    """
    return "".join(report_line(judgement, samples=samples) for judgement in judgements)
