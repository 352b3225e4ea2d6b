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
from gripmargin.checks.dents import undented
from gripmargin.checks.droop import words
from gripmargin.checks.droop.figures import DroopDetails, During, WorstDroop
from gripmargin.checks.hold.use import COVERAGE, use_of
from gripmargin.checks.premises import STOPPING, bends, swinging
from gripmargin.checks.swing.pushed import pushed_over
from gripmargin.checks.swing.ringing import other_stretches, stretches_of
from gripmargin.checks.swing.use import in_between, use_over
from gripmargin.checks.use import Use, quotient
from gripmargin.contact.bending import are_level, overhang
from gripmargin.contact.sheet import Sheet
from gripmargin.kernels.face import Face
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
    sheet = Sheet.on(case.whole, part)
    use = _droop(case, sheet)
    found = [_judged(case, sheet, use, *each) for each in _rooms(case)]
    if not found:
        return Outcome()
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


def _droop(case: Case, sheet: Sheet) -> Use:
    """How far the part droops at every carried sample [m]: a use of places whose strength is a load for each metre."""
    at, maps = sheet.droops
    both = np.concatenate([*maps, *-maps])
    face = Face(np.stack([np.zeros_like(both), np.zeros_like(both), both]))
    points = np.tile(np.column_stack([at, np.zeros(len(at))]), (2 * len(maps), 1))
    none = np.zeros(len(points), dtype=np.intp)
    places = replace(
        case.grip, face=face, points=points, owner=none, pull=np.ones(len(points)), shear=np.ones(len(points))
    )
    still = use_of(case, places)[0]
    kinds = [
        [use_over(each, face, None, pushed_over(case, each.modes, each.samples)) for each in kind]
        for kind in (case.shared(stretches_of), *case.shared(other_stretches))
    ]
    value, low, point = (
        np.concatenate([getattr(part, name) for part in kinds[0]], axis=-1) for name in ("value", "low", "point")
    )
    most, noise = (
        np.max([np.concatenate([getattr(part, name) for part in kind]) for kind in kinds], axis=0)
        for name in ("high", "noise")
    )
    least = min((room for _, room, _ in _rooms(case)), default=0.0)
    high = np.maximum(most, in_between(case, face, least / case.job.targets.droop)[0]) + COVERAGE * noise
    hidden = still.high - still.value if case.motion.given else 0.0
    factor = case.shared(swinging).factor
    high = np.where(np.isfinite(still.high) & np.isfinite(value), factor * (high + hidden), np.inf)
    return replace(still, value=value, low=np.minimum(low, still.low), high=high, point=point)


def _judged(case: Case, sheet: Sheet, use: Use, during: During, room: float, samples: slice | list[int]) -> Found:
    target = case.job.targets.droop
    every = np.arange(use.samples.size)[samples]
    k = int(every[np.argmax(use.high[every])])
    value, high = float(use.value[k]), float(use.high[every].max())
    reach = overhang(case.whole.patches, _outline(case))
    share = value / max(reach, 1e-300) / LARGE
    large = share > 1.0
    known = 0.0 if large else float(use.low[every].max()) * (1.0 - LESS * share**GROWS)
    load = case.load[:, use.samples[k]]
    known *= max(1.0 - 2.0 * float(sheet.stretched(load)) * (value / max(sheet.droop(load), 1e-300)) ** 2, 0.0)
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
    judged=(Judged(name="droop", target=_target, details=DroopDetails, rests_on=(*STOPPING, undented)),),
    run=run,
    result_words=words.droop_result,
    finding_words=words.droop_finding,
)
