"""A part that bends, on its pads: from the load to the tension at every place.

The part is a uniform thin plate on the pads' backing, a Winkler layer: ``D lap^2 w + k w = q``. Whatever the gripper
does, the load q is affine over the face (inertia and weight of a rigid motion), so three loads tell for all of them and
the tension at a place is a constant map times the load at the tool origin, as for a rigid part. Along the face a plate
is as good as rigid; its shear acts half the thickness below the middle plane and bends it too.

An even pressure of the air on the whole face is such a load. One that acts elsewhere counts as spread over the part.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from scipy.sparse import csr_array
from scipy.sparse.linalg import splu
from shapely.geometry.base import BaseGeometry

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import BudgetError
from gripmargin.contact.backing import Backing
from gripmargin.contact.cells import Patch
from gripmargin.kernels.plate import Pieces, Splines, isotropic
from gripmargin.kernels.wrench import mass_matrix
from gripmargin.workcell import Part
from gripmargin.workcell.part import uniform_plate

ANY_RATIO = (0.0, 0.5)  # Poisson's ratio lies between; bending adds most at one of them
FINE = 0.5  # width of a cell at a pad's edge, over the length (D / k)^(1/4) on which bending fades there
WIDER = 0.3  # by which cells grow with the distance from there
FEWEST = 8  # cells across a part at least
MOST = 40_000  # splines: beyond that a part is too thin and wide to be followed


@dataclass(frozen=True, eq=False, kw_only=True)
class Sheet:
    """A plate on pads.

    Attributes:
        backing: The pads; they lie in the tool's xy plane.
        part: The plate.
        form: Its splines.
        bent: Their coefficients for each unit of the load at the tool origin, one array for each Poisson's ratio that
            the plate may have, shape (ratios, splines, 6).
    """

    backing: Backing
    part: Part
    form: Splines
    bent: FloatArray

    @classmethod
    def on(cls, backing: Backing, part: Part) -> Sheet:
        """Return a plate on pads.

        Args:
            backing: Pads in the tool's xy plane.
            part: With an outline, a thickness and a modulus.

        Raises:
            BudgetError: It is too thin and wide.
        """
        model = Model.of(backing, part)
        return cls(
            backing=backing,
            part=part,
            form=model.form,
            bent=np.stack([model.deflection(ratio) for ratio in model.ratios]),
        )

    def without(self, lost: int) -> Sheet:
        """Return the plate with one of several pads gone."""
        return Sheet.on(Backing(tuple(p for i, p in enumerate(self.backing.patches) if i != lost)), self.part)

    def tension_maps(self, patch: Patch, points: FloatArray) -> FloatArray:
        """Return the constant maps from the load to the normal traction at points of a pad.

        Args:
            patch: One of the pads.
            points: Tool frame [m], shape (p, 3).

        Returns:
            Shape (ratios, p, 6) [Pa per N or N m]; tension positive.
        """
        stiffness = patch.pad.material.normal_stiffness
        rows = self.form.rows(points[:, :2])
        return stiffness * np.stack([rows @ bent for bent in self.bent])

    def places(self, patch: Patch) -> FloatArray:
        """Return where the tension of a pad is looked at: its edge and the grid within [m], shape (p, 3)."""
        shape, edge = contact_of(patch, self.part), []
        for ring in _rings(shape):
            for a, b in pairwise(np.asarray(ring.coords)):
                parts = max(1, int(np.ceil(2.0 * np.linalg.norm(b - a) / self.finest)))
                edge.append(a + (b - a) * np.arange(parts)[:, None] / parts)
        x, y = (a.ravel() for a in np.meshgrid(self.form.x, self.form.y))
        inside = shapely.contains_xy(shape, x, y)
        flat = np.concatenate([*edge, np.stack([x, y], axis=1)[inside]])
        height = np.full((len(flat), 1), patch.edge[:, 2].mean())
        return np.concatenate([patch.edge, np.hstack([flat, height])])

    @property
    def finest(self) -> float:
        """The least width of a cell [m]."""
        return float(min(np.diff(self.form.x).min(), np.diff(self.form.y).min()))


@dataclass(frozen=True, eq=False, kw_only=True)
class Model:
    """The splines of a plate on pads, with what they weigh and resist.

    Attributes:
        form: The splines.
        plate: The cells of the plate.
        part: What it is.
        foundation: What the backing resists, shape (splines, splines) [N/m].
        load: On each spline for each unit of the load at the tool origin, shape (splines, 6).
    """

    form: Splines
    plate: Pieces
    part: Part
    foundation: csr_array
    load: FloatArray

    @classmethod
    def of(cls, backing: Backing, part: Part) -> Model:
        """Lay a grid over a plate and its pads."""
        outline = _outline(part)
        contacts = [contact_of(patch, part) for patch in backing.patches]
        form = _grid(outline, contacts, _fading(backing, part))
        plate, pads = form.pieces(outline), [form.pieces(contact) for contact in contacts]
        foundation = sum(
            form.mass(pieces, patch.pad.material.normal_stiffness)
            for patch, pieces in zip(backing.patches, pads, strict=True)
        )
        return cls(
            form=form, plate=plate, part=part, foundation=foundation, load=_loads(form, plate, backing, pads, part)
        )

    @property
    def ratios(self) -> tuple[float, ...]:
        """Poisson's ratios that the plate may have."""
        return ANY_RATIO if self.part.poissons_ratio is None else (self.part.poissons_ratio,)

    def stiffness(self, ratio: float) -> csr_array:
        """Return what plate and backing resist, at a Poisson's ratio, shape (splines, splines) [N/m]."""
        bending = self.form.bending(self.plate, isotropic(_rigidity(self.part, ratio), ratio))
        return (self.foundation + bending).tocsc()

    def deflection(self, ratio: float) -> FloatArray:
        """Return what each unit of the load does to the plate, shape (splines, 6); it balances the load exactly."""
        found, rigid = splu(self.stiffness(ratio)).solve(self.load), self.form.rigid
        held = rigid.T @ self.foundation
        return np.asarray(found + rigid @ np.linalg.solve(held @ rigid, rigid.T @ self.load - held @ found))

    def mass(self) -> csr_array:
        """Return the plate's mass, shape (splines, splines) [kg]."""
        per_area = self.part.mass / self.plate.area
        return self.form.mass(self.plate, per_area, _thickness(self.part) ** 2 / 12.0)


