"""The whole page: one file that asks the network for nothing."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from importlib.resources import files

from gripmargin.base.errors import GripmarginError
from gripmargin.reports.html.holds import head_of_holds, own_reports
from gripmargin.reports.html.job import job
from gripmargin.reports.html.overview import Entry, broken, overview
from gripmargin.reports.html.summary import cautions
from gripmargin.reports.html.text import safe, tag
from gripmargin.reports.html.view import View
from gripmargin.results.report import Report


def report_html(report: Report) -> str:
    """Return the report as one HTML page: the same report gives the same bytes.

    The page needs no network and no other file. It holds what the text report says, and drawings of the margin, the
    loads, the pads' faces, the path, the preload and the release, joined by one time cursor.

    Args:
        report: The report. Without its `scene` (one built by hand) the drawings that need it are left out.
    """
    return reports_html([report])


def reports_html(entries: Sequence[Entry]) -> str:
    """Return several reports as one page: an overview, the worst first, in which each job opens.

    The more jobs the fewer points have curves and the fewer places the time cursor of each. A program of several holds
    has a section for each hold; by itself it is headed by its verdict and its time line.

    Args:
        entries: Reports, reports with their file, and jobs that could not be checked: their file and the error.
    """
    program = _program(entries)
    entries = [section for file, entry in _named(entries) for section in _sections(file, entry)]
    several = len(entries) != 1
    if program is not None and several:
        title = f"{program.verdict}: {safe(program.job)}"
        body = tag("h1", "gripmargin: report of a program", class_="alone")
        body += head_of_holds(program) + overview(entries, "hold")
    elif several:
        title = f"gripmargin: {len(entries)} jobs"
        body = tag("h1", title) + overview(entries)
    else:
        file, entry = entries[0] if isinstance(entries[0], tuple) else ("", entries[0])
        known = isinstance(entry, Report)
        title = f"{entry.verdict}: {safe(entry.job)}" if isinstance(entry, Report) else "gripmargin: report of a job"
        inner = job(View.of(entry, "job1")) if isinstance(entry, Report) else broken(file, entry)
        body = tag("h1", "gripmargin: report of a job", class_="alone")
        body += tag("section", inner, class_="job" if known else "job broken", id="job1")
    folded = "Parts that were folded are not printed: open them first."
    folded += " Of jobs that were not opened the verdict is printed, of those that fail the checks too." * several
    body += tag(
        "footer",
        cautions("h2" if several else "h3")
        + tag("p", folded, class_="paper")
        + tag(
            "p",
            "Made by gripmargin. The tool’s z axis points out of the pads into the part; loads act at its origin.",
        ),
    )
    return document(title, body)


def _named(entries: Sequence[Entry]) -> list[tuple[str, Report | GripmarginError]]:
    return [entry if isinstance(entry, tuple) else ("", entry) for entry in entries]


def _program(entries: Sequence[Entry]) -> Report | None:
    """The only report, where it is one of several holds."""
    alone = _named(entries)[0][1] if len(entries) == 1 else None
    return alone if isinstance(alone, Report) and alone.holds else None


def _sections(file: str, entry: Report | GripmarginError) -> list[Entry]:
    """A program of several holds has a section for each that is like no other."""
    if isinstance(entry, Report) and entry.holds:
        return [(", ".join(filter(None, (file, like))), own) for like, own in own_reports(entry)]
    return [(file, entry)]


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
