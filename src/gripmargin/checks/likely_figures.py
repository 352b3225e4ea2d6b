"""Whether what a person describes can be meant: figures of no part, pad, place on the earth or air.

Each rule says in a sentence what looks wrong. Bounds without a source are set far beyond what parts and pads have.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final, Protocol

import numpy as np
import shapely

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.backing import Backing
from gripmargin.contact.bond import strength_left
from gripmargin.motion.program import ProgramMotion
from gripmargin.workcell.job import Job
from gripmargin.workcell.kinds import Number

LIGHTEST, HEAVIEST = 10.0, 23e3  # [kg/m^3]: the lightest packaging foams; osmium (from memory)
THINNEST = 2e-3  # [kg/m^2]: a plastic film of 1.5 um (from memory)
GYRATION: Final = (0.02, 20.0)  # times the size of the gripped face: a lump in its middle; a long rod by its end
ANY_GYRATION: Final = (2e-4, 3.0)  # [m]: a grain; a plate of 10 m
BEYOND = 0.25  # share of the gripped face's size by which a part may have its centre of mass beside it
ROUNDING = 1e-6  # [m] of places in files
WEAKEST, STRONGEST = (
    100.0,
    1e6,
)  # [Pa]: arrays of carbon nanotubes held 1 MPa in shear (Qu et al., Science 322:238, 2008)
SOFTEST, STIFFEST = 1e6, 1e13  # [Pa/m]: 10 kPa over 10 mm; 1 GPa over 0.1 mm (no source)
MOST_DAMPING = 0.5  # of critical: a loss factor of 1, of the most lossy elastomers (from memory)
MOST_SURFACE = 1.2  # times the reference surface (no source)
APART = 5e-3  # [m] by which pads on a plane face may be out of a plane: far more than backings give
ASLANT = 0.99  # cosine between the normals of pads on a plane face
ON_THE_PART = 0.05  # share of a pad's face that lies on the part: small parts lie on one pad (no source)
PRESS = 10.0, 1e7  # [Pa] from which a face may hold fully: hundredths of what the softest arrays need (no source)
LIGHTER, HEAVIER = 9.76, 10.0  # [m/s^2]: 9.7639 on the Huascaran to 9.8337 at sea in the Arctic (Hirt et al., Geophys.
# Res. Lett. 40:4279, 2013, from memory); rounded to 10 the part is only heavier
THINNEST_AIR = 0.3  # [kg/m^3]: 0.364 at 11 km (ISO 2533:1975, standard atmosphere, from memory)
LEAST_LEFT = 0.5  # of what clean pads hold (common practice: pads are cleaned long before; no source)


class Described(Protocol):
    """What is known of a job before pads and part are simulated."""

    @property
    def job(self) -> Job:
        """What was asked."""

    @property
    def whole(self) -> Backing:
        """All of the pads on the part."""

    @property
    def motion(self) -> ProgramMotion:
        """Of the tool."""


def density(case: Described) -> str:
    """Mass over volume, or over the area of the face."""
    part = case.job.part
    if part.outline is None:
        return ""
    area = shapely.Polygon(part.outline).area
    if part.thickness is None:
        per_area = part.mass / area
        found = f"the part weighs {per_area:.2g} kg/m^2 of its face, less than a film of 1.5 um"
        return f"{found}: check part.mass and part.outline" if per_area < THINNEST else ""
    found = part.mass / area / part.thickness
    if LIGHTEST <= found <= HEAVIEST:
        return ""
    than = "lighter than any foam" if found < LIGHTEST else "heavier than any metal"
    return (
        f"the part has a density of {found:.3g} kg/m^3, {than}: check part.mass, part.outline and part.thickness, and "
        "their units"
    )


def inertia(case: Described) -> str:
    """Radii of gyration beside the gripped face."""
    part, radius = case.job.part, gyration(case)
    across = size(case)
    least, most = GYRATION[0] * across, GYRATION[1] * across
    if part.outline is None:  # it may reach far beyond its pads, and is no less than they are
        least, most = max(least, ANY_GYRATION[0]), ANY_GYRATION[1]
    if least <= radius <= most:
        return ""
    what, also = ("pads", ", the pads' sizes") if part.outline is None else ("a face", "")
    return (
        f"the part's largest radius of gyration is {1e3 * radius:.3g} mm, beside {what} of {1e3 * across:.3g} mm: "
        f"check part.inertia and part.mass{also}, and their units"
    )


def centre_of_mass(case: Described) -> str:
    """The centre of mass in front of the pads, and over the face."""
    part, whole = case.job.part, case.whole
    depth = min(float(patch.pad.pose_in_tool[2, 3]) for patch in whole.patches)
    if part.com[2] < depth - 1e-9:
        return (
            f"the part's centre of mass lies {1e3 * (depth - part.com[2]):.3g} mm behind the pads, on the robot's "
            "side: part.com is in the tool frame, +z into the part"
        )
    out = outside(part.com[:2], face(case))
    if out > BEYOND * size(case):
        return (
            f"the part's centre of mass lies {1e3 * out:.0f} mm outside its face: check part.com, and whether part.com "
            "and part.outline are in the tool frame"
        )
    return ""


def pad_material(case: Described) -> str:
    """Strengths, stiffnesses and damping beside what was ever published."""
    bounds: Mapping[str, tuple[float, float]] = {
        "pull_off_stress": (WEAKEST, STRONGEST),
        "shear_strength": (WEAKEST, STRONGEST),
        "normal_stiffness": (SOFTEST, STIFFEST),
        "shear_stiffness": (SOFTEST, STIFFEST),
        "damping_ratio": (0.0, MOST_DAMPING),
        "full_preload": PRESS,
    }
    for material in dict.fromkeys(patch.pad.material for patch in case.whole.patches):
        for name, (least, most) in bounds.items():
            value = getattr(material, name)
            if value is not None and not least <= value <= most:
                kind = material.keys[name].kind
                unit = f" {kind.unit}" if isinstance(kind, Number) and kind.dimension else ""
                return (
                    f"{name} of '{material.name}' is {value:.3g}{unit}, and pads have {least:.3g} to {most:.3g}{unit}: "
                    "check its unit"
                )
    return ""


def surface_factor(case: Described) -> str:
    """A surface that holds far better than the reference."""
    factor = case.job.part.surface_factor
    if factor <= MOST_SURFACE:
        return ""
    return (
        f"part.surface_factor is {factor:.3g}: the part is said to hold better than the reference surface, and more "
        f"than {MOST_SURFACE:g} times is no scatter of the measurement"
    )


def pad_places(case: Described) -> str:
    """Pads that lie on the part, those of a plane face in one plane."""
    patches = case.whole.patches
    for patch in patches:
        if patch.share < ON_THE_PART:
            return (
                f"{100.0 * (1.0 - patch.share):.3g} % of pad '{patch.pad.name}' lie beside the part's outline: check "
                "its size and xyz, and part.outline and their units"
            )
    if case.job.part.face != "plane" or len(patches) < 2:
        return ""
    normals = np.array([patch.pad.pose_in_tool[:3, 2] for patch in patches])
    normal = normals.mean(axis=0) / max(float(np.linalg.norm(normals.mean(axis=0))), 1e-9)
    for patch, own in zip(patches, normals, strict=True):
        if own @ normal < ASLANT:
            return f"pad '{patch.pad.name}' faces elsewhere than the others, and part.face is plane: check its rpy"
    heights = np.array([patch.pad.pose_in_tool[:3, 3] for patch in patches]) @ normal
    off = heights - np.median(heights)
    if np.abs(off).max() <= APART:
        return ""
    worst = int(np.abs(off).argmax())
    return (
        f"pad '{patches[worst].pad.name}' stands {1e3 * abs(off[worst]):.3g} mm out of the plane of the others, and "
        "part.face is plane: check its xyz"
    )


def gravity(case: Described) -> str:
    """Gravity of the earth, or none."""
    found = float(np.linalg.norm(case.job.gravity))
    if found == 0.0 or LIGHTER <= found <= HEAVIER:
        return ""
    return f"job.gravity is {found:.3g} m/s^2, and on earth it is 9.76 to 9.84 m/s^2: check it, and its unit"


def air_density(case: Described) -> str:
    """Air of the earth, or none."""
    found = case.job.air_density
    if found == 0.0 or found >= THINNEST_AIR:
        return ""
    return (
        f"job.air_density is {found:.3g} kg/m^3, thinner than the air 11 km above the sea: check its unit, or state 0 "
        "for a vacuum"
    )


def fouling(case: Described) -> str:
    """Pads that keep more than half of what they held when clean."""
    picks = case.job.gripper.cycles_since_cleaning
    for material in dict.fromkeys(patch.pad.material for patch in case.whole.patches):
        left = strength_left(replace(material, pulls=None, recovery=None), picks)
        if left < LEAST_LEFT:
            return (
                f"'{material.name}' keeps {100.0 * left:.2g} % of its strength after {picks:g} picks: a loss by pick "
                "that was measured says nothing so far on; check fouling_per_cycle and cycles_since_cleaning"
            )
    return ""


def gyration(case: Described) -> float:
    """The part's largest radius of gyration [m]."""
    return float(np.sqrt(np.linalg.eigvalsh(case.job.part.inertia)[-1] / case.job.part.mass))


def face(case: Described) -> FloatArray:
    """Corners of the gripped face as far as it is known: the outline, or the pads [m], shape (k, 2)."""
    outline = case.job.part.outline
    return case.whole.edge_points()[:, :2] if outline is None else outline


def size(case: Described) -> float:
    """The longest distance over the gripped face, as far as it is known [m]."""
    return float(np.linalg.norm(np.ptp(face(case), axis=0)))


def outside(point: FloatArray, corners: FloatArray) -> float:
    """How far a point lies outside the hull of some corners [m]; 0 within."""
    out = float(shapely.MultiPoint(corners).convex_hull.distance(shapely.Point(point)))
    return out if out > ROUNDING else 0.0
