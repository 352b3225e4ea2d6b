"""Utilisation as the largest of many linear figures: what no load of a set asks more than, without any search.

The utilisation of a place is ``max (p . t + e) / (left - p . a)`` over unit vectors p that do not push (p_z >= 0), with
t the normalised traction of the load and e, left and a as in `gripmargin.kernels.face`: of a fixed p it is linear in
the load but for e, which is a norm. Over directions on a grid, none farther than an angle d from the next, it is missed
by no more than what cos(d) instead of 1 gives.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.face import NOTHING, Face

RINGS: Final = 15  # of the grid, 6 degrees apart: what is missed is 0.3 % (`tests/kernels/test_gauge.py`)
FEWER: Final = 8  # of a grid 11 degrees apart, where a row costs much: 1 %
LEAST: Final = 5  # of the grid of so many places that no other will do
MOST: Final = 500_000  # rows; of more places than that allows the grid is coarser, and the limits are a little less


@dataclass(frozen=True, eq=False)
class Rows:
    """Linear figures of a load w: where no ``load . w + slack . |spread w|`` is above 1, no utilisation is.

    Attributes:
        load: Shape (rows, 6).
        slack: Shape (rows, groups).
        spread: Shape (groups, 6, 6).
        coarse: Rows of a coarser grid, indices, shape (m,).
        near: For each row three of those, shape (rows, 3).
        share: Of each of the three: any seminorm of a row is at most the sum of its shares of theirs, shape (rows, 3).
    """

    load: FloatArray
    slack: FloatArray
    spread: FloatArray
    coarse: NDArray[np.intp]
    near: NDArray[np.intp]
    share: FloatArray


def half_sphere(rings: int = RINGS) -> tuple[FloatArray, float]:
    """Return unit vectors that do not push, and the cosine of the largest angle from any other to the next of them.

    Args:
        rings: From the edge up to the pole; four times as many vectors lie on each.

    Returns:
        Ring by ring, the pole last, shape (4 rings^2 + 1, 3); and the cosine: on the sphere it is at least that of two
        legs of half a step less 1 (haversines).
    """
    up = np.repeat(np.arange(rings), 4 * rings) * (np.pi / 2.0 / rings)
    round_ = np.tile(np.arange(4 * rings), rings) * (np.pi / 2.0 / rings)
    out = np.column_stack([np.cos(up) * np.cos(round_), np.cos(up) * np.sin(round_), np.sin(up)])
    return np.vstack([out, [0.0, 0.0, 1.0]]), float(2.0 * np.cos(np.pi / 4.0 / rings) - 1.0)


def gauge_rows(face: Face, rings: int = RINGS) -> Rows:
    """Return the linear figures of a face.

    Args:
        face: The judged places.
        rings: Of the grid at most.
    """
    rings = next((r for r in (rings, FEWER) if (4 * r * r + 1) * face.points <= MOST), LEAST)
    p, _ = half_sphere(rings)
    gap = _reaches(p, rings)[:, None]
    start = np.zeros((3, face.points)) if face.start is None else face.start
    left = np.maximum(gap * face.left - p @ start, NOTHING)  # (directions, points)
    load = np.einsum("kc,cpi->kpi", p, face.maps) / left[:, :, None]
    slack = np.zeros((face.points, 1)) if face.slack is None else face.slack
    spread = np.zeros((1, 6, 6)) if face.spread is None else face.spread
    few, near, share = _between(p, rings)
    place = np.arange(face.points)
    return Rows(
        load=load.reshape(-1, 6),
        slack=(gap[:, :, None] * slack / left[:, :, None]).reshape(-1, slack.shape[1]),
        spread=spread,
        coarse=(few[:, None] * face.points + place).ravel(),
        near=(near[:, None] * face.points + place[:, None]).reshape(-1, 3),
        share=(share[:, None] * left[near].transpose(0, 2, 1) / left[:, :, None]).reshape(-1, 3),
    )


def _reaches(p: FloatArray, rings: int) -> FloatArray:
    """The cosine of the angle to the farthest vector that is nearest to each by its two angles, shape (k,).

    ``1 - cos = (1 - cos of what is up) + cos(up) cos(up') (1 - cos of what is round)`` (haversines).
    """
    half = np.pi / 4.0 / rings
    up = np.arcsin(np.clip(p[:, 2], 0.0, 1.0))
    return np.asarray(1.0 - (1.0 - np.cos(half)) * (1.0 + np.cos(up) * np.cos(np.maximum(up - half, 0.0))))


def _between(p: FloatArray, rings: int) -> tuple[NDArray[np.intp], NDArray[np.intp], FloatArray]:
    """A coarser grid, and each vector as a sum of three of it with factors of 0 or more, shape (k, 3) each."""
    apart = 2 if rings % 2 == 0 else 5
    turns, pole = 4 * rings, len(p) - 1
    ring, turn = np.divmod(np.arange(0, rings * turns), turns)
    few = np.flatnonzero((ring % apart == 0) & (turn % apart == 0))
    here, along = few, few - turn[few] + (turn[few] + apart) % turns
    above, across = (np.minimum(x + apart * turns, pole) for x in (here, along))
    corners = np.concatenate([np.stack([here, along, above], axis=1), np.stack([along, across, above], axis=1)])
    corners = corners[corners[:, 1] != corners[:, 2]]
    factors = np.einsum("tij,kj->kti", np.linalg.inv(p[corners].transpose(0, 2, 1)), p)
    within = factors.min(axis=2).argmax(axis=1)
    return np.append(few, pole), corners[within], np.maximum(factors[np.arange(len(p)), within], 0.0)
