"""By how much a part that bends raises the stress at the pads' edges, over what a rigid part asks of them.

The part is a uniform thin plate that lies on the pads' backing, a Winkler layer: ``D lap^2 w + k w = q``, solved by
Ritz's method (`gripmargin.kernels.plate`). For every motion of the gripper the load on it is affine over the face, so
six loads tell for all of them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.backing import Backing
from gripmargin.contact.cells import Patch
from gripmargin.kernels.plate import Polynomials, triangle_rule
from gripmargin.kernels.wrench import mass_matrix
from gripmargin.workcell import Part
from gripmargin.workcell.part import uniform_plate

DEGREE, LOWER = 16, 12  # of the polynomials; what those above the lower add stands for all that are left out
UNIFORM = 0.05  # share by which a part's mass moments may differ from those of the plate
LEVEL = 1e-6  # [-], [m] by which pads may be out of the tool's xy plane
ANY_RATIO = (0.0, 0.5)  # Poisson's ratio lies between; bending adds most at one of them
COARSE = 0.004  # share of the part's size by which corners of its outline may be rounded off


def is_uniform_plate(part: Part) -> bool:
    """Whether centre of mass and inertia are those of a uniform plate of the part's outline and thickness."""
    if part.outline is None or part.thickness is None:
        return False
    com, inertia = uniform_plate(part.mass, part.outline, part.thickness)
    moment = float(np.trace(inertia)) / 2
    apart = np.abs(part.com - com)
    is_alike = float(np.abs(part.inertia - inertia).max()) <= UNIFORM * moment
    is_central = float(apart[:2].max()) <= UNIFORM * np.sqrt(moment / part.mass) and apart[2] <= part.thickness / 2
    return is_alike and bool(is_central)


def are_level(patches: Sequence[Patch]) -> bool:
    """Whether all pads lie in the tool's xy plane and face along its z axis."""
    return all(
        patch.rotation[2, 2] > 1.0 - LEVEL and abs(float(patch.pad.pose_in_tool[2, 3])) <= LEVEL for patch in patches
    )


def overhang(patches: Sequence[Patch], outline: FloatArray) -> float:
    """Return how far the part reaches beyond its pads [m].

    Args:
        patches: The pads on the part.
        outline: Of the part, in the tool frame [m], shape (k, 2).
    """
    held = shapely.union_all([shapely.Polygon(patch.edge[:, :2]) for patch in patches])
    return float(shapely.distance(shapely.points(outline), held).max())


def edge_stress_factor(patches: Sequence[Patch], strengths: Sequence[tuple[float, float]], part: Part) -> float:
    """Return by which factor bending raises the use of the pads' edges at most, whatever the motion of the gripper.

    What bending adds to the tension at a point of the edge is compared with the root mean square of the use of all
    points by a rigid part, which is never above the largest.

    Args:
        patches: Of pads in the tool's xy plane (`are_level`).
        strengths: For each patch its pull-off stress and its shear strength [Pa].
        part: A uniform plate (`is_uniform_plate`) with its modulus.

    Returns:
        1 for a rigid part, inf for one without a modulus [-].
    """
    if part.outline is None or part.thickness is None or part.youngs_modulus is None:
        return np.inf
    backing = Backing(tuple(patches))
    maps, owner = backing.edge_maps(strengths)
    rigid = maps @ mass_matrix(part.mass, *uniform_plate(part.mass, part.outline, part.thickness))
    per_deflection = np.array(
        [patch.pad.material.normal_stiffness / pull for patch, (pull, _) in zip(patches, strengths, strict=True)]
    )
    mean_square = np.linalg.inv(np.einsum("api,apj->ij", rigid, rigid) / owner.size)
    most = 0.0
    for deflections in _deflections(backing, part, part.outline, part.thickness, part.youngs_modulus):
        added = per_deflection[owner, None] * deflections - rigid[2]
        whole, lower = np.sqrt(np.einsum("dpi,ij,dpj->dp", added, mean_square, added).max(axis=1))
        most = max(most, float(whole + abs(whole - lower)))
    return 1.0 + most + _indented(patches, part.youngs_modulus)


