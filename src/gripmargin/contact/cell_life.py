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

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.cell_states import BoolArray, CellState, CellStates, CellTable, IntArray, Knots, Trace
from gripmargin.kernels.springs import bonded_force, crossing, elongation, utilisation2


def follow(cells: CellTable, now: CellStates, knots: Knots) -> Trace:
    """Take cells through a stretch of the motion, step by step; ``now`` is changed in place."""
    count, size = len(knots.twist), len(cells.area)
    trace = Trace(
        bonded=np.zeros((count, size), np.bool_),
        spells=_no_spells(),
        held=np.empty((count, size)),
        lost=np.zeros(count),
        kink=np.zeros(count),
        first_break=np.full(count, np.nan),
        unbroken=np.zeros((count, 6)),
    )
    pressed: BoolArray = np.any(knots.pressure > 0, axis=1)
    share, before, spells = now.capacity(cells), np.zeros(size, np.bool_), []
    for k in range(count):
        step = _Step(cells, now, knots, trace, k)
        if pressed[k] or pressed[k + 1]:
            fresh = step.touch_and_leave()
            share = step.press_and_bond(fresh, share)
        if step.stretch_and_break(share):
            share = now.capacity(cells)
        bonded = trace.bonded[k] = now.state == CellState.BONDED
        new = np.nonzero(bonded > before)[0]
        if new.size:
            spells.append((np.full(new.size, k), new, now.anchor[new]))
        before = bonded
        np.multiply(share, bonded, out=trace.held[k])
    if not spells:
        return trace
    steps, which, anchors = zip(*spells, strict=True)
    return replace(trace, spells=(np.concatenate(steps), np.concatenate(which), np.concatenate(anchors)))


def _no_spells() -> tuple[IntArray, IntArray, FloatArray]:
    return np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros((0, 3))


