"""What checks take for granted of part and pads, and what is known of it: a pass counts only where all of it holds.

A premise is a function of the case; `gripmargin.checks.check.Judged` names those that a result rests on.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from gripmargin.checks import plausible
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
        doubts: Why it is not known to hold and what would show it, a sentence each; none: it holds.
        factor: By which it may raise the use of the pads where it holds nearly [-].
    """

    doubts: tuple[str, ...] = ()
    factor: float = 1.0


Premise = Callable[[Case], Standing]


def plane_face(case: Case) -> Standing:
    """Whether the part's face is plane: only the job can say so."""
    face = case.job.part.face
    if face == "plane":
        return Standing()
    if face == "curved":
        return Standing(doubts=("the part's face is curved; only plane faces are judged",))
    return Standing(doubts=('whether the part\'s face is plane is not known: state part.face = "plane" if it is',))


def stiff_part(case: Case) -> Standing:
    """Whether the part counts as rigid, because the job says so or as a plate that hardly bends."""
    return _stiffness(case, range(len(case.whole.patches)), "")


def stiff_without_a_pad(case: Case) -> Standing:
    """Whether the part counts as rigid with any one of its pads gone."""
    every = range(len(case.whole.patches))
    found = [_stiffness(case, [i for i in every if i != lost], " with a pad gone") for lost in every[1:] and every]
    doubts = [doubt for standing in found for doubt in standing.doubts]
    return Standing(doubts=tuple(doubts[:1]), factor=max((each.factor for each in found), default=1.0))


def _stiffness(case: Case, kept: Sequence[int], when: str) -> Standing:
    part, patches = case.job.part, [case.whole.patches[i] for i in kept]
    known = part.outline is not None and part.thickness is not None and part.youngs_modulus is not None
    is_plate = known and is_uniform_plate(part) and are_level(patches)
    factor = edge_stress_factor(patches, [case.grip.bonded.full[i] for i in kept], part) if is_plate else np.inf
    if factor <= STIFF:
        return Standing(factor=factor if factor > SLIGHT and not part.rigid else 1.0)
    if part.rigid and not is_plate:
        return Standing()
    if is_plate and part.outline is not None:
        reach = 1e3 * overhang(patches, part.outline)
        said = "part.rigid = true, yet by its thickness and modulus " if part.rigid else ""
        helps = "leave out part.youngs_modulus if ribs or a frame stiffen it; " if part.rigid else ""
        return Standing(
            doubts=(
                f"{said}the part bends{when}: it reaches {reach:.0f} mm beyond its pads and may load their edges "
                f"{factor:.1f} times as much as a rigid part, more than the {STIFF:g} times that is judged; {helps}"
                "a stiffer part, a softer backing or more pads beneath it would help",
            )
        )
    state = "state part.rigid = true if its bending can be neglected"
    if not known:
        proof = "give part.outline, part.thickness and part.youngs_modulus of a plate"
        return Standing(doubts=(f"whether the part bends is not known: {state}, or {proof}",))
    why = "its mass is not that of a uniform plate" if are_level(patches) else "the pads are not in the tool's xy plane"
    return Standing(doubts=(f"whether the part bends is not known, for {why}: {state}",))


def measured_contact(case: Case) -> Standing:
    """Whether every contact is as wide as what its material's data was measured for."""
    said = [_narrow(patch) for patch in case.whole.patches]
    return Standing(doubts=tuple(filter(None, said)))


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


def meant(case: Case) -> Standing:
    """Whether the job can be meant as it stands, and whether pads and part were simulated where they meet."""
    doubts = dict.fromkeys((*dict(plausible.unaccepted(case)).values(), *filter(None, [case.undone])))
    return Standing(doubts=tuple(doubts))


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
    doubts = tuple(doubt for premise in (meant, *premises) for doubt in case.shared(premise).doubts)
    factor, low = raised(case, premises), result.low
    verdict: Verdict = Verdict.UNDECIDED if doubts else result.verdict
    if result.measure == "margin" and low is not None and factor != 1.0:
        low = low / factor
        if verdict is Verdict.PASS:
            verdict = judge(low, low if result.high is None else result.high, result.target)
            if verdict is not Verdict.PASS:
                doubts = (
                    f"bending of the part may load the pads' edges {factor:.2f} times as much as a rigid part does",
                )
    held = replace(result, verdict=verdict, low=low, doubts=doubts)
    too_low = plausible.passes_too_low(held) if "target" not in case.job.accept else ()
    return replace(held, verdict=Verdict.UNDECIDED, doubts=too_low) if too_low else held
