"""A program that is not sampled yet: where each move ends, how it gets there, and how fast at most.

Way points have no time law: the controller makes one. `gripmargin.motion.planned` samples them under several.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import KW_ONLY, dataclass, field, replace
from typing import Final, Literal, get_args

import numpy as np

from gripmargin.base.arrays import FloatArray, Value, frozen
from gripmargin.base.errors import InputError
from gripmargin.base.given import shown, texts
from gripmargin.base.poses import FARTHEST, as_pose
from gripmargin.base.units import MAGNITUDES

MoveKind = Literal["joint", "line"]
MOST: Final = 2000  # way points of one program; more is a sampled path
# The figures of a move with the dimension of each: those of lengths, then those of turns.
LINEAR: Final = {"speed": "speed", "acceleration": "acceleration", "jerk": "jerk", "blend": "length"}
TURNING: Final = {
    "turn_speed": "angular speed",
    "turn_acceleration": "angular acceleration",
    "turn_jerk": "angular jerk",
    "turn_blend": "angle",
}


@dataclass(frozen=True, eq=False)
class Waypoint(Value):
    """Where a move ends, and how it gets there; of the first way point, where the program starts.

    Speed, acceleration and jerk are the peaks of the move: of the tool point for lines, of a joint that slides for
    joint moves. With ``turn_`` they are those of the tool's turning for lines, of a joint that turns for joint moves;
    the joint that takes longest leads, the others keep in step.

    Attributes:
        q: Joint values [rad or m], shape (joints,); None where there is a pose.
        pose: Of the tool frame in the world, shape (4, 4); None where there are joint values.
        kind: "joint" for a move straight in joint space, "line" for one in which the tool point runs straight and the
            tool turns about one axis; None for the first way point.
        speed: Peak [m/s].
        acceleration: Peak [m/s^2].
        jerk: Peak [m/s^3]; None: ramps of the acceleration take all of its time.
        turn_speed: Peak [rad/s].
        turn_acceleration: Peak [rad/s^2].
        turn_jerk: Peak [rad/s^3]; None: as for `jerk`.
        blend: Way left when the next move starts, where the controller blends [m].
        turn_blend: The same as an angle, of the joint that turns furthest or of the tool [rad].
        wait: How long the robot stands here [s].
        move: Label of the move; empty: its number.

    Raises:
        InputError: Neither joint values nor a pose, or both; figures that are no positive numbers; a blend where the
            robot waits.
    """

    _: KW_ONLY
    q: FloatArray | None = None
    pose: FloatArray | None = None
    kind: MoveKind | None = None
    speed: float | None = None
    acceleration: float | None = None
    jerk: float | None = None
    turn_speed: float | None = None
    turn_acceleration: float | None = None
    turn_jerk: float | None = None
    blend: float = 0.0
    turn_blend: float = 0.0
    wait: float = 0.0
    move: str = ""

    def __post_init__(self) -> None:
        if (self.q is None) == (self.pose is None):
            found = "neither joint values nor a pose" if self.q is None else "joint values and a pose"
            raise InputError("way point", found, "one of the two")
        if self.q is not None:
            object.__setattr__(self, "q", frozen(self.q, (None,), "way point q", most=FARTHEST))
            if not self.q.size:
                raise InputError("way point q", "no joint values", "at least one")
        if self.pose is not None:
            object.__setattr__(self, "pose", as_pose(self.pose, "way point pose"))
        if self.kind is not None and self.kind not in get_args(MoveKind):
            raise InputError("way point kind", shown(self.kind), "'joint' or 'line'")
        for name in (*LINEAR, *TURNING, "wait"):
            value, may_be_zero = getattr(self, name), name in ("blend", "turn_blend", "wait")
            if value is None and not may_be_zero:
                continue
            number = isinstance(value, int | float) and not isinstance(value, bool) and np.isfinite(value)
            if not number or value < 0 or (value == 0 and not may_be_zero):
                due = "a number of 0 or more" if may_be_zero else "a number above 0"
                raise InputError(f"way point {name}", shown(value), due)
            least, most = MAGNITUDES[(LINEAR | TURNING | {"wait": "time"})[name]]
            if value > most or (value < least and not may_be_zero):
                raise InputError(f"way point {name}", shown(value), f"from {least:g} to {most:g}", "check its unit")
        if self.wait > 0 and self.blends:
            remedy = "leave one of the two out"
            raise InputError("way point", "a blend where the robot waits", "a blend or a wait", remedy)
        (label,) = texts(self.move, "way point move")
        object.__setattr__(self, "move", label)

    @property
    def blends(self) -> bool:
        """Whether the next move starts before this one has ended."""
        return self.blend > 0 or self.turn_blend > 0


@dataclass(frozen=True, eq=False)
class Waypoints(Value):
    """A program that is not sampled yet.

    Attributes:
        points: In order; the first is where the program starts.
        source: Where it came from, for messages.
        notes: How its file was understood, in sentences for the report.
        places: What messages call each way point; empty: by their numbers from 0.

    Raises:
        InputError: Fewer than two way points, joint values among poses, a first way point that is a move, a joint move
            to a pose, a blend where nothing follows.
    """

    points: tuple[Waypoint, ...]
    source: str = "way points"
    notes: tuple[str, ...] = field(default=(), kw_only=True)
    places: tuple[str, ...] = field(default=(), kw_only=True, repr=False)

    def __post_init__(self) -> None:
        points = tuple(self.points)
        for i, point in enumerate(points):
            if not isinstance(point, Waypoint):
                raise InputError(f"{self.source} points[{i}]", shown(point), "a Waypoint")
        if not 2 <= len(points) <= MOST:
            due = f"from 2 to {MOST}: where the program starts, and where each move ends"
            raise InputError(self.source, f"{len(points)} way point{'' if len(points) == 1 else 's'}", due)
        labelled = [points[0]]
        for i, point in enumerate(points[1:], start=1):
            labelled.append(point if point.move else replace(point, move=f"move {i}"))
        object.__setattr__(self, "points", tuple(labelled))
        object.__setattr__(self, "notes", texts(self.notes, f"{self.source} notes"))
        object.__setattr__(self, "places", texts(self.places, f"{self.source} places"))
        self._check_alike(points)
        self._check_order(points)

    def _check_alike(self, points: Sequence[Waypoint]) -> None:
        sizes = [None if point.q is None else point.q.size for point in points]
        for i, size in enumerate(sizes):
            if size != sizes[0]:
                first, found = (f"{n} joint values" if n is not None else "a pose" for n in (sizes[0], size))
                raise InputError(self.place(i), found, f"{first}, as in the first way point")

    def _check_order(self, points: Sequence[Waypoint]) -> None:
        first = points[0]
        if first.kind is not None or first.blends:
            found = f"a {first.kind} move" if first.kind is not None else "a blend"
            remedy = "put a row before it with the values alone, where the robot stands before its first move"
            raise InputError(self.place(0), found, "where the program starts", remedy)
        for i, point in enumerate(points[1:], start=1):
            if point.kind is None:
                raise InputError(self.place(i), "no kind of move", "joint or line")
            if point.kind == "joint" and point.q is None:
                remedy = "give its joint values (then [robot] says where the tool is), or move in a line"
                raise InputError(self.place(i), "a joint move to a pose", "joint values, or a line", remedy)
        if points[-1].blends:
            raise InputError(self.place(len(points) - 1), "a blend where no move follows", "none", "leave it out")

    def place(self, index: int) -> str:
        """Return what messages call a way point."""
        return self.places[index] if self.places else f"{self.source}[{index}]"

    @property
    def blends(self) -> bool:
        """Whether any move starts before the one before it has ended."""
        return any(point.blends for point in self.points)

    @property
    def q(self) -> FloatArray:
        """Joint values [rad or m], shape (n, joints); of poses (n, 0)."""
        return np.stack([np.empty(0) if point.q is None else point.q for point in self.points])
