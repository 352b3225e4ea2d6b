"""What margins count on: the places of the pads that hold, whatever the others do.

An even bond lets go first where it is used most, on the edge of a pad, and that first peel is mostly all it can carry:
margins count on all of it. On an uneven one a hardly pressed rim lets go long before, mostly without harm. Its cells
are brittle: what they carried goes to the others, and what they could have held does not count any more. There margins
count on a *core*: cells that each stay below what they hold in whatever state the cells outside are, bonded, broken, or
broken and pressed.

Whatever that state, the stiffness K lies between that of the core alone and that of all cells, and its inverse between
X = K(all)^-1 and X + D. So a traction ``H K^-1 w`` differs from ``H (X + D/2) w`` by no more than ``1/2 sqrt(lmax(H D
H')) sqrt(w' D w)`` (Cauchy and Schwarz in the norm of D; order of Loewner), which is one product for all loads, needs
no order of events, and is convex in the load. Which cells are the core is free to choose: any gives a lower bound.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.backing import Backing, displacement_rows
from gripmargin.contact.bonded import Bonded
from gripmargin.contact.cells import Patch
from gripmargin.contact.film import Film
from gripmargin.contact.sheet import Sheet, indented
from gripmargin.kernels.face import NOTHING, Face, half_width, utilisation
from gripmargin.kernels.utilisation import largest_utilisation, peak_utilisation, points_needed

BoolArray = NDArray[np.bool_]

SUDDEN = 1.05  # on the load of a core: cells that let go all at once swing the part (`tests/contact/test_collapse.py`)
DROPPED = 0.03  # share of the area that each smaller core leaves out
LEAST = 0.2  # share of the bonded area that a core has at least
LEVELS = (0.02, 0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9)  # quantiles of the bond that bound a core
WORST, DIRECTIONS = 24, 48  # loads on which cores are compared: the worst ones, and the extremes in directions
PATHS, STEPS, KEPT = 4, 100, 6  # loads followed as they grow, into how many steps, and how many cores of each are tried
MISSED = 2e-3  # by which a part that bends may use places between those that are looked at more than these
FEWEST = 3  # cells that carry any load
FINALISTS, ROUNDS = 3, 3


@dataclass(frozen=True, eq=False, kw_only=True)
class Grip:
    """The places that margins count on.

    Attributes:
        bonded: The pads.
        face: The places, as arrays.
        points: Where they are, tool frame [m], shape (points, 3).
        owner: Pad of each, shape (points,).
        pull: Pull-off stress of each [Pa], shape (points,).
        shear: Shear strength of each [Pa], shape (points,).
        compliance: From load to displacement at the tool origin, in the middle of what may be, shape (6, 6).
        kept: For each pad whether a cell belongs to the core, shape (m,).
        asked: Factor on the load for what a sudden break adds [-].
        film: How far a part that bends is stretched as well; None: it does not bend.
    """

    bonded: Bonded
    face: Face
    points: FloatArray
    owner: NDArray[np.intp]
    pull: FloatArray
    shear: FloatArray
    compliance: FloatArray
    kept: tuple[BoolArray, ...]
    asked: float = 1.0
    film: Film | None = None

    @property
    def whole(self) -> Backing:
        """All of the pads."""
        return self.bonded.whole

    @cached_property
    def share(self) -> float:
        """Share of the contact area in the core [-]."""
        kept = sum(float(p.areas[k].sum()) for p, k in zip(self.whole.patches, self.kept, strict=True))
        return kept / sum(patch.area for patch in self.whole.patches)

    @cached_property
    def backings(self) -> tuple[Backing, ...]:
        """The stiffest and the softest that the pads can be: all of them, and the core alone where it is smaller."""
        core = tuple(patch.only(kept) for patch, kept in zip(self.whole.patches, self.kept, strict=True) if kept.any())
        same = all(kept.all() for kept in self.kept)
        return (self.whole,) if same or not core else (self.whole, Backing(core))

    def place(self, point: int) -> tuple[Patch, FloatArray]:
        """Return the pad's contact that a place belongs to, and where it is [m], shape (3,)."""
        return self.patch(point), self.points[point]

    def patch(self, point: int) -> Patch:
        """Return the pad's contact that a place belongs to."""
        return self.whole.patches[int(self.owner[point])]

    def traction(self, point: int, load: FloatArray) -> FloatArray:
        """Return the traction at a place by a load, pad axes, tension positive [Pa], shape (3,)."""
        if self.bonded.sheet is None:
            return self.traction_on(self.patch(point), self.points[point], load)
        held = np.array([self.shear[point], self.shear[point], self.pull[point]])
        return np.asarray(self.face.maps[:, point] @ load * held / self.asked)

    def traction_on(self, patch: Patch, point: FloatArray, load: FloatArray) -> FloatArray:
        """Return the traction of a rigid part at a point of a pad by a load, as `traction`."""
        rows = displacement_rows(point[None], patch.rotation)[:, 0]
        return np.asarray(patch.stiffness_per_area() * (rows @ (self.compliance @ load)))


