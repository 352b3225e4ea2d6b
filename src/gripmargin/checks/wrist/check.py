"""May the robot carry gripper and part: are the rated values of its wrist kept?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.advice import Trials
from gripmargin.checks.case import Case
from gripmargin.checks.check import Check, Judged
from gripmargin.checks.wrist import words
from gripmargin.checks.wrist.figures import Cause, FlangeDetails, Kind, RatedValue, WorstRated
from gripmargin.checks.wrist.limits import Limit, Wrist
from gripmargin.checks.wrist.remedies import remedies, worst_of
from gripmargin.results.findings import CheckResult, Finding, NotChecked, Outcome, Verdict, finite, overall, short_of

ROUNDING = 1e-9  # share of a rated value below which what is asked counts as nothing
OPTIONAL: tuple[Kind, ...] = ("moment", "inertia")  # values that nearly every data sheet has


def run(case: Case) -> Outcome:
    """Judge every rated value at every sample, with the part where it hangs on the pads; nothing without any."""
    flange, target = case.job.flange, case.job.targets.flange
    if flange is None:
        return Outcome()
    wrist = Wrist(case, flange)
    found = wrist.limits()
    short = [limit for limit in found if limit.verdict(target) is not Verdict.PASS]
    by_bounds = not wrist.by_joints and any(limit.place and limit.missing is None for limit in found)
    kinds = {limit.kind for limit in found}
    return Outcome(
        results=(_result(case, found, target),),
        findings=(_finding(wrist, found, short, target),) if short else (),
        not_checked=tuple(
            NotChecked(check=f"flange.{kind}", reason=words.not_rated(kind)) for kind in OPTIONAL if kind not in kinds
        ),
        least={"flange": np.min([limit.over(limit.most) for limit in found], axis=0)},
        assumed=(*words.assumed(wrist.aboard if case.job.station else ()), *((words.POSES,) if by_bounds else ())),
    )


def _results(case: Case) -> tuple[CheckResult, ...]:
    return run(case).results


def _result(case: Case, found: list[Limit], target: float) -> CheckResult:
    worst, surest = worst_of(found, target), min(found, key=lambda limit: limit.low)
    return CheckResult(
        check="flange",
        verdict=overall(limit.verdict(target) for limit in found),
        value=finite(worst.ratio),
        low=surest.low,
        high=finite(min(limit.high for limit in found)),
        target=target,
        at=case.place(worst.at),
        low_at=case.place(surest.worst),
        details=FlangeDetails(
            limits=tuple(_figures(case, limit, limit.at) for limit in found),
            gripper_mass=case.job.gripper.mass,
            part_mass=case.job.part.mass,
            worst=_figures(case, worst, worst.at),
        ),
        measure="ratio",
    )


def _figures(case: Case, limit: Limit, sample: int) -> RatedValue:
    return RatedValue(
        limit=limit.kind,
        axis=limit.axis,
        asked=finite(_amount(limit, limit.asked)),
        asked_most=finite(_amount(limit, limit.most)),
        rated=limit.rated,
        ratio=finite(limit.ratio) if limit.ratio < 1.0 / ROUNDING else None,
        t=case.place(sample).t,
        asked_least=_amount(limit, limit.least),
        missing=limit.missing,
    )


def _amount(limit: Limit, values: FloatArray) -> float:
    """The largest of values; 0 where rounding is all there is of it."""
    largest = float(values.max())
    return 0.0 if largest < ROUNDING * limit.rated else largest


def _finding(wrist: Wrist, found: list[Limit], short: list[Limit], target: float) -> Finding:
    """All rated values that are not kept, in one: a change is enough when it is enough for all of them."""
    case, worst = wrist.case, worst_of(short, target)
    sample = worst.at if worst.verdict(target) is Verdict.FAIL else worst.worst
    over = np.any([short_of(limit.over(limit.most), target) for limit in short], axis=0)
    spans = _spans(case.job.trajectory.t, np.flatnonzero(over))
    return Finding(
        check="flange",
        verdict=overall(limit.verdict(target) for limit in short),
        start=spans[0][0],
        end=spans[-1][1],
        spans=spans,
        worst=WorstRated(
            at=case.place(sample),
            value=_figures(case, worst, sample),
            short=tuple(_figures(case, limit, sample) for limit in short),
            target=target,
        ),
        because=Cause(cause=_cause(wrist, worst, sample)),
        remedies=() if case.trial else remedies(wrist, found, short, target, Trials(case, _results, "flange")),
        share=min(limit.low for limit in short) / target,
    )


def _spans(t: FloatArray, short: NDArray[np.intp]) -> tuple[tuple[float, float], ...]:
    runs = np.split(short, np.flatnonzero(np.diff(short) > 1) + 1)
    return tuple((float(t[run[0]]), float(t[run[-1]])) for run in runs)


def _cause(wrist: Wrist, limit: Limit, sample: int) -> str:
    if limit.missing is not None:
        return words.NOT_KNOWN[limit.missing]
    case, aboard = wrist.case, wrist.aboard
    said = words.cause(case.job.gripper.mass or 0.0, [each.mass for each in aboard if each.hangs[sample]])
    said += f", {words.CONTACT}" if any(each.contact[:, sample].any() for each in aboard) else ""
    pushed = any(sample in at for each in aboard for at, wrench, *_ in each.pushes if wrench.any())
    return f"{said}, {words.PUSHED}" if pushed else said


WRIST = Check(
    name="flange",
    question="May the robot carry gripper and part: are the rated values of its wrist kept?",
    judged=(
        Judged(
            name="flange",
            target=lambda job: job.targets.flange if job.flange else None,
            details=FlangeDetails,
            rests_on=(),
        ),
    ),
    run=run,
    result_words=words.result,
    finding_words=words.finding,
    needs=lambda job: None if job.flange else words.NO_RATED_VALUES,
    references=lambda job: (
        (
            "Load at the wrist: centres of mass and parallel axes, any text on mechanics; terms as in ISO 9946 (from "
            "memory).",
        )
        if job.flange
        else ()
    ),
)
