"""The life of a cell under a given motion: touch, press, bond, stretch, break, bond again.

The motion is given, so cells do not know of each other. Rules:

- A cell touches where its root is below the face. Until it is bonded it slides freely along the face.
- It bonds once it has been pressed on for the least dwell. Its anchor is where it then is on the part;
  without a least dwell that is where it first touched.
- What it holds grows with the peak pressure since it touched, by the activation law; more than the overload
  pressure leaves no more than the residual.
- It breaks where its utilisation reaches 1. From then on it carries pressure only.
- It bonds again when it is pressed on again: after it has been off the face, or by the rise of its pressure over
  the lowest since it broke. A pad that is dragged over the face under constant pressure therefore does not bond.
"""

from __future__ import annotations

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.cell_states import BoolArray, CellState, CellStates, CellTable, IntArray, Knots, Trace
from gripmargin.kernels.springs import bonded_force, crossing, elongation, utilisation2


def follow(cells: CellTable, now: CellStates, knots: Knots) -> Trace:
    """Take cells through a stretch of the motion, step by step; ``now`` is changed in place."""
    roots = knots.roots(cells)
    count, size = len(knots.twist), len(cells.area)
    trace = Trace(
        bonded=np.zeros((count, size), np.bool_),
        anchor=np.empty((count, size, 3)),
        held=np.empty((count, size)),
        lost=np.zeros(count),
        kink=np.zeros(count),
        first_break=np.full(count, np.nan),
        unbroken=np.zeros((count, 6)),
    )
    pressed: BoolArray = np.any(knots.pressure > 0, axis=1)
    share = now.capacity(cells)
    for step in range(count):
        if pressed[step] or pressed[step + 1]:
            fresh = _touch_and_leave(cells, now, knots, roots, step, trace)
            share = _press_and_bond(cells, now, knots, roots, step, fresh, share)
        if _stretch_and_break(cells, now, knots, roots, step, trace, share):
            share = now.capacity(cells)
        bonded = trace.bonded[step] = now.state == CellState.BONDED
        trace.anchor[step] = now.anchor
        np.multiply(share, bonded, out=trace.held[step])
    return trace


def _touch_and_leave(
    cells: CellTable, now: CellStates, knots: Knots, roots: FloatArray, step: int, trace: Trace
) -> BoolArray:
    before, after = knots.pressure[step], knots.pressure[step + 1]
    t0, dt = knots.t[step], knots.t[step + 1] - knots.t[step]
    pressed = after > 0
    now.contact_time += dt * pressed
    np.maximum(now.peak_pressure, after, out=now.peak_pressure)
    left = (now.state == CellState.TOUCHING) & ~pressed
    if left.any():
        i = np.nonzero(left)[0]
        share = before[i] / (before[i] - after[i])
        power = _contact_power(cells, i, before[i], roots[step, i], knots, step, step)
        trace.kink[step] -= 0.5 * (power * (1.0 - share)).sum()
        now.state[i] = CellState.FREE
    new = (now.state == CellState.FREE) & pressed & ~left
    if new.any():
        i = np.nonzero(new)[0]
        share = np.clip(-before[i] / (after[i] - before[i]), 0.0, 1.0)
        at = roots[step, i] + share[:, None] * (roots[step + 1, i] - roots[step, i])
        power = _contact_power(cells, i, after[i], roots[step + 1, i], knots, step, step + 1)
        trace.kink[step] -= 0.5 * (power * share).sum()
        time = t0 + share * dt
        now.state[i] = CellState.TOUCHING
        now.touched_at[i] = now.anchor[i] = at
        now.stretch[i] = 0.0
        now.base[i], now.peak[i], now.floor[i], now.overloaded[i] = 0.0, 0.0, 0.0, False
        now.since[i], now.contact_time[i], now.slid[i] = time, (1.0 - share) * dt, 0.0
        now.first_touch[i] = np.where(np.isnan(now.first_touch[i]), time, now.first_touch[i])
    if pressed.any():
        way = roots[step + 1, :, :2] - now.touched_at[:, :2]
        now.slid = np.where(pressed, np.maximum(now.slid, np.hypot(way[:, 0], way[:, 1])), now.slid)
    return new


def _press_and_bond(
    cells: CellTable,
    now: CellStates,
    knots: Knots,
    roots: FloatArray,
    step: int,
    fresh: BoolArray,
    share: FloatArray,
) -> FloatArray:
    """Return the share of the full strength that each cell has, or would have, after the step."""
    pressure, time = knots.pressure[step + 1], knots.t[step + 1]
    touching = now.state == CellState.TOUCHING
    falling = touching & (pressure <= now.base)
    if falling.any():
        now.base[falling], now.peak[falling], now.since[falling] = pressure[falling], 0.0, time
    rise = pressure - now.base
    buckling = (pressure > cells.overload) & ~now.overloaded
    if (rise > now.peak).any() or buckling.any() or touching.any():
        np.maximum(now.peak, rise, out=now.peak)
        now.overloaded |= buckling
        share = now.capacity(cells)
    ready = touching & ~falling & (share > 0) & (time - now.since >= cells.dwell - 1e-12 * abs(time))
    if ready.any():
        now.state[ready] = CellState.BONDED
        # Without a least dwell a fresh touch holds from the first moment, at the place of that touch.
        late = np.nonzero(ready & ((cells.dwell > 0) | ~fresh))[0]
        at = knots.resting(step + 1, roots[step + 1, late], pressure[late], cells.pad[late])
        now.anchor[late] = at
        now.stretch[late] = elongation(
            knots.rotation[step + 1 : step + 2], knots.position[step + 1 : step + 2], at[None], cells.root[late]
        )[0]
    return share


