"""A preview of the hold margin at other speeds and strengths, which the page's script works out."""

from __future__ import annotations

from typing import Any

import numpy as np

from gripmargin.reports.html.charts import Level, Line, TimeChart
from gripmargin.reports.html.scales import margin_scale
from gripmargin.reports.html.text import bullets, margin, number, printable, rounded, safe, table, tag
from gripmargin.reports.html.view import View
from gripmargin.reports.series import BOTTOMLESS, used
from gripmargin.results.scene import Scene
from gripmargin.results.tuned import Move

COLUMNS = 150  # of the drawing before anything is tried
SLOWEST, FASTEST = 5, 300  # % that can be tried
ABOUT = (
    "Hold with moves at other speeds and pads of another strength, worked out in this page: what the motion adds to "
    "the load grows with the square of the speed, gravity stays. "
)
ALONE = (
    "A preview of hold alone: swing, stops, press, release and the limits of the robot are left out. Only a check of "
    "the changed program confirms it."
)
UNEVEN = (
    "The pads are not bonded evenly. Which of their cells are counted on depends on the loads: the preview keeps those "
    "of the program as it is, while a check chooses anew, and may find more or less."
)

ERRORS = (
    "Errors of the motion take up to {:.1f} % off the margin as it is. They are taken to grow with the square of the "
    "speed; a check estimates them anew, and may find more or less."
)
FORCES = "Forces of the process do not change with the speed of moves: check the changed program instead."
LITTLE = 1e-3  # share of the margin that errors may take unsaid


def what_if(view: View) -> str:
    """Return the chart, the table of factors, and what to type in; empty where no part is carried on known pads."""
    scene, target = view.report.scene, view.target("hold")
    if scene is None or target is None or not view.moves or view.worst is None:
        return ""
    if scene.pushed is not None:
        return tag("p", FORCES)
    use = np.minimum(used(view.report.samples.hold_margin), BOTTOMLESS)
    raised = target * scene.raised
    words = f"target {target:g}" + (f" x {scene.raised:.2f}, for the part bends" if scene.raised > 1.0 else "")
    drawn = np.where(use < BOTTOMLESS, use, np.nan)
    scale = margin_scale([drawn], [1.0 / raised])
    chart = TimeChart(
        key=f"{view.key}-whatif",
        title="Hold margin",
        unit="at the times of the program as it is",
        about="Hold margin over time, as it is and as tried.",
        span=view.span,
        scale=scale,
        lines=[
            Line(name="as it is", t=view.t, y=use, style="k2"),
            Line(name="tried", t=view.t, y=use, style="s1"),
        ],
        levels=[Level(y=1.0 / raised, text=words)],
        cursor=view.cursor,
        columns=min(COLUMNS, view.columns),
    ).markup()
    doubts = _doubts(view, scene)
    return (
        tag("p", safe(ABOUT) + tag("b", safe(ALONE)))
        + (tag("p", tag("b", "It cannot be told for certain:")) + bullets(doubts) if doubts else "")
        + tag("p", "It needs JavaScript.", class_="tried", role="status", data_tried="said")
        + tag("div", chart, data_tried="chart", data_low=scale.low)
        + _table(view)
        + tag("p", tag("button", "Copy", type="button", data_tried="copy") + " the speeds as tune gives them:")
        + tag("textarea", "", class_="typed", readonly="", rows="4", aria_label="speeds to type in", data_tried="typed")
    )


def data(view: View) -> dict[str, Any] | None:
    """Return what the script needs beyond the loads at the stops and the pads."""
    scene, target = view.report.scene, view.target("hold")
    if scene is None or target is None or not view.moves or scene.pushed is not None:
        return None
    gravity = scene.gravity[view.stops]
    same = bool((np.abs(gravity - gravity[0]) <= 1e-9).all())
    return {
        "mass": scene.part.mass,
        "com": rounded(scene.part.com, 9),
        "g": [rounded(row, 7) for row in (gravity[:1] if same else gravity).T],
        "target": target * scene.raised,
        "rows": [_row(move) for move in view.moves],
    }


def _row(move: Move) -> list[Any]:
    """Start, end, name, whether its speed can be tried, then its speeds as they are; nothing where it stands still."""
    out: list[Any] = [*rounded(np.array([move.start, move.end]), 9), printable(move.name), int(not move.kept)]
    at = move.setting
    if at is not None:
        times = (at.acceleration_time, at.braking_time)
        speed = np.nan if at.joint_speed is None else at.joint_speed
        figures = np.array([at.tool_speed, at.tool_acceleration, speed, *times])
        out += [*rounded(figures, 12), at.joint, int(at.joint_slides)]
    return out


def _doubts(view: View, scene: Scene) -> list[str]:
    """Why the margin is not known, whatever the factors."""
    said = [doubt for check in view.report.checks if check.check == "hold" for doubt in check.doubts]
    samples, even = view.report.samples, all(pad.counted.all() for pad in scene.pads)
    value, low = (float(np.nanmin(series)) for series in (samples.hold_margin, samples.hold_margin_low))
    taken = 1.0 - low / value if value > 0.0 else 0.0
    errors = [ERRORS.format(100 * taken)] if LITTLE < taken < 1.0 else []
    return list(dict.fromkeys([*said, *scene.doubts, *([] if even else [UNEVEN]), *errors]))


def _table(view: View) -> str:
    """A row for each move that can be tried, and one for the pads."""
    samples, rows = view.report.samples, []
    for i, move in enumerate(view.moves):
        if not move.kept:
            inside = (view.t >= move.start) & (view.t <= move.end) & ~np.isnan(samples.hold_margin)
            least = margin(float(samples.hold_margin[inside].min(initial=np.inf)))
            time = number(move.time_now, 3)
            field = _field(f"speed of {move.name} in per cent", i)
            rows.append([safe(move.name), field, least, _tried(i, "margin", least), time, _tried(i, "time", time)])
    rows.append(["the pads’ strength", _field("strength of the pads in per cent", -1), "", "", "", ""])
    head = ["move", "%", "margin now", "margin then", "time now [s]", "time then [s]"]
    caption = "Speeds and strength, in per cent of now"
    return table(head, rows, caption=caption, class_="numbers tries")


def _field(label: str, row: int) -> str:
    attributes = {"type": "number", "min": SLOWEST, "max": FASTEST, "step": 1, "value": 100}
    said = "".join(f' {name}="{value}"' for name, value in attributes.items())
    return f'<input{said} disabled aria-label="{safe(label)}" data-try="{row}">'


def _tried(row: int, what: str, value: str) -> str:
    return tag("span", value, data_row=f"{row} {what}")
