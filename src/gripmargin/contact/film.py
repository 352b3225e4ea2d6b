"""A part that is stretched as well as bent: how much it asks of its pads at most.

A thin sheet whose droop is many times its thickness is stretched too, and what that does to a pad's corner has no
closed form. Its energy bounds it. Let ``a(w, w)`` be twice the energy that bends the sheet and its pads' backing at a
deflection w, U the energy that stretches the sheet and shears the pads, and v what small bending alone gives. A sheet
in balance has, for a change of w by a small share and of its places along the plane by twice that share, ``a(w, w) +
4 U = a(v, w)``: U is of fourth degree in w (von Karman: Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells,
art. 101, from memory). So w lies in the ball over v as diameter, and at a place r, where a unit force deflects the
sheet by g_r, ``w(r) = a(w, g_r) <= (v(r) + |v| |g_r|) / 2`` (Cauchy and Schwarz). That holds at corners as anywhere.

With large slopes the sheet counts as one that does not stretch: its energy is at least that of the height of its places
(the second fundamental form times the normal's cosine are the second derivatives of the height), and less than the work
of the load, however it came there; so w lies in the ball about v through 0: ``w(r) <= v(r) + |v| |g_r|``.

Loads along the plane push at one side: that softens the sheet by no more than a share, up to its buckling.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.sparse import block_diag, csr_array
from scipy.sparse.linalg import LinearOperator, eigsh

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.bending import overhang
from gripmargin.contact.cells import Patch
from gripmargin.contact.sheet import KEPT, Model, Sheet
from gripmargin.kernels.face import Face, joined
from gripmargin.kernels.plate import factored
from gripmargin.kernels.utilisation import peak_utilisation

STRETCHED = 0.05  # share of its energy from which on stretching changes by a tenth what a bent part does to the pads
STEEP = 0.2  # droop over overhang up to which slopes are small: those of a strip's tip are 4/3 of it, squared 7 %
APART = 2.0  # cells at a pad's edge from one place of its rim to the next: corners are used most
SURE = 1e-3  # on a load factor of buckling: what its iteration may miss


@dataclass(frozen=True, eq=False, kw_only=True)
class Film:
    """What is known of the stretching of a part that bends.

    Attributes:
        sheet: The part on its pads.
        strengths: Of each pad its pull-off stress and its shear strength [Pa]; none where they are not bonded evenly.
        stretched: Share of its energy that stretches it, at a use of 1 by what bends it; grows with the square of that.
        load: What stretches it most of what bends it, at the tool origin, shape (6,).
        use: The largest of the pads, by small bending.
    """

    sheet: Sheet
    strengths: tuple[tuple[float, float], ...]
    stretched: float
    load: FloatArray
    use: float

    @classmethod
    def of(cls, sheet: Sheet, strengths: Sequence[tuple[float, float]], face: Face, load: FloatArray) -> Film:
        """Look at a part under its loads.

        Args:
            sheet: The part on its pads.
            strengths: As it has them.
            face: The places that count by small bending.
            load: At the tool origin, shape (6, n).
        """
        most = float(peak_utilisation(face, load)[0].max(initial=0.0))
        across = (
            load * np.array([0.0, 0.0, 1.0, 1.0, 1.0, 0.0])[:, None]
        )  # what bends; what slides it only uses the pads
        use = peak_utilisation(face, across)[0]
        largest = {int(np.argmax(each)) for each in (use, *np.abs(across[2:5]))} if use.size else set()
        looked_at = [k for k in sorted(largest) if 0.0 < use[k] < np.inf]
        shares = sheet.stretched(across[:, looked_at] / use[looked_at]) if looked_at else np.zeros(0)
        worst = looked_at[int(np.argmax(shares * use[looked_at] ** 2))] if looked_at else None
        return cls(
            sheet=sheet,
            strengths=tuple(strengths),
            stretched=float(shares.max(initial=0.0)),
            load=np.zeros(6) if worst is None else across[:, worst],
            use=most,
        )

    @property
    def counts(self) -> bool:
        """Whether the part is stretched so much that its largest load is known by a bound alone."""
        return self.beyond(self.use) is not None

    def beyond(self, use: float) -> Face | None:
        """Return what bounds the use of the pads where small bending gives one; None where that tells it."""
        return self.bound if self.strengths and not self.stretched * use * use <= STRETCHED else None

    @property
    def bound(self) -> Face:
        """The most that places can be used by loads, however much the part is stretched."""
        return bound_of(self.sheet, self.strengths, steep=is_steep(self.sheet, self.sheet.droop(self.load)))


def ball(*, steep: bool) -> tuple[float, float, float]:
    """Return what counts in a bound, over what is known in all: the tension, the shear of the pads, the buckling.

    Args:
        steep: Whether slopes are large.
    """
    return (1.0, 1.0, 2.0) if steep else (0.5, float(np.sqrt(0.125)), 1.0)


def is_steep(sheet: Sheet, sag: float) -> bool:
    """Whether slopes of a sheet are large whose rim leaves the plane of its pads so far [m]."""
    return sag > STEEP * overhang(sheet.backing.patches, sheet.outline)


@lru_cache(maxsize=KEPT)
def bound_of(sheet: Sheet, strengths: tuple[tuple[float, float], ...], *, steep: bool) -> Face:
    """Return the most that a sheet can ask of the rims of its pads.

    Args:
        sheet: The plate on its pads.
        strengths: Of each pad its pull-off stress and its shear strength [Pa].
        steep: Whether slopes are large.
    """
    share, sheared, pushed = ball(steep=steep)
    root, places, faces = np.zeros((4, 6, 6)), [sheet.rim(patch, APART) for patch in sheet.backing.patches], []
    for number, (bent, rigidity) in enumerate(zip(sheet.bent, sheet.model.rigidities, strict=True)):
        solve = factored(sheet.model.stiffness(rigidity)).solve
        compliance = (sheet.model.load.T @ bent)[2:5, 2:5]
        root[0, :3, 2:5] = np.linalg.cholesky((compliance + compliance.T) / 2.0).T
        root[1:, 0] = pushed * buckling(sheet.model, rigidity)
        maps, slack = [], []
        for patch, at, (pull, shear) in zip(sheet.backing.patches, places, strengths, strict=True):
            tension = share * patch.stiffness_per_area()[2] * felt(sheet, solve, at) / pull
            slack.append(np.column_stack([tension + sheared * drawn(sheet, patch) / shear, *np.ones((3, len(at)))]))
            held = np.array([shear, shear, pull / share])[:, None, None]
            maps.append(sheet.traction_maps(patch, at)[number] / held)
        faces.append(Face(np.concatenate(maps, axis=1), slack=np.concatenate(slack), spread=root.copy()))
    return joined(faces)


def buckling(model: Model, rigidity: FloatArray) -> FloatArray:
    """Return by which share loads along a sheet's plane soften it, a row for a force along x, along y and a turn.

    The inverse of the factor at which such a load, from either side, buckles the sheet on its pads.

    Args:
        model: The sheet on its pads.
        rigidity: Its moments per curvature, shape (3, 3) [N m]; along its plane it is stiff in the same proportion.

    Returns:
        From the load at the tool origin to the shares, shape (3, 6).
    """
    form, plate, part = model.form, model.plate, model.part
    x, y = np.moveaxis(plate.points - part.com[:2], -1, 0)
    turning = float((plate.weights * (x * x + y * y)).sum())
    even, to_x, to_y = form.integral(plate, np.stack([np.ones_like(x) / plate.area, -y / turning, x / turning])).T
    force = np.vstack([np.column_stack([even, 0 * even, to_x]), np.column_stack([0 * even, even, to_y])])
    out, (com_x, com_y) = np.zeros((3, 6)), part.com[:2]
    out[[0, 1, 2, 2, 2], [0, 1, 0, 1, 5]] = 1.0, 1.0, com_y, -com_x, 1.0
    return softened(model, rigidity, force)[:, None] * out


def softened(model: Model, rigidity: FloatArray, force: FloatArray) -> FloatArray:
    """Return by which share forces along a sheet's plane soften it at most, from either side, shape (k,).

    Args:
        model: The sheet on its pads.
        rigidity: As above.
        force: On the splines of its places along x, then along y, shape (2 splines, k) [N].
    """
    form, plate, part = model.form, model.plate, model.part
    stiff = 12.0 / (part.thickness or 0.0) ** 2 * rigidity
    held = csr_array((form.size, form.size))
    for patch, pieces in zip(model.backing.patches, model.pads, strict=True):
        held = held + form.mass(pieces, float(patch.stiffness_per_area()[0]))
    count = force.shape[1]
    moved = factored((form.stretching(plate, stiff) + block_diag([held, held])).tocsc()).solve(force)
    own, first, second = (
        moved.reshape(2, form.size, count)[:, form.numbers(plate.cells)],
        *(form.values(plate.points, plate.cells, *order) for order in ((1, 0), (0, 1))),
    )
    (u_x, v_x), (u_y, v_y) = (np.einsum("pqb,cpbk->ckpq", slope, own) for slope in (first, second))
    bends = model.stiffness(rigidity)
    solve = LinearOperator(bends.shape, matvec=factored(bends).solve)
    shares, start = np.zeros(count), np.cos(np.arange(bends.shape[0]) ** 2.0)
    for k, strain in enumerate(np.stack([u_x, v_y, u_y + v_x], axis=1)):
        pulled = block_diag([form.pulled(plate, np.einsum("ij,jpq->ipq", stiff, strain)), csr_array((3, 3))], "csr")
        found = eigsh(pulled, 1, bends, Minv=solve, tol=SURE / 10.0, v0=start, return_eigenvectors=False)
        shares[k] = (1.0 + SURE) * abs(float(found[0]))
    return shares


def felt(sheet: Sheet, solve: Callable[[FloatArray], FloatArray], at: FloatArray) -> FloatArray:
    """Return how far places give way under a unit force at each, the root of it, shape (p,) [(m/N)^(1/2)].

    Args:
        sheet: The plate on its pads.
        solve: From forces on its unknowns to these.
        at: Tool frame [m], shape (p, 3).
    """
    force = np.vstack([sheet.form.rows(at[:, :2]).toarray().T, np.zeros((3, len(at)))])
    return np.sqrt(np.einsum("np,np->p", force, solve(force)))


def drawn(sheet: Sheet, patch: Patch) -> float:
    """Return the largest shear of a pad that a sheet draws to one side, over the root of twice the energy [Pa/J^(1/2)].

    That of a long strip pulled at its end is ``sqrt(x coth x)`` times the root mean square, x the length of the pad
    over ``sqrt(E t / k_t)``, on which shear fades (shear lag: Volkersen 1938, from memory).
    """
    part, stiff = sheet.part, float(patch.stiffness_per_area()[0])
    stretching = 12.0 * min(part.strips or (0.0,)) / (part.thickness or 0.0) ** 2
    x = np.ptp(patch.edge, axis=0).max() * np.sqrt(stiff / stretching)
    return float(np.sqrt(stiff / patch.area * x / np.tanh(x)))
