"""How a text file writes a table: what separates columns, the mark of decimals, names or none, lists within cells."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import Final

from gripmargin.base.errors import InputError
from gripmargin.files.column_map import DECIMALS, SEPARATORS, Columns
from gripmargin.files.source import printable

HEADER = "a header with units, such as t [s], q1 [deg], ..."
LOOKED_AT = 1000  # rows in which decimal commas are sought
_NUMBER: Final = re.compile(r"\s*[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?\s*")
_WITH_COMMA: Final = re.compile(r"\s*[+-]?(?:\d+,\d*|,\d+)(?:[eE][+-]?\d+)?\s*")
_LIST: Final = re.compile(r"\s*(?:array\(\s*'\w'\s*,\s*)?[\[(](?P<inner>[^\[\]()]*)[\])]\)?\s*")
_HINT: Final = re.compile(r"sep=(.)\s*", re.IGNORECASE)  # a line that spreadsheets write and read


@dataclass(frozen=True)
class Dialect:
    """How a file is written.

    Attributes:
        separator: What stands between columns; a blank stands for any number of them.
        decimal: The mark of decimals.
        first: Lines above the first row.
        headers: Names of the columns; without a header their numbers from 1. Of a column of lists one an entry.
        lists: Cells of a row that are lists, and how many entries they have.
        has_no_header: Whether the first row is one of numbers.
    """

    separator: str
    decimal: str
    first: int
    headers: tuple[str, ...]
    lists: dict[int, int] = field(default_factory=dict)
    has_no_header: bool = False

    @property
    def joint(self) -> str:
        """What cells are joined by when they are handed on."""
        return "\t" if self.separator == " " else self.separator


def is_data(line: str) -> bool:
    """Whether a line is neither blank nor a comment."""
    return not line.isspace() and not line.lstrip().startswith("#")


def cells_of(line: str, separator: str, where: str) -> list[str]:
    """Split a row.

    Raises:
        InputError: Quotes that are not closed.
    """
    if separator == " " and '"' not in line:
        return re.split(r"\s+(?![\[(])", line.strip())  # a unit belongs to the name before it
    try:
        return next(csv.reader([line], strict=True, delimiter=separator, skipinitialspace=separator == " "))
    except csv.Error as error:
        raise InputError(where, f"a row that cannot be split ({error})", "quotes in pairs") from error


def listed(cell: str) -> list[str] | None:
    """Return the entries of a cell that is a list of numbers, such as "[0.1, 0.2]"; None: it is none."""
    found = _LIST.fullmatch(cell)
    entries = re.split(r"[\s,;]+", found["inner"].strip(" ,;")) if found else []
    return entries if entries and all(_NUMBER.fullmatch(entry) for entry in entries) else None


def find_dialect(path: Path, wanted: Columns | None) -> Dialect:
    """Find out how a file is written, as far as it is not said.

    Raises:
        InputError: Nothing but comments, no header, or what separates the columns is not plain.
    """
    lines = list(islice(_data(path), LOOKED_AT))
    wanted = wanted or Columns()
    hint = _HINT.fullmatch(lines[0][1]) if lines else None
    if hint:
        lines = lines[1:]
    if not lines:
        raise InputError(str(path), "nothing but blanks and comments", HEADER)
    number, line = lines[0]
    where = f"{path}, line {number}"
    if "\0" in line:
        raise InputError(str(path), "a binary file", "text in UTF-8")
    separator = SEPARATORS[wanted.separator] if wanted.separator else hint[1] if hint else _separator(lines, where)
    headers = [cell.strip() for cell in cells_of(line, separator, where)]
    _refuse_other(headers, where)
    rows = [cells_of(each, separator, f"{path}, line {i}") for i, each in lines[1:20] if separator in each]
    decimal = DECIMALS[wanted.decimal] if wanted.decimal else "."
    if wanted.decimal is None and separator != ",":
        decimal = _decimal((cell for _, each in lines[1:] for cell in each.split(separator)), where)
    is_headless = 2 * sum(is_number(header, decimal) for header in headers) > len(headers)
    is_numbered = wanted.header is False or (wanted.header is None and is_headless and wanted.is_numbered)
    if is_headless and wanted.header is None and not is_numbered:
        units = (
            'columns = { header = false, time = { name = 1, unit = "s" }, joints = { names = [2, 3], unit = "deg" } }'
        )
        remedy = (
            f"the header is missing: put it above the first row, or number the columns in [program], such as {units}"
        )
        raise InputError(where, "a row of numbers", HEADER, remedy)
    if is_numbered:
        first, data = number - 1, headers
        headers = [str(i) for i in range(1, len(headers) + 1)]
    else:
        first, data = number, rows[0] if rows else []
    lists = {i: len(entries) for i, cell in enumerate(data[: len(headers)]) if (entries := listed(cell))}
    return Dialect(separator, decimal, first, tuple(_spread(headers, lists)), lists, is_numbered)


def _spread(headers: Sequence[str], lists: dict[int, int]) -> Iterator[str]:
    """The headers, one an entry of a list."""
    for i, header in enumerate(headers):
        yield from spread(header, lists[i]) if i in lists else (header,)


def spread(header: str, count: int) -> list[str]:
    """Return names for columns that stand under one name, counted from 1 in front of the unit."""
    name, bracket, unit = header.partition("[")
    return [f"{name.strip()} {k} {bracket}{unit}".strip() for k in range(1, count + 1)]


def is_number(cell: str, decimal: str = ".") -> bool:
    """Whether a cell is a number."""
    try:
        float(cell if decimal == "." else cell.replace(decimal, "."))
    except ValueError:
        return False
    return "_" not in cell and cell.isascii() and (decimal == "." or "." not in cell)


def _data(path: Path) -> Iterator[tuple[int, str]]:
    with path.open(encoding="utf-8-sig", newline=None) as file:
        yield from ((number, line) for number, line in enumerate(file, start=1) if is_data(line))


def _separator(lines: Sequence[tuple[int, str]], where: str) -> str:
    """What separates the columns, by the first two rows; a comma where nothing fits them, which is then told."""
    head, row = lines[0][1], lines[min(1, len(lines) - 1)][1]
    shares = {}
    for separator in SEPARATORS.values():
        try:
            first, second = cells_of(head, separator, ""), cells_of(row, separator, "")
        except InputError:
            continue
        if not all(re.search(r"\w", cell) for cell in first):
            continue
        values = [cell for cell in second if _NUMBER.fullmatch(cell) or listed(cell)]
        if separator != ",":
            values += [cell for cell in second if _WITH_COMMA.fullmatch(cell)]
        if len(first) == len(second) > 1 and 2 * len(values) >= len(second):
            shares[separator] = len(values) / len(second)
    if len(shares) > 1:
        shares.pop(" ", None)
    best = [separator for separator, share in shares.items() if share == max(shares.values())]
    if len(best) > 1:
        names = [name for name, mark in SEPARATORS.items() if mark in best]
        ways = " or ".join(f'columns = {{ separator = "{name}" }}' for name in names)
        raise InputError(
            where, f"columns separated by {' or by '.join(names)}", "one", f"say which in [program]: {ways}"
        )
    return best[0] if best else ","


def _decimal(cells: Iterator[str], where: str) -> str:
    comma = point = False
    for cell in cells:
        comma = comma or bool(_WITH_COMMA.fullmatch(cell))
        point = point or ("." in cell and bool(_NUMBER.fullmatch(cell)))
    if comma and point:
        ways = 'columns = { decimal = "comma" } or columns = { decimal = "point" }'
        raise InputError(where, "decimal points and decimal commas", "one of them", f"say which in [program]: {ways}")
    return "," if comma else "."


def _refuse_other(headers: Sequence[str], where: str) -> None:
    """Refuse a first row that is no row of names."""
    if len(headers) == 1 and len(headers[0].split()) > 2:
        remedy = "put commas between columns, and # before a line above the header"
        raise InputError(where, f'"{printable(headers[0])}"', HEADER, remedy)
