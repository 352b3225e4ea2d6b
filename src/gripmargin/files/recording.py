"""The files of a recording, read without ROS: topics, and the messages of some types.

MCAP is read by the library mcap, sqlite3 by that of Python, a bag of ROS 1 by `ros1_bag`, all in order and without
their indexes: what an index
leaves out would be missing without a word. What is packed is unpacked no further than it says or may hold, so that a
small file fills neither memory nor disk.
"""

from __future__ import annotations

import sqlite3
import sys
import tempfile
import zlib
from collections.abc import Callable, Collection, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from io import BytesIO
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import IO, Any, Final, Protocol

from lz4 import frame as lz4
from mcap.records import Channel, Chunk, McapRecord, Message, Schema, Statistics
from mcap.stream_reader import StreamReader

from gripmargin.base.errors import InputError
from gripmargin.files.bag_messages import plain_kind
from gripmargin.files.ros1_bag import BagMessage, bag_messages
from gripmargin.files.source import checked_size, describe, printable, read_text
from gripmargin.files.yaml_text import parse_yaml
from gripmargin.motion.trajectory import MAX_SAMPLES

if sys.version_info >= (3, 14):
    from compression import zstd
else:
    from backports import zstd

MAX_BYTES: Final = 4_000_000_000  # of each file, packed and unpacked
MAX_FILES: Final = 1_000
MAX_METADATA: Final = 10_000_000  # [bytes]
MAX_MESSAGE: Final = 20_000_000  # [bytes]; a plan of 50,000 points has some 15 MB, a joint state some kB
MAX_CHUNK: Final = 256_000_000  # [bytes] unpacked; recorders write chunks of about 1 MB
MAX_PACKING: Final = 1_000  # unpacked over packed, for the sake of time; joints that stand still come to some 50
MAX_RECORDS: Final = 20_000_000
MAX_TOPICS: Final = 10_000
METADATA: Final = "metadata.yaml"
_INFORMATION: Final = "rosbag2_bagfile_information"
_IN_FOLDERS: Final = (".mcap", ".db3")
_MODES: Final = ("", "none", "file", "message", "storage")
_TABLES: Final = {
    "topics": {"id", "name", "type", "serialization_format"},
    "messages": {"topic_id", "timestamp", "data"},
}
_MAGIC: Final = b"\x89MCAP0\r\n"
_END: Final = b"\x02" + (20).to_bytes(8, "little") + bytes(20) + _MAGIC  # a footer: after the records of a chunk, too


@dataclass
class Topic:
    """A topic of a recording.

    Attributes:
        name: Such as "/joint_states".
        kind: Type of its messages, such as "sensor_msgs/msg/JointState", as ROS 2 spells it.
        wanted: Whether its messages are kept.
        count: Number of messages.
        encoding: How they are encoded.
        messages: Time of receipt [ns] and content of each, in the order of the file; only of wanted topics.
    """

    name: str
    kind: str
    wanted: bool
    count: int = 0
    encoding: str = ""
    messages: list[tuple[int, bytes]] = field(default_factory=list)


@dataclass
class Recording:
    """What is found in the files of a recording.

    Attributes:
        kinds: Types of messages that are kept.
        only: Topic that is kept; None: all of those types.
        topics: By name and type.
    """

    kinds: Collection[str]
    only: str | None
    topics: dict[tuple[str, str], Topic] = field(default_factory=dict)

    def topic(self, name: str, kind: str) -> Topic:
        """Return the topic of a name and type, a new one where it is not known yet."""
        kind = plain_kind(kind)
        if (name, kind) not in self.topics:
            if len(self.topics) >= MAX_TOPICS:
                raise InputError("recording", f"more than {MAX_TOPICS} topics", "fewer topics")
            wanted = kind in self.kinds and self.only in (None, name)
            self.topics[name, kind] = Topic(name, kind, wanted)
        return self.topics[name, kind]

    def add(self, path: Path, topic: Topic, encoding: str, received: int, content: bytes) -> None:
        """Count a message, and keep it where it is wanted.

        Raises:
            InputError: A wanted message in another encoding than those of ROS, or too large, or one too many.
        """
        topic.count += 1
        if not topic.wanted:
            return
        where = f"{path}, topic '{printable(topic.name)}'"
        if encoding not in ("cdr", "ros1") or topic.encoding not in ("", encoding):
            found = f"messages encoded as '{printable(encoding)}'"
            raise InputError(where, found, "messages encoded as 'cdr' or 'ros1'")
        topic.encoding = encoding
        if len(content) > MAX_MESSAGE:
            raise InputError(where, f"a message of {len(content) / 1e6:.4g} MB", f"at most {MAX_MESSAGE / 1e6:g} MB")
        if topic.count > MAX_SAMPLES:
            raise InputError(where, f"more than {MAX_SAMPLES} messages", "fewer", "split the recording")
        topic.messages.append((received, content))


