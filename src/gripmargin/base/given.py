"""What Python hands in: of the class that is due, or an error that says what was found in its place."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any, TypeVar

from gripmargin.base.errors import InputError

T = TypeVar("T")
LONGEST = 60  # characters of a value that a message repeats


def shown(value: object) -> str:
    """Return what a value is, in a few words for a message."""
    if value is None:
        return "nothing (None)"
    if isinstance(value, (str, bool, int, float)):
        text = repr(value)
        return text if len(text) <= LONGEST else f"{text[:LONGEST]}..."
    name = type(value).__name__
    return f"{'an' if name[0].lower() in 'aeio' else 'a'} {name}"


def of_class(value: Any, kinds: type[T] | tuple[type, ...], where: str, remedy: str = "") -> T:
    """Return a value that is of a class, or of one of some.

    Raises:
        InputError: It is of another; ``where`` is what it is called.
    """
    if isinstance(value, kinds):
        return value  # type: ignore[return-value]
    names = [kind.__name__ for kind in (kinds if isinstance(kinds, tuple) else (kinds,))]
    raise InputError(where, shown(value), f"a {' or '.join(names)}", remedy)


def several(value: Any, kind: type[T], where: str) -> tuple[T, ...]:
    """Return values of a class in a row.

    Raises:
        InputError: One alone, or an entry of another class.
    """
    due = "a list of texts" if kind is str else f"a list of {kind.__name__}"
    if isinstance(value, kind):
        raise InputError(where, f"one {kind.__name__}", due, "put it in [ ]")
    values = in_row(value, where, due)
    if {*map(type, values)} <= {kind}:  # a label for each of many samples
        return values
    return tuple(of_class(each, kind, f"{where}[{i}]") for i, each in enumerate(values))


def in_row(value: Any, where: str, due: str) -> tuple[Any, ...]:
    """Return what stands in a row.

    Raises:
        InputError: Nothing does; ``due`` is what is expected.
    """
    try:
        return tuple(value)
    except TypeError:
        raise InputError(where, shown(value), due) from None


def texts(value: Any, where: str) -> tuple[str, ...]:
    """Return texts in a row; one alone counts as a row of one.

    Raises:
        InputError: An entry that is no text.
    """
    return several((value,) if isinstance(value, str) else value, str, where)


def as_path(value: Any, where: str = "path") -> Path:
    """Return the path of a file.

    Raises:
        InputError: It is none.
    """
    return Path(of_class(value, (str, os.PathLike), where))


def as_paths(value: Any, where: str = "paths") -> tuple[str, ...]:
    """Return the paths of files as they are written.

    Raises:
        InputError: One alone, or an entry that is none.
    """
    if isinstance(value, (str, os.PathLike)):
        raise InputError(where, "one path", "a list of paths", "put it in [ ]")
    each = in_row(value, where, "a list of paths")
    return tuple(os.fspath(of_class(path, (str, os.PathLike), f"{where}[{i}]")) for i, path in enumerate(each))
