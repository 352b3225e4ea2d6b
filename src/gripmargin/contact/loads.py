"""The load of the part on the gripper, and what causes it."""

from __future__ import annotations

from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import parts, stored
from gripmargin.kernels.wrench import CAUSES, load_wrench, mass_matrix, wrench_by_cause
from gripmargin.motion.tool_motion import ToolMotion
from gripmargin.workcell import STANDARD_AIR_DENSITY, Part

AIR_CAUSES: Final = ("air drag", "added air mass")
FLAT_PLATE: Final = 1.28  # drag coefficient of a flat plate along its normal (NASA Glenn, Shape Effects on Drag)

AT_ONCE: Final = 8_192  # samples whose load is worked out at a time: what these hold stays in the cache
Inertial = tuple[float, FloatArray, FloatArray]  # mass [kg], centre of mass [m], inertia about it [kg m^2]


def part_load(
    part: Part, motion: ToolMotion, gravity: FloatArray, air_density: float = STANDARD_AIR_DENSITY
) -> FloatArray:
    """Return the load on the gripper at every sample.

    Newton and Euler for a rigid body, about the tool-frame origin (Craig, Introduction to Robotics, ch. 6,
    from memory); with `part.drag_area` also what the air does to it (`air_load`).

    Args:
        part: The part as gripped.
        motion: Of the tool frame.
        gravity: Gravitational acceleration in the world [m/s^2], shape (3,).
        air_density: [kg/m^3].

    Returns:
        What the part does to the gripper, forces [N] then moments [N m], tool axes, shape (6, n);
        a positive third component pulls the part off.
    """
    load = rigid_load(_inertial(part), motion, gravity)
    if part.drag_area is not None:
        load += sum(air_load(part, motion, air_density))
    return load


def rigid_load(body: Inertial, motion: ToolMotion, gravity: FloatArray) -> FloatArray:
    """Return the load of a body that moves with the tool, without air; as `part_load`."""
    out = stored((6, motion.samples))
    for part in parts(motion.samples, size=AT_ONCE):
        some = motion.take(part)
        out[:, part] = load_wrench(*body, some.in_tool(gravity), *_rates(some))
    return out


def standing_load(part: Part, motion: ToolMotion, gravity: FloatArray) -> FloatArray:
    """Return the part of the load that gravity alone gives, shape (6, n); as `part_load`."""
    return np.asarray(mass_matrix(*_inertial(part))[:, :3] @ motion.in_tool(gravity))


def load_by_cause(
    part: Part, motion: ToolMotion, gravity: FloatArray, air_density: float = STANDARD_AIR_DENSITY
) -> dict[str, FloatArray]:
    """Return the load broken down by cause; the parts add up to `part_load`.

    Returns:
        For each of `CAUSES`, and for `AIR_CAUSES` where the part has a drag area, wrenches, shape (6, n).
    """
    out = rigid_by_cause(part, motion.in_tool(gravity), *_rates(motion))
    if part.drag_area is not None:
        out |= zip(AIR_CAUSES, air_load(part, motion, air_density), strict=True)
    return out


def rigid_by_cause(
    part: Part, gravity: FloatArray, acceleration: FloatArray, omega: FloatArray, alpha: FloatArray
) -> dict[str, FloatArray]:
    """Return the load by cause without what the air does, from the tool's motion in tool axes.

    Args:
        part: The part as gripped.
        gravity: [m/s^2], shape (3, n).
        acceleration: Of the tool origin, without gravity [m/s^2], shape (3, n).
        omega: Angular velocity [rad/s], shape (3, n).
        alpha: Angular acceleration [rad/s^2], shape (3, n).

    Returns:
        For each of `CAUSES` wrenches, shape (6, n).
    """
    found = wrench_by_cause(*_inertial(part), gravity, acceleration, omega, alpha)
    return dict(zip(CAUSES, found, strict=True))


def load_per_acceleration(part: Part, air_density: float = STANDARD_AIR_DENSITY) -> FloatArray:
    """Return the matrix from (acceleration of the origin, angular acceleration) to the load, shape (6, 6)."""
    arm = _face_arm(part)
    return -mass_matrix(*_inertial(part)) - added_mass(part, air_density) * np.outer(arm, arm)


def air_load(part: Part, motion: ToolMotion, air_density: float) -> tuple[FloatArray, FloatArray]:
    """Return what drag and added mass of the air put on the gripper, along the normal of a flat part.

    Drag is ``rho/2 drag_area v |v|`` with the speed of the face's centroid along the tool's z axis. The air that a
    flat part takes along when it speeds up is that of the disc of equal area, ``8/3 rho r^3`` (Lamb, Hydrodynamics,
    from memory). Both act at the centroid. The air's own inertia against turning is left out.

    Args:
        part: With a drag area.
        motion: Of the tool frame.
        air_density: [kg/m^3].

    Returns:
        Two wrenches as `part_load`, shape (6, n) each.
    """
    arm, (x, y) = _face_arm(part), part.face_centroid
    acceleration, turn, turn_rate = _rates(motion)
    along = arm[2:5] @ np.stack([motion.velocity.T[2], *turn[:2]])
    swirl = turn[2] * (turn[0] * x + turn[1] * y)  # of omega x (omega x c), for a centroid in the pad plane
    gaining = arm[2:5] @ np.stack([acceleration[2], *turn_rate[:2]]) + swirl
    drag = -0.5 * air_density * (part.drag_area or 0.0) * along * np.abs(along)
    return np.outer(arm, drag), np.outer(arm, -added_mass(part, air_density) * gaining)


def drag_per_speed(part: Part, motion: ToolMotion, air_density: float) -> FloatArray:
    """Return by how much the drag of `air_load` changes with the tool's velocity and angular velocity, tool axes.

    The derivative of ``v |v|`` is ``2 |v|``.

    Returns:
        Wrench over velocity and angular velocity, shape (6, 6, n).
    """
    arm = _face_arm(part)
    along = arm[2:5] @ np.stack([motion.velocity.T[2], *motion.angular_velocity.T[:2]])
    slope = -air_density * (part.drag_area or 0.0) * np.abs(along)
    return np.asarray(np.outer(arm, arm)[:, :, None] * slope)


def added_mass(part: Part, air_density: float) -> float:
    """Return the mass of the air that a flat part takes along its normal [kg]; 0 without a drag area."""
    radius = np.sqrt((part.drag_area or 0.0) / FLAT_PLATE / np.pi)
    return float(8.0 / 3.0 * air_density * radius**3)


def _face_arm(part: Part) -> FloatArray:
    """What a unit force along the tool's z axis at the centroid of the part's face is at the tool origin."""
    x, y = part.face_centroid
    return np.array([0.0, 0.0, 1.0, y, -x, 0.0])


def _inertial(part: Part) -> Inertial:
    return part.mass, part.com, part.inertia


def _rates(motion: ToolMotion) -> tuple[FloatArray, FloatArray, FloatArray]:
    return motion.acceleration.T, motion.angular_velocity.T, motion.angular_acceleration.T
