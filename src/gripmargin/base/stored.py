"""Arrays over all samples of a program: in memory, or where they are long in a temporary file that is mapped into it.

A mapped array is an ordinary array to whoever uses it. Its file is open and has no name of its own, so that nothing is
left of it when the array is gone or the process ends, however that ends. Who goes along it by `parts` keeps only a part
of it in memory.
"""

from __future__ import annotations

import mmap
import tempfile
from collections.abc import Callable, Iterator, Sequence
from math import prod
from typing import Any, Final
from weakref import WeakSet

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.errors import InputError

LONG: Final = 6_000_000  # [bytes] of an array that is kept in memory: memory alone
PART: Final = 65_536  # samples that are worked on at a time, in blocks of noise: memory alone
_WRITTEN: Final = bytes(1 << 20)
_MAPS: WeakSet[mmap.mmap] = WeakSet()


def stored(shape: tuple[int, ...], kind: Any = np.float64) -> NDArray[Any]:
    """Return an array of zeros, in a temporary file where it is long.

    Args:
        shape: Its shape.
        kind: Its type.

    Raises:
        InputError: The temporary folder has no room for it.
    """
    size = prod(shape) * np.dtype(kind).itemsize
    if size <= LONG:
        return np.zeros(shape, kind)
    try:
        with tempfile.TemporaryFile() as file:
            for first in range(0, size, len(_WRITTEN)):  # written now, for a full disk is no error later on
                file.write(_WRITTEN[: size - first])
            file.flush()
            room = mmap.mmap(file.fileno(), size)
    except OSError as error:
        raise InputError(
            f"temporary folder {tempfile.gettempdir()}",
            f"no room for an array of {size / 1e6:.0f} MB ({error.strerror or error})",
            "room for the arrays of a long program",
            "make room there, or name another folder in the environment variable TMPDIR",
        ) from error
    _MAPS.add(room)
    return np.frombuffer(room, kind).reshape(shape)


def parts(samples: int, *, size: int | None = None) -> Iterator[slice]:
    """Yield the samples of a program part by part; what is mapped leaves memory after each.

    Args:
        samples: How many there are.
        size: How many a part has; None: `PART`.
    """
    step = size or PART
    for first in range(0, samples, step):
        yield slice(first, min(first + step, samples))
        leave()


def leave() -> None:
    """Let what is mapped leave memory; it comes back from its file where it is asked for."""
    if hasattr(mmap, "MADV_DONTNEED"):  # elsewhere the system does so when others need the memory
        for room in [*_MAPS]:
            room.madvise(mmap.MADV_DONTNEED)


def by_parts(work: Callable[..., NDArray[Any]], *arrays: NDArray[Any], kind: Any = np.float64) -> NDArray[Any]:
    """Return what a piece of work gives of arrays whose samples are the first axis, part by part.

    Args:
        work: Of parts of the arrays, of as many samples; returns the same number.
        arrays: With as many samples each.
        kind: Type of what is returned.
    """
    if len(arrays[0]) <= PART:
        return np.asarray(work(*arrays), dtype=kind)
    count, first = len(arrays[0]), work(*(array[:PART] for array in arrays))
    out = stored((count, *first.shape[1:]), kind)
    for part in parts(count):
        out[part] = work(*(array[part] for array in arrays)) if part.start else first
    return out


def beside(columns: Sequence[NDArray[Any]]) -> NDArray[Any]:
    """Return columns of numbers, shape (n,) each, as one array, shape (n, columns)."""
    out = stored((len(columns[0]), len(columns)))
    for part in parts(len(out)):
        for k, column in enumerate(columns):
            out[part, k] = column[part]
    return out


def columns(rows: NDArray[Any], at: NDArray[np.intp]) -> NDArray[Any]:
    """Return some columns of rows, shape (k, n), by their rising indices: where they follow each other as they are."""
    if at.size == 0 or int(at[-1]) - int(at[0]) == at.size - 1:
        return rows[:, at[0] : at[-1] + 1] if at.size else rows[:, :0]
    out = stored((len(rows), at.size))
    for part in parts(at.size):
        out[:, part] = rows[:, at[part]]
    return out


def flagged(flags: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Return the indices at which a row of flags is set, rising."""
    out, count = stored((int(np.count_nonzero(flags)),), np.intp), 0
    for part in parts(flags.size):
        found = np.flatnonzero(flags[part])
        out[count : count + found.size] = found
        out[count : count + found.size] += part.start
        count += found.size
    return out


def filled_with(value: float, shape: tuple[int, ...]) -> NDArray[Any]:
    """Return an array with the same number everywhere, samples last."""
    out = stored(shape)
    for part in parts(shape[-1]):
        out[..., part] = value
    return out


def turned(rows: NDArray[Any]) -> NDArray[Any]:
    """Return rows, shape (n, columns), as columns in one piece each, shape (columns, n)."""
    out = stored(rows.shape[::-1], rows.dtype)
    for part in parts(len(rows)):
        out[:, part] = rows[part].T
    return out


def wide_parts(samples: int, reach: int) -> Iterator[tuple[slice, slice, slice]]:
    """Yield the samples part by part with so many on either side: the part, it with them, and where it is in that."""
    for part in parts(samples):
        wide = slice(max(part.start - reach, 0), min(part.stop + reach, samples))
        yield part, wide, slice(part.start - wide.start, part.stop - wide.start)


def column(rows: NDArray[Any], k: int) -> NDArray[Any]:
    """Return a column of rows, shape (n, columns), in one piece, shape (n,)."""
    return by_parts(lambda some: some[:, k], rows, kind=rows.dtype)


def numbered(count: int) -> NDArray[np.intp]:
    """Return the whole numbers from 0 on, shape (count,)."""
    out = stored((count,), np.intp)
    for part in parts(count):
        out[part] = np.arange(part.start, part.stop)
    return out


def differences_of(t: NDArray[Any]) -> NDArray[Any]:
    """Return the differences of neighbours of a row of numbers, shape (n - 1,)."""
    if t.size <= PART:
        return np.diff(t)
    return by_parts(lambda before, after: after - before, t[:-1], t[1:])


def largest_of(work: Callable[..., NDArray[Any]], *arrays: NDArray[Any]) -> NDArray[Any]:
    """Return the largest that a piece of work gives of arrays over all samples, part by part; NaN where one is.

    Args:
        work: Of parts of the arrays, as in `by_parts`.
        arrays: Samples first, at least one.
    """
    return np.asarray(
        np.max([work(*(array[part] for array in arrays)).max(axis=0) for part in parts(len(arrays[0]))], axis=0)
    )
