"""The section of one job: verdict, curves, checks, findings, then what is folded, and the figures for the script."""

from __future__ import annotations

from typing import Any

import numpy as np

from gripmargin.reports.html import face, path3d, whatif
from gripmargin.reports.html.charts import runs
from gripmargin.reports.html.cleaned import cleaned
from gripmargin.reports.html.handovers import handovers
from gripmargin.reports.html.summary import checks, findings, head, remarks, time_laws
from gripmargin.reports.html.text import NONE, data_block, fold, margin, number, printable, rounded, safe, tag
from gripmargin.reports.html.timeline import loads, moves_table, timeline, use_by_cause
from gripmargin.reports.html.view import View, stop_of
from gripmargin.reports.series import sample_of, used


def job(view: View) -> str:
    """Return all that the page says and draws of one job."""
    report = view.report
    over_time = tag("section", timeline(view), class_="times") if view.t.size else ""
    parts = head(view) + over_time
    parts += tag("section", tag("h3", "Checks") + checks(view) + time_laws(report))
    parts += tag("section", tag("h3", "Findings") + findings(view))
    if view.t.size:
        parts += _moves(view)
        tried = whatif.what_if(view)
        parts += (
            fold("What if", tried, beside="hold at other speeds: a preview", class_="what-if screen") if tried else ""
        )
        parts += fold("At the time cursor", _readout(view), beside="all figures")
        use = use_by_cause(view)
        causes = ("" if use is None else use.markup()) + loads(view)
        parts += fold("Loads and their causes", causes, beside="over time", class_="times")
        parts += fold("On the pads", face.face(view), beside="use, pull and bond of every cell", class_="on-pads")
        on_cleaner = cleaned(view)
        parts += fold("On the cleaner", on_cleaner, beside="what is clean", class_="on-pads") if on_cleaner else ""
        parts += fold("In space", path3d.path(view), beside="the path, by share of the target", class_="in-space")
        parts += fold("Preload and release", handovers(view), beside="over time", class_="hands")
    parts += remarks(report)
    if view.t.size:
        parts += _slider(view)
        parts += f'<script type="application/json" class="data">{data_block(_data(view))}</script>'
    return parts


def _moves(view: View) -> str:
    """The table of moves; of many folded."""
    rows = moves_table(view)
    many = rows.count("<tr>") > MOST_MOVES
    return fold("Moves", rows, beside="what governs each", open_=not many, class_="print") if rows else ""


MOST_MOVES = 12  # that are not folded
FIGURES = (
    ("move", "move", ""),
    ("phase", "phase", ""),
    ("governs", "governs, with its share of the target", ""),
    ("margin", "grip margin", ""),
    ("low", "least it may be", ""),
    ("swing", "margin with the swing", ""),
    ("stop", "margin at a stop", ""),
    ("peel", "highest tension over pull-off stress", "%"),
    ("force", "force x, y, z on the pads", "N"),
    ("moment", "moment x, y, z at the tool’s origin", "N mm"),
    ("place", "tool’s origin x, y, z in the world", "mm"),
    ("acc", "its acceleration, tool axes", "m/s²"),
    ("omega", "turning, tool axes", "rad/s"),
    ("cause", "use by cause", "%"),
)


def _readout(view: View) -> str:
    """All figures at the time cursor."""
    said = figures_at(view)
    rows = [
        tag(
            "tr",
            tag("th", safe(name), scope="row")
            + tag("td", safe(said[key]), data_say=key)
            + tag("td", safe(unit), class_="unit"),
        )
        for key, name, unit in FIGURES
        if key in said
    ]
    title = tag("caption", "At " + tag("span", safe(said["t"]), data_say="t"))
    return tag("div", tag("table", title + tag("tbody", "".join(rows))), class_="table readout")


def figures_at(view: View) -> dict[str, str]:
    """Return the figures at the sample that the page opens at, as the script says them at others."""
    samples, i = view.report.samples, view.worst or 0

    def three(values: Any, factor: float, digits: int, *, known: bool = True) -> str:
        if not known:
            return NONE
        return ", ".join(number(float(factor * v), digits) for v in values[i])

    out = {
        "t": f"{samples.t[i]:.3f} s",
        "phase": samples.phase[i] if samples.phase else "–",
        "governs": view.governs(i),
        "margin": margin(float(samples.hold_margin[i])),
        "low": margin(float(samples.hold_margin_low[i])),
        "peel": number(100 * float(samples.peel_index[i]), 0),
        "force": three(samples.force, 1.0, 2, known=bool(view.hung[i])),
        "moment": three(samples.moment, 1e3, 0, known=bool(view.hung[i])),
        "place": three(samples.position, 1e3, 1),
        "acc": three(samples.acceleration, 1.0, 2),
        "omega": three(samples.angular_velocity, 1.0, 2),
    }
    if samples.move:
        out["move"] = samples.move[i]
    for key in ("swing", "stop"):
        values = getattr(samples, f"{key}_margin", None)
        if values is not None and not np.isnan(values).all():
            out[key] = margin(float(values[i]))
    if view.report.scene is not None and view.hung[i]:
        parts = view.report.scene.use_by_cause(view.report.scene.loads_by_cause(samples, np.array([i])))
        out["cause"] = ", ".join(
            f"{name} {number(100 * float(v[0]), 0)}" for name, v in parts.items() if abs(v[0]) >= 0.005
        )
    elif view.report.scene is not None:
        out["cause"] = NONE
    return out


