"""Arrays under names as a table, as .npz, .mat and pandas have them; one of two dimensions is several columns."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.base.stored import beside
from gripmargin.files.columns import Column, is_own
from gripmargin.files.dialect import spread
from gripmargin.files.source import printable

MAX_COLUMNS = 200  # of one array

Array = NDArray[Any]
Place = Callable[[int | None, str | None], str]


class Arrays:
    """Arrays under names as a `gripmargin.files.table.Sheet`.

    Args:
        arrays: With their names, each of one dimension, or of two: several columns, shape (n, columns), or the other
            way round where only that goes with the others. What is no such array is refused if it is asked for.
        where: What to call the table in an error.
        source: What reports call the trajectory.
        place: Names a place for an error, by the sample and the name of the array.
    """

    def __init__(self, arrays: Iterable[tuple[str, Array]], where: str, source: str, place: Place) -> None:
        self.where, self.source, self.locate = where, source, place
        self.manner: dict[str, Any] = {}
        given = list(arrays)
        samples = {array.size for _, array in given if array.ndim == 1 and array.dtype.kind in "fiuU"}
        self.first, self.size = "", 0
        self.columns: list[tuple[str, Array]] = []
        headers: list[str] = []
        for name, array in given:
            for header, column in _columns(name, array, samples):
                headers.append(header)
                self.columns.append((name, column))
        self.headers: Sequence[str] = headers

    def read(self, columns: Sequence[Column], label: Column | None) -> tuple[FloatArray, tuple[str, ...] | None]:
        """Return the numbers of columns, shape (n, columns), and the labels."""
        for column in sorted([*columns, *([label] if label else [])], key=lambda column: column.index):
            self._check(column, is_label=column is label)
        if not columns:
            raise InputError(self.where, "no arrays of numbers", "the columns of a trajectory")
        values = beside([self.columns[column.index][1] for column in columns])
        return values, None if label is None else tuple(self.columns[label.index][1].tolist())

    def written(self, column: Column) -> Sequence[int] | None:
        """Return a column of whole numbers as they are."""
        array = self.columns[column.index][1]
        return array.tolist() if array.dtype.kind in "iu" else None

    def _check(self, column: Column, *, is_label: bool) -> None:
        name, array = self.columns[column.index]
        where, wrong = self.locate(None, printable(name)), f"an array of {array.dtype}"
        if array.ndim != 1:
            raise InputError(where, f"an array of shape {array.shape}", "one dimension, a value a sample")
        if is_label and array.dtype.kind == "O":
            self._check_labels(name, array)
        elif is_label and array.dtype.kind != "U":
            raise InputError(where, wrong, "an array of text")
        if not is_label and array.dtype.kind not in "fiu":
            raise InputError(where, wrong, "an array of numbers")
        if not is_label and array.dtype.itemsize < SMALLEST:
            raise InputError(where, wrong, "floats of 64 or 32 bits, or integers of 32 bits or more")
        if not self.size:
            self.first, self.size = name, array.size
        if array.size != self.size:
            raise InputError(where, f"{array.size} values", f"{self.size}, as many as '{printable(self.first)}' has")

    def _check_labels(self, name: str, array: Array) -> None:
        for row, label in enumerate(array.tolist()):
            if not isinstance(label, str):
                raise InputError(self.locate(row, printable(name)), f"{label!r}"[:60], "a label as text")


SMALLEST = 4  # [bytes] of a number: half-precision floats resolve 0.05 % only


def _columns(name: str, array: Array, samples: set[int]) -> list[tuple[str, Array]]:
    """An array as one column or several."""
    if array.ndim != 2 or is_own(name):
        return [(name, array)]
    if array.shape[0] not in samples and array.shape[1] in samples:
        array = array.T
    if array.shape[1] == 1:
        return [(name, array[:, 0])]
    if not 0 < array.shape[1] <= MAX_COLUMNS:
        return [(name, array)]
    return list(zip(spread(name, array.shape[1]), array.T, strict=True))