def contact_of(patch: Patch, part: Part) -> BaseGeometry:
    """Return where a pad in the tool's xy plane touches the part, seen along the tool's z axis [m]."""
    at = patch.pad.outline @ patch.rotation[:2, :2].T + patch.pad.pose_in_tool[:2, 3]
    return shapely.Polygon(at).intersection(_outline(part))


def _loads(form: Splines, plate: Pieces, backing: Backing, pads: Sequence[Pieces], part: Part) -> FloatArray:
    """The load on each spline for each unit of the load at the tool origin, shape (splines, 6)."""
    thickness = _thickness(part)
    per_area, turning = part.mass / plate.area, thickness**2 / 12.0
    x, y = np.moveaxis(plate.points, -1, 0)
    even = np.ones_like(x)
    straight = form.integral(plate, per_area * np.stack([even, y, -x]))
    slope = [form.integral(plate, per_area * even[None], *order)[:, 0] for order in ((1, 0), (0, 1))]
    inertia = np.zeros((form.size, 6))
    inertia[:, 2:5] = straight
    inertia[:, 3] += turning * slope[1]
    inertia[:, 4] -= turning * slope[0]
    moments = mass_matrix(part.mass, *uniform_plate(part.mass, _corners(part), thickness))
    load = inertia @ np.linalg.inv(moments)
    for patch, pieces in zip(backing.patches, pads, strict=True):
        flat = pieces.points.reshape(-1, 2)
        at = np.column_stack([flat, np.full(len(flat), patch.edge[:, 2].mean())])
        shear = np.einsum("ij,jpk->ipk", patch.rotation, backing.traction_maps(patch, at))[:2]
        for along, order in zip(shear, ((1, 0), (0, 1)), strict=True):
            spread = along.T.reshape(6, *pieces.points.shape[:2])
            load -= thickness / 2.0 * form.integral(pieces, spread, *order)
    return load


def _grid(outline: BaseGeometry, contacts: Sequence[BaseGeometry], fading: float) -> Splines:
    """A grid over a part that is fine at the edges of its pads."""
    lines, bounds = [], np.array([contact.bounds for contact in contacts])
    along = np.array([contact.area > (1.0 - 1e-6) * shapely.box(*contact.bounds).area for contact in contacts])
    for axis in (0, 1):
        low, high = bounds[:, axis], bounds[:, axis + 2]
        # an edge along the grid is fine at a line, another one wherever it may be
        fine = np.concatenate([[low, high], [high, low]], axis=1)[:, np.tile(along, 2)]
        fine = np.stack([np.r_[low[along], high[along], low[~along]], np.r_[low[along], high[along], high[~along]]])
        ends = outline.bounds[axis], outline.bounds[axis + 2]
        marks = np.unique(np.concatenate([ends, low, high]).round(9))
        marks = marks[(marks >= ends[0] - 1e-9) & (marks <= ends[1] + 1e-9)]
        most = (ends[1] - ends[0]) / FEWEST
        lines.append(_graded(marks, fine, FINE * fading, most))
    form = Splines(*lines)
    if form.size > MOST:
        raise BudgetError(f"the part is too thin and wide on its pads: {form.size} splines, at most {MOST} are solved")
    return form


def _graded(marks: FloatArray, fine: FloatArray, least: float, most: float) -> FloatArray:
    """Borders of cells from mark to mark that grow from a least width, at places from fine[0] to fine[1], to a most."""
    out = []
    for a, b in pairwise(marks):
        place = np.linspace(a, b, 401)
        away = np.maximum(np.maximum(fine[0, :, None] - place, place - fine[1, :, None]), 0.0).min(axis=0)
        width = np.minimum(least + WIDER * away, most)
        count = np.concatenate([[0.0], np.cumsum(np.diff(place) * (1.0 / width[1:] + 1.0 / width[:-1]) / 2.0)])
        parts = max(1, int(np.ceil(count[-1])))
        out.append(np.interp(np.arange(parts) * count[-1] / parts, count, place))
    return np.append(np.concatenate(out), marks[-1])


def _fading(backing: Backing, part: Part) -> float:
    """The length (D / k)^(1/4) on which bending fades at the stiffest pad [m]."""
    stiffest = max(patch.pad.material.normal_stiffness for patch in backing.patches)
    return float((_rigidity(part, 0.0) / stiffest) ** 0.25)


def _rigidity(part: Part, ratio: float) -> float:
    return (part.youngs_modulus or 0.0) * _thickness(part) ** 3 / 12.0 / (1.0 - ratio**2)


def _thickness(part: Part) -> float:
    return part.thickness or 0.0


def _corners(part: Part) -> FloatArray:
    return np.zeros((0, 2)) if part.outline is None else part.outline


def _outline(part: Part) -> BaseGeometry:
    return shapely.Polygon(_corners(part))


def _rings(shape: BaseGeometry) -> list[BaseGeometry]:
    return [ring for each in shapely.get_parts(shape) for ring in (each.exterior, *each.interiors)]
