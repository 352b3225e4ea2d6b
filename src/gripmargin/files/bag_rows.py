"""Messages of a recording put in order of time: one clock, late ones and copies, and what contradicts itself."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.files.source import printable

LATE: Final = 100_000_000  # [ns]; a message that overtakes another is late by less than that
SHOWN: Final = 8  # names in a message


class Row(NamedTuple):
    """A message that counts: its number, times [ns], its values, and how fast they change.

    Attributes:
        number: In the order of the recording, from 0.
        header: Its own stamp; 0: it has none.
        received: When it came.
        values: Of what is wanted, shape (k,).
        rates: Velocities, and behind them accelerations where there are some; empty where the message has none.
    """

    number: int
    header: int
    received: int
    values: FloatArray
    rates: FloatArray


class Rows:
    """Collects messages, and puts them in order.

    Args:
        where: File and topic, for errors.
        names: What the values are called, in order.
        word: What one of them is called, such as "joint".
    """

    def __init__(self, where: str, names: Sequence[str], word: str) -> None:
        self.where = where
        self.names = names
        self.word = word
        self.notes: list[str] = []
        self.rows: list[Row] = []

    def add(self, number: int, header: Any, received: int, values: FloatArray, rates: FloatArray) -> None:
        """Add a message by its number and its header, or an object with a stamp like one."""
        self.rows.append(Row(number, header.stamp.sec * 10**9 + header.stamp.nanosec, received, values, rates))

    def locate(self, row: int | None, name: str | None) -> str:
        """Name a place for an error."""
        place = "" if row is None else f", message {self.rows[row].number}"
        return self.where + place + (f", {self.word} '{name}'" if name else "")

    @property
    def values(self) -> FloatArray:
        """Of all messages, shape (n, k)."""
        return np.stack([row.values for row in self.rows])

    def in_order(self, called: str) -> NDArray[np.int64]:
        """Put the messages in the order of their stamps, without copies; return the stamps [ns].

        Args:
            called: What a message is, such as "messages of the robot's joints".

        Raises:
            InputError: Too few, or values or times that cannot be.
        """
        if len(self.rows) < 2:
            found = f"{len(self.rows)} message{'s' if not self.rows else ''} of {called}"
            raise InputError(self.where, found, "at least 2")
        self._check_finite()
        stamps = self._leave_out_copies(self._put_in_order(self._stamps()))
        if stamps.size < 2:
            raise InputError(self.where, "messages of one time only", "at least 2")
        return stamps

    def _check_finite(self) -> None:
        q = self.values
        if not np.isfinite(q).all():
            row, k = (int(i) for i in np.argwhere(~np.isfinite(q))[0])
            remedy = "cut the recording to where all of it is known"
            raise InputError(self.locate(row, self.names[k]), f"{q[row, k]}", "a finite number", remedy)

    def _stamps(self) -> NDArray[np.int64]:
        """Times [ns] by one clock: that of the headers, or of receipt where no header has a stamp."""
        without = [row.number for row in self.rows if not row.header]
        if 0 < len(without) < len(self.rows):
            remedy = "cut the recording, or record a topic whose messages all have a stamp"
            found = f"{len(without)} messages without a stamp, message {without[0]} the first, among {len(self.rows)}"
            raise InputError(self.where, found, "a stamp in every header, or in none", remedy)
        if without:
            self.notes.append("The headers have no stamps: times are those of receipt, with the delays of the network.")
        times = [row.received if without else row.header for row in self.rows]
        if not -(2**62) < min(times) <= max(times) < 2**62:
            raise InputError(self.where, f"the time {max(times, key=abs)} ns", "a time within 146 years of 1970")
        return np.array(times, dtype=np.int64)

    def _put_in_order(self, stamps: NDArray[np.int64]) -> NDArray[np.int64]:
        """Put messages in order that overtook each other; refuse a clock that was set back."""
        behind = np.maximum.accumulate(stamps) - stamps
        late = np.flatnonzero(behind)
        if late.size and behind.max() > LATE:
            first = int(np.argmax(behind > LATE))
            found = f"a stamp {behind[first] / 1e9:.6g} s behind that of an earlier message ({late.size} are behind)"
            remedy = "two runs or two robots in one recording, or a clock that was set: cut the recording there"
            due = f"stamps in order, or behind by at most {LATE / 1e9:g} s"
            raise InputError(self.locate(first, None), found, due, remedy)
        if late.size:
            self.notes.append(
                f"{late.size} messages came up to {behind.max() / 1e6:.3g} ms late: put in the order of their stamps."
            )
        return self._keep(np.argsort(stamps, kind="stable"), stamps)

    def _leave_out_copies(self, stamps: NDArray[np.int64]) -> NDArray[np.int64]:
        """Leave out copies: the same stamp with the same positions; refuse one with others, a contradiction."""
        again = np.diff(stamps, prepend=stamps[0] - 1) == 0
        differ = again[1:] & (np.diff(self.values, axis=0) != 0).any(axis=1)
        if differ.any():
            first = int(np.argmax(differ))
            number, pairs = self.rows[first].number, int(differ.sum())
            found = f"the stamp of message {number} with other values ({pairs} such pairs)"
            remedy = "two publishers on one topic, or stamps that are too coarse: record one source with its own stamps"
            raise InputError(self.locate(first + 1, None), found, "one message a stamp", remedy)
        if again.any():
            self.notes.append(f"{int(again.sum())} messages with stamp and values of another are left out.")
        return self._keep(np.flatnonzero(~again), stamps)

    def _keep(self, rows: NDArray[np.intp], stamps: NDArray[np.int64]) -> NDArray[np.int64]:
        """Keep these messages, in this order; returns their stamps."""
        self.rows = [self.rows[row] for row in rows]
        return stamps[rows]


def listed(names: Sequence[str]) -> str:
    """Return names for a message, not too many."""
    shown = ", ".join(printable(name) for name in names[:SHOWN]) or "(none)"
    return shown + (f" and {len(names) - SHOWN} more" if len(names) > SHOWN else "")
