"""How long nothing happens to a cell: the steps up to its next event, looked at together.

The motion is given, so a cell's next event does not depend on other cells. Up to it a cell that is off the face stays
off; one that is pressed and not bonded is dragged along; a bonded one is stretched, and holds what its highest
pressure gave it. What happens in the step of the event is a matter of `gripmargin.contact.cell_life`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.cell_states import BoolArray, CellState, CellStates, CellTable, IntArray, Knots, Trace
from gripmargin.kernels.springs import elongation, utilisation2


@dataclass(frozen=True, eq=False)
class Window:
    """Some steps of a stretch of the motion; states and trace are changed in place.

    Attributes:
        cells: Constants.
        now: States.
        knots: The stretch.
        trace: What happened.
        first: The first step.
        last: That after the last one.
    """

    cells: CellTable
    now: CellStates
    knots: Knots
    trace: Trace
    first: int
    last: int

    def next_events(self, which: IntArray, at: IntArray) -> IntArray:
        """Take cells up to their next event; return the step in which it is, `last` where there is none, shape (m,).

        Args:
            which: The cells, shape (m,).
            at: The step from which on each is followed, shape (m,).
        """
        event, state = np.full(which.size, self.last), self.now.state[which]
        for kind, until in (
            (CellState.FREE, self._off),
            (CellState.TOUCHING, self._dragged),
            (CellState.BONDED, self._stretched),
        ):
            own = np.flatnonzero(state == kind)
            if own.size:
                event[own] = until(which[own], self._pressure(which[own]), self._rows >= at[own])
        return event

    @property
    def _rows(self) -> IntArray:
        return np.arange(self.first, self.last)[:, None]

    def _pressure(self, i: IntArray) -> FloatArray:
        """Pressure at the end of each step [Pa], shape (s, i)."""
        pressure = self.knots.pressure[self.first + 1 : self.last + 1]
        return pressure if i.size == pressure.shape[1] else pressure[:, i]

    def _first_of(self, happens: BoolArray) -> IntArray:
        return np.where(happens.any(axis=0), self.first + happens.argmax(axis=0), self.last)

    def _off(self, i: IntArray, pressure: FloatArray, live: BoolArray) -> IntArray:
        """Follow cells that are off the face until they touch."""
        return self._first_of(live & (pressure > 0))

    def _dragged(self, i: IntArray, pressure: FloatArray, live: BoolArray) -> IntArray:
        """Follow cells that are pressed and not bonded until they leave the face, or may bond.

        The base follows the lowest pressure; what counts towards a bond is what came after it was last lowered.
        """
        falls = live[0] & (pressure[0] + self.cells.steady[i] <= self.now.base[i])
        falls &= (pressure[1:] <= pressure[:-1]).all(axis=0)
        event = np.empty(i.size, np.int64)
        for own, until in ((np.flatnonzero(falls), self._relieved), (np.flatnonzero(~falls), self._moved)):
            if own.size == i.size:
                return until(i, pressure, live)
            if own.size:
                event[own] = until(i[own], pressure[:, own], live[:, own])
        return event

    def _relieved(self, i: IntArray, pressure: FloatArray, live: BoolArray) -> IntArray:
        """Follow cells whose pressure only falls, until they leave the face: what they hold of it ends each time."""
        now = self.now.take(i)
        event = self._first_of(pressure <= 0)
        own = np.flatnonzero(event > self.first)
        before = event[own] - 1 - self.first
        now.base[own], now.peak[own] = pressure[before, own] + self.cells.steady[i[own]], 0.0
        now.bottom[own] = np.minimum(now.bottom[own], now.base[own])
        now.since[own] = np.where(self.cells.dwells_on[i[own]], now.since[own], self.knots.t[event[own]])
        now.overloaded |= pressure[0] > self.cells.overload[i]
        self._keep(i, now, pressure, self._rows < event)
        return event

    def _moved(self, i: IntArray, pressure: FloatArray, live: BoolArray) -> IntArray:
        """Follow cells whose pressure falls and rises."""
        some, now, rows, t = self.cells.take(i), self.now.take(i), self._rows, self.knots.t
        level = np.where(live, pressure + some.steady, np.inf)
        bases = np.minimum.accumulate(np.vstack([now.base, level]), axis=0)
        base = bases[1:]
        falls = level <= bases[:-1]
        fallen = np.maximum.accumulate(np.where(falls, rows, -1), axis=0)
        rise = np.where(live, now.rise(some, pressure, base), 0.0)
        raised = np.maximum.accumulate(np.where(some.law_of(rise) > 0, rows, -1), axis=0)
        buckled = now.overloaded | np.logical_or.accumulate(live & (pressure > some.overload), axis=0)
        holds = np.where(fallen >= 0, raised > fallen, (raised >= 0) | (some.law_of(now.peak) > 0)) | (now.floor > 0)
        holds &= ~buckled | (some.residual > 0)
        since, time = np.where((fallen >= 0) & ~some.dwells_on, t[fallen + 1], now.since), t[rows + 1]
        may_bond = ~falls & holds & (time - since >= some.dwell - 1e-12 * np.abs(time))
        event = self._first_of(live & (may_bond | (pressure <= 0)))

        lasts = live & (rows < event)
        own = np.flatnonzero(lasts.any(axis=0))
        before = event[own] - 1 - self.first
        fell, lowest = fallen[before, own], base[before, own]
        highest = np.where(lasts & (rows > fallen[np.maximum(event - 1 - self.first, 0), np.arange(i.size)]), rise, 0.0)
        peak = np.maximum(np.where(fell >= 0, 0.0, now.peak[own]), highest.max(axis=0)[own])
        now.base[own], now.peak[own] = lowest, peak
        now.bottom[own] = np.where(fell >= 0, np.minimum(now.bottom[own], lowest), now.bottom[own])
        now.since[own], now.overloaded[own] = since[before, own], buckled[before, own]
        self._keep(i, now, pressure, lasts)
        return event

    def _stretched(self, i: IntArray, pressure: FloatArray, live: BoolArray) -> IntArray:
        """Follow bonded cells until they break."""
        some, now, rows, steps = self.cells.take(i), self.now.take(i), self._rows, slice(self.first, self.last)
        ends = slice(self.first + 1, self.last + 1)
        share = np.broadcast_to(now.capacity(some), pressure.shape)
        rise = np.where(live, now.rise(some, pressure, now.base), 0.0)
        buckles = live & (pressure > some.overload)
        grows = np.flatnonzero((rise.max(axis=0) > now.peak) | (buckles.any(axis=0) & ~now.overloaded))
        peaks = np.maximum.accumulate(np.maximum(rise[:, grows], now.peak[grows]), axis=0)
        buckled = np.logical_or.accumulate(buckles[:, grows] | now.overloaded[grows], axis=0)
        if grows.size:
            growing, then = some.take(grows), now.take(grows)
            then.peak, then.overloaded = peaks, buckled
            share = share.copy()
            share[:, grows] = then.capacity(growing)
        stretch = elongation(self.knots.rotation[ends], self.knots.position[ends], now.anchor[None], some.root)
        used2 = utilisation2(stretch, some.normal, some.normal_stiffness, some.shear_stiffness, some.pull, some.shear)
        event = self._first_of(live & (used2 > share * share))

        lasts = live & (rows < event)
        own, before = np.flatnonzero(lasts.any(axis=0)), np.maximum(event - 1 - self.first, 0)
        now.stretch[own] = stretch[before[own], own]
        kept = np.flatnonzero(np.isin(grows, own))
        now.peak[grows[kept]] = peaks[before[grows[kept]], kept]
        now.overloaded[grows[kept]] = buckled[before[grows[kept]], kept]
        bonded, held = self.trace.bonded[steps], self.trace.held[steps]
        bonded[:, i] |= lasts
        held[:, i] = np.where(lasts, share, held[:, i])
        self._keep(i, now, pressure, lasts)
        return event

    def _keep(self, i: IntArray, now: CellStates, pressure: FloatArray, lasts: BoolArray) -> None:
        """Write back states of cells, with what pressure did to them meanwhile.

        Args:
            i: The cells.
            now: Their states.
            pressure: At the ends of the steps [Pa], shape (s, i).
            lasts: In which steps they were followed, shape (s, i).
        """
        pressed = lasts & (pressure > 0)
        some = np.flatnonzero(pressed.any(axis=0))
        if some.size:
            ends = slice(self.first + 1, self.last + 1)
            pressed = pressed[:, some]
            t = self.knots.t[self.first : self.last + 1]
            now.contact_time[some] += np.diff(t) @ pressed
            highest = np.where(pressed, pressure[:, some], 0.0).max(axis=0)
            now.peak_pressure[some] = np.maximum(now.peak_pressure[some], highest)
            root, at = self.cells.root[i[some]].T, now.touched_at[some].T
            x, y = (
                self.knots.rotation[ends, axis] @ root + (self.knots.position[ends, axis, None] - at[axis])
                for axis in (0, 1)
            )
            longest = np.where(pressed, x * x + y * y, 0.0).max(axis=0)
            now.slid[some] = np.maximum(now.slid[some], np.sqrt(longest))
        self.now.put(i, now)
