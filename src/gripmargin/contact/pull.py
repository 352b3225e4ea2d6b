"""The straight pull: what pads that are bonded as they now are do to the part when the tool leaves along its normal.

The cells break one after the other as the tool rises; between two breaks the reaction is linear in the rise. So
its extremes are just before breaks, where it is exact.
"""

from __future__ import annotations

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.cell_states import CellState
from gripmargin.contact.press_engine import PressEngine
from gripmargin.kernels.springs import bonded_force, crossing, elongation


def straight_pull(engine: PressEngine) -> FloatArray:
    """Return the reaction on the part just before each break, as a tool leaves from where an engine has it.

    Args:
        engine: It is not changed.

    Returns:
        Force [N] and moment about the face's origin [N m], face axes, one row for each break in the order of the
        breaks, shape (k, 6); no row where nothing is bonded.
    """
    now, cells = engine.states, engine.cells
    bonded = np.nonzero((now.state == CellState.BONDED) & (now.capacity(cells) > 0))[0]
    some, anchor = cells.take(bonded), now.anchor[bonded]
    held = now.capacity(cells)[bonded]
    rotation, position = engine.rotation, engine.position
    start = elongation(rotation[None], position[None], anchor[None], some.root)[0]
    # a rise after which no cell can hold: the spring is then at least as long as its reach, pulled or across the pad
    far = max(face.reach for face in engine.faces) + float(np.linalg.norm(start, axis=1).max(initial=0.0))
    end = start - far * rotation[2]  # the root rises along the face's normal, which in tool axes is this row
    rates = (some.normal_stiffness / some.pull, some.shear_stiffness / some.shear)
    rise = far * crossing(start, end, some.normal, rates, held * held)
    order = np.argsort(rise, kind="stable")
    springs = (some.normal, some.normal_stiffness, some.shear_stiffness, some.area)
    wrench, slope = (
        _wrenches(s, anchor, rotation, springs)[order] for s in (start, -rotation[2] + np.zeros_like(start))
    )
    # before the k-th break the cells k, k + 1, ... still hold
    left, growth = (np.cumsum(rows[::-1], axis=0)[::-1] for rows in (wrench, slope))
    return np.asarray(left + rise[order, None] * growth + _pushing(engine, rise[order]))


def _wrenches(
    stretch: FloatArray,
    anchor: FloatArray,
    rotation: FloatArray,
    springs: tuple[FloatArray, FloatArray, FloatArray, FloatArray],
) -> FloatArray:
    force, _ = bonded_force(stretch, rotation, *springs)
    return np.concatenate([force, np.cross(anchor, force)], axis=1)


def _pushing(engine: PressEngine, rise: FloatArray) -> FloatArray:
    """What cells that are pressed without a bond do meanwhile, shape (k, 6)."""
    now, cells = engine.states, engine.cells
    out = np.zeros((rise.size, 6))
    pressed = np.nonzero(now.state == CellState.TOUCHING)[0]
    if pressed.size == 0 or rise.size == 0:
        return out
    some = cells.take(pressed)
    at = some.root @ engine.rotation.T + engine.position
    depth = -(at[:, 2] + some.gap) - rise[:, None]
    pushed = -np.maximum(depth, 0.0) * some.area * some.normal_stiffness
    out[:, 2] = pushed.sum(axis=1)
    out[:, 3], out[:, 4] = pushed @ at[:, 1], -pushed @ at[:, 0]
    return out
