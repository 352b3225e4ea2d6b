"""Measured joint motion: ``sensor_msgs/JointState`` messages of a rosbag2 recording, read without ROS.

Times are those of the message headers, for the time of receipt has the delays of the network in it.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from rosbags.typesys import Stores, get_typestore

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.files.recording import Recording, Topic, read_recording
from gripmargin.files.samples import LONGEST_LABEL, in_order_of
from gripmargin.files.source import printable
from gripmargin.motion.chain import Chain
from gripmargin.motion.trajectory import JointTrajectory

KIND: Final = "sensor_msgs/msg/JointState"
LATE: Final = 100_000_000  # [ns]; a message that overtakes another is late by less than that
OFF: Final = 0.2  # share by which filtered speeds may miss the travel; a wrong unit or clock is further off
BLOCK: Final = 0.1  # [s] over which travel and speeds are compared, so that noise averages out
MOVES: Final = 5e-3  # [rad or m] range from which a joint tells its scale
MAX_JOINTS: Final = 200
MAX_LISTS: Final = 1_000  # of joint names, in all their orders
_SHOWN: Final = 8  # names in a message


def read_bag(path: Path, *, robot: Chain | None = None, topic: str | None = None) -> JointTrajectory:
    """Read the joint states of a recording.

    Args:
        path: The folder of a rosbag2 recording, or a ``.mcap`` or ``.db3`` file.
        robot: The robot that moved: its joint names say which messages count and put the columns in order.
            None: the joints of the messages, which then must all be of the same joints.
        topic: The topic of the joint states; None: the only one of that type.

    Returns:
        Positions by time from the first message on [s]. Speeds are not taken from the messages: how a driver
        filtered them is not known, and a filter makes peaks of acceleration smaller than they were (14 % for a move
        of 0.3 s behind a filter of 5 Hz, and a ringing of the arm may vanish altogether). They are compared with the
        positions, for they show a wrong unit or wrong stamps.

    Raises:
        InputError: With file, topic and message.
    """
    chosen = _chosen(path, read_recording(path, KIND, topic), topic)
    where = f"{path}, topic '{printable(chosen.name)}'"
    states = _States(where, robot.names if robot is not None and all(robot.names) else ())
    for i, (received, content) in enumerate(chosen.messages):
        try:
            message = _message_types().deserialize_cdr(content, KIND)
        except Exception as error:  # the library raises its own and numpy's
            reason = printable(str(error), 160)
            raise InputError(f"{where}, message {i}", f"content that is no joint state ({reason})", KIND) from error
        states.take(i, received, message)
    return in_order_of(robot, states.trajectory(path.name), where, states.locate)


@cache
def _message_types() -> Any:
    return get_typestore(Stores.LATEST)


def _chosen(path: Path, recording: Recording, topic: str | None) -> Topic:
    """The topic that is meant, with messages in it."""
    found = [t for t in recording.topics.values() if t.wanted]
    if len(found) == 1:
        if found[0].messages:
            return found[0]
        raise InputError(f"{path}, topic '{printable(found[0].name)}'", "no messages", "joint states")
    if len(found) > 1:
        names = ", ".join(f"'{printable(t.name)}' ({t.count} messages)" for t in found[:_SHOWN])
        remedy = "name the one of the robot (program.topic)"
        raise InputError(str(path), f"joint states on {len(found)} topics: {names}", "one topic", remedy)
    there = [f"'{printable(t.name)}' of type {printable(t.kind)}" for t in recording.topics.values()]
    shown = ", ".join(there[:_SHOWN]) + (f" and {len(there) - _SHOWN} more" if len(there) > _SHOWN else "")
    due = f"a topic of type {KIND}" if topic is None else f"the topic '{printable(topic)}' of type {KIND}"
    raise InputError(str(path), f"the topics {shown}" if there else "no topics", due)


class _State(NamedTuple):
    """A message of the wanted joints: its number, times [ns], and the joints' positions and velocities."""

    number: int
    header: int
    received: int
    q: FloatArray
    qd: FloatArray  # empty where the message has none


