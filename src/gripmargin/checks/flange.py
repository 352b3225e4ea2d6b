"""May the robot carry gripper and part: are its rated payload, moments and inertias at the wrist kept?"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.arrays import FloatArray
from gripmargin.case import Case
from gripmargin.checks import words
from gripmargin.checks.wrist import NO_AXES, Limit, Wrist
from gripmargin.findings import CheckResult, Finding, NotChecked, Outcome, Remedy, Verdict, judge, overall, short_of

UNITS: Final = {"payload": "kg", "moment": "N m", "inertia": "kg m^2"}
NAMES: Final = {"payload": "gripper and part together", "moment": "static moment", "inertia": "moment of inertia"}
FARTHEST = 0.5  # [m] a part is not gripped further off than that
HALVINGS = 12

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
        findings=tuple(_finding(wrist, limit, target) for limit in short),
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
    # What fails goes before what is not known, what is known before what is not.
    failing = [limit for limit in found if judge(limit.low, limit.high, target) is Verdict.FAIL]
    worst = min(failing or found, key=lambda limit: limit.high if failing else limit.low)
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
        text=f"rated value over what gripper and part ask: {_subject(worst)}"
        + (f"; {worst.unknown}" if worst.unknown else ""),
        lines=tuple(_line(limit) for limit in found),
        measure="ratio",
    )


def _bodies(case: Case) -> dict[str, Any]:
    return {"gripper_mass": case.job.gripper.mass, "part_mass": case.job.part.mass}


def _entry(case: Case, limit: Limit) -> dict[str, Any]:
    asked = float(limit.asked[limit.worst])
    return {
        "limit": limit.kind,
        "axis": limit.axis,
        "asked": _number(asked),
        "asked_most": _number(float(limit.most.max())),
        "rated": limit.rated,
        "ratio": _number(limit.ratio),
        "t": case.place(limit.worst).t,
    }


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _subject(limit: Limit) -> str:
    return NAMES[limit.kind] if limit.axis is None else f"{NAMES[limit.kind]} about {limit.axis}"


def _line(limit: Limit) -> str:
    unit = UNITS[limit.kind]
    if limit.unknown:
        return f"{_subject(limit)}: not known, rated {limit.rated:.4g} {unit}; {limit.unknown}"
    return (
        f"{_subject(limit)}: at most {limit.asked.max():.3g} {unit} of {limit.rated:.4g} {unit}, "
        f"ratio {words.figure(limit.ratio)}"
    )


def _finding(wrist: Wrist, limit: Limit, target: float) -> Finding:
    case = wrist.case
    t = case.job.trajectory.t
    place = case.place(limit.worst)
    verdict = judge(limit.low, limit.high, target)
    with np.errstate(divide="ignore"):
        least_ratio = limit.rated / limit.most
    short = np.flatnonzero(short_of(least_ratio, target))
    spans = _spans(t, short)
    where = f"{_subject(limit)}{words.in_move(place.move)} at {place.t:.3f} s"
    unit = UNITS[limit.kind]
    if limit.unknown:
        text = f"{_subject(limit)}: {limit.unknown}"
    else:
        most = "" if verdict is Verdict.FAIL else f" (it may be as much as {limit.most.max():.3g} {unit})"
        text = f"{where}: {limit.asked[limit.worst]:.3g} {unit}{most}, rated {limit.rated:.4g} {unit}" + (
            f", target {target:g} times that" if target != 1.0 else ""
        )
    return Finding(
        check="flange",
        verdict=verdict,
        start=spans[0][0],
        end=spans[-1][1],
        spans=spans,
        worst={"t": place.t, "sample": place.sample, "move": place.move, **_entry(case, limit)},
        because={"cause": limit.unknown or _cause(case, limit)},
        remedies=_remedies(wrist, limit, target),
        text=text,
    )


def _spans(t: FloatArray, short: NDArray[np.intp]) -> tuple[tuple[float, float], ...]:
    runs = np.split(short, np.flatnonzero(np.diff(short) > 1) + 1)
    return tuple((float(t[run[0]]), float(t[run[-1]])) for run in runs)


def _cause(case: Case, limit: Limit) -> str:
    gripper, part = case.job.gripper.mass or 0.0, case.job.part.mass
    if not case.airborne[limit.worst]:
        return f"the gripper alone, {gripper:.3g} kg"
    return f"the gripper's {gripper:.3g} kg and the part's {part:.3g} kg"


def _remedies(wrist: Wrist, limit: Limit, target: float) -> tuple[Remedy, ...]:
    if limit.unknown and limit.high >= target:
        need = "give flange.wrist, or the program in joint values" if limit.unknown == NO_AXES else "weigh the gripper"
        return (Remedy(action="better data", text=f"{need}: {limit.unknown}"),)
    out = []
    if judge(limit.low, limit.high, target) is Verdict.UNDECIDED:
        text = "give the program in joint values, which tell where the axes stand, or sample it more densely"
        out.append(Remedy(action="better data", text=text))
    out += [
        remedy for remedy in (_shift(wrist, limit, target), _lighter(wrist.case, limit, target)) if remedy is not None
    ]
    needed = target * float(limit.most.max() if math.isfinite(limit.most.max()) else limit.least.max())
    unit = UNITS[limit.kind]
    if not limit.unknown:
        text = f"take a robot rated for {_up(needed):.4g} {unit} ({_subject(limit)})"
        out.append(Remedy(action="robot", text=text, figures={"rated": _up(needed)}))
    return tuple(out)


def _lighter(case: Case, limit: Limit, target: float) -> Remedy | None:
    """Moments and inertias go with the mass that stays where it is."""
    if limit.unknown:
        return None
    loaded = bool(case.airborne[limit.worst])
    mass = (case.job.gripper.mass or 0.0) + (case.job.part.mass if loaded else 0.0)
    allowed = math.floor(1e3 * mass * limit.low / target + 1e-9) / 1e3
    if not 0 < allowed < mass:
        return None
    subject = "gripper and part together" if loaded else "the gripper"
    where = "" if limit.kind == "payload" else ", with the same centre of mass and in the same shape"
    text = f"make {subject} lighter by {mass - allowed:.3f} kg, to {allowed:.3f} kg{where}"
    return Remedy(action="lighten", text=text, figures={"mass": allowed, "less": mass - allowed})


def _shift(wrist: Wrist, limit: Limit, target: float) -> Remedy | None:
    """The least shift of the part along the pads, towards the axis, that is enough."""
    part = wrist.case.job.part
    if limit.place is None or limit.unknown or not wrist.case.airborne[limit.worst]:
        return None
    kind, place, rated = limit.kind, limit.place, limit.rated

    def ratio(shift: FloatArray) -> float:
        return wrist.limit(kind, place, rated, replace(part, com=part.com + shift)).low

    step = 1e-4
    slope = np.array([ratio(step * axis) - ratio(-step * axis) for axis in np.eye(3)[:2]])
    size = float(np.hypot(*slope))
    if not size > 0:
        return None
    along = np.array([*(slope / size), 0.0])
    far = next((d for d in np.geomspace(1e-3, FARTHEST, 16) if ratio(d * along) >= target), None)
    if far is None:
        return None
    low, high = 0.0, float(far)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        low, high = (low, middle) if ratio(middle * along) >= target else (middle, high)
    shift = math.ceil(1e3 * high - 1e-6) / 1e3 * along
    shift = np.sign(shift) * np.ceil(np.abs(1e3 * shift) - 1e-6) / 1e3
    reached = ratio(shift)
    if not reached >= target:
        return None
    dx, dy = float(shift[0]), float(shift[1])
    text = (
        f"grip the part so that its centre of mass lies by x {1e3 * dx:+.0f} mm, y {1e3 * dy:+.0f} mm (tool frame) "
        f"nearer to {limit.axis}: ratio {words.figure(reached)}"
    )
    return Remedy(action="shift part", text=text, figures={"x": dx, "y": dy, "ratio": reached})


def _up(value: float) -> float:
    """A value rounded up to three figures."""
    digits = 2 - math.floor(math.log10(value))
    return math.ceil(value * 10.0**digits - 1e-9) / 10.0**digits
