"""The records of a ROS 1 bag, read from front to end and without its index (wiki.ros.org/Bags/Format/2.0)."""

from __future__ import annotations

import bz2
import struct
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import IO, Final, NamedTuple

from lz4 import frame as lz4

from gripmargin.base.errors import InputError
from gripmargin.files.source import printable

MAGIC: Final = b"#ROSBAG V2.0\n"
MAX_CHUNK: Final = 256_000_000  # [bytes] unpacked; recorders write chunks of about 1 MB
MAX_HEADER: Final = 1_000_000  # [bytes]
MAX_PACKING: Final = 1_000  # unpacked over packed, for the sake of time
_MESSAGE, _BAG, _CHUNK, _CONNECTION = 2, 3, 5, 7
_PACKED: Final = {b"none": lambda packed: packed, b"bz2": bz2.open, b"lz4": lz4.open}


class BagMessage(NamedTuple):
    """A message of a bag: topic, type such as "sensor_msgs/JointState", time of receipt [ns], content."""

    topic: str
    kind: str
    received: int
    content: bytes


def bag_messages(path: Path) -> Iterator[tuple[str, str] | BagMessage]:
    """Yield the topics of a bag with their types, and its messages, in the order of the file.

    Raises:
        InputError: The file is damaged, or was not closed by its recorder.
    """
    size = path.stat().st_size
    with path.open("rb") as file:
        if file.read(len(MAGIC)) != MAGIC:
            found = "a file that does not start as a bag of ROS 1 does"
            raise InputError(str(path), found, "a bag of ROS 1, version 2.0")
        try:
            yield from _Bag(path, size).messages(file)
        except (struct.error, KeyError, ValueError, EOFError, RuntimeError) as error:
            raise _damaged(path) from error


def _damaged(path: Path, found: str = "a record that is damaged, or a file that was cut short") -> InputError:
    remedy = "close it with its recorder's tools (reindex), or record it again"
    return InputError(str(path), found, "a whole bag of ROS 1", remedy)


class _Bag:
    def __init__(self, path: Path, size: int) -> None:
        self.path = path
        self.left = MAX_CHUNK + MAX_PACKING * size
        self.topics: dict[int, tuple[str, str]] = {}
        self.chunks = 0
        self.stated: int | None = None

    def messages(self, file: IO[bytes]) -> Iterator[tuple[str, str] | BagMessage]:
        for head, data in self._records(file):
            match head[b"op"][0]:
                case 3:
                    (self.stated,) = struct.unpack("<I", head[b"chunk_count"])
                case 5:
                    self.chunks += 1
                    for inner, content in self._records(BytesIO(self._unpacked(head, data))):
                        yield from self._taken(inner, content)
                case _:
                    yield from self._taken(head, data)
        if self.stated != self.chunks:
            raise _damaged(self.path, f"{self.chunks} chunks where its header says {self.stated}")

    def _taken(self, head: dict[bytes, bytes], data: bytes) -> Iterator[tuple[str, str] | BagMessage]:
        op = head[b"op"][0]
        if op == _CONNECTION:
            number, topic = self._number(head), head[b"topic"].decode()
            known = self.topics.setdefault(number, (topic, _fields(data)[b"type"].decode()))
            yield known
        elif op == _MESSAGE:
            seconds, rest = struct.unpack("<II", head[b"time"])
            yield BagMessage(*self.topics[self._number(head)], seconds * 10**9 + rest, data)
        elif op in (_BAG, _CHUNK):
            raise ValueError

    @staticmethod
    def _number(head: dict[bytes, bytes]) -> int:
        return int(struct.unpack("<I", head[b"conn"])[0])

    def _records(self, file: IO[bytes]) -> Iterator[tuple[dict[bytes, bytes], bytes]]:
        """Headers and data of the records, those of indexes among them."""
        while start := file.read(4):
            head = _fields(_exactly(file, _length(start, MAX_HEADER)))
            yield head, _exactly(file, _length(file.read(4), MAX_CHUNK))

    def _unpacked(self, head: dict[bytes, bytes], data: bytes) -> bytes:
        packing = head[b"compression"]
        size = _length(head[b"size"], MAX_CHUNK)
        if packing not in _PACKED:
            found = f"chunks compressed by '{printable(packing.decode(errors='replace'))}'"
            raise InputError(str(self.path), found, "chunks compressed by bz2, by lz4 or not at all")
        self.left -= size
        if self.left < 0:
            found = f"chunks that unpack to more than {MAX_PACKING} times the size of the file"
            raise InputError(str(self.path), found, "a recording of joint states", "record their topic alone")
        try:
            with _PACKED[packing](BytesIO(data)) as packed:
                content = packed.read(size)
                whole = len(content) == size and not packed.read(1)
        except OSError as error:
            raise ValueError from error
        if not whole:
            raise ValueError
        return content


def _length(packed: bytes, most: int) -> int:
    (length,) = struct.unpack("<I", packed)
    if length > most:
        raise ValueError
    return int(length)


def _exactly(file: IO[bytes], length: int) -> bytes:
    content = file.read(length)
    if len(content) < length:
        raise EOFError
    return content


def _fields(head: bytes) -> dict[bytes, bytes]:
    found: dict[bytes, bytes] = {}
    place = 0
    while place < len(head):
        end = place + 4 + _length(head[place : place + 4], MAX_HEADER)
        name, equal, value = head[place + 4 : end].partition(b"=")
        if not equal or end > len(head):
            raise ValueError
        found[name] = value
        place = end
    return found
