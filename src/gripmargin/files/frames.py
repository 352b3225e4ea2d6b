"""Tables of pandas: trajectories taken from them and given as them, figures of a report at every sample."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.errors import InputError
from gripmargin.base.given import of_class
from gripmargin.files.arrays_sheet import Arrays
from gripmargin.files.column_map import Columns
from gripmargin.files.named_columns import named_columns
from gripmargin.files.sample_columns import sample_columns
from gripmargin.files.source import checked_size, printable
from gripmargin.files.table import Reading, read_sheet
from gripmargin.motion.chain import Chain
from gripmargin.motion.trajectory import Trajectory
from gripmargin.results.samples import Samples

if TYPE_CHECKING:
    import pandas as pd

MAX_BYTES: Final = 2_000_000_000  # of a .parquet file


def trajectory_from_frame(
    frame: pd.DataFrame, *, robot: Chain | None = None, columns: Columns | None = None
) -> Trajectory:
    """Take a trajectory from a table with the columns of a CSV file ("t [s]", "q1 [deg]", ..., "move").

    Args:
        frame: One row a sample. An index with a name counts as a column.
        robot: The robot that joint columns move, or None.
        columns: What the columns mean, as far as it is not found.

    Raises:
        InputError: With column and row, counted from 0.
    """
    if not hasattr(frame, "columns") or not hasattr(frame, "iloc"):
        raise InputError("frame", f"an object of type {type(frame).__name__}", "a pandas DataFrame")
    wanted = None if columns is None else of_class(columns, Columns, "columns")
    return frame_reading(frame, robot, wanted, "frame", "frame").trajectory


def frame_reading(frame: pd.DataFrame, robot: Chain | None, wanted: Columns | None, where: str, source: str) -> Reading:
    """Read a trajectory from a table, and tell what was read as what.

    Args:
        frame: One row a sample. An index with a name counts as a column.
        robot: The robot that joint columns move, or None.
        wanted: What the columns mean, or None.
        where: What to call the table in an error.
        source: What reports call the trajectory.

    Raises:
        InputError: With column and row, counted from 0.
    """
    table = frame if frame.index.name is None else frame.reset_index()

    def locate(row: int | None, column: str | None) -> str:
        return where + (f", column '{column}'" if column else "") + ("" if row is None else f", row {row}")

    arrays = ((str(name), _array(table.iloc[:, i])) for i, name in enumerate(table.columns))
    return read_sheet(Arrays(arrays, where, source, locate), robot, wanted)


def read_parquet(path: Path, robot: Chain | None, wanted: Columns | None) -> Reading:
    """Read a trajectory from a ``.parquet`` file, through pandas.

    Raises:
        InputError: No library to read it with, or as `trajectory_from_frame`.
    """
    checked_size(path, MAX_BYTES)
    try:
        import pandas as pd  # noqa: PLC0415 - optional, takes 0.4 s

        frame = pd.read_parquet(path)
    except ImportError as error:
        due = "pandas with pyarrow or fastparquet"
        raise InputError(
            str(path), "no library to read it with", due, "install them: pip install pandas pyarrow"
        ) from error
    except Exception as error:  # of whichever library reads it
        found = f"a file that cannot be read ({printable(str(error), 160)})"
        raise InputError(str(path), found, "a whole .parquet file") from error
    return frame_reading(frame, robot, wanted, str(path), path.name)


def _array(cells: pd.Series) -> NDArray[Any]:
    """A column as an array: numbers, text, or rows of numbers."""
    kind = getattr(cells.dtype, "kind", "")
    if kind in ("i", "u") and not cells.hasnans:
        return cells.to_numpy(dtype=np.int64 if kind == "i" else np.uint64)
    if kind in ("f", "i", "u"):
        return cells.to_numpy(dtype=np.float64, na_value=np.nan)
    if len(cells) and np.ndim(cells.iloc[0]) == 1:
        with suppress(TypeError, ValueError):
            return np.array(cells.tolist(), dtype=np.float64)
    return np.asarray(cells.to_numpy(), dtype=None if kind in ("b", "c") else object)


def trajectory_frame(trajectory: Trajectory, *, robot: Chain | None = None) -> pd.DataFrame:
    """Return a trajectory as a table with the columns of a CSV file, in SI units and radians.

    Args:
        trajectory: Joint values or poses.
        robot: As `gripmargin.write_trajectory`.

    Raises:
        InputError: A trajectory that columns cannot say, or no pandas.
    """
    return _table(named_columns(trajectory, robot))


def samples_frame(samples: Samples) -> pd.DataFrame:
    """Return the figures of a report at every sample as a table, units in the names of its columns.

    Vectors have three columns, such as "force_x [N]"; what is not known at a sample is NaN.

    Args:
        samples: Such as ``report.samples``.

    Raises:
        InputError: No pandas.
    """
    return _table(sample_columns(samples))


def _table(columns: dict[str, Any]) -> pd.DataFrame:
    try:
        import pandas as pd  # noqa: PLC0415 - optional, takes 0.4 s
    except ImportError as error:
        remedy = "install it: pip install 'gripmargin[frames]'"
        raise InputError("frame", "no library pandas", "the optional dependency 'frames'", remedy) from error
    return pd.DataFrame(columns)
