"""Measured joint motion: ``sensor_msgs/JointState`` messages of a rosbag2 recording, read without ROS.

Files are read by `gripmargin.files.bag_storage`; the messages in them are decoded by the library rosbags. Times are
those of the message headers, for the time of receipt has the delays of the network in it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.files.bag_storage import read_recording
from gripmargin.files.columns import LONGEST_LABEL, check_radians
from gripmargin.files.compression import library_missing
from gripmargin.files.recording import Recording, Topic
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
    decode = _decoder(path)
    recording = read_recording(path, KIND, topic)
    chosen = _chosen(path, recording, topic)
    where = f"{path}, topic '{printable(chosen.name)}'"
    names = robot.names if robot is not None and robot.names and all(robot.names) else None
    states = _States(where, names)
    for i, (received, content) in enumerate(chosen.messages):
        try:
            message = decode(content)
        except Exception as error:  # the library raises its own and numpy's
            reason = printable(str(error), 160)
            raise InputError(f"{where}, message {i}", f"content that is no joint state ({reason})", KIND) from error
        states.take(i, received, message)
    trajectory = states.trajectory(path.name)
    if robot is None:
        return trajectory
    from gripmargin.workcell.job import matched_to_robot  # noqa: PLC0415 - only with a robot

    try:
        trajectory = matched_to_robot(trajectory, robot)
    except InputError as error:
        raise InputError(where, error.found, error.expected, error.remedy) from error
    check_radians(trajectory.q, trajectory.names, states.locate, robot.revolute)
    return trajectory


def _decoder(path: Path) -> Callable[[bytes], Any]:
    try:
        store = _message_types()
    except ImportError as error:
        raise library_missing("rosbags", str(path)) from error
    return lambda content: store.deserialize_cdr(content, KIND)


@cache
def _message_types() -> Any:
    from rosbags.typesys import Stores, get_typestore  # noqa: PLC0415 - optional, and only recordings need it

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


@dataclass
class _States:
    """Collects the messages that count, and makes a trajectory of them.

    Attributes:
        where: File and topic, for errors.
        names: Names of the joints that are wanted, in order; None: those of the first message.
        columns: For each list of names that occurred, the columns of the wanted joints; None: a message of others.
    """

    where: str
    names: Sequence[str] | None
    columns: dict[tuple[str, ...], list[int] | None] = field(default_factory=dict)
    number: list[int] = field(default_factory=list)
    header: list[int] = field(default_factory=list)
    received: list[int] = field(default_factory=list)
    q: list[FloatArray] = field(default_factory=list)
    qd: list[FloatArray] = field(default_factory=list)
    others: int = 0
    notes: list[str] = field(default_factory=list)
    free: bool = field(init=False)

    def __post_init__(self) -> None:
        self.free = self.names is None

    def take(self, i: int, received: int, message: Any) -> None:
        """Take message i, received at a time [ns]."""
        names = tuple(message.name)
        if names not in self.columns:
            if len(self.columns) >= MAX_LISTS:
                found = f"more than {MAX_LISTS} different lists of joints"
                raise InputError(f"{self.where}, message {i}", found, "the joints of one robot")
            self.columns[names] = self._columns_of(i, names)
        columns = self.columns[names]
        if columns is None:
            self.others += 1
            return
        if len(message.position) != len(names):
            found = f"{len(message.position)} positions for {len(names)} joints"
            raise InputError(f"{self.where}, message {i}", found, "one a joint")
        if len(message.velocity) not in (0, len(names)):
            found = f"{len(message.velocity)} velocities for {len(names)} joints"
            raise InputError(f"{self.where}, message {i}", found, "one a joint, or none")
        stamp = message.header.stamp
        self.number.append(i)
        self.header.append(stamp.sec * 10**9 + stamp.nanosec)
        self.received.append(received)
        self.q.append(message.position[columns])
        if len(message.velocity):
            self.qd.append(message.velocity[columns])

    def _columns_of(self, i: int, names: tuple[str, ...]) -> list[int] | None:
        place = f"{self.where}, message {i}"
        if len(names) > MAX_JOINTS:
            raise InputError(place, f"{len(names)} joints", f"at most {MAX_JOINTS}")
        for k, name in enumerate(names):
            if not name or not name.isprintable() or len(name) > LONGEST_LABEL:
                due = f"plain text of 1 to {LONGEST_LABEL} characters on one line"
                raise InputError(place, f"the joint name '{printable(name)}'", due)
            if name in names[:k]:
                raise InputError(place, f"the joint '{name}' twice", "each joint once")
        if self.names is None:
            if not names:
                raise InputError(place, "no joint names", "the name of each joint")
            self.names = names
        missing = [name for name in self.names if name not in names]
        if self.free and (missing or len(names) > len(self.names)):
            found = f"the joints {_listed(names)}, where others have {_listed(self.names)}"
            remedy = "hand in the robot with its joint names, which says which joints are meant"
            raise InputError(place, found, "messages of the same joints", remedy)
        if not missing:
            return [names.index(name) for name in self.names]
        if len(missing) == len(self.names):
            return None
        due = f"all of the robot's joints {_listed(self.names)} or none of them"
        remedy = "the joints of one robot have to come in one message, of one time: record the topic that has them all"
        raise InputError(place, f"the joints {_listed(names)} alone", due, remedy)

    def locate(self, row: int | None, joint: str | None) -> str:
        """Name a place for an error."""
        place = "" if row is None else f", message {self.number[row]}"
        return self.where + place + (f", joint '{joint}'" if joint else "")

    def trajectory(self, source: str) -> JointTrajectory:
        """Return the messages in order of time."""
        assert self.names is not None or not self.number  # noqa: S101 - the first message has set them
        if not self.number:
            seen = "; ".join(_listed(names) for names in list(self.columns)[:3])
            remedy = "name the robot's joints in the job ([robot] joint_names), or choose another topic"
            raise InputError(
                self.where, f"messages of the joints {seen}", f"the robot's {_listed(self.names or ())}", remedy
            )
        if len(self.number) < 2:
            raise InputError(self.where, "1 message of the robot's joints", "at least 2")
        q = np.stack(self.q)
        self._check_finite(q)
        stamps = self._stamps()
        order = self._order(stamps)
        q, stamps = q[order], stamps[order]
        self.number = [self.number[i] for i in order]
        kept = self._without_copies(stamps, q)
        self.number = [self.number[i] for i in np.flatnonzero(kept)]
        stamps, q = stamps[kept], q[kept]
        if stamps.size < 2:
            raise InputError(self.where, "messages of one time only", "at least 2")
        if self.qd:
            self.notes.append(
                "Velocities in the messages are not used, for drivers filter them and so lower their peaks: rates are "
                "estimated from the positions."
            )
        if len(self.qd) == len(self.q) and np.isfinite(qd := np.stack(self.qd)).all():
            self._check_velocities(stamps, q, qd[order][kept])
        seconds, rest = divmod(int(stamps[0]), 10**9)
        notes = [f"Measured: {stamps.size} joint states; time 0 is the stamp {seconds}.{rest:09d} s.", *self.notes]
        if self.others:
            notes.append(f"{self.others} messages of other joints on the same topic are left out.")
        return JointTrajectory(
            t=(stamps - stamps[0]) / 1e9, q=q, names=tuple(self.names or ()), source=source, notes=tuple(notes)
        )

    def _check_finite(self, q: FloatArray) -> None:
        finite = np.isfinite(q)
        if not finite.all():
            row, k = (int(i) for i in np.argwhere(~finite)[0])
            where = self.locate(row, (self.names or ())[k])
            raise InputError(
                where, f"{q[row, k]}", "a finite number", "cut the recording to where all joints are known"
            )

    def _stamps(self) -> NDArray[np.int64]:
        """Times [ns] by one clock: that of the headers, or of receipt where no header has a stamp."""
        without = self.header.count(0)
        if 0 < without < len(self.header):
            i = self.number[self.header.index(0)]
            remedy = "cut the recording, or record a topic whose messages all have a stamp"
            found = f"{without} messages without a stamp, message {i} the first, among {len(self.header)}"
            raise InputError(self.where, found, "a stamp in every header, or in none", remedy)
        if without:
            self.notes.append("The headers have no stamps: times are those of receipt, with the delays of the network.")
        times = self.received if without else self.header
        if not -(2**62) < min(times) <= max(times) < 2**62:
            raise InputError(self.where, f"the time {max(times, key=abs)} ns", "a time within 146 years of 1970")
        return np.array(times, dtype=np.int64)

    def _order(self, stamps: NDArray[np.int64]) -> NDArray[np.intp]:
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
        return np.argsort(stamps, kind="stable")

    def _without_copies(self, stamps: NDArray[np.int64], q: FloatArray) -> NDArray[np.bool_]:
        """Which messages stay; the same stamp twice is a copy, or two messages that contradict each other."""
        again = np.concatenate([[False], np.diff(stamps) == 0])
        differ = again & np.concatenate([[False], (np.diff(q, axis=0) != 0).any(axis=1)])
        if differ.any():
            first = int(np.argmax(differ))
            found = (
                f"the stamp of message {self.number[first - 1]} with other positions ({int(differ.sum())} such pairs)"
            )
            remedy = "two publishers on one topic, or stamps that are too coarse: record one source with its own stamps"
            raise InputError(self.locate(first, None), found, "one message a stamp", remedy)
        if again.any():
            self.notes.append(f"{int(again.sum())} messages with stamp and positions of another are left out.")
        return ~again

    def _check_velocities(self, stamps: NDArray[np.int64], q: FloatArray, qd: FloatArray) -> None:
        """Refuse velocities that show a wrong unit, or stamps that are not those of the measurement."""
        for j, ratio in _ratios((stamps - stamps[0]) / 1e9, q, qd):
            if not abs(ratio - 1.0) <= OFF:
                found = f"a travel that is {ratio:.4g} times that of the velocities"
                remedy = "check the units of the publisher, and whether its stamps are those of the measurement"
                raise InputError(self.locate(None, (self.names or ())[j]), found, "velocities that agree", remedy)


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
