"""What the robot may carry at its flange, as its maker publishes it."""

from __future__ import annotations

from gripmargin.base.arrays import FloatArray
from gripmargin.workcell.fields import Declared, key
from gripmargin.workcell.kinds import Pose, Row, positive

LAST = "the last axis"


class Flange(Declared, called="flange"):
    """The rated values of the robot's wrist.

    Its data sheet has them. The lists belong to the robot's last axes, in their order from the base outwards: the last
    entry to the last axis.

    Attributes:
        payload: Rated payload, gripper and part together.
        moment: Static moment of the weight that each of the last axes may carry.
        inertia: Moment of inertia that each of the last axes may carry.
        peak_force: Force that may act on the flange while the robot moves, weight and inertia together: of a tool
            changer or a sensor, for instance.
        peak_moment: Moment that may act about each of the last axes while the robot moves, weight and inertia together.
        wrist: Point where the last three axes meet, +z along the last axis, in the tool frame; for programs of poses,
            with at most three values then. A program of joints does not use it.

    Raises:
        InputError: A value that is not above 0, an empty list.
    """

    payload: float = key(positive("mass"), "flange")
    moment: FloatArray | None = key(Row(positive("moment"), last=LAST), "flange", default=None, absent="not checked")
    inertia: FloatArray | None = key(
        Row(positive("moment of inertia"), last=LAST), "flange", default=None, absent="not checked"
    )
    peak_force: float | None = key(positive("force"), "flange", default=None, absent="not checked")
    peak_moment: FloatArray | None = key(
        Row(positive("moment"), last=LAST), "flange", default=None, absent="not checked"
    )
    wrist: FloatArray | None = key(Pose(), "flange", default=None, absent="not known")
