"""A part that bends, on its pads: from the load to the tension at every place.

The part is a uniform thin plate on the pads' backing, a Winkler layer: ``D lap^2 w + k w = q``, with components that
are heavy and not stiff. Whatever the gripper does, the load q is that of inertia and weight of a rigid motion, affine
over the face where there are no components, so a few loads tell for all of them and the tension at a place is a
constant map times the load at the tool origin, as for a rigid part. Along the face a plate is as good as rigid; its
shear acts half the thickness below the middle plane and bends it too.

An even pressure of the air on the whole face is such a load. Of forces at one place `gripmargin.contact.poked` knows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import pairwise

import numpy as np
import shapely
from scipy.sparse import block_array, csc_array, csr_array
from shapely.geometry.base import BaseGeometry

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.backing import Backing
from gripmargin.contact.cells import Patch, cut_pads
from gripmargin.contact.membrane import Membrane
from gripmargin.contact.plate_grid import FINE, cut, grid_over
from gripmargin.kernels.plate import Pieces, Splines, factored, isotropic, orthotropic
from gripmargin.workcell import Component, Pad, Part

ANY_RATIO = (0.0, 0.5)  # Poisson's ratio lies between; bending adds most at one of them
ANY_TWIST = (
    0.1,
    1.5,
)  # of Huber's stiffness against twist: from below that of crossed carbon fibres (0.14) upwards; paper has 1
PLACES, ACROSS = 60, 13  # of the rim, beside its corners, and across it at which it is looked at how far it droops
KEPT = 8  # plates that are not solved again


@dataclass(frozen=True, eq=False, kw_only=True)
class Sheet:
    """A plate on pads.

    Attributes:
        backing: The pads; they lie in the tool's xy plane.
        model: Its unknowns.
        bent: Its unknowns for each unit of the load at the tool origin, one array for each rigidity that the plate
            may have, shape (rigidities, n, 6).
    """

    backing: Backing
    model: Model
    bent: FloatArray

    @property
    def part(self) -> Part:
        """The plate."""
        return self.model.part

    @property
    def outline(self) -> FloatArray:
        """Its corners, tool frame [m], shape (k, 2)."""
        return _corners(self.part)

    @property
    def form(self) -> Splines:
        """Its splines."""
        return self.model.form

    @classmethod
    def on(cls, backing: Backing, part: Part, places: Sequence[tuple[float, float]] = ()) -> Sheet:
        """Return a plate on pads.

        Args:
            backing: Pads in the tool's xy plane.
            part: With an outline, a thickness and a stiffness.
            places: Where forces act, tool frame [m]: above a pad the plate bends closely about them.

        Raises:
            BudgetError: It is too thin and wide.
        """
        on_pads = shapely.union_all([contact_of(patch, part) for patch in backing.patches] if places else [])
        close = {place for place in places if shapely.intersects_xy(on_pads, *place)}
        return _solved(tuple(patch.pad for patch in backing.patches), part, tuple(sorted(close)))

    def traction_maps(self, patch: Patch, points: FloatArray) -> FloatArray:
        """Return the constant maps from the load to the traction at points of a pad, as `Backing.traction_maps`.

        Args:
            patch: One of the pads.
            points: Tool frame [m], shape (p, 3).

        Returns:
            One for each rigidity that the plate may have, shape (rigidities, 3, p, 6).
        """
        return np.stack([self.model.traction(patch, points, bent) for bent in self.bent])

    def pad_wrench(self, patch: Patch, wrench: FloatArray) -> FloatArray:
        """Return the share of a load that one pad carries, as `Backing.pad_wrench`."""
        force = (self.traction_maps(patch, patch.points)[0] @ wrench * patch.areas).T
        arm = (patch.points - patch.centre) @ patch.rotation
        return np.concatenate([force.sum(axis=0), np.cross(arm, force).sum(axis=0)])

    def places(self, patch: Patch) -> FloatArray:
        """Return where the tension of a pad is looked at: its edge and the grid within [m], shape (p, 3)."""
        x, y = (a.ravel() for a in np.meshgrid(self.form.x, self.form.y))
        inside = np.stack([x, y], axis=1)[shapely.contains_xy(contact_of(patch, self.part), x, y)]
        return np.concatenate([self.rim(patch), _lifted(inside, patch)])

    def rim(self, patch: Patch, step: float = 0.25) -> FloatArray:
        """Return places along the edge of a pad, its corners among them [m], shape (p, 3).

        Args:
            patch: One of the pads.
            step: From one to the next at most, in cells at the edge.
        """
        edge = []
        for ring in _rings(contact_of(patch, self.part)):
            for a, b in pairwise(np.asarray(ring.coords)):
                parts = max(1, int(np.ceil(np.linalg.norm(b - a) / (step * self.finest))))
                edge.append(a + (b - a) * np.arange(parts)[:, None] / parts)
        return np.concatenate([patch.edge, _lifted(np.concatenate(edge), patch)])

    def swinging(self, which: int, added_mass: float = 0.0) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return what the plate resists and weighs against motions of the tool origin in which it bends as under loads.

        The plate is taken to bend as its loads at rest bend it, in six ways (Rayleigh and Ritz; load-dependent Ritz
        vectors: Wilson, Yuan & Dickens, Earthq. Eng. Struct. Dyn. 10(6), 1982, from memory): what it carries at rest is
        exact, and its slowest vibrations nearly. Of a rigid part these are stiffness and mass themselves. The motion
        is that of the part's mean place, weighted with its mass.

        Args:
            which: Index of the rigidity.
            added_mass: Of air that goes along with it, at the centroid of its face [kg].

        Returns:
            Stiffness, mass, and the share of the stiffness that each pad has; shapes (6, 6), (6, 6) and (pads, 6, 6).
        """
        model, bent = self.model, self.bent[which]
        stiffness = np.linalg.inv(model.load.T @ bent)
        ways = bent @ stiffness
        even = model.form.integral(model.plate, np.full((1, *model.plate.weights.shape), 1.0 / model.plate.area))
        moved = even[:, 0] @ ways[:-3]
        mass = ways.T @ (model.mass @ ways) + added_mass * np.outer(moved, moved)
        pads = np.stack([ways.T @ (springs @ ways) for springs in model.springs_of_pads])
        return (stiffness + stiffness.T) / 2.0, (mass + mass.T) / 2.0, pads

    def droop(self, load: FloatArray) -> float:
        """Return how far the plate leaves the plane of its pads by bending, along the normal, at most [m].

        Args:
            load: At the tool origin, shape (6,).
        """
        return float(np.abs(self.droops[1] @ load).max())

    @cached_property
    def droops(self) -> tuple[FloatArray, FloatArray]:
        """Places of the plate, tool frame [m], shape (k, 2), and how far they leave the plane of its pads by bending.

        The latter along the normal for each unit of the load, for each rigidity, shape (rigidities, k, 6).
        """
        at, sagged = self._sagged
        return at, np.stack([sagged @ bent[:-3] for bent in self.bent])

    def sag(self, moved: FloatArray) -> float:
        """Return how far the plate leaves the plane of the pads at most, by columns of unknowns (n, k) [m]."""
        return float(np.abs(self._sagged[1] @ moved[:-3]).max())

    @cached_property
    def _sagged(self) -> tuple[FloatArray, FloatArray]:
        """Places of the plate, shape (k, 2), and from its splines to how far they leave the plane of its pads."""
        outline = _outline(self.part)
        rim = shapely.get_coordinates(shapely.segmentize(outline.exterior, outline.length / PLACES))[:-1]
        (x0, y0, x1, y1), share = outline.bounds, np.linspace(0.0, 1.0, ACROSS)
        x, y = (a.ravel() for a in np.meshgrid(x0 + share * (x1 - x0), y0 + share * (y1 - y0)))
        at = np.concatenate([rim, np.stack([x, y], axis=1)[shapely.contains_xy(outline, x, y)]])
        return at, self.sagging(at)

    def sagging(self, at: FloatArray) -> FloatArray:
        """Return from its splines to how far places leave the plane of its pads, tool frame [m], shape (k, 2)."""
        held = np.concatenate([patch.edge[:, :2] for patch in self.backing.patches])
        plane, far = (np.column_stack([np.ones(len(where)), where]) for where in (held, at))
        onto = far @ np.linalg.pinv(plane)
        return np.asarray(self.form.rows(at).toarray() - onto @ self.form.rows(held).toarray())

    def held_at(self, places: FloatArray, force: FloatArray) -> FloatArray:
        """Return its unknowns where a force holds it at single places, one after the other.

        Args:
            places: Tool frame [m], shape (k, 2).
            force: On the part, tool axes [N], shape (3,).

        Returns:
            For each rigidity that the plate may have, shape (rigidities, n, k).
        """
        along = [np.full(len(places), f) for f in force[:2]]
        turn = places[:, 0] * force[1] - places[:, 1] * force[0]
        load = np.concatenate([force[2] * self.form.rows(places).toarray().T, [*along, turn]])
        return np.stack([factored(self.model.stiffness(each)).solve(load) for each in self.model.rigidities])

    def stretched(self, load: FloatArray) -> FloatArray:
        """Return the energy that stretches the plate where it bends two ways at once, over that which bends it [-].

        Linear bending leaves it out; a deflection is off by about twice that share. Of each load the largest over the
        rigidities that the plate may have.

        Args:
            load: At the tool origin, shape (6,) or (6, k).

        Returns:
            Shape () or (k,).
        """
        return np.asarray(self.model.stretched(self.bent @ load.reshape(6, -1)).reshape(load.shape[1:]))

    @property
    def finest(self) -> float:
        """Width of a cell at a pad's edge [m]."""
        return FINE * _fading(self.backing, self.part)


