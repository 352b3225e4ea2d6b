"""Storages of recordings that are cut short, damaged, endless or not as they say.

They are written by the library rosbags, but for chunks packed by lz4 and chunks with false sizes, which it does not
write; those follow mcap.dev/spec.
"""

import shutil
import sqlite3
import struct
import sys
import zlib
from contextlib import closing, suppress

import numpy as np
import pytest
from rosbags.rosbag2 import CompressionMode

from gripmargin import read_trajectory
from gripmargin.base.errors import InputError
from gripmargin.files import recording
from support.bags import EXACT, KIND, START, STORE, state, states_of, write

MAGIC = b"\x89MCAP0\r\n"


def file_of(folder):
    (file,) = (path for path in folder.iterdir() if path.suffix != ".yaml")
    return file


def test_cut_short_anywhere(bag, monkeypatch):
    folder = bag(states_of(30))
    file = file_of(folder)
    content = file.read_bytes()
    whole = read_trajectory(file)
    for length in {*range(1, len(content), 499), *range(len(content) - 60, len(content))}:
        file.write_bytes(content[:length])
        try:
            found = read_trajectory(file)
        except InputError:
            continue
        assert found == whole, length  # what was cut held nothing


def test_damaged_bytes_raise_nothing_else(bag, storage):
    folder = bag(states_of(30), mode=CompressionMode.STORAGE if storage == "mcap" else None)
    file = file_of(folder)
    content = file.read_bytes()
    rng = np.random.default_rng(7)
    for _ in range(80):
        damaged = bytearray(content)
        for place in rng.integers(0, len(content), 3):
            damaged[place] = rng.choice([0, 1, 0x7F, 0xFF, rng.integers(256)])
        file.write_bytes(bytes(damaged))
        with suppress(InputError):
            read_trajectory(folder)


def test_messages_that_were_lost_are_missed(bag, storage):
    folder = bag(states_of())
    metadata = folder / "metadata.yaml"
    metadata.write_text(metadata.read_text().replace("message_count: 6", "message_count: 7"))
    with pytest.raises(InputError, match="message_count: found 7, expected 6, the messages that are in the files"):
        read_trajectory(folder)


def test_content_that_is_no_joint_state(bag):
    huge = bytearray(STORE.serialize_cdr(state(1), KIND))
    huge[16:20] = b"\xff\xff\xff\xff"  # the number of joints
    for content in (b"", b"\0\1\0\0", bytes(huge), bytes(huge[:-8])):
        folder = bag([state(0), content, state(2)])
        with pytest.raises(InputError, match=r"message 1: found content that is no joint state \("):
            read_trajectory(folder)
        shutil.rmtree(folder)


def test_a_message_too_large(bag, monkeypatch):
    folder = bag([state(0), state(1, frame="x" * 5000), state(2)])
    monkeypatch.setattr(recording, "MAX_MESSAGE", 4000)
    with pytest.raises(InputError, match=r"found a message of 0\.005\d+ MB, expected at most 0\.004 MB"):
        read_trajectory(folder)


def test_a_packed_file_where_none_is_said_to_be(tmp_path):
    folder = write(tmp_path / "bag", states_of(), mode=CompressionMode.FILE)
    metadata = folder / "metadata.yaml"
    metadata.write_text(metadata.read_text().replace("compression_mode: file", "compression_mode: ''"))
    with pytest.raises(InputError, match=r'found "bag\.db3\.zstd", expected a file ending in \.mcap or \.db3'):
        read_trajectory(folder)


@pytest.mark.parametrize("mode", [CompressionMode.FILE, CompressionMode.MESSAGE])
def test_packed_content_that_is_damaged_or_endless(tmp_path, mode, monkeypatch):
    folder = write(tmp_path / "bag", states_of(frame="x" * 5000), mode=mode)
    by_file = mode is CompressionMode.FILE
    monkeypatch.setattr(recording, "MAX_BYTES" if by_file else "MAX_MESSAGE", 8192 if by_file else 4000)
    with pytest.raises(InputError, match="does not unpack"):
        read_trajectory(folder)
    monkeypatch.undo()
    if by_file:
        file = file_of(folder)
        file.write_bytes(file.read_bytes()[:-10])
        with pytest.raises(InputError, match="does not unpack"):
            read_trajectory(folder)


def test_changes_not_yet_in_the_file(tmp_path):
    folder = write(tmp_path / "bag", states_of())
    (folder / "bag.db3-wal").write_bytes(b"x")
    with pytest.raises(InputError, match=r"bag\.db3-wal: found changes that are not in the recording yet"):
        read_trajectory(folder)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ("UPDATE messages SET data = 'text'", 'found "text", expected a time of receipt and binary content'),
        ("UPDATE messages SET timestamp = 'noon'", 'found "noon", expected a time of receipt'),
        ("UPDATE topics SET name = 5.0, id = 1", "."),
        ("UPDATE topics SET serialization_format = 'json'", "messages encoded as 'json', expected messages encoded as"),
        ("DROP TABLE topics", "a database of something else"),
        ("ALTER TABLE messages RENAME TO a; CREATE VIEW messages AS SELECT * FROM a", "a database of something else"),
        ("UPDATE messages SET data = zeroblob(21000000)", "a message of 21 MB, expected at most 20 MB"),
        ("UPDATE messages SET data = zeroblob(41000000)", r"cannot be read \(string or blob too big\)"),
    ],
)
def test_databases_that_are_wrong(tmp_path, change, says):
    file = file_of(write(tmp_path / "bag", states_of()))
    with closing(sqlite3.connect(file)) as base:
        base.executescript(change)
        base.commit()
    if says == ".":
        assert read_trajectory(file).samples == 6  # sqlite keeps names as text
        return
    with pytest.raises(InputError, match=says):
        read_trajectory(file)


