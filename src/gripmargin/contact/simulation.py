"""Pads driven by displacement against a part that something else holds: pressing on and letting go.

Pads are Winkler layers between a rigid plate and a rigid, plane face; each cell follows the rules of
`gripmargin.contact.cell_life`. Rotations are finite. Steps between samples are so short that no cell moves by more
than `STEP` of what breaks it; where inside a step it touches or breaks is then found by itself, and a row just
before the first break keeps the peak of the reaction.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from gripmargin.base.arrays import FloatArray, Value, sealed
from gripmargin.base.errors import BudgetError, InputError
from gripmargin.contact.activation import PadFace
from gripmargin.contact.cell_states import SKIN, BoolArray, CellState, IntArray
from gripmargin.contact.press_engine import PressEngine
from gripmargin.contact.relative import RelativeMotion, Steps, outline_of, steps, unsteadiness
from gripmargin.contact.rows import Rows
from gripmargin.contact.seating import SEATED, break_displacement
from gripmargin.kernels.screw import along

STEP = 1.0 / 32.0  # longest way of a cell in one step, share of the displacement that breaks a full bond
Knotted = tuple[FloatArray, FloatArray, FloatArray, FloatArray]  # times, rotations, positions, twists
MOST_WORK = 2e8  # steps times cells, a minute or so: ten times the most of jobs with 20 pads on the finest cells
WORK_OF_A_STEP = 1000  # cells that take as long as a step without any (measured)
MOST_KEPT = 2e8  # [B] of what was simulated before, for changes on trial: memory alone, no result depends on it
BLOCK = 128  # knots looked at together: time alone, no result depends on it


@dataclass(frozen=True, eq=False)
class PadCells(Value):
    """The cells of one pad at the end, shape (m,) unless said otherwise.

    Attributes:
        state: `CellState`.
        held: Share of the full strength that the cell holds, 0 where it is not bonded [-].
        activation: The same, whether bonded or not: what its last pressing gave it [-].
        overloaded: Whether its fibres have buckled since it last touched.
        peak_pressure: Highest contact pressure [Pa].
        first_touch: [s], NaN where it never touched.
        broken: When it last broke [s], NaN where it never did.
        breaks: How often it broke.
        contact_time: Time under pressure since it last touched [s].
        slid: Longest sideways way of its root from where it last touched, while pressed [m].
        traction: On the pad's backing, pad axes, tension positive, 0 where it is not bonded [Pa], shape (m, 3).
    """

    state: IntArray
    held: FloatArray
    activation: FloatArray
    overloaded: BoolArray
    peak_pressure: FloatArray
    first_touch: FloatArray
    broken: FloatArray
    breaks: IntArray
    contact_time: FloatArray
    slid: FloatArray
    traction: FloatArray

    def __post_init__(self) -> None:
        for array in vars(self).values():
            sealed(array)


@dataclass(frozen=True, eq=False, kw_only=True)
class ContactHistory(Value):
    """What the pads did over a motion. Rows: all samples, the steps between them, and instants just before breaks.

    Attributes:
        t: Time of each row [s], shape (k,).
        sample: Sample at or before each row, shape (k,).
        row_of_sample: Row of each sample, shape (n,).
        force: Of the gripper on the part, face axes [N], shape (k, 3); a positive z lifts the part.
        moment: The same about the face frame's origin [N m], shape (k, 3).
        bonded: Share of each pad's contact area that is bonded, shape (k, pads).
        held: Share of each pad's full strength that is bonded, shape (k, pads).
        held_total: Of all pads together, weighted by their full pull-off force, shape (k,).
        pressure: Highest contact pressure of each pad [Pa], shape (k, pads).
        pressure_cell: Cell of that pad where it is, shape (k, pads).
        elastic: Energy in the backings [J], shape (k,).
        fracture: Energy lost by breaking so far [J], shape (k,).
        work: Of the tool so far, from reaction and motion alone [J], shape (k,).
        pads: The cells at the end.
    """

    t: FloatArray
    sample: IntArray
    row_of_sample: IntArray
    force: FloatArray
    moment: FloatArray
    bonded: FloatArray
    held: FloatArray
    held_total: FloatArray
    pressure: FloatArray
    pressure_cell: IntArray
    elastic: FloatArray
    fracture: FloatArray
    work: FloatArray
    pads: tuple[PadCells, ...]

    def __post_init__(self) -> None:
        for value in vars(self).values():
            if isinstance(value, np.ndarray):
                sealed(value)

    @property
    def wrench(self) -> FloatArray:
        """Force and moment together, shape (k, 6)."""
        return np.concatenate([self.force, self.moment], axis=1)

    @property
    def bond(self) -> tuple[FloatArray, ...]:
        """Share of the full strength that each cell of each pad holds at the end, to start another motion with."""
        return tuple(pad.held for pad in self.pads)

    @property
    def size(self) -> int:
        """What it takes in memory [B], the cells at its end included."""
        arrays = [*vars(self).values(), *(array for pad in self.pads for array in vars(pad).values())]
        return sum(array.nbytes for array in arrays if isinstance(array, np.ndarray))

    @property
    def imbalance(self) -> float:
        """Residual of the energy balance, over the larger of the work and the energies [-]."""
        stored = self.elastic - self.elastic[0] + self.fracture
        size = max(float(np.abs(self.work).max()), float(np.abs(stored).max()))
        return float(np.abs(self.work - stored).max() / size) if size > 0 else 0.0

    def moment_about(self, point: FloatArray) -> FloatArray:
        """Return the moment on the part about another point of the face frame [m], face axes [N m], shape (k, 3)."""
        return self.moment - np.cross(point, self.force)


_done: ContextVar[dict[tuple[object, ...], ContactHistory] | None] = ContextVar("done", default=None)


@contextmanager
def remembering() -> Iterator[None]:
    """Simulate the same pads along the same motion once, as long as this lasts: changes of a job share its press."""
    token = None if _done.get() is not None else _done.set({})
    try:
        yield
    finally:
        if token is not None:
            _done.reset(token)


def simulate(
    faces: Sequence[PadFace],
    motion: RelativeMotion,
    bond: Sequence[FloatArray] | None = None,
    *,
    pull: float = np.inf,
) -> ContactHistory:
    """Drive pads along a motion relative to a face that does not move.

    Args:
        faces: The pads.
        motion: Of the tool in the frame of the face.
        bond: For each pad the share of its full strength that each cell holds at the first sample, where the
            part then lies in its place; None: the pads come without a bond. The cells are anchored where they are
            at the first sample, without force along the face.
        pull: What the face bears along its normal [N]: the motion ends with the last sample before the pads pull more.

    Returns:
        Reaction, bond, pressure and energy over time.

    Raises:
        InputError: A bond that does not fit the pads, or a first pose at which none of it would hold.
        BudgetError: Motion and pads ask for more than `MOST_WORK`.
    """
    done = _done.get()
    if done is None:
        return _simulated(faces, motion, bond, pull)
    key = (tuple(faces), motion, None if bond is None else tuple(np.asarray(share).tobytes() for share in bond), pull)
    if key not in done:
        done[key] = _simulated(faces, motion, bond, pull)
        while len(done) > 1 and sum(each.size for each in done.values()) > MOST_KEPT:
            del done[next(iter(done))]
    return done[key]


def _simulated(
    faces: Sequence[PadFace], motion: RelativeMotion, bond: Sequence[FloatArray] | None, pull: float = np.inf
) -> ContactHistory:
    if not faces:
        raise InputError("contact simulation", "no pad", "at least one")
    outline = outline_of([face.patch.points for face in faces])
    longest = STEP * break_displacement(faces)
    reach = max(face.reach for face in faces)
    plan = steps(motion, outline, reach, longest)
    _keep_to_the_budget(float(plan.count.sum()), sum(face.patch.areas.size for face in faces), longest)
    level = _level(faces, motion, outline)
    engine = PressEngine(faces, float(motion.t[0]), motion.rotation[0], motion.position[0], bond, level)
    parts = [engine.last]
    for first, last, active in _runs(plan.count > 0):
        if active:
            for knots in _blocks(motion, plan, first, last):
                before = engine.another() if pull < np.inf else engine
                parts.append(engine.advance(*knots))
                beyond = parts[-1].wrench[:, 2] > pull
                if beyond.any():
                    end = max(int(np.searchsorted(motion.t, parts[-1].t[np.argmax(beyond)])) - 1, 0)
                    motion, count = motion.between(0, end), int(np.searchsorted(knots[0], motion.t[end], side="right"))
                    if count == 0 or _level(faces, motion, outline) != level:
                        return _simulated(faces, motion, bond)
                    parts[-1] = before.advance(*(each[:count] for each in knots))
                    return _history(before, motion, Rows.join(parts))
            continue
        parts.append(engine.rest(motion.t[first + 1 : last + 2]))
        end = last + 1
        at_rest = motion.between(end, end).height(engine.outline).min() < reach
        engine.skip(None if at_rest else float(motion.t[end]), motion.rotation[end], motion.position[end])
    return _history(engine, motion, Rows.join(parts))


def _level(faces: Sequence[PadFace], motion: RelativeMotion, outline: FloatArray) -> float:
    """How far a tool may rise and fall that is meant to stay at its height [m]."""
    return min(max(unsteadiness(motion.t, motion.height(outline)), SKIN), SEATED * break_displacement(faces))


def _keep_to_the_budget(count: float, cells: int, longest: float) -> None:
    if not count * (cells + WORK_OF_A_STEP) <= MOST_WORK:
        raise BudgetError(
            "contact of pads and part",
            f"{count:.3g} steps of {longest:.2g} m with {cells} cells of pads",
            f"at most {MOST_WORK / (cells + WORK_OF_A_STEP):.3g} steps",
            f"a pad lets go after {longest / STEP:.2g} m: check strengths and stiffnesses of the pads, and where tool, "
            "pads and faces are",
        )


def _runs(active: BoolArray) -> Iterator[tuple[int, int, bool]]:
    """Runs of equal values as (first, last, value)."""
    if active.size == 0:
        return
    bounds = np.concatenate([[0], np.nonzero(np.diff(active))[0] + 1, [active.size]])
    for first, end in pairwise(bounds):
        yield int(first), int(end) - 1, bool(active[first])


def _blocks(motion: RelativeMotion, plan: Steps, first: int, last: int) -> Iterator[Knotted]:
    """Knots of the intervals first to last, in blocks: times, rotations, positions, twists."""
    interval = first
    while interval <= last:
        count = np.cumsum(plan.count[interval : min(last + 1, interval + BLOCK)])
        taken = max(1, int(np.searchsorted(count, BLOCK, side="right")))
        t, rotation, position, twist = _knots(motion, plan, np.arange(interval, interval + taken))
        interval += taken
        for start in range(0, t.size, BLOCK):
            piece = slice(start, start + BLOCK)
            yield t[piece], rotation[piece], position[piece], twist[piece]


def _knots(motion: RelativeMotion, plan: Steps, intervals: IntArray) -> Knotted:
    count = plan.count[intervals].astype(np.int64)
    i = np.repeat(intervals, count)
    within = np.arange(i.size) - np.repeat(np.cumsum(count) - count, count) + 1
    share = within / np.repeat(count, count)
    twist = plan.twist[i]
    rotation, position = along(motion.rotation[i], motion.position[i], twist, share)
    t = motion.t[i] + share * (motion.t[i + 1] - motion.t[i])
    end = share == 1.0
    rotation[end], position[end], t[end] = (
        motion.rotation[i[end] + 1],
        motion.position[i[end] + 1],
        motion.t[i[end] + 1],
    )
    return t, rotation, position, twist / np.repeat(count, count)[:, None]


def _history(engine: PressEngine, motion: RelativeMotion, rows: Rows) -> ContactHistory:
    full = np.array([face.pull_off_stress * face.patch.area for face in engine.faces])
    sample = np.searchsorted(motion.t, rows.t, side="right") - 1
    return ContactHistory(
        t=rows.t,
        sample=np.clip(sample, 0, motion.samples - 1),
        row_of_sample=np.searchsorted(rows.t, motion.t, side="right") - 1,
        force=rows.wrench[:, :3],
        moment=rows.wrench[:, 3:],
        bonded=rows.bonded,
        held=rows.held,
        held_total=rows.held @ full / full.sum(),
        pressure=rows.pressure,
        pressure_cell=rows.pressure_cell,
        elastic=rows.elastic,
        fracture=np.cumsum(rows.lost),
        work=np.cumsum(rows.work),
        pads=tuple(_pad_cells(engine, face, part) for face, part in zip(engine.faces, engine.slices, strict=True)),
    )


def _pad_cells(engine: PressEngine, face: PadFace, part: slice) -> PadCells:
    index = np.arange(part.start, part.stop)
    cells, now = engine.cells.take(index), engine.states.take(index)
    stretch = now.stretch @ face.patch.rotation
    stiffness = face.patch.stiffness_per_area()
    holds = now.state == CellState.BONDED
    return PadCells(
        state=now.state,
        held=now.held(cells),
        activation=now.capacity(cells),
        overloaded=now.overloaded,
        peak_pressure=now.peak_pressure,
        first_touch=now.first_touch,
        broken=now.broken,
        breaks=now.breaks,
        contact_time=now.contact_time,
        slid=now.slid,
        traction=np.where(holds[:, None], stretch * stiffness, 0.0),
    )
