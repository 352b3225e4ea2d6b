"""Traction that the press locks into the pads: what their cells carry while nothing pulls at the part.

A pad that bonds before the tool has come to rest is sheared by the rest of the way; pads that do not lie in one plane,
and a face that is not plane, leave some of the backing stretched and some pressed. In the tray the tray takes up what
does not balance; a part that hangs free moves until it does. What is left of the traction t at a cell of stiffness k
is ``t0 = t - k B x``, B its row and x the rigid motion with the sum of all ``B' A t0`` zero: the least squares fit by
a rigid motion, weighted with the stiffness. It is an offset to what a load does, not a factor on it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.backing import Backing, displacement_rows
from gripmargin.kernels.face import Face, squared

Strengths = Sequence[tuple[float, float]]

SMALL = 0.03  # share of what a pad holds below which its offset counts as used up, whatever its direction
NEAR = 16  # places looked at together: time alone, no result depends on it
GRID = 9  # places across all pads at which a face has to lie between its planes, besides the pads' edges
ENDS = np.stack([(np.cos(a), np.sin(a)) for a in np.deg2rad(np.arange(0.0, 360.0, 22.5))])  # of a pad


@dataclass(frozen=True, eq=False)
class Locked:
    """The offset of every cell, in balance.

    Attributes:
        traction: For each pad, pad axes, tension positive [Pa], shape (m, 3).
        flatness: How far apart two planes are that the face lies between [m].
        bowed: Largest tension that a face within that flatness gives anywhere on each pad [Pa], shape (pads,).
    """

    traction: tuple[FloatArray, ...]
    flatness: float
    bowed: FloatArray

    def uneven(self, full: Strengths, shares: Sequence[FloatArray]) -> bool:
        """Whether the offset of some pad is more than a `SMALL` share of what its best cell holds.

        Args:
            full: For each pad its pull-off stress and shear strength with a full bond [Pa].
            shares: For each pad the share of it that each cell holds, shape (m,).
        """
        least = np.array([SMALL * float(share.max()) for share in shares])
        return bool((self._largest(full) > least).any())

    def used_up(self, full: Strengths, shares: Sequence[FloatArray]) -> FloatArray:
        """Return what a bowed face and small offsets take of each pad's cells, as a share of a full bond, (pads,).

        A place then holds that much less of its share: it is the same as an offset against every load.
        """
        pull = np.array([own for own, _ in full])
        small = np.zeros(len(full)) if self.uneven(full, shares) else self._largest(full)
        return np.asarray(small + self.bowed / pull)

    def at_corners(self, pull: FloatArray, shear: FloatArray) -> FloatArray:
        """Return the offset at the corners of all triangles over what these hold, shape (3, p).

        Args:
            pull: Pull-off stress of the corners [Pa], shape (p,).
            shear: Shear strength of the corners [Pa], shape (p,).
        """
        unmix = 2.0 * np.eye(3) - 1.0 / 3.0
        each = [np.einsum("ij,tjc->tic", unmix, t.reshape(-1, 3, 3)).reshape(-1, 3) for t in self.traction]
        corners = np.concatenate(each)
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.nan_to_num(corners.T / np.stack([shear, shear, pull]), nan=0.0)

    def released(self, whole: Backing) -> Released:
        """Return what goes to the others when cells let go."""
        loads = np.zeros((2, sum(t.shape[0] for t in self.traction), 6))
        first = 0
        for patch, traction in zip(whole.patches, self.traction, strict=True):
            rows = displacement_rows(patch.points, patch.rotation) * patch.areas[:, None]
            each = np.einsum("cmi,mc->cmi", rows, traction)
            loads[0, first : first + len(traction)] = each.sum(axis=0)
            loads[1, first : first + len(traction)] = each[:2].sum(axis=0)
            first += len(traction)
        return Released(loads)

    def _largest(self, full: Strengths) -> FloatArray:
        """Largest offset of each pad over its full strength, shape (pads,)."""
        out = np.zeros(len(self.traction))
        for i, (traction, (pull, shear)) in enumerate(zip(self.traction, full, strict=True)):
            t1, t2, s = (traction / np.array([shear, shear, pull])).T
            out[i] = np.sqrt(squared(t1 * t1 + t2 * t2, s)).max(initial=0.0)
        return out


@dataclass(frozen=True, eq=False)
class Released:
    """What the others carry for cells that let go.

    Attributes:
        loads: Load that each cell passes on at the tool origin, shape (2, cells, 6): as it lets go of the face, and as
            it only slides on it, pressed.
    """

    loads: FloatArray

    def passed_on(self, face: Face, outside: NDArray[np.bool_]) -> Face:
        """Return a face with the most that any set of cells passes on to its places: pull as an offset, shear as spent.

        Args:
            face: The places, with their offsets.
            outside: Which cells may let go, shape (cells,).
        """
        pull, shear = self.worst(face, outside)
        start = np.zeros((3, face.points)) if face.start is None else face.start
        return replace(face, start=start + np.outer([0.0, 0.0, 1.0], pull), spent=shear)

    def worst(self, face: Face, outside: NDArray[np.bool_]) -> tuple[FloatArray, FloatArray]:
        """Return the most that any set of cells passes on to places, over what these hold.

        Args:
            face: The places.
            outside: Which cells may let go, shape (cells,).

        Returns:
            Pull, and size of the shear with what `Face.slack` allows for, each of shape (points,).
        """
        loads = self.loads[:, outside]
        some = np.abs(loads).max(axis=(0, 2)) > 0
        loads = loads[:, some]
        if loads.shape[1] == 0:
            return np.zeros(face.points), np.zeros(face.points)
        up, down = np.zeros((2, 3, face.points))
        columns = np.ascontiguousarray(loads.transpose(0, 2, 1))[:, None]
        for first in range(0, face.points, NEAR):
            some = slice(first, first + NEAR)
            one, other = face.maps[:, some] @ columns  # as it lets go, as it slides: (3, points, cells)
            up[:, some] = np.maximum(np.maximum(one, other), 0.0).sum(axis=2)
            down[:, some] = -np.minimum(np.minimum(one, other), 0.0).sum(axis=2)
        shear = np.hypot(*np.maximum(up, down)[:2])
        if face.slack is not None and face.spread is not None:
            size = np.abs(face.spread[:, None] @ loads.transpose(0, 2, 1)).max(axis=1).sum(axis=2)  # (groups, 6)
            shear = shear + face.slack @ np.linalg.norm(size, axis=1)
        return up[2], np.asarray(shear)


def locked_in(
    whole: Backing,
    traction: Sequence[FloatArray],
    held: Sequence[FloatArray] | None,
    flatness: float = 0.0,
    *,
    sideways: bool = True,
) -> Locked:
    """Return the offset of the cells once the part hangs free.

    Args:
        whole: The pads.
        traction: Of each cell at the end of the press, pad axes, tension positive [Pa], shape (m, 3) a pad.
        held: For each pad the share of the full strength that each cell holds, shape (m,); None: all of it.
        flatness: How far apart two planes are that the face lies between [m].
        sideways: Whether the part may slide and turn until it is in balance; else it only lifts and tilts.
    """
    bonded = [np.ones(len(t), dtype=bool) for t in traction] if held is None else [share > 0 for share in held]
    kept = [np.where(own[:, None], t, 0.0) for own, t in zip(bonded, traction, strict=True)]
    return Locked(
        traction=tuple(balanced(whole, kept, bonded, sideways=sideways)),
        flatness=flatness,
        bowed=_bowed(whole, flatness) if flatness > 0 else np.zeros(len(whole.patches)),
    )


def balanced(
    whole: Backing, traction: Sequence[FloatArray], bonded: Sequence[NDArray[np.bool_]], *, sideways: bool = True
) -> list[FloatArray]:
    """Return tractions without the rigid motion that brings them into balance, shape (m, 3) a pad; 0 without a bond.

    Args:
        whole: The pads.
        traction: Of each cell, pad axes [Pa], shape (m, 3) a pad.
        bonded: Which cells count, shape (m,) a pad.
        sideways: Whether motions along the tool's x and y and about its z are among those.
    """
    stiffness, load, rows = np.zeros((6, 6)), np.zeros(6), []
    for patch, own, t in zip(whole.patches, bonded, traction, strict=True):
        b = displacement_rows(patch.points, patch.rotation)
        areas = patch.areas * own
        rows.append(b * patch.stiffness_per_area()[:, None, None])
        stiffness += np.einsum("cmi,cmj,m->ij", b, rows[-1], areas)
        load += np.einsum("cmi,mc,m->i", b, t, areas)
    length = max(float(np.abs(patch.points).max()) for patch in whole.patches)
    scale = np.array([1.0, 1.0, 1.0, *(1.0 / length,) * 3])
    if not any(own.any() for own in bonded):
        return [np.zeros_like(t) for t in traction]
    free = np.arange(6) if sideways else np.array([2, 3, 4])
    motion, own = np.zeros(6), scale[free]
    stiff = stiffness[np.ix_(free, free)] * np.outer(own, own)
    motion[free] = own * np.linalg.lstsq(stiff, own * load[free], rcond=1e-12)[0]
    size = max(float(np.abs(t).max()) for t in traction)
    out = []
    for own, t, k in zip(bonded, traction, rows, strict=True):
        left = np.where(own[:, None], t - (k @ motion).T, 0.0)
        out.append(np.where(np.abs(left) > 1e-9 * size, left, 0.0))
    return out


def _bowed(whole: Backing, flatness: float) -> FloatArray:
    """The largest tension on each pad by a bowed face, or by pads whose places on it differ in height."""
    everywhere = [np.ones(patch.areas.size, dtype=bool) for patch in whole.patches]
    stiff = [patch.pad.material.normal_stiffness for patch in whole.patches]
    unmix = 2.0 * np.eye(3) - 1.0 / 3.0

    def tensions(gaps: Sequence[FloatArray]) -> list[FloatArray]:
        pulled = [np.column_stack([np.zeros((g.size, 2)), k * g]) for g, k in zip(gaps, stiff, strict=True)]
        return [(t[:, 2].reshape(-1, 3) @ unmix.T).ravel() for t in balanced(whole, pulled, everywhere)]

    out = _of_a_quadric(whole, tensions) * flatness
    steps = [
        tensions([np.full(p.areas.size, flatness if i == j else 0.0) for j, p in enumerate(whole.patches)])
        for i in range(len(whole.patches))
    ]
    # each place may lie low or not: what pulls most is all those together that pull
    for j in range(len(whole.patches)):
        out[j] = max(out[j], float(np.maximum([step[j] for step in steps], 0.0).sum(axis=0).max()))
    return out


def _of_a_quadric(whole: Backing, tensions: Callable[[Sequence[FloatArray]], list[FloatArray]]) -> FloatArray:
    """The largest tension on each pad by any quadric between two planes a metre apart, (pads,).

    The planes enclose it over the pads and between them. Tension is linear in the quadric, and the quadrics between two
    planes are a convex set: a linear program for each place. Those at the ends of a pad are looked at.
    """
    from scipy.optimize import linprog  # noqa: PLC0415 - 0.2 s that only faces which are not plane pay

    edge = whole.edge_points()[:, :2]
    across = np.linspace(edge.min(axis=0), edge.max(axis=0), GRID)
    seen = np.stack(np.meshgrid(*across.T), axis=-1).reshape(-1, 2)
    # what lies on the outline of all pads counts too: it is where a face is farthest out
    seen = np.vstack([edge, seen[shapely.intersects_xy(shapely.MultiPoint(edge).convex_hull.buffer(1e-9), *seen.T)]])
    centre, size = edge.mean(axis=0), float(np.ptp(edge, axis=0).max())

    def terms(points: FloatArray) -> FloatArray:
        x, y = ((points[:, :2] - centre) / size).T
        return np.stack([x * x, x * y, y * y, x, y, np.ones_like(x)])

    bent = [tensions(gaps) for gaps in zip(*(terms(patch.points)[:3] for patch in whole.patches), strict=True)]
    rows = terms(seen).T
    rows, within = np.vstack([rows, -rows]), np.full(2 * len(rows), 0.5)
    out = np.zeros(len(whole.patches))
    for j, patch in enumerate(whole.patches):
        for place in np.unique((ENDS @ (patch.corners @ patch.rotation[:, :2]).T).argmax(axis=1)):
            pull = np.array([each[j][place] for each in bent])
            cost = np.append(-pull / max(float(np.abs(pull).max()), 1e-300), np.zeros(3))
            found = linprog(cost, A_ub=rows, b_ub=within, bounds=(None, None))
            out[j] = max(out[j], np.inf if found.x is None else float(pull @ found.x[:3]))
    return out
