"""Trajectories as ``.mat`` files up to version 7: arrays under names, or within one structure."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.errors import InputError
from gripmargin.files.arrays_sheet import Arrays
from gripmargin.files.column_map import Columns
from gripmargin.files.source import checked_size, printable
from gripmargin.files.table import Reading, read_sheet
from gripmargin.motion.chain import Chain

MAX_BYTES = 1_000_000_000
MAX_TOTAL = 4_000_000_000  # [bytes] unpacked
_HDF = b"\x89HDF\r\n\x1a\n"


def read_mat(path: Path, robot: Chain | None, wanted: Columns | None) -> Reading:
    """Read a trajectory from a ``.mat`` file.

    Its variables are columns, or several of them where they have two dimensions; those within a structure are named
    "structure.field".

    Args:
        path: The file, of version 4 to 7; 7.3 is another format.
        robot: The robot that joint columns move, or None.
        wanted: What the variables mean, as far as it is not found.

    Raises:
        InputError: With file and variable.
    """
    checked_size(path, MAX_BYTES)
    _refuse_hdf(path)
    from scipy.io import loadmat, whosmat  # noqa: PLC0415 - takes 0.1 s to import

    try:
        sizes = [math.prod(shape) * 8 for _, shape, kind in whosmat(path) if kind not in ("struct", "cell", "object")]
        if sum(sizes) > MAX_TOTAL:
            raise InputError(str(path), f"{sum(sizes) / 1e6:.4g} MB unpacked", f"at most {MAX_TOTAL / 1e6:g} MB")
        variables = loadmat(path, chars_as_strings=True, struct_as_record=True, verify_compressed_data_integrity=True)
    except InputError:
        raise
    except Exception as error:  # the reader raises a dozen kinds for what is damaged
        found = f"a file that cannot be read ({printable(str(error), 160)})"
        raise InputError(str(path), found, "a whole .mat file of version 7 or earlier") from error

    def locate(row: int | None, column: str | None) -> str:
        return f"{path}" + (f", variable '{column}'" if column else "") + ("" if row is None else f", sample {row}")

    arrays = [each for name, value in variables.items() if name[:2] != "__" for each in _flat(name, value)]
    return read_sheet(Arrays(arrays, str(path), path.name, locate), robot, wanted)


def _refuse_hdf(path: Path) -> None:
    with path.open("rb") as file:
        start = file.read(520)
    if _HDF in (start[:8], start[512:520]) or b"MATLAB 7.3" in start[:116]:
        remedy = "save it with the option '-v7', or write the columns as CSV"
        raise InputError(str(path), "a .mat file of version 7.3 (HDF5)", "version 7 or earlier", remedy)


def _flat(name: str, value: Any) -> Iterator[tuple[str, NDArray[Any]]]:
    """A variable with its name; of a structure its fields."""
    if isinstance(value, np.ndarray) and value.dtype.names is not None and value.size == 1:
        for field in value.dtype.names:
            yield f"{name}.{field}", _straight(np.asarray(value[field].item()))
    else:
        yield name, _straight(np.asarray(value))


def _straight(array: NDArray[Any]) -> NDArray[Any]:
    """Rows and columns of one as arrays of one dimension: there are no others in such a file."""
    if array.ndim == 2 and 1 in array.shape:
        array = array.ravel()
    if array.dtype.kind == "O" and array.ndim == 1 and all(np.size(each) == 1 for each in array):
        array = np.array([np.asarray(each).item() for each in array])  # a cell array of texts
    return np.char.rstrip(array) if array.dtype.kind == "U" else array
