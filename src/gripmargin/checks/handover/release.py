"""Does the release move break the bond, and does the part stay in its nest while the tool leaves?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks import words
from gripmargin.checks.case import Case
from gripmargin.checks.check import Check, Judged
from gripmargin.checks.handover.never_down import never_down
from gripmargin.checks.handover.preload import CONTACT, no_phase
from gripmargin.checks.handover.release_remedies import UNITS, release_remedies, rounded_up, verb, way_in_words
from gripmargin.contact.handover import Putdown
from gripmargin.contact.restraint import WAYS, Restraint, restraint
from gripmargin.contact.travel import RequiredTravel, required_travel
from gripmargin.results.findings import CheckResult, Finding, NotChecked, Outcome, Remedy, Verdict

SAYS = {
    "lift": "lifts the part out of its nest",
    "slide": "slides the part sideways",
    "turn": "turns the part about the face normal",
    "tip": "tips the part over the edge of its support",
}
ALIKE = 1e-3  # ratios closer than this are the same: the first of the ways names them
WORTH_SAYING = 20.0  # ratio beyond which a way is left out of the text


@dataclass(frozen=True, eq=False)
class Verdicts:
    """One release, judged.

    Attributes:
        ratio: Release ratio at every row of the history, NaN where it is not known, shape (k,).
        way: Index into `WAYS` of the way that gives it, shape (k,).
        worst: Row with the least ratio.
        value: That ratio, 0 where the pads still hold the part when the tool has left.
        follows: Whether they do.
        unknown: Ways whose restraint the job does not state although it is needed.
        unfinished: Whether pads are still within reach of the part when the phase ends.
    """

    ratio: FloatArray
    way: FloatArray
    worst: int
    value: float
    follows: bool
    unknown: tuple[str, ...]
    unfinished: bool


def check_release(case: Case) -> Outcome:
    """Judge every release of the job."""
    job, putdowns = case.job, case.putdowns
    if not putdowns:
        if job.nest is not None:
            return no_phase("release", "[nest]", "whether the part stays", job.targets.release)
        has_phase = any(phase.kind == "release" for phase in job.phases)
        reason = "the job has no [nest] face" if has_phase else "the job has no release phase"
        return Outcome(not_checked=(NotChecked(check="release", reason=reason),))
    results, findings = [], []
    for putdown in putdowns:
        result, finding = _judge(case, putdown)
        results.append(result)
        findings += [] if finding is None else [finding]
    worst = min(results, key=lambda r: (("fail", "undecided", "pass").index(r.verdict), r.value or 0.0))
    assumed = [
        "Release: the pads are taken as freshly cleaned, for the strongest hold is the hardest to let go.",
        "Release: with the strengths given; pads that hold more than that are harder to let go.",
        "While the nest holds the part, it does not move, and its face is plane.",
    ]
    if case.pickup is None or case.pickup.strongest is None:
        assumed.append("Release: a full bond before it, the hardest to let go (only a preload_curve can say less).")
    for putdown in putdowns:
        x, y = (1e3 * putdown.relative.position[0, :2]).tolist()
        assumed.append(
            "The part's place along the face of its nest is not judged: the tool frame comes down at "
            f"x {x:+.1f}, y {y:+.1f} mm of nest.face."
        )
    if job.nest is not None and job.nest.support is None and job.part.outline is not None:
        assumed.append("Release: the part stands on its whole outline (nest.support is not given).")
    return Outcome(results=(worst,), findings=tuple(findings), assumed=tuple(assumed))


def _judge(case: Case, putdown: Putdown) -> tuple[CheckResult, Finding | None]:
    target = case.job.targets.release
    phase = case.job.phases[putdown.index]
    if putdown.history is None:
        return never_down(case, putdown, target)
    wrench = np.concatenate([putdown.history.force, putdown.history.moment], axis=1)
    forces = _restraint(case, putdown, wrench)
    seen = _verdicts(putdown, forces)
    way = required = None
    if phase.release is not None:
        required = _required(case, putdown, target)
    no_data = phase.release == "overload" and any(
        face.patch.pad.material.overload_pressure is None for face in putdown.faces
    )
    if no_data:
        verdict = Verdict.UNDECIDED
    elif seen.value >= target:
        verdict = Verdict.UNDECIDED if seen.unknown or seen.unfinished else Verdict.PASS
    elif math.isnan(seen.value):
        verdict = Verdict.UNDECIDED
    else:
        verdict = Verdict.FAIL
    way = WAYS[int(seen.way[seen.worst])]
    details = _details(putdown, seen, forces, required)
    sample = int(putdown.samples[putdown.history.sample[seen.worst]])
    value = seen.value if math.isfinite(seen.value) else None
    result = CheckResult(
        check="release",
        verdict=verdict,
        value=value,
        low=value,
        high=value,
        target=target,
        at=case.place(sample),
        details=details,
        text="restraint of the part in its nest over what the pads demand, at the worst instant",
        lines=_lines(details, required),
        measure="ratio",
    )
    if verdict is Verdict.PASS:
        return result, None
    return result, _finding(case, putdown, seen, forces, required, result, way, no_data=no_data)


def _verdicts(putdown: Putdown, forces: Restraint) -> Verdicts:
    history = putdown.history
    assert history is not None  # noqa: S101 - the caller has looked
    ratios = np.stack([forces.ratio(way) for way in WAYS])
    unknown = tuple(way for way, row in zip(WAYS, ratios, strict=True) if np.isnan(row).any())
    known = np.where(np.isnan(ratios), np.inf, ratios)
    ratio = known.min(axis=0)
    way = (known <= ratio * (1 + ALIKE)).argmax(axis=0)  # a lift that also tips is called a lift
    worst = int(np.argmin(ratio))
    follows = bool(history.held_total[-1] > 0)
    return Verdicts(
        ratio=ratio,
        way=way,
        worst=worst,
        value=0.0 if follows else float(ratio[worst]),
        follows=follows,
        unknown=unknown,
        unfinished=_unfinished(putdown),
    )


def _unfinished(putdown: Putdown) -> bool:
    last = putdown.relative.between(putdown.relative.samples - 1, putdown.relative.samples - 1)
    return any(float(last.height(face.patch.edge).min()) < face.reach for face in putdown.faces)


def _restraint(case: Case, putdown: Putdown, wrench: FloatArray) -> Restraint:
    nest = case.job.nest
    assert nest is not None  # noqa: S101 - the caller has looked
    at = putdown.relative
    return restraint(case.job.part, nest, case.job.gravity, wrench, at.rotation[0], at.position[0])


def _required(case: Case, putdown: Putdown, target: float) -> RequiredTravel:
    """The way from which on the tool may leave straight off the part and neither lift nor tip it, target included."""
    kind = case.job.phases[putdown.index].release
    assert kind is not None  # noqa: S101 - the caller has looked

    def enough(wrench: FloatArray) -> bool:
        forces = _restraint(case, putdown, wrench)
        ratios = [forces.ratio(way) for way in ("lift", "tip")]
        return all(bool((r[~np.isnan(r)] >= target).all()) for r in ratios)

    return required_travel(putdown.faces, kind, putdown.relative, putdown.bond, enough=enough)


def _details(putdown: Putdown, seen: Verdicts, forces: Restraint, required: RequiredTravel | None) -> dict[str, Any]:
    history = putdown.history
    assert history is not None  # noqa: S101 - the caller has looked
    row = seen.worst
    out: dict[str, Any] = {
        "bonded_at_start": float(history.held_total[0]),
        "bonded_at_worst": float(history.held_total[row]),
        "bonded_at_end": float(history.held_total[-1]),
        "part_follows": seen.follows,
        "seat_height": putdown.seat.height,
        "force_on_part": history.force[row].tolist(),
        "moment_on_part": history.moment[row].tolist(),
        "energy_imbalance": history.imbalance,
    }
    for way in WAYS:
        ratio = forces.ratio(way)
        known = np.where(np.isnan(ratio), np.inf, ratio)
        k = int(np.argmin(known)) if way not in seen.unknown else int(np.argmax(forces.demand[way]))
        out[way] = {
            "demand": float(forces.demand[way][k]),
            "restraint": None if np.isnan(forces.available[way][k]) else float(forces.available[way][k]),
            "ratio": None if way in seen.unknown or not math.isfinite(known[k]) else float(known[k]),
            "t": float(history.t[k]),
        }
    if required is not None:
        out["travel"] = {
            "kind": required.kind,
            "achieved": required.achieved,
            "required": required.required if math.isfinite(required.required) else None,
            "left": required.left,
        }
    return out


def _lines(details: dict[str, Any], required: RequiredTravel | None) -> tuple[str, ...]:
    lines = [
        f"bonded share {100 * details['bonded_at_start']:.0f} % at the start, "
        f"{100 * details['bonded_at_end']:.0f} % at the end"
    ]
    if required is not None:
        needs = (
            way_in_words(required.kind, rounded_up(required.kind, required.required))
            if math.isfinite(required.required)
            else "more than can be told"
        )
        lines.append(
            f"{verb(required.kind)} {way_in_words(required.kind, required.achieved)}, needs {needs} (target included)"
        )
    for way in WAYS:
        item = details[way]
        if item["ratio"] is not None and item["ratio"] < WORTH_SAYING:
            lines.append(
                f"{way}: at most {item['demand']:.3g} {UNITS[way]} against {item['restraint']:.3g} {UNITS[way]}, ratio "
                f"{words.figure(item['ratio'])}"
            )
        elif item["demand"] > 1e-9 and item["restraint"] is None:
            lines.append(f"{way}: up to {item['demand']:.3g} {UNITS[way]}, restraint not given")
    return tuple(lines)


def _finding(
    case: Case,
    putdown: Putdown,
    seen: Verdicts,
    forces: Restraint,
    required: RequiredTravel | None,
    result: CheckResult,
    way: str,
    *,
    no_data: bool,
) -> Finding:
    history = putdown.history
    assert history is not None and result.at is not None  # noqa: S101, PT018 - the caller has looked
    t = case.job.trajectory.t
    span = (float(t[putdown.samples[0]]), float(t[putdown.samples[-1]]))
    row = seen.worst
    undecided = result.verdict is Verdict.UNDECIDED
    missing = {"slide": "nest.lateral_force", "turn": "nest.moment", "tip": "nest.support or part.outline"}
    if no_data:
        cause = "an overload release needs overload_pressure and overload_residual measured on the pad"
    elif undecided and not seen.unknown:
        cause = "the release phase ends before the tool has left the part"
    elif undecided:
        cause = (
            f"the job does not say what the nest takes: {', '.join(missing[w] for w in seen.unknown if w in missing)}"
        )
    elif seen.follows:
        cause = (
            f"{100 * history.held_total[-1]:.0f} % of the bond is left when the move ends: the part follows the pads"
        )
    else:
        cause = f"the release {SAYS[way]}"
    move = words.in_move(result.at.move).removeprefix(" in ")
    demand, available = float(forces.demand[way][row]), float(forces.available[way][row])
    against = (
        f": {demand:.3g} {UNITS[way]} against {available:.3g} {UNITS[way]}"
        if demand > 0 and not undecided and not seen.follows
        else ""
    )
    worst = {
        "t": result.at.t,
        "sample": result.at.sample,
        "move": result.at.move,
        "ratio": result.value,
        "way": way,
        "demand": demand,
        "restraint": available if math.isfinite(available) else None,
        "bonded": float(history.held_total[row]),
        "force": history.force[row].tolist(),
        "moment": history.moment[row].tolist(),
    }
    if no_data:
        text = "measure the overload of the pad (overload_pressure, overload_residual), or release by another way"
        remedies = [Remedy(action="better data", text=text)]
    elif undecided and not seen.unknown:
        text = "let the release phase go on until the tool has left the part"
        remedies = [Remedy(action="better data", text=text)]
    elif undecided:
        text = "state in [nest] what it takes sideways, in torsion and where it supports"
        remedies = [Remedy(action="better data", text=text)]
    else:
        remedies = release_remedies(case, putdown, forces, required, follows=seen.follows)
    return Finding(
        check="release",
        verdict=result.verdict,
        start=span[0],
        end=span[1],
        spans=(span,),
        worst=worst,
        because={"cause": cause, **({"undecided": [cause]} if undecided else {})},
        remedies=tuple(remedies),
        text=f"{f'{move}, ' if move else ''}{result.at.t:.3f} s: {cause}{against}",
        lines=(("bond", f"{100 * worst['bonded']:.0f} % of the bond is left at that instant"),),
    )


RELEASE = Check(
    name="release",
    question="Does the release break the bond, and does the part stay in its nest while the tool leaves?",
    judged=(Judged(name="release", target=lambda job: job.targets.release),),
    run=check_release,
    result_words=lambda *_: ("", ()),
    finding_words=lambda *_: ("", ()),
    needs=lambda job: None if job.nest else "the job has no [nest] face",
    references=lambda job: (
        (*CONTACT, "Restraint of a part on its support: statics of rigid bodies, any text.") if job.nest else ()
    ),
    of_the_carry=False,
)
