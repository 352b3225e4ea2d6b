"""What pressing does to a face: how much of its full strength a place holds after the move that pressed it on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from gripmargin.base.arrays import FloatArray, Value, frozen
from gripmargin.base.errors import InputError
from gripmargin.contact.bond import clean_strength, holding_strength
from gripmargin.contact.cells import Patch
from gripmargin.workcell import Gripper, PadMaterial, Part

LawSource = Literal["measured curve", "full preload", "none"]

REPEATS = 2e-5  # [m]; arms come back to a pose to 0.02 to 0.1 mm (data sheets by ISO 9283; from memory)


@dataclass(frozen=True, eq=False)
class ActivationLaw(Value):
    """Share of the full holding strength over the peak contact pressure, linear between its points.

    Beyond the last point the share stays what it is there. Below the first point it falls linearly to none at
    no pressure.

    Attributes:
        pressure: Peak contact pressure [Pa], rising from 0, shape (k,).
        share: Of the full strength [-], shape (k,).
        source: Where it comes from; "none" means that any touch counts as a full bond, which only an
            analysis that wants the strongest possible bond may rely on.
    """

    pressure: FloatArray
    share: FloatArray
    source: LawSource

    def __post_init__(self) -> None:
        pressure = frozen(self.pressure, (None,), "activation law pressure")
        share = frozen(self.share, pressure.shape, "activation law share")
        if pressure.size == 0 or pressure[0] < 0 or not (np.diff(pressure) > 0).all():
            raise InputError("activation law", f"pressures {pressure.tolist()}", "pressures that rise from 0 or more")
        if not ((share >= 0) & (share <= 1)).all():
            raise InputError("activation law", f"shares {share.tolist()}", "shares from 0 to 1")
        if pressure[0] > 0:
            pressure, share = (frozen(np.append(0.0, a), (None,), "activation law") for a in (pressure, share))
        object.__setattr__(self, "pressure", pressure)
        object.__setattr__(self, "share", share)

    @classmethod
    def of(cls, material: PadMaterial) -> ActivationLaw:
        """Return the law of a material: its measured curve, else a straight rise up to its full preload.

        The straight rise has no source. Measured curves rise faster at first and then level off, so it
        underestimates a weak bond.
        """
        if material.preload_curve is not None:
            pressure, share = material.preload_curve.T
            return cls(pressure, share, "measured curve")
        if material.full_preload is not None:
            return cls(np.array([0.0, material.full_preload]), np.array([0.0, 1.0]), "full preload")
        return cls(np.zeros(1), np.ones(1), "none")

    @property
    def rising(self) -> bool:
        """Whether more pressure never gives less."""
        return bool((np.diff(self.share) >= 0).all())

    def most(self, peak: float) -> float:
        """Return the largest share after any contact pressure up to a peak [Pa]."""
        return float(self(np.append(self.pressure[self.pressure < peak], peak)).max())

    def __call__(self, peak: FloatArray) -> FloatArray:
        """Return the share [-] after a peak contact pressure [Pa], any shape."""
        if self.pressure.size == 1:
            return np.full(np.shape(peak), self.share[0])
        if self.pressure.size == 2:  # the common law, several times faster this way
            slope = (self.share[1] - self.share[0]) / self.pressure[1]
            return self.share[0] + slope * np.clip(peak, 0.0, self.pressure[1])
        return np.interp(peak, self.pressure, self.share)


@dataclass(frozen=True, eq=False, kw_only=True)
class PadFace(Value):
    """One pad as the contact simulation takes it.

    Attributes:
        patch: Its cells.
        pull_off_stress: Of a full bond on this part [Pa].
        shear_strength: Of a full bond on this part [Pa].
        law: Activation by pressure.
        gap: How far the part's surface lies below the face plane at each cell [m], shape (m,).
        offset: Traction of each cell that is bonded at the first pose, pad axes, tension positive [Pa], shape (m, 3).
        gathers: Whether a broken cell that is pressed on counts the rise since it first broke, not since it last did.
        dwells_on: Whether its least dwell goes on as it breaks or is pressed less; else it begins anew.
    """

    patch: Patch
    pull_off_stress: float
    shear_strength: float
    law: ActivationLaw
    gap: FloatArray
    offset: FloatArray | None = None
    gathers: bool = False
    dwells_on: bool = False

    def __post_init__(self) -> None:
        where = f"pad '{self.patch.pad.name}'"
        for key in ("pull_off_stress", "shear_strength"):
            value = float(getattr(self, key))
            if not (np.isfinite(value) and value > 0):
                raise InputError(f"{where} {key}", f"{value:g}", "a value above 0 [Pa]")
            object.__setattr__(self, key, value)
        gap = np.broadcast_to(self.gap, self.patch.areas.shape)
        object.__setattr__(self, "gap", frozen(gap, self.patch.areas.shape, f"{where} gap"))
        offset = np.zeros((self.patch.areas.size, 3)) if self.offset is None else self.offset
        object.__setattr__(self, "offset", frozen(offset, (self.patch.areas.size, 3), f"{where} offset"))

    @property
    def stretched(self) -> FloatArray:
        """Elongation of the cells by `offset`, tool axes [m], shape (m, 3)."""
        traction = np.zeros((self.patch.areas.size, 3)) if self.offset is None else self.offset
        return np.asarray((traction / self.patch.stiffness_per_area()) @ self.patch.rotation.T)

    @property
    def reach(self) -> float:
        """Displacement of a cell's root beyond which no bond can live [m]."""
        material = self.patch.pad.material
        normal = self.pull_off_stress / material.normal_stiffness
        return float(np.hypot(normal, self.shear_strength / material.shear_stiffness))

    @property
    def break_displacement(self) -> float:
        """The smaller of the displacements that break a full bond, normal or along the face [m]."""
        material = self.patch.pad.material
        return min(
            self.pull_off_stress / material.normal_stiffness,
            self.shear_strength / material.shear_stiffness,
        )


def pad_faces(patches: Sequence[Patch], part: Part, gripper: Gripper | None, gap: float = 0.0) -> tuple[PadFace, ...]:
    """Return all pads for the contact simulation, with the strength that is left on this part.

    Args:
        patches: The pads' contacts.
        part: For its surface factor.
        gripper: For the picks since cleaning; None: clean pads at their strongest.
        gap: How far the part's surface lies below the face plane, everywhere [m].
    """
    faces = []
    for patch in patches:
        strength = clean_strength(patch.pad, part) if gripper is None else holding_strength(patch.pad, part, gripper)
        pull, shear = strength
        law = ActivationLaw.of(patch.pad.material)
        faces.append(
            PadFace(patch=patch, pull_off_stress=pull, shear_strength=shear, law=law, gap=np.asarray(float(gap)))
        )
    return tuple(faces)


def bonds_fully(face: PadFace) -> PadFace:
    """Return a pad that any rise of pressure bonds fully: a curve of first presses says nothing of a second one.

    Up to a rise in all that no arm can be told from holding its height it bonds by the law that there is.
    """
    least = REPEATS * face.patch.pad.material.normal_stiffness
    pressure, share = np.array([0.0, least, 1.001 * least]), np.array([0.0, float(face.law(np.array(least))), 1.0])
    return replace(face, law=ActivationLaw(pressure, share, face.law.source), gathers=True, dwells_on=True)