def read_recording(path: Path, kinds: Collection[str], only: str | None = None) -> Recording:
    """Read the topics of a recording and the messages of some types.

    Args:
        path: The folder of a rosbag2 recording, or a ``.mcap``, ``.db3`` or ``.bag`` file.
        kinds: Types of the messages that are kept, such as "sensor_msgs/msg/JointState".
        only: The topic whose messages are kept; None: all of those types.

    Raises:
        InputError: With the file, and what is wrong with it.
    """
    recording = Recording(kinds, only)
    if path.is_dir():
        _read_folder(path, recording)
    else:
        _read_file(path, recording)
    return recording


def _read_file(path: Path, recording: Recording) -> None:
    checked_size(path, MAX_BYTES)
    try:
        _STORAGES[path.suffix.lower()](path, recording)
    except OSError as error:
        found = f"a file that cannot be read ({error.strerror})"
        raise InputError(str(path), found, "a file that can be read") from error


def _read_folder(folder: Path, recording: Recording) -> None:
    metadata = folder / METADATA
    if not metadata.exists():
        remedy = "name the file in it (.mcap or .db3), where its recorder did not end as it should"
        raise InputError(str(folder), f"a folder without {METADATA}", "the folder of a rosbag2 recording", remedy)
    tree = parse_yaml(metadata, read_text(metadata, MAX_METADATA), "description of a recording")
    table = tree.get(_INFORMATION) if isinstance(tree, dict) else None
    if not isinstance(table, dict):
        found = f"{describe(tree)} without {_INFORMATION}"
        raise InputError(str(metadata), found, "the metadata of a rosbag2 recording")
    mode = str(table.get("compression_mode") or "").lower()
    packing = str(table.get("compression_format") or "").lower()
    if mode not in _MODES or (mode in ("file", "message") and packing != "zstd"):
        found = f"the compression '{printable(packing)}' by '{printable(mode)}'"
        raise InputError(str(metadata), found, "zstd by file or by message, or none")
    for file in _files(metadata, table, packed=mode == "file"):
        if mode == "file":
            _read_packed(file, recording)
        else:
            _read_file(file, recording)
    if mode == "message":
        _unpack_messages(folder, recording)
    _compare_counts(metadata, table, recording)


def _files(metadata: Path, table: dict[str, Any], *, packed: bool) -> list[Path]:
    """The files of a recording, all of them within its folder."""
    names = table.get("relative_file_paths")
    where = f"{metadata}: {_INFORMATION}.relative_file_paths"
    if not isinstance(names, list) or not names or len(names) > MAX_FILES:
        raise InputError(where, describe(names), f"a list of 1 to {MAX_FILES} files")
    files: list[Path] = []
    for i, name in enumerate(names):
        parts = PurePosixPath(name).parts if isinstance(name, str) else ()
        # Early versions wrote the folder's name before that of the file.
        if not parts or len(parts) > 2 or ".." in parts or PureWindowsPath(name).anchor or "\\" in name:
            raise InputError(f"{where}[{i}]", describe(name), "the name of a file within the folder")
        file = metadata.parent / parts[-1]
        inner = Path(file.stem) if packed and file.suffix == ".zstd" else file
        if inner.suffix.lower() not in _IN_FOLDERS:
            raise InputError(f"{where}[{i}]", describe(name), f"a file ending in {' or '.join(_IN_FOLDERS)}")
        if file in files:
            raise InputError(f"{where}[{i}]", "a file that stands twice", "each file once")
        files.append(file)
    return files


def _compare_counts(metadata: Path, table: dict[str, Any], recording: Recording) -> None:
    """Refuse a recording that has lost messages since its description was written."""
    where = f"{metadata}: {_INFORMATION}.message_count"
    stated = table.get("message_count")
    found = sum(topic.count for topic in recording.topics.values())
    if not isinstance(stated, str) or not stated.isdecimal() or len(stated) > 20:
        raise InputError(where, describe(stated), "the number of messages")
    if int(stated) != found:
        remedy = "messages are missing or were added: restore the files, or describe the recording anew (reindex)"
        raise InputError(where, stated, f"{found}, the messages that are in the files", remedy)


