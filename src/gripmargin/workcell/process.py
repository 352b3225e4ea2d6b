"""Forces of the process: what something beside the gripper does to the part while it hangs on the pads."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from difflib import get_close_matches
from typing import Any, Final, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.motion.trajectory import RESOLVED, Trajectory
from gripmargin.workcell.fields import Declared, Fault, key
from gripmargin.workcell.kinds import LABELS, POINT, Choice, Number, Row, Text, positive
from gripmargin.workcell.surroundings import Nest
from gripmargin.workcell.task import span_of, when_faults

Axes = Literal["tool", "nest", "world"]
Sign = Literal["+", "+-"]
Shape = Literal["constant", "ramp"]
USED: Final = "all but preload, release"
MOST: Final = 4  # forces that act at a time: each has two or three values, all of which are tried together


class Process(Declared, called="process"):
    """A force of the process, such as a connector that a board is pushed into, or a stop that it slides along.

    It acts on the part over a stretch of the carry, by labels of moves or by times. Anything from no force to all of it
    is reckoned with: what it would take off the pads is not counted on.

    Attributes:
        name: What reports call it.
        moves: Labels of the moves over which it acts.
        start: First time.
        end: Last time.
        force: On the part, the largest that there may be.
        moment: On the part, the largest that there may be, beside what the force does by its lever.
        overtravel: In place of a force: how far the tool goes on once the part has met something.
        stiffness: Of what it meets, along the overtravel.
        frame: Whose axes force, moment and overtravel are given in; `nest` is that of `nest.face`.
        at: Where the force acts, in the tool frame.
        sign: Whether it acts as given, or either way, as friction does.
        shape: Whether it comes and goes at once, or steadily.
        rise: Over which time a ramp comes, and goes again.
        station: On the part of which of several stations of the gripper it acts; its frame is then the tool frame.
    """

    name: str = key(Text(), "names", default="process")
    moves: tuple[str, ...] | None = key(LABELS, USED, default=None)
    start: float | None = key(Number("time", what="a finite time"), USED, default=None, spelled="from")
    end: float | None = key(Number("time", what="a finite time"), USED, default=None, spelled="to")
    force: FloatArray | None = key(Row(Number("force"), 3), USED, default=None)
    moment: FloatArray | None = key(Row(Number("moment"), 3), USED, default=None, absent="none of its own")
    overtravel: FloatArray | None = key(POINT, USED, default=None)
    stiffness: float | None = key(
        positive("stiffness"), USED, default=None, absent="rigid: only the pads give way to the overtravel"
    )
    frame: Axes = key(Choice(get_args(Axes)), USED, default="tool")
    at: FloatArray | None = key(POINT, USED, default=None, absent="has to be given with a force or an overtravel")
    sign: Sign = key(Choice(get_args(Sign)), USED, default="+")
    shape: Shape = key(Choice(get_args(Shape)), "swing, settle, stop, pressure, flange", default="constant")
    rise: float | None = key(
        positive("time"), "swing, settle, stop, pressure, flange", default=None, absent="half of its time"
    )
    station: str | None = key(Text("the name of a station"), USED, default=None, absent="there is but one")

    def faults(self) -> Iterator[Fault]:
        """No time, no force, two kinds of it, no point of attack, figures that belong to another kind."""
        yield from when_faults(self.moves, self.start, self.end)
        if self.force is None and self.moment is None and self.overtravel is None:
            yield "", "neither force nor moment nor overtravel", "one of them"
        if self.overtravel is not None and (self.force is not None or self.moment is not None):
            yield "overtravel", "an overtravel beside a force or a moment", "one of the two"
        if self.overtravel is None and self.stiffness is not None:
            yield "stiffness", "a stiffness without an overtravel", "an overtravel beside it"
        if self.at is None and (self.force is not None or self.overtravel is not None):
            yield "at", "a force without the place where it acts", "at, a point of the part in the tool frame"
        if self.rise is not None and self.shape != "ramp":
            yield "rise", "a rise of a constant force", 'shape = "ramp"', "or leave it out"

    @property
    def span(self) -> tuple[float, float] | None:
        """From and to [s], None where it is told by moves."""
        return span_of(self.start, self.end)

    @property
    def is_none(self) -> bool:
        """Whether it is no force at all."""
        given = (self.force, self.moment, self.overtravel)
        return all(each is None or not each.any() for each in given)

    def named(self, trajectory: Trajectory) -> NDArray[np.bool_]:
        """Return which samples its moves or times name, shape (samples,)."""
        if self.span is not None:
            return np.asarray((trajectory.t >= self.span[0]) & (trajectory.t <= self.span[1]))
        wanted, labels = set(self.moves or ()), trajectory.moves or ()
        return np.fromiter((label in wanted for label in labels), dtype=bool, count=trajectory.samples)

    def acting(self, trajectory: Trajectory) -> NDArray[np.bool_]:
        """Return at which samples it has to be reckoned with, shape (samples,).

        Where it begins or ends between two samples it may act at either; so it may where moves meet whose samples are
        far apart.
        """
        if self.span is not None:
            first = np.searchsorted(trajectory.t, self.span[0], side="right") - 1
            last = np.searchsorted(trajectory.t, self.span[1])
            every = np.arange(trajectory.samples)
            return np.asarray((every >= first) & (every <= last))
        named, every = self.named(trajectory), np.arange(trajectory.samples)
        own = trajectory.rows
        out, wide = named[own], np.diff(trajectory.t[own]) > RESOLVED
        out[:-1] |= named[own[1:]] & wide
        out[1:] |= named[own[:-1]] & wide
        return out[np.searchsorted(own, every, side="right") - 1] & out[np.searchsorted(own, every)] | named

    def rise_over(self, trajectory: Trajectory, first: int, end: int) -> float:
        """Return over which time it comes, and goes, in a stretch of samples in which it acts [s]; 0: at once.

        A ramp that is given none takes half of its time: from `from` to `to`, or between the first and the last sample
        that its moves name, the shortest such run in the stretch. What is put on for the sake of doubt does not count.

        Args:
            trajectory: The program.
            first: First sample of the stretch.
            end: One past its last one.
        """
        if self.shape == "constant":
            return 0.0
        if self.rise is not None:
            return self.rise
        if self.span is not None:
            return 0.5 * (self.span[1] - self.span[0])
        runs = first + runs_of(self.named(trajectory)[first:end])
        return 0.5 * float((trajectory.t[runs[:, 1] - 1] - trajectory.t[runs[:, 0]]).min()) if runs.size else 0.0


def runs_of(mask: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Return where runs of samples begin, and one past where they end, shape (runs, 2)."""
    return np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8))).reshape(-1, 2)


