"""Does a part that bends droop no further than there is room, carried and placed?

It leaves the plane of its pads by what small bending tells, swing included. That is the most that it may be: a part
that droops far stretches, and its weight gets a shorter lever.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.check import Check, Judged
from gripmargin.checks.droop import words
from gripmargin.checks.droop.figures import DroopDetails, During, WorstDroop
from gripmargin.checks.droop.use import Drooping, droop_use, not_followed
from gripmargin.checks.premises import DROOPING, bends
from gripmargin.checks.use import Use, quotient
from gripmargin.contact.bending import are_level, overhang
from gripmargin.contact.film import STRETCHED
from gripmargin.contact.sheet import Sheet
from gripmargin.results.findings import (
    CheckResult,
    Finding,
    Outcome,
    Place,
    Remedy,
    Verdict,
    exact,
    finite,
    judge,
    undecided,
)
from gripmargin.workcell.job import Job

Found = tuple[CheckResult, Place, DroopDetails]

LARGE = 1.5**3 / 8.0  # droop over overhang, by small bending, of a strip 1.5 gravity lengths (D/q)^(1/3) long
LESS, GROWS = 0.115, 1.8  # share that it then is less by than small bending tells, and the power with which that grows


def run(case: Case) -> Outcome:
    """Judge the carry against the clearance of the part, and each placing against the tolerance of the nest."""
    part, nest, target = case.job.part, case.job.nest, case.job.targets.droop
    tolerance = None if nest is None else nest.tolerance
    if part.clearance is None and (tolerance is None or not case.shared(bends)):
        return Outcome()  # as a target that is not given: not asked
    is_plate = part.strips is not None and part.is_plate and are_level(case.whole.patches)
    if part.rigid and not is_plate:
        room = part.clearance or 0.0
        details = DroopDetails(droop=0.0, droop_high=0.0, room=room, during="carry", where=(0.0, 0.0), large=False)
        result = exact("droop", np.inf, target, case.place(int(case.carried[0])), details, measure="ratio")
        return Outcome(results=(result,))
    if not is_plate:
        return Outcome(results=(undecided("droop", target, words.NOT_KNOWN, measure="ratio"),))
    drooping, rooms = Drooping.of(case), list(_rooms(case))
    if not rooms:
        return Outcome()
    if said := not_followed(case, drooping.sheet):
        return Outcome(results=(undecided("droop", target, said, measure="ratio"),))
    use = droop_use(case, drooping, min(room for _, room, _ in rooms) / target)
    share = drooping.stretched(case)
    most = float(use.high.max())
    if np.isfinite(most) and share * most**2 > STRETCHED:
        return Outcome(results=(undecided("droop", target, words.STRETCHED, measure="ratio"),))
    found = [_judged(case, drooping.sheet, use, share, *each) for each in rooms]
    severity = (Verdict.FAIL, Verdict.UNDECIDED, Verdict.PASS)
    worst, at, details = min(found, key=lambda each: (severity.index(each[0].verdict), each[0].low or 0.0))
    return Outcome(results=(worst,), findings=() if worst.verdict is Verdict.PASS else (_finding(worst, at, details),))


def _rooms(case: Case) -> Iterator[tuple[During, float, slice | list[int]]]:
    """Yield how far the part may droop, and where that counts: indices into the carried samples."""
    if case.job.part.clearance is not None:
        yield "carry", case.job.part.clearance, slice(None)
    tolerance, carried = None if case.job.nest is None else case.job.nest.tolerance, case.carried
    ends = np.flatnonzero(np.diff(carried, append=case.airborne.size + 1) > 1)
    placed = [int(k) for k in ends if case.placed_after(int(carried[k]))]
    if tolerance is not None and placed:
        yield "placing", tolerance, placed


def _judged(
    case: Case, sheet: Sheet, use: Use, stretched: float, during: During, room: float, samples: slice | list[int]
) -> Found:
    target = case.job.targets.droop
    every = np.arange(use.samples.size)[samples]
    k = int(every[np.argmax(use.high[every])])
    value, high = float(use.value[k]), float(use.high[every].max())
    reach = overhang(case.whole.patches, _outline(case))
    share = value / max(reach, 1e-300) / LARGE
    large = share > 1.0
    known = 0.0 if large else float(use.low[every].max()) * (1.0 - LESS * share**GROWS)
    load = case.load[:, use.samples[k]]
    if not case.pushes:
        stretched = float(sheet.stretched(load)) / max(sheet.droop(load), 1e-300) ** 2
    known *= max(1.0 - 2.0 * stretched * value**2, 0.0)
    details = DroopDetails(
        droop=value,
        droop_high=finite(high),
        room=room,
        during=during,
        where=(float(use.grip.points[use.point[k], 0]), float(use.grip.points[use.point[k], 1])),
        large=large,
    )
    least, most = float(quotient(room, high)), float(quotient(room, known))
    result = exact(
        "droop", float(quotient(room, value)), target, case.place(int(use.samples[k])), details, measure="ratio"
    )
    result = replace(result, low=finite(least), high=finite(most), verdict=judge(least, most, target))
    return result, case.place(int(use.samples[k])), details


def _outline(case: Case) -> FloatArray:
    outline = case.job.part.outline
    return np.zeros((0, 2)) if outline is None else outline


def _finding(result: CheckResult, at: Place, details: DroopDetails) -> Finding:
    return Finding(
        check="droop",
        verdict=result.verdict,
        start=at.t,
        end=at.t,
        spans=((at.t, at.t),),
        worst=WorstDroop(at=at, details=details),
        because={"cause": words.HANGS},
        remedies=(Remedy(action="none", text=words.HELPS),),
        share=(result.low or 0.0) / result.target,
    )


def _target(job: Job) -> float | None:
    """The target of a job that gives its part room, or places a part that may bend with a tolerance."""
    placed = job.nest is not None and job.nest.tolerance is not None
    may_bend = job.part.strips is not None and not job.part.rigid
    return job.targets.droop if job.part.clearance is not None or (placed and may_bend) else None


DROOP = Check(
    name="droop",
    question="Does a part that bends droop no further than there is room, carried and placed?",
    judged=(Judged(name="droop", target=_target, details=DroopDetails, rests_on=DROOPING),),
    run=run,
    result_words=words.droop_result,
    finding_words=words.droop_finding,
)
