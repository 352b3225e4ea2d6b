"""Files that are written whole or not at all."""

from __future__ import annotations

import tempfile
from pathlib import Path

from gripmargin.errors import GripmarginError


def write_whole(path: Path, content: bytes) -> None:
    """Write a file whole or not at all; one that was there is replaced.

    Raises:
        GripmarginError: The place cannot be written.
    """
    written: Path | None = None
    try:
        with tempfile.NamedTemporaryFile("wb", dir=path.parent, prefix=f".{path.name}.", delete=False) as file:
            written = Path(file.name)
            file.write(content)
        written.chmod(0o644)
        written.replace(path)
    except (OSError, ValueError) as error:
        if written is not None:
            written.unlink(missing_ok=True)
        reason = getattr(error, "strerror", None) or "an error"
        raise GripmarginError(str(path)[:200], reason, "a place where a file can be written") from error
