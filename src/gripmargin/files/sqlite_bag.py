"""Recordings in sqlite3: tables ``topics`` and ``messages`` as rosbag2's storage plugin lays them out."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Final

from gripmargin.base.errors import InputError
from gripmargin.files.recording import MAX_MESSAGE, MAX_TOPICS, Recording, Topic
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
    base.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, 2 * MAX_MESSAGE)  # of any value
    for table, due in _TABLES.items():
        kind = base.execute("SELECT type FROM sqlite_master WHERE name = ?", (table,)).fetchone()
        columns = {row[1] for row in base.execute(f"PRAGMA table_info({table})")}
        if kind != ("table",) or not due <= columns:
            raise InputError(str(path), "a database of something else", _DUE)
    counts = dict(base.execute("SELECT topic_id, count(*) FROM messages GROUP BY topic_id"))
    rows = base.execute("SELECT id, name, type, serialization_format FROM topics ORDER BY id").fetchmany(MAX_TOPICS + 1)
    for number, *texts in rows:
        if not isinstance(number, int) or not all(isinstance(text, str) for text in texts):
            raise InputError(f"{path}, table topics", describe(texts[0]), "a topic with name, type and format")
        name, kind, encoding = texts
        topic = recording.topic(name, kind)
        if topic.wanted:
            _read_messages(path, base, recording, topic, number, encoding)
        else:
            topic.count += counts.get(number, 0)


def _read_messages(
    path: Path, base: sqlite3.Connection, recording: Recording, topic: Topic, number: int, encoding: str
) -> None:
    query = "SELECT timestamp, data FROM messages WHERE topic_id = ? ORDER BY rowid"
    for received, data in base.execute(query, (number,)):
        if not isinstance(received, int) or not isinstance(data, bytes):
            where = f"{path}, topic '{printable(topic.name)}', message {topic.count}"
            wrong = data if isinstance(received, int) else received
            raise InputError(where, describe(wrong), "a time of receipt and binary content")
        recording.add(path, topic, encoding, received, data)
