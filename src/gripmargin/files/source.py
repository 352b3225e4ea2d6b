"""Bytes and text of the files that a person names: regular files of bounded size only."""

from __future__ import annotations

import json
import stat
from contextlib import suppress
from difflib import get_close_matches
from itertools import islice
from pathlib import Path
from typing import Any, NoReturn

from gripmargin.base.errors import InputError

MOST_TABLES = 10_000_000  # of one JSON text: a gigabyte, far more than the largest program has points
MOST_NAMES = 2000  # of a folder that are compared with a name that is not there
CLOSE = 0.75  # share of letters in common from which a name may have been meant
_UTF16_MARKS = (b"\xff\xfe", b"\xfe\xff")


def checked_size(path: Path, limit: int) -> int:
    """Return the size of a regular file [bytes].

    Raises:
        InputError: No such file, no regular file, not readable, empty, or larger than the limit.
    """
    try:
        status = path.stat()
    except FileNotFoundError as error:
        raise InputError(str(path), "no such file", "a file", _near(path)) from error
    except (OSError, ValueError) as error:
        raise InputError(str(path), reason(error), "a file that can be read") from error
    if not stat.S_ISREG(status.st_mode):
        kind = "a directory" if stat.S_ISDIR(status.st_mode) else "something that is not a regular file"
        raise InputError(str(path), kind, "a file")
    if status.st_size == 0:
        raise InputError(str(path), "an empty file", "a file with content")
    if status.st_size > limit:
        raise InputError(str(path), f"{status.st_size / 1e6:.4g} MB", f"at most {limit / 1e6:.4g} MB")
    return status.st_size


def _near(path: Path) -> str:
    """Which file beside it may have been meant."""
    with suppress(OSError):
        names = sorted(each.name for each in islice(path.parent.iterdir(), MOST_NAMES))
        near = get_close_matches(path.name, names, n=1, cutoff=CLOSE)
        if near:
            return f"did you mean '{printable(near[0])}'?"
    return ""


def read_text(path: Path, limit: int) -> str:
    """Return the text of a UTF-8 file, without its byte order mark.

    Raises:
        InputError: As `checked_size`; UTF-16; binary; not UTF-8.
    """
    checked_size(path, limit)
    try:
        content = path.read_bytes()
    except OSError as error:
        raise InputError(str(path), reason(error), "a file that can be read") from error
    refuse_binary(path, content)
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise not_utf8(path, content, error.start) from error
    if not text.strip():
        raise InputError(str(path), "nothing but blanks", "a file with content")
    return text


def refuse_binary(path: Path, start: bytes) -> None:
    """Refuse content that is no UTF-8 text at first sight.

    Raises:
        InputError: UTF-16 or binary.
    """
    if start.startswith(_UTF16_MARKS):
        raise InputError(str(path), "text in UTF-16", "text in UTF-8", "save it again as UTF-8")
    if b"\0" in start:
        raise InputError(str(path), "a binary file", "text in UTF-8")


def not_utf8(path: Path, content: bytes, place: int, first_line: int = 1) -> InputError:
    """Return the error for a byte that is not UTF-8."""
    line = first_line + content.count(b"\n", 0, place)
    return InputError(
        f"{path}, line {line}",
        f"the byte 0x{content[place]:02X}, which is not UTF-8",
        "text in UTF-8",
        "save it as UTF-8",
    )


def parse_json(path: Path, text: str) -> Any:
    """Read strict JSON: no NaN, no Infinity, no key twice.

    Raises:
        InputError: Not JSON, nested too deep, or of so many lists and tables that they would fill the memory.
    """
    if (count := text.count("[") + text.count("{")) > MOST_TABLES:
        raise InputError(str(path), f"{count} lists and tables", f"at most {MOST_TABLES}", "split it")
    try:
        return json.loads(text, parse_constant=_refuse_constant, object_pairs_hook=_unique)
    except json.JSONDecodeError as error:
        where = f"{path}, line {error.lineno}, column {error.colno}"
        remedy = "use double quotes, no comma after the last, no comments" if "property name" in error.msg else ""
        raise InputError(where, f"text that is not JSON ({error.msg})", "valid JSON", remedy) from error
    except RecursionError as error:
        raise InputError(str(path), "values nested too deep", "a flat file") from error
    except InputError as error:
        raise error.at(str(path)) from error
    except ValueError as error:
        raise InputError(str(path), "a number that cannot be read", "valid JSON") from error


def printable(text: str, longest: int = 60) -> str:
    """Return text cut to a length and with control characters escaped, fit for one line of an error."""
    cut = text[:longest] + ("..." if len(text) > longest else "")
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in cut)


def describe(value: object) -> str:
    """Name a value in an error, shortly whatever it is."""
    match value:
        case None:
            return "null"
        case bool():
            return "true" if value else "false"
        case str():
            return f'"{printable(value)}"'
        case int():
            return f"the number {value}" if abs(value) < 10**20 else "a number of more than 20 digits"
        case float():
            return f"the number {value:g}"
        case dict():
            return "a table"
        case list() | tuple():
            return f"a list of {len(value)}"
    return f"a value of type {type(value).__name__}"


def _refuse_constant(name: str) -> NoReturn:
    raise InputError("", name, "a finite number")


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise InputError("", f'the key "{printable(key)}" twice', "each key once")
        found[key] = value
    return found


def reason(error: Exception) -> str:
    """Say why a file cannot be read."""
    if isinstance(error, PermissionError):
        return "a file that may not be read"
    return f"a name that cannot be opened ({getattr(error, 'strerror', None) or error})"