def _slider(view: View) -> str:
    said = figures_at(view)
    at = view.start
    marks = "".join(
        tag(
            "button",
            tag("span", str(i), class_="disc"),
            type="button",
            data_t=f"{float(f.worst.get('t', f.start)):.6f}",
            aria_label=f"finding {i}",
        )
        for i, f in enumerate(view.numbered, start=1)
    )
    here = next((i for i, f in enumerate(view.numbered, start=1) if sample_of(view.report, f) == view.worst), 0)
    back = f"finding {here}" if here else ""
    name = f"{view.key}-slider"
    return tag(
        "div",
        tag(
            "div",
            tag("output", safe(said["t"]), data_say="t", for_=name)
            + tag(
                "span",
                safe(said.get("move", said["phase"])),
                data_say="move" if "move" in said else "phase",
                class_="now-move",
            ),
            class_="now",
        )
        + tag(
            "div",
            tag("b", safe(said["governs"]), data_say="governs")
            + tag("span", " of target", class_="unit")
            + tag("a", back, href=f"#{view.key}-f{here or 1}", class_="back", hidden=None if here else ""),
            class_="now-margin",
        )
        + _strip(view)
        + f'<input type="range" id="{name}" min="0" max="{view.stops.size - 1}" step="1" value="{at}" '
        f'aria-label="time in the program" aria-valuetext="{safe(said["t"])}">' + tag("div", marks, class_="jump"),
        class_="slider screen",
    )


def _strip(view: View) -> str:
    """What governs behind the slider, stop by stop: the higher the nearer to its target, or below it."""
    wide = 100.0 / view.stops.size
    boxes = "".join(
        f'<rect class="g{kind}" x="{first * wide:.3f}%" width="{(last + 1 - first) * wide:.3f}%" '
        f'y="{8 - 2 * int(kind)}" height="{2 * int(kind)}"/>'
        for first, last, kind in runs([str(kind) for kind in view.kind.tolist()])
    )
    return tag("svg", boxes, class_="strip", height="8", aria_hidden="true")


def _data(view: View) -> dict[str, Any]:
    """What the script needs, at the stops."""
    samples, at = view.report.samples, view.stops
    labels = list(dict.fromkeys(samples.move[i] for i in at)) if samples.move else []
    checks_ = list(dict.fromkeys(samples.governed_by))
    carried = [view.carried_by(int(i)) for i in at]
    said = list(dict.fromkeys(carried))
    number_of = {label: i for i, label in enumerate(labels)}
    tree: dict[str, Any] = {
        "key": view.key,
        "span": rounded(np.array(view.span), 9),
        "t": rounded(samples.t[at], 9),
        "labels": [printable(label) for label in labels],
        "move": [number_of[samples.move[i]] for i in at] if samples.move else None,
        "phase": [samples.phase[i] for i in at] if samples.phase else None,
        "use": rounded(used(samples.hold_margin[at]), 6),
        "low": rounded(used(samples.hold_margin_low[at]), 6),
        "share": rounded(used(samples.governing[at]), 6),
        "checks": [name.replace("_", " ") for name in checks_],
        "by": [checks_.index(samples.governed_by[i]) for i in at],
        "load": [rounded(column) for column in np.stack([view.load(int(i)) for i in at]).T],
        "carried": [said.index(name) for name in carried],
        "said": [face.said_load(name) for name in said],
        "found": [stop_of(view, f) for f in view.numbered],
        "peel": rounded(samples.peel_index[at], 4),
        "hung": [int(h) for h in view.hung[at]],
        "force": [rounded(column) for column in samples.force[at].T],
        "moment": [rounded(column) for column in samples.moment[at].T],
        "place": [rounded(column, 7) for column in samples.position[at].T],
        "acc": [rounded(column) for column in samples.acceleration[at].T],
        "omega": [rounded(column) for column in samples.angular_velocity[at].T],
        "path": path3d.data(view),
        "face": face.data(view),
        "tries": whatif.data(view),
    }
    for key in ("swing", "stop"):
        values = getattr(samples, f"{key}_margin", None)
        if values is not None and not np.isnan(values).all():
            tree[key] = rounded(used(np.asarray(values)[at]), 6)
    if view.report.scene is not None:
        parts = view.report.scene.use_by_cause(view.report.scene.loads_by_cause(samples, at))
        tree["cause"] = {name: rounded(values) for name, values in parts.items()}
    return tree