# ---- what is packed ----


class _Packed(Protocol):
    def read(self, size: int, /) -> bytes: ...


def _unpack(packed: _Packed, out: IO[bytes], most: int) -> bool:
    """Write what a packed file holds; False where it is damaged or holds more bytes than `most`."""
    written = 0
    try:
        while block := packed.read(1 << 20):
            written += len(block)
            if written > most:
                return False
            out.write(block)
    except Exception:  # each library raises its own
        return False
    return True


def _read_packed(file: Path, recording: Recording) -> None:
    checked_size(file, MAX_BYTES)
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / (file.stem if file.suffix == ".zstd" else file.name)
        with zstd.open(file) as packed, target.open("wb") as out:
            whole = _unpack(packed, out, MAX_BYTES)
        if not whole:
            due = f"a whole file compressed by zstd, of at most {MAX_BYTES / 1e9:g} GB unpacked"
            raise InputError(str(file), "a file that does not unpack", due)
        try:
            _read_file(target, recording)
        except InputError as error:
            raise error.at(error.where.replace(str(target), str(file))) from error


def _unpack_messages(folder: Path, recording: Recording) -> None:
    for topic in recording.topics.values():
        for i, (received, packed) in enumerate(topic.messages):
            content = BytesIO()
            if not _unpack(zstd.open(BytesIO(packed)), content, MAX_MESSAGE):
                where = f"{folder}, topic '{printable(topic.name)}', message {i}"
                due = f"one compressed by zstd, of at most {MAX_MESSAGE / 1e6:g} MB unpacked"
                raise InputError(where, "a message that does not unpack", due)
            topic.messages[i] = (received, content.getvalue())


# ---- MCAP (mcap.dev/spec) ----


def _damaged(path: Path, found: str) -> InputError:
    remedy = "record it again, or repair it with the tools of its recorder"
    return InputError(str(path), found, "a whole MCAP file", remedy)


def _read_mcap(path: Path, recording: Recording) -> None:
    """Add the topics of an MCAP file, and the messages that are wanted, to a recording."""
    schemas: dict[int, str] = {}
    channels: dict[int, tuple[Topic, str]] = {}
    count, stated = 0, None
    for i, record in enumerate(_records(path)):
        if i >= MAX_RECORDS:
            raise InputError(str(path), f"more than {MAX_RECORDS} records", "a shorter recording")
        match record:
            case Schema():
                schemas[record.id] = record.name
            case Channel():
                topic = recording.topic(record.topic, schemas.get(record.schema_id, "no type"))
                channels[record.id] = (topic, record.message_encoding)
            case Message():
                count += 1
                if record.channel_id not in channels:
                    raise _damaged(path, "a message of a channel that is not described")
                recording.add(path, *channels[record.channel_id], record.log_time, record.data)
            case Statistics():
                stated = record.message_count
            case Chunk():
                raise _damaged(path, "a chunk within a chunk")
    if stated not in (None, count):
        raise _damaged(path, f"{count} messages where its statistics say {stated}")


def _records(path: Path) -> Iterator[McapRecord]:
    """Yield the records of an MCAP file from front to end, those of its chunks in their place."""
    left = MAX_CHUNK + MAX_PACKING * path.stat().st_size
    try:
        with path.open("rb") as file:
            if file.read(len(_MAGIC)) != _MAGIC:
                raise InputError(str(path), "a file that does not start as MCAP does", "an MCAP file")
            for record in StreamReader(file, skip_magic=True, emit_chunks=True, record_size_limit=MAX_BYTES).records:
                if isinstance(record, Chunk):
                    content = _content(path, record)
                    left -= record.uncompressed_size
                    if left < 0:
                        found = f"chunks that unpack to more than {MAX_PACKING} times the size of the file"
                        raise InputError(str(path), found, "a recording of joint states", "record their topic alone")
                    yield from StreamReader(content, skip_magic=True, emit_chunks=True).records
                else:
                    yield record
    except (InputError, OSError):
        raise
    except Exception as error:  # the library raises its own and those of Python
        raise _damaged(path, "a record that is damaged, or a file that was cut short") from error