def grip_of(bonded: Bonded, load: FloatArray) -> Grip:
    """Return the places with the largest margin over some loads; of an even bond all.

    Args:
        bonded: The pads.
        load: At the tool origin, shape (6, n).
    """
    even = _even(bonded, load)
    if even is not None:
        return even
    return _Cores(bonded, load[:, np.isfinite(load).all(axis=0)]).best()


def without(grip: Grip, lost: int, load: FloatArray) -> Grip:
    """Return the places that count with one of several pads gone: those of the core that are left, or all bonded ones.

    Args:
        grip: With all pads.
        lost: Index of the pad that is gone.
        load: At the tool origin, shape (6, n).
    """
    left = grip.bonded.without(lost)
    even = _even(left, load)
    if even is not None:
        return even
    cores = _Cores(left, load)
    core = np.concatenate([kept for i, kept in enumerate(grip.kept) if i != lost])
    return cores.better(core & (cores.level > 0), cores.level > 0)  # what it pulled the rest by may be gone with it


def first_break(bonded: Bonded) -> Grip:
    """Return all bonded cells as places: where the least margin over them is, the first of them lets go."""
    return _even(bonded, np.zeros((6, 0))) or _Cores(bonded, np.zeros((6, 0))).everything()


def _even(bonded: Bonded, load: FloatArray) -> Grip | None:
    """The edges of pads that each hold the same everywhere: utilisation is convex in position; None for others.

    Under a part that bends all places count, and the first of them that lets go.
    """
    if bonded.sheet is not None:
        return _bent(bonded, bonded.sheet, load)
    if not bonded.even:
        return None
    shares = bonded.left
    levels = [float(share.min()) for share in shares]
    strengths = [(pull * level, shear * level) for (pull, shear), level in zip(bonded.full, levels, strict=True)]
    maps, owner = bonded.whole.edge_maps(strengths)
    pull = np.array([strengths[i][0] for i in owner])
    return Grip(
        bonded=bonded,
        face=Face(maps),
        points=bonded.whole.edge_points(),
        owner=owner,
        pull=pull,
        shear=np.array([strengths[i][1] for i in owner]),
        compliance=bonded.whole.compliance,
        kept=tuple(np.ones(share.size, dtype=bool) for share in shares),
    )


def _bent(bonded: Bonded, sheet: Sheet, load: FloatArray) -> Grip:
    """The places that may be used most under a part that bends."""
    patches = bonded.whole.patches
    maps, points, owner, held = [], [], [], []
    for i, patch in enumerate(patches):
        at = sheet.places(patch)
        strength = bonded.held_at(i, at)
        for traction in sheet.traction_maps(patch, at):
            maps.append(traction / strength.T[[1, 1, 0], :, None])
            points.append(at)
            owner.append(np.full(len(at), i, dtype=np.intp))
            held.append(strength)
    face = Face(np.concatenate(maps, axis=1))
    few, missed = points_needed(face, MISSED)
    asked = (1.0 + MISSED) * (1.0 + missed) * (1.0 + indented(patches, sheet.part))
    pull, shear = np.concatenate(held)[few].T
    face = Face(face.maps[:, few] * asked)
    least = [float(own.min()) for own in bonded.left] if bonded.even and not sheet.part.components else []
    strengths = [(s * own / asked, t * own / asked) for (s, t), own in zip(bonded.full, least, strict=False)]
    return Grip(
        bonded=bonded,
        face=face,
        points=np.concatenate(points)[few],
        owner=np.concatenate(owner)[few],
        pull=pull,
        shear=shear,
        compliance=bonded.whole.compliance,
        kept=tuple(np.ones(patch.areas.size, dtype=bool) for patch in patches),
        asked=asked,
        film=Film.of(sheet, strengths, face, load[:, np.isfinite(load).all(axis=0)]),
    )


