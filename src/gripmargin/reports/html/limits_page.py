"""Largest accelerations of any path as one page: the figure of what ramps allow, and the tables of the text."""

from __future__ import annotations

import numpy as np

from gripmargin.reports.html.page import document
from gripmargin.reports.html.scales import scale
from gripmargin.reports.html.summary import cautions, stamp
from gripmargin.reports.html.text import bullets, safe, table, tag
from gripmargin.reports.limits_as_text import blocks, ramp_name
from gripmargin.results.limits import Limits

WIDE, HIGH, LEFT, RIGHT, TOP, BOTTOM = 760.0, 300.0, 70.0, 110.0, 12.0, 40.0
STYLES = "bcdefg"  # kinds of lines
APART = 15.0  # of words at the ends of lines


def limits_html(limits: Limits) -> str:
    """Return the limits as one HTML page, which needs no network: the same limits give the same bytes.

    Args:
        limits: As `gripmargin.limits` returns them.
    """
    body = tag("h1", f"{safe(limits.job)}: what any path may ask of the pads") + tag("p", stamp(str(limits.verdict)))
    body += bullets(limits.blocked) if limits.blocked else ""
    if not np.isnan(limits.linear["any"]).all():
        title = "Acceleration in any direction [mm/s²], by the time it takes from none to its largest"
        body += tag("h2", title, class_="part") + _figure(limits) + tag("h2", "Limits", class_="part")
        for head, names, rows in blocks(limits):
            body += table(names, [[safe(cell) for cell in row] for row in rows], caption=head)
    body += tag("h2", "Assumed", class_="part") + bullets(limits.notes)
    return document(f"{limits.verdict}: {safe(limits.job)}", body + tag("footer", cautions("h2")))


def _figure(limits: Limits) -> str:
    """One line a tilt over the ramps."""
    values = 1e3 * limits.linear["any"]
    axis = scale([values[np.isfinite(values)]])
    x = LEFT + (WIDE - LEFT - RIGHT) * np.linspace(0.0, 1.0, limits.ramps.size)

    def place(value: float) -> float:
        return HIGH - BOTTOM - (HIGH - BOTTOM - TOP) * (value - axis.low) / (axis.high - axis.low)

    out = ""
    for tick, shown in axis.ticks:
        y = f"{place(tick):.1f}"
        out += tag("line", x1=LEFT, x2=WIDE - RIGHT, y1=y, y2=y, class_="grid")
        out += tag("text", shown, x=LEFT - 8, y=y, text_anchor="end", dominant_baseline="middle", class_="tick")
    for at, ramp in zip(x, limits.ramps, strict=True):
        out += tag("text", safe(ramp_name(ramp)), x=f"{at:.1f}", y=HIGH - 16, text_anchor="middle", class_="tick")
    lowest = np.inf
    order = np.argsort([-place(row[-1]) for row in values])
    for i in order:
        known = np.isfinite(values[i])
        points = " ".join(f"{a:.1f},{place(v):.1f}" for a, v in zip(x[known], values[i][known], strict=True))
        out += tag("polyline", points=points, class_=f"c-{STYLES[i % len(STYLES)]}", fill="none")
        lowest = min(place(values[i, -1]), lowest - APART)
        name = f"to {np.degrees(limits.tilts[i]):g} deg"
        out += tag("text", name, x=WIDE - RIGHT + 8, y=f"{lowest:.1f}", dominant_baseline="middle", class_="tick")
    about = "Largest acceleration in any direction in mm/s^2 over the time of a ramp, one line a tilt; as in the table."
    drawn = tag("svg", out, viewBox=f"0 0 {WIDE:g} {HIGH:g}", role="img", aria_label=about, class_="limits")
    return tag("figure", drawn, class_="wide", tabindex="0", role="region", aria_label="figure of the limits")
