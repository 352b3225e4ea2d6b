"""What checks take for granted of part and pads, and what is known of it: a pass counts only where all of it holds.

A premise is a function of the case; `gripmargin.checks.check.Judged` names those that a result rests on.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from gripmargin.base.errors import BudgetError
from gripmargin.checks import plausible
from gripmargin.checks.case import Case
from gripmargin.contact.bending import SLIGHT, STIFF, are_level, edge_stress_factor, is_uniform_plate, overhang
from gripmargin.contact.cells import Patch
from gripmargin.contact.film import STRETCHED, Film
from gripmargin.contact.grip import Grip, without
from gripmargin.contact.loads import FLAT_PLATE, air_load
from gripmargin.contact.sheet import Sheet
from gripmargin.contact.sheet_vibration import left_out, shaken
from gripmargin.kernels.utilisation import peak_utilisation
from gripmargin.results.findings import CheckResult, Verdict, judge

AIRY = 1.1  # on the use of the pads, up to which air that is not counted is left to the targets
FIBRILS = 10.0  # across a contact, from which the face is a face and not some of its fibrils


@dataclass(frozen=True, kw_only=True)
class Standing:
    """What is known of a premise.

    Attributes:
        doubts: Why it is not known to hold and what would show it, a sentence each; none: it holds.
        factor: By which it may raise the use of the pads where it holds nearly [-].
        stretched: Share of its energy that stretches a part which bends, at a use of 1; grows with the square of that.
        droop: Of that part at a use of 1 [m]; grows with it.
        bounded: Whether the use is known to be below a bound, however much it is stretched.
    """

    doubts: tuple[str, ...] = ()
    factor: float = 1.0
    stretched: float = 0.0
    droop: float = 0.0
    bounded: bool = False

    def open(self, result: CheckResult) -> tuple[str, ...]:
        """Return why a margin that is no failure is not shown, for the part is stretched as well as bent."""
        most = 1.0 / result.low if result.low else 0.0
        if not self.bounded:
            return self.drooping(most)
        return () if result.verdict is Verdict.PASS else self.drooping(1.0 / result.value if result.value else most)

    def drooping(self, use: float) -> tuple[str, ...]:
        """Return why a use of the pads is not known, for it takes much energy to stretch the part as well."""
        if self.stretched * use * use <= STRETCHED:
            return ()
        droop = 1e3 * self.droop * use
        how = "so its pull at the pads is only known to stay below a bound" if self.bounded else "which is not followed"
        return (
            f"the part droops by {droop:.2g} mm, so far that it is stretched as well as bent, {how}; a gentler "
            "program, a thicker part, or pads further out beneath it would help",
        )


Premise = Callable[[Case], Standing]


def plane_face(case: Case) -> Standing:
    """Whether the part's face is plane: only the job can say so."""
    face = case.job.part.face
    if face == "plane":
        return Standing()
    if face == "curved":
        return Standing(doubts=("the part's face is curved; only plane faces are judged",))
    return Standing(doubts=('whether the part\'s face is plane is not known: state part.face = "plane" if it is',))


def bending(case: Case) -> Standing:
    """Whether it is known how the part bends: not at all, as the job says, or as a plate that is worked out."""
    return _bending(case, case.grip, "")


def bending_without_a_pad(case: Case) -> Standing:
    """Whether the same is known with any one of its pads gone."""
    found = [_bending(case, grip, " with a pad gone") for grip in _grips_without(case)] or [Standing()]
    doubts = [doubt for standing in found for doubt in standing.doubts]
    worst, factor = max(found, key=lambda each: each.stretched), max(each.factor for each in found)
    return replace(worst, factor=factor, doubts=tuple(doubts[:1]))


def hanging(case: Case) -> Standing:
    """Whether it is known how the part bends, or how much it asks of the pads at most."""
    return _bounded(case, case.shared(bending), [case.grip])


def swaying(case: Case) -> Standing:
    """Whether it is known how the part swings, or how much it then asks of the pads at most."""
    return _bounded(case, case.shared(swinging), [case.grip])


def hanging_without_a_pad(case: Case) -> Standing:
    """The same with any one of its pads gone."""
    return _bounded(case, case.shared(bending_without_a_pad), _grips_without(case))


