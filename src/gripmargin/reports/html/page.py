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
from gripmargin.reports.html.handovers import handovers
from gripmargin.reports.html.summary import cautions, checks, findings, head, remarks, stamp, time_laws
from gripmargin.reports.html.text import NONE, bullets, data_block, margin, number, printable, rounded, safe, table, tag
from gripmargin.reports.html.timeline import loads, moves_table, timeline
from gripmargin.reports.html.view import View
from gripmargin.reports.series import used
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
    body = tag("h1", _title(entries)) if several else ""
    body += _overview(entries) if several else ""
    for i, entry in enumerate(entries, start=1):
        body += _job(View.of(entry, f"job{i}")) if isinstance(entry, Report) else _broken(f"job{i}", *entry)
    body += tag(
        "footer",
        cautions()
        + tag(
            "p",
            "Made by gripmargin. The tool’s z axis points out of the pads into the part; loads act at its origin.",
        ),
    )
    title = _title(entries) if several or not reports else f"{reports[0].verdict}: {safe(reports[0].job)}"
    return document(title, body)


def _title(entries: Sequence[Entry]) -> str:
    return f"gripmargin: {len(entries)} jobs"


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
            worst = min(
                entry.checks,
                key=lambda c: (("fail", "undecided", "pass").index(c.verdict), (c.value or 0.0) / c.target),
                default=None,
            )
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
    report, key = view.report, view.key
    parts = (
        head(view)
        + tag("section", tag("h3", "Findings") + findings(view))
        + tag("section", tag("h3", "Checks") + checks(view) + time_laws(report))
    )
    if view.t.size:
        parts += tag("section", tag("h3", "Over time") + timeline(view) + moves_table(view), class_="times")
        parts += tag("section", tag("h3", "Loads and their causes") + loads(view), class_="times")
        parts += tag("section", tag("h3", "On the pads") + face.face(view), class_="on-pads")
        parts += tag(
            "section",
            tag("h3", "In space") + tag("div", path3d.path(view) + _readout(view), class_="space-row"),
            class_="in-space",
        )
        parts += tag("section", tag("h3", "Preload and release") + handovers(view), class_="hands")
    parts += remarks(report)
    if view.t.size:
        parts += _slider(view)
        parts += f'<script type="application/json" class="data">{data_block(_data(view))}</script>'
    return tag("section", parts, class_="job", id=key)


FIGURES = (
    ("move", "move", ""),
    ("phase", "phase", ""),
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
            tag("span", "margin ", class_="unit")
            + tag("b", safe(said["margin"]), data_say="margin")
            + tag("span", " least ", class_="unit")
            + tag("b", safe(said["low"]), data_say="low"),
            class_="now-margin",
        )
        + f'<input type="range" id="{name}" min="0" max="{view.stops.size - 1}" step="1" value="{at}" '
        f'aria-label="time in the program" aria-valuetext="{safe(said["t"])}">' + tag("div", marks, class_="jump"),
        class_="slider screen",
    )


def _data(view: View) -> dict[str, Any]:
    """What the script needs, at the stops."""
    samples, at = view.report.samples, view.stops
    labels = list(dict.fromkeys(samples.move[i] for i in at)) if samples.move else []
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