@dataclass(frozen=True, eq=False, kw_only=True)
class Model:
    """A plate on pads with what it weighs and resists: its deflection as splines, then how it moves along its plane.

    The latter is a translation along x and y and a turn, of the middle plane at the tool origin; n unknowns in all.

    Attributes:
        form: The splines.
        plate: The cells of the plate.
        pads: The cells of each pad's contact.
        backing: The pads.
        part: The plate.
    """

    form: Splines
    plate: Pieces
    pads: tuple[Pieces, ...]
    backing: Backing
    part: Part

    @classmethod
    def of(cls, backing: Backing, part: Part, places: Sequence[tuple[float, float]] = ()) -> Model:
        """Lay a grid over a plate and its pads, fine at places [m]."""
        outline = _outline(part)
        contacts = [contact_of(patch, part) for patch in backing.patches]
        form = grid_over(outline, contacts, _fading(backing, part), places)
        pads = tuple(cut(form, contact) for contact in contacts)
        return cls(form=form, plate=cut(form, outline), pads=pads, backing=backing, part=part)

    @cached_property
    def rigidities(self) -> tuple[FloatArray, ...]:
        """Moments per curvature that the plate may have, each of shape (3, 3) [N m]."""
        part, strips = self.part, _strips(self.part)
        ratios = ANY_RATIO if part.poissons_ratio is None else (part.poissons_ratio,)
        if part.bending_stiffness is None:
            return tuple(isotropic(strips[0] / (1.0 - ratio**2), ratio) for ratio in ratios)
        found = []
        for ratio in ratios:
            huber = float(np.sqrt(strips[0] * strips[1])) / 2.0 / (1.0 + ratio)
            given = part.twisting_stiffness
            for twisting in [share * huber for share in ANY_TWIST] if given is None else [given]:
                found.append(orthotropic(strips, ratio, twisting, part.stiffness_axis))
        return tuple(found)

    @cached_property
    def rigid(self) -> FloatArray:
        """The unknowns for each unit of a rigid motion of the tool origin, shape (n, 6)."""
        arm, (one, x, y) = _thickness(self.part) / 2.0, self.form.rigid.T
        out = np.zeros((one.size + 3, 6))
        out[:-3, 2:5] = np.stack([one, y, -x], axis=1)
        out[-3:, :] = [[1, 0, 0, 0, arm, 0], [0, 1, 0, -arm, 0, 0], [0, 0, 0, 0, 0, 1]]
        return out

    @cached_property
    def mass(self) -> csr_array:
        """Of the plate and its components, shape (n, n)."""
        part, thickness = self.part, _thickness(self.part)
        own = (part.mass - sum(each.mass for each in part.components)) / self.plate.area
        x, y = np.moveaxis(self.plate.points, -1, 0)
        inside = own * _in_plane(x, y, self.plate.weights)
        whole = _joined(self.form.mass(self.plate, own, thickness**2 / 12.0), None, inside)
        for each in part.components:
            pieces = self._under(each)
            whole = whole + self._moving(
                pieces, *2 * (each.mass / pieces.area,), arm=thickness / 2.0 - float(each.at[2])
            )
        return whole

    def _under(self, component: Component) -> Pieces:
        """The cells that a component covers; one of no size covers a unit of area at its place."""
        if component.size is not None:
            return cut(self.form, shapely.Polygon(component.outline).intersection(_outline(self.part)))
        at = component.at[None, :2]
        return Pieces(points=at[None], weights=np.ones((1, 1)), cells=self.form.cells_of(at))

    @cached_property
    def springs_of_pads(self) -> tuple[csr_array, ...]:
        """What the backing of each pad resists, shape (n, n)."""
        out = []
        for patch, pieces in zip(self.backing.patches, self.pads, strict=True):
            shear, _, normal = patch.stiffness_per_area()
            out.append(self._moving(pieces, float(shear), float(normal), arm=_thickness(self.part) / 2.0))
        return tuple(out)

    def _moving(self, pieces: Pieces, along: float, normal: float, *, arm: float) -> csr_array:
        """The matrix of ``integral of along (u u + v v) + normal w w`` an arm below the middle plane, shape (n, n)."""
        x, y = np.moveaxis(pieces.points, -1, 0)
        even = np.ones_like(x)
        along_x, along_y = np.stack([even, 0 * x, -y]), np.stack([0 * x, even, x])
        tilting = self.form.integral(pieces, along_x, 1, 0) + self.form.integral(pieces, along_y, 0, 1)
        bent = self.form.mass(pieces, normal, arm**2 * along / normal)
        return _joined(bent, arm * along * tilting, along * _in_plane(x, y, pieces.weights))

    @cached_property
    def springs(self) -> csr_array:
        """What the backing of all pads resists, shape (n, n)."""
        return sum(self.springs_of_pads[1:], self.springs_of_pads[0])

    def stiffness(self, rigidity: FloatArray) -> csc_array:
        """Return what plate and backing resist, at moments per curvature, shape (3, 3), as a matrix (n, n)."""
        bending = self.form.bending(self.plate, rigidity)
        return (self.springs + _joined(bending, None, np.zeros((3, 3)))).tocsc()

    @cached_property
    def load(self) -> FloatArray:
        """On each unknown, for each unit of the load at the tool origin: that of a rigid motion, shape (n, 6)."""
        weighed = self.mass @ self.rigid
        return np.asarray(weighed @ np.linalg.inv(self.rigid.T @ weighed))

    def deflection(self, rigidity: FloatArray) -> FloatArray:
        """Return what each unit of the load does to the plate, shape (n, 6); it balances the load exactly."""
        found, rigid = factored(self.stiffness(rigidity)).solve(self.load), self.rigid
        held = rigid.T @ self.springs
        return np.asarray(found + rigid @ np.linalg.solve(held @ rigid, rigid.T @ self.load - held @ found))

    def traction(self, patch: Patch, points: FloatArray, moved: FloatArray) -> FloatArray:
        """Return the tractions at points of a pad, tool frame [m], shape (p, 3), by columns of unknowns (n, k).

        Returns:
            Tangential x and y, then normal [Pa], pad axes, shape (3, p, k).
        """
        out = np.einsum("ij,pik->jpk", patch.rotation, self.moved(points, moved))
        return out * patch.stiffness_per_area()[:, None, None]

    def moved(self, points: FloatArray, unknowns: FloatArray) -> FloatArray:
        """Return how places move, tool frame [m], shape (p, 3), by columns of unknowns (n, k), shape (p, 3, k) [m]."""
        off, flat = _thickness(self.part) / 2.0 - points[:, 2:], points[:, :2]  # below the middle plane
        bent, (u, v, turn) = unknowns[:-3], unknowns[-3:, None]
        along_x = u - turn * flat[:, 1:] + off * (self.form.rows(flat, 1, 0) @ bent)
        along_y = v + turn * flat[:, :1] + off * (self.form.rows(flat, 0, 1) @ bent)
        return np.stack([along_x, along_y, self.form.rows(flat) @ bent], axis=1)

    def stretched(self, unknowns: FloatArray, rigidities: Sequence[FloatArray] | None = None) -> FloatArray:
        """Return the share of `Sheet.stretched`, shape (k,).

        Args:
            unknowns: For each rigidity, shape (rigidities, n, k).
            rigidities: Moments per curvature, shape (3, 3) each; None: those that the plate may have.
        """
        membrane, found = self.membrane(), []
        for own, rigidity in zip(unknowns, rigidities or self.rigidities, strict=True):
            over, curved = membrane.each(own[:-3], rigidity)
            found.append(over / np.maximum(curved + 0.5 * (own * (self.springs @ own)).sum(axis=0), 1e-300))
        return np.asarray(np.max(found, axis=0))

    def membrane(self) -> Membrane:
        """Return what it takes to stretch the plate, as stiff along its plane as the stiffer of its directions."""
        stiff = 12.0 * max(_strips(self.part)) / _thickness(self.part) ** 2
        return Membrane(form=self.form, plate=self.plate, stiffness=stiff)


