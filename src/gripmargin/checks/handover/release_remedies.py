"""What to change where a release does not let go, or takes the part along.

What a program or a grip can do comes first; a nest that takes far more is named only where nothing of that was shown.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from gripmargin.checks import changes
from gripmargin.checks.advice import Change, Trials, ordered
from gripmargin.checks.case import Case
from gripmargin.checks.handover import words
from gripmargin.checks.handover.letting_go import LetGo
from gripmargin.checks.handover.other_release import Way, further, travels, ways, with_way
from gripmargin.checks.hold.check import results as hold_results
from gripmargin.contact.restraint import WAYS
from gripmargin.contact.travel import RequiredTravel
from gripmargin.kernels.search import furthest
from gripmargin.results.findings import Remedy, on_target
from gripmargin.workcell.job import Job

LIMITS = {"slide": "lateral_force", "turn": "moment"}  # ways of a nest that have a limit, by its key
OTHERS = 4  # other ways to let go that are looked at
TRIALS = 3  # changed jobs with another way to let go, or with smaller pads, that are put to the check
MODEST = 2.0  # times what a nest is said to take that it is asked for beside other changes (no source)
ONWARD = (1.0, 1.03, 1.1)  # times a travel or a force that was found, until the check passes
FINE = 0.05  # step of that factor


def release_remedies(found: LetGo, trials: Trials) -> tuple[Remedy, ...]:
    """Return what to change.

    Args:
        found: The release that fails.
        trials: Of the release.
    """
    case = trials.case
    if case.trial:
        return ()
    target, gone = case.job.targets.release, found.travel
    short = {way for way in WAYS if not on_target(found.least_of(way), target)}
    out: list[Remedy | None] = []
    if gone is not None and gone.achieved < gone.required < math.inf:
        out.append(trials.tried(_further(case, found, gone)))
    if not _any_shown(out):
        out.append(_otherwise(case, found, Trials(case, trials.results, trials.name, most=TRIALS)))
    if not _any_shown(out) and not found.follows:
        for changed in (_smaller(case, found), _fewer(case, found)):
            out.append(Trials(case, trials.results, trials.name, hold_results, TRIALS).tried(changed))
    if not found.follows:
        out.append(trials.tried(_held_down(case, found, short)))
        if not _any_shown(out) or _modest(found, short, target):
            out.append(trials.tried(_stronger_nest(case, found, short)))
    if not _any_shown(out) and short & {"lift", "tip"} and not short & set(LIMITS) and not found.follows:
        out += [] if _hold_down(case, found, target) else [Remedy(action="nest", text=words.NO_HOLD_DOWN)]
    if gone is not None and gone.kind == "overload" and gone.achieved < gone.required < math.inf:
        goal = words.rounded_up(gone.kind, gone.required)
        if not _may_take(case, goal):
            out.insert(0, Remedy(action="none", text=words.too_hard_a_press(goal)))
    if found.follows and not any(out):
        out.append(Remedy(action="travel", text=words.GO_FURTHER))
    return ordered(out) or (Remedy(action="none", text=words.NO_TRAVEL),)


def _modest(found: LetGo, short: set[str], target: float) -> bool:
    """Whether what the nest would have to take is not far from what it is said to take."""
    return all(on_target(MODEST * found.least_of(way), target) for way in short & set(LIMITS))


def _any_shown(found: list[Remedy | None]) -> bool:
    return any(remedy is not None and remedy.shown for remedy in found)


def _may_take(case: Case, pressure: float) -> bool:
    allowed = case.job.part.max_pressure
    return allowed is None or on_target(allowed / pressure, case.job.targets.pressure)


def _further(case: Case, found: LetGo, gone: RequiredTravel) -> Iterator[Change]:
    """The same move, further."""
    for onward in ONWARD:
        goal = words.rounded_up(gone.kind, gone.required * onward)
        figures: dict[str, Any] = {"kind": gone.kind, "travel": goal}
        if gone.kind == "overload":
            if not _may_take(case, goal):
                return
            most = max(goal / face.patch.pad.material.normal_stiffness for face in found.release.faces)
            figures["depth"] = math.ceil(1e5 * most - 1e-6) / 1e5
        text = words.go_further(gone.kind, goal, gone.achieved, figures.get("depth"))
        yield Change(
            remedy=Remedy(action="travel", text=text, figures=figures),
            job=lambda goal=goal: further(case, found.release, goal),  # type: ignore[misc]
        )


def _otherwise(case: Case, found: LetGo, trials: Trials) -> Remedy | None:
    """Another way to let go: the first that is shown to be enough; None where none of those looked at is."""
    release, looked_at = found.release, 0
    for way in ways(release):
        if looked_at >= OTHERS:
            return None
        further_does = found.travel is not None and found.travel.required < math.inf
        if way.kind == release.kind and way.hinge is None and further_does:
            continue  # to go further is advised already
        looked_at += 1
        goals = [words.rounded_up(way.kind, goal) for goal in travels(case.job, release, way)]
        remedy = trials.tried(_leaving(case, found, way, goal) for goal in goals)
        if remedy is not None and remedy.shown:
            return remedy
    return None


def _leaving(case: Case, found: LetGo, way: Way, goal: float) -> Change:
    figures: dict[str, Any] = {"kind": way.kind, "travel": goal}
    if way.hinge is not None:
        figures |= {"x": way.hinge[0], "y": way.hinge[1]}
    return Change(
        remedy=Remedy(action="release", text=words.let_go(way.kind, goal, way.hinge), figures=figures),
        job=lambda: with_way(case, found.release, way, goal),
    )


def _room_in_hold(case: Case) -> float:
    return min((result.low or 0.0) / result.target for result in hold_results(case) if result.check == "hold")


def _smaller(case: Case, found: LetGo) -> Iterator[Change]:
    """Smaller pads, as far as hold has room: what they pull with goes with their area."""
    hold, needed = _room_in_hold(case), found.least / case.job.targets.release
    if not 0 < needed < 1 or not hold > 1:
        return
    first = math.floor(math.sqrt(needed) / FINE + 1e-9) * FINE
    for factor in (round(first, 2), round(first - FINE, 2)):
        if factor >= 1.0 / math.sqrt(hold):
            yield Change(
                remedy=Remedy(action="smaller pads", text=words.smaller_pads(factor), figures={"factor": factor}),
                job=lambda factor=factor: changes.resized(case.job, factor),  # type: ignore[misc]
            )


def _fewer(case: Case, found: LetGo) -> Iterator[Change]:
    """One pad less."""
    pads, fewer = len(case.job.gripper.pads), changes.spared_pad(case.job)
    if fewer is None or not _room_in_hold(case) > 1:
        return
    if (pads - 1) / pads <= found.least / case.job.targets.release < 1:
        name = case.job.gripper.pads[fewer].name
        yield Change(
            remedy=Remedy(action="fewer pads", text=words.without_pad(name), figures={"without": name}),
            job=lambda: changes.without_pad(case.job, fewer),
        )


def _held_down(case: Case, found: LetGo, short: set[str]) -> Iterator[Change]:
    """More hold-down, where that is all that lacks."""
    force = _hold_down(case, found, case.job.targets.release) if not short & set(LIMITS) else None
    for onward in ONWARD if force is not None else ():
        more = math.ceil(10 * (force or 0.0) * onward - 1e-6) / 10
        yield _of_the_nest(case, more, {})


def _stronger_nest(case: Case, found: LetGo, short: set[str]) -> Iterator[Change]:
    """One change of the nest: what it would have to take, all of it together."""
    target, force = case.job.targets.release, None
    if not short & set(LIMITS):
        return
    if short & {"lift", "tip"}:
        force = _hold_down(case, found, target)
        if force is None:
            return
    for onward in ONWARD:
        limits = {
            way: _limit(float(onward * target * found.forces.demand[way].max())) for way in LIMITS if way in short
        }
        more = None if force is None else math.ceil(10 * force * onward - 1e-6) / 10
        yield _of_the_nest(case, more, limits)


def _of_the_nest(case: Case, force: float | None, limits: dict[str, float]) -> Change:
    figures: dict[str, Any] = {LIMITS[way]: limit for way, limit in limits.items()}

    def job() -> Job:
        nest = case.job.nest
        held = None if nest is None else replace(nest, hold_down=nest.hold_down + (force or 0.0), **figures)
        return replace(case.job, nest=held)

    told = figures if force is None else {"force": force, **figures}
    text = words.stronger_nest(force, limits)
    return Change(remedy=Remedy(action="nest" if limits else "hold down", text=text, figures=told), job=job)


def _limit(need: float) -> float:
    """Three figures of a limit, rounded up."""
    step = 10.0 ** (math.floor(math.log10(need)) - 2)
    return math.ceil(need / step - 1e-9) * step


def _hold_down(case: Case, found: LetGo, target: float) -> float | None:
    """The further hold-down, to a tenth of a newton, against lifting and tipping; None: no hold-down does it."""
    job, release = case.job, found.release

    def enough(force: float) -> bool:
        forces = release.restraint(job, release.history.wrench, hold_down=force)
        return on_target([forces.least("lift"), forces.least("tip")], target)

    high = 1e4 * job.part.mass * float(np.linalg.norm(job.gravity))
    if not high > 0 or not enough(high):
        return None
    return math.ceil(10 * furthest(enough, high, 0.0, halvings=40) - 1e-6) / 10
