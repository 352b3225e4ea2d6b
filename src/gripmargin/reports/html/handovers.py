"""Preload and release over time: pressure, bond, and what the pads ask of tray and nest against what these take."""

from __future__ import annotations

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.reports.html.charts import Level, Line, TimeChart
from gripmargin.reports.html.scales import margin_scale, scale
from gripmargin.reports.html.text import margin, number, safe, seconds, table, tag
from gripmargin.reports.html.view import View
from gripmargin.results.scene import HandoverRecord

WAYS = {
    "lift": ("lifted out", "N", 1.0, "s1"),
    "slide": ("slid sideways", "N", 1.0, "s2"),
    "turn": ("turned about the normal", "N m", 1.0, "s3"),
    "tip": ("tipped over an edge", "N m", 1.0, "s4"),
}
FAR = 3.0  # times what is asked, beyond which a limit is only said
MOST_PADS = 4  # with a line of their own


def handovers(view: View) -> str:
    """Return the charts of every preload and release that was simulated."""
    scene = view.report.scene
    if scene is None or not scene.handovers:
        return tag("p", "No preload or release was simulated; the reasons are under “Not checked”.", class_="empty")
    return "".join(_one(view, i, handover) for i, handover in enumerate(scene.handovers))


def _one(view: View, i: int, at: HandoverRecord) -> str:
    span = (float(at.t[0]), float(at.t[-1]))
    name = "Preload" if at.kind == "preload" else "Release"
    charts = [_pressure(view, i, at, span), _bond(view, i, at, span)]
    if at.kind == "release":
        charts += [_ratios(view, i, at, span), *_asked(view, i, at, span)]
    else:
        charts += _asked(view, i, at, span)
    said = f"{name}, {seconds(span[0])} to {seconds(span[1])}"
    title = tag("h4", safe(said), class_="sub")
    return tag(
        "section",
        title + tag("div", "".join(chart.markup() for chart in charts), class_="trio") + _table(at, said),
        class_="handover",
        data_span=f"{span[0]:.9g} {span[1]:.9g}",
    )


def _per_pad(view: View, values: FloatArray, t: FloatArray, all_name: str) -> list[Line]:
    names = [pad.patch.pad.name for pad in view.report.scene.pads] if view.report.scene else []
    if values.shape[1] <= MOST_PADS:
        return [
            Line(name=f"pad ‘{names[j]}’" if values.shape[1] > 1 else "", t=t, y=values[:, j], style=f"s{j + 1}")
            for j in range(values.shape[1])
        ]
    return [
        Line(name=f"{all_name}, of {values.shape[1]} pads", t=t, y=values.max(axis=1), style="s1"),
        Line(name="lowest", t=t, y=values.min(axis=1), style="s2"),
    ]


def _pressure(view: View, i: int, at: HandoverRecord, span: tuple[float, float]) -> TimeChart:
    lines = _per_pad(view, at.pressure / 1e4, at.t, "highest")
    most = float(at.pressure.max(initial=0.0)) / 1e4
    levels: list[Level] = []
    note = ""
    scene = view.report.scene
    allowed = None if scene is None else scene.part.max_pressure
    target = view.target("pressure")
    if allowed is not None:
        levels, note = _limit(
            allowed / (target or 1.0) / 1e4,
            most,
            "the part may take" + (f", over the target {target:g}" if target not in (None, 1.0) else ""),
            "N/cm²",
        )
    if scene is not None and at.kind == "preload":
        full = {p.patch.pad.material.full_preload for p in scene.pads if p.patch.pad.material.full_preload is not None}
        levels += [
            Level(y=value / 1e4, text=f"full preload {number(value / 1e4)}", style="target")
            for value in sorted(full)[:2]
            if value / 1e4 <= FAR * most
        ]
    return TimeChart(
        key=f"{view.key}-hand{i}p",
        heading="h5",
        title="Highest contact pressure",
        unit="N/cm²",
        about=f"Highest contact pressure over time, at most {number(most)} N/cm².",
        span=span,
        scale=scale([line.y for line in lines] + [np.array([level.y for level in levels])]),
        lines=lines,
        levels=levels,
        note=note,
        cursor=view.cursor,
        columns=view.columns // 2,
    )


def _bond(view: View, i: int, at: HandoverRecord, span: tuple[float, float]) -> TimeChart:
    if at.pressed is not None:
        t, pressed, given = at.pressed
        lines = [
            Line(name="contact area under pressure", t=t, y=100 * pressed, style="s2"),
            Line(name="mean adhesion by the highest pressure so far", t=t, y=100 * given, style="s1"),
        ]
        end = float(at.held_total[-1])
        return TimeChart(
            key=f"{view.key}-hand{i}b",
            title="Contact",
            unit="%",
            heading="h5",
            about=f"Contact area under pressure, at most {_percent(pressed.max())} %, and adhesion, at most "
            f"{_percent(given.max())} %.",
            span=span,
            scale=scale([np.array([0.0, 100.0])]),
            lines=lines,
            cursor=view.cursor,
            columns=view.columns // 2,
            note=f"Dwell is not in these curves. With it, {_percent(end)} % of the full strength is bonded when "
            "the pads take the part.",
        )
    lines = _per_pad(view, 100 * at.held, at.t, "highest")
    return TimeChart(
        key=f"{view.key}-hand{i}b",
        heading="h5",
        title="Bond",
        unit="% of full strength",
        about=f"Share of the full strength that is bonded, {_percent(at.held_total[0])} % at the start, "
        f"{_percent(at.held_total[-1])} % at the end.",
        span=span,
        scale=scale([np.array([0.0, 100.0])]),
        lines=lines,
        cursor=view.cursor,
        columns=view.columns // 2,
    )