def _bounded(case: Case, known: Standing, grips: Sequence[Grip]) -> Standing:
    is_bounded = all(grip.film is not None and bool(grip.film.strengths) for grip in grips)
    return replace(known, bounded=is_bounded, doubts=known.doubts + case.shared(_air_left_out))


def _air_left_out(case: Case) -> tuple[str, ...]:
    """Why a sheet without a drag area is not judged: the air would load its pads far more than is counted."""
    part, motion = case.job.part, case.motion.at.take(case.carried)
    if part.outline is None or part.drag_area is not None or case.grip.bonded.sheet is None:
        return ()
    airy = replace(part, drag_area=FLAT_PLATE * float(shapely.Polygon(part.outline).area))
    load = case.load[:, case.carried]
    drag, added = air_load(airy, motion, case.job.air_density)
    most, counted = (float(peak_utilisation(case.grip.face, each)[0].max()) for each in (load + drag + added, load))
    if most <= AIRY * counted:
        return ()
    more = most / counted if counted else np.inf
    due = f"give part.drag_area, {FLAT_PLATE:g} times the area of a flat part, {1e4 * (airy.drag_area or 0.0):.4g} cm2"
    return (f"the air is not counted, which would load the pads {more:.2g} times as much: {due}",)


def _grips_without(case: Case) -> list[Grip]:
    pads = range(len(case.whole.patches))
    return [without(case.grip, lost, case.load[:, case.carried]) for lost in pads[1:] and pads]


def swinging(case: Case) -> Standing:
    """Whether it is known how the part swings: as a rigid one, or as a plate that bends as loads at rest bend it."""
    known, sheet = case.shared(bending), case.grip.bonded.sheet
    if known.doubts or sheet is None:
        return known
    t, load = case.job.trajectory.t[case.carried], case.load[:, case.carried]
    factor = max(left_out(sheet, case.grip), shaken(sheet, case.grip, t, load) if t.size else 1.0)
    if factor <= STIFF:
        return replace(known, factor=factor)
    said = f"the part flaps in more ways than are followed, which may load the pads {factor:.2f} times as much"
    return Standing(doubts=(f"{said}; a stiffer part, or more pads beneath it, would help",))


def stiff_part(case: Case) -> Standing:
    """Whether the part counts as rigid, because the job says so or as a plate that bends little."""
    known = case.shared(bending)
    if known.doubts or case.grip.bonded.sheet is None:
        return known
    factor = edge_stress_factor(case.whole.patches, case.grip.bonded.full, case.job.part)
    if factor <= STIFF:
        return known
    more = f"more than the {STIFF:g} times up to which a part that bends is judged here"
    helps = "a stiffer part, a softer backing or more pads beneath it would help"
    return Standing(doubts=(f"the part bends: {_reaches(case, case.grip, factor)}, {more}; {helps}",))


def lying(case: Case) -> Standing:
    """Whether the part lies in its tray as a rigid one: it is one, or a label flat on its liner."""
    return Standing() if _on_a_liner(case) else case.shared(stiff_part)


def leaving(case: Case) -> Standing:
    """Whether it is known how the part bends as it leaves its tray; a label is followed off its liner as a plate."""
    return replace(case.shared(bending), stretched=0.0) if _on_a_liner(case) else case.shared(stiff_part)


def _on_a_liner(case: Case) -> bool:
    return case.job.pick is not None and case.job.pick.peel_energy is not None


def _bending(case: Case, grip: Grip, when: str) -> Standing:
    part, bonded = case.job.part, grip.bonded
    patches = bonded.whole.patches
    is_known = part.outline is not None and part.thickness is not None and part.youngs_modulus is not None
    is_plate = is_known and is_uniform_plate(part) and are_level(patches)
    if not is_plate and part.rigid:
        return Standing()
    state = "state part.rigid = true if its bending can be neglected"
    if not is_known:
        proof = "give part.outline, part.thickness and part.youngs_modulus of a plate"
        return Standing(doubts=(f"whether the part bends is not known: {state}, or {proof}",))
    if not is_plate:
        level = are_level(patches)
        why = "its mass is not that of a uniform plate" if level else "the pads are not in the tool's xy plane"
        return Standing(doubts=(f"whether the part bends is not known, for {why}: {state}",))
    try:
        factor = edge_stress_factor(patches, bonded.full, part)
    except BudgetError as error:
        return Standing(doubts=(str(error),))
    if part.rigid and factor > STIFF:
        said = f"part.rigid = true, yet by its thickness and modulus the part bends{when}"
        helps = "leave out part.rigid, or part.youngs_modulus if ribs or a frame stiffen it"
        return Standing(doubts=(f"{said}: {_reaches(case, grip, factor)}; {helps}",))
    if bonded.sheet is not None:
        return _as_a_plate(case, grip, bonded.sheet, when)
    return Standing(factor=factor if factor > SLIGHT and not part.rigid else 1.0)  # taken as rigid, on uneven pads


