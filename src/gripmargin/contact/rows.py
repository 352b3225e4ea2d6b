"""Results of a contact simulation over time, and the sums over cells that they consist of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.activation import PadFace
from gripmargin.contact.cell_states import CellStates, CellTable, IntArray, Knots, Trace
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
        material = face.patch.pad.material
        wrench, energy = bonded_reaction(
            second_moments(anchor - centre[0], root - centre[1], area),
            centre,
            knots.rotation[1:],
            knots.position[1:],
            face.patch.rotation[:, 2],
            material.normal_stiffness,
            material.shear_stiffness,
        )
        rows.wrench[:] += wrench
        rows.elastic[:] += energy
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
    pressure = np.maximum(knots.pressure[1:], 0.0)
    stretch = elongation(knots.rotation[1:], knots.position[1:], trace.anchor, cells.root)
    force, stored = bonded_force(
        stretch, knots.rotation[1:], cells.normal, cells.normal_stiffness, cells.shear_stiffness, cells.area
    )
    depth = pressure / knots.contact_stiffness[1:, cells.pad]
    at = knots.roots(cells)[1:] + depth[:, :, None] * knots.lean[1:, cells.pad]
    force[~trace.bonded] = 0.0
    force[:, :, 2] -= np.where(trace.bonded, 0.0, cells.area * pressure)
    at[trace.bonded] = trace.anchor[trace.bonded]
    x, y, z = (at[:, :, i] for i in range(3))
    fx, fy, fz = (force[:, :, i] for i in range(3))
    rows.wrench[:, :3] += force.sum(axis=1)
    rows.wrench[:, 3] += (y * fz - z * fy).sum(axis=1)
    rows.wrench[:, 4] += (z * fx - x * fz).sum(axis=1)
    rows.wrench[:, 5] += (x * fy - y * fx).sum(axis=1)
    rows.elastic[:] += np.where(trace.bonded, stored, 0.5 * cells.area * pressure * depth).sum(axis=1)
    for pad, part in enumerate(cells.by_pad()):
        rows.bonded[:, pad] += trace.bonded[:, part] @ cells.area[part] / faces[pad].patch.area
    add_held(rows, faces, cells, trace.held)
