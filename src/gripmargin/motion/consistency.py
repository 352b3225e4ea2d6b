"""Do the joint speeds and accelerations that a file gives follow from its positions and times?

A column in another unit, a column of zeros or rates per sample instead of per second would make loads come
out small. Such a file is refused, and local contradictions leave the stretch undecided.
"""

from __future__ import annotations

import numpy as np

from gripmargin.arrays import FloatArray
from gripmargin.errors import InputError
from gripmargin.motion.trajectory import JointTrajectory

SPEED_TOLERANCE = 0.05  # share by which integrated speeds may miss the travel
ACCELERATION_TOLERANCE = 0.25  # share for accelerations, whose peaks samples resolve less well
LOOSE = 6.0  # robust standard deviations from the rest that make an interval a contradiction
WORTH = 0.1  # share of the largest acceleration that a hidden motion must imply to count


def check_rates(trajectory: JointTrajectory) -> None:
    """Compare given rates with positions over the whole program.

    Args:
        trajectory: With speeds, perhaps accelerations.

    Raises:
        InputError: A column of rates does not follow from the positions; the ratio found is named.
    """
    t, q, qd, qdd = trajectory.t, trajectory.q, trajectory.qd, trajectory.qdd
    if qd is None:
        return
    h = np.diff(t)[:, None]
    travel, from_speeds = np.diff(q, axis=0), h * (qd[:-1] + qd[1:]) / 2
    if qdd is not None:
        from_speeds = from_speeds + h**2 * (qdd[:-1] - qdd[1:]) / 12
    _compare(trajectory, "qd", "speeds", travel, from_speeds, SPEED_TOLERANCE)
    if qdd is not None:
        _compare(
            trajectory,
            "qdd",
            "accelerations",
            np.diff(qd, axis=0),
            h * (qdd[:-1] + qdd[1:]) / 2,
            ACCELERATION_TOLERANCE,
        )


def _compare(
    trajectory: JointTrajectory, column: str, word: str, change: FloatArray, integral: FloatArray, tolerance: float
) -> None:
    for j in range(change.shape[1]):
        moved, said = float((change[:, j] ** 2).sum()), float((integral[:, j] ** 2).sum())
        both = float((change[:, j] * integral[:, j]).sum())
        # Rounding alone gives steps of both signs that add up to next to nothing.
        drift = float(np.abs(np.cumsum(change[:, j])).max())
        if drift < 1e-6 and float(np.abs(np.cumsum(integral[:, j])).max()) < 1e-6:
            continue
        ratio = both / said if said > 0 else 0.0
        agreement = both / np.sqrt(moved * said) if moved > 0 and said > 0 else 0.0
        if abs(ratio - 1) > tolerance and (said == 0 or moved == 0 or agreement > 0.5 or ratio <= 0):
            found = (
                f"{word} that are zero while the joint moves"
                if said == 0
                else f"{word} of a joint that does not move"
                if moved == 0
                else f"{word} that account for the change only after a factor of {ratio:.4g}"
            )
            raise InputError(
                f"{trajectory.source} {column}{j + 1}",
                found,
                "rates that follow from positions and times",
                _hint(ratio),
            )
        if abs(ratio - 1) > tolerance:
            raise InputError(
                f"{trajectory.source} {column}{j + 1}",
                f"{word} that do not follow the positions (correlation {agreement:.2f})",
                "rates that follow from positions and times",
                "leave these columns out: the rates are then estimated",
            )


def _hint(ratio: float) -> str:
    for factor, what in (
        (np.pi / 180, "the rates seem to be in deg where rad is said"),
        (180 / np.pi, "the rates seem to be in rad where deg is said"),
        (1e3, "times or rates seem to be in ms"),
        (1e-3, "times or rates seem to be in ms"),
    ):
        if abs(ratio / factor - 1) < 0.1:
            return f"check units: {what}"
    return "check their units, and whether they are per second; or leave them out: the rates are then estimated"


def contradictions(trajectory: JointTrajectory) -> tuple[tuple[int, int, str], ...]:
    """Return intervals in which a joint travels otherwise than its speeds say, as (first, last, reason).

    A joint that goes out and back between two samples, or jumps, shows in the difference between its travel
    and the integral of its speeds; what stands out from the rounding of the rest is a contradiction.
    """
    t, q, qd, qdd = trajectory.t, trajectory.q, trajectory.qd, trajectory.qdd
    if qd is None or qdd is None:
        return ()
    h = np.diff(t)[:, None]
    off = np.diff(q, axis=0) - h * (qd[:-1] + qd[1:]) / 2 - h**2 * (qdd[:-1] - qdd[1:]) / 12
    usual = 1.4826 * np.median(np.abs(off), axis=0)
    implied = 4.0 * np.abs(off) / h**2
    wrong = (np.abs(off) > LOOSE * usual + 1e-9) & (implied > WORTH * np.abs(qdd).max())
    return tuple(
        (int(i), int(i) + 1, f"the joint positions jump against the speeds between {t[i]:.3f} s and {t[i + 1]:.3f} s")
        for i in np.flatnonzero(wrong.any(axis=1))
    )
