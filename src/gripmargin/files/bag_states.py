"""Joint states and controller states of a recording into a trajectory, by the names of their joints."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.files.bag_rows import Row, Rows, listed
from gripmargin.files.samples import LONGEST_LABEL
from gripmargin.files.source import printable
from gripmargin.motion.trajectory import JointTrajectory

OFF: Final = 0.2  # share by which filtered speeds may miss the travel; a wrong unit or clock is further off
BLOCK: Final = 0.1  # [s] over which travel and speeds are compared, so that noise averages out
MOVES: Final = 5e-3  # [rad or m] range from which a joint tells its scale
MAX_JOINTS: Final = 200
MAX_LISTS: Final = 1_000  # of joint names, in all their orders
WHOLE: Final = 0.5  # least share of the stamps at which all parts of a split state are there


class JointStates(Rows):
    """Collects the messages that count, and makes a trajectory of them.

    Args:
        where: File and topic, for errors.
        names: Names of the joints that are wanted, in order; none: those of the first message.
        planned: Whether the values are those that a controller aimed at: then their rates count, too.
    """

    def __init__(self, where: str, names: Sequence[str], *, planned: bool = False) -> None:
        super().__init__(where, names, "joint")
        self._free = not names
        self._planned = planned
        self._columns: dict[tuple[str, ...], list[int]] = {}  # of the wanted joints; none: a message of others
        self._parts: dict[tuple[int, ...], list[Row]] = {}  # messages with some of them, by which they have
        self._others = 0

    def take(self, i: int, received: int, names: Sequence[str], header: Any, given: Sequence[FloatArray]) -> None:
        """Take message i.

        Args:
            i: Its number.
            received: When it came [ns].
            names: Of its joints.
            header: With its stamp.
            given: Positions, and what there is of velocities and accelerations, each empty or one a joint.
        """
        key = tuple(names)
        place = f"{self.where}, message {i}"
        if key not in self._columns:
            if len(self._columns) >= MAX_LISTS:
                raise InputError(place, f"more than {MAX_LISTS} different lists of joints", "the joints of one robot")
            self._columns[key] = self._columns_of(place, key)
        columns = self._columns[key]
        if not columns:
            self._others += 1
            return
        for what, values in zip(("positions", "velocities", "accelerations"), given, strict=False):
            if len(values) != len(key) and (what == "positions" or len(values)):
                due = "one a joint" if what == "positions" else "one a joint, or none"
                raise InputError(place, f"{len(values)} {what} for {len(key)} joints", due)
        rates = [values[columns] for values in given[1:] if len(values)]
        stamped = (i, header, received, given[0][columns], np.concatenate(rates) if rates else np.zeros(0))
        if len(columns) == len(self.names):
            self.add(*stamped)
        else:
            there = tuple(k for k, name in enumerate(self.names) if name in key)
            whole, self.rows = self.rows, self._parts.setdefault(there, [])
            self.add(*stamped)
            self.rows = whole

    def _columns_of(self, place: str, names: tuple[str, ...]) -> list[int]:
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
            found = f"the joints {listed(names)}, where others have {listed(self.names)}"
            remedy = "hand in the robot with its joint names, which says which joints are meant"
            raise InputError(place, found, "messages of the same joints", remedy)
        return [names.index(name) for name in self.names if name in names]

    def trajectory(self, source: str) -> JointTrajectory:
        """Return the messages in order of time.

        Raises:
            InputError: None that counts, or messages that contradict each other.
        """
        if self._parts:
            self._join_parts()
        if not self.rows:
            seen = "; ".join(listed(names) for names in list(self._columns)[:3])
            remedy = "name the robot's joints in the job ([robot] joint_names), or choose another topic"
            due = f"the robot's {listed(self.names)}"
            raise InputError(self.where, f"messages of the joints {seen}", due, remedy)
        stamps = self.in_order("the robot's joints")
        t, q = (stamps - stamps[0]) / 1e9, self.values
        qd, qdd = self._planned_rates() if self._planned else (None, None)
        if not self._planned:
            self._compare_velocities(t, q)
        seconds, rest = divmod(int(stamps[0]), 10**9)
        what = "Aimed at: {} controller states" if self._planned else "Measured: {} joint states"
        first = f"{what.format(stamps.size)}; time 0 is the stamp {seconds}.{rest:09d} s."
        notes = [first, *self.notes]
        if self._others:
            notes.append(f"{self._others} messages of other joints on the same topic are left out.")
        return JointTrajectory(
            t=t, q=q, qd=qd, qdd=qdd, names=tuple(self.names), source=source, notes=tuple(notes), stamp=int(stamps[0])
        )

    def _planned_rates(self) -> tuple[FloatArray | None, FloatArray | None]:
        """Speeds and accelerations, as far as all messages have them."""
        least = min(row.rates.size // len(self.names) for row in self.rows)
        rates = [np.stack([row.rates.reshape(-1, len(self.names))[k] for row in self.rows]) for k in range(least)]
        qd, qdd, *_ = (*rates, None, None)
        return qd, qdd

    # ---- states that come in several messages ----

    def _join_parts(self) -> None:
        """Put messages together that have some of the joints each, at the same stamps.

        Raises:
            InputError: Joints that are missing, or come twice, or at other times than the others while they move.
        """
        have = sorted(k for part in self._parts for k in part)
        missing = [name for k, name in enumerate(self.names) if k not in have]
        first = min((rows[0].number, part) for part, rows in self._parts.items())
        some = f"the joints {listed([self.names[k] for k in first[1]])} alone"
        place = f"{self.where}, message {first[0]}"
        if missing or self.rows or len(have) > len(self.names):
            due = f"all of the robot's joints {listed(self.names)}, each from one kind of message"
            remedy = "record the topic that has them all" if missing else "cut the recording, or choose another topic"
            raise InputError(place, some, due, remedy)
        moves = {part: np.ptp([row.values for row in rows], axis=0).any() for part, rows in self._parts.items()}
        timed = [part for part, moving in moves.items() if moving] or [next(iter(moves))]
        by_stamp = {part: self._by_stamp(self._parts[part]) for part in timed}
        stamps = set.union(*map(set, by_stamp.values()))
        whole = set.intersection(*map(set, by_stamp.values())) - {0}
        if len(whole) < WHOLE * len(stamps):
            due = f"a stamp that the joints {listed(self.names)} have in common"
            remedy = "record the topic that has them all at one time"
            raise InputError(place, f"{some}, of other times than the others", due, remedy)
        for stamp in (stamp for stamp in by_stamp[timed[0]] if stamp in whole):
            there = {part: by_stamp[part][stamp] if part in by_stamp else of[0] for part, of in self._parts.items()}
            values = {k: v for part, row in there.items() for k, v in zip(part, row.values, strict=True)}
            one = min((there[part] for part in timed), key=lambda row: row.number)
            self.rows.append(one._replace(values=np.array([values[k] for k in have]), rates=np.zeros(0)))
        parts = len(self._parts)
        self.notes.append(f"Each state of the robot comes in {parts} messages: put together by their stamps.")
        if len(stamps) > len(whole):
            self.notes.append(f"{len(stamps) - len(whole)} stamps without all of them are left out.")

    def _by_stamp(self, rows: Sequence[Row]) -> dict[int, Row]:
        found: dict[int, Row] = {}
        for row in rows:
            other = found.setdefault(row.header, row)
            if not np.array_equal(row.values, other.values):
                what = f"the stamp of message {other.number} with other values"
                raise InputError(f"{self.where}, message {row.number}", what, "one message a stamp")
        return found

    def _compare_velocities(self, t: FloatArray, q: FloatArray) -> None:
        """Refuse velocities that show a wrong unit, or stamps that are not those of the measurement."""
        velocities = [row.rates[: len(self.names)] for row in self.rows if row.rates.size]
        if velocities:
            self.notes.append(
                "Velocities in the messages are not used, for drivers filter them and so lower their peaks: rates are "
                "estimated from the positions."
            )
        if len(velocities) < len(self.rows) or not np.isfinite(qd := np.stack(velocities)).all():
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
