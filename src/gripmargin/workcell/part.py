"""The part as gripped."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from gripmargin.base.arrays import FloatArray, Value, frozen
from gripmargin.base.errors import InputError
from gripmargin.base.poses import as_pose
from gripmargin.workcell.fields import inertia_matrix, optional, positive, put
from gripmargin.workcell.outline import centroid, polygon


@dataclass(frozen=True, eq=False, kw_only=True)
class Part(Value):
    """The rigid part as gripped, in the tool frame.

    Attributes:
        mass: [kg].
        com: Centre of mass in the tool frame [m], shape (3,).
        inertia: About the centre of mass, tool axes [kg m^2], shape (3, 3); (6,) is read as xx yy zz xy xz yz.
        outline: Corners of the gripped face in the tool frame's xy plane [m], shape (k, 2), or None: every
            pad lies wholly on the part.
        surface_factor: Holding strength here over that on the reference surface [-].
        max_pressure: Contact pressure the part may take [Pa].
        thickness: [m].
        youngs_modulus: [Pa].
        poissons_ratio: [-].
        drag_area: Drag coefficient times area of a flat part along the tool's z axis [m^2]; with it the air counts.

    Raises:
        InputError: A mass that is not above 0, an inertia that no body can have.
    """

    mass: float
    com: FloatArray
    inertia: FloatArray
    outline: FloatArray | None = None
    surface_factor: float = 1.0
    max_pressure: float | None = None
    thickness: float | None = None
    youngs_modulus: float | None = None
    poissons_ratio: float | None = None
    drag_area: float | None = None

    def __post_init__(self) -> None:
        put(self, "mass", positive(self.mass, "part.mass", "kg"))
        put(self, "com", frozen(self.com, (3,), "part.com"))
        put(self, "inertia", inertia_matrix(self.inertia, "part.inertia"))
        if self.outline is not None:
            put(self, "outline", polygon(self.outline, "part.outline"))
        put(self, "surface_factor", positive(self.surface_factor, "part.surface_factor", "-"))
        for key, unit in (("max_pressure", "Pa"), ("thickness", "m"), ("youngs_modulus", "Pa"), ("drag_area", "m^2")):
            optional(self, key, "part", unit)
        if self.poissons_ratio is not None and not 0.0 <= self.poissons_ratio <= 0.5:
            raise InputError("part.poissons_ratio", f"{self.poissons_ratio}", "a ratio from 0 to 0.5")

    @property
    def face_centroid(self) -> FloatArray:
        """Centroid of the outline, or the place of the centre of mass where there is none [m], shape (2,)."""
        return self.com[:2] if self.outline is None else centroid(self.outline)

    def placed(self, pose_in_tool: ArrayLike) -> Part:
        """Return the part moved rigidly: its data was given in a frame that has this pose in the tool frame.

        The outline stays in the pad plane, so it can be turned about z and moved, not tilted.

        Raises:
            InputError: The pose tilts an outline out of the pad plane.
        """
        pose_ = as_pose(pose_in_tool, "part.at")
        rotation, shift = pose_[:3, :3], pose_[:3, 3]
        outline = None
        if self.outline is not None:
            if abs(rotation[2, 2] - 1.0) > 1e-9:
                raise InputError(
                    "part.at", "a rotation out of the pad plane", "a turn about z where an outline is given"
                )
            outline = self.outline @ rotation[:2, :2].T + shift[:2]
        return replace(
            self,
            com=rotation @ self.com + shift,
            inertia=rotation @ self.inertia @ rotation.T,
            outline=outline,
        )


def uniform_plate(
    mass: float, outline: Sequence[Sequence[float]] | FloatArray, thickness: float
) -> tuple[FloatArray, FloatArray]:
    """Return centre of mass and inertia of a uniform plate lying on the pad plane, from z = 0 to its thickness.

    Args:
        mass: [kg].
        outline: Corners in the tool frame [m], shape (k, 2).
        thickness: [m].

    Returns:
        Centre of mass [m], shape (3,); inertia about it, tool axes [kg m^2], shape (3, 3).
    """
    corners = polygon(outline, "part.outline")
    x, y = corners.T
    nx, ny = np.roll(corners, -1, axis=0).T
    cross = x * ny - nx * y
    area = cross.sum() / 2
    cx, cy = ((x + nx) * cross).sum() / (6 * area), ((y + ny) * cross).sum() / (6 * area)
    xx = ((x * x + x * nx + nx * nx) * cross).sum() / 12 / area - cx * cx
    yy = ((y * y + y * ny + ny * ny) * cross).sum() / 12 / area - cy * cy
    xy = ((x * ny + 2 * x * y + 2 * nx * ny + nx * y) * cross).sum() / 24 / area - cx * cy
    zz = thickness**2 / 12
    inertia = mass * np.array([[yy + zz, -xy, 0.0], [-xy, xx + zz, 0.0], [0.0, 0.0, xx + yy]])
    return np.array([cx, cy, thickness / 2]), inertia
