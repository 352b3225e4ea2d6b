"""A program of positions as if it had been sampled more often, to more digits or at even times.

In: positions of joints.
Out: those of a motion fitted to them, at other times, rounded or strayed as these are but for a part of it.
Error: what lies between samples is not known, so there are two fits: splines of degree three, whose acceleration has
kinks at their knots, and of degree two, whose acceleration jumps there. Each has as few knots as leave it within the
noise (Dierckx, Curve and Surface Fitting with Splines, Oxford 1993), and what may be motion is none.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.digits import rounded_to
from gripmargin.kernels.local_fit import even_step
from gripmargin.kernels.sample_noise import ROUNDING_SIGMA, noise_levels
from gripmargin.motion.trajectory import JointTrajectory

DEGREES: Final = (2, 3)  # jumps are harder to bound: first what will refuse sooner


def last_digits(trajectory: JointTrajectory) -> tuple[FloatArray, FloatArray]:
    """Return what the positions of each joint are rounded to, 0 where to nothing, and how far they stray (1 sigma).

    Args:
        trajectory: The program.

    Returns:
        [rad or m], shape (joints,) each.
    """
    q = np.ascontiguousarray(trajectory.q.T)
    digits = rounded_to(q)
    strays = np.median(noise_levels(trajectory.t, q, even_step(trajectory.t))[1], axis=1)
    return digits, np.maximum(strays, ROUNDING_SIGMA * digits)


def sampled_again(
    trajectory: JointTrajectory, degree: int, *, step: float | None = None, part: float = 1.0
) -> JointTrajectory:
    """Return positions of a motion fitted to a program, without rates.

    Args:
        trajectory: The program.
        degree: Of the splines, one of `DEGREES`.
        step: Between the samples [s], even ones from the first on; None: at the times of the program's own.
        part: Of the noise and of the last digit that is left.
    """
    from scipy.interpolate import splev, splrep  # noqa: PLC0415 - 0.15 s that few jobs pay

    t = trajectory.t
    times = t if step is None else t[0] + step * np.arange(int((t[-1] - t[0]) / step * (1.0 + 1e-9)) + 1)
    q, random = np.empty((times.size, trajectory.q.shape[1])), np.random.default_rng(0)
    for j, (digit, strays) in enumerate(zip(*last_digits(trajectory), strict=True)):
        curve, *_ = splrep(t, trajectory.q[:, j], k=degree, s=t.size * float(strays) ** 2, full_output=1, quiet=1)
        noise = np.sqrt(max(strays**2 - (ROUNDING_SIGMA * digit) ** 2, 0.0))
        q[:, j] = splev(times, curve) + part * noise * random.normal(size=times.size)
        if digit > 0.0:
            q[:, j] = np.rint(q[:, j] / (part * digit)) * (part * digit)
    after = np.clip(np.searchsorted(t, times, side="right") - 1, 0, t.size - 1)
    moves = None if trajectory.moves is None else tuple(trajectory.moves[i] for i in after)
    return replace(trajectory, t=times, q=q, qd=None, qdd=None, moves=moves)
