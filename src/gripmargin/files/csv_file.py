"""Trajectories as text: one row a sample, columns under a header with units or as a map says, ``#`` for comments."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import chain, islice
from pathlib import Path
from typing import Any

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.files.column_map import DECIMALS, SEPARATORS, Columns
from gripmargin.files.columns import Column
from gripmargin.files.dialect import Dialect, cells_of, find_dialect, is_data, is_number, listed
from gripmargin.files.source import checked_size, not_utf8, printable, refuse_binary
from gripmargin.files.table import Reading, read_sheet
from gripmargin.motion.chain import Chain
from gripmargin.motion.trajectory import MAX_SAMPLES, Trajectory

MAX_BYTES = 4_000_000_000
MAX_LINE = 1 << 20  # [bytes]
POINT = "write decimals with a point"
COMMENT_LINES = 10_000  # that many lines more than samples are no sign of a file too long


def read_csv(path: Path, *, robot: Chain | None = None) -> Trajectory:
    """Read a trajectory from a CSV file.

    Columns are ``t [s], q1 [deg] ...`` with optional ``qd1 [deg/s] ...`` and ``qdd1 [deg/s^2] ...``, or
    ``t [s], x [mm], y [mm], z [mm]`` with ``qx, qy, qz, qw`` (unit quaternion, scalar last) or with
    ``roll [deg], pitch [deg], yaw [deg]`` (about fixed axes: x first, then y, then z); any unit of the
    right dimension, any order of columns. An optional column ``move`` labels the samples.

    Args:
        path: The file, UTF-8.
        robot: The robot that joint columns move, or None.

    Raises:
        InputError: With file, line and column.
    """
    return csv_reading(path, robot, None).trajectory


def csv_reading(path: Path, robot: Chain | None, wanted: Columns | None) -> Reading:
    """Read a trajectory from a text file whose columns a map may name, and tell what was read as what.

    Raises:
        InputError: With file, line and column.
    """
    _scan(path)
    try:
        dialect = find_dialect(path, wanted)
        if dialect.has_no_header and wanted is not None:
            wanted = replace(wanted, header=False)
        return read_sheet(_Text(path, dialect), robot, wanted)
    except UnicodeDecodeError as error:
        raise _bad_byte(path) from error


class _Text:
    """A text file as a table."""

    def __init__(self, path: Path, dialect: Dialect) -> None:
        self.path, self.dialect = path, dialect
        self.headers: Sequence[str] = dialect.headers
        self.where = f"{path}, line {max(dialect.first, 1)}"
        self.source = path.name
        marks = {"separator": (SEPARATORS, dialect.separator, ","), "decimal": (DECIMALS, dialect.decimal, ".")}
        self.manner: dict[str, Any] = {
            key: next((name for name, mark in known.items() if mark == used), None)
            for key, (known, used, usual) in marks.items()
            if used != usual
        }
        if dialect.has_no_header:
            self.manner["header"] = False

    def read(self, columns: Sequence[Column], label: Column | None) -> tuple[FloatArray, tuple[str, ...] | None]:
        """Return the numbers of columns, shape (n, columns), and the labels."""
        labels: list[str] | None = None if label is None else []
        with self.path.open(encoding="utf-8-sig", newline=None) as file:
            values = self._numbers(islice(file, self.dialect.first, None), columns, label, labels)
        return values, None if labels is None else tuple(labels)

    def locate(self, row: int | None, column: str | None) -> str:
        """Name a place for an error."""
        line = max(self.dialect.first, 1) if row is None else self._line_of(row)
        return f"{self.path}, line {line}" + (f", column '{column}'" if column else "")

    def written(self, column: Column) -> list[str]:
        """Return a column as decimal text."""
        mark = self.dialect.decimal
        with self.path.open(encoding="utf-8-sig", newline=None) as file:
            lines = islice(file, self.dialect.first, None)
            rows = (self._cells(line, "") for line in lines if is_data(line))
            return [row[column.index].strip().replace(mark, ".") for row in rows]

    def _cells(self, line: str, where: str) -> list[str]:
        """The cells of a row, one an entry of a list."""
        cells = cells_of(line, self.dialect.separator, where)
        if not self.dialect.lists:
            return cells
        out: list[str] = []
        for i, cell in enumerate(cells):
            entries = listed(cell) if i in self.dialect.lists else None
            if i in self.dialect.lists and len(entries or ()) != self.dialect.lists[i]:
                found = f"{len(entries or ())} values in one cell"
                raise InputError(where, found, f"{self.dialect.lists[i]}, as in the first row")
            out += entries or [cell]
        return out

    def _numbers(
        self, lines: Iterator[str], columns: Sequence[Column], label: Column | None, labels: list[str] | None
    ) -> FloatArray:
        """Read the rows; labels go into the list handed in."""
        rows = self._rows(lines, columns, label, labels)
        first = next(rows, None)
        if first is None:
            raise InputError(self.where, "a header without rows", "one row a sample")
        use = [column.index for column in columns]
        mark = self.dialect.joint
        try:
            values = np.loadtxt(
                chain([first], rows), delimiter=mark, comments=None, usecols=use, ndmin=2, dtype=np.float64
            )
        except InputError:
            raise
        except UnicodeDecodeError:
            raise
        except ValueError as error:
            raise self._faulty_cell(columns, error) from error
        if len(values) > MAX_SAMPLES:
            raise InputError(str(self.path), f"{len(values)} rows", f"at most {MAX_SAMPLES}", "split the program")
        return values

    def _rows(
        self, lines: Iterator[str], columns: Sequence[Column], label: Column | None, labels: list[str] | None
    ) -> Iterator[str]:
        mark, decimal = self.dialect.separator, self.dialect.decimal
        marks = len(self.headers) - 1
        place = -1 if label is None else label.index
        plain = decimal == "." and mark != " " and not self.dialect.lists
        used = {column.index: column for column in columns}
        seen: dict[str, str] = {}
        for number, line in enumerate(lines, start=self.dialect.first + 1):
            if plain and '"' not in line and line.count(mark) == marks and line[0] not in "# \t\n":
                if labels is not None:
                    text = line.split(mark)[place].strip()
                    labels.append(seen.setdefault(text, text))
                yield line
            elif is_data(line):
                cells = self._cells(line, f"{self.path}, line {number}")
                if len(cells) != len(self.headers):
                    raise self._wrong_count(f"{self.path}, line {number}", cells, line)
                if labels is not None:
                    labels.append(seen.setdefault(cells[place].strip(), cells[place].strip()))
                yield self.dialect.joint.join(
                    self._number(cell, number, used[i]) if i in used else "" for i, cell in enumerate(cells)
                )

    def _number(self, cell: str, line: int, column: Column) -> str:
        """A cell with a decimal point."""
        wrong, decimal = cell, self.dialect.decimal
        if decimal == ",":
            cell = cell.replace(",", ".")
        if "," in cell or (decimal == "," and "." in wrong):  # which would be two cells, or a mark of thousands
            where = f"{self.path}, line {line}, column '{printable(column.header.strip())}'"
            raise InputError(where, f'"{printable(wrong.strip())}"', "a number", POINT if decimal == "." else _ONE_MARK)
        return cell

    def _wrong_count(self, where: str, cells: list[str], line: str) -> InputError:
        remedy, count = "", len(self.headers)
        if len(cells) == count + 1 and not cells[-1].strip():
            remedy = "remove the comma at the end of the line"
        elif len(cells) > count:
            remedy = f"{POINT}, and labels that contain a comma in quotes"
        elif self.dialect.separator == "," and (";" in line or "\t" in line):
            remedy = "put commas between the cells"
        found = f"{len(cells)} cell{'' if len(cells) == 1 else 's'}"
        return InputError(where, found, f"{count}, one a column of the header", remedy)

    def _faulty_cell(self, columns: Sequence[Column], error: ValueError) -> InputError:
        """Find the first cell that is no number; only done once something is known to be wrong."""
        with self.path.open(encoding="utf-8-sig", newline=None) as file:
            for number, line in enumerate(islice(file, self.dialect.first, None), start=self.dialect.first + 1):
                cells = self._cells(line, "") if is_data(line) else []
                for column in columns if cells else ():
                    cell = cells[column.index] if column.index < len(cells) else ""
                    if not is_number(cell, self.dialect.decimal):
                        where = f"{self.path}, line {number}, column '{printable(column.header.strip())}'"
                        return _no_number(where, cell, column)
        return InputError(str(self.path), f"a row that cannot be read ({error})", "numbers")

    def _line_of(self, row: int) -> int:
        """Return the line of a sample, counted from 1."""
        first = self.dialect.first
        with self.path.open(encoding="utf-8-sig", newline=None) as file:
            data = (number for number, line in enumerate(islice(file, first, None), first + 1) if is_data(line))
            return next(islice(data, row, None))


_ONE_MARK = "decimals are written with a comma here: leave other marks out"


def _no_number(where: str, cell: str, column: Column) -> InputError:
    found, remedy = f'"{printable(cell.strip())}"' if cell.strip() else "an empty cell", ""
    if cell.strip() == column.header.strip():
        remedy = "the header stands here once more: remove the line"
    elif re.fullmatch(r"\s*[-+]?[\d.]+\s*[A-Za-z°µ]+\s*", cell):
        remedy = "write the number alone, its unit in the header"
    return InputError(where, found, "a number", remedy)


def _scan(path: Path) -> None:
    """Count lines without reading them in, so that a file too long costs neither time nor memory."""
    checked_size(path, MAX_BYTES)
    lines, carry = 0, 0
    with path.open("rb") as file:
        start = True
        while chunk := file.read(MAX_LINE):
            if start:
                refuse_binary(path, chunk)
                start = False
            ends = chunk.count(b"\n") or chunk.count(b"\r")
            carry = 0 if ends else carry + len(chunk)
            if carry >= MAX_LINE:
                raise InputError(
                    f"{path}, line {lines + 1}", f"a line of more than {MAX_LINE} bytes", "one row a sample"
                )
            lines += ends
            if lines > MAX_SAMPLES + COMMENT_LINES:
                raise InputError(
                    str(path),
                    f"more than {MAX_SAMPLES} rows",
                    f"at most {MAX_SAMPLES}",
                    "split the program or sample it more coarsely",
                )


def _bad_byte(path: Path) -> InputError:
    line = 1
    with path.open("rb") as file:
        for content in file:
            try:
                content.decode("utf-8-sig")
            except UnicodeDecodeError as error:
                return not_utf8(path, content, error.start, line)
            line += 1
    return InputError(str(path), "bytes that are not UTF-8", "text in UTF-8")
