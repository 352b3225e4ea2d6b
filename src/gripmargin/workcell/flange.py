"""What the robot may carry at its flange, as its maker publishes it."""

from __future__ import annotations

from dataclasses import dataclass

from gripmargin.base.arrays import FloatArray, Value, frozen
from gripmargin.base.errors import InputError
from gripmargin.base.poses import as_pose
from gripmargin.workcell.fields import optional, positive, put


@dataclass(frozen=True, eq=False, kw_only=True)
class Flange(Value):
    """The rated values of the robot's wrist, from its data sheet.

    The lists belong to the robot's last axes, in their order from the base outwards: the last entry to the last axis.

    Attributes:
        payload: Mass that the robot may carry, gripper and part together [kg].
        moment: Static moment that the weight may have about each of the last axes [N m], shape (k,), or None.
        inertia: Moment of inertia that may turn with each of the last axes [kg m^2], shape (k,), or None.
        peak_force: Force that may act on the flange while the robot moves, weight and inertia together [N], or None.
        peak_moment: Moment likewise about each of the last axes [N m], shape (k,), or None.
        wrist: Point where the last three axes meet, with z along the last axis, in the tool frame, shape (4, 4), or
            None. Programs of poses need it for moments and inertias; programs of joints know their axes.

    Raises:
        InputError: A value that is not above 0, an empty list.
    """

    payload: float
    moment: FloatArray | None = None
    inertia: FloatArray | None = None
    peak_force: float | None = None
    peak_moment: FloatArray | None = None
    wrist: FloatArray | None = None

    def __post_init__(self) -> None:
        put(self, "payload", positive(self.payload, "flange.payload", "kg"))
        optional(self, "peak_force", "flange", "N")
        for key, unit in (("moment", "N*m"), ("inertia", "kg*m^2"), ("peak_moment", "N*m")):
            value = getattr(self, key)
            if value is not None:
                limits = frozen(value, (None,), f"flange.{key}")
                if limits.size == 0:
                    raise InputError(f"flange.{key}", "an empty list", "at least one value, of the last axis")
                for i, limit in enumerate(limits):
                    positive(limit, f"flange.{key}[{i}]", unit)
                put(self, key, limits)
        if self.wrist is not None:
            put(self, "wrist", as_pose(self.wrist, "flange.wrist"))
