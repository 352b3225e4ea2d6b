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
from gripmargin.checks.wrist import NO_AXES, NO_COM, NO_INERTIA, NO_MASS, Limit, Wrist
from gripmargin.findings import CheckResult, Finding, NotChecked, Outcome, Remedy, Verdict, judge, overall, short_of

UNITS: Final = {"payload": "kg", "moment": "N m", "inertia": "kg m^2"}
NAMES: Final = {"payload": "payload", "moment": "static moment", "inertia": "moment of inertia"}
ROUNDING = 1e-9  # share of a rated value below which what is asked counts as nothing
ABOVE = 100.0  # ratio from which its figure says no more
STEP = 1e-4  # [m] over which the way to shift the part is found
FARTHEST = 0.5  # [m] a part is not gripped further off than that
HALVINGS = 9

_WANTED: Final = {
    NO_MASS: "weigh the gripper and give gripper.mass",
    NO_COM: "give gripper.com",
    NO_INERTIA: "give gripper.inertia",
    NO_AXES: "give flange.wrist, or the program in joint values",
}

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
        findings=(_finding(wrist, short, target),) if short else (),
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
    worst = _worst(found, target)
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


def _worst(found: list[Limit], target: float) -> Limit:
    """What fails goes before what cannot be decided."""
    failing = [limit for limit in found if judge(limit.low, limit.high, target) is Verdict.FAIL]
    return min(failing or found, key=lambda limit: limit.high if failing else limit.low)


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


def _subject(limit: Limit) -> str:
    return NAMES[limit.kind] if limit.axis is None else f"{NAMES[limit.kind]} about {limit.axis}"


def _line(limit: Limit) -> str:
    unit = UNITS[limit.kind]
    if limit.unknown:
        return f"{_subject(limit)}: not known, rated {limit.rated:.4g} {unit}; {limit.unknown}"
    asked = f"{_subject(limit)}: at most {_amount(limit, limit.asked):.3g} {unit} of {limit.rated:.4g} {unit}"
    return f"{asked}, ratio {words.figure(limit.ratio)}" if limit.ratio < ABOVE else f"{asked}, ratio above {ABOVE:g}"


def _finding(wrist: Wrist, short: list[Limit], target: float) -> Finding:
    """All rated values that are not kept, in one: a change is enough when it is enough for all of them."""
    case = wrist.case
    t = case.job.trajectory.t
    worst = _worst(short, target)
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
        remedies=_remedies(wrist, short, target),
        text=f"{words.in_move(place.move).removeprefix(' in ')}, ".lstrip(", ")
        + f"{place.t:.3f} s: {_asked(worst, target)}{more}",
        lines=tuple(("rated", _asked(limit, target)) for limit in short),
    )


def _asked(limit: Limit, target: float) -> str:
    unit = UNITS[limit.kind]
    rated = f"rated {limit.rated:.4g} {unit}" + ("" if target == 1.0 else f", {limit.rated / target:.4g} by the target")
    if limit.unknown:
        return f"{_subject(limit)} not known, {rated}"
    least, most = float(limit.least.max()), float(limit.most.max())
    asked = f"{most:.3g}" if most <= 1.005 * least else f"{least:.3g} to {most:.3g}"
    return f"{_subject(limit)} {asked} {unit}, {rated}"


def _spans(t: FloatArray, short: NDArray[np.intp]) -> tuple[tuple[float, float], ...]:
    runs = np.split(short, np.flatnonzero(np.diff(short) > 1) + 1)
    return tuple((float(t[run[0]]), float(t[run[-1]])) for run in runs)


def _cause(case: Case, limit: Limit) -> str:
    gripper, part = case.job.gripper.mass or 0.0, case.job.part.mass
    if not case.airborne[limit.worst]:
        return f"the gripper alone, {gripper:.3g} kg"
    return f"the gripper's {gripper:.3g} kg and the part's {part:.3g} kg"


