"""The same release on cells of half the size: what the size of the cells does to its ratio.

The reaction of pads that peel or twist off falls with the size of their cells, at first order; where only a small core
of a pad still holds, it is made of a few cells.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.activation import PadFace
from gripmargin.contact.cells import Patch

CHILDREN = np.array(  # corners of the four triangles into which the middles of its sides cut one, in those of its own
    [
        [[1.0, 0.0, 0.0], [0.5, 0.5, 0.0], [0.5, 0.0, 0.5]],
        [[0.5, 0.5, 0.0], [0.0, 1.0, 0.0], [0.0, 0.5, 0.5]],
        [[0.5, 0.0, 0.5], [0.0, 0.5, 0.5], [0.0, 0.0, 1.0]],
        [[0.5, 0.5, 0.0], [0.0, 0.5, 0.5], [0.5, 0.0, 0.5]],
    ]
)
MIX = np.full((3, 3), 1.0 / 6.0) + np.eye(3) / 2.0  # corners to the points of the interior rule of degree 2


@dataclass(frozen=True)
class MeshRange:
    """A ratio and what the size of the cells leaves open of it.

    Attributes:
        low: [-].
        value: On the finer cells [-].
        high: [-].
    """

    low: float
    value: float
    high: float

    @classmethod
    def of(cls, coarse: float, fine: float) -> MeshRange:
        """Return the range from a ratio on cells and on such of half the size.

        At first order as much again is still missing. Twice that is allowed on that side, for a core of few cells
        falls less evenly, and as much on the other, for it may fall and rise from size to size.
        """
        apart = abs(fine - coarse)
        return cls(max(fine - apart, 0.0), fine, fine + 2.0 * apart)


def finer(face: PadFace) -> PadFace:
    """Return a pad with each triangle of its cells cut into four."""
    patch = face.patch
    corners = patch.corners.reshape(-1, 1, 1, 3, 3)
    points = (MIX @ CHILDREN @ corners[:, 0]).reshape(-1, 3)
    areas = np.repeat(patch.areas / 4.0, 4)
    fine = Patch(pad=patch.pad, points=points, areas=areas, edge=patch.edge, share=patch.share)
    offset = None if face.offset is None else np.stack([finer_share(each) for each in face.offset.T], axis=1)
    return replace(face, patch=fine, gap=finer_share(face.gap), offset=offset)


def finer_share(share: FloatArray) -> FloatArray:
    """Return what cells have, shape (m,), for the cells into which `finer` cuts them: linear within a triangle."""
    corners = (2.0 * np.eye(3) - 1.0 / 3.0) @ share.reshape(-1, 3, 1)
    fine = (MIX @ CHILDREN @ corners[:, None]).reshape(-1)
    return np.asarray(np.clip(fine, share.min(), share.max()))
