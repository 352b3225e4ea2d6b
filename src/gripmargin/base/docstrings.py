"""What docstrings say of the attributes of a class."""

from __future__ import annotations

import inspect
import re
import textwrap
from collections.abc import Callable

_SECTION = re.compile(r"(?<=^Attributes:\n)(?:    .*\n?|\n(?=    ))+", re.MULTILINE)
_ENTRY = re.compile(r"^    (\w+): (.*(?:\n {8}.*)*)", re.MULTILINE)


def attributes(kind: type) -> dict[str, str]:
    """Return what the docstring of a class says of each of its attributes."""
    section = _SECTION.search(inspect.cleandoc(kind.__doc__ or ""))
    return {name: " ".join(text.split()) for name, text in _ENTRY.findall(section[0] if section else "")}


def with_attributes(kind: type, more: Callable[[str, str], str]) -> str:
    """Return the docstring of a class with each entry of its attributes as a function of name and text gives it."""

    def entry(found: re.Match[str]) -> str:
        text = more(found[1], " ".join(found[2].split()))
        return textwrap.fill(f"{found[1]}: {text}", 112, initial_indent=" " * 4, subsequent_indent=" " * 8)

    return _SECTION.sub(lambda section: _ENTRY.sub(entry, section[0]), inspect.cleandoc(kind.__doc__ or ""))
