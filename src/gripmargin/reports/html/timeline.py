"""The charts over the program's time: moves and phases, margin, what uses the pads up, loads and their causes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks import registry
from gripmargin.reports.html.charts import Label, Level, Line, Mark, TimeChart, ribbon, runs
from gripmargin.reports.html.scales import margin_scale, scale
from gripmargin.reports.html.text import NONE, margin, number, safe, table, tag
from gripmargin.reports.html.view import View, link
from gripmargin.reports.series import sample_of, used

LEAST = 0.5  # % of what the pads hold, below which a cause is left out
MOST_ROWS = 200  # of the table of moves
BOTTOMLESS = 1e9  # use that stands for no bound
MOST_SPANS = 2000  # marked below the margin
CAUSE_STYLE = {
    "gravity": "a",
    "linear acceleration": "b",
    "angular acceleration": "c",
    "centripetal": "d",
    "gyroscopic": "e",
    "other": "f",
    "air drag": "g",
    "added air mass": "h",
}
STYLES = {"swing": "s2", "stop": "s3"}  # of the curves beside the first


def timeline(view: View) -> str:
    """Return the ribbons and the margin, and what uses the pads up."""
    parts = _ribbons(view) + _margins(view).markup()
    shares = _use_by_cause(view)
    return parts + ("" if shares is None else shares.markup())


def loads(view: View) -> str:
    """Return the charts of the load and of its causes."""
    samples, key, span, cursor = view.report.samples, view.key, view.span, view.cursor
    charts = []
    for name, values, unit, factor, about in (
        ("Force of the part on the pads", samples.force, "N, tool axes", 1.0, "Positive z pulls the part off."),
        ("Moment about the tool frame’s origin", samples.moment, "N mm, tool axes", 1e3, "x and y peel, z twists."),
    ):
        lines = [
            Line(name=axis, t=samples.t, y=view.carried(factor * values[:, i]), style=style)
            for i, (axis, style) in enumerate((("x", "s2"), ("y", "s3"), ("z", "s1")))
        ]
        charts.append((name, unit, about, lines))
    if view.report.scene is not None:
        mass = view.report.scene.part.mass
        sizes = view.report.scene.sizes_by_cause(samples)
        for name, unit, factor, row, about in (
            ("Acceleration by cause", "m/s², at the centre of mass", 1 / mass, 0, f"Times {mass:g} kg: the force."),
            ("Moment by cause", "N mm, about the tool frame’s origin", 1e3, 1, "Sizes, whatever their direction."),
        ):
            lines = [
                Line(name=cause, t=samples.t, y=view.carried(factor * size[row]), style=f"c-{CAUSE_STYLE[cause]}")
                for cause, size in sizes.items()
                if size[row].max(initial=0.0) > 0
            ]
            charts.append((name, unit, about, lines))
    out = ""
    for i, (name, unit, about, lines) in enumerate(charts):
        axis = scale([line.y for line in lines])
        levels = [Level(y=0.0, text="", style="zero")] if axis.low < 0 else []
        out += TimeChart(
            key=f"{key}-load{i}",
            title=name,
            unit=unit,
            about=f"{name} over time. {about} {_extremes(lines)}",
            span=span,
            scale=axis,
            lines=lines,
            levels=levels,
            cursor=cursor,
            note=about,
        ).markup()
    return tag("div", out, class_="pair")


def _extremes(lines: Sequence[Line]) -> str:
    """The largest and the least value of each line, in words."""
    said = []
    for line in lines:
        good = line.y[np.isfinite(line.y)]
        if good.size:
            said.append(f"{line.name} from {number(float(good.min()))} to {number(float(good.max()))}")
    return ("; ".join(said) + ".") if said else "No values."


def _ribbons(view: View) -> str:
    samples, span = view.report.samples, view.span
    t = samples.t

    def stretches(labels: Sequence[str], styles: dict[str, str] | None) -> list[tuple[float, float, str, str]]:
        found = []
        for i, (first, last, label) in enumerate(runs(labels)):
            end = float(t[min(last + 1, t.size - 1)])
            style = f"phase-{styles.get(label, 'free')}" if styles else ("move-a", "move-b")[i % 2]
            found.append((float(t[first]), end, label, style))
        return found

    out = ""
    if samples.move:
        out += ribbon(f"{view.key}-moves", "moves", span, stretches(samples.move, None), lambda label: f"move {label},")
    kinds = {kind: kind for kind in ("preload", "carry", "release", "free")}
    if samples.phase:
        out += ribbon(f"{view.key}-phases", "phases", span, stretches(samples.phase, kinds), lambda label: f"{label},")
    return out


def _margins(view: View) -> TimeChart:
    samples = view.report.samples
    use, most = used(samples.hold_margin), used(samples.hold_margin_low)
    unbounded = ~np.isfinite(most) & ~np.isnan(samples.hold_margin_low)
    lines = [
        Line(name="range by errors of the rates", t=samples.t, y=_drawn(most), lower=_drawn(use), style="band"),
        Line(name="hold margin", t=samples.t, y=_drawn(use), style="s1"),
    ]
    apart = np.abs(_drawn(most) - _drawn(use))
    if (apart[~np.isnan(apart)] > 1e-6).any():
        lines.insert(1, Line(name="least it may be", t=samples.t, y=_drawn(most), style="thin"))
    else:
        lines.pop(0)
    more = {
        "swing_margin": ("margin with the swing", "s2"),
        "swing_margin_low": ("least with the swing", "thin2"),
        "stop_margin": ("margin at a stop", "s3"),
    }
    for key, (name, style) in more.items():
        values = getattr(samples, key, None)
        if values is not None and not np.isnan(values).all():
            lines.append(Line(name=name, t=samples.t, y=_drawn(used(np.asarray(values))), style=style))
    levels = [Level(y=1.0, text="1: the limit", style="limit")]
    targets: dict[float, list[str]] = {}
    for check in registry.series():
        target = view.target(check)
        if target is not None and (check == "hold" or any(line.style == STYLES.get(check) for line in lines)):
            targets.setdefault(float(target), []).append(check)
    levels += [
        Level(y=1.0 / v, text=f"target {v:g}" + (f" ({', '.join(names)})" if len(targets) > 1 else ""))
        for v, names in targets.items()
    ]
    marks = []
    for i, finding in enumerate(view.numbered, start=1):
        sample, curve = sample_of(view.report, finding), curve_of(view, finding.check)
        at = 0.0 if sample is None else float(_drawn(used(np.append(curve[sample], np.inf)))[0])
        at = at if np.isfinite(at) else 0.0
        marks.append(
            Mark(
                t=float(finding.worst.get("t", finding.start)), y=at, text=str(i), title=f"finding {i}: {finding.text}"
            )
        )
    spans = [
        (start, end, f"span-{finding.verdict}") for finding in view.report.findings for start, end in finding.spans
    ]
    bands = _phase_bands(view) + _longest(spans)
    note = "Heights are those of the load: halfway between ∞ and 1 half of what the pads hold is used up."
    if unbounded.any():
        note += " Where the least margin is unknown or nothing, its line runs along the bottom."
    least = least_margins(view)
    about = "Grip margin over time, unbounded at the top, the limit 1 near the bottom. " + (
        f"Least: {', '.join(label.text for label in least)}." if least else "No load on the pads."
    )
    return TimeChart(
        key=f"{view.key}-margin",
        title="Grip margin",
        unit="factor by which the load could grow",
        about=about,
        span=view.span,
        scale=margin_scale(
            [np.where(line.y < BOTTOMLESS, line.y, np.nan) for line in lines], [level.y for level in levels]
        ),
        lines=lines,
        levels=levels,
        bands=bands,
        marks=marks,
        labels=least,
        tall="tall",
        note=note,
        danger=1.0,
        cursor=view.cursor,
    )


def curve_of(view: View, check: str) -> FloatArray:
    """The margin over time that a check judges; that of hold for checks without a curve of their own."""
    values = np.asarray(getattr(view.report.samples, registry.series().get(check, "hold_margin")))
    return view.report.samples.hold_margin if np.isnan(values).all() else values


def least_margins(view: View) -> list[Label]:
    """Each curve's name with its least margin, for where it is lowest."""
    labels = []
    for check, key in registry.series().items():
        values = np.asarray(getattr(view.report.samples, key))
        if np.isfinite(values).any():
            k = int(np.nanargmin(values))
            use = float(_drawn(used(values[k : k + 1]))[0])
            labels.append(Label(t=float(view.t[k]), y=use, text=f"{check} {margin(float(values[k]))}"))
    return labels


