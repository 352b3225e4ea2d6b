"""The load of the part on the gripper, and what causes it."""

from __future__ import annotations

from typing import Final

import numpy as np

from gripmargin.arrays import FloatArray
from gripmargin.kernels.wrench import load_wrench
from gripmargin.motion.tool_motion import ToolMotion
from gripmargin.workcell import Part

CAUSES: Final = ("gravity", "linear acceleration", "centripetal", "angular acceleration", "gyroscopic")


def part_load(part: Part, motion: ToolMotion, gravity: FloatArray) -> FloatArray:
    """Return the load on the gripper at every sample.

    Newton and Euler for a rigid body, about the tool-frame origin (Craig, Introduction to Robotics, ch. 6,
    from memory).

    Args:
        part: The part as gripped.
        motion: Of the tool frame.
        gravity: Gravitational acceleration in the world [m/s^2], shape (3,).

    Returns:
        What the part does to the gripper, forces [N] then moments [N m], tool axes, shape (6, n);
        a positive third component pulls the part off.
    """
    return load_wrench(
        part.mass,
        part.com,
        part.inertia,
        motion.in_tool(gravity),
        motion.acceleration.T,
        motion.angular_velocity.T,
        motion.angular_acceleration.T,
    )


def standing_load(part: Part, motion: ToolMotion, gravity: FloatArray) -> FloatArray:
    """Return the part of the load that gravity alone gives, shape (6, n); see `part_load`."""
    still = np.zeros((3, motion.samples))
    return load_wrench(part.mass, part.com, part.inertia, motion.in_tool(gravity), still, still, still)


def load_by_cause(part: Part, motion: ToolMotion, gravity: FloatArray, sample: int) -> dict[str, FloatArray]:
    """Return the load at one sample broken down by cause; the parts add up to the whole.

    Args:
        part: The part as gripped.
        motion: Of the tool frame.
        gravity: In the world [m/s^2], shape (3,).
        sample: Index.

    Returns:
        For each of `CAUSES` a wrench, shape (6,).
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


def load_per_acceleration(part: Part) -> FloatArray:
    """Return the matrix from (acceleration of the origin, angular acceleration) to the load, shape (6, 6)."""
    unit = np.eye(6)
    zero = np.zeros((3, 6))
    return load_wrench(part.mass, part.com, part.inertia, zero, unit[:3], zero, unit[3:])