def process_problems(forces: tuple[Process, ...], trajectory: Trajectory) -> list[InputError]:
    """Return what is wrong with process forces: labels or times that the program does not have, too many at a time."""
    problems = []
    labels = set(trajectory.moves or ())
    first, last = float(trajectory.t[0]), float(trajectory.t[-1])
    for i, force in enumerate(forces):
        where = f"process[{i}]"
        if force.span is not None and (force.span[1] <= first or force.span[0] >= last):
            found = f"from {force.span[0]:g} s to {force.span[1]:g} s"
            due = f"times within the program, which runs from {first:g} s to {last:g} s"
            problems.append(InputError(where, found, due))
        for k, move in enumerate(force.moves or ()):
            if move not in labels:
                some = ", ".join(f"'{label}'" for label in list(dict.fromkeys(trajectory.moves or ()))[:8])
                due = f"a label of the program's moves ({some})" if labels else "times, for the program has no labels"
                near = get_close_matches(move, labels, n=1)
                remedy = f"did you mean '{near[0]}'?" if near else ""
                problems.append(InputError(f"{where}.moves[{k}]", f"'{move}'", due, remedy))
    if not problems and forces:
        together = np.sum([force.acting(trajectory) for force in forces if not force.is_none], axis=0)
        if np.max(together, initial=0) > MOST:
            found, due = f"{int(np.max(together))} forces at a time", f"at most {MOST}"
            problems.append(InputError("process", found, due, "add up those that always act together"))
    return problems


def timed(force: Process, trajectory: Trajectory, nest: Nest | None, late: float) -> Iterator[Process]:
    """Yield a force by the times of each stretch over which it acts, which may come early or late, in world axes.

    Args:
        force: By moves or times.
        trajectory: The program.
        nest: Of the job.
        late: By how much [s].
    """
    if force.frame == "nest" and nest is not None:
        given = {name: getattr(force, name) for name in ("force", "moment", "overtravel")}
        turned: dict[str, Any] = {name: v if v is None else nest.face[:3, :3] @ v for name, v in given.items()}
        force = replace(force, frame="world", **turned)
    for first, end in runs_of(force.acting(trajectory)):
        start, stop = float(trajectory.t[first]) - late, float(trajectory.t[end - 1]) + late
        if stop > start:
            rise = force.rise_over(trajectory, int(first), int(end))
            shape: Shape = "ramp" if rise > 0.0 else "constant"
            yield replace(force, moves=None, start=start, end=stop, shape=shape, rise=rise or None)