def _drawn(use: FloatArray) -> FloatArray:
    """Use as it is drawn: without bound means at the bottom of the chart, never left out."""
    return np.minimum(use, BOTTOMLESS)


def _longest(spans: list[tuple[float, float, str]]) -> list[tuple[float, float, str]]:
    """The spans, or the longest of very many, in order of time."""
    return sorted(sorted(spans, key=lambda span: span[0] - span[1])[:MOST_SPANS])


def _phase_bands(view: View) -> list[tuple[float, float, str]]:
    t, phases = view.t, view.report.samples.phase
    return [
        (float(t[first]), float(t[min(last + 1, t.size - 1)]), f"back-{kind}")
        for first, last, kind in runs(phases)
        if kind in ("preload", "release", "free")
    ]


def _use_by_cause(view: View) -> TimeChart | None:
    scene, samples = view.report.scene, view.report.samples
    if scene is None:
        return None
    at = view.stops
    shares = scene.use_by_cause(scene.loads_by_cause(samples, at))
    if not shares:
        return None
    t, hung = samples.t[at], view.hung[at]
    up, down = np.zeros(at.size), np.zeros(at.size)
    lines = []
    for cause, style in CAUSE_STYLE.items():
        if cause not in shares:
            continue
        share = 100.0 * shares[cause]
        if np.abs(share[hung]).max(initial=0.0) < LEAST:
            continue
        for base, part in ((up, np.maximum(share, 0.0)), (down, np.minimum(share, 0.0))):
            if np.abs(part[hung]).max(initial=0.0) > LEAST:
                name = cause if base is up or not (share[hung] > LEAST).any() else ""
                lines.append(
                    Line(
                        name=name,
                        t=t,
                        y=np.where(hung, base + part, np.nan),
                        lower=np.where(hung, base, np.nan),
                        style=f"area-{style}",
                    )
                )
            np.add(base, part, out=base)
    total = np.where(hung, 100.0 * np.sum(list(shares.values()), axis=0), np.nan)
    lines.append(Line(name="together", t=t, y=total, style="s1"))
    target = view.target("hold")
    levels = [] if target is None else [Level(y=100.0 / target, text=f"target {target:g}")]
    return TimeChart(
        key=f"{view.key}-use",
        title="What uses the pads up",
        unit="% of what they hold, at their most used place",
        about=f"Use of the pads by cause over time, stacked. {_extremes([line for line in lines if line.name])}",
        span=view.span,
        scale=scale(
            [np.where(np.abs(line.y) > 100 * 5, np.nan, line.y) for line in lines]
            + [np.array([level.y for level in levels])]
        ),
        lines=lines,
        levels=levels,
        bands=_phase_bands(view),
        cursor=view.cursor,
        note="Stacked from the bottom in the order of the legend; what relieves stands below zero.",
    )


