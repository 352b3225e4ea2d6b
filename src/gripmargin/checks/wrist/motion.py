"""What gripper and part ask of the robot's wrist while they move: forces and moments, weight and inertia together.

Each figure is the length of a few rows times the load: all three of the force, the moment about an axis, or the
moment about whatever axis through a point lies least favourably. So it is convex in the load, and errors add.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.hold.use import CHUNK, COVERAGE, SURE, above_between
from gripmargin.checks.swing.ringing import next_too
from gripmargin.checks.wrist.bodies import Body, Laden
from gripmargin.contact.loads import rigid_load
from gripmargin.kernels.wrench import mass_matrix
from gripmargin.workcell.aboard import Aboard


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


def moving(case: Case, body: Body, rows: Rows, aboard: Sequence[Aboard]) -> Bounds:
    """Return what a body asks at every sample, with the errors of the rates and what lies between the samples.

    As in `gripmargin.checks.hold.use`: two standard deviations and the bias of the rates, and the tops of curves
    between samples. Forces of the process act on the part, and swing it as they come and go. What pads press or pull in
    press and release adds to the load; that pads of several stations do so at the same instant is taken in.

    Args:
        case: The job.
        body: That moves with the tool.
        rows: What is wanted of its load.
        aboard: All that is on the gripper, the case's own part first.
    """
    every = np.arange(case.airborne.size)
    alone = rigid_load(body.inertial, case.motion.at, case.job.gravity)
    contact = contact_of(aboard)
    load, surely = alone + contact, rows.of(alone + sum(each.sure for each in aboard), every)
    value, swings = rows.of(load, every), np.full(every.size, -np.inf)
    surely = np.minimum(surely, value)
    for at, force, swing in swung(aboard[0], rows):
        there = rows.of(load[:, at] + force, at)
        value[at], swings[at] = np.maximum(value[at], there), np.fmax(swings[at], there + swing)
    found, elsewhere = value.copy(), pushed_elsewhere(aboard, rows, every.size)[1]
    for other in aboard[1:]:
        for at, force, _ in swung(other, rows):
            found[at] = np.maximum(found[at], rows.of(load[:, at] + force, at))
    surely = np.where(contact.any(axis=0), surely, found)
    noise, bias = _errors(case, body, rows)
    sure = NormalDist().inv_cdf(1.0 - (1.0 - SURE) / every.size)
    least = np.maximum(surely - sure * noise - bias, 0.0) if rows.exact else np.zeros(every.size)
    high = value.copy()
    for at, instants in instants_of(aboard):
        np.maximum.at(high, at, rows.of(alone[:, at] + instants, at))
    most = high + COVERAGE * noise + bias + np.maximum(next_too(swings) - value, 0.0)
    most += above_between(case, every, value) + elsewhere
    most[case.motion.doubtful] = np.inf
    most[~np.isfinite(value)] = np.inf
    return found, least, most


def contact_of(aboard: Sequence[Aboard]) -> FloatArray:
    """Return what pads and parts push or pull on each other at every sample, shape (6, n)."""
    return np.asarray(sum(each.contact for each in aboard))


def instants_of(aboard: Sequence[Aboard]) -> Iterator[tuple[NDArray[np.intp], FloatArray]]:
    """Yield what contact may be beside a sample, that of the other stations as at the sample: samples, shape (6, m)."""
    together = contact_of(aboard)
    for each in aboard:
        if each.at.size:
            yield each.at, together[:, each.at] - each.contact[:, each.at] + each.instants


def pushed_elsewhere(aboard: Sequence[Aboard], rows: Rows, samples: int) -> FloatArray:
    """Return what forces of the process on the parts of other stations may add to a figure.

    Returns:
        By themselves, and with the swing that they start, shape (2, n).
    """
    out = np.zeros((2, samples))
    for other in aboard[1:]:
        more = np.zeros((2, samples))
        for at, force, swing in swung(other, rows):
            size = rows.of(force, at)
            more[:, at] = np.maximum(more[:, at], [size, size + swing])
        out += next_too(more)
    return out


def swung(aboard: Aboard, rows: Rows) -> Iterator[tuple[NDArray[np.intp], FloatArray, FloatArray]]:
    """Yield what forces of the process do to a figure, while they act and until their swing has faded.

    Args:
        aboard: The part, with the forces on it.
        rows: What is wanted of the load.

    Yields:
        Samples, shape (m,), the forces themselves at the tool origin, shape (6, m), and what the swing that they have
        started adds to the figure at most, shape (m,).
    """
    for at, wrench, loads, swing in aboard.pushes:
        sizes = np.stack([rows.of(load[:, None], at) * np.ones(at.size) for load in loads.T])
        yield at, wrench, (sizes * swing).sum(axis=0)


def split(
    case: Case, carried: Sequence[Laden], samples: NDArray[np.intp], aboard: Sequence[Aboard]
) -> tuple[FloatArray, FloatArray]:
    """Return the load at samples that gravity and contact give, and the rest, which the motion gives, shape (6, m)."""
    motion, gravity = case.motion.at.take(samples), case.job.gravity
    still, moved = contact_of(aboard)[:, samples], np.zeros((6, samples.size))
    for each in carried:
        weight = mass_matrix(*each.body.inertial)[:, :3] @ motion.in_tool(gravity)
        here = each.here[samples]
        still = still + np.where(here, weight, 0.0)
        moved += np.where(here, rigid_load(each.body.inertial, motion, gravity) - weight, 0.0)
    return still, moved


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
