"""What the check of the wrist found, in sentences."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from gripmargin.checks import words
from gripmargin.checks.check import Said, SaidOfFinding
from gripmargin.checks.wrist.figures import Cause, FlangeDetails, Kind, Missing, RatedValue, WorstRated
from gripmargin.results.findings import CheckResult, Finding
from gripmargin.workcell.aboard import Aboard

NAMES: Final[Mapping[Kind, str]] = {
    "payload": "payload",
    "moment": "static moment",
    "inertia": "moment of inertia",
    "peak_force": "force in motion",
    "peak_moment": "moment in motion",
}
UNITS: Final[Mapping[Kind, str]] = {
    "payload": "kg",
    "moment": "N m",
    "inertia": "kg m^2",
    "peak_force": "N",
    "peak_moment": "N m",
}
FROM_THE_END: Final = ("last axis", "second last axis", "third last axis")
NOT_KNOWN: Final[Mapping[Missing, str]] = {
    Missing.MASS: "gripper.mass is not given: what the gripper itself weighs is not known",
    Missing.COM: "gripper.com is not given: where the gripper's weight acts is not known",
    Missing.INERTIA: "gripper.inertia is not given: how the gripper's own mass is spread is not known",
    Missing.AXES: (
        "the program gives poses and flange.wrist is not given: where the axes of the wrist lie is not known"
    ),
    Missing.CONTACT: (
        "what pads press or pull on the gripper is not known where a press or a release could not be followed"
    ),
}
WANTED: Final[Mapping[Missing, str]] = {
    Missing.MASS: "weigh the gripper and give gripper.mass",
    Missing.COM: "give gripper.com",
    Missing.INERTIA: "give gripper.inertia",
    Missing.AXES: "give flange.wrist, or the program in joint values",
    Missing.CONTACT: "give [pick] and [nest] of each part, so that press and release can be followed",
}

NO_RATED_VALUES: Final = "the job has no [flange] with rated values"
WEIGHT: Final = (
    "Flange: the moment about an axis is the whole weight times the distance of the centre of mass from it, the most "
    "that it can be in any posture of the arm."
)
NO_CONTACT: Final = (
    "Flange: rated values hold for weight and inertia; what pads and part press or pull on each other in press and "
    "release is not counted."
)
ALL_STATIONS: Final = (
    "Flange: weight and inertia of the parts on all stations count, and what pads and part press or pull on each other "
    "in press and release, by pads that pull as much as they can"
)
POSES: Final = (
    "Flange: the program tells no joints; about the axes before the last one the least favourable direction counts."
)
JOINTS_AND_DENSE: Final = "give the program in joint values, which tell how the axes stand, and densely sampled"
WHOLE_PROGRAM: Final = "the program"
ABOVE: Final = 100.0  # ratio from which its figure says no more


def axis(place: int, joints: int | None) -> str:
    """Name an axis by its position from the end of an arm: by its number, where the number of joints is known."""
    return FROM_THE_END[place] if joints is None else f"axis {joints - place}"


def subject(kind: Kind, about: str | None) -> str:
    """Name a value, and the axis that it is about."""
    return NAMES[kind] if about is None else f"{NAMES[kind]} about {about}"


def result(_: CheckResult, details: FlangeDetails) -> Said:
    """Say a result."""
    worst = details.worst
    text = f"rated value over what gripper and part ask: {subject(worst.limit, worst.axis)}"
    if worst.missing is not None:
        text += f"; {NOT_KNOWN[worst.missing]}"
    return text, tuple(_line(value) for value in details.limits)


def _line(value: RatedValue) -> str:
    name, rated = subject(value.limit, value.axis), f"{value.rated:.4g} {UNITS[value.limit]}"
    if value.missing is Missing.CONTACT and value.asked is not None:
        least = f"{value.asked_least:.3g} {UNITS[value.limit]}"
        return f"{name}: at least {least}, rated {rated}; {NOT_KNOWN[value.missing]}"
    if value.missing is not None:
        return f"{name}: not known, rated {rated}; {NOT_KNOWN[value.missing]}"
    if value.asked is None:
        return f"{name}: not known, rated {rated}"
    ratio = f"above {ABOVE:g}" if value.ratio is None or value.ratio >= ABOVE else words.figure(value.ratio)
    return f"{name}: at most {value.asked:.3g} {UNITS[value.limit]} of {rated}, ratio {ratio}"


def finding(_: Finding, worst: WorstRated, __: Cause) -> SaidOfFinding:
    """Say a finding: all rated values that are not kept."""
    more = f"; and {len(worst.short) - 1} more of its rated values" if len(worst.short) > 1 else ""
    text = f"{words.move_first(worst.at.move)}{worst.at.t:.3f} s: {_asked(worst.value, worst.target)}{more}"
    return text, tuple(("rated", _asked(value, worst.target)) for value in worst.short)


def _asked(value: RatedValue, target: float) -> str:
    name, unit = subject(value.limit, value.axis), UNITS[value.limit]
    rated = f"rated {value.rated:.4g} {unit}"
    if target != 1.0:
        rated += f", {value.rated / target:.4g} by the target"
    if value.missing is Missing.CONTACT and value.asked is not None:
        return f"{name} at least {value.asked_least:.3g} {unit}, {rated}"
    if value.missing is not None:
        return f"{name} not known, {rated}"
    least, most = value.asked_least, math.inf if value.asked_most is None else value.asked_most
    asked = f"{most:.3g}" if most <= 1.005 * least else f"{least:.3g} to {most:.3g}"
    return f"{name} {asked} {unit}, {rated}"


PUSHED = "with forces of the process"


CONTACT = "with what pads press or pull there"


def assumed(stations: Sequence[Aboard]) -> tuple[str, ...]:
    """Say what is taken for granted; of a gripper with stations what each has aboard, the one that is judged first."""
    if not stations:
        return WEIGHT, NO_CONTACT
    missing = [f"{each.hold or 'this hold'}: {each.unfollowed}" for each in stations if each.unfollowed]
    but = f"; not known, for it could not be followed: {', '.join(missing)}" if missing else ""
    return WEIGHT, f"{ALL_STATIONS}{but}."


def cause(gripper_mass: float, part_masses: Sequence[float]) -> str:
    """Say what a wrist carries [kg]: the gripper, alone or with parts."""
    if not part_masses:
        return f"the gripper alone, {gripper_mass:.3g} kg"
    if len(part_masses) == 1:
        return f"the gripper's {gripper_mass:.3g} kg and the part's {part_masses[0]:.3g} kg"
    return f"the gripper's {gripper_mass:.3g} kg and the parts' {' and '.join(f'{m:.3g}' for m in part_masses)} kg"


def not_rated(kind: Kind) -> str:
    """Say that a job does not give a rated value."""
    return f"the job gives no rated {NAMES[kind]} of the wrist"


def wanted(missing: Iterable[Missing]) -> str:
    """Say which data to give."""
    return "; ".join(WANTED[each] for each in missing)


def robot(needed: Iterable[tuple[Kind, str | None, float]], *, at_least: bool = False) -> str:
    """Say which robot to take: kinds of values, their axes, and what they have to be rated."""
    above = "above " if at_least else ""
    values = ", ".join(f"{subject(kind, about)} {above}{value:.4g} {UNITS[kind]}" for kind, about, value in needed)
    return f"take a robot rated for: {values}"


def lighter(less: float, allowed: float, *, same_shape: bool, several: bool = False) -> str:
    """Say by how much, and to which mass [kg], gripper and part, or several parts, have to become lighter."""
    same = ", with the same centre of mass and shape" if same_shape else ""
    return f"make gripper and part{'s' * several} together lighter by {less:.3f} kg, to {allowed:.3f} kg{same}"


def shift_part(dx: float, dy: float, ratio: float) -> str:
    """Say by how much [m] to grip the part elsewhere, and which ratio that gives."""
    return (
        f"grip the part elsewhere, so that its centre of mass moves by x {1e3 * dx:+.0f} mm, y {1e3 * dy:+.0f} mm in "
        f"the tool frame: ratio {words.figure(ratio)} (the grip margin changes with it)"
    )
