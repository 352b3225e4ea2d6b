"""How the robot stops when it is told to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gripmargin.base.arrays import FloatArray, Value, frozen
from gripmargin.base.errors import InputError
from gripmargin.workcell.fields import optional, positive, put


@dataclass(frozen=True, eq=False, kw_only=True)
class StopFigure(Value):
    """One published or measured stop along the path (ISO 10218-1:2011, Annex B, gives 33, 66 and 100 %).

    Attributes:
        speed: Share of the full speed from which the robot stopped [-].
        time: From the demand to rest [s].
        load: Share of the rated payload that it carried [-].
        distance: Way of the axis until rest [rad or m], or None.
        axis: Number of the joint that was measured, from 1 at the base, or None: of all of them.
    """

    speed: float
    time: float
    load: float = 1.0
    distance: float | None = None
    axis: int | None = None

    def __post_init__(self) -> None:
        put(self, "speed", positive(self.speed, "speed", "-"))
        if self.speed > 1.0:
            raise InputError("speed", f"{self.speed:g}", "a share of the full speed, at most 1")
        put(self, "time", positive(self.time, "time", "s"))
        put(self, "load", positive(self.load, "load", "-", zero=True))
        if self.distance is not None:
            put(self, "distance", positive(self.distance, "distance", "rad or m"))
        if self.axis is not None and self.axis < 1:
            raise InputError("axis", f"{self.axis}", "the number of a joint, from 1 at the base")


@dataclass(frozen=True, eq=False, kw_only=True)
class Stop(Value):
    """How the robot stops when it is told to.

    Attributes:
        time: From full speed to rest along the path [s].
        deceleration: Along the path of the tool-frame origin [m/s^2]; instead of a time.
        axis_deceleration: Braking rate of each axis on its own [rad/s^2 or m/s^2], shape (joints,).
        category: Stop category after IEC 60204-1: 0 is uncontrolled, 1 and 2 are controlled; or None.
        measured: Published stopping times along the path; instead of a time.
        load: Share of the rated payload that is carried [-], for `measured`; None: not known.
        ramp: Time over which the deceleration builds up [s]; 0: at once.
        floor: Height of the floor in the world [m], where a part that comes off may land; or None.
    """

    time: float | None = None
    deceleration: float | None = None
    axis_deceleration: FloatArray | None = None
    category: int | None = None
    measured: tuple[StopFigure, ...] = ()
    load: float | None = None
    ramp: float = 0.0
    floor: float | None = None

    def __post_init__(self) -> None:
        optional(self, "time", "stop", "s")
        optional(self, "deceleration", "stop", "m/s^2")
        optional(self, "load", "stop", "-", zero=True)
        put(self, "ramp", positive(self.ramp, "stop.ramp", "s", zero=True))
        if self.axis_deceleration is not None:
            rates = frozen(self.axis_deceleration, (None,), "stop.axis_deceleration")
            for i, rate in enumerate(rates):
                positive(rate, f"stop.axis_deceleration[{i}]", "rad/s^2 or m/s^2")
            put(self, "axis_deceleration", rates)
        if self.floor is not None and not np.isfinite(self.floor):
            raise InputError("stop.floor", f"{self.floor}", "a height [m]")
        put(self, "measured", tuple(self.measured))
        if self.time is not None and self.deceleration is not None:
            raise InputError("stop.deceleration", "a stopping time and a deceleration", "one of the two")
        if self.measured and (self.time is not None or self.deceleration is not None):
            raise InputError("stop.measured", "published stops beside a time or a deceleration", "one of them")
        if not self.on_path and self.axis_deceleration is None:
            raise InputError("stop", "no way to stop", "a time, a deceleration, measured stops or axis_deceleration")
        if self.category not in (None, 0, 1, 2):
            raise InputError("stop.category", f"{self.category}", "0, 1 or 2 (IEC 60204-1)")
        if self.category == 0 and self.axis_deceleration is None:
            raise InputError("stop.category", "category 0 without axis_deceleration", "the braking rate of each axis")
        if self.category in (1, 2) and not self.on_path:
            raise InputError(
                "stop.category", f"category {self.category} without a time", "a time, a deceleration or measured stops"
            )
        if self.load is not None and not self.measured:
            raise InputError("stop.load", "a share of the payload without measured stops", "measured stops with loads")
        times = [figure.time for figure in self.measured] + ([] if self.time is None else [self.time])
        if times and self.ramp >= min(times):
            raise InputError("stop.ramp", f"{self.ramp:g} s", f"less than the shortest stopping time, {min(times):g} s")
        for axis in dict.fromkeys(figure.axis for figure in self.measured):
            _check_grid([(i, figure) for i, figure in enumerate(self.measured) if figure.axis == axis])

    @property
    def on_path(self) -> bool:
        """Whether it says how the robot stops along its path."""
        return self.time is not None or self.deceleration is not None or bool(self.measured)


def _check_grid(figures: Sequence[tuple[int, StopFigure]]) -> None:
    """Refuse published stops of one axis that cannot be interpolated."""
    speeds, loads = ({getattr(figure, key) for _, figure in figures} for key in ("speed", "load"))
    seen: set[tuple[float, float]] = set()
    for i, figure in figures:
        where = f"stop.measured[{i}]"
        if (figure.speed, figure.load) in seen:
            found = f"speed {figure.speed:g} and load {figure.load:g} once more"
            raise InputError(where, found, "each speed and load once for each axis")
        seen.add((figure.speed, figure.load))
        if figure.distance is not None and figure.axis is None:
            raise InputError(f"{where}.distance", "a distance of no axis", "the number of the joint it is of (axis)")
        if (figure.distance is None) != (figures[0][1].distance is None):
            raise InputError(f"{where}.distance", "a distance for some stops of an axis", "one for all of them or none")
    if len(seen) < len(speeds) * len(loads):
        i, first = figures[0]
        missing = next((s, k) for s in sorted(speeds) for k in sorted(loads) if (s, k) not in seen)
        of = "" if first.axis is None else f" of axis {first.axis}"
        raise InputError(
            f"stop.measured[{i}]",
            f"stops{of} that leave out speed {missing[0]:g} with load {missing[1]:g}",
            "every speed with every load",
        )
