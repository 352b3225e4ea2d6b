"""The load of the part on the gripper, and what causes it."""

from __future__ import annotations

from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.wrench import load_wrench
from gripmargin.motion.tool_motion import ToolMotion
from gripmargin.workcell import STANDARD_AIR_DENSITY, Part

CAUSES: Final = ("gravity", "linear acceleration", "centripetal", "angular acceleration", "gyroscopic")
AIR_CAUSES: Final = ("air drag", "added air mass")
FLAT_PLATE: Final = 1.28  # drag coefficient of a flat plate along its normal (NASA Glenn, Shape Effects on Drag)


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
    load = load_wrench(
        part.mass,
        part.com,
        part.inertia,
        motion.in_tool(gravity),
        motion.acceleration.T,
        motion.angular_velocity.T,
        motion.angular_acceleration.T,
    )
    if part.drag_area is not None:
        load += sum(air_load(part, motion, air_density))
    return load


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
    x, y = part.face_centroid
    speed, turn = motion.velocity.T, motion.angular_velocity.T
    rate, turn_rate = motion.acceleration.T, motion.angular_acceleration.T
    along = speed[2] + turn[0] * y - turn[1] * x
    swirl = turn[2] * (turn[0] * x + turn[1] * y)  # of omega x (omega x c), for a centroid in the pad plane
    gaining = rate[2] + turn_rate[0] * y - turn_rate[1] * x + swirl
    arm = np.array([0.0, 0.0, 1.0, y, -x, 0.0])[:, None]
    drag = -0.5 * air_density * (part.drag_area or 0.0) * along * np.abs(along)
    return arm * drag, arm * (-added_mass(part, air_density) * gaining)


def drag_per_speed(part: Part, motion: ToolMotion, air_density: float) -> FloatArray:
    """Return by how much the drag of `air_load` changes with the tool's velocity and angular velocity, tool axes.

    The derivative of ``v |v|`` is ``2 |v|``.

    Returns:
        Wrench over velocity and angular velocity, shape (6, 6, n).
    """
    x, y = part.face_centroid
    arm = np.array([0.0, 0.0, 1.0, y, -x, 0.0])
    along = arm[2:5] @ np.stack([motion.velocity.T[2], *motion.angular_velocity.T[:2]])
    slope = -air_density * (part.drag_area or 0.0) * np.abs(along)
    return np.asarray(np.outer(arm, arm)[:, :, None] * slope)


def added_mass(part: Part, air_density: float) -> float:
    """Return the mass of the air that a flat part takes along its normal [kg]; 0 without a drag area."""
    radius = np.sqrt((part.drag_area or 0.0) / FLAT_PLATE / np.pi)
    return float(8.0 / 3.0 * air_density * radius**3)


def standing_load(part: Part, motion: ToolMotion, gravity: FloatArray) -> FloatArray:
    """Return the part of the load that gravity alone gives, shape (6, n); see `part_load`."""
    still = np.zeros((3, motion.samples))
    return load_wrench(part.mass, part.com, part.inertia, motion.in_tool(gravity), still, still, still)


def load_by_cause(
    part: Part, motion: ToolMotion, gravity: FloatArray, sample: int, air_density: float = STANDARD_AIR_DENSITY
) -> dict[str, FloatArray]:
    """Return the load at one sample broken down by cause; the parts add up to the whole.

    Args:
        part: The part as gripped.
        motion: Of the tool frame.
        gravity: In the world [m/s^2], shape (3,).
        sample: Index.
        air_density: [kg/m^3].

    Returns:
        For each of `CAUSES`, and for `AIR_CAUSES` where the part has a drag area, a wrench, shape (6,).
    """
    com = part.com
    omega, alpha = motion.angular_velocity[sample], motion.angular_acceleration[sample]
    accelerations = {
        "gravity": motion.in_tool(gravity)[:, sample],
        "linear acceleration": -motion.acceleration[sample],
        "centripetal": -np.cross(omega, np.cross(omega, com)),
        "angular acceleration": -np.cross(alpha, com),
        "gyroscopic": np.zeros(3),
    }
    out = {}
    for cause, acceleration in accelerations.items():
        force = part.mass * acceleration
        out[cause] = np.concatenate([force, np.cross(com, force)])
    out["angular acceleration"][3:] -= part.inertia @ alpha
    out["gyroscopic"][3:] -= np.cross(omega, part.inertia @ omega)
    if part.drag_area is not None:
        parts = air_load(part, motion, air_density)
        out |= {cause: load[:, sample] for cause, load in zip(AIR_CAUSES, parts, strict=True)}
    return out


def causes_over_time(
    part: Part, gravity: FloatArray, acceleration: FloatArray, omega: FloatArray, alpha: FloatArray
) -> dict[str, FloatArray]:
    """Return the load of many samples broken down by cause, as `load_by_cause` does for one.

    Args:
        part: The part as gripped.
        gravity: In tool axes [m/s^2], shape (m, 3).
        acceleration: Of the tool origin, tool axes [m/s^2], shape (m, 3).
        omega: Angular velocity, tool axes [rad/s], shape (m, 3).
        alpha: Angular acceleration, tool axes [rad/s^2], shape (m, 3).

    Returns:
        For each of `CAUSES` wrenches, shape (m, 6).
    """
    com = part.com
    accelerations = {
        "gravity": gravity,
        "linear acceleration": -acceleration,
        "centripetal": -np.cross(omega, np.cross(omega, com)),
        "angular acceleration": -np.cross(alpha, com),
        "gyroscopic": np.zeros_like(omega),
    }
    out = {}
    for cause, given in accelerations.items():
        force = part.mass * given
        out[cause] = np.concatenate([force, np.cross(com, force)], axis=1)
    out["angular acceleration"][:, 3:] -= alpha @ part.inertia
    out["gyroscopic"][:, 3:] -= np.cross(omega, omega @ part.inertia)
    return out


def load_per_acceleration(part: Part, air_density: float = STANDARD_AIR_DENSITY) -> FloatArray:
    """Return the matrix from (acceleration of the origin, angular acceleration) to the load, shape (6, 6)."""
    unit = np.eye(6)
    zero = np.zeros((3, 6))
    out = load_wrench(part.mass, part.com, part.inertia, zero, unit[:3], zero, unit[3:])
    if part.drag_area is not None:
        x, y = part.face_centroid
        arm = np.array([0.0, 0.0, 1.0, y, -x, 0.0])
        out -= added_mass(part, air_density) * np.outer(arm, arm)
    return out
