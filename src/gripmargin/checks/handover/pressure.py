"""Do the pads press harder on the part than it may take, while it is picked up, worked on or let go?

While forces of the process act, harder than the face of the pads may take counts too: it would buckle.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.advice import Change, Trials
from gripmargin.checks.case import Case
from gripmargin.checks.changes import deeper
from gripmargin.checks.check import Check, Judged
from gripmargin.checks.handover import pressure_words as words
from gripmargin.checks.handover.figures import Cause, During, PressureDetails, WorstPressure
from gripmargin.checks.handover.words import no_phase
from gripmargin.checks.hold.explain import spot_on_pad
from gripmargin.checks.hold.remedies import less_force
from gripmargin.checks.premises import dented_where_known, measured_contact, not_bent_in_between, plane_face
from gripmargin.checks.pressed import Pressed, pressed_by_forces, pressed_by_the_load
from gripmargin.checks.use import quotient
from gripmargin.contact.activation import PadFace
from gripmargin.contact.handover import Release
from gripmargin.contact.leaning import pressure_of_corners
from gripmargin.contact.relative import RelativeMotion
from gripmargin.contact.simulation import ContactHistory
from gripmargin.results.findings import (
    Finding,
    NotChecked,
    Outcome,
    Remedy,
    Verdict,
    exact,
    finite,
    judge,
    undecided,
)
from gripmargin.workcell.job import Job

BEYOND = 5.0  # times the pressure of a full bond: a pad is not pressed so hard on purpose


@dataclass(frozen=True, eq=False, kw_only=True)
class Peak:
    """Where one handover, forces of the process, or the part as it is carried, press hardest.

    Attributes:
        pressure: The most that there may be [Pa].
        surely: The most that there is whatever holds [Pa].
        sample: Of the program.
        pad: Index of the pad.
        point: Where on it, tool frame [m], shape (3,).
        stiffness: Of its backing [Pa/m].
        usual: Pressure from which on the pad holds fully [Pa].
        samples: Of the handover.
        over_time: The most that there may be at each of them [Pa], shape (n,).
        during: Which handover.
        buckles: Pressure beyond which the face of the pads does not hold as before [Pa]; None: it does not matter here.
    """

    pressure: float
    surely: float
    sample: int
    pad: int
    point: FloatArray
    stiffness: float
    usual: float
    samples: NDArray[np.intp]
    over_time: FloatArray
    during: During
    buckles: float | None = None

    def allowed(self, part: float | None) -> float | None:
        """Return the pressure that is allowed, by what the part may take [Pa]; None where nobody says."""
        limits = [limit for limit in (part, self.buckles) if limit is not None]
        return min(limits) if limits else None

    @property
    def depth(self) -> float:
        """Of the pad in its backing there [m]."""
        return self.pressure / self.stiffness

    def ratio(self, allowed: float) -> tuple[float, float]:
        """Return a pressure that is allowed over this one, at least and at most [-]."""
        low, high = (allowed / each if each > 0 else math.inf for each in (self.pressure, self.surely))
        return low, high


Limited = list[tuple[Peak, float]]  # with what is allowed [Pa]


def run(case: Case) -> Outcome:
    """Judge the contact pressure over preload and release."""
    found, part = _judged(case), case.job.part.max_pressure
    if part is None or any(result.verdict is Verdict.FAIL for result in found.results):
        return found
    unseen = [("preload", "[pick]", case.job.pick, case.pickup), ("release", "[nest]", case.job.nest, case.putdowns)]
    for phase, table, given, seen in unseen:
        if given and not seen:
            reason, remedy = no_phase(phase, table, words.PRESSES)
            target = case.job.targets.pressure
            return Outcome(results=(undecided("pressure", target, reason, remedy=remedy, measure="ratio"),))
    beyond = (words.not_pressed(phase, table) for phase, table, given, _ in unseen if not given)
    more = (NotChecked(check=name, reason=reason) for name, reason in beyond if found.results)
    return replace(found, not_checked=(*found.not_checked, *more))


def _judged(case: Case) -> Outcome:
    """What comes of the handovers that are simulated, and of forces of the process."""
    peaks = list(_peaks(case))
    if not peaks:
        return Outcome(not_checked=(NotChecked(check="pressure", reason=words.NO_HANDOVER),))
    peaks += _stood_on(case, max(peak.pressure for peak in peaks))
    part, target = case.job.part.max_pressure, case.job.targets.pressure
    limited = [(peak, limit) for peak in peaks if (limit := peak.allowed(part)) is not None]
    others = [peak for peak in peaks if peak.allowed(part) is None]
    found = None
    if limited:
        worst, allowed = min(limited, key=lambda each: each[0].ratio(each[1])[0])
        details = PressureDetails(highest_pressure=worst.pressure, max_pressure=allowed, during=worst.during)
        low, high = worst.ratio(allowed)[0], min(peak.ratio(limit)[1] for peak, limit in limited)
        result = exact("pressure", low, target, case.place(worst.sample), details, measure="ratio")
        result = replace(result, high=finite(high), verdict=judge(low, high, target))
        found = Outcome(
            results=(result,),
            findings=tuple(_findings(case, limited, target)),
            least={"pressure": _least(case, limited)},
        )
    worst = max(others or peaks, key=lambda peak: peak.pressure)
    details = PressureDetails(highest_pressure=worst.pressure, max_pressure=part, during=worst.during)
    place, too_hard = case.place(worst.sample), bool(others) and worst.pressure > BEYOND * worst.usual
    if found is not None and (not too_hard or found.results[0].verdict is Verdict.FAIL):
        return found
    # Without a limit for the part, a pressure far beyond what the pads need cannot be passed over in silence.
    if too_hard:
        open_result = undecided("pressure", target, words.NO_LIMIT, measure="ratio", at=place)
        lines = words.far_too_hard(worst.during, worst.pressure, worst.depth, worst.pressure / worst.usual)
        return Outcome(results=(replace(open_result, details=details, lines=lines),))
    return Outcome(not_checked=(NotChecked(check="pressure", reason=words.not_judged(worst.pressure)),))


def _least(case: Case, peaks: Limited) -> FloatArray:
    """The pressure that is allowed over the most that there may be at every sample, NaN outside handovers."""
    least = np.full(case.job.trajectory.samples, np.nan)
    for peak, allowed in peaks:
        least[peak.samples] = np.fmin(least[peak.samples], quotient(allowed, peak.over_time))
    return least


def _peaks(case: Case) -> Iterator[Peak]:
    if (pickup := case.pickup) is not None:
        yield _peak(pickup.hard, pickup.faces, pickup.relative, pickup.samples, "preload")
    for release in case.putdowns:
        if isinstance(release, Release):
            yield _peak(release.history, release.faces, release.relative, release.samples, "release")
    for pressed in case.shared(pressed_by_forces):
        if (peak := _pressed(case, pressed, "process")).pressure > 0.0:
            yield replace(peak, buckles=case.whole.patches[pressed.pad].pad.material.overload_pressure)


def _stood_on(case: Case, highest: float) -> Iterator[Peak]:
    """Yield where a part that stands on its pads while it is carried presses harder than all else does [Pa]."""
    for pressed in case.shared(pressed_by_the_load):
        peak = _pressed(case, pressed, "carry")
        if pressed.surely[int(np.argmax(pressed.most))] > 0.0 and peak.pressure > highest:
            yield peak


def _pressed(case: Case, pressed: Pressed, during: During) -> Peak:
    material, worst = case.whole.patches[pressed.pad].pad.material, int(np.argmax(pressed.most))
    return Peak(
        pressure=float(pressed.most[worst]),
        surely=float(pressed.surely.max()),
        sample=int(pressed.samples[worst]),
        pad=pressed.pad,
        point=pressed.point,
        stiffness=material.normal_stiffness,
        usual=material.pull_off_stress,
        samples=pressed.samples,
        over_time=pressed.most,
        during=during,
    )


def _peak(
    history: ContactHistory,
    faces: tuple[PadFace, ...],
    relative: RelativeMotion,
    samples: NDArray[np.intp],
    during: During,
) -> Peak:
    """The highest pressure of all cells at all instants, and of all corners at the samples."""
    row, pad = (int(i) for i in np.unravel_index(int(np.argmax(history.pressure)), history.pressure.shape))
    highest = surely = float(history.pressure[row, pad])
    over_time = np.zeros(samples.size)
    np.maximum.at(over_time, history.sample, history.pressure.max(axis=1))
    sample, point = int(history.sample[row]), faces[pad].patch.points[history.pressure_cell[row, pad]]
    for i, face in enumerate(faces):
        by_depth, most = pressure_of_corners(face, relative)
        surely = max(surely, float(by_depth.max()))
        over_time = np.maximum(over_time, most.max(axis=1))
        if most.max() > highest:
            sample, corner = (int(k) for k in np.unravel_index(int(np.argmax(most)), most.shape))
            highest, pad, point = float(most[sample, corner]), i, face.patch.edge[corner]
    material, law = faces[pad].patch.pad.material, faces[pad].law
    return Peak(
        pressure=highest,
        surely=surely,
        sample=int(samples[sample]),
        pad=pad,
        point=point,
        stiffness=material.normal_stiffness,
        usual=material.pull_off_stress if law.source == "none" else float(law.pressure[-1]),
        samples=samples,
        over_time=over_time,
        during=during,
    )


def _findings(case: Case, peaks: Limited, target: float) -> Iterator[Finding]:
    t = case.job.trajectory.t
    short = [(peak, limit) for peak, limit in peaks if judge(*peak.ratio(limit), target) is not Verdict.PASS]
    remedies = _remedies(case, short, target)
    for (peak, allowed), remedy in zip(short, remedies, strict=True):
        verdict = judge(*peak.ratio(allowed), target)
        open_ = verdict is Verdict.UNDECIDED
        start, end = float(t[peak.samples[0]]), float(t[peak.samples[-1]])
        yield Finding(
            check="pressure",
            verdict=verdict,
            start=start,
            end=end,
            spans=((start, end),),
            worst=WorstPressure(
                at=case.place(peak.sample),
                pressure=peak.pressure,
                max_pressure=allowed,
                allowed=allowed / target,
                spot=spot_on_pad(case.whole.patches[peak.pad], peak.point),
            ),
            because=_cause(peak, open_=open_),
            remedies=(remedy,) if remedy is not None else (),
            share=peak.ratio(allowed)[0] / target,
        )


def _cause(peak: Peak, *, open_: bool) -> Cause:
    if peak.during == "process":
        return Cause.open(words.SWINGS_ON) if open_ else Cause(cause=words.pushed_in(buckles=peak.buckles is not None))
    if peak.during == "carry":
        return Cause.open(words.SWINGS) if open_ else Cause(cause=words.STANDS)
    return Cause.open(words.LEANS) if open_ else Cause(cause=words.pressed_in(peak.depth))


def _remedies(case: Case, short: Limited, target: float) -> list[Remedy | None]:
    """How much less deep each handover has to press, shown for all of them together."""
    trials = Trials(case, lambda changed: run(changed).results, "pressure")
    ways: list[dict[During, float]] = []
    for more in (0.0, 1e-5, 3e-5):  # [m] beyond what was found, until the check passes
        less: dict[During, float] = {}
        for peak, allowed in short:
            if peak.during in ("process", "carry"):
                continue
            way = math.ceil(1e5 * ((peak.pressure - allowed / target) / peak.stiffness + more) - 1e-6) / 1e5
            less[peak.during] = max(less.get(peak.during, 0.0), way)
        ways.append(less)

    def said(peak: Peak) -> Iterator[Change]:
        for less in ways:
            way, spot = less[peak.during], spot_on_pad(case.whole.patches[peak.pad], peak.point)
            text = words.press_less(way, peak.during, spot)
            figures = {"less": way, "during": peak.during, "others": len(less) - 1}
            remedy = Remedy(action="press less", text=text, figures=figures)
            yield Change(remedy=remedy, job=lambda less=less: _pressed_less(case.job, less))  # type: ignore[misc]

    def eased(peak: Peak, allowed: float) -> Iterator[Change]:
        for more in (0.0, 0.02, 0.1):
            factor = math.floor(100.0 * (1.0 - more) * allowed / target / peak.pressure) / 100.0
            if 0.0 < factor < 1.0:
                yield less_force(case.job, factor)

    def changes(peak: Peak, allowed: float) -> Iterable[Change]:
        if peak.during == "carry":
            return ()
        return eased(peak, allowed) if peak.during == "process" else said(peak)

    return [trials.tried(changes(peak, allowed)) for peak, allowed in short]


def _pressed_less(job: Job, less: Mapping[During, float]) -> Job:
    pick, nest = job.pick, job.nest
    if pick is not None and "preload" in less:
        pick = replace(pick, face=deeper(pick.face, -less["preload"]))
    if nest is not None and "release" in less:
        nest = replace(nest, face=deeper(nest.face, -less["release"]))
    return replace(job, pick=pick, nest=nest)


PRESSURE = Check(
    name="pressure",
    question="Do the pads press harder on the part than it may take, while it is picked up, worked on or let go?",
    judged=(
        Judged(
            name="pressure",
            target=lambda job: job.targets.pressure,
            details=PressureDetails,
            rests_on=(plane_face, not_bent_in_between, measured_contact, dented_where_known),
        ),
    ),
    run=run,
    result_words=words.pressure_result,
    finding_words=words.pressure_finding,
    needs=lambda job: None if job.pick or job.nest or job.process else words.NO_HANDOVER,
    of_the_carry=False,
    of_contact=True,
)
