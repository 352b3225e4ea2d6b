"""The part as gripped."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.base.poses import as_pose
from gripmargin.workcell.fields import CONTACT, Declared, Fault, key
from gripmargin.workcell.kinds import INERTIA, OUTLINE, POINT, Choice, Flag, Number, Row, Several, positive
from gripmargin.workcell.shapes import centroid, is_inside, polygon

FACES = ("plane", "curved")
PLATE = "of a uniform plate with its `components`; `outline` and `thickness` are required then"
UNIFORM = 0.05  # share by which a part's mass moments may differ from those of the plate


class Component(Declared, called="component"):
    """Something on a plate that is heavy and does not stiffen it: a connector, a coil, a rib.

    Attributes:
        mass: Of it.
        at: Its centre of mass in the tool frame as gripped; beyond the plate z is more than its thickness.
        size: Of the rectangle on the plate over which its mass is spread evenly.
        angle: From the tool's x axis to the first side of that.
    """

    mass: float = key(positive("mass"), "all")
    at: FloatArray = key(POINT, "all")
    size: FloatArray | None = key(Row(positive("length"), 2), "all", default=None, absent="a point")
    angle: float = key(Number("angle", what="an angle"), "all", default=0.0)

    @property
    def outline(self) -> FloatArray:
        """Corners of the rectangle [m], shape (4, 2), or its place alone, shape (1, 2)."""
        c, s = np.cos(self.angle), np.sin(self.angle)
        if self.size is None:
            return self.at[None, :2]
        corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * self.size / 2
        return np.asarray(corners @ np.array([[c, s], [-s, c]]) + self.at[:2])


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
            `youngs_modulus` or `bending_stiffness` of a uniform plate; else no check that counts on it passes.
        surface_factor: Holding strength here over that on the reference surface.
        max_pressure: Contact pressure the part may take.
        thickness: Of the uniform plate: for its mass moments and its bending; and how far below the gripped face the
            part stands when it may tip.
        youngs_modulus: Of the uniform plate: with it the part bends on its pads.
        poissons_ratio: Likewise; with `bending_stiffness` the root of the product of both.
        bending_stiffness: Of a strip, over its width: of one cut along `stiffness_axis` and of one cut across it, in
            place of `youngs_modulus` (paper and board: machine and cross direction, ISO 5628).
        stiffness_axis: From the tool's x axis to the first of these.
        twisting_stiffness: Moment over width for each unit of twist `2 w_xy`, in those directions.
        clearance: How far any place of the part may droop from the plane of its pads while it is carried, either way.
        components: What is on the plate: heavy, not stiff. Their mass is part of `mass`, the plate weighs the rest.
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
    bending_stiffness: FloatArray | None = key(Row(positive("moment"), 2), CONTACT, default=None)
    stiffness_axis: float = key(Number("angle", what="an angle"), CONTACT, default=0.0)
    twisting_stiffness: float | None = key(
        positive("moment"), CONTACT, default=None, absent="the worst of 0.1 and 1.5 times Huber's"
    )
    clearance: float | None = key(positive("length"), "droop", default=None, absent="not judged")
    components: tuple[Component, ...] = key(Several(Component), "all", default=())
    drag_area: float | None = key(positive("area"), "hold, swing, settle", default=None, absent="no air")

    def faults(self) -> Iterator[Fault]:
        """Stiffness said twice or in no direction; components that are not on the plate or weigh more than the part."""
        if self.bending_stiffness is not None and self.youngs_modulus is not None:
            yield "bending_stiffness", "a bending stiffness and a modulus", "one of the two"
        for name, given in (
            ("stiffness_axis", self.stiffness_axis != 0.0),
            ("twisting_stiffness", self.twisting_stiffness),
        ):
            if given and self.bending_stiffness is None:
                yield name, "no bending stiffness that it belongs to", "part.bending_stiffness too, or neither"
        if not self.components:
            return
        if self.outline is None or self.thickness is None:
            yield "components", "components on no plate", "part.outline and part.thickness too"
            return
        if fault := _too_heavy(self.mass, self.components):
            yield ("components", *fault)
            return
        for i, component in enumerate(self.components):
            if not is_inside(component.outline, self.outline):
                yield f"components[{i}]", "a place beyond the outline", "a place on the part"
        if not self.is_plate:
            found = "a centre of mass or an inertia that differs from that of the plate with them by more than 5 %"
            yield "components", found, "one of both", "leave out part.com and part.inertia: they are worked out"

    @property
    def is_plate(self) -> bool:
        """Whether centre of mass and inertia are those of a uniform plate of its outline with its components."""
        if self.outline is None or self.thickness is None:
            return False
        com, inertia = uniform_plate(self.mass, self.outline, self.thickness, self.components)
        moment = float(np.trace(inertia)) / 2
        apart = np.abs(self.com - com)
        is_alike = float(np.abs(self.inertia - inertia).max()) <= UNIFORM * moment
        is_central = float(apart[:2].max()) <= UNIFORM * np.sqrt(moment / self.mass)
        return bool(is_alike and is_central and apart[2] <= self.thickness / 2)

    @property
    def strips(self) -> tuple[float, float] | None:
        """Bending stiffness over width of strips along and across its axis [N m]; None where it is not known."""
        if self.thickness is None:
            return None
        if self.bending_stiffness is not None:
            return float(self.bending_stiffness[0]), float(self.bending_stiffness[1])
        return None if self.youngs_modulus is None else (self.youngs_modulus * self.thickness**3 / 12.0,) * 2

    @property
    def modulus(self) -> float:
        """Least modulus of a plate that bends so [Pa]; inf where none is known."""
        strips, thickness = self.strips, self.thickness
        return np.inf if strips is None or thickness is None else 12.0 * min(strips) / thickness**3

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
        turned = float(np.arctan2(rotation[1, 0], rotation[0, 0]))
        return replace(
            self,
            com=rotation @ self.com + shift,
            inertia=rotation @ self.inertia @ rotation.T,
            outline=outline,
            stiffness_axis=self.stiffness_axis if self.bending_stiffness is None else self.stiffness_axis + turned,
            components=tuple(
                replace(each, at=rotation @ each.at + shift, angle=each.angle + turned) for each in self.components
            ),
        )


def uniform_plate(
    mass: float,
    outline: Sequence[Sequence[float]] | FloatArray,
    thickness: float,
    components: Sequence[Component] = (),
) -> tuple[FloatArray, FloatArray]:
    """Return centre of mass and inertia of a uniform plate lying on the pad plane, from z = 0 to its thickness.

    Args:
        mass: Of all [kg].
        outline: Corners in the tool frame [m], shape (k, 2).
        thickness: [m].
        components: On it, thin at the height where they are; the plate weighs what they leave of the mass.

    Returns:
        Centre of mass [m], shape (3,); inertia about it, tool axes [kg m^2], shape (3, 3).

    Raises:
        InputError: The components weigh more than all.
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
    inertia = np.array([[yy + zz, -xy, 0.0], [-xy, xx + zz, 0.0], [0.0, 0.0, xx + yy]])
    com = np.array([cx, cy, thickness / 2])
    if not components:
        return com, mass * inertia
    if fault := _too_heavy(mass, components):
        raise InputError("part.components", *fault)
    bodies: list[tuple[float, FloatArray, FloatArray]] = [(mass - sum(each.mass for each in components), com, inertia)]
    for each in components:
        square = np.zeros((3, 3))
        if each.size is not None:
            c, s = np.cos(each.angle), np.sin(each.angle)
            axes = np.array([[c, -s], [s, c]])
            square[:2, :2] = axes @ np.diag(each.size**2 / 12.0) @ axes.T
        bodies.append((each.mass, each.at, np.trace(square) * np.eye(3) - square))
    middle = np.sum([own * place for own, place, _ in bodies], axis=0) / mass
    whole = np.zeros((3, 3))
    for own, place, turning in bodies:
        arm = place - middle
        whole += own * (turning + (arm @ arm) * np.eye(3) - np.outer(arm, arm))
    return middle, whole


def _too_heavy(mass: float, components: Sequence[Component]) -> tuple[str, str] | None:
    on_it = sum(each.mass for each in components)
    return (
        None if on_it < mass else (f"{on_it:g} kg of {mass:g} kg in all", "less than part.mass, which counts them too")
    )
