"""Pads driven along a motion relative to a face: which cells need attention, and when.

Most cells at most times do nothing: they stay off the face, or stay bonded. A bound on how far the tool moves
over a stretch of the motion finds them without looking at every knot. Those that stay bonded are summed through the
moments of their anchors, whatever their number. The others are followed step by step.
"""

from __future__ import annotations

import copy
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.contact.activation import PadFace
from gripmargin.contact.cell_life import follow
from gripmargin.contact.cell_states import (
    SKIN,
    BoolArray,
    CellState,
    CellStates,
    CellTable,
    IntArray,
    Knots,
    Trace,
    known_of,
)
from gripmargin.contact.relative import outline_of
from gripmargin.contact.rows import Rows, add_followed, add_held, add_steady
from gripmargin.kernels.core import kernel
from gripmargin.kernels.springs import elongation, free_contact, utilisation2

MOST_AT_ONCE = 200_000  # cells times knots followed together: memory alone, no result depends on it


class PressEngine:
    """The pads in contact with one face, carried from knot to knot of a motion.

    Args:
        faces: The pads.
        t: First time [s].
        rotation: Tool axes in the face frame then, shape (3, 3).
        position: Tool origin then [m], shape (3,).
        bond: For each pad the share of its strength that each cell holds then; None for no bond. Bonded
            cells are anchored where they then are, without force along the face.
        level: How far the tool may rise and fall that is meant to stay at its height [m].

    Raises:
        InputError: A bond that does not fit the pads, or a tool so far off the face that no full bond holds.
    """

    def __init__(
        self,
        faces: Sequence[PadFace],
        t: float,
        rotation: FloatArray,
        position: FloatArray,
        bond: Sequence[FloatArray] | None,
        level: float = SKIN,
    ) -> None:
        self.faces = tuple(faces)
        self.cells = CellTable.of(self.faces, level)
        self.states = CellStates.none(self.cells.area.size)
        self.slices = self.cells.by_pad()
        self.outline = outline_of([face.patch.points for face in self.faces])
        self.t, self.rotation, self.position = t, rotation, position
        self._extremes = [_extreme_cells(face) for face in self.faces]
        self._rising = np.array([face.law.rising for face in self.faces])[self.cells.pad]
        self._rate = np.maximum(
            self.cells.normal_stiffness / self.cells.pull, self.cells.shear_stiffness / self.cells.shear
        )
        self.last = self._start(bond)

    def another(self) -> PressEngine:
        """Return an engine that goes on from here by itself."""
        other = copy.copy(self)
        other.states = self.states.take(np.arange(self.cells.area.size))
        return other

    def advance(self, t: FloatArray, rotation: FloatArray, position: FloatArray, twist: FloatArray) -> Rows:
        """Move the tool through s knots and return a row for each, and one just before the first break in a step.

        Args:
            t: [s], shape (s,).
            rotation: Shape (s, 3, 3).
            position: [m], shape (s, 3).
            twist: Into each knot from the one before [m, rad], shape (s, 6).
        """
        knots = self._knots(
            np.append(self.t, t),
            np.concatenate([self.rotation[None], rotation]),
            np.concatenate([self.position[None], position]),
            twist,
        )
        calm = self._calm(knots)
        restless = np.nonzero(~calm)[0]
        if restless.size * t.size > MOST_AT_ONCE and t.size > 16:
            half = t.size // 2
            parts = [
                self.advance(t[part], rotation[part], position[part], twist[part])
                for part in (slice(None, half), slice(half, None))
            ]
            return Rows.join(parts)
        rows = Rows.blank(t, len(self.faces))
        trace = self._move(knots, np.nonzero(calm)[0], restless, rows)
        self._add_pressure(knots, rows)
        rows.add_work(self.last, trace, twist)
        out = rows.with_peaks(self.last, trace, twist)
        self.t, self.rotation, self.position = float(t[-1]), rotation[-1], position[-1]
        self.last = rows.last()
        return out

    def rest(self, t: FloatArray) -> Rows:
        """Return rows for times at which nothing moves, or nothing is near the face."""
        return self.last.repeated(t)

    def skip(self, t: float | None, rotation: FloatArray, position: FloatArray) -> None:
        """Take the tool, at rest or with nothing near the face, to another pose.

        Args:
            t: Time there [s]; None at rest, so that the next step counts the wait.
            rotation: Shape (3, 3).
            position: [m], shape (3,).
        """
        self.t = self.t if t is None else t
        self.rotation, self.position = rotation, position

    def _knots(self, t: FloatArray, rotation: FloatArray, position: FloatArray, twist: FloatArray) -> Knots:
        leans, stiffnesses = [], []
        for face in self.faces:
            material = face.patch.pad.material
            stiffness, lean = free_contact(
                rotation, face.patch.rotation[:, 2], material.normal_stiffness, material.shear_stiffness
            )
            leans.append(lean)
            stiffnesses.append(stiffness)
        return Knots(
            t=t,
            rotation=rotation,
            position=position,
            twist=twist,
            pressure=np.zeros((t.size, 0)),
            lean=np.stack(leans, axis=1),
            contact_stiffness=np.stack(stiffnesses, axis=1),
        )

    def _pressed(self, knots: Knots, cells: IntArray) -> Knots:
        """Return the knots with the pressure of some cells."""
        pressure = knots.rotation[:, 2] @ self.cells.root[cells].T
        pressure += knots.position[:, 2:]
        pressure += self.cells.gap[cells]
        borders = np.searchsorted(self.cells.pad[cells], np.arange(len(self.faces) + 1))  # pads come in their order
        for stiffness, (first, end) in zip(knots.contact_stiffness.T, pairwise(borders), strict=True):
            pressure[:, first:end] *= -stiffness[:, None]
        return replace(knots, pressure=pressure)

    def _start(self, bond: Sequence[FloatArray] | None) -> Rows:
        cells, now = self.cells, self.states
        t, rotation, position = np.full(2, self.t), np.tile(self.rotation, (2, 1, 1)), np.tile(self.position, (2, 1))
        knots = self._knots(t, rotation, position, np.zeros((1, 6)))
        knots = self._pressed(knots, np.arange(cells.area.size))
        self._touch(knots)
        if bond is not None:
            self._bond(_checked_bond(self.faces, bond), knots.pressure[0])
        instant = (now.state == CellState.TOUCHING) & (cells.dwell <= 0) & (now.capacity(cells) > 0)
        now.state[instant] = CellState.BONDED
        rows = Rows.blank(np.array([self.t]), len(self.faces))
        holds = now.state == CellState.BONDED
        which = np.nonzero(holds)[0]
        spells = np.zeros_like(which), which, now.anchor[which]
        trace = replace(Trace.blank(1, 0), bonded=holds[None], spells=spells, held=now.held(cells)[None])
        add_followed(rows, self.faces, cells, knots, trace)
        self._add_pressure(knots, rows)
        return rows

    def _touch(self, knots: Knots) -> None:
        """Set what cells know that are pressed at the first knot."""
        cells, now = self.cells, self.states
        pressure, root = knots.pressure[0], knots.place(0, cells.root)
        now.peak_pressure[:] = now.peak[:] = np.maximum(pressure, 0.0)
        now.overloaded[:] = pressure > cells.overload
        now.since[:] = self.t
        now.touched_at[:], now.anchor[:] = root, knots.resting(0, root, pressure, cells.pad)
        now.stretch[:] = elongation(knots.rotation[:1], knots.position[:1], now.anchor[None], cells.root)[0]
        touching = pressure > 0
        now.first_touch[touching] = self.t
        now.state[touching] = CellState.TOUCHING

    def _bond(self, share: FloatArray, pressure: FloatArray) -> None:
        """Bond cells by a share of their strength, where they are."""
        cells, now = self.cells, self.states
        now.floor[:] = share
        bonded = share > 0
        now.first_touch[bonded] = self.t
        now.since[bonded & cells.dwells_on] = -np.inf  # it has been on the part long enough to bond
        now.state[bonded] = CellState.BONDED
        stretched = np.concatenate([face.stretched for face in self.faces])
        now.stretch[bonded] += stretched[bonded]
        now.anchor[bonded] += stretched[bonded] @ self.rotation.T
        if bonded.any() and (self._used2()[bonded] > 1.0).all():
            height = np.average(-pressure / cells.normal_stiffness, weights=cells.area)
            raise InputError(
                "contact simulation, first pose",
                f"bonded pads {height * 1e3:.3g} mm above the face",
                "pads that lie on the face of the part in its place",
                "start at the sample where the part is seated",
            )

    def _used2(self) -> FloatArray:
        c = self.cells
        return utilisation2(self.states.stretch, c.normal, c.normal_stiffness, c.shear_stiffness, c.pull, c.shear)

    def _calm(self, knots: Knots) -> BoolArray:
        """Whether nothing can happen to a cell over a stretch, by how far the tool moves; carry those cells over it.

        The elongation of a spring changes by no more than the way of its root and, in tool axes, its length
        times the angle turned.
        """
        cells, now = self.cells, self.states
        places = self.outline @ knots.rotation.transpose(0, 2, 1) + knots.position[:, None]
        ways = places - places[0]
        moved = float(np.sqrt((ways * ways).sum(axis=2).max()))
        risen = float(np.abs(ways[:, :, 2]).max())
        turned = float(np.linalg.norm(knots.twist[:, 3:], axis=1).sum())
        depth = -(cells.root @ self.rotation[2] + self.position[2] + cells.gap)
        stiffest = knots.contact_stiffness.max(axis=0)[cells.pad]
        highest = np.maximum(depth + risen, 0.0) * stiffest
        used = np.sqrt(self._used2()) + self._rate * (moved + np.linalg.norm(now.stretch, axis=1) * turned)
        bonded = now.state == CellState.BONDED
        self._unmoved = used < now.capacity(cells)
        calm = bonded & self._unmoved & (highest <= now.known(cells)) & (highest <= now.peak_pressure)
        calm &= (highest <= cells.overload) | now.overloaded
        calm &= (depth + risen <= 0) | (depth - risen > 0)
        calm |= (now.state == CellState.FREE) & (depth + risen <= 0)
        return calm

    def _move(self, knots: Knots, calm: IntArray, restless: IntArray, rows: Rows) -> Trace:
        """Take all cells over a stretch and add their reaction to the rows."""
        cells, now = self.cells, self.states
        trace = Trace.blank(rows.t.size, 0)
        steady = calm[now.state[calm] == CellState.BONDED]
        depth = -(cells.root[steady] @ self.rotation[2] + self.position[2] + cells.gap[steady])
        now.contact_time[steady] += np.where(depth > 0, knots.t[-1] - knots.t[0], 0.0)
        self._slide(knots, steady[depth > 0], np.ones((1, 1), np.bool_))
        held = [(steady, now.capacity(cells)[steady])]
        if restless.size:
            local = self._pressed(knots, restless)
            quiet = self._quiet(local, restless)
            lasting = restless[quiet & (now.state[restless] == CellState.BONDED)]
            if lasting.size:
                held.append((lasting, self._press_on(_only(local, np.isin(restless, lasting)), lasting)))
            steady = np.sort(np.concatenate([steady, lasting]))
            busy = restless[~quiet]
            if busy.size:
                some, states = cells.take(busy), now.take(busy)
                local = _only(local, ~quiet)
                trace = follow(some, states, local)
                now.put(busy, states)
                add_followed(rows, self.faces, some, local, trace)
        if steady.size:
            last = slice(-1, None)
            now.stretch[steady] = elongation(
                knots.rotation[last], knots.position[last], now.anchor[None, steady], cells.root[steady]
            )[0]
            add_steady(rows, self.faces, cells.take(steady), now.take(steady), knots)
        for which, share in held:
            if which.size:
                add_held(rows, self.faces, cells.take(which), share)
        return trace

    def _quiet(self, knots: Knots, restless: IntArray) -> BoolArray:
        """Whether the state of a cell does not change over a stretch, by its pressure at every knot."""
        cells, now = self.cells, self.states
        highest = knots.pressure[1:].max(axis=0)
        state = now.state[restless]
        steady = (state == CellState.BONDED) & self._unmoved[restless]
        steady &= (highest <= cells.overload[restless]) | now.overloaded[restless]
        steady &= self._rising[restless] | (highest <= now.known(cells)[restless])
        return steady | ((state == CellState.FREE) & (highest <= 0))

    def _press_on(self, knots: Knots, i: IntArray) -> FloatArray:
        """Carry cells that stay bonded over a stretch with changing pressure; return what they hold, shape (s, i)."""
        now, pressure = self.states, knots.pressure[1:]
        compiled = kernel("press_on")
        if compiled is not None:
            held, far = np.empty(pressure.shape), self._gets_further(knots, i)
            compiled(pressure.shape[::-1], known_of(self.cells, knots), (*vars(now).values(), i, far, held))
            return held
        some, states = self.cells.take(i), now.take(i)
        grown = states.rise(some, pressure)
        np.maximum(grown[0], states.peak, out=grown[0])
        states.peak = np.maximum.accumulate(grown, axis=0, out=grown)
        share = states.capacity(some)
        now.peak[i] = grown[-1]
        now.peak_pressure[i] = np.maximum(states.peak_pressure, pressure.max(axis=0))
        lifted = pressure.min(axis=0) <= 0
        step = np.diff(knots.t)
        now.contact_time[i] += np.where(lifted, 0.0, step.sum())
        now.contact_time[i[lifted]] += step @ (pressure[:, lifted] > 0).astype(np.float64)
        self._slide(knots, i, pressure > 0)
        return share

    def _gets_further(self, knots: Knots, i: IntArray) -> BoolArray:
        """Whether cells may get further along the face from where they touched than they have been, shape (i,).

        In a stretch they get no further from where they are at its start than the tool moves within it.
        """
        now = self.states
        ways = self.outline @ knots.rotation[:, :2].transpose(0, 2, 1) + knots.position[:, None, :2]
        aside = float(np.sqrt(((ways - ways[0]) ** 2).sum(axis=2).max()))
        start = np.linalg.norm(knots.place(0, self.cells.root[i])[:, :2] - now.touched_at[i, :2], axis=1)
        return np.asarray(start + aside > now.slid[i] + SKIN)

    def _slide(self, knots: Knots, i: IntArray, pressed: BoolArray) -> None:
        """Note how far cells that stay bonded have gone along the face in the steps in which they are pressed.

        Args:
            knots: The stretch.
            i: The cells.
            pressed: Shape (s, i), or (1, 1): all along.
        """
        if i.size == 0:
            return
        now, root = self.states, self.cells.root[i]
        far = np.flatnonzero(pressed.any(axis=0) & self._gets_further(knots, i))
        if far.size:
            x, y = (
                knots.rotation[1:, axis] @ root[far].T + (knots.position[1:, axis, None] - now.touched_at[i[far], axis])
                for axis in (0, 1)
            )
            pressed = pressed if pressed.shape[1] == 1 else pressed[:, far]
            longest = np.where(pressed, x * x + y * y, 0.0).max(axis=0)
            now.slid[i[far]] = np.maximum(now.slid[i[far]], np.sqrt(longest))

    def _add_pressure(self, knots: Knots, rows: Rows) -> None:
        for pad, extreme in enumerate(self._extremes):
            pressure = self._pressed(knots, extreme + self.slices[pad].start).pressure[1:]
            worst = pressure.argmax(axis=1)
            rows.pressure_cell[:, pad] = extreme[worst]
            rows.pressure[:, pad] = np.maximum(np.take_along_axis(pressure, worst[:, None], axis=1)[:, 0], 0.0)


