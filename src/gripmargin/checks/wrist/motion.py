"""What gripper and part ask of the robot's wrist while they move: forces and moments, weight and inertia together.

Each figure is the length of a few rows times the load: all three of the force, the moment about an axis, or the
moment about whatever axis through a point lies least favourably. So it is convex in the load, and errors add.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from statistics import NormalDist
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.hold.use import CHUNK, COVERAGE, SURE, above_between
from gripmargin.checks.swing.pushed import in_air
from gripmargin.checks.swing.ringing import mode_sets, next_too
from gripmargin.checks.wrist.bodies import Bodies, Body
from gripmargin.contact.loads import rigid_load
from gripmargin.kernels.wrench import mass_matrix


@dataclass(frozen=True, eq=False, kw_only=True)
class Rows:
    """What is made of a load.

    Attributes:
        rows: From the load at the tool origin, tool axes, shape (r, 6, n), or (r, 6, 1) where they are constant.
        exact: Whether that is what is asked, or the most that it can be.
    """

    rows: FloatArray
    exact: bool = True

    def of(self, load: FloatArray, samples: NDArray[np.intp]) -> FloatArray:
        """Return the figure for loads at samples, shape (m,)."""
        rows = self.rows if self.rows.shape[2] == 1 else self.rows[:, :, samples]
        return np.asarray(np.linalg.norm((rows * load).sum(axis=1), axis=0))


FORCE: Final = Rows(rows=np.eye(3, 6)[:, :, None])

Bounds = tuple[FloatArray, FloatArray, FloatArray]  # best estimate, least, most, each of shape (n,)


def moving(case: Case, body: Body, rows: Rows) -> Bounds:
    """Return what a body asks at every sample, with the errors of the rates and what lies between the samples.

    As in `gripmargin.checks.hold.use`: two standard deviations and the bias of the rates, and the tops of curves
    between samples. Forces of the process act on the part, and swing it as they come and go.

    Args:
        case: The job.
        body: That moves with the tool.
        rows: What is wanted of its load.
    """
    every = np.arange(case.airborne.size)
    load = rigid_load(body.inertial, case.motion.at, case.job.gravity)
    value, swings = rows.of(load, every), np.full(every.size, -np.inf)
    for at, force, swing in swung(case, rows) if body.holds else ():
        there = rows.of(load[:, at] + force, at)
        value[at], swings[at] = np.maximum(value[at], there), np.fmax(swings[at], there + swing)
    noise, bias = _errors(case, body, rows)
    sure = NormalDist().inv_cdf(1.0 - (1.0 - SURE) / every.size)
    least = np.maximum(value - sure * noise - bias, 0.0) if rows.exact else np.zeros(every.size)
    most = value + COVERAGE * noise + bias + np.maximum(next_too(swings) - value, 0.0)
    most += above_between(case, every, value)
    most[case.motion.doubtful] = np.inf
    most[~np.isfinite(value)] = np.inf
    return value, least, most


def swung(case: Case, rows: Rows) -> Iterator[tuple[NDArray[np.intp], FloatArray, FloatArray]]:
    """Yield what forces of the process do to a figure, while they act and until their swing has faded.

    Args:
        case: The job.
        rows: What is wanted of the load.

    Yields:
        Samples, shape (m,), the forces themselves at the tool origin, shape (6, m), and what the swing that they have
        started adds to the figure at most, shape (m,).
    """
    if not case.pushes:
        return
    modes = case.shared(mode_sets)[-1]
    for at, pushed in in_air(case, modes):
        sizes = np.stack([rows.of(load[:, None], at) * np.ones(at.size) for load in modes.loads.T])
        yield at, pushed.wrench, (sizes * pushed.swing).sum(axis=0)


def split(case: Case, bodies: Bodies, samples: NDArray[np.intp]) -> tuple[FloatArray, FloatArray]:
    """Return the load at samples that gravity gives, and the rest, which the motion gives, each of shape (6, m)."""
    there, motion, gravity = case.airborne[samples], case.motion.at.take(samples), case.job.gravity

    def of(body: Body) -> tuple[FloatArray, FloatArray]:
        weight = mass_matrix(*body.inertial)[:, :3] @ motion.in_tool(gravity)
        return weight, rigid_load(body.inertial, motion, gravity) - weight

    loaded, alone = of(bodies.loaded), of(bodies.alone)
    return np.where(there, loaded[0], alone[0]), np.where(there, loaded[1], alone[1])


def _errors(case: Case, body: Body, rows: Rows) -> tuple[FloatArray, FloatArray]:
    """One standard deviation of the noise, and a bound of the bias, shape (n,)."""
    n, error = case.airborne.size, case.motion.error
    out = np.zeros((2, n))
    if error is None:
        return out[0], out[1]
    per_rate = -mass_matrix(*body.inertial)
    for first in range(0, n, CHUNK):
        part = np.arange(first, min(first + CHUNK, n))
        for row, by_bias in enumerate((False, True)):
            columns = np.einsum("ij,cjm->cim", per_rate, error.columns(part, bias=by_bias))
            sizes = np.stack([rows.of(column, part) for column in columns])
            out[row, part] = sizes.sum(axis=0) if by_bias else np.linalg.norm(sizes, axis=0)
    return out[0], out[1]
