"""Damage a file, and see what its reader makes of it."""

from __future__ import annotations

import shutil
import time
import traceback
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from fuzz.readers import GOOD, READERS
from gripmargin.base.errors import GripmarginError, InputErrors

SLOW = 5.0  # [s] that no file of this size may take
TOKENS = [
    *(b"nan", b"inf", b"1e999", b"-1", b"1e300", b"1e-320", b"0x10", b"1_0", b"9" * 30, b"10,5", b'"10,5"'),
    *(b'"', b"'", b'"""', b"[", b"]", b"{", b"}", b"[[", b"(", b"<", b"</", b"=", b",", b";", b":", b".", b"a." * 40),
    *(b"\n", b"\r", b"\t", b"\0", b"\a", b"\x1b[2J", b"\xff", b"\xef\xbb\xbf", b"\xff\xfe", b"\xe2\x80\xae"),
    *(b"#", b"null", b"true", b"&a ", b"*a", b"!!int ", b"---\n", b": ", b"<<: ", b"2020-01-01", b"12:00:00"),
    *(b"../", b"/dev/zero", b"&lt;", b"<!DOCTYPE a [<!ENTITY b 'c'>]>", b"\\", b"\\u0000", b"%s", b"\xd9\xa3"),
]


def damaged(sound: bytes, random: np.random.Generator) -> bytes:
    """Return a file with one to three pieces of it changed, cut out, doubled, swapped or replaced by a token."""
    content = bytearray(sound)
    for _ in range(random.integers(1, 4)):
        at, length = int(random.integers(len(content) + 1)), int(random.integers(1, 2 + 30 * random.integers(2)))
        piece = bytes(content[at : at + length])
        match random.integers(6):
            case 0:
                content[at : at + length] = TOKENS[random.integers(len(TOKENS))]
            case 1:
                content[at:at] = TOKENS[random.integers(len(TOKENS))]
            case 2:
                del content[at : at + length]
            case 3:
                content[at:at] = piece * int(random.integers(1, 50))
            case 4 if piece:
                content[at] ^= 1 << int(random.integers(8))
            case 5:
                to = int(random.integers(len(content) + 1))
                content[to : to + length] = piece
    return bytes(content)


@dataclass
class Outcome:
    """What became of damaged files.

    Attributes:
        read: How many were read all the same.
        refused: How many were refused.
        slowest: The longest that one took [s].
        faults: Of those that went wrong, what was read and how it went wrong.
    """

    read: int = 0
    refused: int = 0
    slowest: float = 0.0
    faults: list[tuple[bytes, str]] = field(default_factory=list)


def attack(name: str, count: int, folder: Path, seed: int = 0) -> Outcome:
    """Damage a file so many times, and have it read.

    Args:
        name: Of the file, a key of `READERS`.
        count: How many times.
        folder: Where files are written.
        seed: Of the damage.
    """
    sound, read = READERS[name]
    random, outcome = np.random.default_rng([seed, *name.encode()]), Outcome()
    shutil.copytree(GOOD, folder, dirs_exist_ok=True)
    for _ in range(count):
        content = damaged(sound, random)
        (folder / name).write_bytes(content)
        begun = time.perf_counter()
        try:
            read(folder / name)
            outcome.read += 1
        except GripmarginError as error:
            outcome.refused += 1
            if said := _badly_said(error):
                outcome.faults.append((content, said))
        except Exception:
            outcome.faults.append((content, traceback.format_exc()))
        took = time.perf_counter() - begun
        outcome.slowest = max(outcome.slowest, took)
        if took > SLOW:
            outcome.faults.append((content, f"{took:.1f} s"))
    return outcome


def _badly_said(error: GripmarginError) -> str:
    """What is wrong with a message; nothing where it says in printable lines, one a fault, what was found."""
    lines, faults = str(error).split("\n"), error.problems if isinstance(error, InputErrors) else (error,)
    if len(lines) != len(faults):
        return f"{len(lines)} lines for {len(faults)} faults: {lines}"
    bad = [line for line in lines if not line.isprintable() or len(line) > 2000]
    return "" if not bad else f"not fit for a terminal: {bad[0]!r}"