@dataclass(frozen=True, eq=False)
class _Step:
    """The step from knot ``k`` to the next; it changes ``now`` and the trace in place.

    Attributes:
        cells: Constants.
        now: States.
        knots: The stretch.
        trace: What happened.
        k: Index of the step.
    """

    cells: CellTable
    now: CellStates
    knots: Knots
    trace: Trace
    k: int

    @property
    def start(self) -> float:
        """When it starts [s]."""
        return float(self.knots.t[self.k])

    @property
    def duration(self) -> float:
        """How long it takes [s]."""
        return float(self.knots.t[self.k + 1] - self.knots.t[self.k])

    @property
    def before(self) -> FloatArray:
        """Pressure at its start [Pa], shape (c,)."""
        return self.knots.pressure[self.k]

    @property
    def after(self) -> FloatArray:
        """Pressure at its end [Pa], shape (c,)."""
        return self.knots.pressure[self.k + 1]

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
        if pressed.any():
            i = slice(None) if pressed.all() else np.nonzero(pressed)[0]
            way = self.knots.place(self.k + 1, self.cells.root[i])[:, :2] - now.touched_at[i, :2]
            now.slid[i] = np.maximum(now.slid[i], np.sqrt(np.einsum("ci,ci->c", way, way)))
        return new

    def _leave(self, i: IntArray) -> None:
        share = self.before[i] / (self.before[i] - self.after[i])
        power = self._contact_power(i, self.before[i], self._roots(i, self.k), self.k)
        self.trace.kink[self.k] -= 0.5 * (power * (1.0 - share)).sum()
        self.now.state[i] = CellState.FREE

    def _touch(self, i: IntArray) -> None:
        now, before, after = self.now, self.before[i], self.after[i]
        here, there = self._roots(i, self.k), self._roots(i, self.k + 1)
        share = np.clip(-before / (after - before), 0.0, 1.0)
        at = here + share[:, None] * (there - here)
        power = self._contact_power(i, after, there, self.k + 1)
        self.trace.kink[self.k] -= 0.5 * (power * share).sum()
        time = self.start + share * self.duration
        now.state[i] = CellState.TOUCHING
        now.touched_at[i] = now.anchor[i] = at
        now.stretch[i] = 0.0
        now.base[i], now.peak[i], now.floor[i], now.overloaded[i] = 0.0, 0.0, 0.0, False
        now.bottom[i] = np.nan
        now.since[i], now.contact_time[i], now.slid[i] = time, (1.0 - share) * self.duration, 0.0
        now.first_touch[i] = np.where(np.isnan(now.first_touch[i]), time, now.first_touch[i])

    def press_and_bond(self, fresh: BoolArray, share: FloatArray) -> FloatArray:
        """Return the share of the full strength that each cell has, or would have, after the step."""
        cells, now, pressure, time = self.cells, self.now, self.after, self.knots.t[self.k + 1]
        touching = now.state == CellState.TOUCHING
        falling = touching & (pressure + cells.steady <= now.base)
        if falling.any():
            now.base[falling] = pressure[falling] + cells.steady[falling]
            now.peak[falling], now.since[falling] = 0.0, time
            now.bottom[falling] = np.minimum(now.bottom[falling], now.base[falling])
        rise = pressure - now.base
        rise = np.where(cells.gathers & (rise > 0) & (now.bottom < now.base), pressure - now.bottom, rise)
        buckling = (pressure > cells.overload) & ~now.overloaded
        if (rise > now.peak).any() or buckling.any() or falling.any() or fresh.any():
            np.maximum(now.peak, rise, out=now.peak)
            now.overloaded |= buckling
            share = now.capacity(cells)
        ready = touching & ~falling & (share > 0) & (time - now.since >= cells.dwell - 1e-12 * abs(time))
        if ready.any():
            now.state[ready] = CellState.BONDED
            # Without a least dwell a fresh touch holds from the first moment, at the place of that touch.
            late = np.nonzero(ready & ((cells.dwell > 0) | ~fresh))[0]
            at = self.knots.resting(self.k + 1, self._roots(late, self.k + 1), pressure[late], cells.pad[late])
            now.anchor[late] = at
            now.stretch[late] = self._elongation(at, cells.root[late])
        return share

    def stretch_and_break(self, share: FloatArray) -> bool:
        """Return whether any cell broke."""
        c, now = self.cells, self.now
        i = np.nonzero(now.state == CellState.BONDED)[0]
        if i.size == 0:
            return False
        own = self._elongation(now.anchor[i], c.root[i])
        used2 = utilisation2(own, c.normal[i], c.normal_stiffness[i], c.shear_stiffness[i], c.pull[i], c.shear[i])
        stretch = np.zeros_like(now.stretch)
        stretch[i] = own
        breaking = i[used2 > share[i] * share[i]]
        if breaking.size:
            self._break(breaking, stretch, share)
        now.stretch = stretch
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
        now.peak[i], now.floor[i], now.since[i] = 0.0, 0.0, self.knots.t[self.k + 1]
        now.broken[i] = self.start + share * self.duration
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
        k, knots, trace, start, anchor = self.k, self.knots, self.trace, self.now.stretch[i], self.now.anchor[i]
        springs = (some.normal, some.normal_stiffness, some.shear_stiffness, some.area)
        force0, _ = bonded_force(start, knots.rotation[k], *springs)
        force1, _ = bonded_force(end, knots.rotation[k + 1], *springs)
        _, stored = bonded_force(start + share[:, None] * (end - start), knots.rotation[k + 1], *springs)
        kept = 0.5 * some.area * np.maximum(pressure, 0.0) ** 2 / knots.contact_stiffness[k + 1, some.pad]
        trace.lost[k] += (stored - kept).sum()
        trace.first_break[k] = share.min()

        after, root = self.after[i], self._roots(i, k + 1)
        velocity = knots.twist[k, :3] + np.cross(knots.twist[k, 3:], anchor)
        power0, power1 = (force0 * velocity).sum(axis=1), (force1 * velocity).sum(axis=1)
        power_at = power0 + share * (power1 - power0)
        contact1, contact_at = (self._contact_power(i, p, root, k + 1) for p in (after, pressure))
        done = 0.5 * share * (power0 + power_at) + 0.5 * (1.0 - share) * (contact_at + contact1)
        trace.kink[k] += (done - 0.5 * (power0 + contact1)).sum()

        pushed = np.maximum(after, 0.0)
        at, contact = knots.resting(k + 1, root, pushed, some.pad), np.zeros((i.size, 3))
        contact[:, 2] = -some.area * pushed
        trace.unbroken[k, :3] = force1.sum(axis=0) - contact.sum(axis=0)
        trace.unbroken[k, 3:] = np.cross(anchor, force1).sum(axis=0) - np.cross(at, contact).sum(axis=0)

    def _roots(self, i: IntArray, knot: int) -> FloatArray:
        """Where cells have their roots at a knot, face frame [m], shape (i, 3)."""
        return self.knots.place(knot, self.cells.root[i])

    def _elongation(self, anchor: FloatArray, root: FloatArray) -> FloatArray:
        """From roots to anchors at the end of the step, tool axes [m], shape (c, 3)."""
        end = slice(self.k + 1, self.k + 2)
        return elongation(self.knots.rotation[end], self.knots.position[end], anchor[None], root)[0]

    def _contact_power(self, i: IntArray, pressure: FloatArray, root: FloatArray, knot: int) -> FloatArray:
        """Work that a step would do against the pressure of freely sliding cells, were it constant [J], shape (i,)."""
        pushed = np.maximum(pressure, 0.0)
        at = self.knots.resting(knot, root, pushed, self.cells.pad[i])
        twist = self.knots.twist[self.k]
        rate = twist[2] + twist[3] * at[:, 1] - twist[4] * at[:, 0]
        return -self.cells.area[i] * pushed * rate
