"""The life of a cell under a given motion: touch, press, bond, stretch, break, bond again.

The motion is given, so cells do not know of each other. Rules:

- A cell touches where its root is below the face. Until it is bonded it slides freely along the face.
- It bonds once it has been pressed on for the least dwell. Its anchor is where it then is on the part;
  without a least dwell that is where it first touched.
- What it holds grows with the peak pressure since it touched, by the activation law; more than the overload
  pressure leaves no more than the residual.
- It breaks where its utilisation reaches 1. From then on it carries pressure only.
- It bonds again when it is pressed on again: after it has been off the face, or by the rise of its pressure over
  the lowest since it broke. A pad that is dragged over the face under constant pressure therefore does not bond; what
  the rounding of the motion does to the pressure is no rise.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.cell_spans import Window
from gripmargin.contact.cell_states import BoolArray, CellState, CellStates, CellTable, IntArray, Knots, Trace, known_of
from gripmargin.kernels.core import Kernel, kernel
from gripmargin.kernels.springs import bonded_force, crossing, elongation, utilisation2

AT_ONCE = 20, 4000  # steps and cells looked at together: time alone, no result depends on it


def follow(cells: CellTable, now: CellStates, knots: Knots) -> Trace:
    """Take cells through a stretch of the motion, each from one event of its own to the next.

    ``now`` is changed in place.
    """
    compiled = kernel("follow")
    if compiled is not None:
        return _followed_by(compiled, cells, now, knots)
    count, size = len(knots.twist), len(cells.area)
    trace = Trace.blank(count, size)
    holds, anchor = np.flatnonzero(now.state == CellState.BONDED), now.anchor.copy()
    spells = []
    steps, most = AT_ONCE
    for first, low in product(range(0, count, steps), range(0, size, most)):
        last = min(first + steps, count)
        which = np.arange(low, min(low + most, size))
        at = np.full(which.size, first)
        while which.size:
            k = Window(cells, now, knots, trace, int(at.min()), last).next_events(which, at)
            due = k < last
            which, k = which[due], k[due]
            if which.size:
                bonded = _happen(cells, now, knots, trace, which, k)
                spells.append((k[bonded], which[bonded], now.anchor[which[bonded]]))
            which, at = which[k + 1 < last], k[k + 1 < last] + 1
    holds = holds[trace.bonded[0, holds]]
    spells.append((np.zeros_like(holds), holds, anchor[holds]))
    begins, own, anchors = (np.concatenate(each) for each in zip(*spells, strict=True))
    order = np.argsort(begins, kind="stable")
    return replace(trace, spells=(begins[order], own[order], anchors[order]))


def _followed_by(compiled: Kernel, cells: CellTable, now: CellStates, knots: Knots) -> Trace:
    """Do what `follow` does by the kernel."""
    steps, size = len(knots.twist), len(cells.area)
    trace = Trace.blank(steps, size)
    begins, own, anchors = (
        np.empty(steps * size, np.int64),
        np.empty(steps * size, np.int64),
        np.empty((steps * size, 3)),
    )
    happened = trace.bonded, trace.held, trace.lost, trace.kink, trace.first_break, trace.unbroken
    sizes = size, steps, len(cells.laws)
    many = compiled(sizes, known_of(cells, knots), (*vars(now).values(), *happened, begins, own, anchors))
    order = np.argsort(begins[:many], kind="stable")
    return replace(trace, spells=(begins[order], own[order], anchors[order]))


def _happen(cells: CellTable, now: CellStates, knots: Knots, trace: Trace, which: IntArray, k: IntArray) -> BoolArray:
    """Take some cells through a step each in which something happens; return which of them are bonded after it.

    Args:
        cells: All cells.
        now: Their states, changed in place.
        knots: The stretch.
        trace: What happened, changed in place.
        which: The cells, shape (m,).
        k: The step of each, shape (m,).
    """
    some, states = cells.take(which), now.take(which)
    step = _Step(some, states, knots, trace, k, knots.pressure[k, which], knots.pressure[k + 1, which])
    fresh = step.touch_and_leave()
    share = step.press_and_bond(fresh)
    if step.stretch_and_break(share):
        share = states.capacity(some)
    now.put(which, states)
    bonded = states.state == CellState.BONDED
    trace.bonded[k, which], trace.held[k, which] = bonded, share * bonded
    return np.asarray(bonded)


@dataclass(frozen=True, eq=False)
class _Step:
    """Cells in a step each, from knot ``k`` to the next; it changes ``now`` and the trace in place.

    Attributes:
        cells: Constants.
        now: States.
        knots: The stretch.
        trace: What happened.
        k: Index of the step of each cell, shape (c,).
        before: Pressure at its start [Pa], shape (c,).
        after: Pressure at its end [Pa], shape (c,).
    """

    cells: CellTable
    now: CellStates
    knots: Knots
    trace: Trace
    k: IntArray
    before: FloatArray
    after: FloatArray

    @property
    def start(self) -> FloatArray:
        """When it starts [s], shape (c,)."""
        return self.knots.t[self.k]

    @property
    def duration(self) -> FloatArray:
        """How long it takes [s], shape (c,)."""
        return self.knots.t[self.k + 1] - self.knots.t[self.k]

    def touch_and_leave(self) -> BoolArray:
        """Take cells on and off the face; return which of them touch from now on."""
        now, pressed = self.now, self.after > 0
        now.contact_time += self.duration * pressed
        np.maximum(now.peak_pressure, self.after, out=now.peak_pressure)
        left = (now.state == CellState.TOUCHING) & ~pressed
        if left.any():
            self._leave(np.nonzero(left)[0])
        new = (now.state == CellState.FREE) & pressed & ~left
        if new.any():
            self._touch(np.nonzero(new)[0])
        i = np.nonzero(pressed)[0]
        way = self._roots(i, 1)[:, :2] - now.touched_at[i, :2]
        now.slid[i] = np.maximum(now.slid[i], np.sqrt(np.einsum("ci,ci->c", way, way)))
        return new

    def _leave(self, i: IntArray) -> None:
        share = self.before[i] / (self.before[i] - self.after[i])
        power = self._contact_power(i, self.before[i], self._roots(i, 0), 0)
        np.add.at(self.trace.kink, self.k[i], -0.5 * power * (1.0 - share))
        self.now.state[i] = CellState.FREE

    def _touch(self, i: IntArray) -> None:
        now, before, after = self.now, self.before[i], self.after[i]
        here, there = self._roots(i, 0), self._roots(i, 1)
        share = np.clip(-before / (after - before), 0.0, 1.0)
        at = here + share[:, None] * (there - here)
        power = self._contact_power(i, after, there, 1)
        np.add.at(self.trace.kink, self.k[i], -0.5 * power * share)
        time = self.start[i] + share * self.duration[i]
        now.state[i] = CellState.TOUCHING
        now.touched_at[i] = now.anchor[i] = at
        now.stretch[i] = 0.0
        now.base[i], now.peak[i], now.floor[i], now.overloaded[i] = 0.0, 0.0, 0.0, False
        now.bottom[i] = np.nan
        now.since[i], now.contact_time[i], now.slid[i] = time, (1.0 - share) * self.duration[i], 0.0
        now.first_touch[i] = np.where(np.isnan(now.first_touch[i]), time, now.first_touch[i])

    def press_and_bond(self, fresh: BoolArray) -> FloatArray:
        """Return the share of the full strength that each cell has, or would have, after the step."""
        cells, now, pressure, time = self.cells, self.now, self.after, self.knots.t[self.k + 1]
        touching = now.state == CellState.TOUCHING
        falling = touching & (pressure + cells.steady <= now.base)
        if falling.any():
            now.base[falling] = pressure[falling] + cells.steady[falling]
            now.peak[falling] = 0.0
            anew = falling & ~cells.dwells_on
            now.since[anew] = time[anew]
            now.bottom[falling] = np.minimum(now.bottom[falling], now.base[falling])
        np.maximum(now.peak, now.rise(cells, pressure), out=now.peak)
        now.overloaded |= pressure > cells.overload
        share = now.capacity(cells)
        ready = touching & ~falling & (share > 0) & (time - now.since >= cells.dwell - 1e-12 * np.abs(time))
        if ready.any():
            now.state[ready] = CellState.BONDED
            # Without a least dwell a fresh touch holds from the first moment, at the place of that touch.
            late = np.nonzero(ready & ((cells.dwell > 0) | ~fresh))[0]
            at = self.knots.resting(self.k[late] + 1, self._roots(late, 1), pressure[late], cells.pad[late])
            now.anchor[late] = at
            now.stretch[late] = self._elongation(late)
        return share

    def stretch_and_break(self, share: FloatArray) -> bool:
        """Return whether any cell broke."""
        c, now = self.cells, self.now
        i = np.nonzero(now.state == CellState.BONDED)[0]
        own = self._elongation(i)
        used2 = utilisation2(own, c.normal[i], c.normal_stiffness[i], c.shear_stiffness[i], c.pull[i], c.shear[i])
        stretch = np.zeros_like(now.stretch)
        stretch[i] = own
        breaking = i[used2 > share[i] * share[i]]
        if breaking.size:
            self._break(breaking, stretch, share)
        now.stretch[:] = stretch
        return breaking.size > 0

    def _break(self, i: IntArray, stretch: FloatArray, held: FloatArray) -> None:
        """Break cells where in the step their utilisation reaches what they hold."""
        some, now = self.cells.take(i), self.now
        rates = (some.normal_stiffness / some.pull, some.shear_stiffness / some.shear)
        share = crossing(now.stretch[i], stretch[i], some.normal, rates, held[i] * held[i])
        pressure = self.before[i] + share * (self.after[i] - self.before[i])
        self._account(i, some, share, pressure, stretch[i])
        now.state[i] = np.where(self.after[i] > 0, CellState.TOUCHING, CellState.FREE)
        now.base[i] = np.maximum(np.minimum(pressure, self.after[i]), 0.0) + some.steady
        now.bottom[i] = np.fmin(now.bottom[i], now.base[i])
        now.peak[i], now.floor[i] = 0.0, 0.0
        now.since[i] = np.where(some.dwells_on, now.since[i], self.knots.t[self.k[i] + 1])
        now.broken[i] = self.start[i] + share * self.duration[i]
        now.breaks[i] += 1
        stretch[i] = 0.0

    def _account(self, i: IntArray, some: CellTable, share: FloatArray, pressure: FloatArray, end: FloatArray) -> None:
        """Note energy, work and reaction of cells that break.

        Args:
            i: Which of the cells.
            some: Their constants.
            share: Of the step, where they break, shape (i,).
            pressure: There [Pa], shape (i,).
            end: Elongation at the end of the step, had they not broken [m], shape (i, 3).
        """
        k, knots, trace, start, anchor = self.k[i], self.knots, self.trace, self.now.stretch[i], self.now.anchor[i]
        force0, _ = _force(some, start, knots.rotation[k])
        force1, _ = _force(some, end, knots.rotation[k + 1])
        _, stored = _force(some, start + share[:, None] * (end - start), knots.rotation[k + 1])
        kept = 0.5 * some.area * np.maximum(pressure, 0.0) ** 2 / knots.contact_stiffness[k + 1, some.pad]
        np.add.at(trace.lost, k, stored - kept)
        np.fmin.at(trace.first_break, k, share)

        after, root = self.after[i], self._roots(i, 1)
        velocity = knots.twist[k, :3] + np.cross(knots.twist[k, 3:], anchor)
        power0, power1 = (force0 * velocity).sum(axis=1), (force1 * velocity).sum(axis=1)
        power_at = power0 + share * (power1 - power0)
        contact1, contact_at = (self._contact_power(i, p, root, 1) for p in (after, pressure))
        done = 0.5 * share * (power0 + power_at) + 0.5 * (1.0 - share) * (contact_at + contact1)
        np.add.at(trace.kink, k, done - 0.5 * (power0 + contact1))

        pushed = np.maximum(after, 0.0)
        at, contact = knots.resting(k + 1, root, pushed, some.pad), np.zeros((i.size, 3))
        contact[:, 2] = -some.area * pushed
        moment = np.cross(anchor, force1) - np.cross(at, contact)
        np.add.at(trace.unbroken, k, np.hstack([force1 - contact, moment]))

    def _roots(self, i: IntArray, later: int) -> FloatArray:
        """Where cells have their roots at the start (0) or end (1) of their steps, face frame [m], shape (i, 3)."""
        knot = self.k[i] + later
        return np.einsum("cij,cj->ci", self.knots.rotation[knot], self.cells.root[i]) + self.knots.position[knot]

    def _elongation(self, i: IntArray) -> FloatArray:
        """From roots to anchors at the end of their steps, tool axes [m], shape (i, 3)."""
        knot = self.k[i] + 1
        rotation, position = self.knots.rotation[knot], self.knots.position[knot]
        return elongation(rotation, position, self.now.anchor[i, None], self.cells.root[i, None])[:, 0]

    def _contact_power(self, i: IntArray, pressure: FloatArray, root: FloatArray, later: int) -> FloatArray:
        """Work that a step would do against the pressure of freely sliding cells, were it constant [J], shape (i,)."""
        pushed = np.maximum(pressure, 0.0)
        at = self.knots.resting(self.k[i] + later, root, pushed, self.cells.pad[i])
        twist = self.knots.twist[self.k[i]]
        rate = twist[:, 2] + twist[:, 3] * at[:, 1] - twist[:, 4] * at[:, 0]
        return -self.cells.area[i] * pushed * rate


def _force(cells: CellTable, stretch: FloatArray, rotation: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return what bonded cells do to the part, each with the tool turned its own way: see `bonded_force`."""
    force, energy = bonded_force(
        stretch[:, None],
        rotation,
        cells.normal[:, None],
        cells.normal_stiffness[:, None],
        cells.shear_stiffness[:, None],
        cells.area[:, None],
    )
    return force[:, 0], energy[:, 0]
