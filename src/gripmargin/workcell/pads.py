"""Pad materials, pads and the gripper that carries them."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike

from gripmargin.base.arrays import FloatArray, Value, frozen
from gripmargin.base.errors import InputError
from gripmargin.base.poses import as_pose
from gripmargin.workcell.fields import inertia_matrix, optional, positive, put
from gripmargin.workcell.outline import polygon


@dataclass(frozen=True, eq=False, kw_only=True)
class PadMaterial(Value):
    """An adhesive face on its elastic backing; strengths are those on the reference surface, fully pressed on.

    Attributes:
        pull_off_stress: Normal stress at which the face lets go [Pa].
        shear_strength: Tangential stress at which it lets go [Pa].
        normal_stiffness: Backing, normal to the face, per area [Pa/m].
        shear_stiffness: Backing, along the face, per area [Pa/m].
        peel_energy: Energy to part a unit of area [J/m^2]; where given it limits the pull-off stress.
        fouling_per_cycle: Share of the holding strength lost with each pick, compounding [-].
        coupon_area: Area of the sample the strengths were measured on [m^2].
        full_preload: Contact pressure from which the face holds fully [Pa].
        preload_curve: Measured share of the full holding strength (0 to 1) over peak contact pressure [Pa],
            rows of (pressure, share), shape (k, 2).
        min_dwell: Least time under pressure before the face holds [s].
        overload_pressure: Contact pressure above which the face loses its hold [Pa].
        overload_residual: Share of the holding strength left after an overload [-]; given with the pressure.
        damping_ratio: Of the part swinging on the backing, share of critical damping [-].
        name: What the job calls it.
    """

    pull_off_stress: float
    shear_strength: float
    normal_stiffness: float
    shear_stiffness: float
    peel_energy: float | None = None
    fouling_per_cycle: float = 0.0
    coupon_area: float | None = None
    full_preload: float | None = None
    preload_curve: FloatArray | None = None
    min_dwell: float | None = None
    overload_pressure: float | None = None
    overload_residual: float | None = None
    damping_ratio: float | None = None
    name: str = "pad material"

    def __post_init__(self) -> None:
        for key, unit in (
            ("pull_off_stress", "Pa"),
            ("shear_strength", "Pa"),
            ("normal_stiffness", "Pa/m"),
            ("shear_stiffness", "Pa/m"),
        ):
            put(self, key, positive(getattr(self, key), f"{self.name}.{key}", unit))
        for key, unit in (
            ("peel_energy", "J/m^2"),
            ("coupon_area", "m^2"),
            ("full_preload", "Pa"),
            ("overload_pressure", "Pa"),
        ):
            optional(self, key, self.name, unit)
        optional(self, "min_dwell", self.name, "s", zero=True)
        if not 0.0 <= self.fouling_per_cycle < 1.0:
            raise InputError(f"{self.name}.fouling_per_cycle", f"{self.fouling_per_cycle}", "a share from 0 up to 1")
        if self.damping_ratio is not None and not 0.0 <= self.damping_ratio < 1.0:
            raise InputError(f"{self.name}.damping_ratio", f"{self.damping_ratio}", "a ratio from 0 up to 1")
        if (self.overload_pressure is None) != (self.overload_residual is None):
            raise InputError(
                f"{self.name}.overload_pressure", "one of overload_pressure and overload_residual", "both or neither"
            )
        if self.overload_residual is not None and not 0.0 <= self.overload_residual <= 1.0:
            raise InputError(f"{self.name}.overload_residual", f"{self.overload_residual}", "a share from 0 to 1")
        if self.preload_curve is not None:
            put(self, "preload_curve", _curve(self.preload_curve, f"{self.name}.preload_curve"))

    @property
    def limiting_pull_off_stress(self) -> float:
        """Pull-off stress as the peel energy limits it, ``min(S, sqrt(2 k_n G))`` [Pa].

        On a Winkler layer the energy released at the edge is G = sigma^2 / (2 k_n)
        (Kanninen, Int. J. Fract. 9:83, 1973, from memory).
        """
        if self.peel_energy is None:
            return self.pull_off_stress
        return min(self.pull_off_stress, float(np.sqrt(2.0 * self.normal_stiffness * self.peel_energy)))


@dataclass(frozen=True, eq=False, kw_only=True)
class Pad(Value):
    """One pad: an outline in its own frame, and where that frame sits in the tool frame.

    Build it with `Pad.rectangle`, `Pad.disc` or `Pad.polygon`.

    Attributes:
        name: What the job calls it.
        material: Its material.
        outline: Corners in the pad frame [m], counter-clockwise, shape (k, 2). Of a disc: a polygon of
            the same area.
        edge: Points where the edge is judged [m], shape (k, 2). Of a disc: the circumscribed polygon,
            so that judging errs on the safe side.
        pose_in_tool: Pad frame in the tool frame, +z into the part, shape (4, 4).
    """

    name: str
    material: PadMaterial
    outline: FloatArray
    edge: FloatArray | None = None
    pose_in_tool: FloatArray = field(default_factory=lambda: np.eye(4))

    DISC_CORNERS = 64

    def __post_init__(self) -> None:
        outline = polygon(self.outline, f"pad '{self.name}' outline")
        put(self, "outline", outline)
        put(self, "edge", outline if self.edge is None else polygon(self.edge, f"pad '{self.name}' edge"))
        put(self, "pose_in_tool", as_pose(self.pose_in_tool, f"pad '{self.name}' pose"))

    def enlarged(self, factor: float) -> Pad:
        """Return the pad with its length and width times a factor, about its own frame."""
        edge = self.outline if self.edge is None else self.edge
        return replace(self, outline=factor * self.outline, edge=factor * edge)

    @classmethod
    def rectangle(cls, name: str, material: PadMaterial, size: ArrayLike, at: ArrayLike | None = None) -> Pad:
        """A rectangle about the pad frame's origin; size along x and y [m], pose in the tool frame (4, 4)."""
        x, y = (positive(s, f"pad '{name}' size", "m") / 2 for s in frozen(size, (2,), f"pad '{name}' size"))
        return cls._shape(name, material, [[-x, -y], [x, -y], [x, y], [-x, y]], None, at)

    @classmethod
    def disc(cls, name: str, material: PadMaterial, diameter: float, at: ArrayLike | None = None) -> Pad:
        """A disc about the pad frame's origin; diameter [m], pose in the tool frame (4, 4)."""
        radius = positive(diameter, f"pad '{name}' diameter", "m") / 2
        step = np.pi / cls.DISC_CORNERS
        angle = step * (2 * np.arange(cls.DISC_CORNERS) + 1)
        corners = np.column_stack([np.cos(angle), np.sin(angle)])
        same_area = radius * np.sqrt(2 * step / np.sin(2 * step))
        return cls._shape(name, material, same_area * corners, radius / np.cos(step) * corners, at)

    @classmethod
    def polygon(cls, name: str, material: PadMaterial, outline: ArrayLike, at: ArrayLike | None = None) -> Pad:
        """A simple polygon, not necessarily convex; corners in the pad frame [m], shape (k, 2)."""
        return cls._shape(name, material, outline, None, at)

    @classmethod
    def _shape(
        cls, name: str, material: PadMaterial, outline: ArrayLike, edge: ArrayLike | None, at: ArrayLike | None
    ) -> Pad:
        return cls(
            name=name,
            material=material,
            outline=np.asarray(outline, dtype=np.float64),
            edge=None if edge is None else np.asarray(edge, dtype=np.float64),
            pose_in_tool=np.eye(4) if at is None else as_pose(at, f"pad '{name}' pose"),
        )


