"""Unpacking that ends where the stated or allowed size ends, so that a small file fills neither memory nor disk."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import IO, Any, Final

from gripmargin.base.errors import InputError

_BLOCK: Final = 1 << 20  # [bytes]


def unpack_zstd(data: bytes, most: int) -> bytes | None:
    """Return the content of one zstd frame; None where it is damaged or holds more bytes than `most`."""
    zstd = _zstd()
    return _bounded(zstd.ZstdDecompressor(), data, most, zstd.ZstdError)


def unpack_lz4(data: bytes, most: int) -> bytes | None:
    """Return the content of one lz4 frame; None where it is damaged or holds more bytes than `most`."""
    try:
        from lz4 import frame  # noqa: PLC0415 - optional, and only compressed recordings need it
    except ImportError as error:
        raise library_missing("lz4") from error
    return _bounded(frame.LZ4FrameDecompressor(), data, most, RuntimeError)


def unpack_zstd_file(path: Path, target: IO[bytes], most: int) -> bool:
    """Write the content of a file of one zstd frame; False where it is damaged or holds more bytes than `most`."""
    zstd = _zstd()
    unpacker = zstd.ZstdDecompressor()
    written = 0
    with path.open("rb") as file:
        while not unpacker.eof:
            data = file.read(_BLOCK) if unpacker.needs_input else b""
            if unpacker.needs_input and not data:
                return False
            try:
                out = unpacker.decompress(data, max_length=_BLOCK)
            except zstd.ZstdError:
                return False
            written += len(out)
            if written > most:
                return False
            target.write(out)
        return not unpacker.unused_data and not file.read(1)


def _bounded(unpacker: Any, data: bytes, most: int, fault: type[Exception]) -> bytes | None:
    try:
        out: bytes = unpacker.decompress(data, max_length=most + 1)
    except (fault, ValueError, EOFError):
        return None
    return out if len(out) <= most and unpacker.eof and not unpacker.unused_data else None


def _zstd() -> Any:
    try:
        if sys.version_info >= (3, 14):
            from compression import zstd  # noqa: PLC0415 - only compressed recordings need it
        else:
            from backports import zstd  # noqa: PLC0415 - as above
    except ImportError as error:
        raise library_missing("backports.zstd") from error
    return zstd


def library_missing(name: str, where: str = "recording") -> InputError:
    """Return the error for a library that is not installed."""
    return InputError(
        where,
        f"no library {name} to read it with",
        "the optional dependency 'bags'",
        "install it: pip install 'gripmargin[bags]'",
    )
