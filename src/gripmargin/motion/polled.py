"""A log whose rows were read from a controller at a rate that is not its own, as samples of that controller.

In: a trajectory without accelerations.
Out: the rows that do not repeat, at the times at which the controller renewed its values where these are evident, else
at those of the reads; what is known of these times is kept with the trajectory.
Error: the controller's period may be off by a part, which accelerations follow twice; else each row may be late by a
period.

Rows repeat in all columns while the robot moves on by steps well above the last digit; or values are missed, and
samples that jump over the times of the reads are smooth over those of a controller (`gripmargin.kernels.polling`).
A program that is sent row by row, repeats included, looks the same: the report says what was taken, and
`stamps = "as given"` turns it off.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import turned
from gripmargin.kernels.polling import jerky, renewals, repeated, slips
from gripmargin.motion.rates import Rates
from gripmargin.motion.stamps import Stamps, sample_times
from gripmargin.motion.trajectory import JointTrajectory, Timing, Trajectory

SURELY: Final = 4  # rows that repeat by chance nowhere: two tell a beat, each further one agrees with it

Flags = NDArray[np.bool_]


def unpolled(trajectory: Trajectory, stamps: Stamps | None = None) -> Trajectory:
    """Return the samples of the controller that a trajectory was read from.

    Args:
        trajectory: Any; one that gives accelerations or was no log of a poller is returned as it is.
        stamps: How the job says that its stamps are meant: as given, or a periodic sampler's, they are no poller's.
    """
    linear = isinstance(trajectory, JointTrajectory) and trajectory.interpolation != "samples"
    if stamps is not None or linear or trajectory.rates[1] is not None or trajectory.timing is not None:
        return trajectory
    t, (y, step) = trajectory.t, _columns(trajectory)
    repeats = repeated(t, y, step)
    found = renewals(t, y, repeats, step)
    read = 1.0 / float(np.median(np.diff(t)))
    if found is not None and not repeats.any() and not slips(sample_times(t, y.T).t, y, step):
        return trajectory  # a sampler of its own, whose stamps scatter and which lost some
    if found is not None and (found.events >= SURELY or not repeats.any()):  # points of moves may be written twice
        fresh = np.concatenate([[True], np.diff(found.number) > 0])
        number = found.number[fresh]
        missed = int((np.diff(number) - 1).sum())
        note = (
            f"Polled log: read {read:.4g} times a second from a controller that renews its values "
            f"{1.0 / found.period:.4g} times a second ({100 * found.error:.1g} %); {_shares(fresh, missed)}. Rows that "
            "repeat are left out, and the times are the controller's, by counting."
        )
        times = t[0] + found.period * (number - number[0])
        return _kept(trajectory, fresh, times, Timing(stretched=found.error), note)
    if (repeats[1:] & ~repeats[:-1]).sum() < SURELY:
        return trajectory
    fresh, late = ~repeats, 0.0
    told = "late by the same time"
    if jerky(t[fresh], y[:, fresh], step):
        late = float(np.median(np.diff(t[fresh])))
        told = f"up to {1e3 * late:.3g} ms late, for no even period of the controller is evident"
    else:
        fresh = _on_the_beat(t, y, repeats)
    note = f"Polled log: read {read:.4g} times a second; {_shares(fresh, 0)}. They are left out, the others are {told}."
    return _kept(trajectory, fresh, t[fresh], Timing(late=late), note)


def _on_the_beat(t: FloatArray, y: FloatArray, repeats: Flags) -> Flags:
    """Rows to keep where every so many repeat in motion: as many of those at rest, at the same beat."""
    fresh = np.flatnonzero(~repeats)
    period = float(np.median(np.diff(t[fresh])[np.diff(fresh) > 1]))
    number = np.floor((t - t[int(np.argmax(repeats)) - 1]) / period + 0.25)
    kept = np.concatenate([[False], np.diff(number) > 0])
    kept[0] = t[int(np.argmax(kept))] - t[0] > 0.75 * period
    same = np.concatenate([[True], ~np.diff(y, axis=1).any(axis=0)])
    return kept if same[~kept].all() and not repeats[kept].any() else ~repeats


def _columns(trajectory: Trajectory) -> tuple[FloatArray, FloatArray]:
    """Samples, shape (channels, n), and the step of each by rounding, where they cannot show it, shape (channels,)."""
    if isinstance(trajectory, JointTrajectory):
        y = turned(trajectory.q)
        return y, np.zeros(len(y))
    error = trajectory.turn_error  # a turn moves the end of an axis if it is about another one
    places = np.vstack([trajectory.position.T, trajectory.rotation.reshape(trajectory.samples, 9).T])
    return places, np.concatenate([np.zeros(3), np.tile(2.0 * (error.sum() - error), 3)])


def _kept(trajectory: Trajectory, fresh: Flags, times: FloatArray, timing: Timing, note: str) -> Trajectory:
    kept = trajectory.taken(fresh, t=times)
    return replace(kept, timing=timing, notes=(*trajectory.notes, note))


def _shares(fresh: Flags, missed: int) -> str:
    repeats = int((~fresh).sum())
    share = 100.0 * repeats / fresh.size
    more = f", {missed} values were missed" if missed else ""
    return f"{repeats} of {fresh.size} rows ({share:.2g} %) repeat the one before{more}"


def as_timed(rates: Rates, timing: Timing | None) -> Rates:
    """Return rates whose bias covers that the period of a polled log's controller may be off.

    Times that are too long by a part make speeds too low by it and accelerations by twice as much.

    Args:
        rates: Estimated over these times.
        timing: What is known of them.
    """
    if timing is None or not timing.stretched > 0.0:
        return rates
    first, second = (rates.bias_first + timing.stretched * np.abs(rates.first), rates.bias_second)
    if len(rates.second):
        second = second + 2.0 * timing.stretched * np.abs(rates.second)
    return replace(rates, bias_first=first, bias_second=second)
