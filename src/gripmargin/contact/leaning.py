"""How hard a pad can press that leans against the face and is dragged along it while its cells hold.

Where the pad leans by theta, and the root of a bonded cell has gone on by d along the lean since it bonded, the cell
presses by (k_n - k_t) d sin theta cos theta more: the part of its force along the face normal. Which cells still hold
after some broke and were pressed on again is not known to the cell, nor since when. So the root counts from the worst
of the places where the cell may have bonded, and goes no further than a full bond bears.
"""

from __future__ import annotations

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.activation import PadFace
from gripmargin.contact.relative import RelativeMotion
from gripmargin.kernels.springs import free_contact

AT_ONCE = 1_000_000  # pairs of places that are compared at a time: memory alone


def pressure_of_corners(face: PadFace, relative: RelativeMotion) -> tuple[FloatArray, FloatArray]:
    """Return the pressure under the corners of a pad: by its depth alone, and the most that a bond makes of it.

    Args:
        face: The pad.
        relative: The tool in the face frame, n samples; at the first the pad may hold already.

    Returns:
        Both [Pa], below 0 where a corner is off the face, shape (n, p).
    """
    material, normal = face.patch.pad.material, relative.rotation @ face.patch.rotation[:, 2]
    free, _ = free_contact(
        relative.rotation, face.patch.rotation[:, 2], material.normal_stiffness, material.shear_stiffness
    )
    height = relative.height(face.patch.edge)
    by_depth = -height * np.maximum(free, material.normal_stiffness)[:, None]
    gain = (material.shear_stiffness - material.normal_stiffness) * normal[:, 2:] * normal[:, :2]  # [Pa/m], (n, 2)
    bears = np.linalg.norm(gain / normal[:, 2:], axis=1) * face.shear_strength / material.shear_stiffness
    most = by_depth.copy()
    at_first = max(0.0, float((-(face.stretched @ relative.rotation[0, :2].T) @ gain.T).max(initial=0.0)))
    places = np.einsum("nij,pj->pni", relative.rotation[:, :2], face.patch.edge) + relative.position[None, :, :2]
    for corner, (place, z) in enumerate(zip(places, height.T, strict=True)):
        bonds = np.flatnonzero((z < 0.0) | (np.arange(z.size) == 0))
        looked = np.flatnonzero(by_depth[:, corner] + bears > by_depth.max())
        for some in np.array_split(looked, looked.size * bonds.size // AT_ONCE + 1):
            from_where = gain[some] @ place[bonds].T
            here = np.einsum("ij,ij->i", gain[some], place[some])
            least = np.min(from_where, axis=1, where=bonds <= some[:, None], initial=np.inf)
            further = np.maximum(here - least, 0.0) + at_first
            most[some, corner] += np.minimum(further, bears[some])
    return by_depth, most
