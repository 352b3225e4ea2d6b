"""Many jobs on one page: a row a job, the worst first; a row opens its job, which is packed until then."""

from __future__ import annotations

import base64
import math
import zlib
from collections import Counter
from collections.abc import Sequence

import numpy as np

from gripmargin.base.errors import GripmarginError, InputErrors
from gripmargin.reports.html.job import job
from gripmargin.reports.html.summary import checks_table, decides, head, kept, stamp
from gripmargin.reports.html.text import NONE, bullets, margin, safe, tag
from gripmargin.reports.html.view import View
from gripmargin.reports.series import stops, used
from gripmargin.results.findings import Verdict, overall
from gripmargin.results.report import Report

Entry = Report | tuple[str, Report | GripmarginError]

BROKEN = "not checked"  # said of a job without a report
ORDER = (BROKEN, Verdict.FAIL, Verdict.UNDECIDED, Verdict.PASS)
PLACES = 60  # of the curve in a row
HIGH = 24.0  # of its box
DEEPEST = 1.6  # share of a target used at the bottom of that box


def overview(entries: Sequence[Entry], what: str = "job") -> str:
    """Return the rows of all jobs, the worst first, with what filters them.

    Args:
        entries: As the page is given them; a job keeps the number of its place among them.
        what: What each of them is: a job, or a hold of one.
    """
    named = [entry if isinstance(entry, tuple) else ("", entry) for entry in entries]
    rows = [(_trouble(entry), row(f"job{i}", *entry, len(named))) for i, entry in enumerate(named, start=1)]
    counts = Counter(_verdict(entry) for _, entry in named)
    reports = [entry for _, entry in named if isinstance(entry, Report)]
    total = (
        f"{'All together' if what == 'job' else 'All sections together'}: "
        + stamp(overall(report.verdict for report in reports))
        + "."
    )
    total += f" {counts[BROKEN]} could not be checked." if counts[BROKEN] else ""
    buttons = "".join(
        tag("button", _sign(v) + f" {counts[v]}", type="button", aria_pressed="false", data_only=v, disabled="")
        for v in ORDER
        if counts[v]
    )
    search = '<input type="search" aria-label="show jobs with these words" placeholder="job, file or check" disabled>'
    search = search.replace("job, file", f"{what}, {'file' if what == 'job' else 'part'}").replace("jobs", f"{what}s")
    shown = tag("output", f"{len(named)} {what}s, the worst first", class_="unit", aria_live="polite")
    plain = tag(
        "p",
        f"Without JavaScript a {what} opens to its verdict, what to change, and its checks; for findings and drawings "
        "have a page made of that job alone.",
    )
    return tag(
        "nav",
        (tag("p", total, class_="total") if what == "job" else "")
        + tag("noscript", plain)
        + tag(
            "div", buttons + search + shown, class_="filter", role="search", data_what=None if what == "job" else what
        ),
        aria_label=f"{what.title()}s",
    ) + tag("div", "".join(text for _, text in sorted(rows, key=lambda each: each[0])), class_="entries")


def broken(file: str, error: GripmarginError) -> str:
    """Return what is said of a job that could not be checked."""
    problems = error.problems if isinstance(error, InputErrors) else (error,)
    said = tag("p", "This job could not be checked; nothing was decided.")
    return tag("h2", safe(file)) + said + bullets(str(p) for p in problems)


def _verdict(entry: Report | GripmarginError) -> str:
    return entry.verdict if isinstance(entry, Report) else BROKEN


def _sign(verdict: str) -> str:
    return tag("span", BROKEN, class_="stamp broken") if verdict == BROKEN else stamp(verdict)


def _trouble(named: tuple[str, Report | GripmarginError]) -> tuple[int, float]:
    """What comes first: no report, then the verdict, then the share of its target that the deciding check keeps."""
    entry = named[1]
    worst = decides(entry) if isinstance(entry, Report) else None
    return ORDER.index(_verdict(entry)), math.inf if worst is None else kept(worst)


def row(key: str, file: str, entry: Report | GripmarginError, jobs: int) -> str:
    """Return a job: its row, what is always readable of it, and all of it packed.

    Args:
        key: Prefix of its identifiers.
        file: Its file, empty where that is not known.
        entry: Its report, or why it could not be checked.
        jobs: How many share the page.
    """
    name, said, share, curve, packed = file, "the job could not be checked", "", "", ""
    if isinstance(entry, Report):
        view, worst, name = View.of(entry, key, jobs), decides(entry), entry.title
        said, brief = "", head(view) + checks_table(view)
        if worst is not None:
            least = kept(worst)
            value, low = margin(worst.value), margin(worst.low)
            between = value if low in (value, NONE) else f"{value}, perhaps {low}"
            said = f"{worst.check.replace('_', ' ')}: {worst.measure} {between}, target {worst.target:g}"
            share = tag("b", margin(least)) + " of target" if math.isfinite(least) else ""
        curve = _curve(view)
        text = base64.b64encode(zlib.compress(job(view).encode(), 9)).decode("ascii")
        packed = f'<script type="text/plain" class="packed" data-job="{key}">{text}</script>'
    else:
        brief = broken(file, entry)
    where = tag("span", safe(file), class_="file") if file and name != file else ""
    cells = _sign(_verdict(entry)) + tag("span", safe(name) + where, class_="name")
    cells += tag("span", safe(said), class_="said") + tag("span", share, class_="share") + curve
    style = _verdict(entry) if isinstance(entry, Report) else "broken"
    return tag(
        "details",
        tag("summary", cells) + tag("section", brief, class_="job") + packed,
        class_=f"entry {style}",
        id=key,
        data_verdict=_verdict(entry),
    )


def _curve(view: View) -> str:
    """What governs over time, small: down is nearer to the target, the line is the target."""
    if view.t.size < 2:
        return ""
    use, (start, end) = used(view.report.samples.governing), view.span
    at = stops(view.t, use, [], PLACES)
    x = 100.0 * (view.t[at] - start) / max(end - start, 1e-12)
    y = HIGH * np.minimum(use[at] / DEEPEST, 1.0)
    path, drawing = "", False
    for a, b in zip(x.tolist(), y.tolist(), strict=True):
        path += f"{'L' if drawing else 'M'}{a:.1f} {b:.1f}" if not math.isnan(b) else ""
        drawing = not math.isnan(b)
    line = HIGH / DEEPEST
    inner = f'<rect class="below" y="{line:g}" width="100" height="{HIGH - line:g}"/>'
    inner += f'<path class="aim" d="M0 {line:g}H100"/>'
    inner += f'<path class="s1" d="{path}"/>' if path else ""
    return f'<svg class="spark" viewBox="0 0 100 {HIGH:g}" preserveAspectRatio="none" aria-hidden="true">{inner}</svg>'
