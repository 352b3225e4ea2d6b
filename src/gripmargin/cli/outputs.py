"""Where reports go: standard output for one of them, files that are written whole or not at all."""

from __future__ import annotations

import errno
import os
import sys
import tempfile
from collections.abc import Iterable, Mapping
from contextlib import suppress
from pathlib import Path

from gripmargin.errors import GripmarginError, InputError

STDOUT = "-"


def checked_places(places: Mapping[str, str | None], inputs: Iterable[str]) -> dict[str, str]:
    """Return where to write what, by the name of its argument; places that are not wanted are left out.

    Whether they can be written is found out here, before anything is judged.

    Args:
        places: File names by argument; '-' is standard output, None is not wanted.
        inputs: Files that are read and must stay as they are.

    Raises:
        GripmarginError: Two go to the same place, one would overwrite an input, or a place cannot be written.
    """
    wanted = {name: place for name, place in places.items() if place is not None}
    read = {os.path.realpath(name) for name in inputs}
    taken: dict[str, str] = {}
    for name, place in wanted.items():
        real = place if place == STDOUT else os.path.realpath(place)
        if real in taken:
            found = "another report for standard output" if place == STDOUT else f"'{place}', as {taken[real]} has"
            raise InputError(name, found, f"a place of its own beside {taken[real]}")
        if real in read:
            raise InputError(name, f"'{place}', which is read", "a file that this run does not read")
        taken[real] = name
        if place != STDOUT:
            _stage(Path(place), "").unlink(missing_ok=True)
    return wanted


def write_all(texts: Mapping[str, str]) -> None:
    """Write texts to their places, none before all can be written.

    Args:
        texts: Text by file name; '-' is standard output.

    Raises:
        GripmarginError: A file cannot be written; the files are then as they were.
    """
    staged: list[tuple[Path, str, Path]] = []
    try:
        for place, text in texts.items():
            if place != STDOUT:
                staged.append((Path(place), text, _stage(Path(place), text)))
        if STDOUT in texts:
            sys.stdout.write(texts[STDOUT])
            sys.stdout.flush()
        for path, text, written in staged:
            _put(path, text, written)
    finally:
        for _, _, written in staged:
            written.unlink(missing_ok=True)


def _stage(path: Path, text: str) -> Path:
    """Write a text beside its place, or, for a device or a pipe, find out whether it can be opened."""
    target = Path(os.path.realpath(path))
    written: Path | None = None
    try:
        if target.is_dir():
            raise IsADirectoryError(errno.EISDIR, "a directory")
        folder = target.parent
        if _is_stream(path):
            if not os.access(path, os.W_OK):
                raise PermissionError(errno.EACCES, "a place that may not be written")
            folder = Path(tempfile.gettempdir())
        with tempfile.NamedTemporaryFile(
            "w", encoding="utf-8", errors="backslashreplace", dir=folder, prefix=f".{target.name[:100]}.", delete=False
        ) as file:
            written = Path(file.name)
            file.write(text)
        written.chmod(0o644)
    except (OSError, ValueError) as error:
        if written is not None:
            written.unlink(missing_ok=True)
        raise _unwritable(path, error) from error
    return written


def _put(path: Path, text: str, written: Path) -> None:
    try:
        if _is_stream(path):
            with path.open("w", encoding="utf-8", errors="backslashreplace") as file:
                file.write(text)
        else:
            written.replace(os.path.realpath(path))
    except OSError as error:
        raise _unwritable(path, error) from error


def _is_stream(path: Path) -> bool:
    """Whether something is there that is written into rather than replaced: a device, a pipe."""
    with suppress(OSError):
        return path.exists() and not path.is_file() and not path.is_dir()
    return False


def _unwritable(path: Path, error: Exception) -> GripmarginError:
    found = getattr(error, "strerror", None) or "an error"
    return GripmarginError(str(path), found, "a place where a file can be written")
