"""A word for every sample, of a few words: as their numbers, for a tuple of references takes eight bytes a sample."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, overload

import numpy as np
from numpy.typing import DTypeLike, NDArray

from gripmargin.base.stored import parts


class Labels(Sequence[str]):
    """A sequence of words as a tuple of them is, and equal to one.

    Args:
        words: Those that occur.
        numbers: Index into them for each sample, shape (n,).
    """

    def __init__(self, words: Sequence[str], numbers: NDArray[np.integer[Any]]) -> None:
        """Take over words and their numbers."""
        self._words, self._numbers = tuple(words), numbers
        numbers.setflags(write=False)

    def __len__(self) -> int:
        return int(self._numbers.size)

    @overload
    def __getitem__(self, at: int) -> str: ...

    @overload
    def __getitem__(self, at: slice) -> Labels: ...

    def __getitem__(self, at: int | slice) -> str | Labels:
        return Labels(self._words, self._numbers[at]) if isinstance(at, slice) else self._words[self._numbers[at]]

    def __iter__(self) -> Iterator[str]:
        for part in parts(len(self)):
            yield from [self._words[k] for k in self._numbers[part].tolist()]

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Labels | tuple):
            return NotImplemented
        return len(self) == len(other) and all(a == b for a, b in zip(self, other, strict=True))

    def __hash__(self) -> int:
        return hash(tuple(self))

    def __repr__(self) -> str:
        return repr(tuple(self))

    def __array__(self, dtype: DTypeLike | None = None, copy: bool | None = None) -> NDArray[Any]:
        """Return the words as an array of text."""
        return np.array(self._words or ("",), dtype=dtype)[self._numbers]

    def __reduce__(self) -> tuple[Any, ...]:
        return Labels, (self._words, np.array(self._numbers))