def _content(path: Path, chunk: Chunk) -> IO[bytes]:
    """The records of a chunk, and an end like that of a file."""
    size = chunk.uncompressed_size
    if size > MAX_CHUNK:
        due = f"chunks of at most {MAX_CHUNK / 1e6:.4g} MB"
        raise InputError(str(path), f"a chunk of {size / 1e6:.4g} MB", due)
    source = BytesIO(chunk.data)
    opened: dict[str, Callable[[], _Packed]] = {
        "": lambda: source,
        "zstd": lambda: zstd.open(source),
        "lz4": lambda: lz4.open(source),
    }
    if chunk.compression not in opened:
        found = f"chunks compressed by '{printable(chunk.compression)}'"
        raise InputError(str(path), found, "chunks compressed by zstd, by lz4 or not at all")
    out = BytesIO()
    whole = _unpack(opened[chunk.compression](), out, size) and out.tell() == size
    if not whole or chunk.uncompressed_crc not in (0, zlib.crc32(out.getbuffer())):
        raise _damaged(path, "a chunk that is damaged")
    out.write(_END)
    out.seek(0)
    return out


# ---- sqlite3 ----


def _read_sqlite(path: Path, recording: Recording) -> None:
    """Add the topics of a sqlite3 file, and the messages that are wanted, to a recording."""
    with path.open("rb") as file:
        if file.read(16) != b"SQLite format 3\0":
            raise InputError(str(path), "a file that does not start as sqlite3 does", "a sqlite3 recording")
    for ending in ("-wal", "-journal"):
        beside = path.with_name(path.name + ending)
        if beside.exists() and beside.stat().st_size > 0:
            found = "changes that are not in the recording yet"
            remedy = "open it once with its recorder's tools, or record it again"
            raise InputError(str(beside), found, "a recording that was closed", remedy)
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro&immutable=1", uri=True)) as base:
            base.execute("PRAGMA trusted_schema = OFF")
            base.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, 2 * MAX_MESSAGE)  # of any value
            _read_tables(path, base, recording)
    except (sqlite3.Error, OverflowError, UnicodeDecodeError) as error:
        found = f"a database that cannot be read ({printable(str(error), 160)})"
        raise InputError(str(path), found, "a whole sqlite3 recording") from error


def _read_tables(path: Path, base: sqlite3.Connection, recording: Recording) -> None:
    for table, due in _TABLES.items():
        kind = base.execute("SELECT type FROM sqlite_master WHERE name = ?", (table,)).fetchone()
        columns = {row[1] for row in base.execute(f"PRAGMA table_info({table})")}
        if kind != ("table",) or not due <= columns:
            found = "a database of something else"
            raise InputError(str(path), found, "a recording of rosbag2 (tables topics and messages)")
    counts = dict(base.execute("SELECT topic_id, count(*) FROM messages GROUP BY topic_id"))
    rows = base.execute("SELECT id, name, type, serialization_format FROM topics ORDER BY id").fetchmany(MAX_TOPICS + 1)
    for number, *texts in rows:
        if not isinstance(number, int) or not all(isinstance(text, str) for text in texts):
            raise InputError(f"{path}, table topics", describe(texts[0]), "a topic with name, type and format")
        name, kind, encoding = texts
        topic = recording.topic(name, kind)
        if not topic.wanted:
            topic.count += counts.get(number, 0)
            continue
        query = "SELECT timestamp, data FROM messages WHERE topic_id = ? ORDER BY rowid"
        for received, data in base.execute(query, (number,)):
            if not isinstance(received, int) or not isinstance(data, bytes):
                where = f"{path}, topic '{printable(name)}', message {topic.count}"
                wrong = data if isinstance(received, int) else received
                raise InputError(where, describe(wrong), "a time of receipt and binary content")
            recording.add(path, topic, encoding, received, data)


# ---- a bag of ROS 1 ----


def _read_bag(path: Path, recording: Recording) -> None:
    """Add the topics of a bag, and the messages that are wanted, to a recording."""
    for i, found in enumerate(bag_messages(path)):
        if i >= MAX_RECORDS:
            raise InputError(str(path), f"more than {MAX_RECORDS} records", "a shorter recording")
        topic = recording.topic(found[0], found[1])
        if isinstance(found, BagMessage):
            recording.add(path, topic, "ros1", found.received, found.content)


_STORAGES: Final = {".mcap": _read_mcap, ".db3": _read_sqlite, ".bag": _read_bag}
