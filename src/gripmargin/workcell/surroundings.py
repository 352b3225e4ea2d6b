"""Where the part is taken from and left, and how the robot stops."""

from __future__ import annotations

from dataclasses import dataclass

from gripmargin.arrays import FloatArray, Value, frozen
from gripmargin.errors import InputError
from gripmargin.poses import as_pose
from gripmargin.workcell.fields import optional, positive, put
from gripmargin.workcell.outline import polygon


@dataclass(frozen=True, eq=False, kw_only=True)
class Pick(Value):
    """Where the part is taken from.

    Attributes:
        face: Gripped face in the world, +z out of the part, shape (4, 4).
        flatness: Largest gap between the face and a plane [m].
        break_away: Force that holds the part in its tray while it leaves [N].
        dwell: Time the tool rests on the part [s], where the program does not show it.
    """

    face: FloatArray
    flatness: float = 0.0
    break_away: float = 0.0
    dwell: float | None = None

    def __post_init__(self) -> None:
        put(self, "face", as_pose(self.face, "pick.face"))
        for key, unit in (("flatness", "m"), ("break_away", "N"), ("dwell", "s")):
            optional(self, key, "pick", unit, zero=True)


@dataclass(frozen=True, eq=False, kw_only=True)
class Nest(Value):
    """The fixture that receives the part, and what keeps the part in it.

    Attributes:
        face: Gripped face of the seated part in the world, +z out of the part, shape (4, 4).
        hold_down: Force that keeps the part down, beyond its weight [N].
        lateral_force: Largest force along the face that the nest takes [N], or None: not known.
        moment: Largest moment about the face normal that the nest takes [N m], or None: not known.
        support: Outline the part stands on, seen along the face normal, in the xy plane of ``face`` [m], shape
            (k, 2), or None: the part's outline.
        tolerance: How far the part may still swing when it is placed [m], or None.
    """

    face: FloatArray
    hold_down: float = 0.0
    lateral_force: float | None = None
    moment: float | None = None
    support: FloatArray | None = None
    tolerance: float | None = None

    def __post_init__(self) -> None:
        put(self, "face", as_pose(self.face, "nest.face"))
        optional(self, "tolerance", "nest", "m")
        for key, unit in (("hold_down", "N"), ("lateral_force", "N"), ("moment", "N*m")):
            optional(self, key, "nest", unit, zero=True)
        if self.support is not None:
            put(self, "support", polygon(self.support, "nest.support"))


@dataclass(frozen=True, eq=False, kw_only=True)
class Stop(Value):
    """How the robot stops when it is told to.

    Attributes:
        time: From full speed to rest along the path [s].
        deceleration: Along the path of the tool-frame origin [m/s^2]; instead of a time.
        axis_deceleration: Braking rate of each axis on its own [rad/s^2 or m/s^2], shape (joints,).
        category: Stop category after IEC 60204-1: 0 is uncontrolled, 1 and 2 are controlled; or None.
    """

    time: float | None = None
    deceleration: float | None = None
    axis_deceleration: FloatArray | None = None
    category: int | None = None

    def __post_init__(self) -> None:
        optional(self, "time", "stop", "s")
        optional(self, "deceleration", "stop", "m/s^2")
        if self.axis_deceleration is not None:
            rates = frozen(self.axis_deceleration, (None,), "stop.axis_deceleration")
            for i, rate in enumerate(rates):
                positive(rate, f"stop.axis_deceleration[{i}]", "rad/s^2 or m/s^2")
            put(self, "axis_deceleration", rates)
        if self.time is not None and self.deceleration is not None:
            raise InputError("stop.deceleration", "a stopping time and a deceleration", "one of the two")
        on_path = self.time is not None or self.deceleration is not None
        if not on_path and self.axis_deceleration is None:
            raise InputError("stop", "no way to stop", "a time, a deceleration or axis_deceleration")
        if self.category not in (None, 0, 1, 2):
            raise InputError("stop.category", f"{self.category}", "0, 1 or 2 (IEC 60204-1)")
        if self.category == 0 and self.axis_deceleration is None:
            raise InputError("stop.category", "category 0 without axis_deceleration", "the braking rate of each axis")
        if self.category in (1, 2) and not on_path:
            raise InputError("stop.category", f"category {self.category} without a time", "a time or a deceleration")
