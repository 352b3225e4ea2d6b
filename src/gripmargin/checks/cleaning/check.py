"""Does a cleaning move clean all of the pads, and does the cleaner stay where it is?"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from gripmargin.base.errors import BudgetError
from gripmargin.checks.case import Case
from gripmargin.checks.check import Check, Judged
from gripmargin.checks.cleaning import moves, words
from gripmargin.checks.cleaning.figures import (
    CleanerDetails,
    CleaningDetails,
    Gap,
    Lack,
    PadCleaned,
    WorstCleaner,
    WorstCleaning,
)
from gripmargin.checks.cleaning.moves import Meeting, Move
from gripmargin.checks.cleaning.remedies import advice
from gripmargin.contact.cleaning import Cleaned, Course
from gripmargin.contact.tack import pulled
from gripmargin.results.findings import CheckResult, Finding, Outcome, Remedy, Verdict, exact, judge, undecided
from gripmargin.workcell import Cleaner
from gripmargin.workcell.job import Job

ORDER: Final = (Verdict.FAIL, Verdict.UNDECIDED, Verdict.PASS)


def run(case: Case) -> Outcome:
    """Judge every cleaning move, and every cleaner; the worst of each counts."""
    return case.shared(_run)


def _run(case: Case) -> Outcome:
    if not _asks(case.job):
        return Outcome()  # as a target that is not given: not asked
    found = case.shared(moves.moves_of)
    if not found:
        return Outcome(results=tuple(_open(case.job, name, words.NO_PHASE, words.NAME_IT) for name in MEASURES))
    cleaning = [_cleaning(case, move) for move in found]
    fixing = [_fixing(case, meeting) for move in found for meeting in move.meetings]
    worst = [min(outcomes, key=_severity) for outcomes in (cleaning, fixing)]
    findings = tuple(finding for each in (*cleaning, *fixing) for finding in each.findings)
    return Outcome(results=tuple(result for each in worst for result in each.results), findings=findings)


MEASURES: Final = {"cleaning": "share", "cleaner": "ratio"}


def _asks(job: Job) -> bool:
    return bool(job.cleaners) or any(phase.kind == "clean" for phase in job.phases)


def _open(job: Job, name: str, reason: str, remedy: str = "") -> CheckResult:
    target = job.targets.of(name) or 1.0
    return undecided(name, target, reason, remedy=remedy, measure=MEASURES[name])


def _severity(outcome: Outcome) -> tuple[int, float]:
    result = outcome.results[0]
    return ORDER.index(result.verdict), result.low or 0.0


def _cleaning(case: Case, move: Move) -> Outcome:
    """How far a move cleans the pads."""
    target, pads = case.job.targets.cleaning, case.job.gripper.pads
    missing = dict.fromkeys(reason for meeting in move.meetings for reason in moves.unknown(meeting.cleaner))
    if missing:
        return Outcome(results=(_open(case.job, "cleaning", "; ".join(missing)),))
    over = moves.over(case.motion.at, move)
    try:
        faces = moves.faces(over, pads)
    except BudgetError as error:
        return Outcome(results=(_open(case.job, "cleaning", str(error)),))
    low, high = moves.share_of(faces)
    details = _details(case, move, faces)
    at = case.place(move.meetings[0].first)
    result = replace(
        exact("cleaning", (low + high) / 2.0, target, at, details, measure="share"),
        low=low,
        high=high,
        verdict=judge(low, high, target),
    )
    if moves.bottoms(faces):
        result = replace(result, verdict=Verdict.UNDECIDED, text=words.BOTTOMED, lines=(words.BOTTOMED,))
    if result.verdict is Verdict.PASS:
        return Outcome(results=(result,))
    remedies = () if case.trial or details.gap is None else advice(case, over, details.gap)
    worst = WorstCleaning(at=at, details=details)
    return Outcome(results=(result,), findings=(_finding(result, worst, words.MISSED, remedies, details.end),))


def _finding(
    result: CheckResult,
    worst: WorstCleaning | WorstCleaner,
    cause: str,
    remedies: tuple[Remedy, ...],
    end: float | None = None,
) -> Finding:
    last = worst.at.t if end is None else end
    return Finding(
        check=result.check,
        verdict=result.verdict,
        start=worst.at.t,
        end=last,
        spans=((worst.at.t, last),),
        worst=worst,
        because={"cause": cause},
        remedies=remedies,
        share=(result.low or 0.0) / result.target,
    )


def _details(case: Case, move: Move, faces: tuple[Cleaned, ...]) -> CleaningDetails:
    t, overload = case.job.trajectory.t, all(each.pad.material.overload_pressure is not None for each in faces)
    cleaners = [meeting.cleaner for meeting in move.meetings if meeting.cleaner is not None]
    dirty = [each for each in faces if not each.is_clean.all()]
    return CleaningDetails(
        cleaner=move.name,
        start=float(t[move.meetings[0].first]),
        end=float(t[max(meeting.last for meeting in move.meetings)]),
        pads=tuple(_pad(each, cleaners) for each in faces),
        gap=min((_gap(each, cleaners) for each in dirty), key=lambda gap: gap.peak, default=None),
        faces=faces,
        unasked=tuple(line for cleaner in cleaners for line in words.unasked(cleaner, overload)),
    )


def _pad(face: Cleaned, cleaners: list[Cleaner]) -> PadCleaned:
    asked = min(cleaner.least_presses for cleaner in cleaners)
    low, high = face.share
    return PadCleaned(
        pad=face.pad.name,
        share=low,
        share_high=high,
        overlap=float(face.areas[face.felt.presses > asked].sum() / face.areas.sum()),
        peak=float(face.felt.peak.max()),
    )


def _gap(face: Cleaned, cleaners: list[Cleaner]) -> Gap:
    """The place of a pad that is pressed least among those that are not clean, in the middle of such as are alike."""
    felt, dirty = face.felt, np.flatnonzero(~face.is_clean)
    least = dirty[felt.peak[dirty] <= felt.peak[dirty].min() + 1e-9]
    middles = face.corners.mean(axis=1)
    middle = np.average(middles[least], axis=0, weights=face.areas[least])
    k = int(least[np.argmin(np.linalg.norm(middles[least] - middle, axis=1))])
    x, y = middles[k].tolist()
    return Gap(
        pad=face.pad.name,
        where=(x, y),
        lack=_lack(face, k, cleaners),
        peak=float(felt.peak[k]),
        dwell=float(felt.dwell[k]),
        presses=float(felt.presses[k]),
        slip=float(felt.slip[k]),
    )


def _lack(face: Cleaned, k: int, cleaners: list[Cleaner]) -> Lack:
    """What keeps a place from being clean, by the cleaner that asks least."""
    felt, overload = face.felt, face.pad.material.overload_pressure
    if felt.peak[k] <= 0.0:
        return "touch"
    if overload is not None and felt.peak[k] > overload:
        return "overload"
    if felt.peak[k] < min(cleaner.least_pressure or np.inf for cleaner in cleaners):
        return "pressure"
    if all(cleaner.most_slip is not None and felt.slip[k] > cleaner.most_slip for cleaner in cleaners):
        return "dragged"
    if felt.dwell[k] < min(cleaner.least_dwell for cleaner in cleaners):
        return "dwell"
    return "slip" if felt.presses[k] < 1.0 and any(cleaner.least_slip for cleaner in cleaners) else "presses"


def _fixing(case: Case, meeting: Meeting) -> Outcome:
    """What pads pull at a cleaner that they stick to, until they are off."""
    target, cleaner = case.job.targets.cleaner, meeting.cleaner
    missing = list(moves.unknown_fixing(cleaner))
    if missing or cleaner is None or cleaner.fixing_force is None or cleaner.fixing_moment is None:
        return Outcome(results=(_open(case.job, "cleaner", "; ".join(missing)),))
    tack = cleaner.tack or np.inf
    try:
        course = Course(cleaner, case.job.gripper.pads, moves.motion_of(case.motion.at, meeting, meeting.then))
        found = pulled(course, tack)
    except BudgetError as error:
        return Outcome(results=(_open(case.job, "cleaner", str(error)),))
    forces, moments = (np.linalg.norm(each, axis=1) for each in (found.force, found.moment))
    force, moment = float(forces.max()), float(moments.max())
    softest = min(pad.material.normal_stiffness for pad in case.job.gripper.pads)
    details = CleanerDetails(
        cleaner=cleaner.name,
        force=force,
        moment=moment,
        straight=found.straight,
        rolled=tack**2 / (2.0 * softest),
        pressed=float(np.maximum(found.pressed, 0.0).max()),
    )
    shares = forces / cleaner.fixing_force, moments / cleaner.fixing_moment
    worst = np.maximum(*shares)
    k = int(np.argmax(worst))
    sample = int(np.argmin(np.abs(case.job.trajectory.t - found.t[k])))
    ratio = 1.0 / float(worst[k]) if worst[k] > 0.0 else np.inf
    result = exact("cleaner", ratio, target, case.place(sample), details, measure="ratio")
    if found.is_stuck:
        stuck = replace(result, verdict=Verdict.UNDECIDED, text=words.STUCK, lines=(words.STUCK,))
        result = result if result.verdict is Verdict.FAIL else stuck
    if result.verdict is Verdict.PASS:
        return Outcome(results=(result,))
    remedy = Remedy(action="peel angle", text=words.roll_off(details))
    worst_at = WorstCleaner(at=case.place(sample), details=details)
    return Outcome(results=(result,), findings=(_finding(result, worst_at, words.STICKS, (remedy,)),))


def _target(name: str, job: Job) -> float | None:
    return job.targets.of(name) if _asks(job) else None


CLEANING = Check(
    name="cleaning",
    question="Does a cleaning move clean all of the pads, and does the cleaner stay where it is?",
    judged=(
        Judged(name="cleaning", target=lambda job: _target("cleaning", job), details=CleaningDetails, rests_on=()),
        Judged(name="cleaner", target=lambda job: _target("cleaner", job), details=CleanerDetails, rests_on=()),
    ),
    run=run,
    result_words=words.result,
    finding_words=words.finding,
    references=lambda job: words.REFERENCES if _asks(job) else (),
    of_the_carry=False,
    needs_carry=False,
)
