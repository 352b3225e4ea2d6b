"""What gripper and part ask of the robot's wrist: mass, static moments, moments of inertia, each with its bounds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.wrist.motion import FORCE, Rows, moving, split
from gripmargin.contact.loads import Inertial
from gripmargin.kernels import wrist
from gripmargin.kernels.jacobian import tool_jacobian
from gripmargin.motion.trajectory import JointTrajectory
from gripmargin.workcell import STANDARD_GRAVITY, Flange, Gripper, Part

Kind = Literal["payload", "moment", "inertia", "peak_force", "peak_moment"]
NAMES: Final[Mapping[Kind, str]] = {
    "payload": "payload",
    "moment": "static moment",
    "inertia": "moment of inertia",
    "peak_force": "force in motion",
    "peak_moment": "moment in motion",
}
UNITS: Final[Mapping[Kind, str]] = {
    "payload": "kg",
    "moment": "N m",
    "inertia": "kg m^2",
    "peak_force": "N",
    "peak_moment": "N m",
}
MOVING: Final = ("peak_force", "peak_moment")
FROM_THE_END = ("last axis", "second last axis", "third last axis")

NO_MASS = "gripper.mass is not given: what the gripper itself weighs is not known"
NO_COM = "gripper.com is not given: where the gripper's weight acts is not known"
NO_INERTIA = "gripper.inertia is not given: how the gripper's own mass is spread is not known"
NO_AXES = "the program gives poses and flange.wrist is not given: where the axes of the wrist lie is not known"


@dataclass(frozen=True, eq=False)
class Body:
    """Gripper, or gripper and part, as one rigid body in the tool frame, SI; what is not known is None."""

    mass: float
    com: FloatArray | None
    inertia: FloatArray | None


@dataclass(frozen=True, eq=False, kw_only=True)
class Limit:
    """One rated value and what the program asks.

    Attributes:
        kind: Which kind of value.
        place: Position of the axis from the end of the arm, 0 is the last one; None for the payload.
        axis: The axis in words; None for the payload.
        rated: What the robot may carry: kg, N m or kg m^2.
        asked: What the program asks at each sample; NaN where it is not known, shape (n,).
        least: Least value it may have, shape (n,).
        most: Largest value it may have; inf where it has no known bound, shape (n,).
        unknown: What is missing to know it; empty where nothing is.
    """

    kind: Kind
    place: int | None
    axis: str | None
    rated: float
    asked: FloatArray
    least: FloatArray
    most: FloatArray
    unknown: str = ""

    @property
    def subject(self) -> str:
        """What it is, in words."""
        return NAMES[self.kind] if self.axis is None else f"{NAMES[self.kind]} about {self.axis}"

    @property
    def unit(self) -> str:
        """Of the values."""
        return UNITS[self.kind]

    @property
    def worst(self) -> int:
        """The sample at which most may be asked."""
        highest = np.flatnonzero(self.most == self.most.max())
        return int(highest[np.argmax(self.asked[highest])])

    @property
    def ratio(self) -> float:
        """Rated over asked, best estimate; NaN where it is not known, inf where nothing is asked."""
        return self._over(self.asked)

    @property
    def low(self) -> float:
        """The least value the ratio may have; 0 where it is not known."""
        return self._over(self.most)

    @property
    def high(self) -> float:
        """The largest value the ratio may have."""
        return self._over(self.least)

    def _over(self, values: FloatArray) -> float:
        with np.errstate(divide="ignore"):
            return float(self.rated / values.max())


Asked = tuple[FloatArray, FloatArray, FloatArray]  # best estimate, least, most


def body_of(gripper: Gripper, part: Part | None) -> Body | None:
    """Return the gripper, alone or with the part, as one body; None where the gripper's mass is not given."""
    if gripper.mass is None:
        return None
    held = [] if part is None else [part]
    mass = gripper.mass + sum(p.mass for p in held)
    if gripper.com is None:
        return Body(mass, None, None)
    own = np.zeros((3, 3)) if gripper.inertia is None else gripper.inertia
    mass, com, inertia = wrist.joined(
        [gripper.mass, *(p.mass for p in held)],
        [gripper.com, *(p.com for p in held)],
        [own, *(p.inertia for p in held)],
    )
    return Body(mass, com, None if gripper.inertia is None else inertia)


def _inertial(body: Body) -> Inertial:
    """A body for its load; a force does not need the inertia."""
    assert body.com is not None  # noqa: S101 - nothing is missing
    return body.mass, body.com, np.zeros((3, 3)) if body.inertia is None else body.inertia


