"""What is typed into a robot's program to run a stretch at a speed: from its motion as it is, scaled in closed form."""

from __future__ import annotations

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import by_parts, largest_of
from gripmargin.checks.case import Case
from gripmargin.checks.rests import EXACT, Stretch, stretches
from gripmargin.results.tuned import Move, Setting


def moves_at(case: Case, factor: float) -> tuple[Move, ...]:
    """Return the program cut at its rests, all of it at a factor on its speed, with why a stretch would keep its own.

    Args:
        case: The job.
        factor: On the speed.
    """
    t = case.job.trajectory.t
    return tuple(
        Move(
            moves=stretch.moves,
            start=float(t[stretch.first]),
            end=float(t[stretch.last]),
            factor=factor,
            time_then=float(t[stretch.last] - t[stretch.first]) / factor,
            limit=None,
            kept=stretch.kept,
            setting=setting(case, stretch, factor),
        )
        for stretch in stretches(case, by_label=True)
    )


def setting(case: Case, stretch: Stretch, factor: float) -> Setting | None:
    """Return the speeds of a stretch at a factor on its speed; None where it does not move, or nobody can tell.

    Speeds grow with the factor, accelerations with its square, times with its inverse. The joint with the largest
    speed leads (rad/s and m/s are compared as numbers); in a program of poses the tool does.

    Args:
        case: The job.
        stretch: Its samples.
        factor: On its speed.
    """
    span = slice(stretch.first, stretch.last + 1)
    t, at, rates = case.job.trajectory.t[span], case.motion.at.take(span), case.motion.joint_rates
    tool = by_parts(_length, at.velocity)
    acceleration = float(largest_of(_length, at.acceleration))
    joint, slides, leads = None, False, tool
    if rates is not None and case.job.robot is not None:
        joint = int(largest_of(np.abs, rates[0][span]).argmax())
        slides, leads = not case.job.robot.revolute[joint], by_parts(lambda v: np.abs(v[:, joint]), rates[0][span])
    top = float(leads.max())
    if not (top > EXACT and np.isfinite(tool).all() and np.isfinite(acceleration)):
        return None
    return Setting(
        percent=100.0 * factor,
        tool_speed=factor * float(tool.max()),
        tool_acceleration=factor**2 * acceleration,
        joint=None if joint is None else joint + 1,
        joint_speed=None if joint is None else factor * top,
        joint_slides=slides,
        acceleration_time=_ramp(t, leads) / factor,
        braking_time=_ramp(t[-1] - t[::-1], leads[::-1]) / factor,
    )


def _ramp(t: FloatArray, speed: FloatArray) -> float:
    """The time from rest to the largest speed: twice that to half of it, at most that to the highest sample.

    Every ramp that is symmetric about its middle, straight or rounded, passes half of its height at half of its time,
    while it is a matter of noise which sample on a level stretch is the highest.
    """
    half = speed.max() / 2.0
    above = int(np.argmax(speed >= half))
    if above == 0:
        return 0.0
    still = np.flatnonzero(speed[:above] <= EXACT)
    start = t[still[-1]] if still.size else t[0]
    passed = np.interp(half, speed[above - 1 : above + 1], t[above - 1 : above + 1])
    return float(min(2.0 * (passed - start), t[speed.argmax()] - start))


def _length(vectors: FloatArray) -> FloatArray:
    return np.asarray(np.linalg.norm(vectors, axis=1))
