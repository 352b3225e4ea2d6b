"""What tuning a job comes to, as JSON: SI units, radians, null where there is no number."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

from gripmargin.reports.as_json import plain, report_tree
from gripmargin.results.report import CAUTIONS
from gripmargin.results.tuned import SCHEMA, Limit, Move, Moves, Override, Retimed, Tuning, saved


def tuning_tree(tuning: Tuning) -> dict[str, Any]:
    """Return the outcome of tuning as a tree of plain values."""
    return {
        "schema": SCHEMA,
        "verdict": str(tuning.verdict),
        "job": tuning.job,
        "override": None if tuning.override is None else _override(tuning.override),
        "moves": None if tuning.moves is None else _moves(tuning.moves),
        "retimed": None if tuning.retimed is None else _retimed(tuning.retimed),
        "standstill": None if tuning.standstill is None else plain(asdict(tuning.standstill)),
        "grasp": None if tuning.grasp is None else plain(asdict(tuning.grasp)),
        "blocked": list(tuning.blocked),
        "notes": list(tuning.notes),
        "references": list(tuning.references),
        "cautions": list(CAUTIONS),
    }


def tuning_json(tuning: Tuning) -> str:
    """Return the outcome of tuning as JSON text: the same input gives the same bytes."""
    return json.dumps(tuning_tree(tuning), allow_nan=False, indent=1, ensure_ascii=False) + "\n"


def _override(found: Override) -> dict[str, Any]:
    return {
        "factor": found.factor,
        "closed_form": plain(found.closed_form),
        "limit": _limit(found.limit),
        "rows": [_row(row) for row in found.rows],
        "curve": {"speed": plain(found.curve.speed), "ratio": plain(found.curve.ratio)},
        **_cycle(found),
        "report": None if found.report is None else report_tree(found.report),
    }


def _moves(found: Moves) -> dict[str, Any]:
    return {
        "passed": found.passed,
        "rows": [_row(row) for row in found.rows],
        **_cycle(found),
        "report": report_tree(found.report),
    }


def _retimed(found: Retimed) -> dict[str, Any]:
    return {
        "passed": found.passed,
        "by": found.by,
        "rows": [_row(row) for row in found.rows],
        **_cycle(found),
        "rate": found.rate,
        "deviation": plain(found.deviation),
        "ramp": list(found.ramp),
        "reached": plain(found.reached),
        "rounds": found.rounds,
        "positions": None if found.positions is None else str(found.positions.verdict),
        "by_shape": found.by_shape,
        "report": report_tree(found.report),
    }


def _row(row: Move) -> dict[str, Any]:
    return {
        "moves": list(row.moves),
        "from": row.start,
        "to": row.end,
        "time_now": row.time_now,
        "factor": row.factor,
        "time_then": row.time_then,
        **_saved(row.time_now, row.time_then),
        "limit": _limit(row.limit),
        "kept": row.kept,
        "setting": None if row.setting is None else plain(asdict(row.setting)),
    }


def _cycle(found: Override | Moves | Retimed) -> dict[str, float | None]:
    now, then = found.cycle_now, found.cycle_then
    return {"cycle_now": now, "cycle_then": then, **_saved(now, then)}


def _saved(now: float, then: float | None) -> dict[str, float | None]:
    return dict(zip(("saved", "saved_percent"), saved(now, then), strict=True))


def _limit(limit: Limit | None) -> dict[str, Any] | None:
    return None if limit is None else plain(asdict(limit))
