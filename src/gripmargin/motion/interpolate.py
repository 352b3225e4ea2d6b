"""What a joint trajectory controller does between the points of a message.

The rule is that of the ROS 2 joint trajectory controller (ros2_controllers documentation, "Trajectory
Representation"): positions only, linear; with velocities, cubic; with accelerations as well, quintic.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.kernels.law_defects import MARKED
from gripmargin.motion.trajectory import MAX_SAMPLES, JointTrajectory

CONTROLLER_PERIOD = 0.002  # [s]; resolves 8 Hz motion to 0.1 rad of phase


def as_controller_moves(message: JointTrajectory, *, period: float = CONTROLLER_PERIOD) -> JointTrajectory:
    """Sample a trajectory of points as a controller would drive it.

    Within each segment the samples are evenly spaced, at most a period apart. The first and the last of
    them lie just inside the segment: accelerations of a cubic jump at the points, and both sides of the
    jump have to be seen. The points themselves are not samples, but for the first and the last.

    Positions alone are joined by straight lines, whose accelerations at the points have no bound. They
    are returned as they are, marked ``interpolation="linear"``, and it is for the checks to say what can
    be concluded from them.

    Args:
        message: Points with positions, perhaps speeds, perhaps accelerations.
        period: Largest time between samples [s].

    Returns:
        A trajectory with ``q``, ``qd`` and ``qdd`` at all samples; without speeds, the points.

    Raises:
        InputError: The program is too long to be sampled, or the period is not above 0.
    """
    if not (np.isfinite(period) and period > 0):
        raise InputError("period", f"{period}", "a time above 0 [s]")
    if message.qd is None:
        return replace(message, interpolation="linear")
    start, step = message.t[:-1], np.diff(message.t)
    spans = step / period
    if spans.sum() + 2 * spans.size > MAX_SAMPLES:
        raise InputError(
            message.source,
            f"{message.t[-1] - message.t[0]:g} s of program, more than {MAX_SAMPLES} samples {period:g} s apart",
            "a shorter program",
            "split it, or check the times of its points",
        )
    counts = np.maximum(np.ceil(spans - 1e-9).astype(np.int64), 1) + 1
    segment = np.repeat(np.arange(step.size), counts)
    index = np.arange(segment.size) - np.repeat(np.cumsum(counts) - counts, counts)
    inside = np.maximum(np.minimum(1e-6, 0.4 * MARKED / step), 8 * np.spacing(np.abs(message.t).max()) / step)
    if inside.max() > 0.25:
        raise InputError(message.source, "points closer than floating point can part", "points further apart in time")
    low, high = inside.copy(), 1.0 - inside
    low[0], high[-1] = 0.0, 1.0
    share = low[segment] + (high - low)[segment] * (index / (counts[segment] - 1))
    time = start[segment] + share * step[segment]
    if message.qdd is None:
        coefficients = _cubic(message.q, message.qd, step)
    else:
        coefficients = _quintic(message.q, message.qd, message.qdd, step)
    q, qd, qdd = _evaluate(coefficients, segment, share, step)
    return replace(
        message,
        t=time,
        q=q,
        qd=qd,
        qdd=qdd,
        moves=None if message.moves is None else tuple(message.moves[i] for i in segment),
        interpolation="cubic" if message.qdd is None else "quintic",
    )


def quintic_between(
    t: FloatArray, q: FloatArray, qd: FloatArray, qdd: FloatArray, times: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return positions, speeds and accelerations between samples, on polynomials of degree five.

    Args:
        t: Times of the samples [s], shape (n,).
        q: Positions, shape (n, joints).
        qd: Speeds, shape (n, joints).
        qdd: Accelerations, shape (n, joints).
        times: Where to evaluate [s], within the samples, shape (m,).

    Returns:
        Each of shape (m, joints).
    """
    step = np.diff(t)
    segment = np.clip(np.searchsorted(t, times, side="right") - 1, 0, step.size - 1)
    share = np.clip((times - t[segment]) / step[segment], 0.0, 1.0)
    return _evaluate(_quintic(q, qd, qdd, step), segment, share, step)


def _cubic(q: FloatArray, qd: FloatArray, step: FloatArray) -> list[FloatArray]:
    """Coefficients in the share of the segment, lowest power first, each (segments, joints)."""
    h = step[:, None]
    rise, v0, v1 = np.diff(q, axis=0), h * qd[:-1], h * qd[1:]
    return [q[:-1], v0, 3 * rise - 2 * v0 - v1, v0 + v1 - 2 * rise]


def _quintic(q: FloatArray, qd: FloatArray, qdd: FloatArray, step: FloatArray) -> list[FloatArray]:
    """Coefficients in the share of the segment, lowest power first, each (segments, joints)."""
    h = step[:, None]
    v0, v1, a0, a1 = h * qd[:-1], h * qd[1:], h * h * qdd[:-1], h * h * qdd[1:]
    # what the quadratic from the start leaves of position, speed, acceleration at the end
    p = np.diff(q, axis=0) - v0 - a0 / 2
    v = v1 - v0 - a0
    a = a1 - a0
    return [q[:-1], v0, a0 / 2, 10 * p - 4 * v + a / 2, -15 * p + 7 * v - a, 6 * p - 3 * v + a / 2]


def _evaluate(
    coefficients: list[FloatArray], segment: np.ndarray, share: FloatArray, step: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    s, h = share[:, None], step[segment][:, None]
    q = np.zeros((segment.size, coefficients[0].shape[1]))
    qd, qdd = np.zeros_like(q), np.zeros_like(q)
    for c in reversed([c[segment] for c in coefficients]):  # Horner, with both derivatives
        qdd = qdd * s + 2 * qd
        qd = qd * s + q
        q = q * s + c
    return q, qd / h, qdd / (h * h)
