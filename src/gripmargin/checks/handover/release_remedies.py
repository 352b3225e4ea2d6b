"""What to change where a release does not let go, or takes the part along."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from gripmargin.checks.case import Case
from gripmargin.checks.handover import words
from gripmargin.checks.handover.letting_go import LetGo
from gripmargin.contact.restraint import WAYS
from gripmargin.contact.travel import RequiredTravel
from gripmargin.kernels.search import furthest
from gripmargin.results.findings import Remedy, on_target

LIMITS = {"slide": "lateral_force", "turn": "moment"}  # ways of a nest that have a limit, by its key


def release_remedies(case: Case, found: LetGo) -> list[Remedy]:
    """Return what would be enough, each by itself.

    Args:
        case: The job.
        found: The release that fails.
    """
    target, travel = case.job.targets.release, found.travel
    short = {way for way in WAYS if not on_target(found.least_of(way), target)}
    out = []
    if travel is not None and travel.achieved < travel.required < math.inf and not short & set(LIMITS):
        out.append(_travel(case, found, travel))
    if not found.follows:
        out += _nest(case, found, short)
    if not out and found.follows:
        out.append(Remedy(action="travel", text=words.GO_FURTHER))
    return out or [Remedy(action="none", text=words.NO_TRAVEL)]


def _travel(case: Case, found: LetGo, travel: RequiredTravel) -> Remedy:
    goal = words.rounded_up(travel.kind, travel.required)
    figures: dict[str, Any] = {"kind": travel.kind, "travel": goal}
    if travel.kind == "overload":
        allowed = case.job.part.max_pressure
        if allowed is not None and not on_target(allowed / goal, case.job.targets.pressure):
            return Remedy(action="none", text=words.too_hard_a_press(goal), figures=figures)
        most = max(goal / face.patch.pad.material.normal_stiffness for face in found.release.faces)
        figures["depth"] = math.ceil(1e5 * most - 1e-6) / 1e5
    text = words.go_further(travel.kind, goal, travel.achieved, figures.get("depth"))
    return Remedy(action="travel", text=text, figures=figures)


def _nest(case: Case, found: LetGo, short: set[str]) -> list[Remedy]:
    """One change of the nest: what it would have to take, all of it together."""
    target, force = case.job.targets.release, None
    figures: dict[str, float] = {}
    if short & {"lift", "tip"}:
        force = _hold_down(case, found, target)
        if force is None:
            return [Remedy(action="nest", text=words.NO_HOLD_DOWN)]
        figures["force"] = force
    limits = {way: _limit(float(target * found.forces.demand[way].max())) for way in LIMITS if way in short}
    figures |= {LIMITS[way]: limit for way, limit in limits.items()}
    if not figures:
        return []
    action = "nest" if limits else "hold down"
    return [Remedy(action=action, text=words.stronger_nest(force, limits), figures=figures)]


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
