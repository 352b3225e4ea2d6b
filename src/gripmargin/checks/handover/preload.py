"""Does the preload move load the pads everywhere, and does the part then leave its tray with them?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from gripmargin.checks.advice import Trials
from gripmargin.checks.case import Case
from gripmargin.checks.check import Check, Judged
from gripmargin.checks.handover import words
from gripmargin.checks.handover.figures import Cause, LiftOffDetails, PreloadDetails, WorstPreload
from gripmargin.checks.handover.lift_off import lift_off
from gripmargin.checks.handover.preload_remedies import remedies
from gripmargin.checks.handover.pressing import ROUNDING, Pressing, cause_of, details_of, least_at_best, pressing
from gripmargin.checks.hold.explain import spot_on_pad
from gripmargin.checks.premises import LEAVING, measured_contact, plane_face, pressed_flat
from gripmargin.results.findings import (
    CheckResult,
    Finding,
    NotChecked,
    Outcome,
    Remedy,
    Verdict,
    exact,
    judge,
    undecided,
)

CONTACT = (
    "Contact on a Winkler layer, and the energy let go at its edge, G = sigma^2/2k: Kanninen 1973 (from memory).",
    "Adhesion by preload: linear to full_preload (no source), or the pad's own measured curve.",
)


def run(case: Case) -> Outcome:
    """Judge the preload and the lift-off."""
    pickup, target = case.pickup, case.job.targets.preload
    if case.job.pick is None:
        return Outcome(not_checked=(NotChecked(check="preload", reason=words.NO_PICK),))
    if pickup is None:
        reason, remedy = words.no_phase("preload", "[pick]", words.ACTIVATION)
        return Outcome(results=(undecided("preload", target, reason, remedy=remedy),))
    pressed = pressing(case, pickup)
    details = details_of(pressed, target)
    lowest = details.lowest_activation
    found = exact("preload", lowest, target, case.place(pressed.sample), details, measure="lowest activation")
    verdict, high = judge(lowest + ROUNDING, lowest + ROUNDING, target), lowest
    if verdict is Verdict.FAIL and pickup.at_best is not None:
        high = max(least_at_best(pickup), lowest)
        verdict = judge(lowest + ROUNDING, high + ROUNDING, target)
    unknown = [face.patch.pad.material.name for face in pickup.faces if face.law.source == "none"]
    result = replace(found, high=high, verdict=Verdict.UNDECIDED if verdict is Verdict.PASS and unknown else verdict)
    lifted, dropped = lift_off(case, pickup, Trials(case, _results, "lift_off"))
    findings = [] if result.verdict is Verdict.PASS else [_finding(case, pressed, details, result, unknown)]
    return Outcome(
        results=(result, lifted),
        findings=(*findings, *dropped),
        assumed=words.preload_assumed(
            None if pickup.pick.tolerance else pickup.relative.position[pressed.row, :2].tolist(), pickup.pick.flatness
        ),
    )


def _results(case: Case) -> tuple[CheckResult, ...]:
    return run(case).results


def _finding(
    case: Case, pressed: Pressing, details: PreloadDetails, result: CheckResult, unknown: list[str]
) -> Finding:
    weakest, pickup = pressed.weakest, pressed.pickup
    if result.verdict is Verdict.UNDECIDED:
        because = Cause.open(words.no_law(unknown) if unknown else words.BOND_AGAIN)
        text = words.MEASURE_ADHESION if unknown else words.STAY_PUT
        change: Sequence[Remedy] = [Remedy(action="better data", text=text)]
    else:
        because = Cause(cause=cause_of(pressed, details))
        change = remedies(case, pressed, result.target, Trials(case, _results, "preload"))
    start, end = (float(case.job.trajectory.t[sample]) for sample in pickup.samples[[0, -1]])
    return Finding(
        check="preload",
        verdict=result.verdict,
        start=start,
        end=end,
        spans=((start, end),),
        worst=WorstPreload(
            at=case.place(pressed.sample),
            activation=weakest.share,
            spot=spot_on_pad(case.whole.patches[weakest.pad], weakest.point),
            peak_pressure=weakest.pressure,
            time_under_pressure=float(pressed.cells.contact_time[weakest.cell]),
            tilt=pressed.tilt,
            overtravel=pressed.overtravel,
        ),
        because=because,
        remedies=tuple(change),
        share=0.0 if result.verdict is Verdict.UNDECIDED else weakest.share / result.target,
    )


PRELOAD = Check(
    name="preload",
    question="Does the press at the pick give every place of the pads its adhesion, and does the part leave with them?",
    judged=(
        Judged(
            name="preload",
            target=lambda job: job.targets.preload,
            details=PreloadDetails,
            rests_on=(plane_face, pressed_flat, measured_contact),
        ),
        Judged(
            name="lift_off",
            target=lambda job: job.targets.hold if job.pick else None,
            details=LiftOffDetails,
            rests_on=LEAVING,
        ),
    ),
    run=run,
    result_words=words.preload_result,
    finding_words=words.preload_finding,
    needs=lambda job: None if job.pick else words.NO_PICK,
    references=lambda job: CONTACT if job.pick else (),
    of_the_carry=False,
    of_contact=True,
)
