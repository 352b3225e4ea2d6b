"""Do the pads press harder on the part than it may take, while it is picked up or let go?"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks import words
from gripmargin.checks.case import Case
from gripmargin.checks.check import Check, Judged
from gripmargin.checks.hold import explain
from gripmargin.contact.activation import PadFace
from gripmargin.contact.relative import RelativeMotion
from gripmargin.contact.simulation import ContactHistory
from gripmargin.results.findings import CheckResult, Finding, NotChecked, Outcome, Remedy, Verdict, judge

BEYOND = 5.0  # times the pressure of a full bond: a pad is not pressed so hard on purpose


@dataclass(frozen=True, eq=False)
class _Peak:
    """Where one handover presses hardest; usual is the pressure from which the pad holds fully [Pa]."""

    pressure: float
    sample: int
    pad: int
    point: FloatArray
    stiffness: float
    usual: float
    samples: NDArray[np.intp]
    during: str


def check_pressure(case: Case) -> Outcome:
    """Judge the contact pressure over preload and release."""
    peaks = []
    if (pickup := case.pickup) is not None:
        peaks.append(_peak(pickup.hard, pickup.faces, pickup.relative, pickup.samples, "preload"))
    for putdown in case.putdowns:
        if putdown.history is not None:
            peaks.append(_peak(putdown.history, putdown.faces, putdown.relative, putdown.samples, "release"))
    if not peaks:
        reason = "no preload or release was simulated"
        return Outcome(not_checked=(NotChecked(check="pressure", reason=reason),))
    worst = max(peaks, key=lambda peak: peak.pressure)
    allowed = case.job.part.max_pressure
    if allowed is None and worst.pressure > BEYOND * worst.usual:
        return Outcome(results=(_far_too_hard(case, worst),))
    if allowed is None:
        reason = f"part.max_pressure is not given; the highest contact pressure is {words.stress(worst.pressure)}"
        return Outcome(not_checked=(NotChecked(check="pressure", reason=reason),))
    target = case.job.targets.pressure
    results = _result(case, worst, allowed, target)
    findings = tuple(_finding(case, peak, allowed, target) for peak in peaks if not peak.pressure <= allowed / target)
    return Outcome(results=(results,), findings=findings)


def _peak(
    history: ContactHistory,
    faces: tuple[PadFace, ...],
    relative: RelativeMotion,
    samples: NDArray[np.intp],
    during: str,
) -> _Peak:
    """The highest pressure of all cells at all instants, and of all corners at the samples."""
    row, pad = (int(i) for i in np.unravel_index(int(np.argmax(history.pressure)), history.pressure.shape))
    highest = float(history.pressure[row, pad])
    sample, point = int(history.sample[row]), faces[pad].patch.points[history.pressure_cell[row, pad]]
    for i, face in enumerate(faces):
        at_corners = -relative.height(face.patch.edge) * face.patch.pad.material.normal_stiffness
        if at_corners.max() > highest:
            sample, corner = (int(k) for k in np.unravel_index(int(np.argmax(at_corners)), at_corners.shape))
            highest, pad, point = float(at_corners[sample, corner]), i, face.patch.edge[corner]
    material, law = faces[pad].patch.pad.material, faces[pad].law
    return _Peak(
        pressure=highest,
        sample=int(samples[sample]),
        pad=pad,
        point=point,
        stiffness=material.normal_stiffness,
        usual=material.pull_off_stress if law.source == "none" else float(law.pressure[-1]),
        samples=samples,
        during=during,
    )


def _result(case: Case, peak: _Peak, allowed: float, target: float) -> CheckResult:
    ratio = allowed / peak.pressure if peak.pressure > 0 else math.inf
    value = ratio if math.isfinite(ratio) else None
    return CheckResult(
        check="pressure",
        verdict=judge(ratio, ratio, target),
        value=value,
        low=value,
        high=value,
        target=target,
        at=case.place(peak.sample),
        details={"highest_pressure": peak.pressure, "max_pressure": allowed, "during": peak.during},
        text="pressure that the part may take over the highest contact pressure",
        lines=(
            f"highest contact pressure {words.stress(peak.pressure)} during {peak.during}, "
            f"allowed {words.stress(allowed)}",
        ),
        measure="ratio",
    )


def _far_too_hard(case: Case, peak: _Peak) -> CheckResult:
    """Without a limit for the part, a pressure far beyond what the pads need cannot be passed over in silence."""
    depth = 1e3 * peak.pressure / peak.stiffness
    return CheckResult(
        check="pressure",
        verdict=Verdict.UNDECIDED,
        value=None,
        low=None,
        high=None,
        target=case.job.targets.pressure,
        at=case.place(peak.sample),
        details={"highest_pressure": peak.pressure, "max_pressure": None, "during": peak.during},
        text="pressure that the part may take over the highest contact pressure; part.max_pressure is not given",
        lines=(
            f"during {peak.during} the pads are pressed {depth:.2f} mm into their backing, "
            f"{words.stress(peak.pressure)}: {peak.pressure / peak.usual:.0f} times what they need to hold",
            f"give part.max_pressure, or look whether {'pick' if peak.during == 'preload' else 'nest'}.face and the "
            "program belong together",
        ),
        measure="ratio",
    )


def _finding(case: Case, peak: _Peak, allowed: float, target: float) -> Finding:
    t = case.job.trajectory.t
    place = case.place(peak.sample)
    less = math.ceil(1e5 * (peak.pressure - allowed / target) / peak.stiffness - 1e-6) / 1e5
    spot = explain.spot_on_pad(case.whole, peak.pad, peak.point)
    move = words.in_move(place.move).removeprefix(" in ")
    return Finding(
        check="pressure",
        verdict=Verdict.FAIL,
        start=float(t[peak.samples[0]]),
        end=float(t[peak.samples[-1]]),
        spans=((float(t[peak.samples[0]]), float(t[peak.samples[-1]])),),
        worst={
            "t": place.t,
            "sample": place.sample,
            "move": place.move,
            "pressure": peak.pressure,
            "max_pressure": allowed,
            **spot,
        },
        because={"cause": f"pressed {1e3 * peak.pressure / peak.stiffness:.3f} mm into the backing there"},
        remedies=(
            Remedy(
                action="press less",
                text=f"press {1e3 * less:.2f} mm less deep during the {peak.during}, or level the tool: the edge at "
                f"{words.spot(spot['point'], spot['azimuth'])} presses hardest",
                figures={"less": less, "during": peak.during},
            ),
        ),
        text=f"{f'{move}, ' if move else ''}{place.t:.3f} s: {words.stress(peak.pressure)} on the part under pad "
        f"'{spot['pad']}', allowed {words.stress(allowed / target)}",
        lines=(("where", words.spot(spot["point"], spot["azimuth"])),),
    )


PRESSURE = Check(
    name="pressure",
    question="Do the pads press harder on the part than it may take, while it is picked up or let go?",
    judged=(Judged(name="pressure", target=lambda job: job.targets.pressure),),
    run=check_pressure,
    result_words=lambda *_: ("", ()),
    finding_words=lambda *_: ("", ()),
    needs=lambda job: None if job.pick or job.nest else "no preload or release was simulated",
    of_the_carry=False,
)
