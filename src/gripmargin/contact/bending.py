"""By how much a part that bends raises the stress at the pads' edges, over what a rigid part asks of them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.backing import Backing
from gripmargin.contact.cells import Patch
from gripmargin.contact.sheet import Sheet, indented
from gripmargin.workcell import Part

Strengths = Sequence[tuple[float, float]]

SLIGHT = 1.01  # factor on the use of the pads' edges up to which a part counts as rigid: they are not known better
STIFF = 1.5  # factor up to which what bending adds is a correction of the rigid part's figures
LEVEL = 1e-6  # [-], [m] by which pads may be out of the tool's xy plane


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


def sheet_on(
    backing: Backing,
    strengths: Strengths,
    part: Part,
    *,
    even: bool = True,
    places: Sequence[tuple[float, float]] = (),
) -> Sheet | None:
    """Return a part as it bends on its pads; None where it counts as rigid, or is not known to be a plate on a plane.

    Args:
        backing: The pads.
        strengths: For each its pull-off stress and its shear strength [Pa].
        part: The part.
        even: Whether the pads are bonded alike everywhere. On others a part that bends little is taken as rigid, with
            what bending adds as a factor: that tells which cells may let go without harm.
        places: Where forces act, tool frame [m].

    Raises:
        BudgetError: The part is too thin and wide.
    """
    if part.rigid or part.strips is None or not part.is_plate or not are_level(backing.patches):
        return None
    factor = edge_stress_factor(backing.patches, strengths, part)
    return Sheet.on(backing, part, places) if factor > (SLIGHT if even else STIFF) else None


def edge_stress_factor(patches: Sequence[Patch], strengths: Strengths, part: Part) -> float:
    """Return by which factor bending raises the use of the pads' edges at most, whatever the motion of the gripper.

    What bending adds to the tension at a point of the edge is compared with the root mean square of the use of all
    points by a rigid part, which is never above the largest.

    Args:
        patches: Of pads in the tool's xy plane (`are_level`).
        strengths: For each patch its pull-off stress and its shear strength [Pa].
        part: A plate (`Part.is_plate`) with its stiffness.

    Returns:
        1 for a rigid part, inf for one whose stiffness is not known [-].

    Raises:
        BudgetError: The part is too thin and wide.
    """
    if part.outline is None or part.strips is None:
        return np.inf
    backing = Backing(tuple(patches))
    sheet = Sheet.on(backing, part)
    rigid, owner = backing.edge_maps(strengths)
    pull = np.array([strengths[i][0] for i in owner])[:, None]
    bent = np.concatenate([sheet.traction_maps(patch, patch.edge)[:, 2] for patch in patches], axis=1) / pull
    moments = sheet.model.rigid.T @ (sheet.model.mass @ sheet.model.rigid)
    rigid, bent = rigid @ moments, bent @ moments
    mean_square = np.linalg.inv(np.einsum("api,apj->ij", rigid, rigid) / owner.size)
    added = bent - rigid[2]
    most = float(np.sqrt(np.einsum("dpi,ij,dpj->dp", added, mean_square, added).max()))
    return 1.0 + most + indented(patches, part)