def moves_table(view: View) -> str:
    """Return one row a move, or a phase where moves have no labels: its time and its least margin."""
    samples = view.report.samples
    labels, name = (samples.move, "move") if samples.move else (samples.phase, "phase")
    if not labels:
        return ""
    all_runs = runs(labels)
    firsts = np.array([first for first, _, _ in all_runs])
    use, most = used(samples.hold_margin), used(samples.hold_margin_low)
    peaks = np.maximum.reduceat(np.where(np.isnan(most), -1.0, most), firsts)
    chosen = np.sort(np.argsort(-peaks, kind="stable")[:MOST_ROWS])
    rows = []
    for first, last, label in (all_runs[i] for i in chosen):
        part = slice(first, last + 1)
        cells = [NONE, NONE, NONE]
        if not np.isnan(use[part]).all():
            k = first + int(np.nanargmax(use[part]))
            worst = float(np.nanmax(np.append(most[part], 0.0)))
            low = margin(1.0 / worst if worst > 0 else np.inf) if not np.isnan(most[part]).all() else NONE
            cells = [margin(float(samples.hold_margin[k])), low, link(view, float(samples.t[k]))]
        kinds = ", ".join(dict.fromkeys(samples.phase[part]))
        time = f"{number(float(samples.t[first]), 3)} – {number(float(samples.t[last]), 3)}"
        rows.append([safe(label), safe(kinds), time, *cells])
    head = [name, "phase", "from – to [s]", "least margin", "least it may be", "at"]
    caption = f"Each {name} with its least grip margin"
    if len(all_runs) > len(rows):
        caption = f"The {len(rows)} of {len(all_runs)} {name}s with the least grip margins"
    return table(head, rows, caption=caption, class_="numbers")