def _percent(share: float) -> str:
    return number(100 * float(share), 0)


def _ratios(view: View, i: int, at: HandoverRecord, span: tuple[float, float]) -> TimeChart:
    lines, unknown = [], []
    for way, (name, _, _, style) in WAYS.items():
        if way not in at.demand:
            continue
        use = _share(at, way)
        if np.isnan(use).any() and (at.demand[way] > 0).any():
            unknown.append(name)
        lines.append(Line(name=name, t=at.t, y=np.minimum(use, 1e3), style=style))
    target = view.target("release")
    levels = [Level(y=1.0, text="1: it no longer stays", style="limit")]
    levels += [] if target is None or target == 1 else [Level(y=1.0 / target, text=f"target {target:g}")]
    note = f"Not stated, so not drawn: what keeps it from being {', '.join(unknown)}." if unknown else ""
    return TimeChart(
        key=f"{view.key}-hand{i}r",
        heading="h5",
        title="Release ratio",
        unit="what keeps the part over what the pads ask",
        about="Restraint over demand for each way in which the part could leave its nest; unbounded at the top.",
        span=span,
        scale=margin_scale([line.y for line in lines], [level.y for level in levels]),
        lines=lines,
        levels=levels,
        danger=1.0,
        note=note,
        cursor=view.cursor,
        columns=view.columns // 2,
    )


def _share(at: HandoverRecord, way: str) -> FloatArray:
    demand, available = at.demand[way], at.available[way]
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(demand > 0, demand / np.maximum(available, 0.0), 0.0)


def _asked(view: View, i: int, at: HandoverRecord, span: tuple[float, float]) -> list[TimeChart]:
    """What the pads ask, forces and moments apart, with the limits."""
    charts = []
    groups = [("Force on the part", "N", ("lift", "slide")), ("Moment on the part", "N m", ("turn", "tip"))]
    if at.kind == "preload":
        press = Line(name="along the face normal, up is a pull", t=at.t, y=at.force[:, 2], style="s1")
        side = Line(name="sideways", t=at.t, y=np.hypot(at.force[:, 0], at.force[:, 1]), style="s2")
        kept = float(at.available["lift"][0])
        levels, note = _limit(kept, float(np.abs(at.force[:, 2]).max(initial=0.0)), "what keeps it in its tray", "N")
        axis = scale([press.y, side.y, np.array([level.y for level in levels])])
        levels.append(Level(y=0.0, text="", style="zero"))
        return [
            TimeChart(
                key=f"{view.key}-hand{i}f",
                heading="h5",
                title="Force of the pads on the part",
                unit="N",
                about=f"From {number(float(press.y.min()))} to {number(float(press.y.max()))} N along the face normal.",
                span=span,
                scale=axis,
                lines=[press, side],
                levels=levels,
                note=note,
                cursor=view.cursor,
                columns=view.columns // 2,
            )
        ]
    for j, (title, unit, ways) in enumerate(groups):
        lines, levels, notes = [], [], []
        most = max([float(at.demand[way].max(initial=0.0)) for way in ways if way in at.demand] + [1e-9])
        for way in (w for w in ways if w in at.demand):
            name, _, _, style = WAYS[way]
            lines.append(Line(name=name, t=at.t, y=at.demand[way], style=style))
            available = at.available[way]
            known = available[np.isfinite(available)]
            if known.size == 0:
                continue
            if np.ptp(known) < 1e-9 * max(1.0, float(np.abs(known).max())):
                level, note = _limit(float(known[0]), most, f"limit, {name}", unit)
                levels += level
                notes += [note] if note else []
            elif float(known.min()) <= FAR * most:
                lines.append(
                    Line(
                        name=f"limit, {name}",
                        t=at.t,
                        y=np.where(available <= FAR * most, available, np.nan),
                        style="limit-line",
                    )
                )
            else:
                notes.append(f"Off the chart: limit, {name}, at least {number(float(known.min()), 3)} {unit}.")
        charts.append(
            TimeChart(
                key=f"{view.key}-hand{i}f{j}",
                heading="h5",
                title=title,
                unit=unit,
                about=f"{title} over time, at most {number(most, 3)} {unit}.",
                span=span,
                scale=scale([line.y for line in lines] + [np.array([level.y for level in levels])]),
                lines=lines,
                levels=levels,
                note=" ".join(notes),
                cursor=view.cursor,
                columns=view.columns // 2,
            )
        )
    return charts


def _limit(value: float, most: float, name: str, unit: str) -> tuple[list[Level], str]:
    """A line for a limit near enough to be drawn, else words."""
    if value <= FAR * most:
        return [Level(y=value, text=f"{name}: {number(value, 2)}", style="limit")], ""
    return [], f"Off the chart: {name}, {number(value, 2)} {unit}."


def _table(at: HandoverRecord, said: str) -> str:
    rows = []
    for way, (name, unit, _, _) in WAYS.items():
        if way not in at.demand:
            continue
        use = _share(at, way)
        unknown = bool(np.isnan(use).any())
        k = int(np.argmax(at.demand[way])) if unknown else int(np.argmax(use))
        ratio = float(np.inf) if use[k] == 0 else float("nan") if unknown else 1.0 / float(use[k])
        available = float(at.available[way][k])
        rows.append(
            [
                safe(name),
                number(float(at.demand[way][k]), 3),
                "not given" if np.isnan(available) else number(available, 3),
                unit,
                margin(ratio),
                f"{number(float(at.t[k]), 3)}",
            ]
        )
    head = ["the part is", "the pads ask", "it is kept by", "unit", "ratio", "at [s]"]
    return table(
        head, rows, caption=f"{said}: what the pads ask at the worst instant, and what keeps the part", class_="numbers"
    )
