"""A program of several holds on its page: what it comes to, and its time line, from which each hold opens."""

from __future__ import annotations

from gripmargin.reports.html.summary import CARE, SAYING, sign
from gripmargin.reports.html.text import safe, tag
from gripmargin.reports.in_short import holds_line
from gripmargin.results.findings import Verdict
from gripmargin.results.report import HoldReport, Report

WIDE, HIGH = 1000.0, 46.0  # of the time line
HEIGHT = {Verdict.PASS: 16.0, Verdict.UNDECIDED: 26.0, Verdict.FAIL: 36.0}  # so that colour is not all that tells
SHOWN = 6  # names of holds that are like another
NARROW = 40.0  # below which a hold on the time line has no number


def own_reports(report: Report) -> list[tuple[str, Report]]:
    """Return the reports of the holds that are like no other, each with those that are like it, in words."""
    alike: dict[str, list[str]] = {}
    for hold in report.holds:
        alike.setdefault(hold.like or hold.name, []).append(hold.name)
    own = ((hold, alike[hold.name][1:]) for hold in report.holds if hold.like is None)
    return [(_like(names), hold.report) for hold, names in own]


def _like(names: list[str]) -> str:
    more = f" and {len(names) - SHOWN} more" if len(names) > SHOWN else ""
    return f"and what is like it: {', '.join(names[:SHOWN])}{more}" if names else ""


def head_of_holds(report: Report) -> str:
    """Return verdict and time line of a program whose holds have their sections as `own_reports` has them."""
    verdict = str(report.verdict)
    said = tag("p", safe(f"{SAYING[verdict]} {holds_line(report)}."), class_="key-figure")
    seal = tag("div", sign(verdict, 56) + tag("p", safe(verdict), class_="word"), class_=f"seal {verdict}")
    body = tag("div", tag("h2", safe(report.title)) + said + tag("p", CARE, class_="scope"))
    return tag("header", seal + body, class_="verdict") + _time_line(report)


def _time_line(report: Report) -> str:
    """The holds over time, each a link to its section, the taller the worse; those of each station on a line."""
    keys = {name: f"job{i}" for i, name in enumerate((h.name for h in report.holds if h.like is None), start=1)}
    first, last = report.holds[0].start, max(hold.end for hold in report.holds)
    scale = WIDE / max(last - first, 1e-9)
    lines = {station: i for i, station in enumerate(dict.fromkeys(hold.station for hold in report.holds))}
    high = HIGH * len(lines)
    drawn = ""
    for station, i in lines.items():
        base, own = HIGH * (i + 1) - 8, [hold for hold in report.holds if hold.station == station]
        drawn += "".join(_bar(hold, keys[hold.like or hold.name], first, scale, base) for hold in own)
        drawn += f'<line x1="0" y1="{base}" x2="{WIDE:g}" y2="{base}"/>'
    drawing = tag(
        "svg", drawn, class_="holds", viewBox=f"0 0 {WIDE:g} {high:g}", role="img", aria_label="holds over time"
    )
    several = f"; by station, from the top: {', '.join(lines)}" if len(lines) > 1 else ""
    ends = (
        tag("span", safe(f"{first:.1f} s"))
        + tag("span", safe(f"a hold opens its section{several}"))
        + tag("span", safe(f"{last:.1f} s"))
    )
    return tag("section", drawing + tag("p", ends, class_="ends unit"), class_="program-line")


def _bar(hold: HoldReport, key: str, first: float, scale: float, base: float) -> str:
    x, wide, high = (hold.start - first) * scale, max((hold.end - hold.start) * scale, 1.0), HEIGHT[hold.verdict]
    said = f"hold {hold.name}: {hold.verdict}, {hold.start:.3f} to {hold.end:.3f} s"
    said += f", as hold {hold.like}" if hold.like else ""
    box = f'<rect class="{safe(hold.verdict)}" x="{x:.2f}" y="{base - high:g}" width="{wide:.2f}" height="{high:g}"/>'
    number = hold.name.split(" ", 1)[0]
    text = f'<text x="{x + wide / 2:.1f}" y="{base - 4:g}">{safe(number)}</text>' if wide >= NARROW else ""
    return tag("a", tag("title", safe(said)) + box + text, href=f"#{key}")
