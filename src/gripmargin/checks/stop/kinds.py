"""The two kinds of stop: along the path of the program, and off it with every axis braking on its own."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.stop.braking import Arm
from gripmargin.checks.stop.instants import Instant
from gripmargin.checks.stop.peaks import Pads, Worst
from gripmargin.checks.stop.stops import CLOSE, Stopping, per_time_deceleration
from gripmargin.contact.loads import part_load, standing_load
from gripmargin.motion.between import EIGHTHS, interpolated
from gripmargin.motion.tool_motion import ToolMotion
from gripmargin.motion.trajectory import RESOLVED, JointTrajectory
from gripmargin.workcell import Stop

SPEEDS_COUNT = 3.0  # how often an error of a speed counts in a braking load: once as such, twice by its swing


@dataclass(frozen=True, eq=False, kw_only=True)
class Places:
    """Places between samples at which stops may begin.

    Attributes:
        first: The sample before, an index into the carried samples, shape (m,).
        at: The same as an index into the program, shape (m,).
        tool: The motion there.
        standing: Load by gravity there, shape (6, m).
        moving: What the program's motion adds, shape (6, m).
        q: Joint positions there, shape (m, joints).
        qd: Joint speeds there, shape (m, joints).
        sparse: Whether these samples are too far apart to follow the motion.
    """

    first: NDArray[np.intp]
    at: NDArray[np.intp]
    tool: ToolMotion
    standing: FloatArray
    moving: FloatArray
    q: FloatArray
    qd: FloatArray
    sparse: bool


@dataclass(frozen=True, eq=False)
class OnPath:
    """Stops along the path."""

    stopping: Stopping
    name: ClassVar = "path"

    def instants(self, samples: NDArray[np.intp]) -> Iterator[Instant]:
        """Return the instants of the stops that begin at some samples, indices into the program."""
        return self.stopping.along_path(samples, self.stopping.rates.hard[samples])

    def worst(self, pads: Pads, samples: NDArray[np.intp]) -> Worst:
        """Return the largest utilisation by stops that begin at some samples."""
        hard, mild = (rates[samples] for rates in (self.stopping.rates.hard, self.stopping.rates.mild))
        found = Worst.over(pads, samples, self.instants(samples))
        if np.array_equal(mild, hard):
            return found
        milder = Worst.over(pads, samples, self.stopping.along_path(samples, mild))
        return replace(found, sure=np.minimum(found.sure, milder.sure))

    def per_speed(self) -> FloatArray:
        """Return how often an error of a speed counts in the load, over the speed factor, shape (n, 1) [1/s]."""
        return np.minimum(SPEEDS_COUNT * self.stopping.rates.hard, float(self.stopping.modes.frequency.max()))[:, None]

    def between(self, pads: Pads, places: Places) -> FloatArray:
        """Return the largest utilisation by stops that begin between samples, shape (m,)."""
        hard, stopping = self.stopping.rates.hard, self.stopping
        braking = stopping.slower * per_time_deceleration(stopping.case, places.tool)
        rate = 2.0 / (1.0 / hard[places.at] + 1.0 / hard[places.at + 1])
        start = stopping.path_start(places.standing, places.moving, braking, rate)
        ring = pads.swing_at(places.at)
        use = start.peak(pads.face, pads.gain, ring)[3]
        if places.sparse:  # and the end of the stop at that place
            rest = replace(start, load=start.load - places.moving)
            use = np.maximum(use, rest.peak(pads.face, pads.gain, ring)[3])
        return use


@dataclass(frozen=True, eq=False)
class OffPath:
    """Stops in which every axis brakes on its own.

    Attributes:
        stopping: The stops of the job.
        arm: At every sample.
    """

    stopping: Stopping
    arm: Arm
    name: ClassVar = "axes"

    def instants(self, samples: NDArray[np.intp], *, later: bool = True) -> Iterator[Instant]:
        """Return the instants of the stops that begin at some samples, indices into the program.

        Args:
            samples: Shape (m,).
            later: Whether to go on after the brakes have closed.
        """
        return self.stopping.by_axes(samples, self.arm.at(samples), self.stopping.before[:, samples], later=later)

    def worst(self, pads: Pads, samples: NDArray[np.intp]) -> Worst:
        """Return the largest utilisation by stops that begin at some samples.

        What happens after the brakes have closed is worked out at samples `CLOSE` to each other.
        """
        step = float(np.median(np.diff(self.stopping.case.job.trajectory.t)))
        stride = max(1, int(CLOSE / step + 1e-6))
        kept = np.unique([*range(0, samples.size, stride), samples.size - 1])
        found = Worst.over(pads, samples[kept], self.instants(samples[kept]))
        if stride == 1:
            return found
        return Worst.over(pads, samples, self.instants(samples, later=False)).with_later(found, kept)

    def per_speed(self) -> FloatArray:
        """Return how often an error of a speed counts: axes brake at their own rates, whatever their speed."""
        return np.zeros((self.stopping.case.load.shape[1], 1))

    def between(self, pads: Pads, places: Places) -> FloatArray:
        """Return the largest utilisation by stops that begin between samples, shape (m,)."""
        arm, before = replace(self.arm, q=places.q, qd=places.qd), places.standing + places.moving
        return Worst.over(pads, places.at, self.stopping.by_axes(places.at, arm, before, later=places.sparse)).most


Kind = OnPath | OffPath


def kinds_of(stopping: Stopping) -> list[Kind]:
    """Return the kinds of stop that can be judged of those that a job asks for."""
    stop = stopping.stop
    kinds: list[Kind] = [OnPath(stopping)] if stop.on_path and stop.category != 0 else []
    arm = Arm.of(stopping.case, stop, stopping.slower, stopping.softer)
    return [*kinds, OffPath(stopping, arm)] if asks_for_axes(stop) and arm is not None else kinds


def asks_for_axes(stop: Stop) -> bool:
    """Whether stops in which every axis brakes on its own are to be judged."""
    return stop.axis_deceleration is not None and stop.category in (None, 0)


def places_between(stopping: Stopping, samples: NDArray[np.intp]) -> Iterator[Places]:
    """Yield halfway between neighbours with the highest acceleration there, and the eighths of wide intervals.

    None where the rates are estimated: their error covers what lies between.

    Args:
        stopping: The stops of the job.
        samples: The carried ones, shape (m,).
    """
    case, motion, trajectory = stopping.case, stopping.case.motion, stopping.case.job.trajectory
    first = np.flatnonzero(np.diff(samples) == 1)
    if motion.between_peak is None or motion.joint_rates is None or first.size == 0:
        return
    if not isinstance(trajectory, JointTrajectory):
        return
    q, qd = trajectory.q, stopping.slower * motion.joint_rates[0]
    at = samples[first]
    halfway, speed = 0.5 * (q[at] + q[at + 1]), 0.5 * (qd[at] + qd[at + 1])
    yield _places(stopping, first, at, motion.between_peak.take(at), (halfway, speed), sparse=False)
    wide = first[np.diff(case.job.trajectory.t)[at] > RESOLVED]
    if wide.size and motion.sparse:
        at = samples[wide]
        tools = [tool.take(at) for tool in motion.sparse]
        joints = [interpolated(trajectory, share)[:2] for share in EIGHTHS]
        tool = ToolMotion(np.concatenate([x.t for x in tools]), np.concatenate([x.state for x in tools], axis=2))
        q, qd = (np.concatenate([x[k][at] for x in joints]) for k in (0, 1))
        first, at = np.tile(wide, len(tools)), np.tile(at, len(tools))
        yield _places(stopping, first, at, tool, (q, stopping.slower * qd), sparse=True)


def _places(
    stopping: Stopping,
    first: NDArray[np.intp],
    at: NDArray[np.intp],
    tool: ToolMotion,
    joints: tuple[FloatArray, FloatArray],
    *,
    sparse: bool,
) -> Places:
    job = stopping.case.job
    standing = standing_load(job.part, tool, job.gravity)
    moving = stopping.slower**2 * (part_load(job.part, tool, job.gravity, job.air_density) - standing)
    q, qd = joints
    return Places(first=first, at=at, tool=tool, standing=standing, moving=moving, q=q, qd=qd, sparse=sparse)
