"""Where reports go: standard output for one of them, files that are written whole or not at all."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Iterable, Mapping
from contextlib import suppress
from pathlib import Path

from gripmargin.base.errors import FaultError, GripmarginError, InputError
from gripmargin.cli.terminal import coloured
from gripmargin.files.source import printable
from gripmargin.files.whole import put, stage

STDOUT = "-"


def checked_places(places: Mapping[str, str | None], jobs: Iterable[str], others: Iterable[str] = ()) -> dict[str, str]:
    """Return where to write what, by the name of its argument; places that are not wanted are left out.

    Whether they can be written is found out here, before anything is judged.

    Args:
        places: File names by argument; '-' is standard output, None is not wanted.
        jobs: Job files: they, and the files that they read, must stay as they are.
        others: Other files that are read.

    Raises:
        GripmarginError: Two go to the same place, one would overwrite an input, or a place cannot be written.
    """
    wanted = {name: place for name, place in places.items() if place is not None}
    taken: dict[object, str] = {}
    there: dict[tuple[int, int], str] = {}
    for name, place in wanted.items():
        same = {_identity(place), _spelled(place)} - {None}
        first = next((taken[each] for each in same if each in taken), None)
        if first is not None:
            found = "another report for standard output" if place == STDOUT else f"'{place}', as {first} has"
            raise InputError(name, found, f"a place of its own beside {first}")
        taken |= dict.fromkeys(same, name)
        identity = _identity(place)
        if identity is not None:
            there[identity] = name
    if there:
        _refuse_inputs(there, wanted, jobs, others)
    for place in wanted.values():
        if place != STDOUT:
            stage(Path(place), b"").unlink(missing_ok=True)
    return wanted


def _identity(name: str | Path) -> tuple[int, int] | None:
    """What tells whether two names are those of one file: links, folders and upper case do not. None: no such file."""
    try:
        status = Path(name).stat() if name != STDOUT else None
    except (OSError, ValueError):
        return None
    return None if status is None else (status.st_dev, status.st_ino)


def _spelled(place: str) -> str:
    """The same of a file that is not there yet: its full name, in one case for file systems that know but one."""
    return place if place == STDOUT else os.path.realpath(place).casefold()


def _refuse_inputs(
    there: Mapping[tuple[int, int], str], wanted: Mapping[str, str], jobs: Iterable[str], others: Iterable[str]
) -> None:
    """Refuse outputs, by what they are, that would overwrite a file that is read."""
    from gripmargin.files.job_tree import files_read  # noqa: PLC0415 - only where an output is there already

    read = [(other, "") for other in others]
    read += [(str(file), job) for job in jobs for file in files_read(Path(job))]
    for file, job in read:
        name = there.get(_identity(file) or (-1, -1))
        if name is not None:
            found = f"'{printable(wanted[name], 200)}', which is read" + (
                f" by the job {printable(job, 200)}" if job else ""
            )
            raise InputError(name, found, "a file that this run does not read", "choose another name")


def write_all(texts: Mapping[str, str | bytes]) -> None:
    """Write texts to their places, none before all can be written.

    Args:
        texts: Text, or bytes, by file name; '-' is left out.

    Raises:
        GripmarginError: A file cannot be written; the files are then as they were.
    """
    staged: list[tuple[Path, bytes, Path]] = []
    try:
        for place, text in texts.items():
            if place != STDOUT:
                content = text if isinstance(text, bytes) else text.encode("utf-8", errors="backslashreplace")
                staged.append((Path(place), content, stage(Path(place), content)))
        for path, content, written in staged:
            put(path, content, written)
    finally:
        for _, _, written in staged:
            written.unlink(missing_ok=True)


def say(text: str, name: str = "") -> bool:
    """Print a text on standard output, and return whether there is anybody to read it.

    Args:
        text: The text.
        name: Of the argument that asks for it; empty: it is for a person.
    """
    try:
        shown = visible(text, name)
        raw = getattr(sys.stdout, "buffer", None) if name else None
        if raw is None:
            sys.stdout.write(shown if name else coloured(shown))
        else:  # programs read UTF-8 and these ends of lines, whatever the letters of the terminal
            sys.stdout.flush()
            raw.write(shown.encode("utf-8", errors="backslashreplace"))
        sys.stdout.flush()
    except BrokenPipeError:
        nobody_reads()
        return False
    return True


def nobody_reads() -> None:
    """Let what is still printed go nowhere: the reader of standard output has left."""
    with suppress(OSError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def visible(text: str, name: str = "") -> str:
    """Return text whose control characters a terminal does not act on.

    Args:
        text: The text.
        name: Of the argument that asks for it; empty: it is for a person.
    """
    if text.isascii() and not _CONTROL.search(text):
        return text
    escape = _ESCAPES.get(name, _in_text)
    return "".join(c if c.isprintable() or c == "\n" else escape(c) for c in text)


_CONTROL = re.compile(r"[\x00-\x09\x0b-\x1f\x7f]")


def _in_json(c: str) -> str:
    return f"\\u{ord(c):04x}" if c < "\U00010000" else c


def _in_xml(c: str) -> str:
    return c if c in "\t\r" else f"&#{ord(c)};"


def _in_text(c: str) -> str:
    return c.encode("unicode_escape").decode()


_ESCAPES = {"--json": _in_json, "--lines": _in_json, "--junit": _in_xml}


def complain(error: GripmarginError, job: str = "") -> None:
    """Say on standard error what is wrong, and where it arose if that is asked for.

    Args:
        error: What is wrong.
        job: One of several job files, with which each line begins; empty: it is the only one.
    """
    lines = [line if line.startswith(job) else f"{job}: {line}" for line in str(error).split("\n")]
    print("\n".join(f"gripmargin: {visible(line)}" for line in lines), file=sys.stderr)
    if isinstance(error, FaultError) and error.trace and os.environ.get("GRIPMARGIN_TRACEBACK"):
        print(visible(error.trace), file=sys.stderr)
