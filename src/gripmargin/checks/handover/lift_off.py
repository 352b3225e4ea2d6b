"""The moment the part leaves its tray: weight and break-away force on the bond, at rest."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import shapely

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.advice import Trials
from gripmargin.checks.case import Case
from gripmargin.checks.handover import lift_off_words, words
from gripmargin.checks.handover.figures import Cause, LiftOffDetails, WorstLiftOff
from gripmargin.checks.handover.off_liner import off_its_liner
from gripmargin.checks.hold.explain import load_figures, spot_on_pad
from gripmargin.checks.hold.remedies import strengthened
from gripmargin.checks.hold.words import OTHERS_MAY_HOLD
from gripmargin.checks.use import inverse
from gripmargin.contact.collapse import Collapse, least_lost
from gripmargin.contact.grip import Grip, grip_of
from gripmargin.contact.locked import locked_in
from gripmargin.contact.pickup import Pickup
from gripmargin.contact.sheet import Sheet, contact_of
from gripmargin.kernels.utilisation import peak_utilisation
from gripmargin.results.findings import CheckResult, Finding, Remedy, Verdict, exact, finite, judge, on_target

RIM = 0.25, 0.125  # from place to place of a part's rim: cells beside a pad, and share of the distance from all pads


def lift_off(case: Case, pickup: Pickup, trials: Trials) -> tuple[CheckResult, tuple[Finding, ...]]:
    """Return the result, and what falls short."""
    sample, target = int(pickup.samples[-1]), case.job.targets.hold
    if pickup.pick.peel_energy is not None:
        return off_its_liner(case, pickup, trials)
    away = pickup.pick.break_away
    pull = pickup.relative.rotation[-1].T @ np.array([0.0, 0.0, -away])  # the tray keeps the part down
    load = case.standing(sample)[:, 0] + np.concatenate([pull, np.cross(case.job.part.com, pull)])
    more = load[:, None] + case.added_at(sample)  # what forces of the process do there
    load = more[:, int(peak_utilisation(case.grip.face, more)[0].argmax())]
    grip = _grip(case, pickup, load)
    used, point, _, _ = peak_utilisation(grip.face, load[:, None])
    lifted = pickup.highest_pull / pickup.restraint if pickup.restraint > 0 else math.inf
    margin = min(float(inverse(used[0])), lifted)
    place, on_pads = case.place(sample), load_figures(load)
    result = exact("lift_off", margin, target, place, LiftOffDetails(break_away=away, load=on_pads))
    why = OTHERS_MAY_HOLD if case.at_best is None else words.BOND_AGAIN
    if (sheet := grip.bonded.sheet) is not None and away > 0.0:
        least = min(
            float(inverse(held_anywhere(grip, sheet, rim_of(sheet), case.standing(sample)[:, 0], pull))), margin
        )
        if (verdict := judge(least, margin, target)) is not result.verdict:
            why = words.HELD_SOMEWHERE
        result = replace(result, low=finite(least), verdict=verdict)
    followed = on_target(lifted, target) and not grip.bonded.first_alone
    if result.verdict is not Verdict.PASS and (followed or case.at_best is not None):
        lost = least_lost(Collapse((case.at_best or grip.bonded).on_a_plane()), load, margin, target)
        most = None if lost is None else max(lost, margin)
        result = replace(result, verdict=Verdict.UNDECIDED if lost is None else Verdict.FAIL, high=most)
    if result.verdict is Verdict.PASS:
        return result, ()
    figure = finite(margin)
    stronger = trials.tried(strengthened(case.job, float(used[0]), target))
    return result, (
        Finding(
            check="lift_off",
            verdict=result.verdict,
            start=place.t,
            end=place.t,
            spans=((place.t, place.t),),
            worst=WorstLiftOff(
                at=place,
                margin=figure,
                margin_low=result.low,
                spot=spot_on_pad(*grip.place(int(point[0]))),
                load=on_pads,
            ),
            because=Cause(
                cause=lift_off_words.LIFT_OFF_CAUSE, undecided=None if result.verdict is Verdict.FAIL else (why,)
            ),
            remedies=(stronger or Remedy(action="none", text=lift_off_words.NO_BOND),),
            share=(figure or 0.0) / target,
        ),
    )


def held_anywhere(grip: Grip, sheet: Sheet, rim: FloatArray, standing: FloatArray, pull: FloatArray) -> float:
    """Return the largest use where the tray holds a part that bends by a single place, whichever of some it is.

    Args:
        grip: The pads.
        sheet: The part on them.
        rim: The places, tool frame [m], shape (k, 2).
        standing: What the pads carry without the tray, at the tool origin, shape (6,).
        pull: Force of the tray [N], shape (3,).
    """
    most, strength = 0.0, np.stack([grip.shear, grip.shear, grip.pull])[:, :, None]
    weighs = (grip.face.maps @ standing)[:, :, None]
    for unknowns in sheet.held_at(rim, pull):
        traction = np.empty((3, grip.owner.size, len(rim)))
        for i, patch in enumerate(grip.whole.patches):
            traction[:, grip.owner == i] = sheet.model.traction(patch, grip.points[grip.owner == i], unknowns)
        used = weighs + grip.asked * traction / strength
        used[2] = np.maximum(used[2], 0.0)
        most = max(most, float(np.linalg.norm(used, axis=0).max()))
    return most


def rim_of(sheet: Sheet) -> FloatArray:
    """Return places of a part's rim that stand for all at which its tray may hold it [m], shape (k, 2).

    What a force does to pads changes over a cell beside them, and farther away over the distance from them.

    Args:
        sheet: The part on its pads.
    """
    (cells, share), corners = RIM, sheet.outline
    fine = shapely.get_coordinates(shapely.segmentize(shapely.LinearRing(corners), cells * sheet.finest))
    pads = shapely.union_all([contact_of(patch, sheet.part) for patch in sheet.backing.patches])
    far = shapely.distance(shapely.points(fine), pads)
    step = np.maximum(cells * sheet.finest, share * np.minimum(far[1:], far[:-1]))
    passed = np.floor(np.cumsum(np.linalg.norm(np.diff(fine, axis=0), axis=1) / step))
    return np.concatenate([corners, fine[1:][np.diff(passed, prepend=0.0) > 0.0]])


def _grip(case: Case, pickup: Pickup, load: FloatArray) -> Grip:
    """The places that count as the part leaves its tray: that may hold it sideways until then, or may not."""
    free, bonded = case.grip, case.grip.bonded
    traction = [pad.traction for pad in pickup.hard.pads]
    held = replace(bonded, locked=locked_in(bonded.whole, traction, bonded.held, pickup.pick.flatness, sideways=False))
    kept = grip_of(held, load[:, None])
    return max(free, kept, key=lambda grip: float(peak_utilisation(grip.face, load[:, None])[0][0]))
