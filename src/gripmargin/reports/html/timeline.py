"""The charts over the program's time: what governs, moves and phases, what uses the pads up, loads and causes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.reports.html.charts import Label, Level, Line, Mark, TimeChart, ribbon, runs
from gripmargin.reports.html.scales import margin_scale, scale
from gripmargin.reports.html.text import NONE, margin, number, safe, table, tag
from gripmargin.reports.html.view import View, link
from gripmargin.reports.series import BOTTOMLESS, sample_of, used

LEAST = 0.5  # % of what the pads hold, below which a cause is left out
MOST_ROWS = 200  # of the table of moves
FAR = 3.0  # times its target, from which on a curve is named in the legend alone
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
    "swing": "i",
    "process": "j",
}


def timeline(view: View) -> str:
    """Return what governs over time, with moves and phases."""
    return _governing(view).markup() + _ribbons(view)


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
            columns=view.columns,
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
    """Moves, phases and what governs, as rows of stretches."""
    samples, out = view.report.samples, ""
    for key, name, labels in (
        ("governs", "governs", [_name(check) for check in view.governing[1]]),
        ("moves", "moves", samples.move),
        ("phases", "phases", samples.phase),
    ):
        found = [
            (float(view.t[first]), float(view.t[min(last + 1, view.t.size - 1)]), label, f"move-{'ab'[i % 2]}")
            for i, (first, last, label) in enumerate(runs(labels))
            if label
        ]
        if found:
            out += ribbon(f"{view.key}-{key}", name, view.span, found, lambda label, name=name: f"{name}: {label},")  # type: ignore[misc]
    return out


def _governing(view: View) -> TimeChart:
    """What governs, with the curves of the checks below it, each in shares of its target."""
    report, t = view.report, view.t
    curves = {check: used(share) for check, share in view.drawn.items()}
    alone = {check: use for check, use in curves.items() if (~np.isnan(use)).sum() == 1}
    least = {check: margin(float(np.nanmin(report.shares[check]))) for check in curves}
    lines = [
        Line(name=f"{_name(check)} {least[check]}", t=t, y=_drawn(use), style=f"k{i % 9 + 1}", check=check)
        for i, (check, use) in enumerate(curves.items())
        if check not in alone
    ]
    lines.append(Line(name="the least of them governs", t=t, y=_drawn(used(view.governing[0])), style="s1"))
    labels = [
        Label(t=float(t[k]), y=float(_drawn(use[k])), text=f"{_name(check)} {least[check]}", check=check)
        for check, use in curves.items()
        for k in [int(np.nanargmin(report.shares[check]))]
        if use[k] > 1.0 / FAR
    ]
    marks = []
    for i, finding in enumerate(view.numbered, start=1):
        k = sample_of(report, finding)
        if k is not None:
            use = _drawn(curves.get(finding.check, np.full(t.size, np.nan))[k])
            title = f"finding {i}: {finding.text}"
            marks.append(Mark(t=float(t[k]), y=float(np.nan_to_num(use)), text=str(i), title=title))
    spans = [(start, end, f"span-{f.verdict}") for f in report.findings for start, end in f.spans]
    legend = [(f"{_name(check)} {least[check]}", "dot") for check in alone]
    legend += [(said, f"fill-{said}") for said in ("fail", "undecided") if any(said in span[2] for span in spans)]
    said = ", ".join(f"{_name(check)} {value}" for check, value in least.items())
    drawn = [np.where(line.y < BOTTOMLESS, line.y, np.nan) for line in lines]
    axis = margin_scale(drawn, [1.0])
    return TimeChart(
        key=f"{view.key}-margin",
        title="Share of the target",
        heading="h3",
        unit="least value over target; 1 is on target, below it the check does not pass",
        about=f"Share of its target that each check keeps over time. Least: {said or 'nothing loads the pads'}.",
        span=view.span,
        scale=axis,
        lines=lines,
        levels=[Level(y=1.0, text="target"), *(level for level in _limit(view) if level.y <= axis.low)],
        bands=_phase_bands(view) + _longest(spans),
        marks=marks,
        labels=labels,
        tall="tall",
        note=_beside(view),
        legend=legend,
        danger=1.0,
        cursor=view.cursor,
        columns=view.columns,
    )


def _limit(view: View) -> list[Level]:
    """Where a margin is 1, if all margins over time have one target."""
    found = {c.target for c in view.report.checks if c.measure == "margin" and c.check in view.report.shares}
    return [Level(y=target, text="margin 1: it may come off", style="limit") for target in found if len(found) == 1]


def _beside(view: View) -> str:
    """What of the verdict no curve shows, and how a swing is drawn."""
    doubts = [
        _name(check.check)
        for check in view.report.checks
        if check.verdict != "pass" and not (view.report.shares.get(check.check, np.ones(1)) < 1.0).any()
    ]
    said = ["A swing is drawn by its envelope."] if any("swing" in check for check in view.drawn) else []
    said += [f"Undecided for reasons that no curve shows: {', '.join(doubts)}; see the checks."] if doubts else []
    return " ".join(said)


def _name(check: str) -> str:
    return check.replace("_", " ")


def _drawn(use: FloatArray) -> FloatArray:
    """Use as it is drawn: without bound means at the bottom of the chart, never left out."""
    return np.minimum(use, BOTTOMLESS)


def _longest(spans: list[tuple[float, float, str]]) -> list[tuple[float, float, str]]:
    """The spans, or the longest of very many, what fails above what is undecided."""
    longest = sorted(spans, key=lambda span: span[0] - span[1])[:MOST_SPANS]
    return sorted(longest, key=lambda span: (span[2] == "span-fail", span))


def _phase_bands(view: View) -> list[tuple[float, float, str]]:
    t, phases = view.t, view.report.samples.phase
    return [
        (float(t[first]), float(t[min(last + 1, t.size - 1)]), f"back-{kind}")
        for first, last, kind in runs(phases)
        if kind in ("preload", "release", "free")
    ]


def use_by_cause(view: View) -> TimeChart | None:
    """Return what uses the pads up, by cause, stacked; None where no cell counts."""
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
    levels = [] if target is None else [Level(y=100.0 / target, text=f"target of hold {target:g}")]
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
        columns=view.columns,
        note="Stacked from the bottom in the order of the legend; what relieves stands below zero.",
    )


def moves_table(view: View) -> str:
    """Return one row a move, or a phase where moves have no labels: its time, and what governs it."""
    samples = view.report.samples
    labels, name = (samples.move, "move") if samples.move else (samples.phase, "phase")
    if not labels:
        return ""
    all_runs = runs(labels)
    share = np.where(np.isnan(samples.governing), np.inf, samples.governing)
    least = np.minimum.reduceat(share, [first for first, _, _ in all_runs])
    rows = []
    for first, last, label in (all_runs[i] for i in np.sort(np.argsort(least, kind="stable")[:MOST_ROWS])):
        k = first + int(np.argmin(share[first : last + 1]))
        check = samples.governed_by[k]
        cells = [margin(float(samples.governing[k])), safe(_name(check)), link(view, float(samples.t[k]))]
        kinds = ", ".join(dict.fromkeys(samples.phase[first : last + 1]))
        time = f"{number(float(samples.t[first]), 3)} – {number(float(samples.t[last]), 3)}"
        rows.append([safe(label), safe(kinds), time, *(cells if check else [NONE, "", NONE])])
    head = [name, "phase", "from – to [s]", "share of target", "of", "at"]
    caption = f"Each {name} with the least share of a target"
    if len(all_runs) > len(rows):
        caption = f"The {len(rows)} of {len(all_runs)} {name}s with the least shares of a target"
    return table(head, rows, caption=caption, class_="numbers moves")
