"""What a terminal shows better than a file: as wide as it is, and verdicts in colour."""

from __future__ import annotations

import os
import re
import shutil
import sys

from gripmargin.reports.layout import WIDTH

NARROWEST, WIDEST = 60, 120  # characters; a longer line is hard to read
_COLOURS = {"pass": 32, "fail": 31, "undecided": 33}  # green, red, yellow: ECMA-48, select graphic rendition
_VERDICT = re.compile(
    r"^(?:(?P<head>PASS|FAIL|UNDECIDED)(?=  )|(?P<name>  \w+ +)(?P<row>pass|fail|undecided)(?=  ))", re.M
)


def width() -> int:
    """Return how many characters a line on standard output may have."""
    if not sys.stdout.isatty():
        return WIDTH
    return min(max(shutil.get_terminal_size((WIDTH, 24)).columns, NARROWEST), WIDEST)


def coloured(text: str) -> str:
    """Return text with its verdicts in colour, where standard output is a terminal that has colours.

    The variable NO_COLOR, whatever its value, keeps colours away, and so does a terminal that calls itself dumb.
    """
    if not sys.stdout.isatty() or os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb":
        return text
    return _VERDICT.sub(_painted, text)


def _painted(found: re.Match[str]) -> str:
    verdict = found["head"] or found["row"]
    return f"{found['name'] or ''}\x1b[{_COLOURS[verdict.lower()]}m{verdict}\x1b[0m"
