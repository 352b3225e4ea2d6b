"""Largest accelerations of any path, as JSON: SI units, radians, null where there is no number."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

from gripmargin.reports.as_json import plain
from gripmargin.results.limits import SCHEMA, Limits
from gripmargin.results.report import CAUTIONS


def limits_tree(limits: Limits) -> dict[str, Any]:
    """Return the limits as a tree of plain values; the last of the ramps, so slow that nothing swings, is null."""
    return {
        "schema": SCHEMA,
        "verdict": str(limits.verdict),
        "job": limits.job,
        "tilts": plain(limits.tilts),
        "ramps": plain(limits.ramps),
        "linear": plain(limits.linear),
        "turning": {
            about: {"acceleration": plain(limits.turning_acceleration(about)), "speed": plain(speed)}
            for about, speed in limits.turning.items()
        },
        "together": plain(limits.together),
        "circling": [
            {"radius": radius, "acceleration": plain(along), "speed": plain(speed)}
            for radius, along, speed in zip(
                limits.radii.tolist(), limits.circling_acceleration, limits.circling, strict=True
            )
        ],
        "one_move": plain(limits.one_move),
        "stop": plain(limits.stop),
        "targets": dict(limits.targets),
        "frequencies": plain(limits.frequencies),
        "blocked": list(limits.blocked),
        "choices": [plain(asdict(each)) for each in limits.choices],
        "notes": list(limits.notes),
        "cautions": list(CAUTIONS),
    }


def limits_json(limits: Limits) -> str:
    """Return the limits as JSON text: the same input gives the same bytes."""
    return json.dumps(limits_tree(limits), allow_nan=False, indent=1, ensure_ascii=False) + "\n"
