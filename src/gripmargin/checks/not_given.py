"""What a job leaves out that would count: air on a thin part, data of its material for so narrow a contact."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely

from gripmargin.checks.case import Case
from gripmargin.contact.cells import Patch
from gripmargin.contact.loads import AT_ONCE, FLAT_PLATE, added_mass, air_load
from gripmargin.kernels.utilisation import peak_utilisation
from gripmargin.workcell import Part

AIRY = 1.1  # on the use of the pads, or on the part's mass, up to which air that is not counted is left to the targets
FIBRILS = 10.0  # across a contact, from which the face is a face and not some of its fibrils


def air_left_out(case: Case) -> tuple[str, ...]:
    """Why a sheet without a drag area is not judged: the air would load its pads far more than is counted."""
    part, counted, most = case.job.part, 0.0, 0.0
    if part.outline is None or part.drag_area is not None or case.grip.bonded.sheet is None:
        return ()
    airy = _in_air(part)
    for first in range(0, case.carried.size, AT_ONCE):
        some = case.carried[first : first + AT_ONCE]
        load = case.own_load[:, some]  # beside forces of the process the air would look small
        drag, added = air_load(airy, case.motion.at.take(some), case.job.air_density)
        counted = max(counted, float(peak_utilisation(case.grip.face, load)[0].max()))
        most = max(most, float(peak_utilisation(case.grip.face, load + drag + added)[0].max()))
    if most <= AIRY * counted:
        return ()
    more = most / counted if counted else np.inf
    return (f"the air is not counted, which would load the pads {more:.2g} times as much: {_due(airy)}",)


def air_taken_along(case: Case) -> tuple[str, ...]:
    """Why a light flat part without a drag area is not judged where it brakes: the air adds to its mass."""
    part = case.job.part
    if part.outline is None or part.drag_area is not None:
        return ()
    airy = _in_air(part)
    share = added_mass(airy, case.job.air_density) / part.mass
    if share <= AIRY - 1.0:
        return ()
    said = f"the air is not counted, of which the part takes along {share:.2g} times its own mass where it speeds up"
    return (f"{said} or brakes: {_due(airy)}",)


def _in_air(part: Part) -> Part:
    """A part with the drag area that it has if it is flat."""
    return replace(part, drag_area=FLAT_PLATE * float(shapely.Polygon(part.outline).area))


def _due(airy: Part) -> str:
    return f"give part.drag_area, {FLAT_PLATE:g} times the area of a flat part, {1e4 * (airy.drag_area or 0.0):.4g} cm2"


def narrow(patch: Patch) -> str:
    """Say that a contact is narrower than what its material's data was measured for; nothing where it is not."""
    material, width = patch.pad.material, _width(patch)
    limits = {"its backing is thick": material.backing_thickness}
    if material.fibril_pitch is not None:
        limits[f"{FIBRILS:g} of its fibrils are apart"] = FIBRILS * material.fibril_pitch
    for what, least in limits.items():
        if least is not None and width < least * (1.0 - 1e-9):
            return (
                f"pad '{patch.pad.name}' touches the part over {1e3 * width:.3g} mm, less than the {1e3 * least:.3g} "
                f"mm that {what}: outside what the data of its material was measured for"
            )
    return ""


def _width(patch: Patch) -> float:
    """The smaller side of the smallest rectangle around a contact [m]."""
    in_pad = (patch.edge - patch.pad.pose_in_tool[:3, 3]) @ patch.rotation
    corners = np.asarray(shapely.MultiPoint(in_pad[:, :2]).minimum_rotated_rectangle.exterior.coords)
    return float(np.linalg.norm(np.diff(corners[:3], axis=0), axis=1).min())
