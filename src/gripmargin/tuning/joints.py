"""How much faster the joints may go: speeds grow with the factor, accelerations with its square, jerk with its cube."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks import words
from gripmargin.checks.case import Case
from gripmargin.motion.between import law_of
from gripmargin.motion.trajectory import JointTrajectory
from gripmargin.results.tuned import Limit
from gripmargin.tuning.peaks import Peaks, peaks

STILL_RATE = 1e-9  # rates below this do not limit anything


def joint_speeds(case: Case) -> tuple[FloatArray, NDArray[np.intp]]:
    """Return the largest speed factor of each interval between samples under the joint limits, and what limits it.

    Args:
        case: The job.

    Returns:
        Factors, shape (n - 1,), inf where nothing limits; and for each interval 3 * joint + order, where order is 0
        for speed, 1 for acceleration, 2 for jerk.
    """
    n = case.job.trajectory.samples - 1
    rates = list(_rates(case))
    if not rates:
        return np.full(n, np.inf), np.zeros(n, dtype=np.intp)
    joints = rates[0][1].shape[1]
    allowed = np.full((n, 3 * joints), np.inf)
    for order, size, limit in rates:
        moving = size > STILL_RATE
        share = np.divide(np.broadcast_to(limit, size.shape), size, out=np.full_like(size, np.inf), where=moving)
        allowed[:, order::3] = share ** (1.0 / (order + 1))
    at = allowed.argmin(axis=1)
    return allowed[np.arange(n), at], at


def joint_limit(case: Case, interval: int, which: int) -> Limit:
    """Return the limit that `joint_speeds` found in an interval."""
    by = ("joint speed", "joint acceleration", "joint jerk")[which % 3]
    joint = which // 3 + 1
    place = case.place(interval)
    text = f"{by} of joint {joint} at {place.t:.3f} s{words.in_move(place.move)}"
    return Limit(by=by, t=place.t, sample=interval, move=place.move, joint=joint, text=text)


def _rates(case: Case) -> Iterator[tuple[int, FloatArray, FloatArray]]:
    """Order, largest rates of the program in each interval, limits: where both are known."""
    limits, rates, trajectory = case.job.joint_limits, case.motion.joint_rates, case.job.trajectory
    if limits is None or rates is None or not isinstance(trajectory, JointTrajectory):
        return
    qd, qdd = rates
    if trajectory.qdd is not None:
        own, at = trajectory.own
        found = peaks(*law_of(own))
        found = Peaks(*(np.repeat(size, np.diff(at), axis=0) for size in found))
    else:  # estimated rates do not follow from each other
        h = np.diff(trajectory.t)[:, None]
        higher = (np.maximum(np.abs(row[:-1]), np.abs(row[1:])) for row in (qd, qdd))
        speed, acceleration = higher
        found = Peaks(
            speed, np.maximum(acceleration, np.abs(np.diff(qd, axis=0) / h)), np.abs(np.diff(qdd, axis=0) / h)
        )
    for order, (size, limit) in enumerate(zip(found, (limits.speed, limits.acceleration, limits.jerk), strict=True)):
        if limit is not None:
            yield order, size, limit
