"""What checks take for granted of part and pads, and what is known of it: a pass counts only where all of it holds.

A premise is a function of the case; `gripmargin.checks.check.Judged` names those that a result rests on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import shapely

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import BudgetError
from gripmargin.base.stored import columns
from gripmargin.checks.case import Case
from gripmargin.checks.dents import dented, dented_at_once, dented_beside, dented_in_a_stop, unbuckled
from gripmargin.checks.not_given import air_left_out, air_taken_along, narrow
from gripmargin.checks.standing import Premise, Standing, grips_without
from gripmargin.contact.bending import SLIGHT, STIFF, are_level, edge_stress_factor, overhang
from gripmargin.contact.film import Film
from gripmargin.contact.grip import Grip
from gripmargin.contact.handover import Release
from gripmargin.contact.lying import highest_tension, lies_flat
from gripmargin.contact.sheet import Sheet
from gripmargin.contact.sheet_vibration import left_out, shaken
from gripmargin.kernels.utilisation import peak_utilisation


def plane_face(case: Case) -> Standing:
    """Whether the part's face is plane: only the job can say so."""
    face = case.job.part.face
    if face == "plane":
        return Standing()
    if face == "curved":
        return Standing(doubts=("the part's face is curved; only plane faces are judged",))
    return Standing(doubts=('whether the part\'s face is plane is not known: state part.face = "plane" if it is',))


def bending(case: Case) -> Standing:
    """Whether it is known how the part bends: not at all, as the job says, or as a plate that is worked out.

    Where it does, the press that bonded the pads has to be known too.
    """
    known = case.shared(_alone)
    return known if known.doubts or not case.shared(bends) else replace(known, doubts=case.shared(pressed_flat).doubts)


def bends(case: Case) -> bool:
    """Whether the part bends so much that it counts, as a plate or as a factor on a rigid part's figures."""
    return case.grip.bonded.sheet is not None or case.shared(_alone).factor != 1.0


def pressed_flat(case: Case) -> Standing:
    """Whether the pads press on the part in its tray as on a rigid one: it is, or it lies on a bed."""
    known, pickup = case.shared(_alone), case.pickup
    if known.doubts or pickup is None or not case.shared(bends):
        return replace(known, factor=1.0)
    where = pickup.relative.rotation[-1], pickup.relative.position[-1]
    return Standing(doubts=_not_flat(case, "pick", pickup.pick.bed, *where))


def let_go_flat(case: Case) -> Standing:
    """Whether the pads leave the part in its nest as a rigid one: it is, or it stays flat on a bed."""
    known = case.shared(_alone)
    if known.doubts or not case.shared(bends):
        return replace(known, factor=1.0)
    doubts: list[str] = []
    for down in case.putdowns:
        where = down.relative.rotation[0], down.relative.position[0]
        doubts += _not_flat(case, "nest", down.nest.bed, *where)
        if isinstance(down, Release) and not doubts and not down.taken_along:
            doubts += _pulled_up(case, down)
    return Standing(doubts=tuple(dict.fromkeys(doubts)))


def handed_over_flat(case: Case) -> Standing:
    """Whether both hold."""
    found = case.shared(pressed_flat), case.shared(let_go_flat)
    return Standing(doubts=tuple(dict.fromkeys(doubt for standing in found for doubt in standing.doubts)))


def not_bent_in_between(case: Case) -> Standing:
    """Whether both hold of a part of which it is known that it bends; of another one nothing is asked."""
    return Standing() if case.shared(_alone).doubts else case.shared(handed_over_flat)


def _not_flat(
    case: Case, table: str, bed: FloatArray | None, rotation: FloatArray, position: FloatArray
) -> tuple[str, ...]:
    part, place = case.job.part, {"pick": "tray", "nest": "nest"}[table]
    if bed is None:
        said = (
            f"the part bends, and what it lies on in its {place} is not known: state {table}.bed, the flat solid area"
        )
        return (f"{said} beneath it, or part.rigid = true if its bending can be neglected",)
    if lies_flat(part, case.whole.patches, bed, rotation, position):
        return ()
    said = f"the part bends where its {place} does not carry it: {table}.bed has to reach beneath all pads"
    return (f"{said} and components, these on the pads' side, and twice as far beyond pads as the part overhangs it",)


def _pulled_up(case: Case, release: Release) -> tuple[str, ...]:
    """Why pads that leave a part bend it; it lies flat once they pull nowhere more than what keeps it down."""
    job, nest, part = case.job, release.nest, case.job.part
    outline = shapely.Polygon(part.outline)
    weight = float(job.gravity @ nest.face[:3, 2]) * (part.mass - sum(each.mass for each in part.components))
    down = -weight / outline.area
    if nest.hold_down_even:
        down += nest.hold_down / outline.area
    pull = highest_tension(release.faces, release.relative, release.history)
    held = release.history.held_total[release.history.row_of_sample] > 0.0
    if not held.any():
        return ()
    flat = np.logical_or.accumulate((pull <= max(down, 0.0)) & held)
    if flat.any() and not (pull[flat] > max(down, 0.0)).any():
        return ()
    most = float(pull[flat].max()) if flat.any() else float(pull.max())
    said = (
        f"the pads pull at the part with up to {1e-3 * most:.2g} kPa while they let go, and {1e-3 * down:.2g} kPa keep"
    )
    helps = "let go by a twist or a slide while the pads press, or hold it down evenly (nest.hold_down_even)"
    return (f"{said} it down: it bends with them, which is not followed; {helps}",)


def _alone(case: Case) -> Standing:
    return _bending(case, case.grip, "")