def _extreme_cells(face: PadFace) -> IntArray:
    """Cells where the pressure of a pad can be highest: on a plane face, those of the convex hull."""
    from scipy.spatial import ConvexHull, QhullError  # noqa: PLC0415 - 0.2 s that only jobs with a face pay

    points = (face.patch.points - face.patch.centre) @ face.patch.rotation
    every = np.arange(len(points))
    if np.ptp(face.gap) > 0 or np.ptp(points[:, 2]) > 1e-9:
        return every
    try:
        return np.sort(ConvexHull(points[:, :2]).vertices).astype(np.int64)
    except QhullError:
        return every


def _only(knots: Knots, cells: BoolArray) -> Knots:
    """Return knots with the pressure of some of their cells."""
    return knots if cells.all() else replace(knots, pressure=knots.pressure[:, cells])


def _checked_bond(faces: Sequence[PadFace], bond: Sequence[FloatArray]) -> FloatArray:
    if len(bond) != len(faces):
        raise InputError("bond", f"{len(bond)} pads", f"{len(faces)}")
    for face, share in zip(faces, bond, strict=True):
        where = f"bond of pad '{face.patch.pad.name}'"
        if np.shape(share) != face.patch.areas.shape:
            raise InputError(where, f"shape {np.shape(share)}", f"shape {face.patch.areas.shape}, one a cell")
        if not ((np.asarray(share) >= 0) & (np.asarray(share) <= 1)).all():
            raise InputError(where, "a share outside 0 to 1 or not a number", "shares from 0 to 1")
    return np.concatenate([np.asarray(share, dtype=np.float64) for share in bond])