def _as_a_plate(case: Case, grip: Grip, sheet: Sheet, when: str) -> Standing:
    """How far small bending tells what a part does that bends."""
    bonded = grip.bonded
    if bonded.offset is not None or any(float(share.min()) <= 0.0 for share in bonded.left):
        return Standing(doubts=(f"the part bends{when}, on pads that did not bond everywhere: that is not judged",))
    loads = case.load[:, case.carried]
    use = peak_utilisation(grip.face, loads)[0]
    worst = int(np.argmax(use))
    if not use[worst] > 0.0:
        return Standing()
    known = grip.film or Film.of(sheet, (), grip.face, loads)
    return Standing(stretched=known.stretched, droop=sheet.droop(loads[:, worst] / use[worst]))


def _reaches(case: Case, grip: Grip, factor: float) -> str:
    outline = case.job.part.outline
    reach = 0.0 if outline is None else 1e3 * overhang(grip.whole.patches, outline)
    return (
        f"it reaches {reach:.0f} mm beyond its pads and may load their edges {factor:.1f} times as much as a rigid part"
    )


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
HOLDING: tuple[Premise, ...] = (plane_face, hanging, measured_contact)
SWINGING: tuple[Premise, ...] = (plane_face, swaying, measured_contact)
STOPPING: tuple[Premise, ...] = (plane_face, swinging, measured_contact)
LYING: tuple[Premise, ...] = (plane_face, lying, measured_contact)
LEAVING: tuple[Premise, ...] = (plane_face, leaving, measured_contact)
RECORDED: tuple[Premise, ...] = (plane_face, stiff_part, measured_contact)  # what shakes a robot is in no program


def raised(case: Case, premises: Iterable[Premise]) -> float:
    """Return the factor by which premises that hold nearly may raise the use of the pads [-]."""
    return float(np.prod([case.shared(premise).factor for premise in premises]))


def resting_on(case: Case, premises: Sequence[Premise], result: CheckResult) -> CheckResult:
    """Return a result as far as its premises hold: a pass is undecided where one is in doubt, and says so.

    Where one holds nearly, the least value that a margin may have falls by its factor. Of a part that bends so far that
    it is stretched neither a pass nor a failure is shown.
    """
    standing = [case.shared(premise) for premise in (meant, *premises)]
    low, high = (figure if result.measure == "margin" else None for figure in (result.low, result.high))
    if result.verdict is Verdict.FAIL:
        spared = [doubt for each in standing for doubt in (each.drooping(1.0 / high) if high else ())]
        return replace(result, verdict=Verdict.UNDECIDED, doubts=tuple(spared)) if spared else result
    doubts = tuple(doubt for each in standing for doubt in each.doubts)
    doubts += tuple(doubt for each in standing for doubt in (each.open(result) if low else ()))
    factor = raised(case, premises)
    verdict: Verdict = Verdict.UNDECIDED if doubts else result.verdict
    if low is not None and factor != 1.0:
        low = low / factor
        if verdict is Verdict.PASS:
            verdict = judge(low, low if high is None else high, result.target)
            if verdict is not Verdict.PASS:
                doubts = (
                    f"flapping of the part may load the pads {factor:.2f} times as much as what is followed of it",
                )
    held = replace(result, verdict=verdict, low=low if result.measure == "margin" else result.low, doubts=doubts)
    too_low = plausible.passes_too_low(held) if "target" not in case.job.accept else ()
    return replace(held, verdict=Verdict.UNDECIDED, doubts=too_low) if too_low else held
