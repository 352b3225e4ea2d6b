"""What gripper and part ask of the robot's wrist: mass, static moments, moments of inertia, each with its bounds."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.use import quotient
from gripmargin.checks.wrist import words
from gripmargin.checks.wrist.aboard import all_of, not_followed
from gripmargin.checks.wrist.axes import Axis, FreeAxis, JointAxis
from gripmargin.checks.wrist.bodies import Body, Laden, laden
from gripmargin.checks.wrist.figures import Kind, Missing
from gripmargin.checks.wrist.motion import FORCE, Bounds, Rows, contact_of, instants_of, moving, pushed_elsewhere, swung
from gripmargin.motion.trajectory import JointTrajectory
from gripmargin.results.findings import Verdict, judge
from gripmargin.workcell import STANDARD_GRAVITY, Flange, Part

MOVING: Final = ("peak_force", "peak_moment")
LOADED: Final = ("moment", *MOVING)  # by what pads press or pull
WITH_INERTIA: Final = ("inertia", "peak_moment")


@dataclass(frozen=True, eq=False, kw_only=True)
class Limit:
    """One rated value and what the program asks.

    Attributes:
        kind: Which kind of value.
        place: Position of the axis from the end of the arm, 0 is the last one; None for payload and force.
        axis: The axis in words; None for payload and force.
        rated: What the robot may carry: kg, N m, kg m^2 or N.
        asked: What the program asks at each sample; NaN where it is not known, shape (n,).
        least: Least value it may have, shape (n,).
        most: Largest value it may have; inf where it has no known bound, shape (n,).
        missing: What is missing to know it; None where nothing is.
    """

    kind: Kind
    place: int | None
    axis: str | None
    rated: float
    asked: FloatArray
    least: FloatArray
    most: FloatArray
    missing: Missing | None = None

    @property
    def at(self) -> int:
        """The sample at which most is asked."""
        return int(np.argmax(self.asked))

    @property
    def worst(self) -> int:
        """The sample at which most may be asked."""
        highest = np.flatnonzero(self.most == self.most.max())
        return int(highest[np.argmax(self.asked[highest])])

    @property
    def ratio(self) -> float:
        """Rated over asked, best estimate; NaN where it is not known, inf where nothing is asked."""
        return float(self.over(self.asked.max()))

    @property
    def low(self) -> float:
        """The least value the ratio may have; 0 where it is not known."""
        return float(self.over(self.most.max()))

    @property
    def high(self) -> float:
        """The largest value the ratio may have."""
        return float(self.over(self.least.max()))

    def over(self, asked: FloatArray | float) -> FloatArray:
        """Return the rated value over others, inf where these are 0."""
        return quotient(self.rated, asked)

    def verdict(self, target: float) -> Verdict:
        """Compare the ratio with the one that is wanted."""
        return judge(self.low, self.high, target)


class Wrist:
    """The wrist of a job, its axes worked out once; every limit is asked of it."""

    def __init__(self, case: Case, flange: Flange) -> None:
        self.case = case
        self.flange = flange
        trajectory, robot = case.job.trajectory, case.job.robot
        self._arm = None if robot is None or not isinstance(trajectory, JointTrajectory) else (robot, trajectory.q)
        self._axes: dict[int, Axis | None] = {}
        self.aboard = all_of(case)
        self._not_followed = not_followed(self.aboard)

    @property
    def by_joints(self) -> bool:
        """Whether the program tells how the axes stand."""
        return self._arm is not None

    def limits(self) -> list[Limit]:
        """Return every rated value with what the program asks, as a data sheet lists them."""
        out = [self._payload()]
        kinds: tuple[tuple[Kind, FloatArray | None], ...] = (
            ("moment", self.flange.moment),
            ("inertia", self.flange.inertia),
            ("peak_moment", self.flange.peak_moment),
        )
        if self.flange.peak_force is not None:
            out.append(self.limit("peak_force", None, self.flange.peak_force))
        for kind, values in kinds:
            if values is not None:
                last = len(values) - 1
                out += [self.limit(kind, last - i, float(rated)) for i, rated in enumerate(values)]
        return out

    def limit(self, kind: Kind, place: int | None, rated: float, part: Part | None = None) -> Limit:
        """Return one rated value with what the program asks.

        Args:
            kind: Any but the payload.
            place: Position of the axis from the end of the arm; None for a force.
            rated: What the robot may carry.
            part: The part, where it is gripped elsewhere than the job says.
        """
        found, n = self._bounds(kind, place, part or self.case.job.part), self.case.airborne.size
        missing = found if isinstance(found, Missing) else None
        unknown = np.full(n, np.nan), np.zeros(n), np.full(n, np.inf)
        asked, least, most = unknown if isinstance(found, Missing) else found
        if missing is None and kind in LOADED and self._not_followed.any():
            missing, most = Missing.CONTACT, np.where(self._not_followed, np.inf, most)
        return Limit(
            kind=kind,
            place=place,
            axis=None if place is None else words.axis(place, None if self._arm is None else self._arm[0].joints),
            rated=rated,
            asked=asked,
            least=least,
            most=most,
            missing=missing,
        )

    def rows(self, place: int | None) -> Rows | None:
        """Return what is made of a load: the force where no axis is named, or the moment about one.

        None where nobody knows where that axis lies.
        """
        if place is None:
            return FORCE
        axis = self._axis(place)
        return None if axis is None else axis.rows()

    def _payload(self) -> Limit:
        gripper = self.case.job.gripper.mass
        held = np.sum([np.where(each.hangs, each.mass, 0.0) for each in self.aboard], axis=0)
        return Limit(
            kind="payload",
            place=None,
            axis=None,
            rated=self.flange.payload,
            asked=held + (np.nan if gripper is None else gripper),
            least=held + (gripper or 0.0),
            most=held + (np.inf if gripper is None else gripper),
            missing=Missing.MASS if gripper is None else None,
        )

    def _bounds(self, kind: Kind, place: int | None, part: Part) -> Bounds | Missing:
        """What gripper and parts ask of a value, or what is missing to know it.

        A part counts where it hangs on the pads, the gripper everywhere.
        """
        gripper = self.case.job.gripper
        carried = self.carried(part)
        if isinstance(carried, Missing):
            return carried
        if kind in WITH_INERTIA and gripper.inertia is None:
            return Missing.INERTIA
        demand = self._demand(kind, place)
        if demand is None:
            return Missing.AXES
        asked, least, most = np.zeros((3, self.case.airborne.size))
        asks = [(each, demand(each.body)) for each in carried]
        for each, bounds in asks:
            for out, found in zip((asked, least, most), bounds, strict=True):
                out[each.here] = found[each.here]
        for each, (_, _, highest) in asks:
            most[each.beside] = np.maximum(most, highest)[each.beside]
        return asked, least, most

    def carried(self, part: Part) -> tuple[Laden, ...] | Missing:
        """Return what the wrist carries in the course of the program, with a part in place of the case's own."""
        own = replace(self.aboard[0], mass=part.mass, com=part.com, inertia=part.inertia)
        return laden(self.case.job.gripper, (own, *self.aboard[1:]))

    def _demand(self, kind: Kind, place: int | None) -> Callable[[Body], Bounds] | None:
        """How a value comes from a body; None where nobody knows where the axis lies."""
        if kind in MOVING:
            rows = self.rows(place)
            return None if rows is None else lambda body: moving(self.case, body, rows, self.aboard)
        axis = None if place is None else self._axis(place)
        if axis is None:
            return None
        return axis.inertias if kind == "inertia" else lambda body: self._moment(axis, body)

    def _moment(self, axis: Axis, body: Body) -> Bounds:
        """Weight times distance from an axis: the most that gravity can do, whichever way the arm stands.

        Forces of the process come on top, and the swing that they start to the most that there may be; so does contact.

        Data sheets mean the moment under the earth's gravity; a stronger one given in the job counts.
        """
        weight = body.mass * max(STANDARD_GRAVITY, float(np.linalg.norm(self.case.job.gravity)))
        asked, least, most = axis.arms(body.com)
        n, rows = self.case.airborne.size, axis.rows()
        pushed = np.zeros((2, n))
        for at, force, swing in swung(self.aboard[0], rows):
            there = rows.of(force, at)
            pushed[:, at] = np.maximum(pushed[:, at], [there, there + swing])
        pressed = np.tile(rows.of(contact_of(self.aboard), np.arange(n)), (2, 1))
        for at, instants in instants_of(self.aboard):
            np.maximum.at(pressed[1], at, rows.of(instants, at))
        pushed += pressed
        pushed += pushed_elsewhere(self.aboard, rows, n)
        return weight * asked + pushed[0], weight * least, weight * most + pushed[1]

    def _axis(self, place: int) -> Axis | None:
        if place not in self._axes:
            self._axes[place] = self._found(place)
        return self._axes[place]

    def _found(self, place: int) -> Axis | None:
        if self._arm is not None:
            robot, q = self._arm
            return JointAxis.of(robot, q, place, self.case.motion.doubtful)
        if self.flange.wrist is None:
            return None
        return FreeAxis(centre=self.flange.wrist, place=place, samples=self.case.airborne.size)