def bending_without_a_pad(case: Case) -> Standing:
    """Whether the same is known with any one of its pads gone."""
    found = [_bending(case, grip, " with a pad gone") for grip in grips_without(case)] or [Standing()]
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
    return _bounded(case, case.shared(bending_without_a_pad), grips_without(case))


def leaving(case: Case) -> Standing:
    """Whether it is known how the part bends as it leaves its tray; a label's pull is bounded where it is asked for."""
    known, pick = case.shared(bending), case.job.pick
    return known if pick is None or pick.peel_energy is None else replace(known, stretched=0.0)


def _bounded(case: Case, known: Standing, grips: Sequence[Grip]) -> Standing:
    is_bounded = not case.pushes and all(grip.film is not None and bool(grip.film.strengths) for grip in grips)
    return replace(known, bounded=is_bounded, doubts=known.doubts + case.shared(air_left_out))


def swinging(case: Case) -> Standing:
    """Whether it is known how the part swings: as a rigid one, or as a plate that bends as loads at rest bend it."""
    known, sheet = case.shared(bending), case.grip.bonded.sheet
    if known.doubts or sheet is None:
        return known
    t, load = case.job.trajectory.t[case.carried], columns(case.load, case.carried)
    factor = max(left_out(sheet, case.grip), shaken(sheet, case.grip, t, load) if t.size else 1.0)
    if factor <= STIFF:
        return replace(known, factor=factor)
    said = f"the part flaps in more ways than are followed, which may load the pads {factor:.2f} times as much"
    return Standing(doubts=(f"{said}; a stiffer part, or more pads beneath it, would help",))


def begun_at_rest(case: Case) -> Standing:
    """Whether it is known what the part swings by when it is first carried: torn off a tray, or by a tool at rest.

    A file that begins in the middle of a motion does not tell.
    """
    if case.carried.size == 0 or case.pickup is not None or BEGINS in case.job.accept:
        return Standing()
    tool, first = case.motion.at, case.motion.at.take(case.carried[:1])
    for rates, unit in (("velocity", "m/s"), ("angular_velocity", "rad/s")):
        speed = float(np.linalg.norm(getattr(first, rates)))
        if speed > 0.0 and speed > SETS_OFF * tool.largest(rates, case.carried):
            at = case.place(int(case.carried[0])).t
            said = f"the part is first carried at {at:.3f} s, by a tool that moves at {speed:.2g} {unit} already"
            helps = f'begin at a rest, give [pick], or state job.accept = ["{BEGINS}"] where it hung still'
            return Standing(doubts=(f"{said}, and what it swings by then is not known: {helps}",))
    return Standing()


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


def _bending(case: Case, grip: Grip, when: str) -> Standing:
    part, bonded = case.job.part, grip.bonded
    patches = bonded.whole.patches
    is_known = part.outline is not None and part.strips is not None
    is_plate = is_known and part.is_plate and are_level(patches)
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
        Sheet.on(bonded.whole, part, bonded.places)  # what cannot be solved is no rigid part
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
    bonded, part = grip.bonded, case.job.part
    if part.components and part.drag_area is not None:
        said = "the air presses on all of the part and not, as is worked out, where its components weigh"
        return Standing(doubts=(f"{said}; leave out part.drag_area if it moves slowly",))
    if bonded.offset is not None or any(float(share.min()) <= 0.0 for share in bonded.left):
        return Standing(doubts=(f"the part bends{when}, on pads that did not bond everywhere: that is not judged",))
    loads = columns(case.load, case.carried)
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


def dented_where_known(case: Case) -> Standing:
    """Whether it is known what they do there; how much is counted by who asks."""
    return Standing(doubts=case.shared(dented).doubts)


def measured_contact(case: Case) -> Standing:
    """Whether every contact is as wide as what its material's data was measured for."""
    said = [narrow(patch) for patch in case.whole.patches]
    return Standing(doubts=tuple(filter(None, said)))


def measured_dirt(case: Case) -> Standing:
    """Whether pads as dirty as they are were pulled, where their material has a record of pulls, and were cleaned."""
    picks, doubts = case.job.gripper.cycles_since_cleaning, dict.fromkeys(case.job.uncleaned)
    for material in (pad.material for pad in case.job.gripper.pads):
        most = material.pulled_up_to
        if picks > most:
            said = f"how strong '{material.name}' is after {picks:g} picks is not known: it was pulled after up to"
            doubts[f"{said} {most:g} (pulls); clean sooner, or pull dirtier pads"] = None
    return Standing(doubts=tuple(doubts))


def in_air(case: Case) -> Standing:
    """Whether the air that a flat part takes along counts, or is little beside its mass."""
    return Standing(doubts=case.shared(air_taken_along))


BEGINS: Final = "moving_start"
SETS_OFF: Final = 0.01  # share of its highest speed below which a tool stands still (no source)
PADS: tuple[Premise, ...] = (measured_contact, measured_dirt, unbuckled)
ALL: tuple[Premise, ...] = (plane_face, stiff_part, in_air, *PADS)
HOLDING: tuple[Premise, ...] = (plane_face, hanging, dented, *PADS)
LEAVING: tuple[Premise, ...] = (plane_face, leaving, in_air, dented_beside, *PADS)
SWINGING: tuple[Premise, ...] = (plane_face, swaying, begun_at_rest, dented, *PADS)
STOPPING: tuple[Premise, ...] = (plane_face, swinging, begun_at_rest, in_air, dented_in_a_stop, *PADS)
DROOPING: tuple[Premise, ...] = (plane_face, swinging, begun_at_rest, in_air, *PADS)
RECORDED: tuple[Premise, ...] = (
    plane_face,
    stiff_part,
    begun_at_rest,
    in_air,
    dented_at_once,
    *PADS,
)  # what shakes a robot is in no program
