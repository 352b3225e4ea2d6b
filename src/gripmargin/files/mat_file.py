"""Trajectories as ``.mat`` files of version 5 to 7: arrays under names, or within structures.

Source: MathWorks, MAT-File Format, from memory; held against scipy's reader and writer in the tests. scipy's own is not
used: it ends the process at some damaged files.
"""

from __future__ import annotations

import math
import struct
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.errors import InputError
from gripmargin.files.arrays_sheet import Arrays
from gripmargin.files.column_map import Columns
from gripmargin.files.source import checked_size
from gripmargin.files.table import Reading, read_sheet
from gripmargin.motion.chain import Chain

MAX_BYTES = 1_000_000_000
MAX_TOTAL = 4_000_000_000  # [bytes] unpacked
_HEADER = 128
_HDF = b"\x89HDF\r\n\x1a\n"
_STORED: Final = {1: "i1", 2: "u1", 3: "i2", 4: "u2", 5: "i4", 6: "u4", 7: "f4", 9: "f8", 12: "i8", 13: "u8"}
_TEXTS: Final = {1: "latin-1", 2: "latin-1", 4: "utf-16", 16: "utf-8", 17: "utf-16", 18: "utf-32"}
_CLASSES: Final = dict(zip(range(6, 16), ["f8", "f4", "i1", "u1", "i2", "u2", "i4", "u4", "i8", "u8"], strict=True))
_MATRIX, _PACKED, _STRUCTURE, _CHARACTERS = 14, 15, 2, 4
_IMAGINARY, _LOGICAL = 0x800, 0x200
_NOTHING: Final = (0, b"")  # in place of an element that is not there

Variable = tuple[str, NDArray[Any]]


def read_mat(path: Path, robot: Chain | None, wanted: Columns | None) -> Reading:
    """Read a trajectory from a ``.mat`` file.

    Its variables are columns, or several of them where they have two dimensions; those within a structure are named
    "structure.field".

    Args:
        path: The file, of version 5 to 7; 7.3 is another format.
        robot: The robot that joint columns move, or None.
        wanted: What the variables mean, as far as it is not found.

    Raises:
        InputError: With file and variable.
    """
    checked_size(path, MAX_BYTES)
    content = path.read_bytes()
    if _HDF in (content[:8], content[512:520]) or content.startswith(b"MATLAB 7.3"):
        remedy = "save it with the option '-v7', or write the columns as CSV"
        raise InputError(str(path), "a .mat file of version 7.3 (HDF5)", "version 5 to 7", remedy)
    if len(content) < _HEADER or content[126:128] not in (b"IM", b"MI"):
        remedy = "save it with the option '-v7'"
        raise InputError(str(path), "a file that is no .mat file of version 5 to 7", "one that is", remedy)
    try:
        arrays = list(Parser("<" if content[126:128] == b"IM" else ">").variables(content[_HEADER:]))
    except (ValueError, struct.error, zlib.error, LookupError, OverflowError) as error:
        raise InputError(str(path), "a file that is cut short or damaged", "a whole .mat file") from error

    def locate(row: int | None, column: str | None) -> str:
        return f"{path}" + (f", variable '{column}'" if column else "") + ("" if row is None else f", sample {row}")

    return read_sheet(Arrays(arrays, str(path), path.name, locate), robot, wanted)


class Parser:
    """Takes elements of a file apart, each a type, a size and that many bytes; what is wrong is a `ValueError`."""

    def __init__(self, order: str) -> None:
        self.order = order
        self.room = MAX_TOTAL

    def variables(self, content: bytes) -> Iterator[Variable]:
        """The variables of a file, unpacked."""
        for kind, data in self.elements(content, padded=False):
            if kind == _PACKED:
                unpacker = zlib.decompressobj()
                whole = unpacker.decompress(data, self.room)
                self.room -= len(whole)
                if not unpacker.eof or self.room <= 0:
                    raise ValueError(kind)
                yield from (each for _, inner in self.elements(whole) for each in self.matrix(inner))
            elif kind == _MATRIX:
                yield from self.matrix(data)

    def elements(self, content: bytes, *, padded: bool = True) -> Iterator[tuple[int, bytes]]:
        """Every element: its type and its bytes."""
        place = 0
        while place < len(content):
            kind, size = struct.unpack_from(f"{self.order}II", content, place)
            start, step = place + 8, size + (-size % 8 if padded or kind != _PACKED else 0)
            if kind >> 16:  # small: the size stands in the upper half, the bytes in place of the size
                kind, size, start, step = kind & 0xFFFF, kind >> 16, place + 4, 0
            if start + size > len(content) or (step == 0 and size > 4 and start == place + 4):
                raise ValueError(kind)
            yield kind, content[start : start + size]
            place += 8 + step

    def matrix(self, content: bytes, name: str | None = None) -> Iterator[Variable]:
        """The variable that an element holds; of a structure its fields."""
        parts = self.elements(content)
        if not content:
            return
        flags, sizes, called = (next(parts, _NOTHING)[1] for _ in range(3))
        (said,) = struct.unpack_from(f"{self.order}I", flags)
        shape = tuple(np.frombuffer(sizes, f"{self.order}i4").tolist())
        if not shape or min(shape) < 0:
            raise ValueError(shape)
        label = called.decode("latin-1") if name is None else name
        kind = said & 0xFF
        if kind == _STRUCTURE and math.prod(shape) == 1 and name is None:
            yield from self.fields(label, parts)
        elif kind in (*_CLASSES, _CHARACTERS):
            yield label, self.array(said, shape, *next(parts, _NOTHING))
        else:
            yield label, np.empty((), dtype=object)  # of no use here, and refused if it is asked for

    def fields(self, label: str, parts: Iterator[tuple[int, bytes]]) -> Iterator[Variable]:
        """The fields of a structure."""
        (width,) = struct.unpack(f"{self.order}i", next(parts, _NOTHING)[1])
        names = next(parts, _NOTHING)[1]
        if width < 1:
            raise ValueError(width)
        for start, (_, inner) in zip(range(0, len(names), width), parts, strict=True):
            field = names[start : start + width].split(b"\0")[0].decode("latin-1")
            yield from self.matrix(inner, f"{label}.{field}")

    def array(self, said: int, shape: tuple[int, ...], kind: int, data: bytes) -> NDArray[Any]:
        """An array of numbers, or of lines of text; rows and columns of one have one dimension."""
        if said & 0xFF == _CHARACTERS:
            coding = _TEXTS[kind] + {"<": "-le", ">": "-be"}[self.order] * (kind in (4, 17, 18))
            cells = np.array(list(data.decode(coding)), dtype="U1").reshape(shape, order="F")
            return np.array(["".join(row).rstrip() for row in cells.reshape(shape[0], -1)], dtype=np.str_)
        stored = np.frombuffer(data, f"{self.order}{_STORED[kind]}").reshape(shape, order="F")
        if said & _IMAGINARY:
            stored = stored.astype(np.complex128)
        else:
            stored = stored.astype(bool if said & _LOGICAL else _CLASSES[said & 0xFF])
        return stored.ravel() if stored.ndim == 2 and 1 in stored.shape else stored
