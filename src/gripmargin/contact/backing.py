"""Pads on an elastic layer between two rigid bodies: from the load to the traction at every place.

The backing is a Winkler layer: traction = stiffness per area x displacement, normal and tangential
independently. For one centred pad the normal traction is N/A + M y/I (any text on strength of materials).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray, Value, sealed
from gripmargin.contact.cells import Patch


@dataclass(frozen=True, eq=False)
class Backing(Value):
    """All patches together.

    Attributes:
        patches: The pads' contacts.
        stiffness: Of the part against the gripper plate at the tool origin, shape (6, 6):
            [N/m, N/rad; N, N m/rad].
        compliance: Its inverse.
    """

    patches: tuple[Patch, ...]
    stiffness: FloatArray = field(init=False)
    compliance: FloatArray = field(init=False)

    def __post_init__(self) -> None:
        total = np.zeros((6, 6))
        for patch in self.patches:
            total += self.patch_stiffness(patch)
        object.__setattr__(self, "stiffness", sealed(total))
        object.__setattr__(self, "compliance", sealed(np.linalg.inv(total)))

    def patch_stiffness(self, patch: Patch) -> FloatArray:
        """Return what one patch adds to the stiffness at the tool origin, shape (6, 6)."""
        rows = displacement_rows(patch.points, patch.rotation)
        weighted = rows * patch.stiffness_per_area()[:, None, None] * patch.areas[:, None]
        return np.asarray(np.einsum("cmi,cmj->ij", rows, weighted))

    def traction_maps(self, patch: Patch, points: FloatArray) -> FloatArray:
        """Return the constant maps from load wrench to traction at points of a patch.

        Args:
            patch: One of the patches.
            points: In the tool frame [m], shape (p, 3).

        Returns:
            Shape (3, p, 6): tangential x and y, then normal traction [Pa per N or N m], pad axes; tension positive.
        """
        rows = displacement_rows(points, patch.rotation)
        return np.asarray((rows * patch.stiffness_per_area()[:, None, None]) @ self.compliance)

    def edge_maps(self, strengths: Sequence[tuple[float, float]]) -> tuple[FloatArray, NDArray[np.intp]]:
        """Return the maps from load wrench to normalised traction at the edge points of all patches.

        On a pad of one strength utilisation is convex in position, so its largest value is at a corner of the
        contact's convex hull.

        Args:
            strengths: For each patch its pull-off stress and its shear strength [Pa].

        Returns:
            Maps of shape (3, points, 6) for `gripmargin.kernels.utilisation`, and the patch of each point,
            shape (points,).
        """
        maps, owner = [], []
        for i, (patch, (pull, shear)) in enumerate(zip(self.patches, strengths, strict=True)):
            held = np.array([shear, shear, pull])[:, None, None]
            maps.append(self.traction_maps(patch, patch.edge) / held)
            owner.append(np.full(len(patch.edge), i, dtype=np.intp))
        return np.ascontiguousarray(np.concatenate(maps, axis=1)), np.concatenate(owner)

    def edge_points(self) -> FloatArray:
        """Return the edge points of all patches in the order of `edge_maps`, tool frame [m], shape (points, 3)."""
        return np.concatenate([patch.edge for patch in self.patches])

    def pad_wrench(self, patch: Patch, wrench: FloatArray) -> FloatArray:
        """Return the share of a load that one pad carries, about the centre of its contact, pad axes.

        Args:
            patch: One of the patches.
            wrench: Load at the tool origin, shape (6,).

        Returns:
            Force [N] and moment [N m], shape (6,).
        """
        traction = self.traction_maps(patch, patch.points) @ wrench
        force = traction * patch.areas
        arm = (patch.points - patch.centre) @ patch.rotation
        return np.concatenate([force.sum(axis=1), np.cross(arm, force.T).sum(axis=0)])

    def imbalance(self, wrench: FloatArray) -> float:
        """Return how well the tractions balance a load: largest residual over the load's size [-].

        Moments are compared over the pads' reach. The tractions are summed over the cells anew.

        Args:
            wrench: Load at the tool origin, shape (6,).
        """
        carried = np.zeros(6)
        for patch in self.patches:
            traction = self.traction_maps(patch, patch.points) @ wrench
            force = patch.rotation @ (traction * patch.areas)
            carried[:3] += force.sum(axis=1)
            carried[3:] += np.cross(patch.points, force.T).sum(axis=0)
        reach = max(float(np.abs(p.points).max()) for p in self.patches)
        scale = np.array([1.0, 1.0, 1.0, *(1.0 / reach,) * 3])
        size = float(np.abs(wrench * scale).max())
        return float(np.abs((carried - wrench) * scale).max() / size) if size > 0 else 0.0

    @property
    def centre(self) -> FloatArray:
        """Centroid of all contact, weighted by normal stiffness, tool frame [m], shape (3,)."""
        weights = [p.area * p.pad.material.normal_stiffness for p in self.patches]
        return np.average([p.centre for p in self.patches], axis=0, weights=weights)


def displacement_rows(points: FloatArray, rotation: FloatArray) -> FloatArray:
    """Return the maps from a small rigid displacement at the tool origin to the displacement at points.

    Args:
        points: In the tool frame [m], shape (p, 3).
        rotation: Axes in which the displacement is wanted, as columns in the tool frame, shape (3, 3).

    Returns:
        Shape (3, p, 6): component along each axis, for each point, from (translation [m], rotation [rad]).
    """
    rows = np.empty((3, len(points), 6))
    for c in range(3):
        axis = rotation[:, c]
        rows[c, :, :3] = axis
        rows[c, :, 3:] = np.cross(points, axis)  # axis . (theta x r) = theta . (r x axis)
    return rows
