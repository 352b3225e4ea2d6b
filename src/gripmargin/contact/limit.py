"""The load factor at which no admissible traction field can carry a load any more (limit analysis).

Lower bound theorem of plasticity: any traction field that balances the load and nowhere exceeds what the
face holds shows that the load can be carried; upper bound theorem: any rigid motion of the part that takes
more work out of the load than the face can resist shows that it cannot (Drucker, Prager & Greenberg, Q. Appl.
Math. 9:381-389, 1952, from memory). Both bounds are computed and must meet.

A cell holds tractions with ``(tau/T)^2 + (max(sigma, 0)/S)^2 <= 1``; compression is not limited, so the
factor is an upper bracket also for a part that could be crushed at a pad's edge.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gripmargin.base.arrays import FloatArray, Value
from gripmargin.contact.backing import Backing, displacement_rows
from gripmargin.kernels.least_work import least_work

Strengths = Sequence[tuple[float, float] | tuple[FloatArray, FloatArray]]

RELATIVE_GAP = 1e-4
TOWARDS = (0.5, 0.8)  # shares of the way to the best motion at which more points are found: time alone


@dataclass(frozen=True, eq=False)
class LimitFactor(Value):
    """The result, with its proof.

    Attributes:
        lower: Factor that an admissible traction field was found for [-].
        upper: Factor that a rigid motion shows cannot be exceeded [-]; inf for no load.
        imbalance: Residual of the force balance of that field, relative to the load [-].
    """

    lower: float
    upper: float
    imbalance: float

    @property
    def converged(self) -> bool:
        """Whether both bounds meet within `RELATIVE_GAP` (ten times that counts for a report)."""
        return bool(self.upper <= self.lower * (1 + 10 * RELATIVE_GAP))


def limit_factor(backing: Backing, strengths: Strengths, wrench: FloatArray) -> LimitFactor:
    """Return by which factor a load could grow before no traction field can carry it.

    Motion and tractions are sought together (`gripmargin.kernels.least_work`); where that does not end, as for a load
    that only presses, by linear programs.

    Args:
        backing: The pads.
        strengths: For each patch its pull-off stress and its shear strength [Pa], of the whole patch or of each
            cell, shape (m,).
        wrench: Load at the tool origin, shape (6,).
    """
    if not wrench.any():
        return LimitFactor(np.inf, np.inf, 0.0)
    face = _Face(backing, strengths)
    load = wrench / face.scale
    load /= (size := float(np.linalg.norm(load)))
    found = least_work(face.rows, face.areas, face.normals, load)
    if found is None:
        lower, upper, residual = _by_programs(face, load, face.motion_of(backing.compliance @ wrench))
    else:
        lower, upper = float(found.wrench @ load), found.work
        residual = float(np.abs(found.wrench - lower * load).max())
    return LimitFactor(lower / size, upper / size, residual / max(lower, 1e-300) if lower > 0 else 0.0)


def _by_programs(face: _Face, load: FloatArray, elastic: FloatArray) -> tuple[float, float, float]:
    """Both bounds of the factor on a load of size 1, and the residual of the balance.

    The set of wrenches that the pads can carry is convex. It is built up from outside points: a linear
    program over the points known so far gives a factor and a motion; the tractions that resist that motion
    most give the next point (Dantzig & Wolfe 1960, from memory), and so do those on the way to the best motion
    found so far, without which the programs leap to and fro (Wentges, Int. Trans. Oper. Res. 4(2), 1997, from memory).
    """
    points = [face.resist(motion) for motion in (*np.eye(6), *-np.eye(6), elastic, load)]
    lower, upper, residual = 0.0, np.inf, 0.0
    best: FloatArray | None = None
    for _ in range(200):
        mixed = _best_mixture(points, face.compression_rays(), load)
        if mixed is None:
            break
        lower, motion, residual = mixed
        work = float(motion @ load)
        motion = motion / work if work else -motion
        between = [] if best is None or not work else [share * best + (1.0 - share) * motion for share in TOWARDS]
        for tried in (motion, *between):
            points.append(face.resist(tried))
            if work and float(tried @ points[-1]) < upper:
                upper, best = float(tried @ points[-1]), tried
        if upper <= lower * (1 + RELATIVE_GAP):
            break
    return lower, upper, residual


def _best_mixture(
    points: Sequence[FloatArray], rays: FloatArray, load: FloatArray
) -> tuple[float, FloatArray, float] | None:
    """The largest factor on a load that a mixture of known wrenches balances; None where none is found.

    Args:
        points: Wrenches that can be carried, of which shares up to 1 in all are mixed, shape (6,) each.
        rays: Wrenches that can be carried at any size, shape (6, r).
        load: Shape (6,).

    Returns:
        The factor, the motion that the next wrench has to resist, and the residual of the balance.
    """
    from scipy.optimize import linprog  # noqa: PLC0415 - only the worst samples need it

    k, r = len(points), rays.shape[1]
    balance = np.column_stack([*points, rays, -load])
    cost = np.zeros(k + r + 1)
    cost[-1] = -1.0
    weights = np.concatenate([np.ones(k), np.zeros(r + 1)])[None]
    program = linprog(cost, A_ub=weights, b_ub=[1.0], A_eq=balance, b_eq=np.zeros(6), method="highs")
    if program.status != 0 or program.x is None:
        return None
    return float(program.x[-1]), program.eqlin.marginals, float(np.abs(balance @ program.x).max())


class _Face:
    """All cells as one, scaled to order 1.

    Attributes:
        rows: Motion to the velocity of each cell along the axes of its pad, times its strength there, shape (3, m, 6).
        areas: Of the cells, shape (m,).
        normals: Motion to the velocity of each edge point off the face, shape (k, 6).
        scale: Of wrenches, shape (6,).
    """

    def __init__(self, backing: Backing, strengths: Strengths) -> None:
        rows, pull, shear, areas, normals = [], [], [], [], []
        for patch, (s, t) in zip(backing.patches, strengths, strict=True):
            rows.append(displacement_rows(patch.points, patch.rotation))
            normals.append(displacement_rows(patch.edge, patch.rotation)[2])
            pull.append(np.broadcast_to(s, patch.areas.shape))
            shear.append(np.broadcast_to(t, patch.areas.shape))
            areas.append(patch.areas)
        cells = np.concatenate(rows, axis=1)
        along, across, self.areas = (np.concatenate(a) for a in (shear, pull, areas))
        reach = max(float(np.abs(p.points).max()) for p in backing.patches)
        force = float((np.maximum(along, across) * self.areas).sum())
        self._length = np.array([1.0, 1.0, 1.0, reach, reach, reach])
        self.scale = force * self._length
        self.rows = cells * (np.stack([along, along, across]) / force)[:, :, None] / self._length
        self.normals = np.concatenate(normals) / self._length

    def motion_of(self, displacement: FloatArray) -> FloatArray:
        """A displacement (translation, rotation) in the scaled coordinates that pair with scaled wrenches."""
        motion = displacement * self._length
        return motion / float(np.linalg.norm(motion))

    def compression_rays(self) -> FloatArray:
        """Wrenches of pressing at each edge point, shape (6, points)."""
        return np.negative(self.normals.T)

    def resist(self, motion: FloatArray) -> FloatArray:
        """The wrench of the admissible tractions that do most work on a motion, shape (6,)."""
        velocity = self.rows @ motion
        velocity[2] = np.maximum(velocity[2], 0.0)
        size = np.sqrt((velocity * velocity).sum(axis=0))
        with np.errstate(divide="ignore", invalid="ignore"):
            gain = np.where(size > 0, self.areas / size, 0.0)
        return np.asarray(np.einsum("cm,cmi->i", velocity * gain, self.rows))