def _stretch_and_break(
    cells: CellTable, now: CellStates, knots: Knots, roots: FloatArray, step: int, trace: Trace, share: FloatArray
) -> bool:
    """Return whether any cell broke."""
    bonded = now.state == CellState.BONDED
    if not bonded.any():
        return False
    here = slice(step + 1, step + 2)
    stretch = elongation(knots.rotation[here], knots.position[here], now.anchor[None], cells.root)[0]
    stretch[~bonded] = 0.0
    held2 = share * share
    used2 = utilisation2(stretch, cells.normal, cells.normal_stiffness, cells.shear_stiffness, cells.pull, cells.shear)
    breaking = bonded & (used2 > held2)
    broke = bool(breaking.any())
    if broke:
        _break(cells, now, knots, roots, step, trace, np.nonzero(breaking)[0], stretch, held2)
    now.stretch = stretch
    return broke


def _break(
    cells: CellTable,
    now: CellStates,
    knots: Knots,
    roots: FloatArray,
    step: int,
    trace: Trace,
    i: IntArray,
    stretch: FloatArray,
    held2: FloatArray,
) -> None:
    some = cells.take(i)
    start, end, anchor = now.stretch[i], stretch[i], now.anchor[i]
    rates = (some.normal_stiffness / some.pull, some.shear_stiffness / some.shear)
    share = crossing(start, end, some.normal, rates, held2[i])
    springs = (some.normal, some.normal_stiffness, some.shear_stiffness, some.area)
    before, after = knots.pressure[step, i], knots.pressure[step + 1, i]
    pressure = before + share * (after - before)

    force0, _ = bonded_force(start, knots.rotation[step], *springs)
    force1, _ = bonded_force(end, knots.rotation[step + 1], *springs)
    _, stored = bonded_force(start + share[:, None] * (end - start), knots.rotation[step + 1], *springs)
    softness = knots.contact_stiffness[step + 1, some.pad]
    kept = 0.5 * some.area * np.maximum(pressure, 0.0) ** 2 / softness
    trace.lost[step] += (stored - kept).sum()

    velocity = knots.twist[step, :3] + np.cross(knots.twist[step, 3:], anchor)
    power0, power1 = (force0 * velocity).sum(axis=1), (force1 * velocity).sum(axis=1)
    power_at = power0 + share * (power1 - power0)
    root = roots[step + 1, i]
    contact1 = _contact_power(cells, i, after, root, knots, step, step + 1)
    contact_at = _contact_power(cells, i, pressure, root, knots, step, step + 1)
    done = 0.5 * share * (power0 + power_at) + 0.5 * (1.0 - share) * (contact_at + contact1)
    trace.kink[step] += (done - 0.5 * (power0 + contact1)).sum()

    trace.first_break[step] = share.min()
    at = knots.resting(step + 1, root, np.maximum(after, 0.0), some.pad)
    pushing = -some.area * np.maximum(after, 0.0)
    contact = np.stack([np.zeros_like(pushing), np.zeros_like(pushing), pushing], axis=1)
    trace.unbroken[step, :3] = force1.sum(axis=0) - contact.sum(axis=0)
    trace.unbroken[step, 3:] = np.cross(anchor, force1).sum(axis=0) - np.cross(at, contact).sum(axis=0)

    time = knots.t[step] + share * (knots.t[step + 1] - knots.t[step])
    now.state[i] = np.where(after > 0, CellState.TOUCHING, CellState.FREE)
    now.base[i] = np.maximum(np.minimum(pressure, after), 0.0)
    now.peak[i], now.floor[i], now.since[i] = 0.0, 0.0, knots.t[step + 1]
    now.broken[i] = time
    now.breaks[i] += 1
    stretch[i] = 0.0


def _contact_power(
    cells: CellTable, i: IntArray, pressure: FloatArray, root: FloatArray, knots: Knots, step: int, knot: int
) -> FloatArray:
    """Work that a step would do against the pressure of freely sliding cells, were it constant [J], shape (i,)."""
    pushed = np.maximum(pressure, 0.0)
    at = knots.resting(knot, root, pushed, cells.pad[i])
    twist = knots.twist[step]
    rate = twist[2] + twist[3] * at[:, 1] - twist[4] * at[:, 0]
    return -cells.area[i] * pushed * rate
