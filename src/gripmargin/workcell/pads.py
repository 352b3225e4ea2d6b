"""Pad materials, pads and the gripper that carries them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from difflib import get_close_matches

import numpy as np
from numpy.typing import ArrayLike

from gripmargin.base.arrays import FloatArray, frozen
from gripmargin.base.poses import as_pose
from gripmargin.workcell.fields import CONTACT, Declared, Fault, key, put
from gripmargin.workcell.kinds import (
    CURVE,
    INERTIA,
    OUTLINE,
    POINT,
    PULLS,
    Number,
    Pose,
    Several,
    Text,
    checked,
    not_negative,
    positive,
)
from gripmargin.workcell.overlaps import overlaps
from gripmargin.workcell.shapes import FEWEST_PADS

MOST_PADS = 100  # on one tool, which take half a minute (no source: grippers have a few dozen at most)
EXTENT = positive("length")  # of a rectangle, of a disc
BOND = "preload, lift_off, hold, release"  # the checks that ask how well the pads were pressed on


class PadMaterial(Declared):
    """A pad material; strengths on the reference surface.

    It is an adhesive face on its elastic backing; strengths are those of a pad that is fully pressed on.

    Attributes:
        pull_off_stress: Normal stress at which the face lets go.
        shear_strength: Tangential stress at which it lets go.
        normal_stiffness: Of the backing, normal to the face, per area.
        shear_stiffness: Of the backing, along the face, per area.
        peel_energy: Energy to part a unit of area; limits the pull-off stress to `sqrt(2 k G)`.
        fouling_per_cycle: Share of the strength lost with each pick, compounding; a release is judged on clean pads.
        fouling_floor: Share of the strength that dirt does not take, however many picks; with `fouling_per_cycle`,
            which then takes from the rest. It has to be measured.
        pulls: Pulls of pads that got dirty, in place of `fouling_per_cycle`; where pads were pulled more than once,
            with the number of the pad, of three pads at least. What 99 % hold with a confidence of 95 % after as many
            picks counts, and of clean pads what 99 % stay below for the release; other strengths change alike. On pads
            that are dirtier than those that were pulled nothing passes.
        recovery: Share of its strength that a pad has after a cleaning, of what it had after the one before: what
            cleaning wears off for good, compounding over `gripper.cleanings`. A release is judged on new pads.
        coupon_area: Area of the sample the strengths were measured on; a contact more than four times as large is
            reported as extrapolated.
        full_preload: Contact pressure from which the face holds fully; below it the share rises in a straight line. A
            release is judged from a full bond.
        preload_curve: Measured share of the full strength over peak contact pressure, pressures rising; goes before
            `full_preload`. A release starts from the bond that the curve gives, where every material has one. With
            neither, a preload that would pass is undecided.
        min_dwell: Least time under pressure before the face holds; without it, it holds at a touch.
        overload_pressure: Contact pressure above which the face loses its hold; with the next. A release by overload is
            undecided without both.
        overload_residual: Share of the strength left after an overload.
        backing_thickness: Of the elastic backing. A contact narrower than it is outside what the stiffnesses were
            measured for: nothing that counts on it passes.
        fibril_pitch: From one fibril of the face to the next. A contact narrower than ten of them is outside what the
            strengths were measured for: nothing that counts on it passes.
        damping_ratio: Of the part swinging on the backing, share of critical damping.
        name: What the job calls it; in the file the name of its table.
    """

    pull_off_stress: float = key(positive("stress"), "all")
    shear_strength: float = key(positive("stress"), "all")
    normal_stiffness: float = key(positive("foundation modulus"), "all")
    shear_stiffness: float = key(positive("foundation modulus"), "all")
    peel_energy: float | None = key(positive("energy per area"), "all", default=None)
    fouling_per_cycle: float = key(Number(least=0, below=1, what="a share"), "all but release", default=0.0)
    fouling_floor: float = key(Number(least=0, below=1, what="a share"), "all but release", default=0.0)
    pulls: FloatArray | None = key(PULLS, "all", default=None)
    recovery: float | None = key(
        Number(above=0, most=1, what="a share"), "all but release", default=None, absent="all of it"
    )
    coupon_area: float | None = key(positive("area"), "names", default=None)
    full_preload: float | None = key(positive("stress"), "preload, lift_off, hold", default=None)
    preload_curve: FloatArray | None = key(CURVE, BOND, default=None)
    min_dwell: float | None = key(not_negative("time"), BOND, default=None)
    overload_pressure: float | None = key(positive("stress"), BOND, default=None)
    overload_residual: float | None = key(Number(least=0, most=1, what="a share"), BOND, default=None)
    backing_thickness: float | None = key(positive("length"), CONTACT, default=None)
    fibril_pitch: float | None = key(positive("length"), CONTACT, default=None)
    damping_ratio: float | None = key(
        Number(least=0, below=1, what="a ratio"), "swing, settle, stop", default=None, absent="0, the safe choice"
    )
    name: str = key(Text(), default="pad material")

    def place(self, name: str) -> str:
        """Return what messages call a field."""
        return f"{self.name}.{name}"

    def faults(self) -> Iterator[Fault]:
        """An overload without its pressure, or without what is left after it; two ways to get dirty."""
        if (self.overload_pressure is None) != (self.overload_residual is None):
            yield "overload_pressure", "one of overload_pressure and overload_residual", "both or neither"
        if self.pulls is not None and self.fouling_per_cycle > 0:
            yield "pulls", "pulls of pads that got dirty, beside fouling_per_cycle", "one of them"
        if self.fouling_floor > 0 and not self.fouling_per_cycle > 0:
            yield "fouling_floor", "a floor without fouling_per_cycle", "the share of the rest that is lost with a pick"

    @property
    def pulled_up_to(self) -> float:
        """Picks up to which pads were pulled, where pads are told apart three of them [-]; inf without a record."""
        if self.pulls is None:
            return float("inf")
        picks = self.pulls[:, 0]
        if self.pulls.shape[1] == 2:
            return float(picks.max())
        of_pads = sorted(picks[self.pulls[:, 2] == pad].max() for pad in np.unique(self.pulls[:, 2]))
        return float(of_pads[-FEWEST_PADS])

    @property
    def limiting_pull_off_stress(self) -> float:
        """Pull-off stress as the peel energy limits it, ``min(S, sqrt(2 k_n G))`` [Pa].

        On a Winkler layer the energy released at the edge is G = sigma^2 / (2 k_n)
        (Kanninen, Int. J. Fract. 9:83, 1973, from memory).
        """
        if self.peel_energy is None:
            return self.pull_off_stress
        return min(self.pull_off_stress, float(np.sqrt(2.0 * self.normal_stiffness * self.peel_energy)))


class Pad(Declared):
    """One pad: an outline in its own frame, and where that frame sits in the tool frame.

    Build it with `Pad.rectangle`, `Pad.disc` or `Pad.polygon`.

    Attributes:
        name: A name of its own.
        material: One of the materials.
        outline: Corners in the pad frame, counter-clockwise. Of a disc: a polygon of the same area.
        edge: Points where the edge is judged. Of a disc: the circumscribed polygon, so that judging errs on the safe
            side.
        pose_in_tool: The pad frame in the tool frame, or in that of its station; +z into the part.
        station: Which of several stations of the gripper it belongs to: its pads carry one part, and others may carry
            another at the same time.
    """

    name: str = key(Text(), "names")
    material: PadMaterial = key(Text("the name of a table"), "all")
    outline: FloatArray = key(OUTLINE)
    edge: FloatArray | None = key(OUTLINE, default=None, absent="the outline")
    pose_in_tool: FloatArray = key(
        Pose(), "all", default_factory=lambda: np.eye(4), absent="the tool frame", spelled="at"
    )
    station: str | None = key(Text("the name of a station"), "all", default=None, absent="there is but one")

    DISC_CORNERS = 64

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.edge is None:
            put(self, "edge", self.outline)

    def place(self, name: str) -> str:
        """Return what messages call a field."""
        return f"pad '{self.name}' {'pose' if name == 'pose_in_tool' else name}"

    def enlarged(self, factor: float) -> Pad:
        """Return the pad with its length and width times a factor, about its own frame."""
        edge = self.outline if self.edge is None else self.edge
        return replace(self, outline=factor * self.outline, edge=factor * edge)

    @classmethod
    def rectangle(
        cls, name: str, material: PadMaterial, size: ArrayLike, at: ArrayLike | None = None, station: str | None = None
    ) -> Pad:
        """A rectangle about the pad frame's origin; size along x and y [m], pose in the tool frame (4, 4)."""
        x, y = (checked(EXTENT, s, f"pad '{name}' size") / 2 for s in frozen(size, (2,), f"pad '{name}' size"))
        return cls._shape(name, material, [[-x, -y], [x, -y], [x, y], [-x, y]], None, at, station)

    @classmethod
    def disc(
        cls, name: str, material: PadMaterial, diameter: float, at: ArrayLike | None = None, station: str | None = None
    ) -> Pad:
        """A disc about the pad frame's origin; diameter [m], pose in the tool frame (4, 4)."""
        radius = checked(EXTENT, diameter, f"pad '{name}' diameter") / 2
        step = np.pi / cls.DISC_CORNERS
        angle = step * (2 * np.arange(cls.DISC_CORNERS) + 1)
        corners = np.column_stack([np.cos(angle), np.sin(angle)])
        same_area = radius * np.sqrt(2 * step / np.sin(2 * step))
        return cls._shape(name, material, same_area * corners, radius / np.cos(step) * corners, at, station)

    @classmethod
    def polygon(
        cls,
        name: str,
        material: PadMaterial,
        outline: ArrayLike,
        at: ArrayLike | None = None,
        station: str | None = None,
    ) -> Pad:
        """A simple polygon, not necessarily convex; corners in the pad frame [m], shape (k, 2)."""
        return cls._shape(name, material, outline, None, at, station)

    @classmethod
    def _shape(
        cls,
        name: str,
        material: PadMaterial,
        outline: ArrayLike,
        edge: ArrayLike | None,
        at: ArrayLike | None,
        station: str | None,
    ) -> Pad:
        pose = np.eye(4) if at is None else as_pose(at, f"pad '{name}' pose")
        edge_ = None if edge is None else np.asarray(edge)
        corners = np.asarray(outline)
        return cls(name=name, material=material, outline=corners, edge=edge_, pose_in_tool=pose, station=station)


