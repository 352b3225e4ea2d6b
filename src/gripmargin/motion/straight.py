"""Straight lines of the tool: the motion of the tool frame along them, and the joints that make it.

In: poses, shares of the turns between them over time; for joints the robot and where they start.
Out: poses with velocities and accelerations in world axes; joint values with theirs.
Error: none but that of floating point; a line that the arm cannot follow is refused.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.kernels import recursion
from gripmargin.kernels.jacobian import tool_jacobian
from gripmargin.motion.chain import Chain
from gripmargin.motion.tool_motion import joint_motion

ROUNDS: Final = 30  # of Newton's method, which needs 4 to 6 where it comes to an end at all
FAR, WIDE = 0.02, 0.1  # [m, rad] from one sample that is solved by itself to the next; the rest start between them
MISSES: Final = 1e-9  # [m, rad] by which the tool may miss the line: of a millionth of a millimetre
FASTEST_AXIS: Final = 40.0  # [rad/s]: twice what the fastest wrist axes reach (from memory)


class ToolPath(NamedTuple):
    """Poses of the tool frame with their rates in world axes.

    Attributes:
        position: [m], shape (n, 3).
        rotation: Tool axes in the world as columns, shape (n, 3, 3).
        velocity: Of the origin [m/s], then angular [rad/s], shape (n, 6).
        acceleration: Of the origin [m/s^2], then angular [rad/s^2], shape (n, 6).
    """

    position: FloatArray
    rotation: FloatArray
    velocity: FloatArray
    acceleration: FloatArray

    @classmethod
    def standing(cls, pose: FloatArray, samples: int) -> ToolPath:
        """Return a tool that stands still at a pose, shape (4, 4)."""
        turn = np.tile(pose[:3, :3], (samples, 1, 1))
        return cls(np.tile(pose[:3, 3], (samples, 1)), turn, np.zeros((samples, 6)), np.zeros((samples, 6)))

    def add(self, way: FloatArray, turn: FloatArray, share: FloatArray, samples: slice) -> None:
        """Add a line to the motion, whose turn comes after those that are there.

        Args:
            way: Of the origin [m], shape (3,).
            turn: Axis times angle in world axes [rad], shape (3,).
            share: How much of it is done, with rates, shape (3, m).
            samples: Which of the motion's these are.
        """
        from scipy.spatial.transform import Rotation  # noqa: PLC0415 - takes 0.1 s to import

        done, rate, change = share[:, :, None]
        self.position[samples] += done * way
        self.velocity[samples, :3] += rate * way
        self.acceleration[samples, :3] += change * way
        later = Rotation.from_rotvec(done * turn).as_matrix()
        omega, alpha = (np.einsum("nij,nj->ni", later, rows[samples, 3:]) for rows in self[2:])
        own = rate * turn
        self.rotation[samples] = later @ self.rotation[samples]
        self.velocity[samples, 3:] = omega + own
        self.acceleration[samples, 3:] = alpha + np.cross(own, omega) + change * turn


def turn_between(first: FloatArray, second: FloatArray, where: str) -> FloatArray:
    """Return axis times angle of the turn from one rotation to another, world axes [rad], shape (3,).

    Raises:
        InputError: So nearly half a turn that rounding decides which way.
    """
    from scipy.spatial.transform import Rotation  # noqa: PLC0415 - takes 0.1 s to import

    turn = np.asarray(Rotation.from_matrix(second @ first.T).as_rotvec())
    if np.linalg.norm(turn) > np.deg2rad(179.0):
        remedy = "put a way point between that says which way round"
        raise InputError(where, "a line that turns the tool by half a turn", "less than 179 deg", remedy)
    return turn


def followed(chain: Chain, start: FloatArray, path: ToolPath, where: str) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return joint values, speeds and accelerations that move the tool along a path, shape (n, joints) each.

    Speeds v = J qd and accelerations a = J qdd + dJ/dt qd are solved for the joints exactly; positions by Newton's
    method from sample to sample.

    Args:
        chain: The robot, with at most six joints.
        start: Joint values near the first sample, shape (joints,).
        path: Of the tool; its samples close to each other.
        where: What an error calls it.

    Raises:
        InputError: More than six joints, or a path that the arm cannot follow: out of reach, or next to a singularity.
    """
    if chain.joints > 6:
        found = f"a line of an arm of {chain.joints} joints"
        remedy = "give joint moves over closer way points, or poses without the robot"
        raise InputError(where, found, "at most 6: else many postures follow it", remedy)
    n = len(path.position)
    done = _progress(path)
    alone = np.unique(np.append(np.searchsorted(done, np.arange(0.0, done[-1])), n - 1))
    solved, last = np.empty((alone.size, chain.joints)), start
    for k, i in enumerate(alone):
        solved[k] = last = _newton(chain, last[None], path, slice(i, i + 1))[0]
        if not _on(chain, last[None], path, slice(i, i + 1))[0]:
            raise _lost(where, i / max(n - 1, 1))
    guess = np.stack([np.interp(done, done[alone], column) for column in solved.T], axis=1)
    q = _newton(chain, guess, path, slice(None))
    on = _on(chain, q, path, slice(None))
    if not on.all():
        raise _lost(where, int(np.argmin(on)) / max(n - 1, 1))
    inverse = np.linalg.pinv(_columns(chain, q))
    qd = np.einsum("nij,nj->ni", inverse, _in_tool(path.velocity, path.rotation))
    whirl = _rows(joint_motion(chain, np.arange(n, dtype=np.float64), q, qd, np.zeros_like(q)).state)
    qdd = np.einsum("nij,nj->ni", inverse, _in_tool(path.acceleration, path.rotation) - whirl)
    fastest = np.abs(np.where(chain.revolute, qd, 0.0)).max(axis=0)
    j = int(fastest.argmax())
    if fastest[j] > FASTEST_AXIS:
        share = int(np.abs(qd[:, j]).argmax()) / max(n - 1, 1)
        found = f"joint {j + 1} at {np.degrees(fastest[j]):.0f} deg/s, {100 * share:.0f} % of the time along the line"
        due, remedy = f"at most {np.degrees(FASTEST_AXIS):.0f} deg/s", "keep away from the singularity there"
        raise InputError(where, found, due, f"{remedy}: another posture, a joint move, or a way round")
    return q, qd, qdd


