"""Results of a contact simulation over time, and the sums over cells that they consist of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.activation import PadFace
from gripmargin.contact.cell_states import BoolArray, CellStates, CellTable, IntArray, Knots, Trace
from gripmargin.kernels.springs import bonded_force, bonded_reaction, elongation, second_moments


@dataclass(frozen=True, eq=False)
class Rows:
    """Results over rows of time, shape (k,) unless said otherwise; see `ContactHistory`.

    Attributes:
        t: [s].
        wrench: On the part, about the face origin, face axes [N, N m], shape (k, 6).
        bonded: Share of the area, shape (k, pads).
        held: Share of the full strength, shape (k, pads).
        pressure: Highest [Pa], shape (k, pads).
        pressure_cell: Where, shape (k, pads).
        elastic: [J].
        lost: By breaking, since the row before [J].
        work: Of the tool, since the row before [J].
    """

    t: FloatArray
    wrench: FloatArray
    bonded: FloatArray
    held: FloatArray
    pressure: FloatArray
    pressure_cell: IntArray
    elastic: FloatArray
    lost: FloatArray
    work: FloatArray

    @classmethod
    def blank(cls, t: FloatArray, pads: int) -> Rows:
        """Return rows of zeros."""
        count, zero = t.size, np.zeros((t.size, pads))
        return cls(
            t=t,
            wrench=np.zeros((count, 6)),
            bonded=zero.copy(),
            held=zero.copy(),
            pressure=zero.copy(),
            pressure_cell=np.zeros((count, pads), np.int64),
            elastic=np.zeros(count),
            lost=np.zeros(count),
            work=np.zeros(count),
        )

    @classmethod
    def join(cls, parts: Sequence[Rows]) -> Rows:
        """Return rows one after the other."""
        return cls(**{key: np.concatenate([getattr(part, key) for part in parts]) for key in vars(parts[0])})

    def last(self) -> Rows:
        """Return the last row alone."""
        return Rows(**{key: value[-1:].copy() for key, value in vars(self).items()})

    def repeated(self, t: FloatArray) -> Rows:
        """Return the last row again at other times, without any energy spent."""
        again = {key: np.repeat(value[-1:], t.size, axis=0) for key, value in vars(self).items()}
        return Rows(**again | {"t": t, "lost": np.zeros(t.size), "work": np.zeros(t.size)})

    def add_work(self, before: Rows, trace: Trace, twist: FloatArray) -> None:
        """Fill in energies: the tool's work by the trapezoidal rule from reaction and motion, kinks put right."""
        wrench = np.concatenate([before.wrench, self.wrench])
        self.work[:] = 0.5 * ((wrench[:-1] + wrench[1:]) * twist).sum(axis=1) + trace.kink
        self.lost[:] = trace.lost

    def with_peaks(self, before: Rows, trace: Trace, twist: FloatArray) -> Rows:
        """Return the rows with one more just before the first break of every step that has one.

        Within a step the reaction is linear in the motion until a cell breaks, so no peak is missed there.
        """
        at = np.nonzero(np.isfinite(trace.first_break))[0]
        if at.size == 0:
            return self
        share = trace.first_break[at]
        joined = Rows.join([before, self])
        previous = {key: value[at] for key, value in vars(joined).items()}
        rise = self.wrench[at] + trace.unbroken[at] - previous["wrench"]
        wrench = previous["wrench"] + share[:, None] * rise
        work = 0.5 * share * ((previous["wrench"] + wrench) * twist[at]).sum(axis=1)
        higher = self.pressure[at] > previous["pressure"]
        extra = previous | {
            "t": previous["t"] + share * (self.t[at] - previous["t"]),
            "wrench": wrench,
            "elastic": previous["elastic"] + work,
            "lost": np.zeros(at.size),
            "work": work,
            "pressure": np.where(higher, self.pressure[at], previous["pressure"]),
            "pressure_cell": np.where(higher, self.pressure_cell[at], previous["pressure_cell"]),
        }
        out = {key: np.insert(value, at, extra[key], axis=0) for key, value in vars(self).items()}
        out["work"][at + np.arange(1, at.size + 1)] -= work
        return Rows(**out)


def add_steady(rows: Rows, faces: Sequence[PadFace], cells: CellTable, now: CellStates, knots: Knots) -> None:
    """Add the reaction of cells that stay bonded over a stretch.

    Args:
        rows: To add to.
        faces: The pads.
        cells: The cells that stay bonded.
        now: Their states.
        knots: The stretch.
    """
    for pad, (face, part) in enumerate(zip(faces, cells.by_pad(), strict=True)):
        if part.start == part.stop:
            continue
        anchor, root, area = now.anchor[part], cells.root[part], cells.area[part]
        centre = anchor.mean(axis=0), root.mean(axis=0)
        _add_reaction(rows, face, second_moments(anchor - centre[0], root - centre[1], area), centre, knots)
        rows.bonded[:, pad] += area.sum() / face.patch.area


def add_held(rows: Rows, faces: Sequence[PadFace], cells: CellTable, share: FloatArray) -> None:
    """Add what some cells hold, as a share of the full strength of each cell, shape (c,) or (k, c)."""
    for pad, part in enumerate(cells.by_pad()):
        rows.held[:, pad] += share[..., part] @ cells.area[part] / faces[pad].patch.area


