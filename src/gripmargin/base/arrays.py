"""Arrays that stay as they were checked: own, finite, read-only copies, and the values that hold them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields
from typing import Any, Self, TypeGuard, TypeVar
from weakref import WeakValueDictionary

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gripmargin.base.errors import InputError
from gripmargin.base.stored import LONG, by_parts, parts

FloatArray = NDArray[np.floating[Any]]
T = TypeVar("T")
_OWN: WeakValueDictionary[int, FloatArray] = WeakValueDictionary()  # all that is frozen, as long as somebody has it


def frozen(values: ArrayLike, shape: tuple[int | None, ...], where: str, *, most: float = np.inf) -> FloatArray:
    """Return an own, finite, read-only float64 copy of an array; one that was made so before is returned itself.

    Args:
        values: Anything numpy reads as numbers.
        shape: The shape due; None stands for any length.
        where: What to call the array in an error.
        most: Size that no entry may exceed.

    Raises:
        InputError: Not numbers, another shape, or NaN, infinity or too large a number somewhere.
    """
    try:
        array = values if _is_own(values) else _copied(values)
    except (TypeError, ValueError) as error:
        raise InputError(where, "something that is not an array of numbers", _shape_text(shape)) from error
    fits = array.ndim == len(shape) and all(
        due is None or due == got for due, got in zip(shape, array.shape, strict=True)
    )
    if not fits:
        raise InputError(where, f"an array of shape {array.shape}", f"shape {_shape_text(shape)}")
    if (found := first_wrong(array, lambda some: ~np.isfinite(some))) is not None:
        place = f"{where}[{', '.join(map(str, found))}]"
        raise InputError(place, f"{array[found]}", "a finite number", "remove or repair it")
    if most < np.inf and (found := first_wrong(array, lambda some: np.abs(some) > most)) is not None:
        place = f"{where}[{', '.join(map(str, found))}]"
        raise InputError(place, f"{array[found]:g}", f"a number of at most {most:g}", "check its unit and its exponent")
    return owned(array)


def owned(array: FloatArray) -> FloatArray:
    """Make an array that nobody else writes to read-only, so that `frozen` takes it as it is; return it."""
    array.setflags(write=False)
    _OWN[id(array)] = array
    return array


def _copied(values: ArrayLike) -> FloatArray:
    given = np.asarray(values)
    if 8 * given.size <= LONG:
        return np.array(values, dtype=np.float64, order="C")
    return by_parts(lambda some: some, given)


def first_wrong(array: NDArray[Any], wrong: Callable[[NDArray[Any]], NDArray[Any]]) -> tuple[int, ...] | None:
    """Return the index of the first number of an array that is wrong; None: none is."""
    if array.ndim == 0:
        return () if wrong(array).any() else None
    for part in parts(len(array)):
        if (found := wrong(array[part])).any():
            index = np.argwhere(found)[0]
            index[0] += part.start
            return tuple(int(i) for i in index)
    return None


def sealed(array: FloatArray) -> FloatArray:
    """Mark an array of our own as read-only and return it."""
    array.setflags(write=False)
    return array


def _is_own(values: ArrayLike) -> TypeGuard[FloatArray]:
    """Whether these are an array that was frozen here: nobody else has written to it."""
    return isinstance(values, np.ndarray) and _OWN.get(id(values)) is values and not values.flags.writeable


def _shape_text(shape: tuple[int | None, ...]) -> str:
    inner = ", ".join("n" if due is None else str(due) for due in shape)
    return f"({inner},)" if len(shape) == 1 else f"({inner})"


class Value:
    """Base of the frozen dataclasses: equal by content, unchanged by copy, deepcopy and pickle.

    A frozen dataclass around an array is not frozen by itself: numpy drops the read-only flag on
    deepcopy and on unpickling. Copies therefore return the object itself, and unpickling goes through
    the constructor with all its checks.
    """

    def __copy__(self) -> Self:
        return self

    def __deepcopy__(self, memo: dict[int, Any]) -> Self:
        return self

    def __reduce__(self) -> tuple[Any, ...]:
        content = {f.name: getattr(self, f.name) for f in fields(self) if f.init}  # type: ignore[arg-type]
        return rebuild, (type(self), content)

    def __eq__(self, other: object) -> bool:
        if type(self) is not type(other):
            return NotImplemented
        return all(
            _same(getattr(self, f.name), getattr(other, f.name))
            for f in fields(self)  # type: ignore[arg-type]
        )

    def __hash__(self) -> int:
        content = (getattr(self, f.name) for f in fields(self))  # type: ignore[arg-type]
        return hash(tuple((v + 0.0).tobytes() if isinstance(v, np.ndarray) else v for v in content))  # -0.0 equals 0.0


class ByName(Mapping[str, T]):
    """Values by name, in their order: a mapping that stays as it is, of which a hash can be made."""

    def __init__(self, values: Mapping[str, T]) -> None:
        """Take the values of a mapping over."""
        self._values = dict(values)

    def __getitem__(self, name: str) -> T:
        return self._values[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._values)

    def __len__(self) -> int:
        return len(self._values)

    def __hash__(self) -> int:
        return hash(tuple(self._values.items()))

    def __repr__(self) -> str:
        return repr(self._values)

    def __copy__(self) -> Self:
        return self

    def __deepcopy__(self, memo: dict[int, Any]) -> Self:
        return self


def rebuild(kind: type[Any], content: dict[str, Any]) -> Any:
    """Make a value anew from its content: what unpickling calls."""
    return kind(**content)


def _same(a: Any, b: Any) -> bool:
    if isinstance(a, np.ndarray) or isinstance(b, np.ndarray):
        return np.array_equal(a, b)
    return bool(a == b)
