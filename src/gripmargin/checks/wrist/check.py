"""May the robot carry gripper and part: are the rated values of its wrist kept?"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks import words
from gripmargin.checks.case import Case
from gripmargin.checks.check import Check, Judged
from gripmargin.checks.wrist.limits import NAMES, Limit, Wrist
from gripmargin.checks.wrist.remedies import remedies, worst_of
from gripmargin.results.findings import CheckResult, Finding, NotChecked, Outcome, Verdict, judge, overall, short_of

ROUNDING = 1e-9  # share of a rated value below which what is asked counts as nothing
ABOVE = 100.0  # ratio from which its figure says no more

ASSUMED = (
    "Flange: the moment about an axis is the whole weight times the distance of the centre of mass from it, the most "
    "that it can be in any posture of the arm.",
    "Flange: rated values hold for weight and inertia; what pads and part press or pull on each other in press and "
    "release is not counted.",
)
POSES = "Flange: the program tells no joints; about the axes before the last one the least favourable direction counts."


def check_flange(case: Case) -> Outcome:
    """Judge every rated value at every sample, with the part where it hangs on the pads."""
    flange = case.job.flange
    if flange is None:
        return Outcome(not_checked=(NotChecked(check="flange", reason="the job has no [flange] with rated values"),))
    wrist = Wrist(case, flange)
    found = wrist.limits()
    target = case.job.targets.flange
    short = [limit for limit in found if judge(limit.low, limit.high, target) is not Verdict.PASS]
    by_bounds = not wrist.by_joints and any(limit.place and not limit.unknown for limit in found)
    return Outcome(
        results=(_result(case, found, target),),
        findings=(_finding(wrist, found, short, target),) if short else (),
        not_checked=tuple(_left_out(found)),
        assumed=(*ASSUMED, *((POSES,) if by_bounds else ())),
    )


def _left_out(found: list[Limit]) -> list[NotChecked]:
    kinds = {limit.kind for limit in found}
    return [
        NotChecked(check=f"flange.{kind}", reason=f"the job gives no rated {NAMES[kind]} of the wrist")
        for kind in ("moment", "inertia")
        if kind not in kinds
    ]


def _result(case: Case, found: list[Limit], target: float) -> CheckResult:
    verdict = overall(judge(limit.low, limit.high, target) for limit in found)
    worst = worst_of(found, target)
    ratio = worst.ratio
    return CheckResult(
        check="flange",
        verdict=verdict,
        value=ratio if math.isfinite(ratio) else None,
        low=min(limit.low for limit in found),
        high=_number(min(limit.high for limit in found)),
        target=target,
        at=case.place(worst.worst),
        details={"limits": [_entry(case, limit) for limit in found], **_bodies(case)},
        text=f"rated value over what gripper and part ask: {worst.subject}"
        + (f"; {worst.unknown}" if worst.unknown else ""),
        lines=tuple(_line(limit) for limit in found),
        measure="ratio",
    )


def _bodies(case: Case) -> dict[str, Any]:
    return {"gripper_mass": case.job.gripper.mass, "part_mass": case.job.part.mass}


def _entry(case: Case, limit: Limit) -> dict[str, Any]:
    return {
        "limit": limit.kind,
        "axis": limit.axis,
        "asked": _number(_amount(limit, limit.asked)),
        "asked_most": _number(_amount(limit, limit.most)),
        "rated": limit.rated,
        "ratio": _number(limit.ratio) if limit.ratio < 1.0 / ROUNDING else None,
        "t": case.place(limit.worst).t,
    }


def _amount(limit: Limit, values: FloatArray) -> float:
    """The largest of values; 0 where rounding is all there is of it."""
    largest = float(values.max())
    return 0.0 if largest < ROUNDING * limit.rated else largest


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _line(limit: Limit) -> str:
    unit = limit.unit
    if limit.unknown:
        return f"{limit.subject}: not known, rated {limit.rated:.4g} {unit}; {limit.unknown}"
    asked = f"{limit.subject}: at most {_amount(limit, limit.asked):.3g} {unit} of {limit.rated:.4g} {unit}"
    return f"{asked}, ratio {words.figure(limit.ratio)}" if limit.ratio < ABOVE else f"{asked}, ratio above {ABOVE:g}"


def _finding(wrist: Wrist, found: list[Limit], short: list[Limit], target: float) -> Finding:
    """All rated values that are not kept, in one: a change is enough when it is enough for all of them."""
    case = wrist.case
    t = case.job.trajectory.t
    worst = worst_of(short, target)
    place = case.place(worst.worst)
    over = np.zeros(t.size, dtype=bool)
    for limit in short:
        with np.errstate(divide="ignore"):
            over |= short_of(limit.rated / limit.most, target)
    spans = _spans(t, np.flatnonzero(over))
    more = f"; and {len(short) - 1} more of its rated values" if len(short) > 1 else ""
    return Finding(
        check="flange",
        verdict=overall(judge(limit.low, limit.high, target) for limit in short),
        start=spans[0][0],
        end=spans[-1][1],
        spans=spans,
        worst={"t": place.t, "sample": place.sample, "move": place.move, **_entry(case, worst)},
        because={"cause": worst.unknown or _cause(case, worst)},
        remedies=remedies(wrist, found, short, target),
        text=f"{words.in_move(place.move).removeprefix(' in ')}, ".lstrip(", ")
        + f"{place.t:.3f} s: {_asked(worst, target)}{more}",
        lines=tuple(("rated", _asked(limit, target)) for limit in short),
    )


def _asked(limit: Limit, target: float) -> str:
    unit = limit.unit
    rated = f"rated {limit.rated:.4g} {unit}" + ("" if target == 1.0 else f", {limit.rated / target:.4g} by the target")
    if limit.unknown:
        return f"{limit.subject} not known, {rated}"
    least, most = float(limit.least.max()), float(limit.most.max())
    asked = f"{most:.3g}" if most <= 1.005 * least else f"{least:.3g} to {most:.3g}"
    return f"{limit.subject} {asked} {unit}, {rated}"


def _spans(t: FloatArray, short: NDArray[np.intp]) -> tuple[tuple[float, float], ...]:
    runs = np.split(short, np.flatnonzero(np.diff(short) > 1) + 1)
    return tuple((float(t[run[0]]), float(t[run[-1]])) for run in runs)


def _cause(case: Case, limit: Limit) -> str:
    gripper, part = case.job.gripper.mass or 0.0, case.job.part.mass
    if not case.airborne[limit.worst]:
        return f"the gripper alone, {gripper:.3g} kg"
    return f"the gripper's {gripper:.3g} kg and the part's {part:.3g} kg"


WRIST = Check(
    name="flange",
    question="May the robot carry gripper and part: are the rated values of its wrist kept?",
    judged=(Judged(name="flange", target=lambda job: job.targets.flange if job.flange else None),),
    run=check_flange,
    result_words=lambda *_: ("", ()),
    finding_words=lambda *_: ("", ()),
    needs=lambda job: None if job.flange else "the job has no [flange] with rated values",
    references=lambda job: (
        (
            "Load at the wrist: centres of mass and parallel axes, any text on mechanics; terms as in ISO 9946 (from "
            "memory).",
        )
        if job.flange
        else ()
    ),
)
