"""Where a program rests, and where its tool comes down on something and leaves it again.

In: the tool frame over time; its z axis points out of the pads into the part.
Out: `Structure`: rests, and landings in order, by samples.
Error: none is known: what is found is a proposal for a person to look at.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.motion.chain import Chain
from gripmargin.motion.tool_motion import ToolMotion, check_columns, joint_motion
from gripmargin.motion.trajectory import JointTrajectory, Trajectory

WINDOW = 0.1  # [s] over which the speed is taken, so that noise is no motion; a rest as long as that is a wait
CREEP = 2e-3  # [m/s] speed that counts as rest
STILL = 5e-5  # [m] that a tool at rest may stray
LEVER = 0.1  # [m] from the tool's origin to the points whose way counts as a turn
ABOVE = 3e-3  # [m] above a face, from which a tool comes down to it (no source)
RESTS = 0.05  # share of the highest speed of some moves below which a tool rests, or turns back (no source)
NEAR = 5e-3  # [m] along the tool's axis: a tool that comes down ends so straight, one that has left is so far away
TURNED, SLID = np.deg2rad(1.0), 1e-3  # [rad, m] a turn or slide of the tool on its place that is meant to let go


@dataclass(frozen=True)
class Rest:
    """A stretch in which the tool stands still; of one sample where it only turns back.

    Attributes:
        first: First sample.
        last: Last sample.
    """

    first: int
    last: int


@dataclass(frozen=True)
class Landing:
    """The tool comes down along its axis, rests, and leaves against its axis.

    Attributes:
        near: Sample from which it is near, coming down.
        rests: Its rests there.
        gone: Sample at which it has left.
        release: How it lets go, as far as it shows: "torsion", "peel", "shear"; None: it does not show.
    """

    near: int
    rests: tuple[Rest, ...]
    gone: int
    release: str | None


@dataclass(frozen=True, eq=False)
class Structure:
    """What a program does, as its motion shows it.

    Attributes:
        position: Tool origin in the world [m], shape (n, 3).
        rotation: Tool axes in the world as columns, shape (n, 3, 3).
        rests: All rests, in order.
        landings: All landings, in order.
    """

    position: FloatArray
    rotation: FloatArray
    rests: tuple[Rest, ...]
    landings: tuple[Landing, ...]

    @classmethod
    def of(cls, trajectory: Trajectory, robot: Chain | None) -> Structure:
        """Find rests and landings.

        Args:
            trajectory: The samples.
            robot: Joint trajectories need it.

        Raises:
            InputError: No robot, or another number of joints.
        """
        position, rotation = _poses(trajectory, robot)
        rests = _rests(trajectory.t, position, rotation)
        landings: list[Landing] = []
        for rest in rests:
            if landings and rest.first < landings[-1].gone:
                before = landings[-1]
                landings[-1] = Landing(before.near, (*before.rests, rest), before.gone, before.release)
            elif (found := _landing(position, rotation, rest)) is not None:
                landings.append(found)
        return cls(position, rotation, tuple(rests), tuple(landings))

    def waits(self, t: FloatArray) -> list[Rest]:
        """Return the rests that last, at given times of the samples [s], shape (n,)."""
        return [rest for rest in self.rests if t[rest.last] - t[rest.first] >= WINDOW]


def lands_on(
    tool: ToolMotion,
    centre: FloatArray,
    face: FloatArray,
    beside: float,
    deepest: float,
    spans: Sequence[tuple[float, float]] = (),
) -> int | None:
    """Return where a tool comes down to a face; None: nowhere.

    It does from more than 3 mm above: beside the origin of the face however deep it goes, and far from it, as on other
    places of a pallet, where it looks down at the plane and rests, or turns back, no deeper in it than a press is.

    Args:
        tool: What it does at some samples.
        centre: Of its pads, tool frame [m], shape (3,).
        face: Pose of the face in the world, z axis out of it, shape (4, 4).
        beside: How far from its origin counts as beside it [m].
        deepest: How deep a press may be [m].
        spans: Times in which a tool that rests there does so for something else: from, to [s].
    """
    pads = tool.position + tool.rotation @ centre
    x, y, z = ((pads - face[:3, 3]) @ face[:3, :3]).T
    down = np.logical_or.accumulate(z > ABOVE) & (z <= 0.0)
    speed, facing = np.linalg.norm(tool.velocity, axis=1), tool.rotation[:, :, 2] @ face[:3, 2] < -1.0 / np.sqrt(2.0)
    rests = speed <= RESTS * speed.max()
    meant = [slice(*np.searchsorted(tool.t, (start, np.nextafter(stop, np.inf)))) for start, stop in spans]
    landings = [
        (first, end)
        for first, end in _runs(down)
        if z[first:end].min() < -deepest or not _all_meant(_runs(rests[first:end]), first, meant)
    ]
    for first, end in landings:
        if (beside_it := np.flatnonzero(np.hypot(x, y)[first:end] < beside)).size:
            return first + int(beside_it[0])
    for first, end in landings:
        there = slice(first, end)
        if z[there].min() >= -deepest and facing[there].all() and rests[there].any():
            return int(first)
    return None


def _all_meant(rests: list[list[int]], start: int, spans: Sequence[slice]) -> bool:
    """Whether there are rests, counted from a sample, and some of each lies in spans of samples."""
    return bool(rests) and all(
        any(start + first < span.stop and start + end > span.start for span in spans) for first, end in rests
    )


def _runs(there: NDArray[np.bool_]) -> list[list[int]]:
    """Stretches of samples: the first of each, and the one behind its last."""
    steps = np.diff(np.concatenate([[False], there, [False]]).astype(np.int8))
    return np.flatnonzero(steps).reshape(-1, 2).tolist()


def _poses(trajectory: Trajectory, robot: Chain | None) -> tuple[FloatArray, FloatArray]:
    if not isinstance(trajectory, JointTrajectory):
        return trajectory.position, trajectory.rotation
    if robot is None:
        raise InputError(trajectory.source, "a joint program without a robot", "the robot it moves")
    check_columns(trajectory.q, robot)
    still = np.zeros_like(trajectory.q)
    motion = joint_motion(robot, trajectory.t, trajectory.q, still, still)
    return motion.position, motion.rotation


def _rests(t: FloatArray, position: FloatArray, rotation: FloatArray) -> list[Rest]:
    points = np.hstack([position, position + LEVER * rotation[:, :, 0], position + LEVER * rotation[:, :, 1]])
    after, before = np.minimum(t + WINDOW / 2, t[-1]), np.maximum(t - WINDOW / 2, t[0])
    way = _farthest(np.column_stack([np.interp(after, t, c) - np.interp(before, t, c) for c in points.T]))
    rests: list[Rest] = []
    for slow, run in groupby(range(t.size), key=(way <= CREEP * (after - before)).__getitem__):
        members = list(run)
        if slow:
            at = members[0] + int(np.argmin(way[members[0] : members[-1] + 1]))
            low = int(np.searchsorted(t, before[members[0]]))
            high = int(np.searchsorted(t, after[members[-1]], side="right"))
            strays = np.flatnonzero(_farthest(points[low:high] - points[at]) > STILL) + low
            first = int(max(strays[strays < at], default=low - 1)) + 1
            last = int(min(strays[strays > at], default=high)) - 1
            if rests and first <= rests[-1].last:
                first = rests.pop().first
            rests.append(Rest(first, last))
    return rests


def _farthest(ways: FloatArray) -> FloatArray:
    """The longest of the ways of three points, shape (n,)."""
    return np.asarray(np.linalg.norm(ways.reshape(-1, 3, 3), axis=2).max(axis=1))


def _landing(position: FloatArray, rotation: FloatArray, rest: Rest) -> Landing | None:
    at, axis = rest.first, rotation[rest.first, :, 2]
    near = _beyond(position[at::-1], axis)
    gone = _beyond(position[rest.last :], axis)
    if near is None or gone is None:
        return None
    near, gone = at - near, rest.last + gone
    came, left = position[near] - position[at], position[gone] - position[rest.last]
    if came @ axis > -np.linalg.norm(came) / np.sqrt(2.0) or left @ axis > 0.0:
        return None  # it did not come within 45 degrees of its axis, or goes on along it
    return Landing(near, (rest,), gone, _release(position, rotation, rest, gone))


def _beyond(position: FloatArray, axis: FloatArray) -> int | None:
    """The first sample that is farther than `NEAR` from the one at 0, along the axis."""
    first, size = 0, 1024
    while first < len(position):
        far = np.flatnonzero(np.abs((position[first : first + size] - position[0]) @ axis) > NEAR)
        if far.size:
            return first + int(far[0])
        first, size = first + size, 2 * size
    return None


def _release(position: FloatArray, rotation: FloatArray, rest: Rest, gone: int) -> str | None:
    stay = slice(rest.last, gone)
    axis, across = rotation[rest.last, :, 2], rotation[rest.last, :, 0]
    lean = np.arccos(np.clip(rotation[stay, :, 2] @ axis, -1.0, 1.0)).max(initial=0.0)
    turn = np.arccos(np.clip(rotation[stay, :, 0] @ across, -1.0, 1.0)).max(initial=0.0)
    way = position[stay] - position[rest.last]
    if lean > TURNED:
        return "peel"
    if turn > TURNED:
        return "torsion"
    return "shear" if np.linalg.norm(way - np.outer(way @ axis, axis), axis=1).max(initial=0.0) > SLID else None
