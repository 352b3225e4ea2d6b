"""What pads are cleaned on, and what a place of a pad has to feel there to count as clean."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.workcell.fields import Declared, Fault, key
from gripmargin.workcell.kinds import OUTLINE, Count, Flag, Pose, Text, not_negative, positive

USED: Final = "cleaning"


class Cleaner(Declared, called="cleaner"):
    """A tacky sheet or roller that dirt of the pads sticks to.

    What it takes to clean is to be tried out: pull pads before and after.

    Attributes:
        name: What phases call it; in the file the name of its table.
        face: Where its face lies in the world, +z out of it. A roller lies along x, and this is its highest line: its
            axle is `radius` below.
        radius: Of a roller.
        outline: Of a sheet, in the xy plane of `face`, without re-entrant corners; pads that reach beyond it touch
            nothing there.
        length: Of a roller, along x to both sides of the origin of `face`.
        normal_stiffness: Of its tacky layer, per area; pads are pressed less on a layer that gives way.
        rigid: Whether it gives way so little beside the pads that it counts as rigid.
        turns_freely: Whether a roller turns with the pads; else it stands still. Only `least_slip` and `most_slip` ask.
        tack: Stress at which it lets go of a pad that is pulled straight off it.
        fixing_force: Largest force in any direction that its fixing takes; pads that stick to it pull at that.
        fixing_moment: Largest moment about the origin of `face` that its fixing takes.
        least_pressure: Pressure that cleans.
        least_dwell: How long a press has to keep that pressure to count; 0: a touch.
        least_presses: How many such presses clean a place.
        least_slip: How far a place has to be dragged over the cleaner in each of them, in excess of what its backing
            gives way to.
        most_slip: How far a place may be dragged over it in one touch.
        uses: Cleanings on it since it was washed or renewed.
        most_uses: Cleanings after which it has to be.
    """

    name: str = key(Text(), default="cleaner")
    face: FloatArray = key(Pose(is_face=True), USED)
    radius: float | None = key(positive("length"), USED, default=None, absent="a plane sheet")
    outline: FloatArray | None = key(OUTLINE, USED, default=None, absent="not known")
    length: float | None = key(positive("length"), USED, default=None, absent="not known")
    normal_stiffness: float | None = key(positive("foundation modulus"), USED, default=None, absent="not known")
    rigid: bool = key(Flag(), USED, default=False)
    turns_freely: bool | None = key(Flag(), USED, default=None, absent="not known")
    tack: float | None = key(positive("stress"), "cleaner", default=None, absent="not known")
    fixing_force: float | None = key(positive("force"), "cleaner", default=None, absent="not known")
    fixing_moment: float | None = key(positive("moment"), "cleaner", default=None, absent="not known")
    least_pressure: float | None = key(positive("stress"), USED, default=None, absent="not known")
    least_dwell: float = key(not_negative("time"), USED, default=0.0)
    least_presses: int = key(Count("a whole number of at least 1"), USED, default=1, absent="1")
    least_slip: float = key(not_negative("length"), USED, default=0.0)
    most_slip: float | None = key(positive("length"), USED, default=None, absent="not limited")
    uses: float | None = key(not_negative(), USED, default=None, absent="not known")
    most_uses: float | None = key(positive(), USED, default=None, absent="not limited")

    def place(self, name: str) -> str:
        """Return what messages call a field."""
        return f"{self.name}.{name}" if name else self.name

    def faults(self) -> Iterator[Fault]:
        """Sizes of the other kind of cleaner, a layer that is rigid and gives way, slips that exclude each other."""
        if self.radius is not None and self.outline is not None:
            yield "outline", "the outline of a sheet, beside the radius of a roller", "the length of the roller"
        if self.outline is not None and not _is_convex(self.outline):
            yield "outline", "a re-entrant corner", "an outline without one", "leave out what reaches further"
        if self.radius is None and self.length is not None:
            yield "length", "the length of a roller without its radius", "the radius, or of a sheet its outline"
        if self.radius is None and self.turns_freely is not None:
            yield "turns_freely", "a sheet that turns", "the radius of a roller"
        if self.rigid and self.normal_stiffness is not None:
            yield "rigid", "a rigid cleaner with a stiffness", "one of the two"
        if self.most_slip is not None and self.least_slip > self.most_slip:
            yield "most_slip", f"{self.most_slip:g} m, less than the least", "at least the least slip"


def _is_convex(outline: FloatArray) -> bool:
    """Whether a polygon, counter-clockwise, has no re-entrant corner."""
    (x, y), (u, v) = (
        (np.roll(outline, -1, axis=0) - outline).T,
        (np.roll(outline, -2, axis=0) - np.roll(outline, -1, axis=0)).T,
    )
    return bool((x * v - y * u >= -1e-12).all())
