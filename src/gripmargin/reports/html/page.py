"""The whole page: one file that asks the network for nothing."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from importlib.resources import files
from typing import Any

import numpy as np

from gripmargin.base.errors import GripmarginError, InputErrors
from gripmargin.reports.html import face, path3d
from gripmargin.reports.html.charts import runs
from gripmargin.reports.html.handovers import handovers
from gripmargin.reports.html.summary import cautions, checks, decides, findings, head, remarks, stamp, time_laws
from gripmargin.reports.html.text import (
    NONE,
    bullets,
    data_block,
    fold,
    margin,
    number,
    printable,
    rounded,
    safe,
    table,
    tag,
)
from gripmargin.reports.html.timeline import loads, moves_table, timeline, use_by_cause
from gripmargin.reports.html.view import View, stop_of
from gripmargin.reports.series import sample_of, used
from gripmargin.results.findings import overall
from gripmargin.results.report import Report

Entry = Report | tuple[str, GripmarginError]


def report_html(report: Report) -> str:
    """Return the report as one HTML page: the same report gives the same bytes.

    The page needs no network and no other file. It holds what the text report says, and drawings of the margin, the
    loads, the pads' faces, the path, the preload and the release, joined by one time cursor.

    Args:
        report: The report. Without its `scene` (one built by hand) the drawings that need it are left out.
    """
    return reports_html([report])


def reports_html(entries: Sequence[Entry]) -> str:
    """Return several reports as one page, with an overview first.

    Args:
        entries: Reports, and jobs that could not be checked: their file and the error.
    """
    reports = [entry for entry in entries if isinstance(entry, Report)]
    several = len(entries) != 1
    body = tag("h1", _title(entries), class_=None if several else "alone") + (_overview(entries) if several else "")
    for i, entry in enumerate(entries, start=1):
        body += _job(View.of(entry, f"job{i}")) if isinstance(entry, Report) else _broken(f"job{i}", *entry)
    body += tag(
        "footer",
        cautions()
        + tag("p", "Parts that were folded are not printed: open them first.", class_="paper")
        + tag(
            "p",
            "Made by gripmargin. The tool’s z axis points out of the pads into the part; loads act at its origin.",
        ),
    )
    title = _title(entries) if several or not reports else f"{reports[0].verdict}: {safe(reports[0].job)}"
    return document(title, body)


def _title(entries: Sequence[Entry]) -> str:
    return f"gripmargin: {len(entries)} jobs" if len(entries) != 1 else "gripmargin: report of a job"


def document(title: str, body: str) -> str:
    """Return a whole page.

    Args:
        title: Text, escaped.
        body: Markup.
    """
    style, script, patterns = (_own(name) for name in ("style.css", "script.js", "patterns.svg"))
    policy = (
        f"default-src 'none'; style-src 'sha256-{_hash(style)}'; script-src 'sha256-{_hash(script)}'; "
        "base-uri 'none'; form-action 'none'"
    )
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta name="color-scheme" content="light dark">\n<meta name="referrer" content="no-referrer">\n'
        f"<title>{title}</title>\n<style>{style}</style>\n</head>\n<body>\n{patterns}<main>{body}</main>\n"
        f"<script>{script}</script>\n</body>\n</html>\n"
    )


def _own(name: str) -> str:
    return (files("gripmargin.reports.html") / name).read_text(encoding="utf-8")


def _hash(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode("ascii")


def _overview(entries: Sequence[Entry]) -> str:
    rows = []
    for i, entry in enumerate(entries, start=1):
        if isinstance(entry, Report):
            worst = decides(entry)
            said = (
                ""
                if worst is None
                else f"{worst.check.replace('_', ' ')}: {worst.measure} {margin(worst.value)}, target {worst.target:g}"
            )
            rows.append([tag("a", safe(entry.job), href=f"#job{i}"), stamp(entry.verdict), safe(said)])
        else:
            rows.append(
                [
                    tag("a", safe(entry[0]), href=f"#job{i}"),
                    tag("span", "not checked", class_="stamp broken"),
                    "the job could not be checked",
                ]
            )
    reports = [entry for entry in entries if isinstance(entry, Report)]
    total = tag(
        "p",
        "All together: "
        + stamp(overall(r.verdict for r in reports))
        + "."
        + (f" {len(entries) - len(reports)} could not be checked." if len(reports) < len(entries) else ""),
        class_="total",
    )
    return tag(
        "nav",
        total + table(["job", "verdict", "what decides it"], rows, caption="Jobs of this page"),
        aria_label="Jobs",
    )


def _broken(key: str, job: str, error: GripmarginError) -> str:
    problems = error.problems if isinstance(error, InputErrors) else (error,)
    return tag(
        "section",
        tag("h2", safe(job))
        + tag("p", "This job could not be checked; nothing was decided.")
        + bullets(str(p) for p in problems),
        class_="job broken",
        id=key,
    )


def _job(view: View) -> str:
    report = view.report
    over_time = tag("section", timeline(view), class_="times") if view.t.size else ""
    parts = head(view) + over_time
    parts += tag("section", tag("h3", "Checks") + checks(view) + time_laws(report))
    parts += tag("section", tag("h3", "Findings") + findings(view))
    if view.t.size:
        parts += _moves(view)
        parts += fold("At the time cursor", _readout(view), beside="all figures")
        use = use_by_cause(view)
        causes = ("" if use is None else use.markup()) + loads(view)
        parts += fold("Loads and their causes", causes, beside="over time", class_="times")
        parts += fold("On the pads", face.face(view), beside="use, pull and bond of every cell", class_="on-pads")
        parts += fold("In space", path3d.path(view), beside="the path, by share of the target", class_="in-space")
        parts += fold("Preload and release", handovers(view), beside="over time", class_="hands")
    parts += remarks(report)
    if view.t.size:
        parts += _slider(view)
        parts += f'<script type="application/json" class="data">{data_block(_data(view))}</script>'
    return tag("section", parts, class_="job", id=view.key)


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
    }
    for key in ("swing", "stop"):
        values = getattr(samples, f"{key}_margin", None)
        if values is not None and not np.isnan(values).all():
            tree[key] = rounded(used(np.asarray(values)[at]), 6)
    if view.report.scene is not None:
        parts = view.report.scene.use_by_cause(view.report.scene.loads_by_cause(samples, at))
        tree["cause"] = {name: rounded(values) for name, values in parts.items()}
    return tree
