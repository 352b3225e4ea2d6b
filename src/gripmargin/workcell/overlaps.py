"""Which pads would hold the same place on the part."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Protocol, TypeVar

import numpy as np

from gripmargin.base.arrays import FloatArray

ALIKE = np.cos(np.deg2rad(30.0))  # between the normals of pads that face the same way
ROUNDING = 1e-3  # share of the smaller pad


class Outlined(Protocol):
    """What has an outline in a frame of its own."""

    @property
    def outline(self) -> FloatArray:
        """Corners in its own frame [m], shape (k, 2)."""

    @property
    def pose_in_tool(self) -> FloatArray:
        """The frame in the tool frame, shape (4, 4)."""


P = TypeVar("P", bound=Outlined)


def overlaps(pads: Sequence[P]) -> Iterator[tuple[P, P, float, FloatArray]]:
    """Yield the pairs of pads that face the same way and overlap, seen along the mean of their normals.

    Args:
        pads: With their outlines [m] and their poses in the tool frame.

    Yields:
        Both pads, the area that they share [m^2], and a place in it in the tool frame [m], shape (3,).
    """
    import shapely  # noqa: PLC0415 - 0.2 s that only jobs with pads pay

    corners = [pad.outline @ pad.pose_in_tool[:3, :2].T + pad.pose_in_tool[:3, 3] for pad in pads]
    normals = np.array([pad.pose_in_tool[:3, 2] for pad in pads]).reshape(-1, 3)
    centres = np.array([(points.min(axis=0) + points.max(axis=0)) / 2 for points in corners]).reshape(-1, 3)
    reach = np.array([np.linalg.norm(points - c, axis=1).max() for points, c in zip(corners, centres, strict=True)])
    for i in range(len(pads) - 1):
        later = np.arange(i + 1, len(pads))[normals[i + 1 :] @ normals[i] > ALIKE]
        axes = (normals[later] + normals[i]) / np.linalg.norm(normals[later] + normals[i], axis=1, keepdims=True)
        apart = centres[later] - centres[i]
        aside = np.linalg.norm(apart - np.sum(apart * axes, axis=1, keepdims=True) * axes, axis=1)
        near = aside < reach[i] + reach[later]
        for j, axis in zip(later[near], axes[near], strict=True):
            across = np.linalg.svd(axis[None])[2][1:]
            one, other = (shapely.Polygon((corners[k] - centres[i]) @ across.T) for k in (i, j))
            shared = one.intersection(other)
            if shared.area > ROUNDING * min(one.area, other.area):
                place = shared.representative_point()
                yield pads[i], pads[j], shared.area, centres[i] + np.array([place.x, place.y]) @ across
