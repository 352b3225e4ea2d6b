"""May joint speeds that come with positions be used? Those that a drive has filtered lag, and their peaks are cut."""

from __future__ import annotations

from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.local_fit import even_step
from gripmargin.kernels.sample_noise import grid, noise_levels
from gripmargin.motion.rates import Rates
from gripmargin.motion.trajectory import JointTrajectory

LATE: Final = 0.25  # of a step: what differences of samples cannot tell from no lag
SURE: Final = 4.0  # standard errors by which a lag has to stand out
AGREES: Final = 0.9  # share of samples in which speeds have to agree with positions
ROUNDED: Final = 1.0  # steps that the speeds are rounded to


def distrust(trajectory: JointTrajectory, rates: Rates) -> str | None:
    """Say why given speeds are not used; None where they are, or where there are none.

    A lag is found by least squares: speeds late by T fall short by T times the acceleration.

    Args:
        trajectory: With speeds.
        rates: Estimated from its positions.
    """
    if trajectory.qd is None:
        return None
    t, qd = trajectory.t, trajectory.qd
    off = qd - rates.first
    noise = _noise(t, qd)
    step = float(np.median(np.diff(t)))
    lag, error = _lag(off, rates, t)
    if abs(lag) > max(LATE * step, SURE * error):
        how = f"lag the positions by {1e3 * lag:.2g} ms" if lag > 0 else f"lead the positions by {-1e3 * lag:.2g} ms"
    else:
        allowed = 2.0 * rates.sigma_first + rates.bias_first + 3.0 * noise + 1e-9
        agrees = (np.abs(off) <= allowed).mean(axis=0)
        if agrees.min() >= AGREES:
            return None
        worst = int(np.argmin(agrees))
        how = f"differ from the positions' by up to {np.abs(off[:, worst]).max():.2g} (joint {worst + 1})"
    return f"Joint speeds of the file {how}: they are not used."


def _noise(t: FloatArray, qd: FloatArray) -> FloatArray:
    """Noise of the speeds, and the step they are rounded to, shape (joints,)."""
    if t.size < 10:
        return np.zeros(qd.shape[1])
    columns = np.ascontiguousarray(qd.T)
    level, _ = noise_levels(t, columns, even_step(t))
    return np.asarray(np.sqrt(np.mean(level**2, axis=-1)) + ROUNDED * grid(columns))


def _lag(off: FloatArray, rates: Rates, t: FloatArray) -> tuple[float, float]:
    """The lag of speeds [s] and its standard error."""
    a = rates.second
    known = np.abs(a) > 2.0 * rates.sigma_second + rates.bias_second  # elsewhere an acceleration is noise
    square = float((np.where(known, a, 0.0) ** 2).sum())
    if not square > 0.0:
        return 0.0, np.inf
    lag = -float((np.where(known, a, 0.0) * off).sum()) / square
    left = np.where(known, off + lag * a, 0.0)
    # errors of estimated rates are alike over a window
    alike = float(np.median(rates.window)) / float(np.median(np.diff(t)))
    return lag, float(np.sqrt(np.mean(left[known] ** 2) * max(alike, 1.0) / square))
