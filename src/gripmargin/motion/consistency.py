"""Do the joint speeds and accelerations that a file gives follow from its positions and times?

A column in another unit, a column of zeros or rates per sample instead of per second would make loads come
out small. Such a file is refused, and local contradictions leave the stretch undecided.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.motion.trajectory import JointTrajectory

SPEED_TOLERANCE = 0.02  # share by which speeds, integrated with their accelerations, may miss the travel
BARE_SPEED_TOLERANCE = 0.05  # the same without accelerations: the trapezoidal rule misses more
ACCELERATION_TOLERANCE = 0.25  # share for accelerations, whose peaks samples resolve less well
NO_TRAVEL = 5e-4  # [rad or m] travel below which rounding hides what a column of rates says
NO_SPEED = 2e-3  # [rad/s or m/s] the same for speeds
COARSEST_DIGIT = 2e-4  # [rad or m] largest step that positions are rounded to: 0.01 deg, 0.1 mm
NO_MOTION = 2e-5  # [rad or m] jump below which positions are not known
ROUNDING = 1.5  # times the median third difference: six standard deviations of rounded values
ENOUGH = 20  # intervals in motion that show how values are rounded
TOGETHER = (4, 16)  # intervals over which noise of speeds is averaged out
WORTH = 0.02  # share of a joint's largest acceleration that a hidden motion must imply to count


def check_rates(trajectory: JointTrajectory) -> FloatArray:
    """Compare given rates with positions over the whole program.

    Args:
        trajectory: With speeds, perhaps accelerations.

    Returns:
        For each joint the share by which its speeds miss its travel, shape (joints,).

    Raises:
        InputError: A column of rates does not follow from the positions; the ratio found is named.
    """
    t, q, qd, qdd = trajectory.t, trajectory.q, trajectory.qd, trajectory.qdd
    if qd is None:
        return np.zeros(q.shape[1])
    h = np.diff(t)[:, None]
    travel, from_speeds = np.diff(q, axis=0), h * (qd[:-1] + qd[1:]) / 2
    if qdd is not None:
        from_speeds = from_speeds + h**2 * (qdd[:-1] - qdd[1:]) / 12
    if qdd is None:
        missed = _compare_bare(trajectory, travel, from_speeds)
    else:
        missed = _compare(trajectory, "qd", "speeds", travel, from_speeds, SPEED_TOLERANCE, NO_TRAVEL)
        _compare(
            trajectory,
            "qdd",
            "accelerations",
            np.diff(qd, axis=0),
            h * (qdd[:-1] + qdd[1:]) / 2,
            ACCELERATION_TOLERANCE,
            NO_SPEED,
        )
    return missed


def _compare_bare(trajectory: JointTrajectory, travel: FloatArray, from_speeds: FloatArray) -> FloatArray:
    """Compare speeds alone; noise of recorded ones, and of their stamps, averages out over several intervals."""
    try:
        return _compare(trajectory, "qd", "speeds", travel, from_speeds, BARE_SPEED_TOLERANCE, NO_TRAVEL)
    except InputError:
        for together in TOGETHER:
            starts = np.arange(0, len(travel) - together + 1, together)
            if starts.size < ENOUGH:
                break
            way, integral = (np.add.reduceat(rows, starts, axis=0) for rows in (travel, from_speeds))
            try:
                return _compare(trajectory, "qd", "speeds", way, integral, BARE_SPEED_TOLERANCE, NO_TRAVEL)
            except InputError:
                continue
        raise


def _compare(
    trajectory: JointTrajectory,
    column: str,
    word: str,
    change: FloatArray,
    integral: FloatArray,
    tolerance: float,
    negligible: float,
) -> FloatArray:
    """Refuse columns whose integral misses the change by more than the tolerance; return the shares missed."""
    missed = np.zeros(change.shape[1])
    for j in range(change.shape[1]):
        moved, said = float((change[:, j] ** 2).sum()), float((integral[:, j] ** 2).sum())
        both = float((change[:, j] * integral[:, j]).sum())
        # Rounding alone gives steps of both signs that add up to next to nothing.
        drift = float(np.abs(np.cumsum(change[:, j])).max())
        if drift < negligible and float(np.abs(np.cumsum(integral[:, j])).max()) < negligible:
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
        missed[j] = abs(ratio - 1)
    return missed


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
    """Return intervals in which a joint travels otherwise than its rates say, as (first, last, reason).

    A joint that goes out and back between two samples, or jumps, shows in the first moment of its acceleration
    about the middle of the interval, which positions and speeds give. Accelerations between those of both
    samples, whatever their order, give at most an eighth of their difference; what lies beyond that and beyond
    rounding is a contradiction.
    """
    t, q, (qd, qdd) = trajectory.t, trajectory.q, trajectory.rates
    h = np.diff(t)[:, None]
    moment = np.diff(q, axis=0) - h * (qd[:-1] + qd[1:]) / 2
    explained = h**2 * np.abs(np.diff(qdd, axis=0)) / 8
    smooth = moment - h**2 * (qdd[:-1] - qdd[1:]) / 12
    beyond = np.abs(moment) - explained - rounding(smooth, in_motion(qd)) - NO_MOTION
    # A swing to both sides by an acceleration a has the moment a h^2 / 4.
    worth = WORTH * np.abs(qdd).max(axis=0) * h**2 / 4.0
    for joint in np.flatnonzero((beyond > worth).any(axis=0)):
        beyond[:, joint] -= _last_digit(q[:, joint])
    return tuple(
        (int(i), int(i) + 1, f"the joint positions jump against the speeds between {t[i]:.3f} s and {t[i + 1]:.3f} s")
        for i in np.flatnonzero((beyond > worth).any(axis=1))
    )


def _last_digit(values: FloatArray) -> float:
    """Return the step that all values are multiples of, where it is one that files round to; else 0."""
    steps = np.diff(np.unique(values))
    if steps.size == 0:
        return 0.0
    step = float(steps.min())
    counts = steps / step
    return step if step <= COARSEST_DIGIT and np.abs(counts - np.round(counts)).max() < 1e-3 else 0.0


def in_motion(qd: FloatArray) -> NDArray[np.bool_]:
    """Return in which intervals each joint keeps moving, by its speeds (n, joints); shape (n - 1, joints)."""
    return np.asarray((qd[:-1] != 0) & (qd[1:] != 0))


def rounding(residual: FloatArray, moving: NDArray[np.bool_], *, share: float = 0.5) -> FloatArray:
    """Return how large a residual can be for the rounding of the values it is made of, shape (joints,).

    Rounding makes residuals that change sign from one interval to the next, motion makes smooth ones or few:
    the median third difference shows the first alone.

    Args:
        residual: Over the intervals, shape (n, joints).
        moving: In which intervals the joint moves, shape (n, joints); the others show no rounding.
        share: Of the third differences that are taken for rounding, smallest first.
    """
    out = np.zeros(residual.shape[1])
    third = np.abs(np.diff(residual, 3, axis=0))
    for j, column in enumerate(third.T):
        counted = column[moving[3:, j]]
        if counted.size >= ENOUGH:
            out[j] = ROUNDING * float(np.quantile(counted, share))
    return out
