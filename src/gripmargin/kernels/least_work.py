"""The rigid motion that a face resists least, of those by which its load does a unit of work; arrays alone.

A sum of norms is least within half-spaces. Norms are rounded, borders are kept off by a barrier, and both are taken
away step by step: motion and tractions are followed together by Newton's method (Andersen, Christiansen, Conn &
Overton, An efficient primal-dual interior-point method for minimizing a sum of Euclidean norms, SIAM J. Sci. Comput.
22(1), 2000; from memory). What comes out is a bound on either side, whatever way led there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray

# These cost time alone: what is found proves itself.
FIRST: Final = 0.1  # share of the work by which norms are rounded, and which the barrier takes, to begin with
FALL: Final = 0.1  # of what is missed, to which both fall in a step; half where a step is cut short
LAST: Final = 1e-6  # share of the work to which both fall
BALANCED: Final = 1e-9  # residual of the balance, over the factor, that is none
SHORTER: Final = 0.95  # share of the way to a border that a step takes
STEPS: Final = 40  # of a search


@dataclass(frozen=True, eq=False)
class LeastWork:
    """A motion and what resists it.

    Attributes:
        motion: By which the load does a unit of work and no corner is pressed, shape (6,).
        work: That the cells resist it with: an upper bound of the factor on the load that they balance.
        wrench: Of tractions that the cells can hold, with pressed corners, shape (6,): the load times a factor.
    """

    motion: FloatArray
    work: float
    wrench: FloatArray


def least_work(rows: FloatArray, areas: FloatArray, normals: FloatArray, load: FloatArray) -> LeastWork | None:
    """Return the motion that is resisted least.

    Args:
        rows: Motion to the velocity of each cell along three axes, times its strength there, shape (3, m, 6): the work
            is the sum of ``areas |rows motion|``.
        areas: Shape (m,).
        normals: Motion to the velocity of each corner off the face, shape (k, 6).
        load: Of size 1, shape (6,).

    Returns:
        What was found; None where the search does not end, as it does not where no motion takes work out of the load
        without pressing a corner.
    """
    with np.errstate(all="ignore"):
        try:
            return _searched(rows, areas, normals, load)
        except np.linalg.LinAlgError:
            return None


def _searched(rows: FloatArray, areas: FloatArray, normals: FloatArray, load: FloatArray) -> LeastWork | None:
    free = np.linalg.svd(load[None])[2][1:].T  # motions by which the load does no work
    flat, area, corners = rows.reshape(-1, 6), float(areas.sum()), len(normals)
    inside, beside = np.ascontiguousarray(flat @ free), normals @ free
    cells, held = inside.reshape(3, -1, 5), np.tile(areas, 3)[:, None] * flat
    motion, speed = load, (flat @ load).reshape(3, -1)
    work = float(areas @ np.sqrt((speed * speed).sum(axis=0)))
    rounded, barrier = FIRST * work / area, FIRST * work / corners
    # `off` goes its own way until it is that of the motion
    off = np.maximum(normals @ motion, 0.3 * np.abs(normals).max())
    traction, pushed = speed / np.sqrt((speed * speed).sum(axis=0) + rounded**2), barrier / off
    for _ in range(STEPS):
        size = np.sqrt((speed * speed).sum(axis=0) + rounded**2)
        weight, missed = areas / size, normals @ motion - off
        balance = inside.T @ (weight * speed).ravel() - beside.T @ ((barrier - pushed * missed) / off)
        turned = np.einsum("cm,cmi->mi", traction, cells).T @ (
            np.einsum("cm,cmi->mi", speed, cells) * (weight / size)[:, None]
        )
        bend = inside.T @ (np.tile(weight, 3)[:, None] * inside) - 0.5 * (turned + turned.T)
        bend += beside.T @ ((pushed / off)[:, None] * beside)
        bend[np.diag_indices(5)] += 1e-13 * np.trace(bend)
        way = np.linalg.solve(bend, -balance)
        faster, further = (inside @ way).reshape(3, -1), beside @ way + missed
        more = (speed + faster) / size - traction * (1.0 + (speed * faster).sum(axis=0) / size**2)
        harder = (barrier - pushed * further) / off - pushed
        length = min(1.0, SHORTER * _to_zero(off, further))
        other = min(1.0, SHORTER * min(_to_zero(pushed, harder), _to_one(traction, more)))
        motion = motion + length * (free @ way)
        speed, off = (flat @ motion).reshape(3, -1), off + length * further
        traction, pushed = traction + other * more, pushed + other * harder
        wrench = traction.ravel() @ held - pushed @ normals
        factor, work = float(wrench @ load), float(areas @ np.sqrt((speed * speed).sum(axis=0)))
        if not np.isfinite(work):
            return None
        left = float(np.abs(wrench - factor * load).max())
        if left <= BALANCED * abs(factor) and work - factor <= 10.0 * LAST * factor and (normals @ motion).min() > 0.0:
            return LeastWork(motion, work, wrench)
        fall = FALL if min(length, other) > 0.5 else 0.5
        missing = work - float(areas @ (traction * speed).sum(axis=0)), float(pushed @ off)
        rounded = max(min(rounded, fall * missing[0] / area), LAST * work / area)
        barrier = max(min(barrier, fall * missing[1] / corners), LAST * work / corners)
    return None


def _to_zero(values: FloatArray, change: FloatArray) -> float:
    """The largest factor on a change with which no value, all of them above 0, falls below 0."""
    falls = change < 0.0
    return float((values[falls] / -change[falls]).min(initial=np.inf))


def _to_one(vectors: FloatArray, change: FloatArray) -> float:
    """The largest factor on a change with which no vector, all of them shorter than 1, shape (3, m), gets longer."""
    square, along = (change * change).sum(axis=0), (vectors * change).sum(axis=0)
    left = np.maximum(1.0 - (vectors * vectors).sum(axis=0), 0.0)
    return float((left / (along + np.sqrt(along * along + square * left)))[square > 0.0].min(initial=np.inf))
