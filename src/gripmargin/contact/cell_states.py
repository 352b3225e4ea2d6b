"""What is known of the cells of all pads: constants, states, a stretch of the motion, and what happened in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.activation import ActivationLaw, PadFace

SKIN = 1e-9  # [m]; a cell that is pressed by less than this has not touched: rounding must not make a bond

BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]


class CellState(IntEnum):
    """What a cell does."""

    FREE = 0  # off the face, holds nothing
    TOUCHING = 1  # pressed, not bonded
    BONDED = 2


@dataclass(frozen=True, eq=False)
class CellTable:
    """The constants of cells, shape (c,) unless said otherwise; pads one after the other.

    Attributes:
        laws: Of each pad.
        pad: Index of the pad.
        root: Tool frame [m], shape (c, 3).
        normal: Of the pad, tool frame, shape (c, 3).
        area: [m^2].
        gap: Of the face below its plane [m].
        steady: Rise of pressure that counts as none where a broken cell is dragged along [Pa].
        normal_stiffness: [Pa/m].
        shear_stiffness: [Pa/m].
        pull: Pull-off stress [Pa].
        shear: Shear strength [Pa].
        dwell: Least time under pressure [s].
        overload: Pressure [Pa], inf where there is none.
        residual: Share of strength left after an overload.
    """

    laws: tuple[ActivationLaw, ...]
    pad: IntArray
    root: FloatArray
    normal: FloatArray
    area: FloatArray
    gap: FloatArray
    steady: FloatArray
    gathers: BoolArray
    dwells_on: BoolArray
    normal_stiffness: FloatArray
    shear_stiffness: FloatArray
    pull: FloatArray
    shear: FloatArray
    dwell: FloatArray
    overload: FloatArray
    residual: FloatArray

    @classmethod
    def of(cls, faces: Sequence[PadFace], level: float = SKIN) -> CellTable:
        """Return the table of pads.

        Args:
            faces: The pads.
            level: How far a tool may rise and fall that is meant to stay at its height [m].
        """
        size = [face.patch.areas.size for face in faces]
        materials = [face.patch.pad.material for face in faces]

        def each(values: Sequence[float]) -> FloatArray:
            return np.repeat(np.asarray(values, dtype=np.float64), size)

        return cls(
            laws=tuple(face.law for face in faces),
            pad=np.repeat(np.arange(len(faces)), size),
            root=np.concatenate([face.patch.points for face in faces]),
            normal=np.repeat([face.patch.rotation[:, 2] for face in faces], size, axis=0),
            area=np.concatenate([face.patch.areas for face in faces]),
            gap=np.concatenate([face.gap for face in faces]) + SKIN,
            gathers=np.repeat([face.gathers for face in faces], size),
            dwells_on=np.repeat([face.dwells_on for face in faces], size),
            steady=level * each([m.normal_stiffness for m in materials]),
            normal_stiffness=each([m.normal_stiffness for m in materials]),
            shear_stiffness=each([m.shear_stiffness for m in materials]),
            pull=each([face.pull_off_stress for face in faces]),
            shear=each([face.shear_strength for face in faces]),
            dwell=each([m.min_dwell or 0.0 for m in materials]),
            overload=each([np.inf if m.overload_pressure is None else m.overload_pressure for m in materials]),
            residual=each([1.0 if m.overload_residual is None else m.overload_residual for m in materials]),
        )

    def take(self, index: IntArray) -> CellTable:
        """Return some of the cells."""
        arrays = {key: value[index] for key, value in vars(self).items() if key != "laws"}
        return CellTable(laws=self.laws, **arrays)

    def by_pad(self) -> list[slice]:
        """Return for each pad which of these cells belong to it."""
        bounds = np.searchsorted(self.pad, np.arange(len(self.laws) + 1))
        return [slice(int(a), int(b)) for a, b in pairwise(bounds)]

    def law_of(self, peak: FloatArray) -> FloatArray:
        """Return the activation [-] after peak pressures [Pa], shape (..., c); none where nothing was pressed."""
        out = np.empty_like(peak)
        for law, cells in zip(self.laws, self.by_pad(), strict=True):
            if cells.start < cells.stop:
                out[..., cells] = np.where(peak[..., cells] > 0, law(peak[..., cells]), 0.0)
        return out


@dataclass(eq=False)
class CellStates:
    """What changes, shape (c,) unless said otherwise.

    Attributes:
        state: `CellState`.
        anchor: Where it is bonded, face frame [m], shape (c, 3).
        stretch: From root to anchor at the last knot, tool axes [m], shape (c, 3).
        floor: Activation that it brought along [-].
        base: Pressure from which pressing on counts [Pa]: 0, or that of a broken cell and what counts as no rise.
        bottom: The base when it first broke since it touched [Pa], NaN before.
        peak: Highest pressure above the base since then [Pa].
        since: When pressing on began [s].
        overloaded: Whether its fibres have buckled.
        contact_time: Time under pressure since it last touched [s].
        touched_at: Where its root was when it last touched, face frame [m], shape (c, 3).
        slid: Longest sideways way from there while pressed [m].
        first_touch: [s], NaN before.
        broken: When it last broke [s], NaN before.
        breaks: How often it broke.
        peak_pressure: Highest of all [Pa].
    """

    state: IntArray
    anchor: FloatArray
    stretch: FloatArray
    floor: FloatArray
    base: FloatArray
    bottom: FloatArray
    peak: FloatArray
    since: FloatArray
    overloaded: BoolArray
    contact_time: FloatArray
    touched_at: FloatArray
    slid: FloatArray
    first_touch: FloatArray
    broken: FloatArray
    breaks: IntArray
    peak_pressure: FloatArray

    @classmethod
    def none(cls, cells: int) -> CellStates:
        """Return cells that are off the face and have no past."""
        made: dict[str, NDArray] = {key: np.zeros(cells) for key in cls.__annotations__}  # type: ignore[type-arg]
        for key in ("anchor", "stretch", "touched_at"):
            made[key] = np.zeros((cells, 3))
        made["state"], made["breaks"] = np.zeros(cells, np.int64), np.zeros(cells, np.int64)
        made["overloaded"] = np.zeros(cells, np.bool_)
        made |= {key: np.full(cells, np.nan) for key in ("first_touch", "broken", "bottom")}
        return cls(**made)

    def take(self, index: IntArray) -> CellStates:
        """Return a copy of some of the cells."""
        return CellStates(**{key: value[index] for key, value in vars(self).items()})

    def put(self, index: IntArray, other: CellStates) -> None:
        """Write some of the cells back."""
        for key, value in vars(self).items():
            value[index] = getattr(other, key)

    def rise(self, cells: CellTable, pressure: FloatArray, base: FloatArray | None = None) -> FloatArray:
        """Return by how much pressures count as pressed on [Pa], shape (..., c), above the base or another one."""
        base = self.base if base is None else base
        rise = pressure - base
        gathers = cells.gathers & (self.bottom < base)
        return np.where(gathers & (rise > 0), pressure - self.bottom, rise) if gathers.any() else rise

    def known(self, cells: CellTable) -> FloatArray:
        """Return the pressure up to which none raises the peak [Pa], shape (c,): the other side of `rise`."""
        first = cells.gathers & (self.bottom < self.base)
        return np.where(first, np.maximum(self.base, self.bottom + self.peak), self.base + self.peak)

    def capacity(self, cells: CellTable) -> FloatArray:
        """Return the share of the full strength that a bond of these cells has [-]."""
        share = np.maximum(self.floor, cells.law_of(self.peak))
        return np.where(self.overloaded, np.minimum(share, cells.residual), share)

    def held(self, cells: CellTable) -> FloatArray:
        """Return the same, 0 where the cell is not bonded."""
        return np.where(self.state == CellState.BONDED, self.capacity(cells), 0.0)


@dataclass(frozen=True, eq=False)
class Knots:
    """A stretch of the motion, and what the cells at hand see of it.

    Attributes:
        t: [s], shape (s + 1,); the first knot is where the last stretch ended.
        rotation: Shape (s + 1, 3, 3).
        position: [m], shape (s + 1, 3).
        twist: From each knot to the next [m, rad], shape (s, 6).
        pressure: Indentation times stiffness, below 0 above the face [Pa], shape (s + 1, c).
        lean: From root to anchor for a unit of indentation, shape (s + 1, pads, 3).
        contact_stiffness: [Pa/m], shape (s + 1, pads).
    """

    t: FloatArray
    rotation: FloatArray
    position: FloatArray
    twist: FloatArray
    pressure: FloatArray
    lean: FloatArray
    contact_stiffness: FloatArray

    def place(self, knot: int, root: FloatArray) -> FloatArray:
        """Return where roots of the tool frame are at a knot, face frame [m], shape (c, 3)."""
        return np.asarray(root @ self.rotation[knot].T + self.position[knot])

    def resting(self, knot: int | IntArray, root: FloatArray, pressure: FloatArray, pad: IntArray) -> FloatArray:
        """Return where freely sliding cells meet the face at a knot, face frame [m], shape (c, 3)."""
        depth = pressure / self.contact_stiffness[knot, pad]
        return root + depth[:, None] * self.lean[knot, pad]


@dataclass(frozen=True, eq=False)
class Trace:
    """What happened to the cells along a stretch of s steps.

    Attributes:
        bonded: After each step, shape (s, c).
        spells: Each time that a cell is bonded from a step on: the step, the cell, and where its anchor then stays [m],
            shape (m,), (m,) and (m, 3); by steps.
        held: Share of the full strength, shape (s, c).
        lost: Elastic energy that breaking gave away in each step [J], shape (s,).
        kink: What the trapezoidal rule misses of the tool's work in each step where a cell's force has a kink
            or a jump inside [J], shape (s,).
        first_break: Share of each step at which the first cell broke, NaN where none did, shape (s,).
        unbroken: Reaction at the end of each step had no cell broken, less that with them broken, shape (s, 6).
    """

    bonded: BoolArray
    spells: tuple[IntArray, IntArray, FloatArray]
    held: FloatArray
    lost: FloatArray
    kink: FloatArray
    first_break: FloatArray
    unbroken: FloatArray

    @classmethod
    def blank(cls, steps: int, cells: int) -> Trace:
        """Return a trace of cells to which nothing happens."""
        return cls(
            bonded=np.zeros((steps, cells), np.bool_),
            spells=(np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros((0, 3))),
            held=np.zeros((steps, cells)),
            lost=np.zeros(steps),
            kink=np.zeros(steps),
            first_break=np.full(steps, np.nan),
            unbroken=np.zeros((steps, 6)),
        )


def known_of(cells: CellTable, knots: Knots) -> tuple[NDArray[Any], ...]:
    """Return constants of cells and a stretch of the motion in the order of `Cells` in `kernels/core/cells.h`."""
    laws = (
        np.cumsum([0, *(law.pressure.size for law in cells.laws)]),
        np.concatenate([law.pressure for law in cells.laws]),
        np.concatenate([law.share for law in cells.laws]),
    )
    constants = (value for key, value in vars(cells).items() if key not in ("laws", "gap"))
    motion = knots.t, knots.rotation, knots.position, knots.twist, knots.pressure, knots.lean, knots.contact_stiffness
    return *constants, *laws, *motion