def test_a_name_with_marks_of_a_url(tmp_path):
    folder = write(tmp_path / "bag", states_of()).rename(tmp_path / "50%41?mode=rw#a")
    assert read_trajectory(folder).samples == 6


def record(opcode, content):
    return struct.pack("<BQ", opcode, len(content)) + content


def string(words):
    return struct.pack("<I", len(words)) + words.encode()


def mcap(chunks, statistics=None):
    """A file of chunks (compression, stated size, checksum, content), with neither summary nor index."""
    body = record(0x01, string("ros2") + string("test"))
    for compression, size, checksum, content in chunks:
        times = struct.pack("<QQQI", 0, 0, size, checksum)
        body += record(0x06, times + string(compression) + struct.pack("<Q", len(content)) + content)
    if statistics is not None:
        body += record(0x0B, struct.pack("<QHIIIIQQI", statistics, 0, 0, 0, 0, 0, 0, 0, 0))
    return MAGIC + body + record(0x02, bytes(20)) + MAGIC


def inside(states=None):
    """Schema, channel and messages, as they stand in a chunk."""
    states = states_of() if states is None else states
    out = record(0x03, struct.pack("<H", 1) + string(KIND) + string("ros2msg") + string(""))
    out += record(0x04, struct.pack("<HH", 1, 1) + string("/joint_states") + string("cdr") + struct.pack("<I", 0))
    for i, message in enumerate(states):
        out += record(0x05, struct.pack("<HIQQ", 1, i, START, START) + bytes(STORE.serialize_cdr(message, KIND)))
    return out


def test_chunks_packed_by_lz4(tmp_path):
    from lz4 import frame

    content = inside()
    file = tmp_path / "a.mcap"
    file.write_bytes(mcap([("lz4", len(content), zlib.crc32(content), frame.compress(content))], statistics=6))
    np.testing.assert_array_equal(read_trajectory(file).t, EXACT)


@pytest.mark.parametrize("kind", ["zstd", "lz4"])
def test_chunks_that_unpack_to_more_than_they_say(tmp_path, kind):
    from backports import zstd
    from lz4 import frame

    bomb = {"zstd": zstd.compress, "lz4": frame.compress}[kind](bytes(100_000_000))
    file = tmp_path / "a.mcap"
    file.write_bytes(mcap([(kind, 1000, 0, bomb)]))
    with pytest.raises(InputError, match="found a chunk that is damaged"):
        read_trajectory(file)


@pytest.mark.parametrize(
    ("chunks", "statistics", "says"),
    [
        ([("", 2**40, 0, b"")], None, r"found a chunk of 1\.1e\+06 MB, expected chunks of at most 256 MB"),
        ([("", len(inside()), 1, inside())], None, "a chunk that is damaged"),
        ([("", len(inside()) - 3, 0, inside()[:-3])], None, "a record that is damaged"),
        (
            [("bz2", 9, 0, b"")],
            None,
            "found chunks compressed by 'bz2', expected chunks compressed by zstd, by lz4 or not",
        ),
        ([("", len(inside()), 0, inside())], 7, "found 6 messages where its statistics say 7"),
        ([("", 40, 0, record(0x05, bytes(31)))], None, "a message of a channel that is not described"),
        ([("", 9, 0, record(0x06, b""))], None, "a record that is damaged"),
        ([("", 53, 0, record(0x06, bytes(44)))], None, "a chunk within a chunk"),
        ([("", 10, 0, record(0x03, b"\1"))], None, "a record that is damaged"),
        ([], None, "found no topics, expected a topic of type"),
    ],
)
def test_mcap_that_is_wrong(tmp_path, chunks, statistics, says):
    file = tmp_path / "a.mcap"
    file.write_bytes(mcap(chunks, statistics))
    with pytest.raises(InputError, match=says):
        read_trajectory(file)


def test_chunks_that_unpack_for_ever(tmp_path, monkeypatch):
    from backports import zstd

    content = record(0x99, bytes(1_000_000))
    monkeypatch.setattr(recording, "MAX_CHUNK", 2_000_000)
    monkeypatch.setattr(recording, "MAX_PACKING", 100)
    file = tmp_path / "a.mcap"
    for count in (2, 50):
        file.write_bytes(mcap([("zstd", len(content), 0, zstd.compress(content))] * count))
        with pytest.raises(InputError, match="no topics" if count == 2 else "unpack to more than 100 times the size"):
            read_trajectory(file)


@pytest.mark.parametrize("module", ["rosbags.typesys", "backports", "lz4", "mcap.records"])
def test_without_a_library(tmp_path, monkeypatch, module):
    (tmp_path / "a.mcap").write_bytes(mcap([]))
    for name in ("bag_file", "bag_messages", "recording", "ros1_bag"):
        monkeypatch.delitem(sys.modules, f"gripmargin.files.{name}")
        monkeypatch.delattr(f"gripmargin.files.{name}")
    monkeypatch.setitem(sys.modules, module, None)
    library = {"backports": r"backports\.zstd"}.get(module, module.split(".")[0])
    says = rf"a\.mcap: found no library {library} .* 'bags'; install it: pip install 'gripmargin\[bags\]'"
    with pytest.raises(InputError, match=says):
        read_trajectory(tmp_path / "a.mcap")