def _deflections(
    backing: Backing, part: Part, outline: FloatArray, thickness: float, modulus: float
) -> Iterator[FloatArray]:
    """Yield how the pads' edge points deflect for each unit of acceleration of the tool origin, shape (2, points, 6).

    With all polynomials and with the lower ones alone; once for each Poisson's ratio that the part may have. Shear acts
    on the face, half the thickness off the middle plane, and bends the plate too.
    """
    form, points, masses, areas = _shapes(part, outline)
    foundation = _foundation(form, backing)
    load = _inertia(form, points, masses, thickness)
    wrenches = mass_matrix(part.mass, *uniform_plate(part.mass, outline, thickness))
    for patch in backing.patches:
        at, weights = patch.points[:, :2], patch.areas[:, None]
        shear = np.einsum("ij,jpk->ipk", patch.rotation, backing.traction_maps(patch, patch.points) @ wrenches)[:2]
        for slope, along in zip((form.at(at, 1, 0), form.at(at, 0, 1)), shear, strict=True):
            load -= thickness / 2.0 * slope.T @ (weights * along)
    edge = form.at(backing.edge_points()[:, :2])
    for ratio in ANY_RATIO if part.poissons_ratio is None else (part.poissons_ratio,):
        rigidity = modulus * thickness**3 / 12.0 / (1.0 - ratio**2)
        stiffness = foundation + form.bending(points, areas, rigidity, ratio)
        found = []
        for few in (form.degrees <= DEGREE, form.degrees <= LOWER):
            found.append(edge[:, few] @ np.linalg.solve(stiffness[np.ix_(few, few)], load[few]))
        yield np.stack(found)


def frequency_factor(patches: Sequence[Patch], part: Part) -> float:
    """Return by which factor bending lowers the frequency of a part's slowest pull or rocking on its pads.

    The three slowest vibrations of plate and backing (Rayleigh and Ritz, from memory) over those of a rigid plate.

    Args:
        patches: Of pads in the tool's xy plane (`are_level`).
        part: A uniform plate (`is_uniform_plate`) with its modulus.

    Returns:
        At most 1, for a rigid part [-].
    """
    from scipy.linalg import eigh  # noqa: PLC0415 - 0.1 s that only parts which may bend pay

    if part.outline is None or part.thickness is None or part.youngs_modulus is None:
        return 0.0
    form, points, masses, areas = _shapes(part, part.outline)
    shapes, turning = form.at(points), part.thickness**2 / 12.0
    mass = shapes.T @ (masses[:, None] * shapes)
    for slope in (form.at(points, 1, 0), form.at(points, 0, 1)):
        mass += turning * slope.T @ (masses[:, None] * slope)
    foundation = _foundation(form, Backing(tuple(patches)))
    few = form.degrees <= 1
    rigid = eigh(foundation[np.ix_(few, few)], mass[np.ix_(few, few)], eigvals_only=True)
    ratio = 0.0 if part.poissons_ratio is None else part.poissons_ratio
    bending = form.bending(points, areas, part.youngs_modulus * part.thickness**3 / 12.0 / (1.0 - ratio**2), ratio)
    plate = eigh(foundation + bending, mass, eigvals_only=True, subset_by_index=[0, 2])
    return float(np.sqrt(np.clip(plate / rigid, 0.0, 1.0)).min())


def _shapes(part: Part, outline: FloatArray) -> tuple[Polynomials, FloatArray, FloatArray, FloatArray]:
    """The polynomials over a plate, points of a quadrature over it [m], and their masses [kg] and areas [m^2]."""
    plate = shapely.Polygon(outline).simplify(COARSE * float(np.ptp(outline, axis=0).max()))
    corners = shapely.get_coordinates(shapely.get_parts(shapely.constrained_delaunay_triangles(plate)))
    points, areas = triangle_rule(corners.reshape(-1, 4, 2)[:, :3], DEGREE)
    return Polynomials(np.array(plate.bounds), DEGREE), points, part.mass / plate.area * areas, areas


def _foundation(form: Polynomials, backing: Backing) -> FloatArray:
    """What the pads' backing resists, for each pair of polynomials [N/m]."""
    out = np.zeros((form.degrees.size, form.degrees.size))
    for patch in backing.patches:
        here = form.at(patch.points[:, :2])
        out += patch.pad.material.normal_stiffness * here.T @ (patch.areas[:, None] * here)
    return out


def _inertia(form: Polynomials, points: FloatArray, masses: FloatArray, thickness: float) -> FloatArray:
    """Loads of unit accelerations of the tool origin: along the normal, and by the turning of the cross-sections."""
    load = np.zeros((form.degrees.size, 6))
    turning = thickness**2 / 12.0
    load[:, 2] = form.at(points).T @ masses
    load[:, 3] = form.at(points).T @ (masses * points[:, 1]) + turning * form.at(points, 0, 1).T @ masses
    load[:, 4] = -form.at(points).T @ (masses * points[:, 0]) - turning * form.at(points, 1, 0).T @ masses
    return load


def _indented(patches: Sequence[Patch], modulus: float) -> float:
    """What the part gives way right below a pad, over what the backing does.

    Under an even pressure p on a circle of radius a the middle of a half-space sinks by 2 p a / E and its rim by
    4 p a / (pi E), Poisson's ratio 0 (Johnson, Contact Mechanics, 1985, sec. 3.4, from memory).
    """
    radii = np.array([np.sqrt(patch.area / np.pi) for patch in patches])
    stiffness = np.array([patch.pad.material.normal_stiffness for patch in patches])
    return float((stiffness * radii).max() * (2.0 - 4.0 / np.pi) / modulus)