@dataclass(frozen=True, eq=False, kw_only=True)
class Gripper(Value):
    """The pads on one rigid plate.

    Attributes:
        pads: One or more pads with names of their own.
        cycles_since_cleaning: Picks since the pads were last cleaned; counts with `fouling_per_cycle`.
        mass: Of everything between the robot's flange and the part [kg], or None: not known.
        com: Its centre of mass in the tool frame [m], shape (3,), or None: not known.
        inertia: Its inertia about its centre of mass, tool axes [kg m^2], shape (3, 3), or None: not known; (6,) is
            read as xx yy zz xy xz yz.
    """

    pads: tuple[Pad, ...]
    cycles_since_cleaning: float = 0.0
    mass: float | None = None
    com: FloatArray | None = None
    inertia: FloatArray | None = None

    def __post_init__(self) -> None:
        put(self, "pads", tuple(self.pads))
        if not self.pads:
            raise InputError("gripper.pads", "no pad", "at least one")
        names = [pad.name for pad in self.pads]
        if len(set(names)) != len(names):
            raise InputError("gripper.pads", f"pad names {', '.join(names)}", "a name of its own for each pad")
        positive(self.cycles_since_cleaning, "gripper.cycles_since_cleaning", "-", zero=True)
        optional(self, "mass", "gripper", "kg")
        for key in ("com", "inertia"):
            if getattr(self, key) is not None and self.mass is None:
                raise InputError("gripper.mass", f"nothing, beside gripper.{key}", "the mass of the gripper")
        if self.com is not None:
            put(self, "com", frozen(self.com, (3,), "gripper.com"))
        if self.inertia is not None:
            put(self, "inertia", inertia_matrix(self.inertia, "gripper.inertia"))


def _curve(values: ArrayLike, where: str) -> FloatArray:
    curve = frozen(values, (None, 2), where)
    if len(curve) < 2:
        raise InputError(where, f"{len(curve)} points", "at least 2")
    pressure, share = curve.T
    if pressure[0] < 0 or not (np.diff(pressure) > 0).all():
        raise InputError(where, "pressures that do not rise from 0 or more", "pressures in rising order")
    if not ((share >= 0) & (share <= 1)).all():
        raise InputError(where, f"shares from {share.min():g} to {share.max():g}", "shares from 0 to 1")
    return curve
