"""What keeps a part in its nest against the pads that leave it.

Four ways in which the pads could take the part along or out of place: lift it, slide it, turn it, tip it. For each
the restraint over the demand at every instant; the least is the release ratio.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from gripmargin.base.arrays import FloatArray
from gripmargin.workcell import Nest, Part
from gripmargin.workcell.shapes import centroid

WAYS = ("lift", "slide", "turn", "tip")
NEGLIGIBLE = 0.02  # of the part's weight: a demand below it needs no restraint that the job has to state


@dataclass(frozen=True, eq=False)
class Restraint:
    """Demand and restraint over the rows of a contact history.

    Attributes:
        demand: For each way, [N] or [N m] by the way, shape (k,).
        available: For each way the restraint, likewise; NaN where the job does not say.
    """

    demand: dict[str, FloatArray]
    available: dict[str, FloatArray]

    def ratio(self, way: str) -> FloatArray:
        """Return restraint over demand, inf without demand, NaN where one of them is not known, shape (k,)."""
        demand, available = self.demand[way], self.available[way]
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.maximum(available, 0.0) / demand
        return np.where(demand <= 0, np.inf, ratio)

    def least(self, way: str) -> float:
        """Return the least ratio that is known, inf where none is."""
        ratio = self.ratio(way)
        return float(ratio[~np.isnan(ratio)].min(initial=np.inf))


def restraint(
    part: Part, nest: Nest, gravity: FloatArray, wrench: FloatArray, rotation: FloatArray, position: FloatArray
) -> Restraint:
    """Return demand and restraint over a release.

    The weight acts at the centre of mass; the hold-down acts at the centroid of the area of the support, however
    many corners draw it. Sideways forces are taken up where the part stands.

    Args:
        part: The part.
        nest: Where it lies.
        gravity: In the world [m/s^2], shape (3,).
        wrench: Of the gripper on the part, force and moment about the face frame's origin, face axes, shape (k, 6).
        rotation: Tool axes in the face frame where the part is set down, shape (3, 3).
        position: Tool origin there [m], shape (3,).
    """
    com = rotation @ part.com + position
    weight = part.mass * nest.face[:3, :3].T @ gravity
    support = _support(part, nest, rotation, position)
    reach = 0.0 if support is None else float(np.ptp(support, axis=0).max()) / 2
    force, moment = wrench[:, :3], wrench[:, 3:]
    sideways = np.hypot(force[:, 0] + weight[0], force[:, 1] + weight[1])
    turning = np.abs((moment - np.cross(com, force))[:, 2])
    small = NEGLIGIBLE * part.mass * float(np.linalg.norm(gravity))
    lift = np.maximum(force[:, 2], 0.0), np.full(len(force), nest.hold_down - weight[2])
    ways = {
        "lift": lift,
        "slide": _stated(nest.lateral_force, sideways, small),
        "turn": _stated(nest.moment, turning, small * reach),
        "tip": _tipping(part, nest, wrench, com, weight, support),
    }
    return Restraint(
        demand={way: demand for way, (demand, _) in ways.items()},
        available={way: available for way, (_, available) in ways.items()},
    )


def _support(part: Part, nest: Nest, rotation: FloatArray, position: FloatArray) -> FloatArray | None:
    """What the part stands on, in the plane of the face [m], shape (k, 2); its outline where nothing is given."""
    if nest.support is not None or part.outline is None:
        return nest.support
    return (np.column_stack([part.outline, np.zeros(len(part.outline))]) @ rotation.T + position)[:, :2]


def _stated(limit: float | None, demand: FloatArray, small: float) -> tuple[FloatArray, FloatArray]:
    """Demand and limit; without a limit a small demand counts as none, a larger one as not known."""
    if limit is None:
        return np.where(demand <= small, 0.0, demand), np.full(demand.size, np.nan)
    return demand, np.full(demand.size, limit)


def _tipping(
    part: Part, nest: Nest, wrench: FloatArray, com: FloatArray, weight: FloatArray, support: FloatArray | None
) -> tuple[FloatArray, FloatArray]:
    """Moments about the edge of the support over which the part is nearest to tipping.

    The centre of pressure stays inside the support as long as about each of its edges the weight and the
    hold-down turn the part back more than the pads turn it over.
    """
    force, moment = wrench[:, :3], wrench[:, 3:]
    if support is None:
        return np.linalg.norm(moment[:, :2], axis=1), np.full(len(force), np.nan)
    hull = _hull(support)
    down = np.array([0.0, 0.0, -nest.hold_down])
    centre = np.append(centroid(support), 0.0)
    # without a thickness, that of a plate whose centre of mass lies in its middle
    depth = -(part.thickness if part.thickness is not None else 2.0 * abs(float(com[2])))
    # counter-clockwise: turning about an edge by the right hand lifts the inside
    along = np.roll(hull, -1, axis=0) - hull
    axes = np.column_stack([along / np.hypot(*along.T)[:, None], np.zeros(len(hull))])
    feet = np.column_stack([hull, np.full(len(hull), depth)])
    over = (moment @ axes.T - force @ np.cross(axes, feet).T).T
    back = -((np.cross(com - feet, weight) + np.cross(centre - feet, down)) * axes).sum(axis=1)[:, None]
    # A part that its own weight turns over needs the pads to stay: nothing restrains it.
    falls = (back <= 0) & (over > back)
    demand, available = np.where(falls, over - back, np.maximum(over, 0.0)), np.where(falls, 0.0, back)
    ratio = np.where(demand > 0, available / np.where(demand > 0, demand, 1.0), np.inf)
    nearest, row = np.argmin(ratio, axis=0), np.arange(len(force))
    return demand[nearest, row], available[nearest, row]


def _hull(outline: FloatArray) -> FloatArray:
    """Convex hull, counter-clockwise, shape (k, 2)."""
    hull = shapely.MultiPoint(outline).convex_hull.exterior
    points = np.asarray(hull.coords)[:-1]
    return points if hull.is_ccw else points[::-1]
