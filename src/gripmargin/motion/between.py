"""What lies between samples whose rates the program gives.

In: a joint trajectory with speeds and accelerations.
Out: the tool's motion halfway between samples, and inside intervals that are too wide to follow the acceleration.
Error: what rounding of the rates explains is left out.
"""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.motion.chain import Chain
from gripmargin.motion.consistency import in_motion, rounding
from gripmargin.motion.tool_motion import ToolMotion, joint_motion
from gripmargin.motion.trajectory import RESOLVED, JointTrajectory, given_rates

EIGHTHS: Final = tuple(k / 8 for k in range(1, 8))


class Between(NamedTuple):
    """The tool's motion between neighbouring samples; see `gripmargin.motion.program.ProgramMotion`."""

    mean: ToolMotion
    peak: ToolMotion
    certain: NDArray[np.bool_]
    sparse: tuple[ToolMotion, ...]


def between_samples(trajectory: JointTrajectory, chain: Chain) -> Between:
    """Work out the tool's motion between samples.

    Args:
        trajectory: With speeds and accelerations.
        chain: The robot.
    """
    t, q, (qd, qdd) = trajectory.t, trajectory.q, given_rates(trajectory)
    h = np.diff(t)[:, None]
    ends, (excess, certain) = (qdd[:-1] + qdd[1:]) / 2, unexplained_acceleration(trajectory)
    middle_q = (q[:-1] + q[1:]) / 2 + h * (qd[:-1] - qd[1:]) * (5 / 32) + h**2 * (qdd[:-1] + qdd[1:]) / 64
    middle_qd = (qd[:-1] + qd[1:]) / 2 + h * (qdd[:-1] - qdd[1:]) / 8
    middle_t = (t[:-1] + t[1:]) / 2
    shares = EIGHTHS if h.max() > RESOLVED else ()
    return Between(
        mean=joint_motion(chain, middle_t, middle_q, middle_qd, ends + excess),
        peak=joint_motion(chain, middle_t, middle_q, middle_qd, ends + 2.0 * excess),
        certain=certain,
        sparse=tuple(joint_motion(chain, middle_t, *interpolated(trajectory, share)) for share in shares),
    )


def unexplained_acceleration(trajectory: JointTrajectory) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Return by how much the mean acceleration of each interval exceeds the mean of both samples' accelerations.

    What rounding of the rates can explain is left out.

    Args:
        trajectory: With speeds and accelerations.

    Returns:
        The excess, shape (n - 1, joints) [rad/s^2 or m/s^2], and whether nothing that is usual in the program
        explains it, shape (n - 1,).
    """
    qd, qdd = given_rates(trajectory)
    h = np.diff(trajectory.t)[:, None]
    excess = np.diff(qd, axis=0) / h - (qdd[:-1] + qdd[1:]) / 2
    moving = in_motion(qd)
    known = np.where(h <= RESOLVED, rounding(h * excess, moving) / h, 0.0)
    usual = rounding(h * excess, moving, share=0.95) / h
    return _beyond(excess, known), np.asarray((np.abs(excess) > usual).any(axis=1))


def interpolated(trajectory: JointTrajectory, share: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return positions, speeds and accelerations inside every interval, on the polynomial of degree five.

    Args:
        trajectory: With speeds and accelerations.
        share: Of the interval, 0 to 1.

    Returns:
        Each of shape (n - 1, joints).
    """
    q, (qd, qdd) = trajectory.q, given_rates(trajectory)
    s, h = share, np.diff(trajectory.t)[:, None]
    a, step = qdd[:-1], np.diff(qdd, axis=0)
    # On top of a straight line the acceleration has s (1 - s) (even + odd (2 s - 1)): the even part makes up
    # for the change of speed, the odd part for the travel.
    even = 6.0 * (np.diff(qd, axis=0) / h - (qdd[:-1] + qdd[1:]) / 2)
    moment = np.diff(q, axis=0) - h * (qd[:-1] + qd[1:]) / 2 + h**2 * step / 12
    odd = -60.0 * _beyond(moment, rounding(moment, in_motion(qd))) / h**2
    acceleration = a + step * s + s * (1 - s) * (even + odd * (2 * s - 1))
    speed = a * s + step * s**2 / 2 + even * (s**2 / 2 - s**3 / 3) + odd * (s**3 - s**2 / 2 - s**4 / 2)
    travel = a * s**2 / 2 + step * s**3 / 6 + even * (s**3 / 6 - s**4 / 12) + odd * (s**4 / 4 - s**3 / 6 - s**5 / 10)
    return q[:-1] + h * qd[:-1] * s + h**2 * travel, qd[:-1] + h * speed, acceleration


def _beyond(values: FloatArray, known: FloatArray) -> FloatArray:
    """Return what of some values, of either sign, is beyond a size that is explained."""
    return np.asarray(np.sign(values) * np.maximum(np.abs(values) - known, 0.0))
