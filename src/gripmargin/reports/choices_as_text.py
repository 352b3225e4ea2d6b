"""Pads to choose from, as a table: margins over their targets rounded down, the best first."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from gripmargin.reports.limits_as_text import figure
from gripmargin.results.choice import Choice

LONGEST = 9  # letters of a material's name


def choices_table(choices: Sequence[Choice]) -> tuple[list[str], list[list[str]]]:
    """Return the names of the columns and the rows; sizes in mm, areas in cm^2, accelerations in mm/s^2.

    Args:
        choices: As `gripmargin.tune` or `gripmargin.limits` found them.
    """
    limits = any(each.acceleration is not None for each in choices)
    names = ["material", "pads", "each", "apart x,y", "middle x,y", "area", "verdict", "least", "decided by"]
    rows = [
        [
            _short(each.material),
            f"{each.pads} drawn" if each.layout == "as drawn" else str(each.pads),
            " x ".join(f"{1e3 * side:.3g}" for side in each.size),
            ", ".join(f"{1e3 * way:.0f}" for way in each.spacing) if each.pads > 1 else "-",
            ", ".join(f"{1e3 * way:z.0f}" for way in each.at),
            f"{1e4 * each.area:.2f}",
            str(each.verdict),
            _down(each.ratio),
            each.by,
            *([figure(np.nan if each.acceleration is None else 1e3 * each.acceleration)] if limits else []),
            *([] if limits else [_down(each.hold), _down(each.release)]),
        ]
        for each in choices
    ]
    return [*names, *(["mm/s^2"] if limits else ["hold", "release"])], rows


def choices_lines(choices: Sequence[Choice]) -> list[str]:
    """Return the table as lines of text, at most 100 characters wide."""
    names, rows = choices_table(choices)
    wide = [max(len(line[k]) for line in (names, *rows)) for k in range(len(names))]
    left = {"material", "pads", "verdict", "decided by"}
    return [
        "  "
        + " ".join(
            f"{cell:<{w}}" if name in left else f"{cell:>{w}}" for name, cell, w in zip(names, cells, wide, strict=True)
        ).rstrip()
        for cells in (names, *rows)
    ]


def _down(value: float | None) -> str:
    return "-" if value is None or not math.isfinite(value) else f"{math.floor(100.0 * value + 1e-9) / 100.0:.2f}"


def _short(name: str) -> str:
    shown = "".join(c if c.isprintable() else " " for c in name)
    return shown if len(shown) <= LONGEST else f"{shown[: LONGEST - 3]}..."
