"""The motion of the tool frame at every sample, named and in one frame.

In: a robot with joint positions, speeds and accelerations, or poses with theirs.
Out: `ToolMotion`: velocities and accelerations in tool axes.
Error: none but that of what goes in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gripmargin.base.arrays import FloatArray, Value, sealed
from gripmargin.base.errors import InputError
from gripmargin.kernels import recursion
from gripmargin.motion.chain import Chain


@dataclass(frozen=True, eq=False)
class ToolMotion(Value):
    """Pose, velocities and accelerations of the tool frame.

    Accelerations are the classical ones of the tool-frame origin, without gravity.

    Attributes:
        t: Times [s], shape (n,).
        state: As `gripmargin.kernels.recursion.tool_motion` returns it, shape (3, 8, n).
    """

    t: FloatArray
    state: FloatArray

    def __post_init__(self) -> None:
        sealed(self.t)
        sealed(self.state)

    @property
    def samples(self) -> int:
        """Number of samples."""
        return int(self.t.size)

    @property
    def rotation(self) -> FloatArray:
        """Tool axes in the world as columns, shape (n, 3, 3)."""
        return self.state[:, recursion.EX :].transpose(2, 1, 0)

    @property
    def position(self) -> FloatArray:
        """Tool origin in the world [m], shape (n, 3)."""
        return np.einsum("cjn,cn->nj", self.state[:, recursion.EX :], self.state[:, recursion.P])

    @property
    def velocity(self) -> FloatArray:
        """Velocity of the tool origin in tool axes [m/s], shape (n, 3)."""
        return self.state[:, recursion.V].T

    @property
    def acceleration(self) -> FloatArray:
        """Acceleration of the tool origin in tool axes [m/s^2], shape (n, 3)."""
        return self.state[:, recursion.A].T

    @property
    def angular_velocity(self) -> FloatArray:
        """Angular velocity in tool axes [rad/s], shape (n, 3)."""
        return self.state[:, recursion.W].T

    @property
    def angular_acceleration(self) -> FloatArray:
        """Angular acceleration in tool axes [rad/s^2], shape (n, 3)."""
        return self.state[:, recursion.AL].T

    def take(self, samples: int | slice | NDArray[np.intp]) -> ToolMotion:
        """Return the motion at some of the samples, indices, shape (m,), or at one."""
        at = samples if isinstance(samples, slice) else np.atleast_1d(samples)
        return ToolMotion(self.t[at], self.state[:, :, at])

    def retimed(self, speed: float | FloatArray, rate: float | FloatArray) -> ToolMotion:
        """Return the motion on the same path at a share of its speed while the program's time slows down.

        Args:
            speed: Speed factor s, broadcast against the samples.
            rate: Deceleration of the program's time over s [1/s].
        """
        state = self.state.copy()
        for along, rises in ((recursion.V, recursion.A), (recursion.W, recursion.AL)):
            state[:, rises] = speed**2 * state[:, rises] - rate * state[:, along]
            state[:, along] *= speed
        return ToolMotion(self.t, state)

    def in_tool(self, vector: ArrayLike) -> FloatArray:
        """Return a constant world vector in tool axes, shape (3, n)."""
        return np.einsum("cjn,j->cn", self.state[:, recursion.EX :], np.asarray(vector, dtype=np.float64))


def check_columns(q: FloatArray, chain: Chain) -> None:
    """Compare the number of joint columns with the robot's number of joints.

    Raises:
        InputError: They differ.
    """
    if q.shape[1] != chain.joints:
        raise InputError(
            "trajectory joint columns", f"{q.shape[1]}", f"{chain.joints}, the moving joints of {chain.source}"
        )


def joint_motion(chain: Chain, t: FloatArray, q: FloatArray, qd: FloatArray, qdd: FloatArray) -> ToolMotion:
    """Return the tool motion of joint samples with known rates.

    Args:
        chain: The robot, with base and tool mounted.
        t: Times [s], shape (n,).
        q: Joint positions [rad or m], shape (n, joints).
        qd: Joint speeds, shape (n, joints).
        qdd: Joint accelerations, shape (n, joints).

    Raises:
        InputError: The number of columns is not the robot's number of joints.
    """
    check_columns(q, chain)
    return ToolMotion(t=t, state=recursion.tool_motion(chain.links, chain.revolute, q, qd, qdd))


def pose_motion(
    t: FloatArray,
    position: FloatArray,
    rotation: FloatArray,
    velocity: FloatArray,
    acceleration: FloatArray,
    omega: FloatArray,
    alpha: FloatArray,
) -> ToolMotion:
    """Return the tool motion of poses with known rates.

    Args:
        t: Times [s], shape (n,).
        position: Tool origin in the world [m], shape (n, 3).
        rotation: Tool axes in the world as columns, shape (n, 3, 3).
        velocity: Of the origin, world axes [m/s], shape (n, 3).
        acceleration: Of the origin, world axes [m/s^2], shape (n, 3).
        omega: Angular velocity, tool axes [rad/s], shape (n, 3).
        alpha: Angular acceleration, tool axes [rad/s^2], shape (n, 3).
    """
    state = np.empty((3, 8, t.size))
    for row, world in ((recursion.V, velocity), (recursion.A, acceleration), (recursion.P, position)):
        state[:, row] = np.einsum("nji,nj->in", rotation, world)
    state[:, recursion.W], state[:, recursion.AL] = omega.T, alpha.T
    state[:, recursion.EX :] = rotation.transpose(2, 1, 0)
    return ToolMotion(t=t, state=state)
