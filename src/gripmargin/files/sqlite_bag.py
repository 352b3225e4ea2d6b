"""Recordings in sqlite3: tables ``topics`` and ``messages`` as rosbag2's storage plugin lays them out."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any, Final

from gripmargin.errors import InputError
from gripmargin.files.recording import MAX_MESSAGE, MAX_TOPICS, Recording
from gripmargin.files.source import describe, printable

MAGIC: Final = b"SQLite format 3\0"
_TABLES: Final = {
    "topics": {"id", "name", "type", "serialization_format"},
    "messages": {"topic_id", "timestamp", "data"},
}
_DUE: Final = "a recording of rosbag2 (tables topics and messages)"


def read_sqlite(path: Path, recording: Recording) -> None:
    """Add the topics of a sqlite3 file, and the messages that are wanted, to a recording.

    Raises:
        InputError: Not sqlite3, no recording, damaged, or not closed by its recorder.
    """
    with path.open("rb") as file:
        if file.read(len(MAGIC)) != MAGIC:
            raise InputError(str(path), "a file that does not start as sqlite3 does", "a sqlite3 recording")
    for ending in ("-wal", "-journal"):
        beside = path.with_name(path.name + ending)
        if beside.exists() and beside.stat().st_size > 0:
            remedy = "open it once with its recorder's tools, or record it again"
            raise InputError(
                str(beside), "changes that are not in the recording yet", "a recording that was closed", remedy
            )
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro&immutable=1", uri=True)) as base:
            _read(path, base, recording)
    except (sqlite3.Error, OverflowError, UnicodeDecodeError) as error:
        reason = printable(str(error), 160)
        raise InputError(
            str(path), f"a database that cannot be read ({reason})", "a whole sqlite3 recording"
        ) from error


def _read(path: Path, base: sqlite3.Connection, recording: Recording) -> None:
    base.execute("PRAGMA trusted_schema = OFF")
    base.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, 100 * MAX_MESSAGE)  # the largest value that is made at all
    for table, due in _TABLES.items():
        kind = base.execute("SELECT type FROM sqlite_master WHERE name = ?", (table,)).fetchone()
        columns = {row[1] for row in base.execute(f"PRAGMA table_info({table})")}
        if kind != ("table",) or not due <= columns:
            raise InputError(str(path), "a database of something else", _DUE)
    rows = base.execute("SELECT id, name, type, serialization_format FROM topics ORDER BY id").fetchmany(MAX_TOPICS + 1)
    for number, *texts in rows:
        if not isinstance(number, int) or not all(isinstance(text, str) for text in texts):
            raise InputError(f"{path}, table topics", describe(texts[0]), "a topic with name, type and format")
        _read_topic(path, base, recording, number, *texts)


def _read_topic(
    path: Path, base: sqlite3.Connection, recording: Recording, number: int, name: str, kind: str, encoding: str
) -> None:
    topic = recording.topic(name, kind)
    if not topic.wanted:
        ((count,),) = base.execute("SELECT count(*) FROM messages WHERE topic_id = ?", (number,))
        topic.count += count
        return
    query = "SELECT timestamp, data FROM messages WHERE topic_id = ? ORDER BY rowid"
    for received, data in base.execute(query, (number,)):
        place = f"{path}, topic '{printable(name)}', message {topic.count}"
        if not isinstance(received, int) or not isinstance(data, bytes):
            raise InputError(place, _kind(received, data), "a time of receipt and binary content")
        recording.add(path, topic, encoding, received, data)


def _kind(received: Any, data: Any) -> str:
    return describe(data if isinstance(received, int) else received)
