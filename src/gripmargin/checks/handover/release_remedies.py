"""What to change where a release does not let go, or takes the part along."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np

from gripmargin.checks import words
from gripmargin.checks.case import Case
from gripmargin.contact.handover import Putdown
from gripmargin.contact.restraint import Restraint, restraint
from gripmargin.contact.travel import RequiredTravel
from gripmargin.results.findings import Remedy

UNITS = {"lift": "N", "slide": "N", "turn": "N m", "tip": "N m"}
MOST_HOLD_DOWN = 1e4  # of the part's weight, beyond which holding down is no remedy
HALVINGS = 40


def release_remedies(
    case: Case, putdown: Putdown, forces: Restraint, required: RequiredTravel | None, *, follows: bool
) -> list[Remedy]:
    """Return what would be enough, each by itself.

    Args:
        case: The job.
        putdown: The release that fails.
        forces: Demand and restraint over it.
        required: How far it goes and would have to go; None where it has no kind.
        follows: Whether the pads still hold the part when the phase ends.
    """
    target = case.job.targets.release
    short = {way for way in ("lift", "slide", "turn", "tip") if _least(forces, way) < target}
    out = []
    if required is not None and required.achieved < required.required < math.inf and not short & {"slide", "turn"}:
        out.append(_travel(case, putdown, required))
    if not follows:
        out += _nest(case, putdown, forces, short)
    if not out and follows:
        text = "let the release phase go on until the tool has left the part, and if it ends there, move further"
        out.append(Remedy(action="travel", text=text))
    if not out:
        out.append(Remedy(action="none", text="no travel of this kind is enough: choose another way of release"))
    return out


def _least(forces: Restraint, way: str) -> float:
    ratio = forces.ratio(way)
    return float(ratio[~np.isnan(ratio)].min(initial=np.inf))


def _travel(case: Case, putdown: Putdown, required: RequiredTravel) -> Remedy:
    goal = rounded_up(required.kind, required.required)
    figures: dict[str, Any] = {"kind": required.kind, "travel": goal}
    now = way_in_words(required.kind, required.achieved)
    if required.kind == "overload":
        allowed = case.job.part.max_pressure
        if allowed is not None and goal * case.job.targets.pressure > allowed:
            text = (
                f"it takes {words.stress(goal)} to let go, more than the part may take: choose another way of release"
            )
            return Remedy(action="none", text=text, figures=figures)
        most = max(goal / face.patch.pad.material.normal_stiffness for face in putdown.faces)
        depth = math.ceil(1e5 * most - 1e-6) / 1e5
        figures["depth"] = depth
        now += f"; the pads are then {1e3 * depth:.2f} mm in their backing"
    text = f"{verb(required.kind)} {way_in_words(required.kind, goal)} before the tool leaves (now {now})"
    return Remedy(action="travel", text=text, figures=figures)


def _nest(case: Case, putdown: Putdown, forces: Restraint, short: set[str]) -> list[Remedy]:
    """One change of the nest: what it would have to take, all of it together."""
    target = case.job.targets.release
    texts: list[str] = []
    figures: dict[str, Any] = {}
    if short & {"lift", "tip"}:
        force = _hold_down(case, putdown, target)
        if force is None:
            text = "support the part further out, or release from another side: no hold-down keeps it from tipping"
            return [Remedy(action="nest", text=text)]
        figures["force"] = force
        texts.append(f"hold the part down in its nest with {force:.1f} N more")
    for way, key in (("slide", "lateral_force"), ("turn", "moment")):
        if way in short:
            need = float(target * forces.demand[way].max())
            step = 10.0 ** (math.floor(math.log10(need)) - 2)
            figures[key] = math.ceil(need / step - 1e-9) * step
            texts.append(f"let the nest take {figures[key]:.3g} {UNITS[way]} (nest.{key})")
    action = "hold down" if set(figures) == {"force"} else "nest"
    return [Remedy(action=action, text=" and ".join(texts), figures=figures)] if texts else []


def _hold_down(case: Case, putdown: Putdown, target: float) -> float | None:
    """The further hold-down, to a tenth of a newton, against lifting and tipping; None: no hold-down does it."""
    history, nest = putdown.history, case.job.nest
    assert history is not None and nest is not None  # noqa: S101, PT018 - the caller has looked
    wrench = np.concatenate([history.force, history.moment], axis=1)

    def enough(force: float) -> bool:
        held = replace(nest, hold_down=nest.hold_down + force)
        at = putdown.relative
        forces = restraint(case.job.part, held, case.job.gravity, wrench, at.rotation[0], at.position[0])
        return min(_least(forces, "lift"), _least(forces, "tip")) >= target

    low, high = 0.0, MOST_HOLD_DOWN * case.job.part.mass * float(np.linalg.norm(case.job.gravity))
    if not high > 0 or not enough(high):
        return None
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return math.ceil(10 * high - 1e-6) / 10


def way_in_words(kind: str, way: float) -> str:
    """A release's travel in its own unit."""
    if kind in ("peel", "torsion"):
        return f"{np.degrees(way):.2f} deg"
    return words.stress(way) if kind == "overload" else f"{1e3 * way:.2f} mm"


def verb(kind: str) -> str:
    """What the tool does in a release."""
    return {"peel": "tilt", "torsion": "twist", "shear": "slide", "overload": "press"}[kind]


def rounded_up(kind: str, way: float) -> float:
    """Up to a tenth of a degree, a hundredth of a millimetre or of a N/cm^2."""
    if kind in ("peel", "torsion"):
        return float(np.deg2rad(math.ceil(10 * np.degrees(way)) / 10))
    unit = 100.0 if kind == "overload" else 1e-5
    return math.ceil(way / unit - 1e-9) * unit
