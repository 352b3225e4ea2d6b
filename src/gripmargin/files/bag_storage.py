"""The files of a rosbag2 recording: a folder with metadata.yaml, or one file of its storage by itself."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path, PurePosixPath
from typing import Any, Final

from gripmargin.base.errors import InputError
from gripmargin.files.compression import unpack_zstd, unpack_zstd_file
from gripmargin.files.mcap import read_mcap
from gripmargin.files.recording import MAX_MESSAGE, Recording
from gripmargin.files.source import checked_size, describe, printable, read_text
from gripmargin.files.sqlite_bag import read_sqlite
from gripmargin.files.yaml_text import parse_yaml

MAX_BYTES: Final = 4_000_000_000  # of each file, packed and unpacked
MAX_FILES: Final = 1_000
MAX_METADATA: Final = 10_000_000
METADATA: Final = "metadata.yaml"
STORAGES: Final[dict[str, Callable[[Path, Recording], None]]] = {".mcap": read_mcap, ".db3": read_sqlite}
_INFORMATION: Final = "rosbag2_bagfile_information"
_MODES: Final = ("", "none", "file", "message", "storage")


def read_recording(path: Path, kind: str, only: str | None = None) -> Recording:
    """Read the topics of a recording and the messages of one type.

    Args:
        path: The folder of a rosbag2 recording, or a ``.mcap`` or ``.db3`` file.
        kind: Type of the messages that are kept, such as "sensor_msgs/msg/JointState".
        only: The topic whose messages are kept; None: all of that type.

    Raises:
        InputError: With the file, and what is wrong with it.
    """
    recording = Recording(kind, only)
    if path.is_dir():
        _read_folder(path, recording)
    else:
        _read_file(path, recording)
    return recording


def _read_file(path: Path, recording: Recording) -> None:
    checked_size(path, MAX_BYTES)
    try:
        STORAGES[path.suffix.lower()](path, recording)
    except OSError as error:
        raise InputError(
            str(path), f"a file that cannot be read ({error.strerror})", "a file that can be read"
        ) from error


def _read_folder(folder: Path, recording: Recording) -> None:
    metadata = folder / METADATA
    if not metadata.exists():
        remedy = "name the file in it (.mcap or .db3), where its recorder did not end as it should"
        raise InputError(str(folder), f"a folder without {METADATA}", "the folder of a rosbag2 recording", remedy)
    tree = parse_yaml(metadata, read_text(metadata, MAX_METADATA), "description of a recording")
    table = tree.get(_INFORMATION) if isinstance(tree, dict) else None
    if not isinstance(table, dict):
        raise InputError(
            str(metadata), f"{describe(tree)} without {_INFORMATION}", "the metadata of a rosbag2 recording"
        )
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
    files = []
    for i, name in enumerate(names):
        parts = PurePosixPath(name).parts if isinstance(name, str) else ()
        # Early versions wrote the folder's name before that of the file.
        if not parts or len(parts) > 2 or ".." in parts or parts[0].startswith("/") or "\\" in str(name):
            raise InputError(f"{where}[{i}]", describe(name), "the name of a file within the folder")
        file = metadata.parent / parts[-1]
        inner = Path(file.stem) if packed and file.suffix == ".zstd" else file
        if inner.suffix.lower() not in STORAGES:
            raise InputError(f"{where}[{i}]", describe(name), f"a file ending in {' or '.join(STORAGES)}")
        if file in files:
            raise InputError(f"{where}[{i}]", "a file that stands twice", "each file once")
        files.append(file)
    return files


def _read_packed(file: Path, recording: Recording) -> None:
    checked_size(file, MAX_BYTES)
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / (file.stem if file.suffix == ".zstd" else file.name)
        with target.open("wb") as out:
            whole = unpack_zstd_file(file, out, MAX_BYTES)
        if not whole:
            due = f"a whole file compressed by zstd, of at most {MAX_BYTES / 1e9:g} GB unpacked"
            raise InputError(str(file), "a file that does not unpack", due)
        try:
            _read_file(target, recording)
        except InputError as error:
            where = error.where.replace(str(target), str(file))
            raise InputError(where, error.found, error.expected, error.remedy) from error


def _unpack_messages(folder: Path, recording: Recording) -> None:
    for topic in recording.topics.values():
        for i, (received, packed) in enumerate(topic.messages):
            content = unpack_zstd(packed, MAX_MESSAGE)
            if content is None:
                where = f"{folder}, topic '{printable(topic.name)}', message {i}"
                due = f"one compressed by zstd, of at most {MAX_MESSAGE / 1e6:g} MB unpacked"
                raise InputError(where, "a message that does not unpack", due)
            topic.messages[i] = (received, content)


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