def add_followed(rows: Rows, faces: Sequence[PadFace], cells: CellTable, knots: Knots, trace: Trace) -> None:
    """Add the reaction of cells that were followed step by step.

    Args:
        rows: To add to.
        faces: The pads.
        cells: The cells followed.
        knots: The stretch, with the pressure of these cells.
        trace: What happened to them.
    """
    _, cell, anchor = trace.spells
    once = np.bincount(cell, minlength=cells.area.size) < 2
    one = once[cell]
    for pad, (face, part) in enumerate(zip(faces, cells.by_pad(), strict=True)):
        if part.start == part.stop:
            continue
        bonded = trace.bonded[:, part]
        rows.bonded[:, pad] += bonded @ cells.area[part] / face.patch.area
        _add_pressed(rows, cells, np.where(bonded, 0.0, np.maximum(knots.pressure[1:, part], 0.0)), knots, part)
        own = one & (cell >= part.start) & (cell < part.stop)
        if own.any():
            i = cell[own]
            _add_bonded(rows, face, (anchor[own], cells.root[i], cells.area[i]), trace.bonded[:, i], knots)
    if not one.all():  # cells that bond again: few, each by itself
        _add_each(rows, cells.take(np.nonzero(~once)[0]), knots, trace.bonded[:, ~once], _again(trace, once))
    add_held(rows, faces, cells, trace.held)


def _add_pressed(rows: Rows, cells: CellTable, pressure: FloatArray, knots: Knots, part: slice) -> None:
    """Add what the cells of one pad press that slide freely along the face, by their pressure [Pa], shape (s, c)."""
    root, area, pad = cells.root[part], cells.area[part], cells.pad[part.start]
    force, at = pressure @ area, pressure @ (area[:, None] * root)
    energy = pressure**2 @ area / knots.contact_stiffness[1:, pad]  # pressure, area and depth
    place = np.einsum("sij,sj->si", knots.rotation[1:], at)
    place += force[:, None] * knots.position[1:] + energy[:, None] * knots.lean[1:, pad]
    rows.wrench[:, 2] -= force
    rows.wrench[:, 3] -= place[:, 1]
    rows.wrench[:, 4] += place[:, 0]
    rows.elastic[:] += 0.5 * energy


def _add_bonded(
    rows: Rows,
    face: PadFace,
    springs: tuple[FloatArray, FloatArray, FloatArray],
    bonded: BoolArray,
    knots: Knots,
) -> None:
    """Add what cells of one pad do that are bonded in one place in some of the steps.

    Args:
        rows: To add to.
        face: The pad.
        springs: Anchors [m], roots [m] and areas [m^2] of the cells.
        bonded: In which steps, shape (s, c).
        knots: The stretch.
    """
    anchor, root, area = springs
    new = np.append(True, (bonded[1:] != bonded[:-1]).any(axis=1))
    centre = anchor.mean(axis=0), root.mean(axis=0)
    moments = second_moments(anchor - centre[0], root - centre[1], bonded[new] * area)
    _add_reaction(rows, face, moments[np.cumsum(new) - 1], centre, knots)


def _add_reaction(
    rows: Rows, face: PadFace, moments: FloatArray, centre: tuple[FloatArray, FloatArray], knots: Knots
) -> None:
    material = face.patch.pad.material
    wrench, energy = bonded_reaction(
        moments,
        centre,
        knots.rotation[1:],
        knots.position[1:],
        face.patch.rotation[:, 2],
        material.normal_stiffness,
        material.shear_stiffness,
    )
    rows.wrench[:] += wrench
    rows.elastic[:] += energy


def _again(trace: Trace, once: BoolArray) -> tuple[FloatArray, IntArray]:
    """Anchors of cells that bond more than once, shape (m, 3), and which of them counts, step by step, shape (s, c)."""
    step, cell, anchor = trace.spells
    chosen = ~once[cell]
    column = np.cumsum(~once) - 1
    which = np.zeros((len(trace.bonded), int((~once).sum())), np.int64)
    which[step[chosen], column[cell[chosen]]] = np.arange(chosen.sum())  # later ones count more
    return anchor[chosen], np.maximum.accumulate(which, axis=0)


def _add_each(
    rows: Rows, cells: CellTable, knots: Knots, bonded: BoolArray, anchors: tuple[FloatArray, IntArray]
) -> None:
    """Add what bonded cells do, each by itself, by their anchors [m]: see `_again`."""
    k, i = np.nonzero(bonded)
    at, rotation = anchors[0][anchors[1][k, i]], knots.rotation[k + 1]
    stretch = elongation(rotation, knots.position[k + 1], at[:, None], cells.root[i, None])
    force, energy = bonded_force(
        stretch,
        rotation,
        cells.normal[i, None],
        cells.normal_stiffness[i, None],
        cells.shear_stiffness[i, None],
        cells.area[i, None],
    )
    each = np.column_stack([force[:, 0], np.cross(at, force[:, 0]), energy[:, 0]])
    summed = np.stack([np.bincount(k, column, minlength=rows.t.size) for column in each.T], axis=1)
    rows.wrench[:] += summed[:, :6]
    rows.elastic[:] += summed[:, 6]
