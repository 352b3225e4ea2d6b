"""Poses with given velocities as six channels in world axes: three of the position, three of the turn.

In: a program of poses that gives velocities and accelerations.
Out: its samples as channels whose rates these are; poses between the samples from channels there.
Error: the turn over an interval by the fourth-order term of Magnus (Iserles & Norsett, Phil. Trans. R. Soc. A 357,
1999).
"""

from __future__ import annotations

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.motion.trajectory import JointTrajectory, PoseTrajectory, given_rates


def as_channels(poses: PoseTrajectory) -> JointTrajectory:
    """Return position and the integral of the angular velocity, with their rates, in world axes.

    Args:
        poses: With velocities and accelerations, without samples put in.
    """
    from scipy.spatial.transform import Rotation  # noqa: PLC0415 - takes 0.1 s to import

    velocity, acceleration = given_rates(poses)
    between = Rotation.from_matrix(poses.rotation[1:] @ poses.rotation[:-1].transpose(0, 2, 1)).as_rotvec()
    change = np.diff(velocity[:, 3:], axis=0)
    turn = np.cumsum(between + np.diff(poses.t)[:, None] / 12.0 * np.cross(between, change), axis=0)
    return JointTrajectory(
        t=poses.t,
        q=np.hstack([poses.position, np.vstack([np.zeros(3), turn])]),
        qd=velocity,
        qdd=acceleration,
        source=poses.source,
    )


def turned(start: FloatArray, time: FloatArray, integral: FloatArray, change: FloatArray) -> FloatArray:
    """Return the rotations that turns from others lead to.

    Args:
        start: From where, shape (m, 3, 3).
        time: Since then [s], shape (m,).
        integral: Of the angular velocity over it, world axes [rad], shape (m, 3).
        change: Of the angular velocity over it [rad/s], shape (m, 3).

    Returns:
        Shape (m, 3, 3).
    """
    from scipy.spatial.transform import Rotation  # noqa: PLC0415 - takes 0.1 s to import

    vector = integral - time[:, None] / 12.0 * np.cross(integral, change)
    return np.asarray(Rotation.from_rotvec(vector).as_matrix() @ start)
