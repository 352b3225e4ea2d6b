"""MCAP files, read from front to end: topics, and the messages of those that are asked for.

The format is that of the MCAP specification (mcap.dev/spec): records of one byte of opcode and eight of length.
The file is read in order and its index is not believed: what an index leaves out would be missing without a word.
Chunks are unpacked no further than the size they state, so that a small file does not fill the memory.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Final

from gripmargin.base.errors import InputError
from gripmargin.files.compression import unpack_lz4, unpack_zstd
from gripmargin.files.recording import MAX_MESSAGE, Recording, Topic
from gripmargin.files.source import printable

MAGIC: Final = b"\x89MCAP0\r\n"
MAX_CHUNK: Final = 256_000_000  # [bytes] unpacked; recorders write chunks of about 1 MB
MAX_RECORD: Final = 2 * MAX_MESSAGE  # [bytes] of what is read and is no chunk
MAX_RECORDS: Final = 20_000_000

_HEADER, _FOOTER, _SCHEMA, _CHANNEL, _MESSAGE, _CHUNK, _STATISTICS = 0x01, 0x02, 0x03, 0x04, 0x05, 0x06, 0x0B
_READ: Final = (_SCHEMA, _CHANNEL, _MESSAGE, _CHUNK, _STATISTICS)
_CUT = "a file that was cut short"
_WHOLE = "a whole MCAP file"
_AGAIN = "record it again, or repair it with the tools of its recorder"


def read_mcap(path: Path, recording: Recording) -> None:
    """Add the topics of an MCAP file, and the messages that are wanted, to a recording.

    Raises:
        InputError: Not MCAP, cut short, damaged, a compression that is not known, or too large.
    """
    try:
        _Reader(path, recording).read()
    except (struct.error, UnicodeDecodeError) as error:
        raise InputError(str(path), "a record that is damaged", _WHOLE, _AGAIN) from error


class _Reader:
    def __init__(self, path: Path, recording: Recording) -> None:
        self.path = path
        self.recording = recording
        self.schemas: dict[int, str] = {}
        self.channels: dict[int, tuple[Topic, str]] = {}
        self.records = 0
        self.messages = 0
        self.stated: int | None = None

    def read(self) -> None:
        with self.path.open("rb") as file:
            end = file.seek(0, 2) - len(MAGIC)
            file.seek(0)
            if file.read(len(MAGIC)) != MAGIC:
                raise InputError(str(self.path), "a file that does not start as MCAP does", "an MCAP file")
            file.seek(max(end, 0))
            if end < len(MAGIC) or file.read() != MAGIC:
                raise self._fault(_CUT)
            file.seek(len(MAGIC))
            last = 0
            for opcode, content in self._records(file, end):
                last = opcode
                if opcode == _CHUNK:
                    chunk = self._unpacked(content)
                    for inner, part in self._in_chunk(chunk):
                        self._take(inner, part)
                else:
                    self._take(opcode, content)
        if last != _FOOTER:
            raise self._fault(_CUT)
        if self.stated is not None and self.stated != self.messages:
            raise self._fault(f"{self.messages} messages where its statistics say {self.stated}")

    def _fault(self, found: str) -> InputError:
        return InputError(str(self.path), found, _WHOLE, _AGAIN)

    def _count(self) -> None:
        self.records += 1
        if self.records > MAX_RECORDS:
            raise InputError(str(self.path), f"more than {MAX_RECORDS} records", "a shorter recording")

    def _records(self, file: IO[bytes], end: int) -> Iterator[tuple[int, bytes]]:
        """Yield the records of the file that matter here; pass over attachments and indexes unread."""
        place = file.tell()
        while place < end:
            head = file.read(9)
            if place + 9 > end:
                raise self._fault(_CUT)
            opcode, length = struct.unpack("<BQ", head)
            following = place + 9 + length
            if following > end:
                raise self._fault(_CUT)
            self._count()
            if opcode == _MESSAGE and length > MAX_RECORD and not self._channel(file.read(2))[0].wanted:
                self.messages += 1
            elif opcode in _READ and length > (MAX_CHUNK if opcode == _CHUNK else MAX_RECORD):
                raise InputError(str(self.path), f"a record of {length / 1e6:.4g} MB", "smaller records")
            elif opcode in _READ:
                yield opcode, file.read(length)
            elif opcode in (_HEADER, _FOOTER):
                yield opcode, b""
            place = file.seek(following)

    def _in_chunk(self, chunk: bytes) -> Iterator[tuple[int, bytes]]:
        place, end = 0, len(chunk)
        while place < end:
            opcode, length = struct.unpack_from("<BQ", chunk, place)
            place += 9
            if place + length > end or opcode == _CHUNK:
                raise self._fault("a chunk that is damaged")
            self._count()
            yield opcode, chunk[place : place + length]
            place += length

    def _channel(self, key: bytes) -> tuple[Topic, str]:
        (number,) = struct.unpack("<H", key)
        if number not in self.channels:
            raise self._fault("a message of a channel that is not described")
        return self.channels[number]

    def _take(self, opcode: int, content: bytes) -> None:
        if opcode == _MESSAGE:
            self._take_message(content)
        elif opcode == _SCHEMA:
            (number,) = struct.unpack_from("<H", content)
            self.schemas[number], _ = _text(content, 2)
        elif opcode == _CHANNEL:
            number, schema = struct.unpack_from("<HH", content)
            name, place = _text(content, 4)
            encoding, _ = _text(content, place)
            topic = self.recording.topic(name, self.schemas.get(schema, "no type"))
            self.channels[number] = (topic, encoding)
        elif opcode == _STATISTICS:
            (self.stated,) = struct.unpack_from("<Q", content)

    def _take_message(self, content: bytes) -> None:
        self.messages += 1
        topic, encoding = self._channel(content[:2])
        (received,) = struct.unpack_from("<Q", content, 6)
        self.recording.add(self.path, topic, encoding, received, content[22:])

    def _unpacked(self, content: bytes) -> bytes:
        size, checksum = struct.unpack_from("<QI", content, 16)
        compression, place = _text(content, 28)
        (packed,) = struct.unpack_from("<Q", content, place)
        data = content[place + 8 : place + 8 + packed]
        if len(data) != packed:
            raise self._fault("a chunk that is damaged")
        if size > MAX_CHUNK:
            raise InputError(
                str(self.path), f"a chunk of {size / 1e6:.4g} MB", f"chunks of at most {MAX_CHUNK / 1e6:.4g} MB"
            )
        unpack = {"": lambda data, _: data, "zstd": unpack_zstd, "lz4": unpack_lz4}.get(compression)
        if unpack is None:
            found = f"chunks compressed by '{printable(compression)}'"
            raise InputError(str(self.path), found, "chunks compressed by zstd, by lz4 or not at all")
        chunk = unpack(data, size)
        if chunk is None or len(chunk) != size or (checksum and zlib.crc32(chunk) != checksum):
            raise self._fault("a chunk that is damaged")
        return chunk


def _text(content: bytes, place: int) -> tuple[str, int]:
    (length,) = struct.unpack_from("<I", content, place)
    place += 4
    if place + length > len(content):
        raise struct.error("text longer than its record")
    return content[place : place + length].decode(), place + length
