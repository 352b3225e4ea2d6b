"""What lies between samples whose rates the program gives: samples put in where the acceleration changes.

In: a trajectory with speeds and accelerations.
Out: the same with samples between which every acceleration is all but straight, and what it may exceed that by.
Error: where nothing confirms the law, the largest jerk of the channel bounds it (`gripmargin.kernels.time_law`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray, first_wrong, owned
from gripmargin.base.stored import column, differences_of, largest_of, numbered, stored
from gripmargin.kernels.cubics import turning, value
from gripmargin.kernels.digits import grid
from gripmargin.kernels.law_defects import MARKED, Samples
from gripmargin.kernels.time_law import Law, Laws, evaluated
from gripmargin.motion.consistency import in_motion, rounding
from gripmargin.motion.trajectory import RESOLVED, Filling, JointTrajectory, Trajectory, given_rates
from gripmargin.motion.turns import as_channels, turned

FINE: Final = 0.005  # [s] between samples where those given are too far apart to follow the arm's turning
SIDE: Final = 5e-9  # [s] from a step to the samples that mark it
ENOUGH: Final = 20  # values that show how a column is rounded, or what its noise is
COUNTS: Final = 1e-4  # share of a joint's largest acceleration that is neither put in nor counted as missed
JUMP: Final = 1e-3  # share of a joint's largest acceleration that counts as a step
FINEST: Final = 12  # decimals of a column that are looked for; floats about 1 have three or four more

Indices = NDArray[np.intp]


def filled(trajectory: Trajectory) -> Trajectory:
    """Put samples in where accelerations change between those given: at kinks and turning points one, at steps two.

    Args:
        trajectory: With speeds and accelerations; without them, or filled already, it is returned as it is.
    """
    if trajectory.rates[1] is None or trajectory.filling is not None:
        return trajectory
    given, laws = _laws_of(trajectory)
    interval, share, missed = _instants(given, laws)
    t = given.t
    if interval.size == 0:
        return replace(trajectory, filling=Filling(given=numbered(t.size), missed=missed))
    q, qd, qdd, inside = _at(given, laws, interval, share)
    times = np.concatenate([t, t[interval] + share * np.diff(t)[interval]])
    order = np.argsort(times, kind="stable")
    if missed is not None or inside.any():
        missed = np.concatenate([np.zeros_like(given.q) if missed is None else missed, inside])[order]
    if isinstance(trajectory, JointTrajectory):
        columns: dict[str, Any] = {"q": q, "qd": qd, "qdd": qdd}
    else:
        since, turn, change = share * np.diff(t)[interval], q - given.q[interval], qd - given.qd[interval]
        rotation = turned(trajectory.rotation[interval], since, turn[:, 3:], change[:, 3:])
        columns = {"position": q[:, :3], "rotation": rotation, "velocity": qd, "acceleration": qdd}
    owner = np.concatenate([np.arange(t.size), interval])[order]
    columns = {name: np.concatenate([getattr(trajectory, name), rows])[order] for name, rows in columns.items()}
    return replace(
        trajectory,
        t=times[order],
        **columns,
        moves=None if trajectory.moves is None else tuple(trajectory.moves[i] for i in owner),
        filling=Filling(given=np.flatnonzero(order < t.size), missed=missed),
    )


def missed_by_samples(trajectory: Trajectory) -> FloatArray:
    """Return by how much accelerations may exceed the straight lines through the samples next to each.

    Args:
        trajectory: With speeds and accelerations.

    Returns:
        Shape (n, joints), of poses (n, 6).
    """
    if trajectory.filling is not None:
        missed = trajectory.filling.missed
        return owned(np.broadcast_to(0.0, given_rates(trajectory)[0].shape)) if missed is None else missed
    given, law = law_of(trajectory)
    x = np.linspace(0.0, 1.0, 9)[:, None, None]
    within = (x > law.breaks[:, None]).sum(axis=0)
    curves = [c[0] + x * (c[1] + x * (c[2] + x * c[3])) for c in law.pieces]
    line = given.qdd[:-1] + x * np.diff(given.qdd, axis=0)
    bent = np.abs(np.choose(within, curves) - line).max(axis=0)
    return _at_ends(bent + law.beyond(slice(None), rows) for rows in (given.qdd[:-1], given.qdd[1:]))


def _at_ends(beyond: Iterable[FloatArray]) -> FloatArray:
    """The larger of what intervals say of their first and last samples, shape (n, channels)."""
    first, last = beyond
    return np.maximum(np.pad(first, ((0, 1), (0, 0))), np.pad(last, ((1, 0), (0, 0))))


def law_of(trajectory: Trajectory) -> tuple[Samples, Law]:
    """Return what a program gives at its own samples, and the law between them; of poses six channels in world axes.

    Args:
        trajectory: With speeds and accelerations.
    """
    given, laws = _laws_of(trajectory)
    return given, laws.over(slice(0, given.t.size - 1))


def _laws_of(trajectory: Trajectory) -> tuple[Samples, Laws]:
    own, _ = trajectory.own
    channels = own if isinstance(own, JointTrajectory) else as_channels(own)
    t, q, (qd, qdd) = channels.t, channels.q, given_rates(channels)
    digits = np.stack([_half_digit(column) for column in (q, qd, qdd)])
    if channels is not own:  # a sum of turns shows no digits of the orientations
        h = np.diff(t)[:, None]
        misses = np.diff(q, axis=0) - h * (qd[1:] + qd[:-1]) / 2.0 + h**2 * np.diff(qdd, axis=0) / 12.0
        digits[0, 3:] = rounding(misses, in_motion(qd))[3:] / 2.0
    given = Samples(t, q, qd, qdd, digits, _late(t))
    return given, Laws(given, polynomial=channels.interpolation in ("cubic", "quintic"))


def _half_digit(columns: FloatArray) -> FloatArray:
    """Half of the step that all values of a column are multiples of, shape (joints,); 0 where there is none.

    A joint that hardly moves shows too few values: it is written as the others are.
    """
    steps = [_step(column(columns, k)) for k in range(columns.shape[1])]
    most = max(steps)
    like = [step or (most if most and _whole(columns[:, k], most) else 0.0) for k, step in enumerate(steps)]
    return np.array(like) / 2.0


def _step(values: FloatArray) -> float:
    """The step that values are rounded to: a decimal of unit or degree, of an encoder, of single floats; 0: none."""
    most = float(largest_of(np.abs, values))
    if np.unique(values[:: max(1, values.size // 1000)]).size <= ENOUGH:
        return 0.0
    for step in (unit * 10.0**-k for k in range(1, FINEST + 1) for unit in (1.0, np.pi / 180.0)):
        if _whole(values, step):
            return step
    encoder = float(grid(values[None])[0])
    if encoder > 0.0:
        return encoder
    single = first_wrong(values, lambda some: some != some.astype(np.float32)) is None
    return most * 2.0**-24 if single else 0.0


def _whole(values: FloatArray, step: float) -> bool:
    """Whether values are whole multiples of a step."""

    def astray(some: FloatArray) -> NDArray[np.bool_]:
        counts = some / step
        return np.asarray(~(np.abs(counts - np.rint(counts)) < 1e-3))

    return not astray(values[:ENOUGH]).any() and first_wrong(values, astray) is None


def _late(t: FloatArray) -> float:
    """By how much a stamp may be rounded [s]: half of a decimal that steps of even samples differ by; else 0."""
    step = differences_of(t)
    middle = np.median(step)
    off = float(largest_of(lambda some: np.abs(some - middle), step))
    for unit in (1e-3, 1e-4, 1e-5, 1e-6, 1e-7, 1e-8, 1e-9):
        if _whole(t, unit):
            return unit / 2.0 if 0.01 * unit < off < 1.01 * unit else 0.0
    return 0.0


def _instants(given: Samples, laws: Laws) -> tuple[Indices, FloatArray, FloatArray | None]:
    """Where to put samples in: intervals, and shares of them; and what those given miss, None: nothing."""
    most, missed = largest_of(np.abs, given.qdd), None
    single: list[FloatArray] = []
    steps: list[FloatArray] = []
    for part in laws.parts():
        law, some = laws.over(part), given.over(part)
        for found, new in zip((single, steps), _changes(some, law, most), strict=True):
            found.append(new)
        beyond = [_counted(law.beyond(slice(None), rows), most) for rows in (some.qdd[:-1], some.qdd[1:])]
        if any(rows.any() for rows in beyond):
            missed = stored(given.qdd.shape) if missed is None else missed
            here = missed[part.start : part.stop + 1]
            np.maximum(here, _at_ends(beyond), out=here)
    return *_merged(given.t, np.concatenate(single), np.concatenate(steps)), missed


def _counted(missed: FloatArray, most: FloatArray) -> FloatArray:
    return np.where(missed > COUNTS * most, missed, 0.0)


def _at(
    given: Samples, laws: Laws, interval: Indices, share: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Positions, speeds, accelerations and what these miss at shares of intervals, shape (m, channels) each."""
    out, most = np.empty((4, interval.size, given.q.shape[1])), largest_of(np.abs, given.qdd)
    for part in laws.parts():
        here = np.flatnonzero((interval >= part.start) & (interval < part.stop))
        if here.size:
            law, some, at = laws.over(part), given.over(part), interval[here] - part.start
            out[:3, here] = evaluated(some, law, at, share[here])
            # what bounds a loose law bounds it above the straight line
            straight = some.qdd[at] + share[here, None] * np.diff(some.qdd, axis=0)[at]
            above = np.where(law.loose[at], np.abs(out[2, here] - straight), 0.0)
            out[3, here] = _counted(np.maximum(law.beyond(at, out[2, here]) - above, 0.0), most)
    q, qd, qdd, missed = out
    return q, qd, qdd, missed