class Wrist:
    """The axes of a job's wrist, worked out once; every limit is asked of it."""

    def __init__(self, case: Case, flange: Flange) -> None:
        self.case = case
        self.flange = flange
        self.by_joints = isinstance(case.job.trajectory, JointTrajectory)
        self._axes: dict[int, _JointAxis] = {}

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
        case, gripper = self.case, self.case.job.gripper
        alone, loaded = body_of(gripper, None), body_of(gripper, part or case.job.part)
        unknown = self._missing(kind)
        asked, least, most = np.full(case.airborne.size, np.nan), np.zeros(1), np.full(case.airborne.size, np.inf)
        if not unknown and alone is not None and loaded is not None:
            of = {"moment": self._moments, "inertia": self._inertias}.get(kind, self._moving)
            # The part counts where it hangs on the pads, the gripper everywhere; when it changes hands between two
            # samples, it may hang there already at the one, and still at the other.
            with_part, without = of(place, loaded), of(place, alone)
            asked, least = (np.where(case.airborne, a, b) for a, b in zip(with_part[:2], without[:2], strict=True))
            beside = np.convolve(case.airborne, np.ones(3), mode="same") > 0
            most = np.where(case.airborne, with_part[2], without[2])
            most = np.where(beside, np.maximum(with_part[2], most), most)
        return Limit(
            kind=kind,
            place=place,
            axis=None if place is None else self._in_words(place),
            rated=rated,
            asked=asked,
            least=least,
            most=most,
            unknown=unknown,
        )

    def _in_words(self, place: int) -> str:
        """An axis by its number, or from the end where the program does not tell joints."""
        robot = self.case.job.robot
        return f"axis {robot.joints - place}" if self.by_joints and robot is not None else FROM_THE_END[place]

    def _payload(self) -> Limit:
        gripper = self.case.job.gripper.mass
        held = np.where(self.case.airborne, self.case.job.part.mass, 0.0)
        return Limit(
            kind="payload",
            place=None,
            axis=None,
            rated=self.flange.payload,
            asked=held + (np.nan if gripper is None else gripper),
            least=held + (gripper or 0.0),
            most=held + (np.inf if gripper is None else gripper),
            unknown=NO_MASS if gripper is None else "",
        )

    def _missing(self, kind: Kind) -> str:
        gripper = self.case.job.gripper
        if gripper.mass is None:
            return NO_MASS
        if gripper.com is None:
            return NO_COM
        if kind in ("inertia", "peak_moment") and gripper.inertia is None:
            return NO_INERTIA
        if kind != "peak_force" and self.flange.wrist is None and not self.by_joints:
            return NO_AXES
        return ""

    def rows(self, place: int | None) -> Rows:
        """Return what is made of a load: the force where no axis is named, or the moment about one."""
        if place is None:
            return Rows(rows=FORCE)
        if self.flange.wrist is not None and not self.by_joints:
            # The least favourable moment of all axes that the second or third last one may be.
            turned, point = self.flange.wrist[:3, :3].T, self.flange.wrist[:3, 3]
            axes = turned[(slice(2, 3), slice(0, 2), slice(0, 3))[place]]
            return Rows(rows=np.hstack([np.cross(point, axes), axes])[:, :, None], exact=place == 0)
        axis = self._axis(place)
        turn, slide = (rows[0] for rows in wrist.bends(axis.revolute, axis.q))
        arm = float(wrist.reaches(axis.links, axis.revolute, axis.q, np.zeros(3))[0])
        return Rows(rows=axis.jacobian, between=axis.between, turn=turn, slide=slide, arm=arm)

    def split(self, samples: NDArray[np.intp]) -> tuple[FloatArray, FloatArray]:
        """Return the load at samples that gravity gives, and the rest, which the motion gives, each shape (6, m)."""
        case = self.case
        bodies = [body_of(case.job.gripper, part) for part in (case.job.part, None)]
        loaded, alone = (split(case, _inertial(body), samples) for body in bodies if body is not None)
        there = case.airborne[samples]
        return np.where(there, loaded[0], alone[0]), np.where(there, loaded[1], alone[1])

    def _moving(self, place: int | None, body: Body) -> Asked:
        return moving(self.case, _inertial(body), self.rows(place))

    def _moments(self, place: int | None, body: Body) -> Asked:
        """Weight times distance from the axis: the most that gravity can do, whichever way the arm stands.

        Data sheets mean the moment under the earth's gravity; a stronger one given in the job counts.
        """
        assert body.com is not None and place is not None  # noqa: S101, PT018 - nothing is missing
        weight = body.mass * max(STANDARD_GRAVITY, float(np.linalg.norm(self.case.job.gravity)))
        asked, least, most = self._arms(place, body.com)
        return weight * asked, weight * least, weight * most

    def _inertias(self, place: int | None, body: Body) -> Asked:
        assert body.com is not None and body.inertia is not None and place is not None  # noqa: S101, PT018 - likewise
        if self.flange.wrist is not None and not self.by_joints:
            arm, turned = body.com - self.flange.wrist[:3, 3], self.flange.wrist[:3, :3]
            at_wrist = turned.T @ (body.inertia + wrist.about(body.mass, arm)) @ turned
            possible = (at_wrist[2:, 2:], at_wrist[:2, :2], at_wrist)[place]
            low, *_, high = np.linalg.eigvalsh(possible)[[0, -1]]
            return self._constant(high), self._constant(low), self._constant(high)
        axis, (least, *_, largest) = self._axis(place), np.linalg.eigvalsh(body.inertia)
        asked = wrist.axis_inertias(axis.jacobian, body.mass, body.com, body.inertia)[0]
        own = wrist.axis_inertias(axis.jacobian, 0.0, np.zeros(3), body.inertia)[0]
        own = np.where(axis.doubtful, largest, np.minimum(largest, own + axis.swing * (largest - least)))
        return asked, asked, np.maximum(asked, body.mass * self._arms(place, body.com)[2] ** 2 + own)

    def _arms(self, place: int, point: FloatArray) -> Asked:
        """Distance of a point from an axis at every sample, and what it may be between the samples [m]."""
        if self.flange.wrist is not None and not self.by_joints:
            x, y, z = self.flange.wrist[:3, :3].T @ (point - self.flange.wrist[:3, 3])
            off, whole = float(np.hypot(x, y)), float(np.sqrt(x * x + y * y + z * z))
            # The second last axis is square to the last one, the third last may stand at any angle.
            low, high = ((off, off), (abs(float(z)), whole), (0.0, whole))[place]
            return self._constant(high), self._constant(low), self._constant(high)
        axis = self._axis(place)
        asked = wrist.distances(axis.jacobian, point)[0]
        reach = float(wrist.reaches(axis.links, axis.revolute, axis.q, point)[0])
        between = asked + reach * axis.stray + axis.besides
        return asked, asked, np.where(axis.doubtful, np.maximum(asked, reach), between)

    def _constant(self, value: float) -> FloatArray:
        return np.full(self.case.airborne.size, value)

    def _axis(self, place: int) -> _JointAxis:
        if place not in self._axes:
            self._axes[place] = _JointAxis.of(self.case, place)
        return self._axes[place]


