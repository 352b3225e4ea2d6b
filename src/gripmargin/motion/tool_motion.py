"""The motion of the tool frame at every sample, named and in one frame.

In: a robot with joint positions, speeds and accelerations, or poses with theirs.
Out: `ToolMotion`: velocities and accelerations in tool axes.
Error: none but that of what goes in.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gripmargin.base.arrays import FloatArray, Value, sealed
from gripmargin.base.errors import InputError
from gripmargin.base.stored import leave, parts, stored
from gripmargin.kernels import recursion
from gripmargin.motion.chain import Chain

Told = Callable[[slice | NDArray[np.intp]], FloatArray]

KEPT: Final = 131_072  # samples beyond which motion is worked out again where it is asked for: memory alone


@dataclass(frozen=True, eq=False)
class ToolMotion(Value):
    """Pose, velocities and accelerations of the tool frame.

    Accelerations are the classical ones of the tool-frame origin, without gravity.

    Attributes:
        t: Times [s], shape (n,).
        told: As `gripmargin.kernels.recursion.tool_motion` returns it, shape (3, 8, n), or what works it out at some
            samples, for a long program.
    """

    t: FloatArray
    told: FloatArray | Told

    def __post_init__(self) -> None:
        sealed(self.t)
        if isinstance(self.told, np.ndarray):
            sealed(self.told)

    @property
    def state(self) -> FloatArray:
        """As `gripmargin.kernels.recursion.tool_motion` returns it, shape (3, 8, n)."""
        return self._rows(lambda state: state)

    def _rows(self, of: Callable[[FloatArray], FloatArray]) -> FloatArray:
        """What follows from the state at each sample, samples last."""
        if isinstance(self.told, np.ndarray):
            return of(self.told)
        out = np.empty(0)
        for first in range(0, self.samples, KEPT):
            part = slice(first, min(first + KEPT, self.samples))
            some = of(self.told(part))
            out = out if first else stored((*some.shape[:-1], self.samples))
            out[..., part] = some
            leave()
        return out

    @property
    def samples(self) -> int:
        """Number of samples."""
        return int(self.t.size)

    @property
    def rotation(self) -> FloatArray:
        """Tool axes in the world as columns, shape (n, 3, 3)."""
        return self._rows(lambda state: state[:, recursion.EX :]).transpose(2, 1, 0)

    @property
    def axis(self) -> FloatArray:
        """The tool's z axis in the world, shape (n, 3)."""
        return self._rows(lambda state: state[2, recursion.EX :]).T

    @property
    def position(self) -> FloatArray:
        """Tool origin in the world [m], shape (n, 3)."""
        return self._rows(lambda x: np.einsum("cjn,cn->jn", x[:, recursion.EX :], x[:, recursion.P])).T

    @property
    def velocity(self) -> FloatArray:
        """Velocity of the tool origin in tool axes [m/s], shape (n, 3)."""
        return self._rows(lambda state: state[:, recursion.V]).T

    @property
    def acceleration(self) -> FloatArray:
        """Acceleration of the tool origin in tool axes [m/s^2], shape (n, 3)."""
        return self._rows(lambda state: state[:, recursion.A]).T

    @property
    def angular_velocity(self) -> FloatArray:
        """Angular velocity in tool axes [rad/s], shape (n, 3)."""
        return self._rows(lambda state: state[:, recursion.W]).T

    @property
    def angular_acceleration(self) -> FloatArray:
        """Angular acceleration in tool axes [rad/s^2], shape (n, 3)."""
        return self._rows(lambda state: state[:, recursion.AL]).T

    def take(self, samples: int | slice | NDArray[np.intp]) -> ToolMotion:
        """Return the motion at some of the samples, indices, shape (m,), or at one."""
        at = samples if isinstance(samples, slice) else np.atleast_1d(samples)
        told = self.told
        if isinstance(told, np.ndarray):
            return ToolMotion(self.t[at], told[:, :, at])
        leave()  # whoever asks goes along a long program part by part
        first, last, _ = at.indices(self.samples) if isinstance(at, slice) else (0, 0, 1)
        return ToolMotion(self.t[at], partial(_from, told, first) if last - first > KEPT else told(at))

    def largest(self, name: str, samples: NDArray[np.intp] | None = None) -> float:
        """Return the largest size of a vector of the motion.

        Args:
            name: Of the attribute: position, velocity, acceleration, angular_velocity or angular_acceleration.
            samples: Indices, shape (m,), m > 0; None: all.
        """
        some = (
            part if samples is None else samples[part]
            for part in parts(self.samples if samples is None else samples.size)
        )
        sizes = (np.linalg.norm(getattr(self.take(at), name), axis=1).max() for at in some)
        return float(np.max([*sizes]))

    def regripped(self, frame: FloatArray) -> ToolMotion:
        """Return the motion of another frame that is fixed to the tool.

        Args:
            frame: Its pose in the tool frame, shape (4, 4).
        """
        told = self.told
        if isinstance(told, np.ndarray):
            return ToolMotion(self.t, recursion.moved(told, frame))
        return ToolMotion(self.t, partial(_moved, told, frame))

    def retimed(self, speed: float | FloatArray, rate: float | FloatArray) -> ToolMotion:
        """Return the motion on the same path at a share of its speed while the program's time slows down.

        Args:
            speed: Speed factor s, broadcast against the samples.
            rate: Deceleration of the program's time over s [1/s].
        """
        state = np.array(self.state)
        for along, rises in ((recursion.V, recursion.A), (recursion.W, recursion.AL)):
            state[:, rises] = speed**2 * state[:, rises] - rate * state[:, along]
            state[:, along] *= speed
        return ToolMotion(self.t, state)

    def in_tool(self, vector: ArrayLike) -> FloatArray:
        """Return a constant world vector in tool axes, shape (3, n)."""
        given = np.asarray(vector, dtype=np.float64)
        return self._rows(lambda state: np.einsum("cjn,j->cn", state[:, recursion.EX :], given))


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
    work = partial(_at, chain, q, qd, qdd)
    return ToolMotion(t=t, told=work if t.size > KEPT else work(slice(None)))


def _from(told: Told, first: int, samples: slice | NDArray[np.intp]) -> FloatArray:
    """The state at samples counted from a later one on."""
    return told(slice(first + samples.start, first + samples.stop) if isinstance(samples, slice) else first + samples)


def _moved(told: Told, frame: FloatArray, samples: slice | NDArray[np.intp]) -> FloatArray:
    """The state of another frame that is fixed to the tool."""
    return recursion.moved(told(samples), frame)


def _at(chain: Chain, q: FloatArray, qd: FloatArray, qdd: FloatArray, samples: slice | NDArray[np.intp]) -> FloatArray:
    return recursion.tool_motion(chain.links, chain.revolute, q[samples], qd[samples], qdd[samples])


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
    return ToolMotion(t=t, told=state)
