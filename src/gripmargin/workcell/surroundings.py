"""Where the part is taken from and left."""

from __future__ import annotations

from dataclasses import dataclass

from gripmargin.base.arrays import FloatArray, Value
from gripmargin.base.poses import as_pose
from gripmargin.workcell.fields import optional, put
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
