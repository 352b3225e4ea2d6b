"""Gripper and parts as rigid bodies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.wrist.figures import Missing
from gripmargin.contact.loads import Inertial
from gripmargin.kernels.wrist import joined
from gripmargin.workcell import Gripper
from gripmargin.workcell.aboard import Aboard


@dataclass(frozen=True, eq=False)
class Body:
    """A rigid body that moves with the tool.

    Attributes:
        mass: [kg].
        com: Centre of mass in the tool frame [m], shape (3,).
        inertia: About it, tool axes [kg m^2], shape (3, 3).
    """

    mass: float
    com: FloatArray
    inertia: FloatArray

    @property
    def inertial(self) -> Inertial:
        """Mass, centre of mass and inertia, as the loads take them."""
        return self.mass, self.com, self.inertia


@dataclass(frozen=True, eq=False)
class Laden:
    """What the wrist carries at some samples: the gripper with the parts that hang on it there.

    Attributes:
        body: All of it.
        here: The samples, shape (n,).
        beside: Further samples at which it may be this as well, shape (n,): when a part changes hands between two
            samples, it may hang there already at the one, and still at the other.
    """

    body: Body
    here: NDArray[np.bool_]
    beside: NDArray[np.bool_]


def laden(gripper: Gripper, aboard: Sequence[Aboard]) -> tuple[Laden, ...] | Missing:
    """Return what the wrist carries in the course of a program; what of the gripper is not given and has to be.

    An inertia that the gripper does not give counts as none: what needs it has to look.

    Args:
        gripper: The gripper.
        aboard: What may hang on it.
    """
    if gripper.mass is None:
        return Missing.MASS
    if gripper.com is None:
        return Missing.COM
    own = np.zeros((3, 3)) if gripper.inertia is None else gripper.inertia
    bits = np.sum([each.hangs.astype(np.int64) << k for k, each in enumerate(aboard)], axis=0)
    near = bits.copy()
    near[1:] |= bits[:-1]
    near[:-1] |= bits[1:]
    out = []
    for now in np.unique([bits, near]):
        parts = [each for k, each in enumerate(aboard) if now >> k & 1]
        body = joined(
            [gripper.mass, *(each.mass for each in parts)],
            [gripper.com, *(each.com for each in parts)],
            [own, *(each.inertia for each in parts)],
        )
        here = bits == now
        next_to = np.convolve(here, np.ones(3), mode="same") > 0
        fewer = (bits & now) == now  # parts than surely hang there
        out.append(Laden(Body(*body), here, (next_to | (near == now)) & ~fewer))
    return tuple(out)
