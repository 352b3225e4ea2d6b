"""Trajectories as CSV: a header with units in brackets, one row a sample, ``#`` lines are comments."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from itertools import chain, islice
from pathlib import Path
from typing import TextIO

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.files.columns import Column, read_header
from gripmargin.files.source import checked_size, not_utf8, printable, refuse_binary
from gripmargin.files.table import build_trajectory
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
    _scan(path)
    try:
        return _read(path, robot)
    except UnicodeDecodeError as error:
        raise _bad_byte(path) from error


def _read(path: Path, robot: Chain | None) -> Trajectory:
    with path.open(encoding="utf-8-sig", newline=None) as file:
        header_line, headers = _find_header(path, file)
        where = f"{path}, line {header_line}"
        _refuse_other_separators(headers, where)
        columns = read_header(headers, where, robot)
        labels: list[str] | None = [] if any(c.name == "move" for c in columns) else None
        values = _numbers(path, file, columns, header_line, labels)
    numeric = [column for column in columns if column.name != "move"]

    def locate(row: int | None, column: str | None) -> str:
        line = header_line if row is None else _line_of(path, row)
        return f"{path}, line {line}" + (f", column '{column}'" if column else "")

    def stamps() -> list[str]:
        place = next(i for i, column in enumerate(columns) if column.name == "t")
        with path.open(encoding="utf-8-sig", newline=None) as again:
            lines = islice(again, header_line, None)
            return [row[place].strip() for row in csv.reader(line for line in lines if _is_data(line))]

    moves = None if labels is None else tuple(labels)
    return build_trajectory(numeric, values, moves, source=path.name, locate=locate, robot=robot, stamps=stamps)


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


def _is_data(line: str) -> bool:
    return not line.isspace() and not line.lstrip().startswith("#")


def _find_header(path: Path, file: TextIO) -> tuple[int, list[str]]:
    for number, line in enumerate(file, start=1):
        if _is_data(line):
            if "\0" in line:
                raise InputError(str(path), "a binary file", "text in UTF-8")
            return number, [cell.strip() for cell in _cells(path, line, number)]
    raise InputError(str(path), "nothing but blanks and comments", "a header with units, such as t [s], q1 [deg], ...")


def _refuse_other_separators(headers: list[str], where: str) -> None:
    text = ",".join(headers)
    for mark, name in ((";", "semicolons"), ("\t", "tabs")):
        if text.count(mark) >= max(1, len(headers) - 1):
            raise InputError(
                where,
                f"columns separated by {name}",
                "columns separated by commas, decimals with a point",
                "export it again as CSV with commas and decimal points",
            )
    if (len(headers) == 1 and len(headers[0].split()) > 2) or headers[0].lower() == "sep=":
        due = "a header with units, such as t [s], q1 [deg], ..."
        remedy = "put commas between columns, and # before a line above the header"
        raise InputError(where, f'"{printable(headers[0])}"', due, remedy)
    if 2 * sum(_is_number(header) for header in headers) > len(headers):
        due = "a header with units, such as t [s], q1 [deg], ..."
        raise InputError(where, "a row of numbers", due, "the header is missing: put it above the first row")


def _numbers(path: Path, file: TextIO, columns: list[Column], header_line: int, labels: list[str] | None) -> FloatArray:
    """Read the rows below the header; labels go into the list handed in."""
    use = [i for i, column in enumerate(columns) if column.name != "move"]
    rows = _rows(path, file, columns, header_line, labels)
    first = next(rows, None)
    if first is None:
        raise InputError(f"{path}, line {header_line}", "a header without rows", "one row a sample")
    try:
        values = np.loadtxt(chain([first], rows), delimiter=",", comments=None, usecols=use, ndmin=2, dtype=np.float64)
    except InputError:
        raise
    except UnicodeDecodeError:
        raise
    except ValueError as error:
        raise _faulty_cell(path, columns, header_line, error) from error
    if len(values) > MAX_SAMPLES:
        raise InputError(str(path), f"{len(values)} rows", f"at most {MAX_SAMPLES}", "split the program")
    return values


def _rows(path: Path, file: TextIO, columns: list[Column], header_line: int, labels: list[str] | None) -> Iterator[str]:
    commas = len(columns) - 1
    place = next((i for i, column in enumerate(columns) if column.name == "move"), -1)
    seen: dict[str, str] = {}
    for number, line in enumerate(file, start=header_line + 1):
        if '"' not in line and line.count(",") == commas and line[0] not in "# \t\n":
            if labels is not None:
                label = line.split(",")[place].strip()
                labels.append(seen.setdefault(label, label))
            yield line
        elif _is_data(line):
            cells = _cells(path, line, number)
            if len(cells) != len(columns):
                raise _wrong_count(f"{path}, line {number}", cells, columns, line)
            if labels is not None:
                labels.append(seen.setdefault(cells[place].strip(), cells[place].strip()))
                cells[place] = ""
            for cell, column in zip(cells, columns, strict=True):
                if "," in cell and column.name != "move":  # which would be two cells once its quotes are gone
                    where = f"{path}, line {number}, column '{column.header.strip()}'"
                    raise InputError(where, f'"{printable(cell.strip())}"', "a number", POINT)
            yield ",".join(cells)


def _cells(path: Path, line: str, number: int) -> list[str]:
    try:
        return next(csv.reader([line], strict=True))
    except csv.Error as error:
        raise InputError(
            f"{path}, line {number}", f"a row that cannot be split ({error})", "quotes in pairs"
        ) from error


def _wrong_count(where: str, cells: list[str], columns: list[Column], line: str) -> InputError:
    remedy = ""
    if len(cells) == len(columns) + 1 and not cells[-1].strip():
        remedy = "remove the comma at the end of the line"
    elif len(cells) > len(columns):
        remedy = f"{POINT}, and labels that contain a comma in quotes"
    elif ";" in line or "\t" in line:
        remedy = "put commas between the cells"
    found = f"{len(cells)} cell{'' if len(cells) == 1 else 's'}"
    return InputError(where, found, f"{len(columns)}, one a column of the header", remedy)


def _faulty_cell(path: Path, columns: list[Column], header_line: int, error: ValueError) -> InputError:
    """Find the first cell that is no number; only done once something is known to be wrong."""
    with path.open(encoding="utf-8-sig", newline=None) as file:
        for number, line in enumerate(islice(file, header_line, None), start=header_line + 1):
            if not _is_data(line):
                continue
            for cell, column in zip(_cells(path, line, number), columns, strict=False):
                if column.name != "move" and not _is_number(cell):
                    found, remedy = f'"{printable(cell.strip())}"' if cell.strip() else "an empty cell", ""
                    if cell.strip() == column.header.strip():
                        remedy = "the header stands here once more: remove the line"
                    elif re.fullmatch(r"\s*[-+]?[\d.]+\s*[A-Za-z°µ]+\s*", cell):
                        remedy = "write the number alone, its unit in the header"
                    where = f"{path}, line {number}, column '{column.header.strip()}'"
                    return InputError(where, found, "a number", remedy)
    return InputError(str(path), f"a row that cannot be read ({error})", "numbers")


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return "_" not in cell and cell.isascii()


def _line_of(path: Path, row: int) -> int:
    """Return the line of a sample, counted from 1; the header is the first row that is no comment."""
    with path.open(encoding="utf-8-sig", newline=None) as file:
        data = (number for number, line in enumerate(file, start=1) if _is_data(line))
        return next(islice(data, row + 1, None))


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
