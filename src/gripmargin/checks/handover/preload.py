"""Does the preload move load the pads everywhere, and does the part then leave its tray with them?"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks import words
from gripmargin.checks.case import Case
from gripmargin.checks.check import Check, Judged
from gripmargin.checks.hold import explain
from gripmargin.contact.handover import Pickup
from gripmargin.kernels.utilisation import peak_utilisation
from gripmargin.results.findings import CheckResult, Finding, NotChecked, Outcome, Remedy, Verdict, judge

CONTACT = (
    "Contact on a Winkler layer, and the energy let go at its edge, G = sigma^2/2k: Kanninen 1973 (from memory).",
    "Adhesion by preload: linear to full_preload (no source), or the pad's own measured curve.",
)
FULLY = 1e-9  # rounding allowed on a share of full adhesion
PARALLEL = np.deg2rad(0.01)  # tilt below which a tool counts as parallel to the face


@dataclass(frozen=True, eq=False)
class Pressing:
    """How the pads were pressed on, at the deepest sample.

    Attributes:
        row: Row of the contact history with the highest pressure.
        sample: Of the program.
        tilt: Between the face normal and the tool's axis [rad].
        azimuth: Direction in which the pads stand off, about the tool's z axis [rad].
        overtravel: Depth of the pads' centre below the face [m].
        pad: Index of the pad with the least activation.
        cell: Its cell with the least, or next to where that is.
        point: Where on it that is, at a cell or on the edge, tool frame [m], shape (3,).
        share: The least activation [-].
        pressure: Peak pressure there [Pa].
    """

    row: int
    sample: int
    tilt: float
    azimuth: float
    overtravel: float
    pad: int
    cell: int
    point: FloatArray
    share: float
    pressure: float


def check_preload(case: Case) -> Outcome:
    """Judge the preload and the lift-off."""
    pickup = case.pickup
    if pickup is None:
        if case.job.pick is not None:
            return no_phase("preload", "[pick]", "the lowest share of full adhesion", case.job.targets.preload)
        reason = "the job has no [pick] face"
        return Outcome(not_checked=(NotChecked(check="preload", reason=reason),))
    pressing = _deepest(case, pickup)
    result, finding = _preload(case, pickup, pressing)
    lifted, dropped = _lift_off(case, pickup)
    return Outcome(
        results=(result, lifted),
        findings=tuple(f for f in (finding, dropped) if f is not None),
        assumed=(
            f"The part's place along its tray is not judged: {_place(pickup, pressing)} of pick.face.",
            "While the tray holds the part, it does not move, and its face is plane"
            + (f" to {1e6 * case.job.pick.flatness:.0f} um." if case.job.pick and case.job.pick.flatness else "."),
        ),
    )


def _place(pickup: Pickup, pressing: Pressing) -> str:
    x, y = 1e3 * pickup.relative.position[pressing.sample - pickup.samples[0], :2] + 0.0
    return f"the tool frame comes down at x {x:+.1f}, y {y:+.1f} mm"


def no_phase(check: str, table: str, what: str, target: float) -> Outcome:
    """Undecided: a table of the job asks for a check, but no phase of the program is said to do it."""
    text = f"{what} is not known: the job has {table}, but no {check} phase"
    result = CheckResult(
        check=check,
        verdict=Verdict.UNDECIDED,
        value=None,
        low=None,
        high=None,
        target=target,
        at=None,
        text=text,
        lines=(f"{text}; say in program.phases when it happens, or leave {table} out",),
    )
    return Outcome(results=(result,))


def _deepest(case: Case, pickup: Pickup) -> Pressing:
    history = pickup.history
    height = pickup.relative.height(case.whole.centre[None])[:, 0]
    row = int(np.argmax(history.pressure.max(axis=1))) if history.pressure.max() > 0 else None
    local = int(np.argmin(height)) if row is None else int(history.sample[row])
    normal = -pickup.relative.rotation[local].T[:, 2]  # into the part, tool axes
    pad, cell, point, share, pressure = min(_least_pressed(pickup), key=lambda found: found[3])
    return Pressing(
        row=row or 0,
        sample=int(pickup.samples[local]),
        tilt=float(np.arctan2(np.hypot(normal[0], normal[1]), normal[2])),
        azimuth=float(np.arctan2(-normal[1], -normal[0])),  # the side that the normal leans away from
        overtravel=-float(height[local]),
        pad=pad,
        cell=cell,
        point=point,
        share=share,
        pressure=pressure,
    )


def _least_pressed(pickup: Pickup) -> Iterator[tuple[int, int, FloatArray, float, float]]:
    """The weakest cell and the weakest corner of each pad: pad, cell next to it, place, activation, peak pressure.

    Cells are judged inside the pad; at the corners of a tilted pad the pressure is lower still.
    """
    for i, (face, cells, held) in enumerate(zip(pickup.faces, pickup.history.pads, pickup.bond, strict=True)):
        weakest = int(np.argmin(held))
        yield i, weakest, face.patch.points[weakest], float(held[weakest]), float(cells.peak_pressure[weakest])
        depth = np.max(-pickup.relative.height(face.patch.edge), axis=0) - float(face.gap.max())
        peak = np.maximum(depth, 0.0) * face.patch.pad.material.normal_stiffness
        share = np.where(peak > 0, face.law(peak), 0.0)
        corner = int(np.argmin(share))
        point = face.patch.edge[corner]
        cell = int(np.argmin(np.linalg.norm(face.patch.points - point, axis=1)))
        yield i, cell, point, float(share[corner]), float(peak[corner])


def _preload(case: Case, pickup: Pickup, pressing: Pressing) -> tuple[CheckResult, Finding | None]:
    target = case.job.targets.preload
    pads = pickup.history.pads
    held, areas = np.concatenate(pickup.bond), np.concatenate([f.patch.areas for f in pickup.faces])
    lowest, mean = pressing.share, float(held @ areas / areas.sum())
    loaded = float(areas[held >= target - FULLY].sum() / areas.sum())
    unknown = [face.patch.pad.material.name for face in pickup.faces if face.law.source == "none"]
    verdict = judge(lowest + FULLY, lowest + FULLY, target)
    if verdict is Verdict.PASS and unknown:
        verdict = Verdict.UNDECIDED
    touched = np.concatenate([p.first_touch for p in pads])
    details: dict[str, Any] = {
        "lowest_activation": lowest,
        "mean_activation": mean,
        "activated_share": loaded,
        "touched_share": float(areas[~np.isnan(touched)].sum() / areas.sum()),
        "tilt": pressing.tilt,
        "tilt_azimuth": pressing.azimuth,
        "overtravel": pressing.overtravel,
        "lowest_peak_pressure": min(pressing.pressure, *(float(p.peak_pressure.min()) for p in pads)),
        "highest_peak_pressure": float(max(p.peak_pressure.max() for p in pads)),
        "sideways_slip": float(max(p.slid.max() for p in pads)),
        "shortest_time_under_pressure": float(min(p.contact_time.min() for p in pads)),
    }
    lines = (
        f"mean activation {words.figure(mean)}; {100 * loaded:.0f} % of the contact area reaches {target:g}",
        f"overtravel {words.plain(1e3 * pressing.overtravel, 3)} mm at the pads' centre, tool tilted "
        f"{np.degrees(pressing.tilt):.2f} deg to the face, peak pressure from "
        f"{words.stress(details['lowest_peak_pressure'])} to {words.stress(details['highest_peak_pressure'])}",
        f"sideways slip while touching {words.plain(1e3 * details['sideways_slip'], 3)} mm, shortest time under "
        f"pressure {details['shortest_time_under_pressure']:.2f} s",
    )
    result = CheckResult(
        check="preload",
        verdict=verdict,
        value=lowest,
        low=lowest,
        high=lowest,
        target=target,
        at=case.place(pressing.sample),
        details=details,
        text="lowest share of full adhesion on the pads after the preload",
        lines=lines,
        measure="lowest activation",
    )
    return result, None if verdict is Verdict.PASS else _finding(case, pickup, pressing, result, unknown)


def _finding(case: Case, pickup: Pickup, pressing: Pressing, result: CheckResult, unknown: list[str]) -> Finding:
    face, cells = pickup.faces[pressing.pad], pickup.history.pads[pressing.pad]
    t = case.job.trajectory.t
    cause = _cause(face.patch.pad.material.min_dwell, cells, pressing, result)
    worst = {
        "t": float(t[pressing.sample]),
        "sample": pressing.sample,
        "move": case.job.trajectory.move_at(pressing.sample),
        "activation": result.value,
        **explain.spot_on_pad(case.whole, pressing.pad, pressing.point),
        "peak_pressure": pressing.pressure,
        "time_under_pressure": float(cells.contact_time[pressing.cell]),
        "tilt": pressing.tilt,
        "overtravel": pressing.overtravel,
    }
    undecided = result.verdict is Verdict.UNDECIDED
    if undecided:
        cause = f"material {', '.join(sorted(set(unknown)))} gives neither full_preload nor preload_curve"
        remedies: list[Remedy] = [
            Remedy(action="better data", text="measure how adhesion grows with preload (full_preload or preload_curve)")
        ]
    else:
        remedies = _remedies(case, pickup, pressing, result.target)
    move = words.in_move(worst["move"]).removeprefix(" in ")
    return Finding(
        check="preload",
        verdict=result.verdict,
        start=float(t[pickup.samples[0]]),
        end=float(t[pickup.samples[-1]]),
        spans=((float(t[pickup.samples[0]]), float(t[pickup.samples[-1]])),),
        worst=worst,
        because={"cause": cause, **({"undecided": [cause]} if undecided else {})},
        remedies=tuple(remedies),
        text=f"{f'{move}, ' if move else ''}pressed deepest at {worst['t']:.3f} s: lowest activation "
        f"{words.figure(result.value)} on pad '{worst['pad']}'; {cause}",
        lines=(
            (
                "where",
                f"pad '{worst['pad']}', {words.spot(worst['point'], worst['azimuth'])}: peak pressure "
                f"{words.stress(worst['peak_pressure'])}, {worst['time_under_pressure']:.2f} s under pressure",
            ),
        ),
    )


def _cause(dwell: float | None, cells: Any, pressing: Pressing, result: CheckResult) -> str:
    cell = pressing.cell
    tilted = f"the tool is tilted by {np.degrees(pressing.tilt):.2f} deg to the face"
    if np.isnan(cells.first_touch[cell]):
        return f"it never touches there; {tilted}" if pressing.tilt > PARALLEL else "it never touches there"
    if cells.overloaded[cell]:
        return "pressed beyond its overload pressure, its fibres have buckled"
    if dwell is not None and cells.contact_time[cell] < dwell:
        return f"pressed on for {cells.contact_time[cell]:.2f} s only, {dwell:.2f} s are needed"
    if (
        pressing.tilt > PARALLEL
        and result.details["highest_peak_pressure"] > 1.05 * result.details["lowest_peak_pressure"]
    ):
        return tilted
    return "not pressed hard enough"


def _remedies(case: Case, pickup: Pickup, pressing: Pressing, target: float) -> list[Remedy]:
    """Deeper, more nearly parallel, or longer; each is a change of the touch move alone."""
    deeper, parallel, longer, least_room = 0.0, math.inf, 0.0, math.inf
    for face, cells in zip(pickup.faces, pickup.history.pads, strict=True):
        material = face.patch.pad.material
        need = _pressure_for(face.law.pressure, face.law.share, target)
        if need is None:
            return [
                Remedy(action="none", text=f"pad '{face.patch.pad.name}': no pressure reaches {target:g} by its curve")
            ]
        stiffness = material.normal_stiffness
        below = -pickup.relative.height(np.concatenate([face.patch.points, face.patch.edge]))
        below = below[pressing.sample - pickup.samples[0]]
        depth = below - float(face.gap.max())
        deeper = max(deeper, need / stiffness - float(depth.min()))
        centre = float(face.patch.areas @ depth[: face.patch.areas.size] / face.patch.area)
        lever = centre - float(depth.min())
        if lever > 0:
            parallel = min(parallel, (centre - need / stiffness) / lever)
        limits = [x for x in (case.job.part.max_pressure, material.overload_pressure) if x is not None]
        least_room = min(least_room, min(limits, default=math.inf) / stiffness - float(below.max()))
        if material.min_dwell is not None:
            # a cell that does not touch yet will do so last, and rest about as long as those that now touch last
            touched = cells.contact_time[cells.contact_time > 0]
            longer = max(longer, material.min_dwell - float(touched.min() if touched.size else 0.0))
    out = []
    wait = f" and rest {math.ceil(100 * longer) / 100:.2f} s longer on the part" if longer > 0 else ""
    figures = {"longer": math.ceil(100 * longer) / 100 if longer > 0 else 0.0}
    step = math.ceil(1e5 * deeper - 1e-6) / 1e5  # whole hundredths of a millimetre
    if 0 < step <= least_room:
        text = f"press {1e3 * step:.2f} mm deeper{wait}"
        out.append(Remedy(action="press deeper", text=text, figures={"deeper": step, **figures}))
    if 0 < parallel < 1 and pressing.tilt > PARALLEL:
        limit = math.floor(100 * np.degrees(pressing.tilt) * parallel) / 100
        text = (
            f"bring the tool parallel to the face to within {limit:.2f} deg (now {np.degrees(pressing.tilt):.2f}){wait}"
        )
        out.append(Remedy(action="align", text=text, figures={"tilt": float(np.deg2rad(limit)), **figures}))
    if not out and longer > 0 and deeper <= 0:
        out.append(Remedy(action="dwell", text=wait.removeprefix(" and "), figures=figures))
    if not out and pressing.tilt > PARALLEL:
        text = "bring the tool parallel to the face and press as deep as the part may take: neither alone is enough"
        out.append(Remedy(action="align", text=text, figures={"tilt": 0.0, **figures}))
    if not out:
        out.append(Remedy(action="none", text="the pressure needed is more than the part or the pads may take"))
    return out


def _pressure_for(pressure: FloatArray, share: FloatArray, target: float) -> float | None:
    """The least pressure from which on the share is reached; None where it never is."""
    if share[0] >= target:
        return 0.0
    above = np.flatnonzero(share >= target - FULLY)
    if above.size == 0:
        return None
    i = int(above[0])
    part = (target - share[i - 1]) / (share[i] - share[i - 1])
    return float(pressure[i - 1] + part * (pressure[i] - pressure[i - 1]))


def _lift_off(case: Case, pickup: Pickup) -> tuple[CheckResult, Finding | None]:
    """The moment the part leaves its tray: weight and break-away force on the bond, at rest."""
    sample = int(pickup.samples[-1])
    target = case.job.targets.hold
    away = case.job.pick.break_away if case.job.pick is not None else 0.0
    pull = pickup.relative.rotation[-1].T @ np.array([0.0, 0.0, -away])  # the tray keeps the part down
    load = case.standing[:, sample] + np.concatenate([pull, np.cross(case.job.part.com, pull)])
    maps, owner = case.backing.edge_maps(case.strengths)
    used, point, _, _ = peak_utilisation(maps, load[:, None])
    margin = math.inf if used[0] <= 0 else 1.0 / float(used[0])
    verdict = judge(margin, margin, target)
    value = margin if math.isfinite(margin) else None
    place = case.place(sample)
    result = CheckResult(
        check="lift_off",
        verdict=verdict,
        value=value,
        low=value,
        high=value,
        target=target,
        at=place,
        details={"break_away": away, "force": load[:3].tolist(), "moment": load[3:].tolist()},
        text="grip margin as the part leaves its tray, weight and break-away force at rest",
        lines=(f"weight and {away:.2f} N of break-away force, taken to act at the centre of mass",),
    )
    if verdict is Verdict.PASS:
        return result, None
    patch = int(owner[point[0]])
    spot = case.backing.edge_points()[point[0]]
    strength = math.ceil(100 * target / margin - 1e-9) / 100 if margin > 0 else math.inf
    remedies = [Remedy(action="none", text="the preload leaves no bond to speak of: mend the preload first")]
    if math.isfinite(strength) and strength < 1e3:
        text = f"raise what the pads hold per area to {strength:.2f} times (a stronger or cleaner face)"
        remedies = [Remedy(action="strengthen", text=text, figures={"factor": strength})]
    worst = {
        "t": place.t,
        "sample": sample,
        "move": place.move,
        "margin": value,
        "margin_low": value,
        **explain.spot_on_pad(case.backing, patch, spot),
        "force": load[:3].tolist(),
        "moment": load[3:].tolist(),
    }
    move = words.in_move(place.move).removeprefix(" in ")
    lead = f"{move}, " if move else ""
    return result, Finding(
        check="lift_off",
        verdict=verdict,
        start=place.t,
        end=place.t,
        spans=((place.t, place.t),),
        worst=worst,
        because={"cause": "weight and break-away force against the bond of the preload"},
        remedies=tuple(remedies),
        text=f"{lead}{place.t:.3f} s: as the part leaves its tray the margin is {words.figure(value)} on "
        f"pad '{worst['pad']}'",
        lines=(("load", words.load(worst["force"], worst["moment"])),),
    )


PRELOAD = Check(
    name="preload",
    question="Does the press at the pick give every place of the pads its adhesion, and does the part leave with them?",
    judged=(
        Judged(name="preload", target=lambda job: job.targets.preload),
        Judged(name="lift_off", target=lambda job: job.targets.hold if job.pick else None),
    ),
    run=check_preload,
    result_words=lambda *_: ("", ()),
    finding_words=lambda *_: ("", ()),
    needs=lambda job: None if job.pick else "the job has no [pick] face",
    references=lambda job: CONTACT if job.pick else (),
    of_the_carry=False,
)
