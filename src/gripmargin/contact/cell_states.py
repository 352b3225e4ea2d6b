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

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from gripmargin.arrays import FloatArray
from gripmargin.contact.activation import ActivationLaw, PadFace
from gripmargin.kernels.springs import bonded_force, crossing, elongation, utilisation2

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
    normal_stiffness: FloatArray
    shear_stiffness: FloatArray
    pull: FloatArray
    shear: FloatArray
    dwell: FloatArray
    overload: FloatArray
    residual: FloatArray

    @classmethod
    def of(cls, faces: Sequence[PadFace]) -> CellTable:
        """Return the table of pads."""
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
        return [slice(int(a), int(b)) for a, b in zip(bounds[:-1], bounds[1:], strict=True)]

    def law_of(self, peak: FloatArray) -> FloatArray:
        """Return the activation [-] after peak pressures [Pa], shape (..., c)."""
        out = np.empty_like(peak)
        for law, cells in zip(self.laws, self.by_pad(), strict=True):
            if cells.start < cells.stop:
                out[..., cells] = law(peak[..., cells])
        return out


@dataclass(eq=False)
class CellStates:
    """What changes, shape (c,) unless said otherwise.

    Attributes:
        state: `CellState`.
        anchor: Where it is bonded, face frame [m], shape (c, 3).
        stretch: From root to anchor at the last knot, tool axes [m], shape (c, 3).
        floor: Activation that it brought along [-].
        base: Pressure from which pressing on counts [Pa].
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
        made["first_touch"], made["broken"] = np.full(cells, np.nan), np.full(cells, np.nan)
        return cls(**made)

    def take(self, index: IntArray) -> CellStates:
        """Return a copy of some of the cells."""
        return CellStates(**{key: value[index] for key, value in vars(self).items()})

    def put(self, index: IntArray, other: CellStates) -> None:
        """Write some of the cells back."""
        for key, value in vars(self).items():
            value[index] = getattr(other, key)

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

    def roots(self, cells: CellTable) -> FloatArray:
        """Return where the roots are, face frame [m], shape (s + 1, c, 3)."""
        return cells.root @ self.rotation.transpose(0, 2, 1) + self.position[:, None]

    def resting(self, knot: int, root: FloatArray, pressure: FloatArray, pad: IntArray) -> FloatArray:
        """Return where freely sliding cells meet the face at a knot, face frame [m], shape (c, 3)."""
        depth = pressure / self.contact_stiffness[knot, pad]
        return root + depth[:, None] * self.lean[knot, pad]


@dataclass(frozen=True, eq=False)
class Trace:
    """What happened to the cells along a stretch of s steps.

    Attributes:
        bonded: After each step, shape (s, c).
        anchor: Shape (s, c, 3).
        held: Share of the full strength, shape (s, c).
        lost: Elastic energy that breaking gave away in each step [J], shape (s,).
        kink: What the trapezoidal rule misses of the tool's work in each step where a cell's force has a kink
            or a jump inside [J], shape (s,).
        first_break: Share of each step at which the first cell broke, NaN where none did, shape (s,).
        unbroken: Reaction at the end of each step had no cell broken, less that with them broken, shape (s, 6).
    """

    bonded: BoolArray
    anchor: FloatArray
    held: FloatArray
    lost: FloatArray
    kink: FloatArray
    first_break: FloatArray
    unbroken: FloatArray


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
    pressed = (knots.pressure > 0).any(axis=1)
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