def _remedies(wrist: Wrist, short: list[Limit], target: float) -> tuple[Remedy, ...]:
    out = []
    missing = dict.fromkeys(limit.unknown for limit in short if limit.unknown and limit.high >= target)
    if missing:
        out.append(Remedy(action="better data", text="; ".join(_WANTED[reason] for reason in missing)))
    known = [limit for limit in short if not limit.unknown]
    if any(judge(limit.low, limit.high, target) is Verdict.UNDECIDED for limit in known):
        text = "give the program in joint values, which tell how the axes stand, and densely sampled"
        out.append(Remedy(action="better data", text=text))
    if known and len(known) == len(short):
        out += [remedy for remedy in (_shift(wrist, short, target), _lighter(wrist.case, short, target)) if remedy]
        needed = ", ".join(f"{_subject(x)} {_up(target * float(x.most.max())):.4g} {UNITS[x.kind]}" for x in known)
        factor = _up(target / min(limit.low for limit in known))
        out.append(Remedy(action="robot", text=f"take a robot rated for: {needed}", figures={"factor": factor}))
    elif not out or any(judge(limit.low, limit.high, target) is Verdict.FAIL for limit in short):
        least = _worst(short, target)
        needed = f"{_subject(least)} above {_up(target * float(least.least.max())):.4g} {UNITS[least.kind]}"
        out.insert(0, Remedy(action="robot", text=f"take a robot rated for: {needed}", figures={"factor": None}))
    return tuple(out)


def _lighter(case: Case, short: list[Limit], target: float) -> Remedy | None:
    """Weights, moments and inertias go with the mass that stays where it is."""
    mass = (case.job.gripper.mass or 0.0) + case.job.part.mass
    allowed = math.floor(1e3 * mass * min(limit.low for limit in short) / target + 1e-9) / 1e3
    if not 0 < allowed < mass:
        return None
    same = "" if all(limit.kind == "payload" for limit in short) else ", with the same centre of mass and shape"
    text = f"make gripper and part together lighter by {mass - allowed:.3f} kg, to {allowed:.3f} kg{same}"
    return Remedy(action="lighten", text=text, figures={"mass": allowed, "less": mass - allowed})


def _shift(wrist: Wrist, short: list[Limit], target: float) -> Remedy | None:
    """The least shift of the part along the pads that is enough for every axis, along the steepest way."""
    case, part = wrist.case, wrist.case.job.part
    if any(limit.kind == "payload" for limit in short) or not any(case.airborne[limit.worst] for limit in short):
        return None
    about_axes = [limit for limit in wrist.limits() if limit.kind != "payload"]

    def ratio(shift: FloatArray, limits: list[Limit] = about_axes) -> float:
        moved = replace(part, com=part.com + shift)
        return min(wrist.limit(x.kind, x.place or 0, x.rated, moved).low for x in limits)

    slope = np.array([ratio(STEP * e, short) - ratio(-STEP * e, short) for e in np.eye(3)[:2]])
    size = float(np.hypot(*slope))
    if not size > 0:
        return None
    along = np.array([*(slope / size), 0.0])
    far = next((d for d in np.geomspace(2e-3, FARTHEST, 9) if ratio(d * along) >= target), None)
    if far is None:
        return None
    low, high = 0.0, float(far)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        low, high = (low, middle) if ratio(middle * along) >= target else (middle, high)
    shift = np.sign(along) * np.ceil(np.abs(1e3 * high * along) - 1e-3) / 1e3
    reached = ratio(shift)
    if not reached >= target:
        return None
    dx, dy = (float(d) + 0.0 for d in shift[:2])
    text = (
        f"grip the part elsewhere, so that its centre of mass moves by x {1e3 * dx:+.0f} mm, y {1e3 * dy:+.0f} mm in "
        f"the tool frame: ratio {words.figure(reached)} (the grip margin changes with it)"
    )
    return Remedy(action="shift part", text=text, figures={"x": dx, "y": dy, "ratio": reached})


def _up(value: float) -> float:
    """A value rounded up to three figures."""
    if not 0 < value < math.inf:
        return value
    digits = 2 - math.floor(math.log10(value))
    return math.ceil(value * 10.0**digits - 1e-9) / 10.0**digits
