"""Trajectories as ``.npz``: one array a column, under the names of a CSV header ("q1 [deg]")."""

from __future__ import annotations

import math
import zipfile
import zlib
from pathlib import Path
from tokenize import TokenError
from typing import IO, Any

import numpy as np
from numpy.lib import format as npy
from numpy.typing import NDArray

from gripmargin.base.errors import InputError
from gripmargin.files.columns import Column, read_header
from gripmargin.files.samples import LONGEST_LABEL
from gripmargin.files.source import checked_size, printable
from gripmargin.files.table import build_trajectory
from gripmargin.motion.chain import Chain
from gripmargin.motion.trajectory import MAX_SAMPLES, Trajectory

MAX_BYTES = 2_000_000_000
MAX_COLUMNS = 200
MAX_TOTAL = 4_000_000_000  # [bytes] unpacked


def read_npz(path: Path, *, robot: Chain | None = None) -> Trajectory:
    """Read a trajectory from an ``.npz`` file; nothing in it is unpickled.

    Args:
        path: The file. Its keys are those of a CSV header: "t [s]", "q1 [deg]", ...; "move" holds text.
        robot: The robot that joint columns move, or None.

    Raises:
        InputError: With file and key.
    """
    checked_size(path, MAX_BYTES)
    try:
        with zipfile.ZipFile(path) as archive:
            arrays = _arrays(path, archive)
    except InputError:
        raise
    except zipfile.BadZipFile as error:
        raise InputError(str(path), "no .npz archive", "a file written by numpy.savez") from error
    except (OSError, EOFError, ValueError, RuntimeError, NotImplementedError, zlib.error) as error:
        raise InputError(
            str(path), f"an archive that cannot be read ({printable(str(error), 160)})", "a whole .npz file"
        ) from error
    columns = read_header(list(arrays), str(path), robot)
    for column in columns:
        _check_kind(path, column, arrays[column.header])
    _check_lengths(path, arrays)
    by_name = {column.name: arrays[column.header] for column in columns}
    numeric = [column for column in columns if column.name != "move"]
    if not numeric:
        raise InputError(str(path), "no arrays of numbers", "the columns of a trajectory")

    def locate(row: int | None, column: str | None) -> str:
        return f"{path}" + (f", key '{column}'" if column else "") + ("" if row is None else f", sample {row}")

    return build_trajectory(
        numeric,
        np.column_stack([by_name[column.name].astype(np.float64) for column in numeric]),
        tuple(by_name["move"].tolist()) if "move" in by_name else None,
        source=path.name,
        locate=locate,
        robot=robot,
        stamps=by_name["t"].tolist if "t" in by_name and by_name["t"].dtype.kind in "iu" else None,
    )


def _check_kind(path: Path, column: Column, array: NDArray[Any]) -> None:
    label = column.name == "move"
    if label != (array.dtype.kind == "U"):
        due = "text" if label else "numbers"
        raise InputError(f"{path}, key '{column.header}'", f"an array of {array.dtype}", f"an array of {due}")


def _arrays(path: Path, archive: zipfile.ZipFile) -> dict[str, NDArray[Any]]:
    members = archive.infolist()
    if not members:
        raise InputError(str(path), "an archive without arrays", "the columns of a trajectory")
    if len(members) > MAX_COLUMNS:
        raise InputError(str(path), f"{len(members)} arrays", f"at most {MAX_COLUMNS}")
    arrays: dict[str, NDArray[Any]] = {}
    total = 0
    for member in members:
        key = member.filename.removesuffix(".npy")
        where = f"{path}, key '{printable(key)}'"
        if key in arrays:
            raise InputError(where, "a key that stands twice", "each key once")
        with archive.open(member) as file:
            shape, dtype = _array_header(file, where)
        total += math.prod(shape) * dtype.itemsize
        if total > MAX_TOTAL:
            raise InputError(where, f"more than {MAX_TOTAL / 1e6:g} MB unpacked", "a smaller file")
        with archive.open(member) as file:
            arrays[key] = np.asarray(npy.read_array(file, allow_pickle=False))
    return arrays


def _array_header(file: IO[bytes], where: str) -> tuple[tuple[int, ...], np.dtype[Any]]:
    """Read shape and type of an array before its content, and refuse what is no column of a trajectory."""
    try:
        version = npy.read_magic(file)
        read = npy.read_array_header_1_0 if version == (1, 0) else npy.read_array_header_2_0
        shape, _, dtype = read(file)
    except (ValueError, EOFError, SyntaxError, TokenError, RecursionError, MemoryError) as error:
        raise InputError(where, "something that is not a numpy array", "an array written by numpy.savez") from error
    if dtype.hasobject:
        raise InputError(where, "an array of Python objects (pickle)", "an array of numbers", "save it as float64")
    if len(shape) != 1:
        raise InputError(where, f"an array of shape {shape}", "one dimension, a value a sample")
    if shape[0] > MAX_SAMPLES:
        raise InputError(where, f"{shape[0]} samples", f"at most {MAX_SAMPLES}", "split the program")
    if dtype.kind == "U":
        if dtype.itemsize > 4 * LONGEST_LABEL:
            raise InputError(where, f"labels of {dtype.itemsize // 4} characters", f"at most {LONGEST_LABEL}")
    elif dtype.kind not in "fiu" or dtype.itemsize < 4:
        raise InputError(where, f"an array of {dtype}", "floats of 64 or 32 bits, or integers of 32 bits or more")
    return shape, dtype


def _check_lengths(path: Path, arrays: dict[str, NDArray[Any]]) -> None:
    first, *others = arrays
    for key in others:
        if arrays[key].size != arrays[first].size:
            raise InputError(
                f"{path}, key '{key}'",
                f"{arrays[key].size} values",
                f"{arrays[first].size}, as many as '{first}' has",
            )
