"""What a person describes: pad materials, pads, gripper, part, phases of the program, targets.

All lengths, masses and stresses are SI. Frames: the tool frame has its origin on the pad plane and +z
out of the pads into the part; a pad frame has +z into the part as well; part data is given in the tool
frame as gripped.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike

from gripmargin.arrays import FloatArray, Value, frozen, sealed
from gripmargin.errors import InputError
from gripmargin.poses import as_pose

STANDARD_GRAVITY = 9.80665  # [m/s^2], 3rd CGPM, 1901

PhaseKind = Literal["preload", "carry", "release", "free"]
ReleaseKind = Literal["peel", "torsion", "shear", "overload"]


def _positive(value: float, where: str, unit: str, *, zero: bool = False) -> float:
    number = float(value)
    if not np.isfinite(number) or number < 0 or (number == 0 and not zero):
        raise InputError(where, f"{number:g}", f"a value {'of 0 or more' if zero else 'above 0'} [{unit}]")
    return number


def _set(target: object, name: str, value: object) -> None:
    object.__setattr__(target, name, value)


def _optional(target: object, key: str, owner: str, unit: str, *, zero: bool = False) -> None:
    """Check a quantity that may be left out (None)."""
    value = getattr(target, key)
    if value is not None:
        _set(target, key, _positive(value, f"{owner}.{key}", unit, zero=zero))


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
            _set(self, key, _positive(getattr(self, key), f"{self.name}.{key}", unit))
        for key, unit in (
            ("peel_energy", "J/m^2"),
            ("coupon_area", "m^2"),
            ("full_preload", "Pa"),
            ("overload_pressure", "Pa"),
        ):
            _optional(self, key, self.name, unit)
        _optional(self, "min_dwell", self.name, "s", zero=True)
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
            _set(self, "preload_curve", _curve(self.preload_curve, f"{self.name}.preload_curve"))

    @property
    def limiting_pull_off_stress(self) -> float:
        """Pull-off stress [Pa], limited by the peel energy: min(S, sqrt(2 k_n G)).

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
        _set(self, "outline", outline)
        _set(self, "edge", outline if self.edge is None else polygon(self.edge, f"pad '{self.name}' edge"))
        _set(self, "pose_in_tool", as_pose(self.pose_in_tool, f"pad '{self.name}' pose"))

    @classmethod
    def rectangle(cls, name: str, material: PadMaterial, size: ArrayLike, at: ArrayLike | None = None) -> Pad:
        """A rectangle about the pad frame's origin; size along x and y [m], pose in the tool frame (4, 4)."""
        x, y = (_positive(s, f"pad '{name}' size", "m") / 2 for s in frozen(size, (2,), f"pad '{name}' size"))
        return cls._shape(name, material, [[-x, -y], [x, -y], [x, y], [-x, y]], None, at)

    @classmethod
    def disc(cls, name: str, material: PadMaterial, diameter: float, at: ArrayLike | None = None) -> Pad:
        """A disc about the pad frame's origin; diameter [m], pose in the tool frame (4, 4)."""
        radius = _positive(diameter, f"pad '{name}' diameter", "m") / 2
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
    """

    pads: tuple[Pad, ...]
    cycles_since_cleaning: float = 0.0

    def __post_init__(self) -> None:
        _set(self, "pads", tuple(self.pads))
        if not self.pads:
            raise InputError("gripper.pads", "no pad", "at least one")
        names = [pad.name for pad in self.pads]
        if len(set(names)) != len(names):
            raise InputError("gripper.pads", f"pad names {', '.join(names)}", "a name of its own for each pad")
        _positive(self.cycles_since_cleaning, "gripper.cycles_since_cleaning", "-", zero=True)


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
        drag_area: Drag coefficient times area, for air drag on a flat part [m^2].

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
        _set(self, "mass", _positive(self.mass, "part.mass", "kg"))
        _set(self, "com", frozen(self.com, (3,), "part.com"))
        given = np.asarray(self.inertia, dtype=np.float64)
        if given.shape == (6,):
            xx, yy, zz, xy, xz, yz = given
            given = np.array([[xx, xy, xz], [xy, yy, yz], [xz, yz, zz]])
        inertia = frozen(given, (3, 3), "part.inertia")
        _check_inertia(inertia)
        _set(self, "inertia", inertia)
        if self.outline is not None:
            _set(self, "outline", polygon(self.outline, "part.outline"))
        _set(self, "surface_factor", _positive(self.surface_factor, "part.surface_factor", "-"))
        for key, unit in (("max_pressure", "Pa"), ("thickness", "m"), ("youngs_modulus", "Pa"), ("drag_area", "m^2")):
            _optional(self, key, "part", unit)
        if self.poissons_ratio is not None and not 0.0 <= self.poissons_ratio <= 0.5:
            raise InputError("part.poissons_ratio", f"{self.poissons_ratio}", "a ratio from 0 to 0.5")

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


@dataclass(frozen=True, eq=False, kw_only=True)
class Phase(Value):
    """A stretch of the program: by the labels of its moves, or from one time to another.

    Attributes:
        kind: preload (approach until the part leaves its tray), carry (in the air), release (seating in the
            nest until the tool has left) or free (no part).
        moves: Labels of the moves it covers.
        start: First time [s].
        end: Last time [s].
        release: How the part is let go, where the kind is release.
    """

    kind: PhaseKind
    moves: tuple[str, ...] | None = None
    start: float | None = None
    end: float | None = None
    release: ReleaseKind | None = None

    def __post_init__(self) -> None:
        if self.kind not in get_args(PhaseKind):
            raise InputError("phase kind", f"{self.kind!r}", " or ".join(get_args(PhaseKind)))
        if self.release is not None and self.release not in get_args(ReleaseKind):
            raise InputError("phase release", f"{self.release!r}", " or ".join(get_args(ReleaseKind)))
        if self.release is not None and self.kind != "release":
            raise InputError("phase release", f"a way of release in a {self.kind} phase", "a release phase")
        by_time = self.start is not None or self.end is not None
        if (self.moves is not None) == by_time:
            raise InputError(f"{self.kind} phase", "both or neither of moves and times", "either moves, or from and to")
        if self.moves is not None:
            _set(self, "moves", (self.moves,) if isinstance(self.moves, str) else tuple(self.moves))
            if not self.moves:
                raise InputError(f"{self.kind} phase", "an empty list of moves", "at least one label")
        elif self.start is None or self.end is None or not self.start < self.end:
            raise InputError(f"{self.kind} phase", f"from {self.start} to {self.end}", "two times, the later one last")

    @property
    def span(self) -> tuple[float, float] | None:
        """From and to [s], None where the phase is told by moves."""
        return None if self.start is None or self.end is None else (self.start, self.end)


@dataclass(frozen=True, eq=False, kw_only=True)
class Targets(Value):
    """The margins to reach. They are the user's; no standard covers dry-adhesive pads.

    Attributes:
        hold: Least grip margin over the carry [-].
        stop: Least grip margin at a stop [-].
        release: Least ratio of restraint to demand over the release [-].
        peel: Least peel margin (1 / peel index) over the carry [-], or None: reported, not judged.
        one_pad_lost: Least grip margin with any one pad gone [-], or None: reported, not judged.
    """

    hold: float = 2.0
    stop: float = 1.5
    release: float = 1.5
    peel: float | None = None
    one_pad_lost: float | None = None

    def __post_init__(self) -> None:
        for key in ("hold", "stop", "release", "peel", "one_pad_lost"):
            value = getattr(self, key)
            if value is not None:
                _set(self, key, _positive(value, f"targets.{key}", "-"))


@dataclass(frozen=True, eq=False, kw_only=True)
class Pick(Value):
    """Where the part is taken from.

    Attributes:
        face: Gripped face in the world, +z out of the part, shape (4, 4).
        flatness: Largest gap between the face and a plane [m].
        break_away: Force that holds the part in its tray while it leaves [N].
        dwell: Time the tool rests on the part [s], where the program does not show it.
    """

    face: FloatArray
    flatness: float = 0.0
    break_away: float = 0.0
    dwell: float | None = None

    def __post_init__(self) -> None:
        _set(self, "face", as_pose(self.face, "pick.face"))
        for key, unit in (("flatness", "m"), ("break_away", "N"), ("dwell", "s")):
            _optional(self, key, "pick", unit, zero=True)


@dataclass(frozen=True, eq=False, kw_only=True)
class Nest(Value):
    """The fixture that receives the part, and what keeps the part in it.

    Attributes:
        face: Gripped face of the seated part in the world, +z out of the part, shape (4, 4).
        hold_down: Force that keeps the part down, beyond its weight [N].
        lateral_force: Largest force along the face that the nest takes [N].
        moment: Largest moment about the face normal that the nest takes [N m].
        support: Outline the part stands on, in the xy plane of ``face`` [m], shape (k, 2).
    """

    face: FloatArray
    hold_down: float = 0.0
    lateral_force: float = 0.0
    moment: float = 0.0
    support: FloatArray | None = None

    def __post_init__(self) -> None:
        _set(self, "face", as_pose(self.face, "nest.face"))
        for key, unit in (("hold_down", "N"), ("lateral_force", "N"), ("moment", "N*m")):
            _optional(self, key, "nest", unit, zero=True)
        if self.support is not None:
            _set(self, "support", polygon(self.support, "nest.support"))


@dataclass(frozen=True, eq=False, kw_only=True)
class Stop(Value):
    """How the robot stops when it is told to.

    Attributes:
        time: From full speed to rest along the path [s].
        deceleration: Along the path of the tool-frame origin [m/s^2]; instead of a time.
        axis_deceleration: Braking rate of each axis on its own [rad/s^2 or m/s^2], shape (joints,).
        category: Stop category after IEC 60204-1: 0 is uncontrolled, 1 and 2 are controlled; or None.
    """

    time: float | None = None
    deceleration: float | None = None
    axis_deceleration: FloatArray | None = None
    category: int | None = None

    def __post_init__(self) -> None:
        _optional(self, "time", "stop", "s")
        _optional(self, "deceleration", "stop", "m/s^2")
        if self.axis_deceleration is not None:
            rates = frozen(self.axis_deceleration, (None,), "stop.axis_deceleration")
            for i, rate in enumerate(rates):
                _positive(rate, f"stop.axis_deceleration[{i}]", "rad/s^2 or m/s^2")
            _set(self, "axis_deceleration", rates)
        if self.time is not None and self.deceleration is not None:
            raise InputError("stop.deceleration", "a stopping time and a deceleration", "one of the two")
        on_path = self.time is not None or self.deceleration is not None
        if not on_path and self.axis_deceleration is None:
            raise InputError("stop", "no way to stop", "a time, a deceleration or axis_deceleration")
        if self.category not in (None, 0, 1, 2):
            raise InputError("stop.category", f"{self.category}", "0, 1 or 2 (IEC 60204-1)")
        if self.category == 0 and self.axis_deceleration is None:
            raise InputError("stop.category", "category 0 without axis_deceleration", "the braking rate of each axis")
        if self.category in (1, 2) and not on_path:
            raise InputError("stop.category", f"category {self.category} without a time", "a time or a deceleration")


def polygon(corners: ArrayLike, where: str) -> FloatArray:
    """Return a simple polygon counter-clockwise, read-only, shape (k, 2) [m].

    Raises:
        InputError: Fewer than three corners, no area, or edges that cross.
    """
    import shapely  # noqa: PLC0415 - 0.2 s that only jobs with pads pay

    points = frozen(corners, (None, 2), where)
    if len(points) > 1 and np.array_equal(points[0], points[-1]):
        points = points[:-1]
    if len(points) < 3:
        raise InputError(where, f"{len(points)} corners", "at least 3")
    shape = shapely.Polygon(points)
    if not shape.is_valid:
        raise InputError(where, "edges that cross or touch", "a simple polygon", "list the corners in order around it")
    extent = float(np.ptp(points, axis=0).max())
    if shape.area <= 1e-9 * extent**2:
        raise InputError(where, "corners on one line", "a polygon with an area")
    return sealed(np.array(points if shape.exterior.is_ccw else points[::-1]))


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


def _check_inertia(inertia: FloatArray) -> None:
    scale = float(np.abs(inertia).max())
    if not np.allclose(inertia, inertia.T, rtol=0, atol=1e-9 * scale):
        raise InputError("part.inertia", "a matrix that is not symmetric", "a symmetric one")
    a, b, c = np.linalg.eigvalsh(inertia)
    if a < -1e-9 * scale or scale == 0.0:
        raise InputError("part.inertia", f"principal moments {a:.3g}, {b:.3g}, {c:.3g}", "moments above 0")
    if a + b < c * (1 - 1e-6):
        raise InputError(
            "part.inertia",
            f"principal moments {a:.3g}, {b:.3g}, {c:.3g}: the largest exceeds the sum of the others",
            "moments that a body can have (each at most the sum of the other two)",
            "check the order xx yy zz xy xz yz, the units and the signs",
        )
