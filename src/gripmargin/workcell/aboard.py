"""What the other stations of a gripper have on their pads while one hold is judged: it loads the flange as well."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray, Value, sealed

Push = tuple[NDArray[np.intp], FloatArray, FloatArray, FloatArray]


@dataclass(frozen=True, eq=False, kw_only=True)
class Aboard(Value):
    """What a hold puts on the gripper, over the samples of a program.

    All of it is seen from one frame that is fixed to the tool, loads as those of a part: what acts on the gripper.

    Attributes:
        hold: Its name; empty: the one that is judged.
        mass: Of its part [kg].
        com: Of its part [m], shape (3,).
        inertia: About that [kg m^2], shape (3, 3).
        hangs: Where the part hangs on its pads, shape (n,).
        contact: What pads and part push or pull on each other in press and release, at the samples, 0 elsewhere,
            shape (6, n).
        sure: What of it is there at least, likewise.
        at: Samples that lie beside an instant at which it is another, between samples or as the face lies, shape (k,).
        instants: What it is then, shape (6, k).
        pushes: Forces of the process on the part, in combinations: samples, shape (m,), what they add, shape (6, m),
            what a response of 1 of each mode of the part is, shape (6, modes), and responses that they may have
            started, shape (modes, m).
        unfollowed: What of press and release could not be followed, in words.
        unknown: Samples of that, shape (n,); None: none.
    """

    hold: str = ""
    mass: float
    com: FloatArray
    inertia: FloatArray
    hangs: NDArray[np.bool_]
    contact: FloatArray
    sure: FloatArray
    at: NDArray[np.intp]
    instants: FloatArray
    pushes: tuple[Push, ...] = ()
    unfollowed: str = ""
    unknown: NDArray[np.bool_] | None = None

    def __post_init__(self) -> None:
        for value in (*vars(self).values(), *(rows for push in self.pushes for rows in push)):
            if isinstance(value, np.ndarray):
                sealed(value)

    @property
    def is_there(self) -> bool:
        """Whether there is anything."""
        return bool(self.hangs.any() or self.at.size or self.unfollowed)

    def over(self, first: int, last: int, begin: int, hold: str) -> Aboard:
        """Return it over another stretch of the program, with nothing where it says nothing.

        Args:
            first: First sample of that stretch.
            last: Its last sample.
            begin: Sample of the program that is the first of what is known.
            hold: Its name.
        """
        shift, n = begin - first, last - first + 1
        rows = np.arange(self.hangs.size) + shift
        inside = (rows >= 0) & (rows < n)
        hangs, contact, sure = np.zeros(n, dtype=bool), np.zeros((6, n)), np.zeros((6, n))
        hangs[rows[inside]] = self.hangs[inside]
        contact[:, rows[inside]], sure[:, rows[inside]] = self.contact[:, inside], self.sure[:, inside]
        unknown = None
        if self.unknown is not None:
            unknown = np.zeros(n, dtype=bool)
            unknown[rows[inside]] = self.unknown[inside]
        there = inside[self.at]
        pushes = []
        for samples, wrench, modes, swing in self.pushes:
            own = inside[samples]
            pushes.append((samples[own] + shift, wrench[:, own], modes, swing[:, own]))
        return replace(
            self,
            hold=hold,
            hangs=hangs,
            contact=contact,
            sure=sure,
            at=self.at[there] + shift,
            instants=self.instants[:, there],
            pushes=tuple(pushes),
            unknown=unknown,
        )

    def seen_from(self, frame: FloatArray) -> Aboard:
        """Return it in another frame that is fixed to the tool.

        Args:
            frame: Pose in that frame of the one in which it is given, shape (4, 4).
        """
        turn, place = frame[:3, :3], frame[:3, 3]
        moved = np.zeros((6, 6))
        moved[:3, :3] = moved[3:, 3:] = turn
        moved[3:, :3] = np.cross(place, turn, axisb=0, axisc=0)
        return replace(
            self,
            com=turn @ self.com + place,
            inertia=turn @ self.inertia @ turn.T,
            contact=moved @ self.contact,
            sure=moved @ self.sure,
            instants=moved @ self.instants,
            pushes=tuple((at, moved @ wrench, moved @ modes, swing) for at, wrench, modes, swing in self.pushes),
        )
