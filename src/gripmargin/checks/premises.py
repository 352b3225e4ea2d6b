"""What checks take for granted of part and pads, and what is known of it: a pass counts only where all of it holds.

A premise is a function of the case; `gripmargin.checks.check.Judged` names those that a result rests on.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from gripmargin.checks.case import Case
from gripmargin.contact.bending import are_level, edge_stress_factor, is_uniform_plate, overhang
from gripmargin.contact.cells import Patch
from gripmargin.results.findings import CheckResult, Verdict, judge

STIFF = 1.5  # factor on the use of the pads' edges up to which bending is a correction of the rigid part's figures
SLIGHT = 1.01  # factor up to which it is left out: tractions are not known better
FIBRILS = 10.0  # across a contact, from which the face is a face and not some of its fibrils


@dataclass(frozen=True, kw_only=True)
class Standing:
    """What is known of a premise.

    Attributes:
        doubt: Why it is not known to hold and what would show it, in a sentence; empty: it holds.
        factor: By which it may raise the use of the pads where it holds nearly [-].
    """

    doubt: str = ""
    factor: float = 1.0


Premise = Callable[[Case], Standing]


def plane_face(case: Case) -> Standing:
    """Whether the part's face is plane: only the job can say so."""
    face = case.job.part.face
    if face == "plane":
        return Standing()
    if face == "curved":
        return Standing(doubt="the part's face is curved; only plane faces are judged")
    return Standing(doubt='whether the part\'s face is plane is not known: state part.face = "plane" if it is')


def stiff_part(case: Case) -> Standing:
    """Whether the part counts as rigid, because the job says so or as a plate that hardly bends."""
    return _stiffness(case, range(len(case.whole.patches)), "")


def stiff_without_a_pad(case: Case) -> Standing:
    """Whether the part counts as rigid with any one of its pads gone."""
    every = range(len(case.whole.patches))
    found = [_stiffness(case, [i for i in every if i != lost], " with a pad gone") for lost in every[1:] and every]
    doubts = [standing.doubt for standing in found if standing.doubt]
    return Standing(doubt=doubts[0] if doubts else "", factor=max((each.factor for each in found), default=1.0))


def _stiffness(case: Case, kept: Sequence[int], when: str) -> Standing:
    part = case.job.part
    if part.rigid:
        return Standing()
    state = "state part.rigid = true if its bending can be neglected"
    if part.outline is None or part.thickness is None or part.youngs_modulus is None:
        proof = "give part.outline, part.thickness and part.youngs_modulus of a plate"
        return Standing(doubt=f"whether the part bends is not known: {state}, or {proof}")
    patches = [case.whole.patches[i] for i in kept]
    if not is_uniform_plate(part) or not are_level(patches):
        why = (
            "its mass is not that of a uniform plate"
            if are_level(patches)
            else "the pads are not in the tool's xy plane"
        )
        return Standing(doubt=f"whether the part bends is not known, for {why}: {state}")
    factor = edge_stress_factor(patches, [case.grip.bonded.full[i] for i in kept], part)
    if factor <= STIFF:
        return Standing(factor=factor if factor > SLIGHT else 1.0)
    reach = 1e3 * overhang(patches, part.outline)
    return Standing(
        doubt=f"the part bends{when}: it reaches {reach:.0f} mm beyond its pads and may load their edges "
        f"{factor:.1f} times as much as a rigid part, more than the {STIFF:g} times that is judged; a stiffer part, a "
        "softer backing or more pads beneath it would help"
    )


def measured_contact(case: Case) -> Standing:
    """Whether every contact is as wide as what its material's data was measured for."""
    said = [_narrow(patch) for patch in case.whole.patches]
    return Standing(doubt="; ".join(filter(None, said)))


def _narrow(patch: Patch) -> str:
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


ALL: tuple[Premise, ...] = (plane_face, stiff_part, measured_contact)


def raised(case: Case, premises: Iterable[Premise]) -> float:
    """Return the factor by which premises that hold nearly may raise the use of the pads [-]."""
    return float(np.prod([case.shared(premise).factor for premise in premises]))


def resting_on(case: Case, premises: Sequence[Premise], result: CheckResult) -> CheckResult:
    """Return a result as far as its premises hold: a pass is undecided where one is in doubt, and says so.

    Where one holds nearly, the least value that a margin may have falls by its factor.
    """
    if result.verdict is Verdict.FAIL:
        return result
    doubts = tuple(doubt for premise in premises if (doubt := case.shared(premise).doubt))
    factor = raised(case, premises)
    verdict: Verdict = Verdict.UNDECIDED if doubts else result.verdict
    if result.measure != "margin" or result.low is None or factor == 1.0:
        return replace(result, verdict=verdict, doubts=doubts)
    low = result.low / factor
    if verdict is Verdict.PASS:
        verdict = judge(low, low if result.high is None else result.high, result.target)
        if verdict is not Verdict.PASS:
            doubts = (f"bending of the part may load the pads' edges {factor:.2f} times as much as a rigid part does",)
    return replace(result, verdict=verdict, low=low, doubts=doubts)