@dataclass(frozen=True, eq=False)
class _JointAxis:
    """One axis of a program of joints: its Jacobian, shape (1, 6, n), and what may happen between the samples."""

    links: FloatArray
    revolute: tuple[bool, ...]
    q: FloatArray
    jacobian: FloatArray
    stray: FloatArray
    besides: FloatArray
    swing: FloatArray
    doubtful: NDArray[np.bool_]

    def between(self, share: float) -> FloatArray:
        """The Jacobian at a share of every interval, the joints moving straight, shape (1, 6, n - 1)."""
        q = self.q[:-1] + share * np.diff(self.q, axis=0)
        return tool_jacobian(self.links, self.revolute, q)[:1]

    @classmethod
    def of(cls, case: Case, place: int) -> _JointAxis:
        robot, trajectory = case.job.robot, case.job.trajectory
        assert robot is not None and isinstance(trajectory, JointTrajectory)  # noqa: S101, PT018 - by joints
        first = robot.joints - 1 - place
        links, turns, q = robot.links[first:], robot.revolute[first:], trajectory.q[:, first:]
        stray, besides, swing = (rows[0] for rows in wrist.travel_between(turns, q))
        doubtful = np.zeros(len(q), dtype=bool)
        doubtful[case.motion.doubtful] = place > 0  # the tool is fixed to the last axis, whatever the others do
        jacobian = tool_jacobian(links, turns, q)[:1]
        return cls(links, turns, q, jacobian, stray, besides, swing, doubtful)
