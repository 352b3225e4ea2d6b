"""Gripper and part as rigid bodies."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.wrist.figures import Missing
from gripmargin.contact.loads import Inertial
from gripmargin.kernels.wrist import joined
from gripmargin.workcell import Gripper, Part


@dataclass(frozen=True, eq=False)
class Body:
    """A rigid body that moves with the tool.

    Attributes:
        mass: [kg].
        com: Centre of mass in the tool frame [m], shape (3,).
        inertia: About it, tool axes [kg m^2], shape (3, 3).
        holds: Whether the part is in it, on which forces of the process act.
    """

    mass: float
    com: FloatArray
    inertia: FloatArray
    holds: bool = False

    @property
    def inertial(self) -> Inertial:
        """Mass, centre of mass and inertia, as the loads take them."""
        return self.mass, self.com, self.inertia


@dataclass(frozen=True, eq=False)
class Bodies:
    """What the wrist carries: the gripper alone, and with the part."""

    alone: Body
    loaded: Body

    @classmethod
    def of(cls, gripper: Gripper, part: Part) -> Bodies | Missing:
        """Join them; where the gripper's mass or its centre is not given, that.

        An inertia that the gripper does not give counts as none: what needs it has to look.
        """
        if gripper.mass is None:
            return Missing.MASS
        if gripper.com is None:
            return Missing.COM
        own = np.zeros((3, 3)) if gripper.inertia is None else gripper.inertia
        alone = Body(*joined([gripper.mass], [gripper.com], [own]))
        loaded = joined([gripper.mass, part.mass], [gripper.com, part.com], [own, part.inertia])
        return cls(alone, Body(*loaded, holds=True))
