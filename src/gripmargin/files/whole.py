"""Files that are written whole or not at all."""

from __future__ import annotations

import errno
import os
import shutil
import tempfile
from contextlib import suppress
from pathlib import Path
from uuid import uuid4

from gripmargin.base.errors import GripmarginError


def write_whole(path: Path, content: bytes) -> None:
    """Write a file whole or not at all; one that was there is replaced.

    Raises:
        GripmarginError: The place cannot be written.
    """
    staged = stage(path, content)
    try:
        put(path, content, staged)
    finally:
        staged.unlink(missing_ok=True)


def stage(path: Path, content: bytes) -> Path:
    """Write a file beside its place, or, for a device or a pipe, find out whether it can be opened.

    Returns:
        What was written, for `put`.

    Raises:
        GripmarginError: The place cannot be written.
    """
    written = path
    try:
        target = Path(os.path.realpath(path))
        if target.is_dir():
            raise IsADirectoryError(errno.EISDIR, "a directory")
        folder = target.parent
        if _is_stream(path):
            if not os.access(path, os.W_OK):
                raise PermissionError(errno.EACCES, "a place that may not be written")
            folder = Path(tempfile.gettempdir())
        written = folder / f".{target.name[:100]}.{uuid4().hex}"
        with written.open("xb") as file:  # readable to whom the umask says
            file.write(content)
        if target.is_file():
            shutil.copymode(target, written)
    except BaseException as error:
        if written != path:
            written.unlink(missing_ok=True)
        if isinstance(error, OSError | ValueError):
            raise _unwritable(path, error) from error
        raise
    return written


def put(path: Path, content: bytes, staged: Path) -> None:
    """Put what was staged in its place.

    Raises:
        GripmarginError: The place cannot be written.
    """
    try:
        if _is_stream(path):
            path.write_bytes(content)
        else:
            staged.replace(os.path.realpath(path))
    except OSError as error:
        raise _unwritable(path, error) from error


def _is_stream(path: Path) -> bool:
    """Whether something is there that is written into rather than replaced: a device, a pipe."""
    with suppress(OSError):
        return path.exists() and not path.is_file() and not path.is_dir()
    return False


def _unwritable(path: Path, error: Exception) -> GripmarginError:
    found = getattr(error, "strerror", None) or "an error"
    return GripmarginError(str(path)[:200], found, "a place where a file can be written")