def _changes(given: Samples, law: Law, most: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Where the acceleration turns or has a kink, or where samples are too far apart [s]; and where it steps."""
    t, qd, qdd = given.t, given.qd, given.qdd
    h = np.diff(t)
    moving = np.any((qd[:-1] != 0.0) | (qd[1:] != 0.0) | (law.pieces != 0.0).any(axis=(0, 1)), axis=1)
    parts = np.where(moving & (h > RESOLVED), np.ceil(h / FINE - 1e-6), 1).astype(np.intp)
    wide = np.repeat(np.arange(h.size), parts - 1)
    index = np.arange(wide.size) - np.repeat(np.cumsum(parts - 1) - (parts - 1), parts - 1)
    single = [t[wide] + (index + 1) / parts[wide] * h[wide]]
    steps = []
    edges = np.concatenate([np.zeros((1, *law.slack.shape)), law.breaks, np.ones((1, *law.slack.shape))])
    for k, piece in enumerate(law.pieces):
        low, high = edges[k], edges[k + 1]
        for x in turning(piece):
            rise = np.minimum(*(np.abs(value(piece, x) - value(piece, end)) for end in (low, high)))
            i, j = np.nonzero((x > low) & (x < high) & (rise > COUNTS * most))
            single.append(t[i] + x[i, j] * h[i])
        # what follows a piece: the next one, or the sample
        last = (high > low) & (high == 1.0)
        after = np.where(last, qdd[1:], value(law.pieces[min(k + 1, 2)], high))
        jumps = (high > low) & (np.abs(value(piece, high) - after) > JUMP * most)
        begins = (high > low) & (low == 0.0) & (np.abs(value(piece, low) - qdd[:-1]) > JUMP * most)
        for place, (i, j) in ((high, np.nonzero(jumps)), (low, np.nonzero(begins))):
            steps.append(t[i] + place[i, j] * h[i])
        i, j = np.nonzero((high > low) & (high < 1.0) & ~jumps)
        single.append(t[i] + high[i, j] * h[i])
    return np.concatenate(single), np.concatenate(steps)


def _merged(t: FloatArray, single: FloatArray, steps: FloatArray) -> tuple[Indices, FloatArray]:
    """Instants by interval and share: both sides of every step, and single ones that nothing else is close to."""
    side = max(SIDE, 4.0 * float(np.spacing(np.abs(t).max())))
    steps = np.sort(steps)
    apart = np.diff(steps, prepend=-np.inf) > MARKED / 2.0
    first, last = steps[apart] - side, steps[np.append(apart[1:], True)[: steps.size]] + side
    sides = np.concatenate([first, last])
    near = np.clip(np.searchsorted(t, sides, side="right") - 1, 0, t.size - 2)
    inside = (sides > t[near] + side / 2.0) & (sides < t[near + 1] - side / 2.0)
    sides, near = sides[inside], near[inside]
    taken = np.sort(np.concatenate([t, sides]))
    single = np.unique(single)
    single = single[np.diff(single, prepend=-np.inf) > MARKED]
    after = np.searchsorted(taken, single)
    room = np.minimum(single - taken[np.maximum(after - 1, 0)], taken[np.minimum(after, taken.size - 1)] - single)
    single = single[(room > MARKED) & (after > 0) & (after < taken.size)]
    interval = np.concatenate([near, np.searchsorted(t, single, side="right") - 1]).astype(np.intp)
    times = np.concatenate([sides, single])
    return interval, (times - t[interval]) / np.diff(t)[interval]