class _States:
    """Collects the messages that count, and makes a trajectory of them.

    Args:
        where: File and topic, for errors.
        names: Names of the joints that are wanted, in order; none: those of the first message.
    """

    def __init__(self, where: str, names: Sequence[str]) -> None:
        self.where = where
        self.names = names
        self.notes: list[str] = []
        self._free = not names
        self._columns: dict[tuple[str, ...], list[int]] = {}  # of the wanted joints; none: a message of others
        self._states: list[_State] = []
        self._others = 0

    def take(self, i: int, received: int, message: Any) -> None:
        """Take message i, received at a time [ns]."""
        names = tuple(message.name)
        if names not in self._columns:
            if len(self._columns) >= MAX_LISTS:
                found = f"more than {MAX_LISTS} different lists of joints"
                raise InputError(f"{self.where}, message {i}", found, "the joints of one robot")
            self._columns[names] = self._columns_of(i, names)
        columns = self._columns[names]
        if not columns:
            self._others += 1
            return
        if len(message.position) != len(names):
            found = f"{len(message.position)} positions for {len(names)} joints"
            raise InputError(f"{self.where}, message {i}", found, "one a joint")
        if len(message.velocity) not in (0, len(names)):
            found = f"{len(message.velocity)} velocities for {len(names)} joints"
            raise InputError(f"{self.where}, message {i}", found, "one a joint, or none")
        header = message.header.stamp.sec * 10**9 + message.header.stamp.nanosec
        qd = message.velocity[columns] if len(message.velocity) else message.velocity
        self._states.append(_State(i, header, received, message.position[columns], qd))

    def _columns_of(self, i: int, names: tuple[str, ...]) -> list[int]:
        place = f"{self.where}, message {i}"
        if len(names) > MAX_JOINTS:
            raise InputError(place, f"{len(names)} joints", f"at most {MAX_JOINTS}")
        for k, name in enumerate(names):
            if not name or not name.isprintable() or len(name) > LONGEST_LABEL:
                due = f"plain text of 1 to {LONGEST_LABEL} characters on one line"
                raise InputError(place, f"the joint name '{printable(name)}'", due)
            if name in names[:k]:
                raise InputError(place, f"the joint '{name}' twice", "each joint once")
        if not names and not self.names:
            raise InputError(place, "no joint names", "the name of each joint")
        self.names = self.names or names
        missing = [name for name in self.names if name not in names]
        if self._free and (missing or len(names) > len(self.names)):
            found = f"the joints {_listed(names)}, where others have {_listed(self.names)}"
            remedy = "hand in the robot with its joint names, which says which joints are meant"
            raise InputError(place, found, "messages of the same joints", remedy)
        if missing and len(missing) < len(self.names):
            due = f"all of the robot's joints {_listed(self.names)} or none of them"
            remedy = (
                "the joints of one robot have to come in one message, of one time: record the topic that has them all"
            )
            raise InputError(place, f"the joints {_listed(names)} alone", due, remedy)
        return [] if missing else [names.index(name) for name in self.names]

    def locate(self, row: int | None, joint: str | None) -> str:
        """Name a place for an error."""
        place = "" if row is None else f", message {self._states[row].number}"
        return self.where + place + (f", joint '{joint}'" if joint else "")

    def trajectory(self, source: str) -> JointTrajectory:
        """Return the messages in order of time."""
        if not self._states:
            seen = "; ".join(_listed(names) for names in list(self._columns)[:3])
            remedy = "name the robot's joints in the job ([robot] joint_names), or choose another topic"
            due = f"the robot's {_listed(self.names)}"
            raise InputError(self.where, f"messages of the joints {seen}", due, remedy)
        if len(self._states) < 2:
            raise InputError(self.where, "1 message of the robot's joints", "at least 2")
        self._check_finite()
        stamps = self._put_in_order(self._stamps())
        stamps = self._leave_out_copies(stamps)
        if stamps.size < 2:
            raise InputError(self.where, "messages of one time only", "at least 2")
        t, q = (stamps - stamps[0]) / 1e9, self._positions()
        self._compare_velocities(t, q)
        seconds, rest = divmod(int(stamps[0]), 10**9)
        notes = [f"Measured: {stamps.size} joint states; time 0 is the stamp {seconds}.{rest:09d} s.", *self.notes]
        if self._others:
            notes.append(f"{self._others} messages of other joints on the same topic are left out.")
        return JointTrajectory(t=t, q=q, names=tuple(self.names), source=source, notes=tuple(notes))

    def _positions(self) -> FloatArray:
        return np.stack([state.q for state in self._states])

    def _check_finite(self) -> None:
        q = self._positions()
        if not np.isfinite(q).all():
            row, k = (int(i) for i in np.argwhere(~np.isfinite(q))[0])
            remedy = "cut the recording to where all joints are known"
            raise InputError(self.locate(row, self.names[k]), f"{q[row, k]}", "a finite number", remedy)

    def _stamps(self) -> NDArray[np.int64]:
        """Times [ns] by one clock: that of the headers, or of receipt where no header has a stamp."""
        without = [state.number for state in self._states if not state.header]
        if 0 < len(without) < len(self._states):
            remedy = "cut the recording, or record a topic whose messages all have a stamp"
            found = (
                f"{len(without)} messages without a stamp, message {without[0]} the first, among {len(self._states)}"
            )
            raise InputError(self.where, found, "a stamp in every header, or in none", remedy)
        if without:
            self.notes.append("The headers have no stamps: times are those of receipt, with the delays of the network.")
        times = [state.received if without else state.header for state in self._states]
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
        differ = again[1:] & (np.diff(self._positions(), axis=0) != 0).any(axis=1)
        if differ.any():
            first = int(np.argmax(differ))
            number, pairs = self._states[first].number, int(differ.sum())
            found = f"the stamp of message {number} with other positions ({pairs} such pairs)"
            remedy = "two publishers on one topic, or stamps that are too coarse: record one source with its own stamps"
            raise InputError(self.locate(first + 1, None), found, "one message a stamp", remedy)
        if again.any():
            self.notes.append(f"{int(again.sum())} messages with stamp and positions of another are left out.")
        return self._keep(np.flatnonzero(~again), stamps)

    def _keep(self, rows: NDArray[np.intp], stamps: NDArray[np.int64]) -> NDArray[np.int64]:
        """Keep these messages, in this order; returns their stamps."""
        self._states = [self._states[row] for row in rows]
        return stamps[rows]

    def _compare_velocities(self, t: FloatArray, q: FloatArray) -> None:
        """Refuse velocities that show a wrong unit, or stamps that are not those of the measurement."""
        velocities = [state.qd for state in self._states if state.qd.size]
        if velocities:
            self.notes.append(
                "Velocities in the messages are not used, for drivers filter them and so lower their peaks: rates are "
                "estimated from the positions."
            )
        if len(velocities) < len(self._states) or not np.isfinite(qd := np.stack(velocities)).all():
            return
        for j, ratio in _ratios(t, q, qd):
            if not abs(ratio - 1.0) <= OFF:
                found = f"a travel that is {ratio:.4g} times that of the velocities"
                remedy = "check the units of the publisher, and whether its stamps are those of the measurement"
                raise InputError(self.locate(None, self.names[j]), found, "velocities that agree", remedy)


def _ratios(t: FloatArray, q: FloatArray, qd: FloatArray) -> list[tuple[int, float]]:
    """Travel over integrated speed of each joint that moves and has speeds, by least squares over short blocks."""
    block = np.flatnonzero(np.diff(t[:-1] // BLOCK, prepend=-1.0))
    with np.errstate(all="ignore"):  # what is too large for numbers has a ratio that is none
        travel = np.add.reduceat(np.diff(q, axis=0), block)
        said = np.add.reduceat(np.diff(t)[:, None] * (qd[1:] + qd[:-1]) / 2, block)
        ratio = (travel * said).sum(axis=0) / (said * said).sum(axis=0)
        moves = qd.any(axis=0) & (np.ptp(q, axis=0) > MOVES)
    return [(int(j), float(ratio[j])) for j in np.flatnonzero(moves)]


def _listed(names: Sequence[str]) -> str:
    shown = ", ".join(printable(name) for name in names[:_SHOWN]) or "(none)"
    return shown + (f" and {len(names) - _SHOWN} more" if len(names) > _SHOWN else "")
