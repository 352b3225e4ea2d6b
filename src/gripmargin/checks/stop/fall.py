"""How fast a part is that comes off in a stop, and where it lands."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.stop import words
from gripmargin.checks.stop.figures import Fall, Flight
from gripmargin.kernels.stopping import free_fall

UPRIGHT: Final = 1e-6  # share of gravity that may lie across the world's z axis


def fall(case: Case, floor: float | None, loose: NDArray[np.intp], sure: NDArray[np.intp]) -> Fall:
    """Return speed, energy and place of landing of the part where it would come off with the most energy.

    Args:
        case: The job.
        floor: Height of the floor in the world [m]; None where it is not known.
        loose: Samples at which a stop may throw the part off, shape (m,), m > 0.
        sure: Those of them at which it surely does.
    """
    motion, part = case.motion.at, case.job.part
    omega = motion.angular_velocity[loose]
    velocity = motion.velocity[loose] + np.cross(omega, part.com)
    moving = 0.5 * part.mass * (velocity**2).sum(axis=1)
    turning = 0.5 * np.einsum("ni,ij,nj->n", omega, part.inertia, omega)
    k = int(np.argmax(moving + turning))
    sample, energy = int(loose[k]), float(moving[k] + turning[k])
    there = motion.take(sample)
    rotation = there.rotation[0]
    at, thrown = there.position[0] + rotation @ part.com, rotation @ velocity[k]
    return Fall(
        surely=bool(np.isin(sample, sure)),
        t=float(case.job.trajectory.t[sample]),
        sample=sample,
        speed=float(np.linalg.norm(thrown)),
        energy=energy,
        flight=_flight(case, floor, at, thrown, energy),
    )


def _flight(case: Case, floor: float | None, at: FloatArray, thrown: FloatArray, energy: float) -> Flight:
    """The way of a part from its centre of mass [m], thrown with a velocity [m/s], world axes, and an energy [J]."""
    gravity = float(np.linalg.norm(case.job.gravity))
    if floor is None:
        return Flight(reason=words.NO_FLOOR)
    if gravity == 0.0 or -float(case.job.gravity[2]) < (1.0 - UPRIGHT) * gravity:
        return Flight(reason=words.NOT_UPRIGHT)
    height = float(at[2] - floor)
    if height < 0:
        return Flight(height=height, reason=words.BELOW_FLOOR)
    way, _, impact = free_fall(thrown, height, gravity)
    x, y = (float(c) for c in at[:2] + way)
    return Flight(
        height=height,
        range=float(np.hypot(*way)),
        landing=(x, y),
        impact_speed=impact,
        impact_energy=float(energy + case.job.part.mass * gravity * height),
    )
