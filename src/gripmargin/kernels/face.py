"""The judged points of the pads, and how far each is used by a load, over whole arrays.

A point's *normalised traction* is its traction divided by what it can hold: two tangential components over
the shear strength, the normal one over the pull-off stress. It is linear in the load wrench, so one matrix
``maps`` of shape (3, points, 6) serves every sample. Utilisation is
``u^2 = t1^2 + t2^2 + max(s, 0)^2``: compression neither helps nor hurts.

What is not linear in the load is in `Face` too. It leaves the utilisation convex in the load and of first degree
(the gauge of a convex set), so that the triangle inequality and the largest value on a straight path being at its ends
hold all the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray

NOTHING = 1e-6  # share of what a place holds that stands for none: what it asks stays a number


@dataclass(frozen=True, eq=False)
class Face:
    """What the judged points of the pads carry of a load, over what they can hold.

    The utilisation u of a point by a load w is the least u at which ``|(a1 u + t1, a2 u + t2, max(a3 u + t3, 0))| + e
    <= (1 - spent) u`` with t = maps w, a = start, and e what `slack` allows for.

    Attributes:
        maps: Load wrench to normalised traction, shape (3, points, 6).
        slack: By how much the traction may differ for a unit of the size of each spread, shape (points, groups).
        spread: Load wrench to vectors whose lengths are those sizes, shape (groups, 6, 6).
        start: Normalised traction without any load, shape (3, points).
        spent: Share of what a point holds that is used up whatever the load, shape (points,).
    """

    maps: FloatArray
    slack: FloatArray | None = None
    spread: FloatArray | None = None
    start: FloatArray | None = None
    spent: FloatArray | None = None

    @property
    def points(self) -> int:
        """Number of points."""
        return int(self.maps.shape[1])

    @property
    def plain(self) -> bool:
        """Whether tractions are linear in the load and there is nothing else."""
        return self.slack is None and self.start is None and self.spent is None

    @cached_property
    def left(self) -> FloatArray:
        """What the points can hold beside what is used up, 0 or more, shape (points,)."""
        return np.ones(self.points) if self.spent is None else np.maximum(1.0 - self.spent, 0.0)

    @cached_property
    def free(self) -> FloatArray:
        """What they can hold of a load from whichever side, above 0, shape (points,)."""
        if self.start is None:
            return np.maximum(self.left, NOTHING)
        taken = np.sqrt(squared(self.start[0] ** 2 + self.start[1] ** 2, self.start[2]))
        return np.maximum(self.left - taken, NOTHING)

    def asked(self, factor: float) -> Face:
        """Return the face that must carry so many times the load: its utilisation is that factor times as large."""
        slack = None if self.slack is None else self.slack * factor
        return replace(self, maps=self.maps * factor, slack=slack)

    def times(self, other: Face) -> float | None:
        """Return how many times as much as that of another face all of its utilisation is, whatever the load.

        None where no one factor tells, to rounding; a traction without load, or what is used up, scales with nothing.
        """
        alike = self.maps.shape == other.maps.shape and (self.slack is None) == (other.slack is None)
        if not alike or any(x is not None for x in (self.start, self.spent, other.start, other.spent)):
            return None
        size = float(np.abs(other.maps).max())
        factor = float(np.abs(self.maps).max()) / size if size > 0.0 else np.nan
        same = np.allclose(self.maps, factor * other.maps, rtol=1e-13, atol=1e-13 * factor * size)
        if self.slack is not None and other.slack is not None and self.spread is not None and other.spread is not None:
            wide = 1e-13 * float(self.slack.max(initial=0.0))
            same = same and np.allclose(self.slack, factor * other.slack, rtol=1e-13, atol=wide)
            same = same and np.array_equal(self.spread, other.spread)
        return factor if same else None

    def only(self, points: Sequence[int] | NDArray[np.intp]) -> Face:
        """Return the face of some of the points, given as indices."""
        return replace(
            self,
            maps=self.maps[:, points],
            slack=None if self.slack is None else self.slack[points],
            start=None if self.start is None else self.start[:, points],
            spent=None if self.spent is None else self.spent[points],
        )

    def pulled_alone(self) -> Face:
        """Return the face that only tension uses."""
        only = np.array([0.0, 0.0, 1.0])[:, None]
        start = None if self.start is None else self.start * only
        return replace(self, maps=self.maps * only[:, :, None], start=start)

    def allowed_for(self, wrench: FloatArray) -> FloatArray:
        """Return by how much the traction of each point may differ under loads, shape (points, samples)."""
        if self.slack is None or self.spread is None:
            return np.zeros((1, 1))
        return np.asarray(self.slack @ np.linalg.norm(self.spread @ wrench, axis=1))


def joined(faces: Sequence[Face]) -> Face:
    """Return the points of several faces as one."""
    if all(face.plain for face in faces):
        return Face(np.ascontiguousarray(np.concatenate([face.maps for face in faces], axis=1)))
    spreads = [np.zeros((1, 6, 6)) if face.spread is None else face.spread for face in faces]
    groups, points = [len(spread) for spread in spreads], [face.points for face in faces]
    slack = np.zeros((sum(points), sum(groups)))
    for face, row, column in zip(faces, np.cumsum([0, *points]), np.cumsum([0, *groups]), strict=False):
        if face.slack is not None:
            slack[row : row + face.points, column : column + face.slack.shape[1]] = face.slack
    return Face(
        maps=np.concatenate([face.maps for face in faces], axis=1),
        slack=slack,
        spread=np.concatenate(spreads),
        start=np.concatenate([np.zeros((3, f.points)) if f.start is None else f.start for f in faces], axis=1),
        spent=np.concatenate([1.0 - face.left for face in faces]),
    )


def squared(shear2: FloatArray, tension: FloatArray) -> FloatArray:
    """Return the squared utilisation of normalised tractions, of their shape.

    Args:
        shear2: Square of the shear over the shear strength.
        tension: Normal traction over the pull-off stress, tension positive.
    """
    pull = np.maximum(tension, 0.0)
    return np.asarray(pull * pull + shear2)


def utilisation(face: Face, wrench: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the utilisation of every point by every load, and that by tension alone, shape (points, samples) each.

    Args:
        face: The judged points.
        wrench: Load, forces [N] then moments [N m], shape (6, samples).
    """
    t1, t2, s = face.maps @ wrench
    slack, left = face.allowed_for(wrench), face.left[:, None]
    a1, a2, a3 = (np.zeros((3, 1)) if face.start is None else face.start)[:, :, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        peel = (np.maximum(s, 0.0) + slack) / np.maximum(left - a3, 0.0)
        if face.start is None:
            u = (np.sqrt(squared(t1 * t1 + t2 * t2, s)) + slack) / left
        else:
            shear = a1 * a1 + a2 * a2 - left * left, a1 * t1 + a2 * t2 + left * slack, t1 * t1 + t2 * t2 - slack * slack
            u = np.asarray(_least(shear[0] + a3 * a3, shear[1] + a3 * s, shear[2] + s * s))
            i, k = np.nonzero(~(a3 * u + s > 0.0))
            u[i, k] = _least(shear[0][i, 0], shear[1][i, k], shear[2][i, k])
    some = np.isfinite(t1 + t2 + s)  # a point that holds nothing is used beyond bounds, a load that is none stays one
    return np.where(np.isnan(u) & some, np.inf, u), np.where(np.isnan(peel) & some, np.inf, peel)


def _least(square: FloatArray, half: FloatArray, rest: FloatArray) -> FloatArray:
    """The u from which on ``square u^2 + 2 half u + rest`` is below 0; inf where it never is."""
    root = half * half
    root -= square * rest
    np.maximum(root, 0.0, out=root)
    np.sqrt(root, out=root)
    root += half
    root /= -square
    return np.where(square < 0.0, root, np.inf)


def half_width(rows: FloatArray, root: FloatArray) -> FloatArray:
    """Return half the root of the largest eigenvalue of ``H L' L H'`` for rows H of each point, shape (points,).

    Args:
        rows: Shape (3, points, 6).
        root: L, shape (6, 6).
    """
    wide = rows @ root.T
    return np.asarray(0.5 * np.sqrt(np.maximum(np.linalg.eigvalsh(np.einsum("cpi,dpi->pcd", wide, wide))[:, -1], 0.0)))
