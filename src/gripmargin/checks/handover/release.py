"""Does the release move break the bond, and does the part stay in its nest while the tool leaves?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import inf

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.advice import Trials
from gripmargin.checks.case import Case
from gripmargin.checks.check import Check, Judged
from gripmargin.checks.handover import words
from gripmargin.checks.handover.figures import Cause, ReleaseDetails, Seat, WorstRelease
from gripmargin.checks.handover.letting_go import LetGo, course_of, let_go, mesh_range, ratios_of
from gripmargin.checks.handover.preload import CONTACT
from gripmargin.checks.handover.release_remedies import release_remedies
from gripmargin.checks.handover.seat import never_down
from gripmargin.checks.hold.explain import load_figures
from gripmargin.checks.premises import handed_over_flat, measured_contact, plane_face
from gripmargin.contact.handover import Release
from gripmargin.contact.putdown import Putdown
from gripmargin.contact.restraint import NEGLIGIBLE
from gripmargin.results.findings import (
    CheckResult,
    Finding,
    Outcome,
    Remedy,
    Verdict,
    exact,
    finite,
    judge,
    on_target,
    undecided,
)
from gripmargin.workcell.job import Job


def run(case: Case) -> Outcome:
    """Judge every release of the job."""
    job, putdowns = case.job, case.putdowns
    if not putdowns:
        reason, remedy = words.no_phase("release", "[nest]", words.STAYS)
        return Outcome(results=(undecided("release", job.targets.release, reason, remedy=remedy),))
    judged = [_judge(case, putdown) for putdown in putdowns]
    severity = (Verdict.FAIL, Verdict.UNDECIDED, Verdict.PASS)
    worst = min((r for r, _ in judged), key=lambda r: (severity.index(r.verdict), inf if r.value is None else r.value))
    return Outcome(
        results=(worst,),
        findings=tuple(finding for _, finding in judged if finding is not None),
        least={"release": _least(case)},
        assumed=words.release_assumed(
            full_bond=case.pickup is None or case.pickup.strongest is None,
            places=[down.relative.position[0, :2].tolist() for down in putdowns if not down.nest.tolerance],
            on_outline=putdowns[0].nest.support is None and job.part.outline is not None,
        ),
    )


def _results(case: Case) -> tuple[CheckResult, ...]:
    return run(case).results


def _judge(case: Case, putdown: Putdown) -> tuple[CheckResult, Finding | None]:
    if not isinstance(putdown, Release):
        return never_down(case, putdown, Trials(case, _results, "release"))
    found, target = let_go(case, putdown), case.job.targets.release
    seat = Seat(seat_height=putdown.seat.height, seated="down")
    details = ReleaseDetails(seat=seat, course=course_of(found))
    sample = int(putdown.samples[putdown.history.sample[found.worst]])
    result = exact("release", found.value, target, case.place(sample), details, measure="ratio")
    cells = mesh_range(case, found)
    high = max(cells.high, putdown.at_best)
    verdict = judge(cells.low, high, target)
    result = replace(result, value=finite(cells.value), low=finite(cells.low), high=finite(high), verdict=verdict)
    open_because = _open_because(case, found, result)
    if open_because is not None:
        result = replace(result, verdict=Verdict.UNDECIDED)
    if result.verdict is Verdict.PASS:
        return result, None
    return result, _finding(case, found, result, open_because)


def _least(case: Case) -> FloatArray:
    """The least ratio of all ways that the job states at every sample, NaN where nothing is let go."""
    least = np.full(case.job.trajectory.samples, np.nan)
    for putdown in case.putdowns:
        if isinstance(putdown, Release):
            ratio = ratios_of(case, putdown)
            np.fmin.at(
                least, putdown.samples[putdown.history.sample], np.where(np.isnan(ratio), np.inf, ratio).min(axis=0)
            )
    return least


def _open_because(case: Case, found: LetGo, result: CheckResult) -> tuple[str, str] | None:
    """Why a verdict is open, and what would decide it; None where it is not open."""
    if found.unmeasured:
        return words.NO_OVERLOAD, words.MEASURE_OVERLOAD
    if result.verdict is Verdict.FAIL:
        return None
    if result.verdict is Verdict.UNDECIDED and found.release.at_best > found.value:
        return words.HELD_BEFORE[found.release.not_known]
    if result.verdict is Verdict.UNDECIDED:
        return words.CELLS_TOO_COARSE, words.MORE_THAN_ENOUGH
    if found.unknown:
        return words.not_stated(found.unknown), words.STATE_THE_NEST
    free, lateral, job = found.release.set_free, found.release.nest.lateral_force or 0.0, case.job
    asked = free > NEGLIGIBLE * job.part.mass * float(np.linalg.norm(job.gravity)) and not found.release.nest.slip
    if asked and not on_target([lateral / free], job.targets.release):
        return words.set_free(free), words.PRESS_WITHOUT_SLIDING
    return None if found.release.tool_has_left or found.release.taken_along else (words.UNFINISHED, words.GO_ON)


def _finding(case: Case, found: LetGo, result: CheckResult, open_because: tuple[str, str] | None) -> Finding:
    release, history, row, t = found.release, found.release.history, found.worst, case.job.trajectory.t
    demand, restraint = found.at_worst
    if open_because is not None:
        because, text = Cause.open(open_because[0]), open_because[1]
        change: Sequence[Remedy] = [Remedy(action="better data", text=text)]
    else:
        cause = words.follows(float(history.held_total[-1])) if found.follows else words.takes_along(found.way)
        because = Cause(cause=cause)
        change = release_remedies(found, Trials(case, _results, "release"))
    start, end = (float(t[sample]) for sample in release.samples[[0, -1]])
    return Finding(
        check="release",
        verdict=result.verdict,
        start=start,
        end=end,
        spans=((start, end),),
        worst=WorstRelease(
            at=case.place(int(release.samples[history.sample[row]])),
            ratio=result.value,
            way=found.way,
            demand=demand,
            restraint=finite(restraint),
            bonded=float(history.held_total[row]),
            load=load_figures(history.wrench[row]),
            overpowered=demand > 0 and open_because is None and not found.follows,
        ),
        because=because,
        remedies=tuple(change),
        share=0.0 if open_because is not None else (result.value or 0.0) / result.target,
    )


def _not_asked(job: Job) -> str | None:
    if job.nest is not None:
        return None
    picked_only = job.pick is not None and all(phase.kind != "release" for phase in job.phases)
    return words.NO_RELEASE if picked_only else words.NO_NEST


RELEASE = Check(
    name="release",
    question="Does the release break the bond, and does the part stay in its nest while the tool leaves?",
    judged=(
        Judged(
            name="release",
            target=lambda job: job.targets.release,
            details=ReleaseDetails,
            rests_on=(plane_face, handed_over_flat, measured_contact),
        ),
    ),
    run=run,
    result_words=words.release_result,
    finding_words=words.release_finding,
    needs=_not_asked,
    references=lambda job: (
        (*CONTACT, "Restraint of a part on its support: statics of rigid bodies, any text.") if job.nest else ()
    ),
    of_the_carry=False,
    of_contact=True,
)
