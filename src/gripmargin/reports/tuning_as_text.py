"""What tuning a job comes to, as short text."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

import numpy as np

from gripmargin.reports.choices_as_text import choices_lines
from gripmargin.reports.limits_as_text import figure
from gripmargin.results.findings import Verdict
from gripmargin.results.report import CAUTIONS
from gripmargin.results.tuned import Move, Moves, Override, Retimed, Setting, Tuning, saved

WIDTH = 100
CURVE_SHOWN = 7  # points of the curve in the text


def tuning_text(tuning: Tuning) -> str:
    """Return the outcome of tuning as text for a person, at most 100 characters wide."""
    lines = [*_wrapped(f"{tuning.verdict.upper()}  ", f"{tuning.job}: how fast it may be"), ""]
    if tuning.standstill is not None:
        lines += _wrapped("  ", tuning.standstill.text)
    if tuning.override is not None:
        lines += _override(tuning.override)
    if tuning.moves is not None:
        lines += ["", *_moves(tuning.moves)]
    if tuning.retimed is not None:
        lines += ["", *_retimed(tuning.retimed)]
    if tuning.blocked:
        words = "does not pass" if tuning.verdict is Verdict.FAIL else "cannot be decided"
        lines += ["", f"What {words}, whatever the speed that was tried", *_bullets(tuning.blocked)]
    if tuning.grasp is not None:
        lines += ["", "A better grasp", *_bullets(tuning.grasp.text)]
        lines += [
            "",
            *_wrapped(
                "",
                "Pads to choose from: of each material and layout the smallest that carry at the present speed, else "
                "the largest with room; all went through the checker. Shares of the targets (1 is enough), sizes in "
                "mm, area in cm^2",
            ),
            *choices_lines(tuning.grasp.choices),
        ]
    lines += ["", "Assumed", *_bullets(tuning.notes), "", "Cautions", *_bullets(CAUTIONS)]
    return "\n".join(lines) + "\n"


def _override(found: Override) -> list[str]:
    if found.factor is None:
        lines = _wrapped("  whole program  ", "no speed was found at which everything passes")
    else:
        lines = _wrapped(
            "  whole program  ",
            f"{100 * found.factor:.1f} % of its speed; {_cycle(found)}",
        )
    lines += _wrapped("    ", f"limited by {found.limit.text}")
    at = np.linspace(0, found.curve.speed.size - 1, CURVE_SHOWN).round().astype(int)
    shown = ", ".join(f"{_figure(found.curve.ratio[i])} at {100 * found.curve.speed[i]:.0f} %" for i in at)
    lines += _wrapped("    ", f"least margin over its target, swing and stops aside: {shown} of the speed")
    return lines + (settings_lines(found.rows) if found.factor is not None and found.factor > 1.0 else [])


def _cycle(found: Override | Moves | Retimed) -> str:
    gain, percent = saved(found.cycle_now, found.cycle_then)
    if found.cycle_then is None or gain is None or percent is None:
        return f"{found.cycle_now:.3f} s"
    word = "less" if gain >= 0.0 else "more"
    return f"{found.cycle_now:.3f} s become {found.cycle_then:.3f} s, {abs(gain):.3f} s or {abs(percent):.1f} % {word}"


def _figure(value: float) -> str:
    return f"{value:.2f}" if np.isfinite(value) else "-"


def _moves(found: Moves) -> list[str]:
    end = _cycle(found) if found.passed else "the program does not pass"
    return [*_wrapped("  each move      ", end), *_table(found.rows), *settings_lines(found.rows)]


def _retimed(found: Retimed) -> list[str]:
    end = _cycle(found) if found.passed else "no program that passes"
    lines = _wrapped("  new time law   ", end)
    if not found.passed:
        return lines
    alone = _as_positions(found)
    if found.by != "retiming":
        lines += _wrapped("    ", f"no time law was found that is faster than the speeds ({found.by}): they are used")
        return lines + alone
    ramps = f"{1e3 * min(found.ramp):.0f} to {1e3 * max(found.ramp):.0f} ms"
    lines += _wrapped(
        "    ",
        f"checked at {found.rate:g} samples a second; path acceleration spread over {ramps}; least margin "
        f"{found.reached:.3f} times its target; largest distance from the given path {found.deviation:.2g} rad or m",
    )
    return lines + alone + _table(found.rows)


def _as_positions(found: Retimed) -> list[str]:
    """What becomes of it in a controller that takes positions alone."""
    if found.positions is None:
        return []
    said = "passes by the law of its moves, which the positions show" if found.by_shape else "passes"
    if not found.positions.passed:
        short = [f"{result.check} {result.verdict}" for result in found.positions.checks if result.verdict != "pass"]
        said = f"does not pass ({', '.join(short)}): give the controller speeds and accelerations as well"
    return _wrapped("    ", f"as positions alone, every 4 ms and to 1e-4 deg or 1 um, it {said}")


def _table(rows: Sequence[Move]) -> list[str]:
    wide = _wide(rows)
    lines = [f"    {'move':<{wide}}   now [s]  factor  then [s]  less [s]    [%]  limited by"]
    for row in rows:
        why = f"kept: {row.kept}" if row.limit is None else row.limit.text.replace(f" in move '{row.limit.move}'", "")
        gain, percent = saved(row.time_now, row.time_then)
        first = (
            f"    {_short(row.name, wide):<{wide}}  {row.time_now:8.3f}  {row.factor:6.3f}  {row.time_then:8.3f}"
            f"  {gain:z8.3f}  {percent:z5.1f}  "
        )
        lines += textwrap.wrap(
            _printable(why), WIDTH, initial_indent=first, subsequent_indent=" " * len(first), break_on_hyphens=False
        )
    return lines


def settings_lines(rows: Sequence[Move]) -> list[str]:
    """What to type in, rounded so that what is typed is no faster; where nothing moves, the wait."""
    if all(row.setting is None for row in rows):
        return []
    head = ["speed", "tool mm/s", "mm/s^2", "joint", "its speed", "up s", "brake s", "time s"]
    shown = [(row.name, [*_cells(row.setting), _later(row.time_then)]) for row in rows]
    widths = [max(map(len, column)) for column in zip(head, *(cells for _, cells in shown), strict=True)]
    wide = min(_wide(rows), WIDTH - 4 - sum(w + 2 for w in widths))
    table = [
        f"    {_short(name, wide):<{wide}}" + "".join(f"  {cell:>{w}}" for cell, w in zip(cells, widths, strict=True))
        for name, cells in [("move", head), *shown]
    ]
    return ["", "  to type in     the largest that each move reaches then, rounded to the slower side", *table]


def _cells(found: Setting | None) -> list[str]:
    if found is None:
        return ["-"] * 7
    joint, leads = "-", "-"
    if found.joint is not None and found.joint_speed is not None:
        joint = f"{found.joint}"
        scale, unit = (1e3, "mm/s") if found.joint_slides else (np.degrees(1.0), "deg/s")
        leads = f"{figure(scale * found.joint_speed)} {unit}"
    tool = [figure(1e3 * found.tool_speed), figure(1e3 * found.tool_acceleration)]
    times = [_later(found.acceleration_time), _later(found.braking_time)]
    return [f"{found.percent:.1f} %", *tool, joint, leads, *times]


def _later(time: float) -> str:
    return f"{np.ceil(1e3 * time - 0.01) / 1e3 + 0.0:.3f}"  # a step is put beside its sample, microseconds away


def _wide(rows: Sequence[Move]) -> int:
    return min(max(len(row.name) for row in rows), 32)


def _short(name: str, wide: int) -> str:
    shown = _printable(name)
    return shown if len(shown) <= wide else shown[: wide - 3] + "..."


def _bullets(items: Iterable[str]) -> list[str]:
    return [line for item in items for line in _wrapped("  - ", item)]


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() else " " for c in text)


def _wrapped(first: str, text: str) -> list[str]:
    return textwrap.wrap(
        _printable(text), WIDTH, initial_indent=first, subsequent_indent=" " * len(first), break_on_hyphens=False
    )
