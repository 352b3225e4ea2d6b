"""Waits that a program was exported without: samples of rest put in where some are missing between equal ones.

In: a program of positions at even steps.
Out: the same with samples in its waits.
Error: none of a controller that interpolates between neighbours; a spline through all positions has 1/26 of the slope
    there that it has when the rest begins (recursion of its slopes; de Boor, A Practical Guide to Splines, ch. 4, from
    memory). A recording is left as it is: what a robot did while nobody looked is not known.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

import numpy as np

from gripmargin.base.stored import differences_of
from gripmargin.motion.holes import holes_in
from gripmargin.motion.trajectory import MAX_SAMPLES, RESOLVED, Filling, JointTrajectory, Trajectory

RESTING: Final = 3  # steps without motion on either side that show a rest
EVEN: Final = 1e-3  # share by which steps of a program differ, 1 us of 1 ms; stamps of a logger scatter by more


def waited(trajectory: Trajectory) -> Trajectory:
    """Put samples in where a program of positions rests on both sides of a hole, at the same place.

    Args:
        trajectory: With accelerations, uneven steps, read from a controller, or filled, it is returned as it is.
    """
    t, step = trajectory.t, differences_of(trajectory.t)
    usual = float(np.median(step))
    if not (holes := holes_in(t)).size:
        return trajectory
    read = trajectory.rates[1] is not None or trajectory.filling is not None or trajectory.timing is not None
    lines = isinstance(trajectory, JointTrajectory) and trajectory.interpolation != "samples"
    missing = np.zeros(step.size, dtype=np.bool_)
    missing[holes] = True
    if read or lines or usual > RESOLVED or not (np.abs(step - usual)[~missing] <= EVEN * usual).all():
        return trajectory
    still = np.ones(step.size, dtype=np.bool_)
    for name in trajectory.PLACES:
        still &= (np.diff(getattr(trajectory, name), axis=0) == 0.0).reshape(step.size, -1).all(axis=1)
    if trajectory.rates[0] is not None:
        stands = (trajectory.rates[0] == 0.0).all(axis=1)
        still &= stands[1:] & stands[:-1]
    beside, rests = np.pad(still & ~missing, RESTING), missing & still
    for k in range(1, RESTING + 1):
        rests &= beside[RESTING - k : step.size + RESTING - k] & beside[RESTING + k : step.size + RESTING + k]
    count = np.append(np.where(rests, np.floor(step / usual - 0.5), 0.0), 0.0).astype(np.intp)
    if not 0 < count.sum() <= MAX_SAMPLES:
        return trajectory
    parts = np.append(step, usual) / (count + 1)
    apart = np.where(np.abs(parts - usual) <= EVEN * usual, parts, usual)  # the last one takes what is left
    sample = np.repeat(np.arange(t.size), count + 1)
    given = np.cumsum(count + 1) - (count + 1)
    columns: dict[str, Any] = {name: getattr(trajectory, name)[sample] for name in trajectory.PLACES}
    if trajectory.rates[0] is not None:
        columns[trajectory.RATES[0]] = trajectory.rates[0][sample]
    first, last, many = float(t[np.argmax(rests)]), float(t[1:][rests][-1]), int(rests.sum())
    where = f"{first:.3f} to {last:.3f} s" if many == 1 else f"{many} stretches between {first:.3f} and {last:.3f} s"
    note = (
        f"No samples: {where}. The program rests at one place before and after, and is taken to rest there, as a "
        "controller that is told to wait does; of a recording nobody knows."
    )
    return replace(
        trajectory,
        t=t[sample] + (np.arange(sample.size) - given[sample]) * apart[sample],
        **columns,
        moves=None if trajectory.moves is None else tuple(trajectory.moves[i] for i in sample),
        notes=(*trajectory.notes, note),
        filling=Filling(given=given, missed=None),
    )
