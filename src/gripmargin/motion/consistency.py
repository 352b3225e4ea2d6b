"""Do the joint speeds and accelerations that a file gives follow from its positions and times?

In: a joint trajectory with rates, and for `distrust` what its positions alone come to.
Out: a refusal, doubts, or how well the rates agree.
Error: rounding of the columns, found in them, is no fault.

A column in another unit, a column of zeros or rates per sample instead of per second would make loads come
out small. Such a file is refused, and local contradictions leave the stretch undecided. Speeds that a drive has
filtered lag, and their peaks are cut: they are not used.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import chain
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.base.stored import by_parts, column, differences_of, largest_of, parts, stored
from gripmargin.kernels.digits import grid
from gripmargin.kernels.sample_noise import channel_noise
from gripmargin.motion.rates import Rates
from gripmargin.motion.trajectory import JointTrajectory, given_rates

SPEED_TOLERANCE: Final = 0.02  # share by which speeds, integrated with their accelerations, may miss the travel
BARE_SPEED_TOLERANCE: Final = 0.05  # the same without accelerations: the trapezoidal rule misses more
ACCELERATION_TOLERANCE: Final = 0.25  # share for accelerations, whose peaks samples resolve less well
NO_MOTION: Final = 2e-5  # [rad or m] jump below which positions are not known
HIGHEST: Final = 2.0  # times the largest acceleration given for a joint that one between its samples may have
SCALED: Final = 0.75  # share of the misses that a factor explains where it is a column's unit that is wrong
Column = tuple[str, Sequence[str], str, str]
ENOUGH: Final = 20  # intervals that show how values are rounded, or what their noise is


def check_rates(trajectory: JointTrajectory, columns: Sequence[Sequence[str]] = ()) -> FloatArray:
    """Compare given rates with positions over the whole program.

    Args:
        trajectory: With speeds, perhaps accelerations.
        columns: What the file calls those of each channel; empty: as joints.

    Returns:
        For each joint the share by which its speeds miss its travel, shape (joints,).

    Raises:
        InputError: A column of rates does not follow from the positions; the ratio found is named.
    """
    q, qd, qdd = trajectory.q, trajectory.qd, trajectory.qdd
    if qd is None:
        return np.zeros(q.shape[1])
    h = differences_of(trajectory.t)[:, None]
    travel = by_parts(lambda a, b: b - a, q[:-1], q[1:])
    from_speeds = by_parts(lambda h, a, b: h * (a + b) / 2, h, qd[:-1], qd[1:])
    joints = range(1, q.shape[1] + 1)
    moves = "tool" if columns else "joint"
    columns = columns or [[f"{kind}{j}" for j in joints] for kind in ("qd", "qdd")]
    speeds = trajectory.source, columns[0], "speeds", moves
    hidden = 5e-4  # [rad or m] travel below which rounding hides what a column of rates says
    if qdd is None:
        return _compare_bare(speeds, travel, from_speeds, _doubt(h, qd, 2), hidden)
    exact = by_parts(lambda s, h, a, b: s + h**2 * (a - b) / 12, from_speeds, h, qdd[:-1], qdd[1:])
    missed = _compare(speeds, travel, exact, SPEED_TOLERANCE, hidden, coarse=True, doubt=_doubt(h, qdd, 3))
    del exact, travel, from_speeds
    accelerations = trajectory.source, columns[1], "accelerations", moves
    change = by_parts(lambda a, b: b - a, qd[:-1], qd[1:])
    from_accelerations = by_parts(lambda h, a, b: h * (a + b) / 2, h, qdd[:-1], qdd[1:])
    doubt = _doubt(h, qdd, 2)
    _compare(accelerations, change, from_accelerations, ACCELERATION_TOLERANCE, 2e-3, coarse=True, doubt=doubt)
    return missed


def _doubt(h: FloatArray, rates: FloatArray, order: int) -> FloatArray:
    """What an integral over one interval may miss, where the rates hardly follow the motion.

    The error of the trapezoidal rule goes as the second differences of the rates, with its correction by slopes as the
    third of those (Euler and Maclaurin; from memory). Of a sine that turns by x from sample to sample it is 1/12 and
    1/720 of them for small x, and grows up to 1/(2 pi) and (2 - pi^2/6)/8 at half a turn (closed form).

    Args:
        h: Lengths of the intervals [s], shape (n - 1, 1).
        rates: Shape (n, joints).
        order: Of the differences: 2 of the integral of a rate, 3 of that of its integral.

    Returns:
        Shape (n - 1, joints).
    """
    out = stored((len(rates) - 1, rates.shape[1]))
    if len(rates) <= order:
        return out
    for part in parts(len(out)):
        # differences of as many samples, moved inwards at both ends
        first, last = max(part.start - 1, 0), min(part.stop + 2, len(rates))
        size = np.abs(np.diff(rates[first:last], order, axis=0))
        size = np.pad(size, ((int(part.start == 0), int(part.stop == len(out))), (0, 0)), mode="edge")
        if order == 3:
            out[part] = h[part] ** 2 * (size * ((2.0 - np.pi**2 / 6.0) / 8.0 / np.pi**2))
        else:
            out[part] = h[part] * (np.maximum(size[:-1], size[1:]) / (2.0 * np.pi))
    return out


def _compare_bare(
    column: Column, travel: FloatArray, from_speeds: FloatArray, doubt: FloatArray, hidden: float
) -> FloatArray:
    """Compare speeds alone; noise of recorded ones, and of their stamps, averages out over several intervals."""
    refused: list[InputError] = []
    for together in (1, 4, 16):
        starts = np.arange(0, len(travel) - together + 1, together)
        if refused and starts.size < ENOUGH:
            break
        way, integral = (np.add.reduceat(rows, starts, axis=0) for rows in (travel, from_speeds))
        # noise, which differences show too, averages out: what is missed then is told
        room = doubt if together == 1 else np.zeros_like(way)
        try:
            return _compare(column, way, integral, BARE_SPEED_TOLERANCE, hidden, doubt=room)
        except InputError as found:
            refused.append(found)
    raise refused[0]


def _compare(
    given: Column,
    change: FloatArray,
    integral: FloatArray,
    tolerance: float,
    negligible: float,
    *,
    doubt: FloatArray,
    coarse: bool = False,
) -> FloatArray:
    """Refuse a column whose integral misses the change by more than a share; return the shares missed.

    Samples that are too far apart to show every change miss it here and there: what is refused then is a factor that
    explains most of it. Nor is it refused where they hardly follow the motion, and it falls short by no more than the
    integral itself is in doubt: that of a sine is never too large.

    Args:
        given: Where the column comes from, its name for each channel, and what it holds, and of what.
        change: Of what the column is the rate of, shape (intervals, joints).
        integral: Of the column, its shape.
        tolerance: Largest share.
        negligible: Change below which nothing is said.
        doubt: What the integral of each interval may miss, its shape.
        coarse: Whether accelerations may change between the samples.
    """
    source, names, word, moves = given
    missed = np.zeros(change.shape[1])
    for j in range(change.shape[1]):
        way, sum_ = column(change, j), column(integral, j)
        moved, said, both = float(way @ way), float(sum_ @ sum_), float(way @ sum_)
        # Rounding alone gives steps of both signs that add up to next to nothing.
        if all(_farthest(rows) < negligible for rows in (way, sum_)):
            continue
        ratio = both / said if said > 0 else 0.0
        agreement = both / np.sqrt(moved * said) if moved > 0 and said > 0 else 0.0
        missed[j] = abs(ratio - 1)
        if missed[j] <= tolerance:
            continue
        misses = sum(float(((way[part] - sum_[part]) ** 2).sum()) for part in parts(way.size))
        may = column(doubt, j)
        if ratio > 1.0 and misses <= float(may @ may):
            continue
        if coarse and said > 0 and moved > 0 and moved - both * ratio > (1.0 - SCALED) * misses:
            continue
        found, remedy = f"{word} that account for the change only after a factor of {ratio:.4g}", _hint(ratio)
        if said == 0:
            found = f"{word} that are zero while the {moves} moves"
        elif moved == 0:
            found = f"{word} of a {moves} that does not move"
        elif agreement <= 0.5 and ratio > 0:
            found = f"{word} that do not follow the positions (correlation {agreement:.2f})"
            remedy = "leave these columns out: the rates are then estimated"
        raise InputError(f"{source} {names[j]}", found, "rates that follow from positions and times", remedy)
    return missed


def _farthest(steps: FloatArray) -> float:
    """How far steps lead away from their beginning."""
    most, so_far = 0.0, 0.0
    for part in parts(steps.size):
        way = so_far + np.cumsum(steps[part])
        most, so_far = max(most, float(np.abs(way).max())), float(way[-1])
    return most


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


def distrust(trajectory: JointTrajectory, rates: Rates) -> str | None:
    """Say why given speeds are not used; None where they are, or where there are none.

    Args:
        trajectory: With speeds.
        rates: Estimated from its positions.
    """
    if trajectory.qd is None:
        return None
    t, qd = trajectory.t, trajectory.qd
    off = qd - rates.first
    lag, error = _lag(off, rates, t)
    # A quarter of a step is what differences of samples cannot tell from no lag.
    if abs(lag) > max(0.25 * float(np.median(np.diff(t))), 4.0 * error):
        how = f"lag the positions by {1e3 * lag:.2g} ms" if lag > 0 else f"lead the positions by {-1e3 * lag:.2g} ms"
    else:
        columns = np.ascontiguousarray(qd.T)
        noise = channel_noise(t, columns) + grid(columns) if t.size >= 10 else np.zeros(len(columns))
        allowed = 2.0 * rates.sigma_first + rates.bias_first + 3.0 * noise + 1e-9
        agrees = (np.abs(off) <= allowed).mean(axis=0)
        if agrees.min() >= 0.9:
            return None
        worst = int(np.argmin(agrees))
        how = f"differ from the positions' by up to {np.abs(off[:, worst]).max():.2g} (joint {worst + 1})"
    return f"Joint speeds of the file {how}: they are not used."


def _lag(off: FloatArray, rates: Rates, t: FloatArray) -> tuple[float, float]:
    """The lag of speeds [s] and its standard error, by least squares: late by T they fall short by T times a."""
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


def contradictions(trajectory: JointTrajectory) -> tuple[tuple[int, int, str], ...]:
    """Return intervals in which a joint travels otherwise than its rates say, as (first, last, reason).

    A joint that goes out and back between two samples, or jumps, shows in the first moment of its acceleration
    about the middle of the interval, which positions and speeds give. Accelerations between those of both
    samples, whatever their order, give at most an eighth of their difference, and others, out and back, a quarter of
    themselves; what lies beyond that and beyond rounding is a contradiction.

    Args:
        trajectory: With speeds and accelerations.
    """
    t, q, intervals = trajectory.t, trajectory.q, Intervals.of(trajectory)
    most = largest_of(np.abs, given_rates(trajectory)[1])
    rounded = rounding(by_parts(_smooth, *intervals), by_parts(in_intervals, *intervals.speeds, kind=bool))

    def beyond(*some: FloatArray) -> FloatArray:
        found = Intervals(*some)
        explained = found.h**2 * np.abs(found.qdd_after - found.qdd) / 8
        return np.abs(found.moment) - explained - rounded - NO_MOTION - HIGHEST * most * found.h**2 / 4.0

    jump = by_parts(lambda *some: beyond(*some) > 0.0, *intervals, kind=bool)
    digits = np.array([_last_digit(q[:, j]) if jump[:, j].any() else 0.0 for j in range(q.shape[1])])
    if not jump.any():
        return ()
    return tuple(
        (int(i), int(i) + 1, f"the positions jump against the speeds between {t[i]:.3f} s and {t[i + 1]:.3f} s")
        for i in np.flatnonzero(
            by_parts(lambda *some: (beyond(*some) - digits > 0.0).any(axis=1), *intervals, kind=bool)
        )
    )


class Intervals(NamedTuple):
    """What is given before and after each interval, shape (intervals, joints), and its length, shape (intervals, 1)."""

    h: FloatArray
    q: FloatArray
    q_after: FloatArray
    qd: FloatArray
    qd_after: FloatArray
    qdd: FloatArray
    qdd_after: FloatArray

    @classmethod
    def of(cls, trajectory: JointTrajectory) -> Intervals:
        """Return all intervals of a program with speeds and accelerations."""
        both = ((rows[:-1], rows[1:]) for rows in (trajectory.q, *given_rates(trajectory)))
        return cls(differences_of(trajectory.t)[:, None], *chain.from_iterable(both))

    @property
    def speeds(self) -> tuple[FloatArray, FloatArray]:
        """Speeds before and after."""
        return self.qd, self.qd_after

    @property
    def moment(self) -> FloatArray:
        """First moment of the acceleration about the middle."""
        return self.q_after - self.q - self.h * (self.qd + self.qd_after) / 2


def _smooth(*some: FloatArray) -> FloatArray:
    """What a straight line of acceleration leaves of the moment."""
    found = Intervals(*some)
    return found.moment - found.h**2 * (found.qdd - found.qdd_after) / 12


def in_intervals(before: FloatArray, after: FloatArray) -> NDArray[np.bool_]:
    """Return where joints keep moving, by the speeds before and after each interval, of their shape."""
    return np.asarray((before != 0) & (after != 0))


def _last_digit(values: FloatArray) -> float:
    """Return the step that all values are multiples of, where it is one that files round to; else 0."""
    steps = np.diff(np.unique(values))
    if steps.size == 0:
        return 0.0
    step = float(steps.min())
    counts = steps / step
    coarsest = 2e-4  # [rad or m]: 0.01 deg, 0.1 mm
    return step if step <= coarsest and np.abs(counts - np.round(counts)).max() < 1e-3 else 0.0


def in_motion(qd: FloatArray) -> NDArray[np.bool_]:
    """Return in which intervals each joint keeps moving, by its speeds (n, joints); shape (n - 1, joints)."""
    return in_intervals(qd[:-1], qd[1:])


def rounding(residual: FloatArray, moving: NDArray[np.bool_], *, share: float = 0.5) -> FloatArray:
    """Return how large a residual can be for the rounding of the values it is made of, shape (joints,).

    Rounding makes residuals that change sign from one interval to the next, motion makes smooth ones or few:
    the median third difference shows the first alone. One and a half times it is six standard deviations of rounded
    values.

    Args:
        residual: Over the intervals, shape (n, joints).
        moving: In which intervals the joint moves, shape (n, joints); the others show no rounding.
        share: Of the third differences that are taken for rounding, smallest first.
    """
    out = np.zeros(residual.shape[1])
    for j in range(residual.shape[1]):
        counted = np.abs(np.diff(column(residual, j), 3))[column(moving, j)[3:]]
        if counted.size >= ENOUGH:
            out[j] = 1.5 * float(np.quantile(counted, share))
    return out
