"""Angular speeds and accelerations from orientations, with the error of each as part of the answer.

In: times, orientations, and how far these may be off by their digits.
Out: `Rates` in body axes, of the integral of the angular velocity (`gripmargin.motion.rates`).
Error: as there; digits of angles or of a quaternion are a hard bound of what each axis may be off.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from gripmargin.base.arrays import FloatArray, frozen
from gripmargin.base.errors import InputError
from gripmargin.kernels.adaptive_fit import FEWEST
from gripmargin.kernels.digits import value_error
from gripmargin.motion.rates import Rates, estimate_rates
from gripmargin.motion.turn_error import sine_of_turn

LARGEST_TURN: Final = np.pi / 2  # between two samples; twice that and the sense of rotation is lost
HALF_WINDOW: Final = 64  # samples on either side that the widest window of polynomial pieces has


def estimate_rotation_rates(
    t: ArrayLike,
    rotation: ArrayLike,
    *,
    scatter: float = 0.0,
    late: float = 0.0,
    bursts: bool = True,
    error: FloatArray | None = None,
) -> Rates:
    """Estimate angular velocity and acceleration of orientations, both in body axes.

    What is differentiated is the integral of the angular velocity in body axes, summed from the rotation vectors
    between neighbouring samples with the fourth-order term of Magnus (Iserles & Norsett, Phil. Trans. R. Soc. A
    357, 1999): its derivatives are exactly the two wanted, at any orientation and speed.

    Args:
        t: Times [s], increasing, shape (n,), n >= 5.
        rotation: Body axes as columns, shape (n, 3, 3).
        scatter: By which the times may be off [s], one standard deviation.
        late: By which each sample may be older than its time says [s].
        bursts: Whether quick turns that samples cannot follow are looked for.
        error: Bound of the error of the orientations about each body axis [rad], shape (3,); None: not known, and then
            nothing is taken for rounding.

    Returns:
        First: angular velocity [rad/s]; second: angular acceleration [rad/s^2].

    Raises:
        InputError: As `estimate_rates`, or a turn of 90 degrees or more between two samples.
    """
    times = frozen(t, (None,), "t")
    matrices = frozen(rotation, (times.size, 3, 3), "rotation")
    if times.size < FEWEST:
        return estimate_rates(times, matrices[:, 0])  # says that there are too few
    sine = sine_of_turn(matrices[:-1], matrices[1:])
    length = np.linalg.norm(sine, axis=-1)
    trace = np.einsum("nji,nji->n", matrices[:-1], matrices[1:])
    turn = np.arctan2(length, 0.5 * (trace - 1.0))
    if turn.max() >= LARGEST_TURN:
        i = int(np.argmax(turn))
        raise InputError(
            f"orientation of sample {i + 1}",
            f"a turn of {np.degrees(turn[i]):.0f} degrees since the sample before",
            "less than 90 degrees",
            "sample the program more densely, or repair the orientation",
        )
    vector = sine * np.where(length > 0, turn / np.where(length > 0, length, 1.0), 1.0)[:, None]
    h = np.diff(times)[:, None]
    speed = vector / h
    middle = (times[1:] + times[:-1]) / 2
    slope = np.diff(speed, axis=0) / np.diff(middle)[:, None]
    gap = np.diff(middle)[:, None]
    inner = (gap[1:] * slope[:-1] + gap[:-1] * slope[1:]) / (gap[1:] + gap[:-1])
    rise = np.concatenate([slope[:1], inner, slope[-1:]])
    integral = np.cumsum(vector - h**3 / 12.0 * np.cross(speed, rise), axis=0)
    turns = np.vstack([np.zeros(3), integral])
    digits = error is not None and bool(error.any())
    known = None
    if error is not None and digits:
        known = np.maximum(integral_error(vector, error), value_error(np.ascontiguousarray(turns.T)))
    return estimate_rates(
        times, turns, scatter=scatter, late=late, bursts=bursts, pieces=digits, error=known, jitter=0.0
    )


def integral_error(vector: FloatArray, error: FloatArray) -> FloatArray:
    """Bound of the error of the integral of the angular velocity about the middle of a window, shape (3,).

    An error e of an orientation is in its own place of the integral, and each turn v on the way adds v x e: by the
    formula of Baker, Campbell and Hausdorff (from memory), half of it from the error on either side.

    Args:
        vector: Turns from sample to sample [rad], shape (n - 1, 3).
        error: Of the orientations about each axis [rad], shape (3,).
    """
    way = np.abs(vector)
    drift = np.stack([way[:, k - 2] * error[k - 1] + way[:, k - 1] * error[k - 2] for k in range(3)], axis=-1)
    total = np.vstack([np.zeros(3), np.cumsum(drift, axis=0)])
    reach = min(HALF_WINDOW, len(vector))
    return np.asarray(error + (total[reach:] - total[: len(total) - reach]).max(axis=0))
