"""Lines of a text for a person: what stands first, and a sentence that is wrapped beside it."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

WIDTH = 100  # characters, where no terminal says how wide it is
HANG = 14  # characters, at most, by which the second line of a sentence is set in

Line = tuple[str, str]  # what stands first, and the sentence
EMPTY: Line = ("", "")


def printable(text: str) -> str:
    """Return text from a job on one line, without control characters."""
    return "".join(c if c.isprintable() else " " for c in text)


def bullets(items: Iterable[str]) -> list[Line]:
    """Return sentences as the lines of a list."""
    return [("  - ", item) for item in items]


def laid_out(lines: Iterable[Line], width: int = WIDTH, *, hang: int = HANG) -> str:
    """Return lines as text, each wrapped at a width.

    Args:
        lines: What stands first, and the sentence.
        width: Largest number of characters in a line.
        hang: Largest number of characters by which all but the first line of a sentence are set in.
    """
    out: list[str] = []
    for first, sentence in lines:
        out += textwrap.wrap(
            printable(sentence),
            width,
            initial_indent=first,
            subsequent_indent=" " * min(len(first), hang),
            break_on_hyphens=False,
        ) or [first.rstrip()]
    return "\n".join(out) + "\n"