class Station(Declared, called="station"):
    """A side of the gripper whose pads carry one part, while those of others may carry another.

    Its frame takes the place of the tool frame for its pads and for the parts on them.

    Attributes:
        name: As pads and phases call it.
        pose_in_tool: Its frame in the tool frame, +z into the part.
    """

    name: str = key(Text(), "all")
    pose_in_tool: FloatArray = key(
        Pose(), "all", default_factory=lambda: np.eye(4), absent="the tool frame", spelled="at"
    )


class Gripper(Declared, called="gripper"):
    """The pads on the tool.

    One rigid plate carries them all.

    Attributes:
        pads: One or more pads with names of their own.
        stations: Where the frames of its stations lie; one that is not listed has the tool frame.
        cycles_since_cleaning: Picks since the pads were cleaned; counts with `fouling_per_cycle` and `pulls`.
        cleanings: How often the pads have been cleaned so far; counts with `recovery`.
        mass: Of everything between the robot's flange and the part: adapter, plate, springs, pads.
        com: Its centre of mass in the tool frame; z below 0 lies behind the pads.
        inertia: About its centre of mass, tool axes: xx yy zz xy xz yz, as `part.inertia`.
    """

    pads: tuple[Pad, ...] = key(Several(Pad, least=1, most=MOST_PADS), "all")
    stations: tuple[Station, ...] = key(Several(Station), "all", default=())
    cycles_since_cleaning: float = key(not_negative(), "all but release", default=0.0)
    cleanings: float = key(not_negative(), "all but release", default=0.0)
    mass: float | None = key(positive("mass"), "flange", default=None, absent="not known")
    com: FloatArray | None = key(POINT, "flange", default=None, absent="not known")
    inertia: FloatArray | None = key(INERTIA, "flange", default=None, absent="not known")

    def faults(self) -> Iterator[Fault]:
        """No pad, two of one name or in one place, a centre of mass or an inertia without the mass."""
        names = [pad.name for pad in self.pads]
        if not names:
            yield "pads", "no pad", "at least one"
        if again := [name for i, name in enumerate(names) if name in names[:i]]:
            yield "pads", f"two pads of the name '{again[0]}'", "a name of its own for each pad"
        yield from self._station_faults()
        for one, other, area, (x, y, z) in overlaps([self._in_tool(pad) for pad in self.pads]):
            place = f"x {1e3 * x:.1f}, y {1e3 * y:.1f}, z {1e3 * z:.1f} mm in the tool frame"
            found = f"pads '{one.name}' and '{other.name}', which overlap by {1e6 * area:.4g} mm^2 at {place}"
            due = "pads beside each other, for each place on the part is held once"
            yield "pads", found, due, "correct their places or sizes, or leave one of them out"
        for name in ("com", "inertia"):
            if self.mass is None and getattr(self, name) is not None:
                yield "mass", f"nothing, beside gripper.{name}", "the mass of the gripper"

    def _station_faults(self) -> Iterator[Fault]:
        """A pad of no station beside pads of one, a station without pads or told twice."""
        names, told = self.station_names, [station.name for station in self.stations]
        for i, pad in enumerate(self.pads):
            if names and pad.station is None:
                due = f"the station that pad '{pad.name}' belongs to ({', '.join(names)})"
                yield f"pads[{i}].station", "nothing, beside pads of a station", due
        for i, name in enumerate(told):
            if name in told[:i]:
                yield f"stations[{i}].name", f"'{name}' a second time", "a name of its own for each station"
            if name not in names:
                near = get_close_matches(name, names, n=1)
                remedy = (
                    f"did you mean '{near[0]}'?" if near else f'give the pads that carry its part station = "{name}"'
                )
                yield f"stations[{i}].name", f"'{name}', a station without pads", "one that pads belong to", remedy

    @property
    def station_names(self) -> tuple[str, ...]:
        """Names of the stations, in the order of the pads; none where all pads carry the same part."""
        return tuple(dict.fromkeys(pad.station for pad in self.pads if pad.station is not None))

    def frame_of(self, station: str | None) -> FloatArray:
        """Return the frame of a station in the tool frame, shape (4, 4)."""
        return next((each.pose_in_tool for each in self.stations if each.name == station), np.eye(4))

    def at_station(self, station: str) -> Gripper:
        """Return the gripper with the pads of one station alone, seen from its frame."""
        to_station = np.linalg.inv(self.frame_of(station))
        turn = to_station[:3, :3]
        return replace(
            self,
            pads=tuple(replace(pad, station=None) for pad in self.pads if pad.station == station),
            stations=(),
            com=None if self.com is None else turn @ self.com + to_station[:3, 3],
            inertia=None if self.inertia is None else turn @ self.inertia @ turn.T,
        )

    def _in_tool(self, pad: Pad) -> Pad:
        """A pad with its pose in the tool frame."""
        if not self.stations:
            return pad
        return replace(pad, pose_in_tool=self.frame_of(pad.station) @ pad.pose_in_tool)
