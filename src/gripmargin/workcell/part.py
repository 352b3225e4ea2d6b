"""The part as gripped."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.base.poses import as_pose
from gripmargin.workcell.fields import CONTACT, Declared, key
from gripmargin.workcell.kinds import INERTIA, OUTLINE, POINT, Choice, Flag, Number, positive
from gripmargin.workcell.shapes import centroid, polygon

FACES = ("plane", "curved")
PLATE = "of a uniform plate; `outline` and `thickness` are required then"


class Part(Declared, called="part"):
    """The part as gripped, in the tool frame.

    Attributes:
        mass: Of the part.
        com: Centre of mass in the tool frame as gripped.
        inertia: About the centre of mass, tool axes: xx yy zz xy xz yz (elements of the matrix: products of inertia
            with the minus sign).
        outline: Of the gripped face, in the tool frame's xy plane; cuts the pads, and is what the part stands on where
            `nest.support` is not given.
        face: What the gripped face is. Only a plane one is judged: with another, and where it is not said, no check
            that counts on the contact passes.
        rigid: Whether bending may be neglected. Where that is not said it has to follow from `outline`, `thickness` and
            `youngs_modulus` of a uniform plate; else no check that counts on it passes.
        surface_factor: Holding strength here over that on the reference surface.
        max_pressure: Contact pressure the part may take.
        thickness: Of the uniform plate: for its mass moments and its bending; and how far below the gripped face the
            part stands when it may tip.
        youngs_modulus: Of the uniform plate: with it the part bends on its pads.
        poissons_ratio: Likewise.
        drag_area: Of a flat part: drag coefficient (1.28 for a flat plate) times area along the tool's z axis; with it
            the drag and the added mass of the air are in the load.

    Raises:
        InputError: A mass that is not above 0, an inertia that no body can have.
    """

    mass: float = key(positive("mass"), "all")
    com: FloatArray = key(POINT, "all", absent=PLATE)
    inertia: FloatArray = key(INERTIA, "all", absent=PLATE)
    outline: FloatArray | None = key(OUTLINE, "all", default=None, absent="every pad lies wholly on the part")
    face: str | None = key(Choice(FACES), CONTACT, default=None, absent="not known")
    rigid: bool | None = key(Flag(), CONTACT, default=None, absent="not known")
    surface_factor: float = key(positive(), "all", default=1.0)
    max_pressure: float | None = key(positive("stress"), "pressure", default=None)
    thickness: float | None = key(positive("length"), CONTACT, default=None)
    youngs_modulus: float | None = key(positive("stress"), CONTACT, default=None)
    poissons_ratio: float | None = key(
        Number(least=0, most=0.5, what="a ratio"), CONTACT, default=None, absent="the worst of 0 and 0.5"
    )
    drag_area: float | None = key(positive("area"), "hold, swing, settle", default=None, absent="no air")

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
                due = "a turn about z where an outline is given"
                raise InputError("part.at", "a rotation out of the pad plane", due)
            outline = self.outline @ rotation[:2, :2].T + shift[:2]
        return replace(
            self, com=rotation @ self.com + shift, inertia=rotation @ self.inertia @ rotation.T, outline=outline
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
    cx, cy = centroid(corners)
    xx = ((x * x + x * nx + nx * nx) * cross).sum() / 12 / area - cx * cx
    yy = ((y * y + y * ny + ny * ny) * cross).sum() / 12 / area - cy * cy
    xy = ((x * ny + 2 * x * y + 2 * nx * ny + nx * y) * cross).sum() / 24 / area - cx * cy
    zz = thickness**2 / 12
    inertia = mass * np.array([[yy + zz, -xy, 0.0], [-xy, xx + zz, 0.0], [0.0, 0.0, xx + yy]])
    return np.array([cx, cy, thickness / 2]), inertia
