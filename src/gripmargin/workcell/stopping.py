"""How the robot stops when it is told to."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import product

from gripmargin.base.arrays import FloatArray
from gripmargin.workcell.fields import Declared, Fault, key
from gripmargin.workcell.kinds import Choice, Count, Number, OfJoint, Row, Several, not_negative, positive


class StopFigure(Declared):
    """One published or measured stop along the path.

    ISO 10218-1:2011, Annex B, gives stops from 33, 66 and 100 % of the full speed.

    Attributes:
        speed: Share of the full speed from which the robot stopped, as published or measured.
        time: From the demand to rest.
        load: Share of the rated payload that it carried.
        distance: Way of the axis until rest; with `axis` and `robot.speed` only, and for all stops of the axis or none.
        axis: The joint that was measured; without it the fastest joint counts.
    """

    speed: float = key(Number(above=0, most=1, what="a share of the full speed"), "stop")
    time: float = key(positive("time"), "stop")
    load: float = key(not_negative(), "stop", default=1.0)
    distance: float | None = key(OfJoint("length"), "stop", default=None)
    axis: int | None = key(Count("the number of a joint, from 1 at the base"), "stop", default=None, absent="all axes")


class Stop(Declared, called="stop"):
    """How the robot stops.

    It may be told to, or lose its power.

    Attributes:
        time: From full speed to rest along the path; from a lower speed the robot is taken to brake as hard, so it
            stops sooner.
        speed: Full speed where `robot.speed` does not tell it: how fast the fastest place of pads and part goes then.
        deceleration: Along the path of the tool origin, at any speed.
        axis_deceleration: Braking rate of each axis on its own; joint programs only, undecided for programs of poses.
        category: Stop category after IEC 60204-1: 0 judges the axes on their own, 1 and 2 the path.
        measured: Published or measured stops along the path, instead of a time or a deceleration.
        load: Share of the rated payload that is carried, with `measured`.
        ramp: Over which the deceleration builds up; softens the beginning of a stop.
        reaction: Part of the stopping times in which the robot may go on before it brakes.
        floor: Height of the floor in the world: where a part that comes off may land.
    """

    time: float | None = key(positive("time"), "stop", default=None)
    speed: float | None = key(positive("speed"), "stop", default=None, absent="the highest of the program")
    deceleration: float | None = key(positive("acceleration"), "stop", default=None)
    axis_deceleration: FloatArray | None = key(Row(OfJoint("acceleration")), "stop", default=None)
    category: int | None = key(
        Choice((0, 1, 2), "0, 1 or 2 (IEC 60204-1)"), "stop", default=None, absent="what is given"
    )
    measured: tuple[StopFigure, ...] = key(Several(StopFigure, least=1), "stop", default=())
    load: float | None = key(not_negative(), "stop", default=None, absent="the worst of the measured loads")
    ramp: float = key(not_negative("time"), "stop", default=0.0)
    reaction: float = key(not_negative("time"), "stop", default=0.0)
    floor: float | None = key(Number("length", what="a height"), "stop", default=None)

    def faults(self) -> Iterator[Fault]:
        """Two ways to stop along the path, a category without its way, figures that cannot be interpolated."""
        timed, slowed, measured = self.time is not None, self.deceleration is not None, bool(self.measured)
        by_axes = self.axis_deceleration is not None
        if timed and slowed:
            yield "deceleration", "a stopping time and a deceleration", "one of the two"
        if measured and (timed or slowed):
            yield "measured", "published stops beside a time or a deceleration", "one of them"
        if self.speed is not None and not (timed or measured):
            yield "speed", "a full speed without a stopping time", "the time or measured stops that it belongs to"
        if not self.on_path and not by_axes:
            yield "", "no way to stop", "a time, a deceleration, measured stops or axis_deceleration"
        if self.category == 0 and not by_axes:
            yield "category", "category 0 without axis_deceleration", "the braking rate of each axis"
        if self.category in (1, 2) and not self.on_path:
            yield "category", f"category {self.category} without a time", "a time, a deceleration or measured stops"
        if self.load is not None and not measured:
            yield "load", "a share of the payload without measured stops", "measured stops with loads"
        shortest = min((figure.time for figure in self.measured), default=self.time or math.inf)
        if self.ramp >= shortest:
            yield "ramp", f"{self.ramp:g} s", f"less than the shortest stopping time, {shortest:g} s"
        elif self.ramp + self.reaction >= shortest:
            expected = f"less than the ramp leaves of the shortest stopping time, {shortest:g} s"
            yield "reaction", f"{self.reaction:g} s", expected
        for axis in dict.fromkeys(figure.axis for figure in self.measured):
            yield from _grid_faults({i: figure for i, figure in enumerate(self.measured) if figure.axis == axis}, axis)

    @property
    def on_path(self) -> bool:
        """Whether it says how the robot stops along its path."""
        return self.time is not None or self.deceleration is not None or bool(self.measured)


def _grid_faults(figures: dict[int, StopFigure], axis: int | None) -> Iterator[Fault]:
    """What keeps published stops of one axis from being interpolated over speed and load."""
    first, *_ = figures
    seen: set[tuple[float, float]] = set()
    for i, figure in figures.items():
        has_way = figure.distance is not None
        if (figure.speed, figure.load) in seen:
            found = f"speed {figure.speed:g} and load {figure.load:g} once more"
            yield f"measured[{i}]", found, "each speed and load once for each axis"
        if has_way and axis is None:
            yield f"measured[{i}].distance", "a distance of no axis", "the number of the joint it is of (axis)"
        if has_way != (figures[first].distance is not None):
            found = "a distance for some stops of an axis"
            yield f"measured[{i}].distance", found, "one for all of them or none"
        seen.add((figure.speed, figure.load))
    speeds, loads = zip(*seen, strict=True)
    for speed, load in sorted({*product(speeds, loads)} - seen):
        found = f"stops{'' if axis is None else f' of axis {axis}'} that leave out speed {speed:g} with load {load:g}"
        yield f"measured[{first}]", found, "every speed with every load"