@lru_cache(maxsize=KEPT)
def _solved(pads: tuple[Pad, ...], part: Part, places: tuple[tuple[float, float], ...] = ()) -> Sheet:
    """The plate on pads; changes of a job that leave both as they are find it solved."""
    backing = Backing(cut_pads(pads, part))
    model = Model.of(backing, part, places)
    bent = np.stack([model.deflection(rigidity) for rigidity in model.rigidities])
    return Sheet(backing=backing, model=model, bent=bent)


def indented(patches: Sequence[Patch], part: Part) -> float:
    """Return what a plate gives way right below a pad, over what the backing does.

    Under an even pressure p on a circle of radius a the middle of a half-space sinks by 2 p a / E and its rim by
    4 p a / (pi E), Poisson's ratio 0 (Johnson, Contact Mechanics, 1985, sec. 3.4, from memory).
    """
    radii = np.array([np.sqrt(patch.area / np.pi) for patch in patches])
    stiffness = np.array([patch.pad.material.normal_stiffness for patch in patches])
    return float((stiffness * radii).max() * (2.0 - 4.0 / np.pi) / part.modulus)


def contact_of(patch: Patch, part: Part) -> BaseGeometry:
    """Return where a pad in the tool's xy plane touches the part, seen along the tool's z axis [m]."""
    at = patch.pad.outline @ patch.rotation[:2, :2].T + patch.pad.pose_in_tool[:2, 3]
    return shapely.Polygon(at).intersection(_outline(part))


