"""The tool's motion relative to the part's face, and where it has to be looked at between the samples."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gripmargin.base.arrays import FloatArray, Value, frozen
from gripmargin.base.errors import InputError
from gripmargin.base.poses import ROTATION_TOLERANCE
from gripmargin.kernels.local_fit import even_step
from gripmargin.kernels.sample_noise import ORDERS, differences
from gripmargin.kernels.screw import along, twist_between

EXTREMES = 8.0  # standard deviations from the lowest to the highest of many values with normal noise
FEWEST = 8  # samples that move and show noise
STILL = 1e-9  # share of a break displacement per sample below which a tool counts as at rest


@dataclass(frozen=True, eq=False, kw_only=True)
class RelativeMotion(Value):
    """Poses of the tool frame in the frame of the part's face, whose +z points out of the part.

    Between samples the tool moves along the screw that joins them.

    Attributes:
        t: Times [s], increasing, shape (n,).
        rotation: Tool axes in the face frame as columns, shape (n, 3, 3).
        position: Tool origin in the face frame [m], shape (n, 3).

    Raises:
        InputError: Shapes that do not agree, NaN, times that do not increase, a matrix that is no rotation.
    """

    t: FloatArray
    rotation: FloatArray
    position: FloatArray

    def __post_init__(self) -> None:
        t = frozen(self.t, (None,), "relative motion t")
        if t.size == 0 or not (np.diff(t) > 0).all():
            raise InputError("relative motion t", f"{t.size} times", "at least one time, increasing")
        rotation = frozen(self.rotation, (t.size, 3, 3), "relative motion rotation")
        error = np.abs(np.einsum("nji,njk->nik", rotation, rotation) - np.eye(3)).max()
        if error > ROTATION_TOLERANCE or np.linalg.det(rotation).min() < 0:
            raise InputError("relative motion rotation", f"|R'R - 1| = {error:.2g}", "rotations")
        object.__setattr__(self, "t", t)
        object.__setattr__(self, "rotation", rotation)
        object.__setattr__(self, "position", frozen(self.position, (t.size, 3), "relative motion position"))

    @classmethod
    def of(cls, t: ArrayLike, rotation: FloatArray, position: FloatArray, face: FloatArray) -> RelativeMotion:
        """Return the motion relative to a face that rests in the world.

        Args:
            t: Times [s], shape (n,).
            rotation: Tool axes in the world, shape (n, 3, 3).
            position: Tool origin in the world [m], shape (n, 3).
            face: Face frame in the world, +z out of the part, shape (4, 4).
        """
        to_face = face[:3, :3].T
        return cls(
            t=np.asarray(t, dtype=np.float64),
            rotation=to_face @ rotation,
            position=(position - face[:3, 3]) @ to_face.T,
        )

    @property
    def samples(self) -> int:
        """Number of samples."""
        return int(self.t.size)

    def between(self, first: int, last: int) -> RelativeMotion:
        """Return the samples from first to last, both included."""
        part = slice(first, last + 1)
        return RelativeMotion(t=self.t[part], rotation=self.rotation[part], position=self.position[part])

    def take(self, samples: NDArray[np.intp]) -> RelativeMotion:
        """Return some of the samples, in the order of their times."""
        return RelativeMotion(t=self.t[samples], rotation=self.rotation[samples], position=self.position[samples])

    def at(self, share: float) -> RelativeMotion:
        """Return the pose at a share of the way from the first sample to the second, as a motion of one sample."""
        twist = twist_between(self.rotation[:1], self.position[:1], self.rotation[1:2], self.position[1:2])
        rotation, position = along(self.rotation[:1], self.position[:1], twist, np.array([share]))
        return RelativeMotion(t=self.t[:1] + share * (self.t[1:2] - self.t[:1]), rotation=rotation, position=position)

    def followed_by(self, other: RelativeMotion) -> RelativeMotion:
        """Return this motion and a later one as one."""
        return RelativeMotion(
            t=np.concatenate([self.t, other.t]),
            rotation=np.concatenate([self.rotation, other.rotation]),
            position=np.concatenate([self.position, other.position]),
        )

    def height(self, points: FloatArray) -> FloatArray:
        """Return how far points of the tool are above the face plane.

        Args:
            points: In the tool frame [m], shape (p, 3).

        Returns:
            [m], shape (n, p).
        """
        return self.rotation[:, 2] @ points.T + self.position[:, 2:]


@dataclass(frozen=True, eq=False)
class Steps(Value):
    """The intervals between samples, and into how many steps each has to be cut.

    Attributes:
        twist: From each sample to the next, about the face's origin [m, rad], shape (n - 1, 6).
        count: Steps in each interval, 0 where nothing can happen, shape (n - 1,).
    """

    twist: FloatArray
    count: FloatArray


def steps(motion: RelativeMotion, outline: FloatArray, reach: float, longest: float) -> Steps:
    """Return the steps in which a motion has to be followed.

    An interval whose ends are both out of reach of the face needs none. Of a rest only the last interval
    is followed, so that waiting counts.

    Args:
        motion: Relative to the face.
        outline: Points of the tool whose convex hull holds all cells [m], shape (p, 3).
        reach: Height above the face beyond which no cell is bonded [m].
        longest: Largest way of any cell in one step [m].
    """
    if motion.samples < 2:
        return Steps(twist=np.zeros((0, 6)), count=np.zeros(0))
    near = motion.height(outline).min(axis=1) < reach
    twist = twist_between(motion.rotation[:-1], motion.position[:-1], motion.rotation[1:], motion.position[1:])
    way = _ways(motion, outline, twist)
    count = np.maximum(np.ceil(way / longest), 1.0)
    still = way < STILL * longest
    still[:-1] &= still[1:]
    still[-1] = False
    away = ~(near[:-1] | near[1:])
    count[still | away] = 0
    return Steps(twist=twist, count=count)


def _ways(motion: RelativeMotion, outline: FloatArray, twist: FloatArray) -> FloatArray:
    """Longest way of any outline point in each interval [m], shape (n - 1,).

    On a screw a point's speed is constant: |v + omega x p|.
    """
    longest = np.zeros(len(twist))
    for point in outline:
        place = motion.rotation[:-1] @ point + motion.position[:-1]
        speed = twist[:, :3] + np.cross(twist[:, 3:], place)
        np.maximum(longest, np.linalg.norm(speed, axis=1), out=longest)
    return longest


def outline_of(points: Sequence[FloatArray]) -> FloatArray:
    """Return the corners of the box around sets of points, by which ways and heights are bounded, shape (k, 3)."""
    stacked = np.concatenate(list(points))
    x, y, z = (np.unique([axis.min(), axis.max()]) for axis in stacked.T)
    return np.stack(np.meshgrid(x, y, z), axis=-1).reshape(-1, 3)


def unsteadiness(t: FloatArray, height: FloatArray) -> float:
    """Return how far heights of a moving tool rise and fall for their rounding or noise alone [m].

    High differences remove smooth motion and keep noise (`gripmargin.kernels.sample_noise`). Where they are smallest,
    up to their first quartile, the tool stays at its height: for normal noise that is 0.3186 of its standard deviation.

    Args:
        t: Times [s], shape (n,).
        height: Of points of the tool [m], shape (n, p).
    """
    moves = np.abs(np.diff(height, axis=0)).max(axis=1) > 0
    if moves.sum() < FEWEST:
        return 0.0
    quartiles = []
    for order in (order for order in ORDERS if order + FEWEST <= t.size):
        size = np.abs(differences(t, height.T, order, even=even_step(t) is not None))
        size = size[:, moves[order // 2 :][: size.shape[1]]]
        quartiles.append(float(np.quantile(size, 0.25, axis=1).max()) if size.shape[1] else 0.0)
    return EXTREMES * min(quartiles, default=0.0) / 0.3186
