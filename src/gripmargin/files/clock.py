"""Times of a table in seconds: stamps of a clock without losing digits, seconds beside nanoseconds, the likely unit."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.files.columns import Column
from gripmargin.files.source import printable

# Times from here on [s] are stamps of a clock that counts from far away: floats of 64 bits lose digits of them.
FAR_AWAY: Final = 1e6
UNITS: Final = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}
# [s] between samples: none samples a robot faster (common practice, no source), and farther apart samples are refused
# by `gripmargin.checks.plausible`. Wider apart than 1000, some steps can be read in two units, and are then not.
CLOSEST, FARTHEST = 2e-5, 0.2
CALENDAR: Final = (1e9, 4e9)  # [s] since 1970: the years 2001 to 2096


def times(
    data: Mapping[str, FloatArray],
    columns: Mapping[str, Column],
    written: Callable[[Column], Sequence[str | int] | None],
) -> tuple[FloatArray, str]:
    """Return times [s], from the first one on where that is far away, and what to say of it.

    Args:
        data: Columns in SI: "t", and "t2" that is added to it where there is one.
        columns: The columns by those names.
        written: Returns a column to the last digit, or None.
    """
    names = [name for name in ("t", "t2") if name in data]
    t = data["t"] if len(names) == 1 else data["t"] + data["t2"]
    if abs(t[0]) < FAR_AWAY:
        return t, ""
    exact = {name: stamps for name in names if (stamps := written(columns[name])) is not None}
    if len(exact) < len(names):
        return t - t[0], f"Times start at 0; as they were stored they resolve {np.spacing(np.abs(t).max()):.2g} s."
    counts = {name: [Decimal(stamp) - Decimal(stamps[0]) for stamp in stamps] for name, stamps in exact.items()}
    if len(names) == 1:
        since = np.array([float(count) for count in counts["t"]]) * columns["t"].factor
    else:
        whole, part = (Decimal(repr(columns[name].factor)) for name in names)
        since = np.array([float(a * whole + b * part) for a, b in zip(*counts.values(), strict=True)])
    first = " and ".join(f"{printable(str(stamps[0]))} {columns[name].unit}" for name, stamps in exact.items())
    return since, f"Times start at 0, which is the stamp {first}."


def with_likely_unit(column: Column, values: FloatArray, where: str) -> Column:
    """Return a column of times with the only unit in which they can be those of samples.

    Args:
        column: The column, without a unit.
        values: As they stand there, shape (n,).
        where: What to call the header in an error.

    Raises:
        InputError: Two units are possible, or none.
    """
    step = float(np.median(np.diff(values)))
    fitting = [unit for unit, factor in UNITS.items() if CLOSEST <= step * factor <= FARTHEST]
    if len(fitting) > 1:
        dated = [unit for unit in fitting if CALENDAR[0] <= values[0] * UNITS[unit] <= CALENDAR[1]]
        fitting = dated or fitting
    if len(fitting) == 1:
        return replace(column, unit=fitting[0], factor=UNITS[fitting[0]])
    ways = " or ".join(f'columns = {{ time = {{ unit = "{unit}" }} }}' for unit in fitting or ("s", "ms"))
    raise InputError(
        f"{where}, column '{printable(column.header.strip())}'",
        f"times without their unit, {step:.4g} from one to the next",
        f"the unit in brackets, such as t [{(fitting or ['s'])[0]}]",
        f"or say it in [program]: {ways}",
    )
