"""Tables of pandas: trajectories taken from them and given as them, figures of a report at every sample."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from gripmargin.base.errors import InputError
from gripmargin.files.columns import read_header
from gripmargin.files.named_columns import named_columns
from gripmargin.files.sample_columns import sample_columns
from gripmargin.files.source import printable
from gripmargin.files.table import build_trajectory
from gripmargin.motion.chain import Chain
from gripmargin.motion.trajectory import Trajectory
from gripmargin.results.samples import Samples

if TYPE_CHECKING:
    import pandas as pd


def trajectory_from_frame(frame: pd.DataFrame, *, robot: Chain | None = None) -> Trajectory:
    """Take a trajectory from a table with the columns of a CSV file ("t [s]", "q1 [deg]", ..., "move").

    Args:
        frame: One row a sample. An index with a name counts as a column.
        robot: The robot that joint columns move, or None.

    Raises:
        InputError: With column and row, counted from 0.
    """
    if not hasattr(frame, "columns") or not hasattr(frame, "iloc"):
        raise InputError("frame", f"an object of type {type(frame).__name__}", "a pandas DataFrame")
    table = frame if frame.index.name is None else frame.reset_index()
    columns = read_header([str(name) for name in table.columns], "frame", robot)
    moves: tuple[str, ...] | None = None
    numeric, values, stamps = [], [], None
    for i, column in enumerate(columns):
        cells = table.iloc[:, i]
        where = f"frame, column '{printable(column.header)}'"
        if column.name == "move":
            labels = cells.tolist()
            wrong = next((k for k, label in enumerate(labels) if not isinstance(label, str)), None)
            if wrong is not None:
                raise InputError(f"{where}, row {wrong}", f"{labels[wrong]!r}"[:60], "a label as text")
            moves = tuple(labels)
            continue
        if getattr(cells.dtype, "kind", "") not in ("f", "i", "u"):
            raise InputError(where, f"values of type {cells.dtype}", "numbers")
        if column.name == "t" and cells.dtype.kind != "f":
            stamps = cells.tolist
        numeric.append(column)
        values.append(cells.to_numpy(dtype=np.float64, na_value=np.nan))
    if not values:
        raise InputError("frame", "no columns of numbers", "the columns of a trajectory")

    def locate(row: int | None, column: str | None) -> str:
        return "frame" + (f", column '{column}'" if column else "") + ("" if row is None else f", row {row}")

    return build_trajectory(
        numeric, np.column_stack(values), moves, source="frame", locate=locate, robot=robot, stamps=stamps
    )


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
