"""What the checks of preload and release found, in sentences."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from gripmargin.checks import words
from gripmargin.checks.check import Said, SaidOfFinding
from gripmargin.checks.handover import lift_off_words
from gripmargin.checks.handover.figures import (
    Cause,
    LettingGo,
    LiftOffDetails,
    NeverDown,
    PreloadDetails,
    ReleaseDetails,
    Seat,
    Travel,
    Way,
    WorstLiftOff,
    WorstPreload,
    WorstRelease,
)
from gripmargin.checks.hold.figures import Spot
from gripmargin.results.findings import CheckResult, Finding
from gripmargin.workcell import ReleaseKind

# ---- a phase that the job does not name ----


def no_phase(check: str, table: str, what: str) -> tuple[str, str]:
    """Say what is not known of a check that a table of the job asks for, and what would tell it."""
    reason = f"{what} is not known: the job has {table}, but no {check} phase"
    without = (
        "every pad then counts as fully pressed on, and the press is" if check == "preload" else "the release is then"
    )
    return reason, f"say in program.phases when it happens, or leave {table} out: {without} not checked"


# ---- preload ----

PRELOAD: Final = "lowest share of full adhesion on the pads after the preload"
ACTIVATION: Final = "the lowest share of full adhesion"
NO_PICK: Final = "the job has no [pick] face"
NO_TOUCH: Final = "it never touches there"
BUCKLED: Final = "pressed beyond its overload pressure, its fibres have buckled"
TOO_LIGHT: Final = "not pressed hard enough"
MEASURE_ADHESION: Final = "measure how adhesion grows with preload (full_preload or preload_curve)"
TOO_MUCH: Final = "the pressure needed is more than the part or the pads may take"


def preload_result(found: CheckResult, details: PreloadDetails | LiftOffDetails) -> Said:
    """Say a result of the preload."""
    if isinstance(details, LiftOffDetails):
        return lift_off_words.result(details)
    return PRELOAD, (
        f"mean activation {words.figure(details.mean_activation)}; {100 * details.activated_share:.0f} % of the "
        f"contact area reaches {found.target:g}",
        f"overtravel {words.plain(1e3 * details.overtravel, 3)} mm at the pads' centre, tool tilted "
        f"{np.degrees(details.tilt):.2f} deg to the face, peak pressure from "
        f"{words.stress(details.lowest_peak_pressure)} to {words.stress(details.highest_peak_pressure)}",
        f"sideways slip while touching {words.plain(1e3 * details.sideways_slip, 3)} mm, shortest time under "
        f"pressure {details.shortest_time_under_pressure:.2f} s",
    )


def preload_finding(_: Finding, worst: WorstPreload | WorstLiftOff, because: Cause) -> SaidOfFinding:
    """Say a finding of the preload."""
    move, t, pad = words.move_first(worst.at.move), worst.at.t, worst.spot.pad
    if isinstance(worst, WorstLiftOff):
        text = f"{move}{t:.3f} s: as the part leaves its tray the margin is {words.figure(worst.margin)} on pad '{pad}'"
        unsure = (("unsure", reason) for reason in because.undecided or ())
        return text, (("load", words.load(worst.load.force, worst.load.moment)), *unsure)
    lowest = f"lowest activation {words.figure(worst.activation)} on pad '{pad}'"
    where = (
        f"pad '{pad}', {_spot(worst.spot)}: peak pressure {words.stress(worst.peak_pressure)}, "
        f"{worst.time_under_pressure:.2f} s under pressure"
    )
    return f"{move}pressed deepest at {t:.3f} s: {lowest}; {because.cause}", (("where", where),)


def preload_assumed(place: Sequence[float] | None, flatness: float) -> tuple[str, ...]:
    """Say what a preload takes for granted.

    Args:
        place: Where the tool frame comes down on the face [m]; None where that was judged.
        flatness: Of the face [m].
    """
    plane = f" to {1e6 * flatness:.0f} um" if flatness else ""
    still = f"While the tray holds the part, it does not move, and its face is plane{plane}."
    if place is None:
        return (still,)
    x, y = (1e3 * c + 0.0 for c in place)
    return (
        f"The part's place along its tray is not judged: the tool frame comes down at x {x:+.1f}, y {y:+.1f} mm of "
        "pick.face.",
        still,
    )


def tilted(tilt: float) -> str:
    """Say that the tool is not parallel to the face [rad]."""
    return f"the tool is tilted by {np.degrees(tilt):.2f} deg to the face"


def never_touches(tilt: float) -> str:
    """Say that a tilted tool [rad] keeps a place off the face."""
    return f"{NO_TOUCH}; {tilted(tilt)}"


def too_short(time: float, dwell: float) -> str:
    """Say that the time under pressure is shorter than the least dwell [s]."""
    return f"pressed on for {time:.2f} s only, {dwell:.2f} s are needed"


def no_law(materials: Sequence[str]) -> str:
    """Say whose adhesion by preload is not known."""
    return f"material {', '.join(sorted(set(materials)))} gives neither full_preload nor preload_curve"


def unreachable(pad: str, target: float) -> str:
    """Say that no pressure gives a pad the activation wanted."""
    return f"pad '{pad}': no pressure reaches {target:g} by its curve"


def dwell(longer: float) -> str:
    """Advise a longer rest [s]."""
    return f"rest {longer:.2f} s longer on the part"


def press_deeper(by: float, longer: float) -> str:
    """Advise a deeper press [m] and, where it is needed, a longer rest [s]."""
    return f"press {1e3 * by:.2f} mm deeper{_and_dwell(longer)}"


def press_less_deep(by: float, longer: float) -> str:
    """Advise a press less deep [m] and, where it is needed, a longer rest [s]."""
    return f"press {1e3 * by:.2f} mm less deep{_and_dwell(longer)}"


def both(by: float, longer: float) -> str:
    """Advise a parallel tool that presses deeper [m] and, where it is needed, a longer rest [s]."""
    return f"bring the tool parallel to the face and press {1e3 * by:.2f} mm deeper{_and_dwell(longer)}"


def align(limit: float, now: float, longer: float) -> str:
    """Advise a tool more nearly parallel to the face [deg] and, where it is needed, a longer rest [s]."""
    return f"bring the tool parallel to the face to within {limit:.2f} deg (now {now:.2f}){_and_dwell(longer)}"


def _and_dwell(longer: float) -> str:
    return f" and {dwell(longer)}" if longer > 0 else ""


# ---- release ----

RELEASE: Final = "restraint of the part in its nest over what the pads demand, at the worst instant"
STAYS: Final = "whether the part stays"
NO_NEST: Final = "the job has no [nest] face"
NO_RELEASE: Final = "the job has no release phase"
WORTH_SAYING: Final = 20.0  # ratio from which on a way is left out of the text
UNITS: Final[Mapping[str, str]] = {"lift": "N", "slide": "N", "turn": "N m", "tip": "N m"}
DOES: Final[Mapping[str, str]] = {
    "lift": "lifts the part out of its nest",
    "slide": "slides the part sideways",
    "turn": "turns the part about the face normal",
    "tip": "tips the part over the edge of its support",
}
STATED_BY: Final[Mapping[str, str]] = {
    "slide": "nest.lateral_force",
    "turn": "nest.moment",
    "tip": "nest.support or part.outline",
}
VERBS: Final[Mapping[ReleaseKind, str]] = {"peel": "tilt", "torsion": "twist", "shear": "slide", "overload": "press"}
NOT_DOWN: Final = "the part is not down in its nest"
ASKEW: Final = "the part is set down askew"
NO_OVERLOAD: Final = "an overload release needs overload_pressure and overload_residual measured on the pad"
MEASURE_OVERLOAD: Final = (
    "measure the overload of the pad (overload_pressure, overload_residual), or release by another way"
)
PRESS_WITHOUT_SLIDING: Final = (
    "press the pads on level and without sliding, let go by another way, or give the nest more lateral_force"
)
UNFINISHED: Final = "the release phase ends before the tool has left the part"
BOND_AGAIN: Final = "how cells that break and are pressed on again bond is not known: as at first, or fully"
HELD_SOMEWHERE: Final = "where break_away holds a part that bends is not known: evenly, or by a place of its rim alone"
STAY_PUT: Final = "come down level and without sliding, or lift the tool off once before it is pressed on"
LIFT_FIRST: Final = "let go without pressing the pads on any further, or leave the part more restraint"
HELD_BEFORE: Final = {  # why a release is open, and what decides it, by what is not known of the bond before it
    "": (BOND_AGAIN, LIFT_FIRST),
    "pressed": (
        "what presses the part on the pads while it is carried may add to their bond, by how much is not known",
        "a smaller force of the process, or a nest that holds the part more firmly, decides it",
    ),
    "uneven": (
        "how evenly the pads hold is known between bounds alone, and what lets go one after the other turns the part",
        "press the pads on evenly and fully, or have the nest hold the part more firmly",
    ),
    "bowed": (
        "how far the face of the part lies below its plane is known by pick.flatness alone, and how deep the pads are "
        "pressed on in the nest by no more than that",
        "a smaller flatness, a release that presses on less, or one that goes lower before it lets go",
    ),
}
CELLS_TOO_COARSE: Final = "the target lies within what the size of the cells leaves open of the ratio"
MORE_THAN_ENOUGH: Final = "move a little further before the tool leaves, or hold the part down a little harder"
GO_ON: Final = "let the release phase go on until the tool has left the part"
GO_FURTHER: Final = f"{GO_ON}, and if it ends there, move further"
STATE_THE_NEST: Final = "state in [nest] what it takes sideways, in torsion and where it supports"
NO_TRAVEL: Final = "no travel of this kind is enough: choose another way of release"
NO_HOLD_DOWN: Final = "support the part further out, or release from another side: no hold-down keeps it from tipping"


def release_result(_: CheckResult, details: ReleaseDetails) -> Said:
    """Say the result of a release."""
    if details.course is None:
        return RELEASE, (_not_down(details.seat, lead="never closer than "),)
    return RELEASE, tuple(_course(details.course))


def _course(course: LettingGo) -> list[str]:
    lines = [
        f"bonded share {100 * course.bonded_at_start:.0f} % at the start, {100 * course.bonded_at_end:.0f} % at the end"
    ]
    if course.travel is not None:
        lines.append(_travel(course.travel))
    lines += [said for name, way in course.ways.items() if (said := _way(name, way))]
    return lines


def _travel(found: Travel) -> str:
    needs = "more than can be told"
    if found.required is not None:
        needs = travel(found.kind, rounded_up(found.kind, found.required))
    return f"{VERBS[found.kind]} {travel(found.kind, found.achieved)}, needs {needs} (target included)"


def _way(name: str, way: Way) -> str:
    if way.ratio is not None and way.ratio < WORTH_SAYING:
        return f"{name}: at most {_against(name, way.demand, way.restraint)}, ratio {words.figure(way.ratio)}"
    if way.demand > 1e-9 and way.restraint is None:
        return f"{name}: up to {way.demand:.3g} {UNITS[name]}, restraint not given"
    return ""


def _against(way: str, demand: float, restraint: float | None) -> str:
    unit = UNITS[way]
    return f"{demand:.3g} {unit} against {math.nan if restraint is None else restraint:.3g} {unit}"


def release_finding(_: Finding, worst: WorstRelease | NeverDown, because: Cause) -> SaidOfFinding:
    """Say a finding of the release."""
    if isinstance(worst, NeverDown):
        return _not_down(worst.seat, tail=" when it is let go"), ()
    against = f": {_against(worst.way, worst.demand, worst.restraint)}" if worst.overpowered else ""
    text = f"{words.move_first(worst.at.move)}{worst.at.t:.3f} s: {because.cause}{against}"
    return text, (("bond", f"{100 * worst.bonded:.0f} % of the bond is left at that instant"),)


def _not_down(seat: Seat, *, lead: str = "", tail: str = "") -> str:
    if seat.seated == "askew":
        tilt = np.degrees(seat.seat_tilt or 0.0)
        return f"the part is askew by {tilt:.2f} deg when it is set down: the pads are torn off at one side"
    return f"the part is {lead}{1e3 * seat.seat_height:.2f} mm above its nest{tail}"


def set_free(force: float) -> str:
    """Say what pads that the press has strained do where one of them buckles first."""
    return f"the press strains the pads against each other, and the first that buckles sets {force:.2g} N sideways free"


def not_stated(ways: Sequence[str]) -> str:
    """Say what the job does not tell of a nest that has to withstand the pads in some ways."""
    return f"the job does not say what the nest takes: {', '.join(STATED_BY[way] for way in ways if way in STATED_BY)}"


def follows(bonded: float) -> str:
    """Say that the pads still hold the part by a share of their bond when the move ends."""
    return f"{100 * bonded:.0f} % of the bond is left when the move ends: the part follows the pads"


def takes_along(way: str) -> str:
    """Say in which way the pads take the part along or out of place."""
    return f"the release {DOES[way]}"


def release_assumed(*, full_bond: bool, places: Sequence[Sequence[float]], on_outline: bool) -> tuple[str, ...]:
    """Say what a release takes for granted.

    Args:
        full_bond: Whether a full bond was assumed.
        places: Where the tool frame comes down on the face of the nest in each release [m], unless that was judged.
        on_outline: Whether the part was taken to stand on its outline.
    """
    out = [
        "Release: the pads are taken as freshly cleaned, for the strongest hold is the hardest to let go.",
        "Release: with the strengths given; pads that hold more than that are harder to let go.",
        "While the nest holds the part, it does not move, and its face is plane.",
    ]
    if full_bond:
        out.append(
            "Release: from a full bond (only a preload_curve can say less), and from what the press surely leaves."
        )
    for x, y in places:
        out.append(
            "The part's place along the face of its nest is not judged: the tool frame comes down at "
            f"x {1e3 * x:+.1f}, y {1e3 * y:+.1f} mm of nest.face."
        )
    if on_outline:
        out.append("Release: the part stands on its whole outline (nest.support is not given).")
    return tuple(out)


def lower(by: float) -> str:
    """Advise to bring the part down by a further way [m]."""
    return f"go {1e3 * by:.2f} mm lower before the release, or correct nest.face by as much"


def level(tilt: float) -> str:
    """Advise to bring a tool parallel to the nest that is off by an angle [rad]."""
    return f"bring the tool parallel to the nest (now {np.degrees(tilt):.2f} deg off), or correct nest.face"


def travel(kind: ReleaseKind, way: float) -> str:
    """Say the travel of a release in its own unit."""
    if kind in ("peel", "torsion"):
        return f"{np.degrees(way):.2f} deg"
    return words.stress(way) if kind == "overload" else f"{1e3 * way:.2f} mm"


def rounded_up(kind: ReleaseKind, way: float) -> float:
    """Up to a tenth of a degree, a hundredth of a millimetre or of a N/cm^2."""
    if kind in ("peel", "torsion"):
        return float(np.deg2rad(math.ceil(10 * np.degrees(way)) / 10))
    unit = 100.0 if kind == "overload" else 1e-5
    return math.ceil(way / unit - 1e-9) * unit


def go_further(kind: ReleaseKind, goal: float, now: float, depth: float | None) -> str:
    """Advise more travel.

    Args:
        kind: Of the release.
        goal: Travel that is enough, [rad], [m] or [Pa].
        now: Travel so far.
        depth: Of the pads in their backing then [m]; None where it is no press.
    """
    deep = "" if depth is None else f"; the pads are then {1e3 * depth:.2f} mm in their backing"
    return f"{VERBS[kind]} {travel(kind, goal)} before the tool leaves (now {travel(kind, now)}{deep})"


def let_go(kind: ReleaseKind, goal: float, hinge: tuple[float, float] | None) -> str:
    """Advise another way to let go.

    Args:
        kind: Of the release.
        goal: Its travel [rad] or [m].
        hinge: About which side of the pads the tool tilts, tool frame [m]; None where it does not.
    """
    about = {"torsion": " about the pads' centre", "shear": " along the x axis of nest.face"}.get(kind, "")
    if hinge is not None:
        about = f" about the side of the pads at x {1e3 * hinge[0]:+.1f}, y {1e3 * hinge[1]:+.1f} mm (tool frame)"
    return f"let go by another move: {VERBS[kind]} {travel(kind, goal)}{about}, then leave straight"


def smaller_pads(factor: float) -> str:
    """Advise smaller pads by a factor on length and width."""
    return f"make every pad {factor:.2f} times as long and as wide, which hold still allows"


def without_pad(name: str) -> str:
    """Advise a gripper without one of its pads."""
    return f"leave out pad '{name}', which hold still allows"


def too_hard_a_press(goal: float) -> str:
    """Say that the part may not take the pressure [Pa] that lets go."""
    return f"it takes {words.stress(goal)} to let go, more than the part may take: choose another way of release"


def stronger_nest(force: float | None, limits: Mapping[str, float]) -> str:
    """Advise a nest that withstands the pads.

    Args:
        force: Further hold-down [N]; None where there is enough.
        limits: What the nest has to take in some ways, [N] or [N m].
    """
    texts = [] if force is None else [f"hold the part down in its nest with {force:.1f} N more"]
    texts += [f"let the nest take {limit:.3g} {UNITS[way]} ({STATED_BY[way]})" for way, limit in limits.items()]
    return " and ".join(texts)


def _spot(spot: Spot) -> str:
    return words.spot(spot.point, spot.azimuth)