def _in_plane(x: FloatArray, y: FloatArray, weights: FloatArray) -> FloatArray:
    """The matrix of ``integral of u u + v v`` for a translation and a turn along a plane, shape (3, 3)."""
    area, to_x, to_y = weights.sum(), (weights * x).sum(), (weights * y).sum()
    return np.array([[area, 0, -to_y], [0, area, to_x], [-to_y, to_x, (weights * (x * x + y * y)).sum()]])


def _joined(bent: csr_array, between: FloatArray | None, along: FloatArray) -> csr_array:
    """A matrix of all unknowns of a `Model` out of its blocks."""
    both = csr_array((bent.shape[0], 3)) if between is None else csr_array(between)
    return csr_array(block_array([[bent, both], [both.T.tocsr(), csr_array(along)]]))


def _fading(backing: Backing, part: Part) -> float:
    """The length (D / k)^(1/4) on which bending fades at the stiffest pad [m]."""
    stiffest = max(patch.pad.material.normal_stiffness for patch in backing.patches)
    return float((min(_strips(part)) / stiffest) ** 0.25)


def _strips(part: Part) -> tuple[float, float]:
    return part.strips or (0.0, 0.0)


def _thickness(part: Part) -> float:
    return part.thickness or 0.0


def _corners(part: Part) -> FloatArray:
    return np.zeros((0, 2)) if part.outline is None else part.outline


def _outline(part: Part) -> BaseGeometry:
    return shapely.Polygon(_corners(part))


def _lifted(flat: FloatArray, patch: Patch) -> FloatArray:
    """Places seen along the tool's z axis, shape (p, 2), on the face of a pad, shape (p, 3)."""
    return np.hstack([flat, np.full((len(flat), 1), patch.edge[:, 2].mean())])


def _rings(shape: BaseGeometry) -> list[BaseGeometry]:
    return [ring for each in shapely.get_parts(shape) for ring in (each.exterior, *each.interiors)]