class _Cores:
    """The choices of a core. A cell's place is the corner of its triangle next to it; it holds what the cell holds."""

    def __init__(self, bonded: Bonded, load: FloatArray) -> None:
        self.bonded, self.load = bonded, load
        patches = bonded.whole.patches
        self.pad = np.repeat(np.arange(len(patches)), [patch.areas.size for patch in patches])
        self.area = np.concatenate([patch.areas for patch in patches])
        self.points = np.concatenate([patch.corners for patch in patches])
        self.level = np.concatenate(bonded.left)
        full = np.array(bonded.full)[self.pad]
        self.pull, self.shear = (full * self.level[:, None]).T
        with np.errstate(divide="ignore"):
            over = np.stack([1.0 / self.shear, 1.0 / self.shear, 1.0 / self.pull])[:, :, None]
        rows, stiff = [], []
        for patch in patches:
            k = patch.stiffness_per_area()[:, None, None]
            rows.append(displacement_rows(patch.corners, patch.rotation) * k)
            own = displacement_rows(patch.points, patch.rotation)
            stiff.append(np.einsum("cmi,cmj,m->mij", own, own * k, patch.areas))
        with np.errstate(invalid="ignore"):
            self.rows = np.concatenate(rows, axis=1) * over
        self.stiffness = np.concatenate(stiff)
        self.length = max(float(np.abs(patch.points).max()) for patch in patches)
        offset = bonded.offset
        self.start = None if offset is None else offset.at_corners(self.pull, self.shear)
        self.out = None if offset is None else offset.released(bonded.whole)

    def everything(self) -> Grip:
        """The grip that counts on every cell with a bond."""
        return self.grip(self.level > 0) if (self.level > 0).sum() >= FEWEST else self.nothing()

    def best(self) -> Grip:
        """The grip with the largest margin over the loads."""
        bonded = self.level > 0
        if bonded.sum() < FEWEST:
            return self.nothing()
        screen = self._screen(self.grip(bonded))
        for _ in range(ROUNDS):
            finalists = self._finalists(bonded, screen)
            grips = [self.grip(core) for core in (*finalists, bonded)]
            peaks = [peak_utilisation(grip.face, self.load)[0] for grip in grips]
            best = int(np.argmin([float(peak.max(initial=0.0)) for peak in peaks]))
            worst = np.argsort(peaks[best])[-WORST:]
            over_screen = float(peak_utilisation(grips[best].face, screen)[0].max(initial=0.0))
            if not np.isfinite(peaks[best]).all():
                return self.nothing()
            if float(peaks[best].max(initial=0.0)) <= over_screen * (1.0 + 1e-3):
                break
            screen = np.hstack([screen, self.load[:, worst]])
        return grips[best]

    def _finalists(self, bonded: BoolArray, screen: FloatArray) -> list[BoolArray]:
        """The cores with the largest margins over the loads of a screen, the best first."""
        seen: set[bytes] = set()
        ranked: list[tuple[float, BoolArray]] = []
        for core in self._candidates(bonded, screen):
            if core.sum() < FEWEST or core.tobytes() in seen:
                continue
            seen.add(core.tobytes())
            limit = ranked[-1][0] if len(ranked) == FINALISTS else np.inf
            peak = self._peak(core, screen, limit)
            if peak < limit:
                ranked = sorted([*ranked, (peak, core)], key=lambda pair: pair[0])[:FINALISTS]
        return [core for _, core in ranked]

    def better(self, *choices: BoolArray) -> Grip:
        """The better one of some cores."""
        grips = [self.grip(core) for core in choices if core.sum() >= FEWEST] or [self.nothing()]
        peaks = [float(peak_utilisation(grip.face, self.load)[0].max(initial=0.0)) for grip in grips]
        best = int(np.argmin(peaks))
        return grips[best] if np.isfinite(peaks[best]) else self.nothing()

    def nothing(self) -> Grip:
        """The grip of pads without any bond: whatever pulls at their edges is too much."""
        whole = self.bonded.whole
        maps, owner = whole.edge_maps(self.bonded.full)
        none = np.zeros(owner.size)
        return Grip(
            bonded=self.bonded,
            face=Face(maps / NOTHING),
            points=whole.edge_points(),
            owner=owner,
            pull=none,
            shear=none,
            compliance=whole.compliance,
            kept=tuple(np.zeros(patch.areas.size, dtype=bool) for patch in whole.patches),
        )

    def _screen(self, first: Grip) -> FloatArray:
        """The loads on which cores are compared."""
        load = self.load
        if load.shape[1] <= WORST + DIRECTIONS:
            return load
        use = peak_utilisation(first.face, load)[0]
        directions = np.random.default_rng(0).normal(size=(DIRECTIONS, 6))
        scaled = load / np.maximum(np.abs(load).max(axis=1, keepdims=True), 1e-300)
        chosen = np.concatenate([np.argsort(use)[-WORST:], (directions @ scaled).argmax(axis=1)])
        return np.asarray(load[:, np.unique(chosen)])

    def _candidates(self, bonded: BoolArray, screen: FloatArray) -> Iterator[BoolArray]:
        """Cores to try: all cells, those above levels of the bond, and what is left when the most used let go."""
        yield bonded
        use = self._alone(bonded, screen).max(axis=0)
        for k in np.argsort(-use)[:PATHS]:
            yield from self._path(bonded, screen[:, k])
        for level in np.unique(np.quantile(self.level[bonded], LEVELS, method="lower")):
            yield self.level >= level
            yield self.level > level
        core, least, step = bonded, LEAST * float(self.area[bonded].sum()), DROPPED * float(self.area[bonded].sum())
        while float(self.area[core].sum()) > least and core.sum() >= FEWEST:
            inside = np.flatnonzero(core)
            use = self._alone(core, screen).max(axis=1)
            order = np.argsort(-use, kind="stable")
            gone = int(np.searchsorted(np.cumsum(self.area[inside][order]), step)) + 1
            core = core.copy()
            core[inside[order[:gone]]] = False
            yield core

    def _path(self, bonded: BoolArray, load: FloatArray) -> Iterator[BoolArray]:
        """The cores that are left when the most used cells let go under a growing load, those that carry most."""
        core, found, least = bonded, [], LEAST * float(self.area[bonded].sum())
        while float(self.area[core].sum()) > least and core.sum() >= FEWEST:
            use = self._alone(core, load[:, None])[:, 0]
            found.append((float(use.max()), core))
            gone = np.argsort(-use, kind="stable")[: max(1, core.sum() // STEPS)]
            core = core.copy()
            core[np.flatnonzero(found[-1][1])[gone]] = False
        for _, each in sorted(found, key=lambda pair: pair[0])[:KEPT]:
            yield each

    def _peak(self, core: BoolArray, screen: FloatArray, limit: float) -> float:
        """Largest use of a core by the loads of a screen, or a lower bound of it that is not below a limit."""
        if not core.all():  # what the cells outside do only adds to it
            soft = (self._soft(core) + self.bonded.whole.compliance) / 2.0
            start = None if self.start is None else self.start[:, core]
            least = float(largest_utilisation(Face(self.rows[:, core] @ soft, start=start), screen).max(initial=0.0))
            if SUDDEN * least * (1.0 - 1e-9) >= limit:
                return SUDDEN * least
        return float(largest_utilisation(self._face(core)[0], screen).max(initial=0.0))

    def _alone(self, core: BoolArray, load: FloatArray) -> FloatArray:
        """Utilisation of the corners of a core by loads (6, k) as if there were no other cells, shape (corners, k)."""
        inside = np.flatnonzero(core)
        start = None if self.start is None else self.start[:, inside]
        return utilisation(Face(self.rows[:, inside], start=start), self._soft(core) @ load)[0]

    def _soft(self, core: BoolArray) -> FloatArray:
        """The compliance of a core alone, shape (6, 6)."""
        return self._inverse((core.astype(np.float64) @ self.stiffness.reshape(core.size, 36)).reshape(6, 6))

    def _face(self, core: BoolArray) -> tuple[Face, FloatArray]:
        """The corners of a core as places, and the compliance in the middle of what may be."""
        soft = self._soft(core)
        start = None if self.start is None else self.start[:, core]
        stiff = self.bonded.whole.compliance
        more = soft - stiff
        slack, spread, middle = None, None, stiff
        if not core.all():
            more = (more + more.T) / 2.0
            middle = stiff + more / 2.0
            root = self._root(more)
            slack = half_width(self.rows[:, core], root)[:, None]
            spread = root[None]
        face = Face(self.rows[:, core] @ middle, slack=slack, spread=spread, start=start)
        return (face if core.all() else face.asked(SUDDEN)), middle

    def grip(self, core: BoolArray) -> Grip:
        """The grip that counts on a core."""
        face, compliance = self._face(core)
        inside = np.flatnonzero(core)
        if face.start is None:
            few = self._corners_that_matter(inside)
            face, inside = face.only(few), inside[few]
        elif not core.all() and self.out is not None:
            face = self.out.passed_on(face, ~core)
        return Grip(
            bonded=self.bonded,
            face=face,
            points=self.points[inside],
            owner=self.pad[inside],
            pull=self.pull[inside],
            shear=self.shear[inside],
            compliance=compliance,
            asked=1.0 if core.all() else SUDDEN,
            kept=tuple(core[self.pad == i] for i in range(len(self.bonded.whole.patches))),
        )

    def _corners_that_matter(self, inside: NDArray[np.intp]) -> NDArray[np.intp]:
        """Which places, indices into those given, can be used most: utilisation is convex in (1, x, y) / share."""
        kept = []
        owner = self.pad[inside]
        for i, patch in enumerate(self.bonded.whole.patches):
            own = np.flatnonzero(owner == i)
            if own.size == 0:
                continue
            flat = self.points[inside[own]] @ patch.rotation[:, :2]
            place = np.column_stack([np.full(own.size, self.length), flat]) / self.level[inside[own], None]
            kept.append(own[_hull(place)])
        return np.concatenate(kept)

    def _inverse(self, stiffness: FloatArray) -> FloatArray:
        scale = np.array([1.0, 1.0, 1.0, *(1.0 / self.length,) * 3])
        try:
            return np.asarray(np.linalg.inv(stiffness * np.outer(scale, scale)) * np.outer(scale, scale))
        except np.linalg.LinAlgError:  # cells on a line hold no moment about it
            return np.diag(scale**2 / NOTHING / np.abs(stiffness).max())

    def _root(self, square: FloatArray) -> FloatArray:
        """L with L' L = a positive semi-definite matrix, shape (6, 6)."""
        scale = np.array([1.0, 1.0, 1.0, *(self.length,) * 3])
        values, vectors = np.linalg.eigh(square * np.outer(scale, scale))
        return np.asarray(np.sqrt(np.maximum(values, 0.0))[:, None] * vectors.T / scale)


def _hull(points: FloatArray) -> NDArray[np.intp]:
    """Which points are corners of their convex hull, in space, in a plane, or on a line."""
    from scipy.spatial import ConvexHull, QhullError  # noqa: PLC0415 - 0.1 s that only uneven bonds pay

    centred = points - points.mean(axis=0)
    axes, size = np.linalg.svd(centred, full_matrices=False)[2], np.abs(centred).max()
    flat = centred @ axes.T
    flat = flat[:, np.abs(flat).max(axis=0) > 1e-9 * size]
    if len(points) == 1:
        return np.arange(1)
    if flat.shape[1] == 1:
        return np.unique([flat[:, 0].argmin(), flat[:, 0].argmax()])
    try:
        return np.asarray(ConvexHull(flat).vertices, dtype=np.intp)
    except QhullError:
        return np.arange(len(points))
