"""An axis of the wrist: how far from it a body is, its inertia about it, and which moment of a load acts about it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.wrist.bodies import Body
from gripmargin.checks.wrist.motion import Bounds, Rows
from gripmargin.kernels import wrist
from gripmargin.kernels.jacobian import tool_jacobian
from gripmargin.motion.chain import Chain


@dataclass(frozen=True, eq=False, kw_only=True)
class JointAxis:
    """An axis of a program of joints.

    Attributes:
        links: Constant transforms of the joints from this one on, shape (k + 1, 4, 4).
        revolute: For each of these joints whether it turns.
        q: Their positions, shape (n, k).
        doubtful: At which samples nobody knows how they stand, shape (n,).
    """

    links: FloatArray
    revolute: tuple[bool, ...]
    q: FloatArray
    doubtful: NDArray[np.bool_]

    @classmethod
    def of(cls, robot: Chain, q: FloatArray, place: int, doubtful: NDArray[np.intp]) -> JointAxis:
        """Take the joints from one on.

        Args:
            robot: The arm.
            q: Positions of all its joints, shape (n, joints).
            place: Position of the axis from the end of the arm, 0 is the last one.
            doubtful: Samples at which nobody knows how the joints stand.
        """
        first = robot.joints - 1 - place
        unsure = np.zeros(len(q), dtype=bool)
        unsure[doubtful] = place > 0  # the tool is fixed to the last axis, whatever the others do
        return cls(links=robot.links[first:], revolute=robot.revolute[first:], q=q[:, first:], doubtful=unsure)

    @cached_property
    def jacobian(self) -> FloatArray:
        """What one unit of its rate gives the tool origin, shape (1, 6, n)."""
        return tool_jacobian(self.links, self.revolute, self.q)[:1]

    @cached_property
    def _travel(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """What may happen between the samples; see `gripmargin.kernels.wrist.travel_between`."""
        stray, besides, swing = (rows[0] for rows in wrist.travel_between(self.revolute, self.q))
        return stray, besides, swing

    def reach(self, point: FloatArray) -> float:
        """How far a point of the tool can ever be from the axis [m]."""
        return float(wrist.reaches(self.links, self.revolute, self.q, point)[0])

    def arms(self, point: FloatArray) -> Bounds:
        """How far a point of the tool is from the axis at every sample, and may be between the samples [m]."""
        asked, reach = wrist.distances(self.jacobian, point)[0], self.reach(point)
        stray, besides, _ = self._travel
        between = asked + reach * stray + besides
        return asked, asked, np.where(self.doubtful, np.maximum(asked, reach), between)

    def inertias(self, body: Body) -> Bounds:
        """The moment of inertia of a body about the axis [kg m^2]."""
        least, *_, largest = np.linalg.eigvalsh(body.inertia)
        asked = wrist.axis_inertias(self.jacobian, body.mass, body.com, body.inertia)[0]
        own = wrist.axis_inertias(self.jacobian, 0.0, np.zeros(3), body.inertia)[0]
        own = np.minimum(largest, own + self._travel[2] * (largest - least))
        own = np.where(self.doubtful, largest, own)
        return asked, asked, np.maximum(asked, body.mass * self.arms(body.com)[2] ** 2 + own)

    def rows(self) -> Rows:
        """The moment of a load about the axis."""
        return Rows(rows=self.jacobian)


@dataclass(frozen=True, eq=False, kw_only=True)
class FreeAxis:
    """An axis of a wrist of which only the centre and the last axis are known; the least favourable direction counts.

    Attributes:
        centre: Where the axes meet, with z along the last one, in the tool frame, shape (4, 4).
        place: Position of the axis from the end of the arm: the last one, the second last, square to it, or the third
            last, at any angle.
        samples: Of the program.
    """

    centre: FloatArray
    place: int
    samples: int

    @property
    def _turned(self) -> FloatArray:
        return self.centre[:3, :3].T

    def arms(self, point: FloatArray) -> Bounds:
        """How far a point of the tool may be from the axis [m]."""
        x, y, z = self._turned @ (point - self.centre[:3, 3])
        off, whole = float(np.hypot(x, y)), float(np.sqrt(x * x + y * y + z * z))
        return self._bounds(*((off, off), (abs(float(z)), whole), (0.0, whole))[self.place])

    def inertias(self, body: Body) -> Bounds:
        """The moment of inertia that a body may have about the axis [kg m^2]."""
        about_centre = body.inertia + wrist.about(body.mass, body.com - self.centre[:3, 3])
        at_wrist = self._turned @ about_centre @ self._turned.T
        low, *_, high = np.linalg.eigvalsh((at_wrist[2:, 2:], at_wrist[:2, :2], at_wrist)[self.place])[[0, -1]]
        return self._bounds(low, high)

    def rows(self) -> Rows:
        """The moment of a load about whatever axis lies least favourably."""
        axes = self._turned[(slice(2, 3), slice(0, 2), slice(0, 3))[self.place]]
        moments = np.hstack([np.cross(self.centre[:3, 3], axes), axes])
        return Rows(rows=moments[:, :, None], exact=self.place == 0)

    def _bounds(self, low: float, high: float) -> Bounds:
        most = np.full(self.samples, high)
        return most, np.full(self.samples, low), most


Axis = JointAxis | FreeAxis
