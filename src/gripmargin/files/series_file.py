"""The figures of a report at every sample in files that other programs read: tables, and a recording."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.errors import InputError
from gripmargin.base.given import as_path
from gripmargin.files.frames import samples_frame
from gripmargin.files.sample_columns import sample_columns
from gripmargin.files.whole import write_whole
from gripmargin.results.report import Report


def write_series(report: Report, path: str | Path) -> None:
    """Write the figures of a report at every sample into a file whose ending says how, whole or not at all.

    Args:
        report: The report of a check, with its samples.
        path: ``.csv``, ``.npz`` or ``.parquet``: columns with their units in their names, as `samples_frame` has them;
            ``.mcap``: a recording of standard messages of ROS 2, with the findings as messages of a log.

    Raises:
        InputError: An ending that is not known, or a library that is missing.
        GripmarginError: The place cannot be written.
    """
    file = as_path(path)
    write_whole(file, series_bytes(report, file.suffix))


def series_bytes(report: Report, ending: str) -> bytes:
    """Return what `write_series` writes.

    Args:
        report: The report of a check, with its samples.
        ending: Such as ".csv".

    Raises:
        InputError: An ending that is not known, or a library that is missing.
    """
    return checked_writer(ending)(report)


def checked_writer(ending: str) -> Callable[[Report], bytes]:
    """Return what writes files of an ending.

    Raises:
        InputError: It is not known.
    """
    write = _WRITERS.get(ending.lower())
    if write is None:
        raise InputError("ending", f"'{ending[:40]}'", f"one of {', '.join(_WRITERS)}")
    return write


def _csv(report: Report) -> bytes:
    columns = sample_columns(report.samples)
    cells = [_cells(values) for values in columns.values()]
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")  # numbers as their shortest text that is read as the same
    rows.writerow(columns)
    rows.writerows(zip(*cells, strict=True))
    return out.getvalue().encode("utf-8")


def _cells(values: NDArray[Any]) -> list[Any]:
    """What stands in a column, nothing for what is not known."""
    if values.dtype.kind != "f":
        return values.tolist()
    return ["" if unknown else value for value, unknown in zip(values.tolist(), np.isnan(values), strict=True)]


def _npz(report: Report) -> bytes:
    out = io.BytesIO()
    columns: dict[str, Any] = dict(sample_columns(report.samples))
    np.savez(out, **columns)
    return out.getvalue()


def _parquet(report: Report) -> bytes:
    out = io.BytesIO()
    try:
        samples_frame(report.samples).to_parquet(out)
    except ImportError as error:
        remedy = "install it: pip install 'gripmargin[frames]'"
        raise InputError("series", "no library pyarrow", "the optional dependency 'frames'", remedy) from error
    return out.getvalue()


def _mcap(report: Report) -> bytes:
    try:
        from gripmargin.files.series_bag import series_bag  # noqa: PLC0415 - optional, and only recordings need it
    except ImportError as error:
        library, remedy = str(error.name).partition(".")[0], "install it: pip install 'gripmargin[bags]'"
        raise InputError("series", f"no library {library}", "the optional dependency 'bags'", remedy) from error
    return series_bag(report)


_WRITERS: dict[str, Callable[[Report], bytes]] = {".csv": _csv, ".npz": _npz, ".parquet": _parquet, ".mcap": _mcap}
