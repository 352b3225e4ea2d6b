"""Where reports go: standard output for one of them, files that are written whole or not at all."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable, Mapping
from pathlib import Path

from gripmargin.base.errors import InputError
from gripmargin.files.whole import put, stage

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
            stage(Path(place), b"").unlink(missing_ok=True)
    return wanted


def write_all(texts: Mapping[str, str | bytes]) -> None:
    """Write texts to their places, none before all can be written.

    Args:
        texts: Text, or bytes, by file name; '-' is standard output and takes text.

    Raises:
        GripmarginError: A file cannot be written; the files are then as they were.
    """
    staged: list[tuple[Path, bytes, Path]] = []
    try:
        for place, text in texts.items():
            if place != STDOUT:
                content = text if isinstance(text, bytes) else text.encode("utf-8", errors="backslashreplace")
                staged.append((Path(place), content, stage(Path(place), content)))
        if STDOUT in texts:
            sys.stdout.write(str(texts[STDOUT]))
            sys.stdout.flush()
        for path, content, written in staged:
            put(path, content, written)
    finally:
        for _, _, written in staged:
            written.unlink(missing_ok=True)
