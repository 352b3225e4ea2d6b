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
from gripmargin.base.stored import parts, stored
from gripmargin.files.arrays_sheet import MAX_COLUMNS, Arrays
from gripmargin.files.column_map import Columns
from gripmargin.files.samples import LONGEST_LABEL
from gripmargin.files.source import checked_size, printable
from gripmargin.files.table import Reading, read_sheet
from gripmargin.motion.chain import Chain
from gripmargin.motion.trajectory import Trajectory

MAX_BYTES = 1_000_000_000_000  # far more than any program takes: it is read block by block
MAX_TOTAL = 4_000_000_000  # [bytes] unpacked, where it is packed
_BLOCK = 1 << 20  # [bytes] that are read at a time: memory alone


def read_npz(path: Path, *, robot: Chain | None = None) -> Trajectory:
    """Read a trajectory from an ``.npz`` file; nothing in it is unpickled.

    Args:
        path: The file. Its keys are those of a CSV header: "t [s]", "q1 [deg]", ...; "move" holds text. An array of
            two dimensions, such as "q [rad]" of shape (n, joints), is several columns.
        robot: The robot that joint columns move, or None.

    Raises:
        InputError: With file and key.
    """
    return npz_reading(path, robot, None).trajectory


def npz_reading(path: Path, robot: Chain | None, wanted: Columns | None) -> Reading:
    """Read a trajectory from an ``.npz`` file whose arrays a map may name, and tell what was read as what.

    Raises:
        InputError: With file and key.
    """
    most = max(checked_size(path, MAX_BYTES), MAX_TOTAL)  # what is not packed takes no more than the file
    try:
        with zipfile.ZipFile(path) as archive:
            arrays = _arrays(path, archive, most)
    except InputError:
        raise
    except zipfile.BadZipFile as error:
        raise InputError(str(path), "no .npz archive", "a file written by numpy.savez") from error
    except (OSError, EOFError, ValueError, RuntimeError, NotImplementedError, zlib.error) as error:
        raise InputError(
            str(path), f"an archive that cannot be read ({printable(str(error), 160)})", "a whole .npz file"
        ) from error

    def locate(row: int | None, column: str | None) -> str:
        return f"{path}" + (f", key '{column}'" if column else "") + ("" if row is None else f", sample {row}")

    return read_sheet(Arrays(arrays.items(), str(path), path.name, locate), robot, wanted)


def _arrays(path: Path, archive: zipfile.ZipFile, most: int) -> dict[str, NDArray[Any]]:
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
            shape, dtype, _ = _array_header(file, where)
        size = math.prod(shape) * dtype.itemsize
        if size > member.file_size:
            raise InputError(where, f"{max(shape)} samples in {member.file_size} bytes", "a whole array")
        total += size
        if total > most:
            raise InputError(where, f"more than {most / 1e6:g} MB unpacked", "a smaller file")
        with archive.open(member) as file:
            arrays[key] = _read(file, where)
    return arrays


def _read(file: IO[bytes], where: str) -> NDArray[Any]:
    """Read an array block by block; of text, or of one place, at once."""
    shape, dtype, by_columns = _array_header(file, where)
    if dtype.kind not in "fiu" or not shape:
        file.seek(0)
        return np.asarray(npy.read_array(file, allow_pickle=False))
    out = stored(shape[::-1] if by_columns else shape, dtype)
    flat = out.reshape(-1).view(np.uint8)
    for part in parts(flat.size, size=_BLOCK):
        read = file.read(part.stop - part.start)
        if len(read) < part.stop - part.start:
            raise EOFError(f"{flat.size} bytes are due, and {part.start + len(read)} are there")
        flat[part] = np.frombuffer(read, np.uint8)
    return out.T if by_columns else out


def _array_header(file: IO[bytes], where: str) -> tuple[tuple[int, ...], np.dtype[Any], bool]:
    """Read shape and type of an array before its content, and refuse what is no column of a trajectory."""
    try:
        version = npy.read_magic(file)
        read = npy.read_array_header_1_0 if version == (1, 0) else npy.read_array_header_2_0
        shape, by_columns, dtype = read(file)
    except (ValueError, EOFError, SyntaxError, TokenError, RecursionError, MemoryError) as error:
        raise InputError(where, "something that is not a numpy array", "an array written by numpy.savez") from error
    if dtype.hasobject:
        raise InputError(where, "an array of Python objects (pickle)", "an array of numbers", "save it as float64")
    if dtype.kind == "U" and dtype.itemsize > 4 * LONGEST_LABEL:
        raise InputError(where, f"labels of {dtype.itemsize // 4} characters", f"at most {LONGEST_LABEL}")
    return shape, dtype, by_columns