def _progress(path: ToolPath) -> FloatArray:
    """How far the tool has come, in steps from which Newton's method goes on, shape (n,)."""
    way = np.linalg.norm(np.diff(path.position, axis=0), axis=1)
    chord = np.linalg.norm(np.diff(path.rotation, axis=0), axis=(1, 2)) / np.sqrt(2.0)  # of a small turn its angle
    return np.concatenate([[0.0], np.cumsum(way / FAR + chord / WIDE)])


def _lost(where: str, share: float) -> InputError:
    found = f"a line that the arm cannot follow beyond {100 * share:.0f} % of its time"
    remedy = "it runs out of reach or through a singularity: move the line, or move in joints"
    return InputError(where, found, "a line within reach in one posture", remedy)


def _newton(chain: Chain, q: FloatArray, path: ToolPath, samples: slice) -> FloatArray:
    for _ in range(ROUNDS):
        miss = _miss(chain, q, path, samples)
        change = np.einsum("nij,nj->ni", np.linalg.pinv(_columns(chain, q)), miss)
        largest = np.abs(change).max(axis=1, keepdims=True)
        q = q + change * np.minimum(1.0, 0.5 / np.maximum(largest, 0.5))
        if largest.max() < 1e-14:
            break
    return q


def _on(chain: Chain, q: FloatArray, path: ToolPath, samples: slice) -> FloatArray:
    return np.asarray(np.abs(_miss(chain, q, path, samples)).max(axis=1) <= MISSES)


def _miss(chain: Chain, q: FloatArray, path: ToolPath, samples: slice) -> FloatArray:
    """What the tool lacks to the path: way, then turn, in its axes, shape (n, 6)."""
    from scipy.spatial.transform import Rotation  # noqa: PLC0415 - takes 0.1 s to import

    still = np.zeros_like(q)
    at = joint_motion(chain, np.arange(len(q), dtype=np.float64), q, still, still)
    way = np.einsum("nji,nj->ni", at.rotation, path.position[samples] - at.position)
    turn = Rotation.from_matrix(at.rotation.transpose(0, 2, 1) @ path.rotation[samples]).as_rotvec()
    return np.hstack([way, turn])


def _columns(chain: Chain, q: FloatArray) -> FloatArray:
    """The Jacobian at each sample, shape (n, 6, joints)."""
    return tool_jacobian(chain.links, chain.revolute, q).transpose(2, 1, 0)


def _rows(state: FloatArray) -> FloatArray:
    """Accelerations of tool origin and turn, tool axes, shape (n, 6)."""
    return np.hstack([state[:, recursion.A].T, state[:, recursion.AL].T])


def _in_tool(rates: FloatArray, rotation: FloatArray) -> FloatArray:
    return np.hstack([np.einsum("nji,nj->ni", rotation, half) for half in np.hsplit(rates, 2)])
