"""Would the part stay on the pads if the robot stopped, at any carried sample?

The margin is that of `hold`, for the load while the robot brakes and just after, with the swing of the part on its
backing at its worst phase: a stop without a ramp is a step, at its beginning and at its end.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks import words
from gripmargin.checks.case import Case
from gripmargin.checks.check import Check, Judged
from gripmargin.checks.hold import explain
from gripmargin.checks.hold.check import UNBALANCED
from gripmargin.checks.margin import SPAN, margin_figure, pieces_of
from gripmargin.checks.stop.fall import fall, fall_lines
from gripmargin.checks.stop.instants import Instant, Ring
from gripmargin.checks.stop.remedies import Changes
from gripmargin.checks.stop.stops import Stopping
from gripmargin.checks.stop.use import instants, stop_use
from gripmargin.checks.swing.ringing import Stretch, stretches_of
from gripmargin.checks.use import Use
from gripmargin.contact.loads import part_load
from gripmargin.kernels.utilisation import peak_with_swing
from gripmargin.motion.trajectory import JointTrajectory
from gripmargin.results.findings import CheckResult, Finding, NotChecked, Outcome, Verdict, judge, short_of
from gripmargin.workcell import Stop

KINDS = {"path": "along the path", "axes": "off the path"}
NO_DATA = "the job has no [stop] data"


def check_stop(case: Case) -> Outcome:
    """Judge a stop at every sample of the carry.

    Args:
        case: The job worked out; it carries the part in at least one sample.
    """
    stretches = case.shared(stretches_of)
    margin = np.full(case.load.shape[1], np.nan)
    stop = case.job.stop
    if stop is None:
        return Outcome(not_checked=(NotChecked(check="stop", reason=NO_DATA),))
    stopping = Stopping(case)
    kinds, impossible = kinds_of(case, stop)
    if not kinds:
        return Outcome(results=(_impossible(case, impossible),))
    uses = {kind: stop_use(stopping, case.carried, kind=kind, stretches=stretches) for kind in kinds}
    both = _worse(list(uses.values()))
    with np.errstate(divide="ignore"):
        margin[both.samples] = 1.0 / both.value
    result = _result(stopping, uses, both, impossible)
    findings = _findings(stopping, uses, both, stretches)
    return Outcome(
        results=(result,),
        findings=tuple(findings),
        assumed=tuple(_assumed(stopping, kinds)),
        series={"stop_margin": margin},
    )


def kinds_of(case: Case, stop: Stop) -> tuple[list[str], str]:
    """Return the kinds of stop to judge, and why one that is asked for cannot be."""
    asked = []
    if stop.on_path and stop.category != 0:
        asked.append("path")
    impossible = ""
    if stop.axis_deceleration is not None and stop.category in (None, 0):
        if isinstance(case.job.trajectory, JointTrajectory):
            asked.append("axes")
        else:
            impossible = "axes that brake on their own need a joint program: this one gives poses of the tool"
    return asked, impossible


def _impossible(case: Case, reason: str) -> CheckResult:
    return CheckResult(
        check="stop",
        verdict=Verdict.UNDECIDED,
        value=None,
        low=None,
        high=None,
        target=case.job.targets.stop,
        at=None,
        text=reason,
        lines=(reason,),
    )


def _worse(uses: list[Use]) -> Use:
    """The worse of two kinds of stop at every sample."""
    first, *rest = uses
    for other in rest:
        first = replace(
            first,
            point=np.where(~(other.value <= first.value), other.point, first.point),
            value=np.maximum(first.value, other.value),
            low=np.maximum(first.low, other.low),
            high=np.maximum(first.high, other.high),
        )
    return first


def _result(stopping: Stopping, uses: dict[str, Use], both: Use, impossible: str) -> CheckResult:
    case = stopping.case
    target = case.job.targets.stop
    low, high = float(both.high.max()), float(both.low.max())
    with np.errstate(divide="ignore"):
        verdict = judge(float(1.0 / np.float64(low)), float(1.0 / np.float64(high)), target)
    at = int(np.argmax(both.high if verdict is Verdict.UNDECIDED else both.value))
    seen = _Seen.at(stopping, uses, both, at)
    if verdict is Verdict.PASS and (impossible or not case.backing.imbalance(seen.load) <= UNBALANCED):
        verdict = Verdict.UNDECIDED
    value = margin_figure(float(both.value.max()))
    details: dict[str, Any] = {
        **seen.facts(),
        "path": None,
        "axes": None,
        "lowest_frequency": float(stopping.modes.frequency.min() / (2.0 * np.pi)),
        "damping_ratio": stopping.damping,
        "fall": None,
    }
    details |= {kind: margin_figure(float(use.value.max())) for kind, use in uses.items()}
    loose = np.flatnonzero(short_of(_inverse(both.high), 1.0))
    if loose.size:
        details["fall"] = fall(case, both.samples[loose], both.samples[loose[_inverse(both.low[loose]) < 1.0]])
    return CheckResult(
        check="stop",
        verdict=verdict,
        value=value,
        low=margin_figure(low),
        high=margin_figure(high),
        target=target,
        at=case.place(int(both.samples[at])),
        details=details,
        text="grip margin over the carry if the robot stops" + ("" if value is not None else "; no load on the pads"),
        lines=(*_lines(details), *([impossible] if impossible else [])),
    )


def _inverse(use: FloatArray) -> FloatArray:
    with np.errstate(divide="ignore"):
        return np.asarray(1.0 / use)


@dataclass(frozen=True, eq=False)
class _Seen:
    """The worst instant of the stop that begins at one sample.

    Attributes:
        mini: The job in that instant, as its only sample.
        instant: With one stop.
        point: Edge point that is used most.
        use: Its utilisation, and without the swing.
        rest: Time from the start of the stop to rest [s].
    """

    mini: Case
    instant: Instant
    point: int
    use: float
    static: float
    rest: float

    @property
    def load(self) -> FloatArray:
        """Quasi-static load, shape (6,)."""
        return self.mini.load[:, 0]

    @classmethod
    def at(cls, stopping: Stopping, uses: dict[str, Use], both: Use, k: int) -> _Seen:
        """Look at one stop.

        Args:
            stopping: The stops.
            uses: By kind.
            both: The worse of them.
            k: The stop, an index into ``both``.
        """
        kind = max(uses, key=lambda name: float(np.nan_to_num(uses[name].value[k], nan=np.inf)))
        sample, maps = both.samples[k : k + 1], both.maps
        gain = stopping.gain(maps)
        found = list(instants(stopping, sample, kind))
        still = Ring.none(maps.shape[1], 1)
        peaks = [instant.peak(maps, gain, still) for instant in found]
        worst = int(np.argmax([float(np.nan_to_num(u[0], nan=np.inf)) for _, u, _, _ in peaks]))
        instant, (_, use, point, _) = found[worst], peaks[worst]
        case, motion, none = stopping.case, instant.motion(), 0.0 * instant.swing
        load = part_load(case.job.part, motion, case.job.gravity, case.job.air_density)
        static = float(peak_with_swing(maps, gain, load, none, none)[0][0])
        mini = replace(
            case,
            load=load,
            standing=case.standing[:, instant.near],
            airborne=np.ones(1, dtype=bool),
            motion=replace(case.motion, at=motion, doubts=()),
        )
        rest = float(found[-1].after[0])
        return cls(mini, instant, int(point[0]), float(use[0]), static, rest)

    def facts(self) -> dict[str, Any]:
        """What the report says of it."""
        return {
            "stop": self.instant.kind,
            "after": float(self.instant.after[0]),
            "braking_time": self.rest,
            "quasi_static": margin_figure(self.static),
        }


def _findings(stopping: Stopping, uses: dict[str, Use], both: Use, stretches: Sequence[Stretch]) -> list[Finding]:
    case = stopping.case
    target = case.job.targets.stop
    pieces = pieces_of(case, both, short_of(_inverse(both.high), target))
    if not pieces:
        return []
    changes = Changes(stopping, list(uses), both, target, stretches)
    return [_finding(stopping, uses, both, changes, piece) for piece in pieces]


def _finding(stopping: Stopping, uses: dict[str, Use], both: Use, changes: Changes, piece: NDArray[np.intp]) -> Finding:
    case, target = stopping.case, changes.target
    fails = bool(both.low[piece].max() > 1.0 / target)
    k = int(piece[np.argmax(both.value[piece] if fails else both.high[piece])])
    sample = int(both.samples[k])
    seen = _Seen.at(stopping, uses, both, k)
    mini, point = seen.mini, seen.point
    patch = int(both.owner[point])
    spot = case.backing.edge_points()[point]
    t = case.job.trajectory.t
    worst = {
        "t": float(t[sample]),
        "sample": sample,
        "move": case.job.trajectory.move_at(sample),
        "margin": margin_figure(float(both.value[k])),
        "margin_low": margin_figure(float(both.high[k])),
        "margin_high": margin_figure(float(both.low[k])),
        **explain.spot_on_pad(case.backing, patch, spot),
        **explain.stresses_at(mini, patch, spot, 0),
        "force": seen.load[:3].tolist(),
        "moment": seen.load[3:].tolist(),
        **seen.facts(),
    }
    because = dict(explain.shares(mini, both.maps, point, 0))
    swing = float(stopping.gain(both.maps)[point] @ seen.instant.swing[:, 0])
    because["swing"] = swing / seen.use if seen.use > 0 else 0.0
    if not fails:
        because["undecided"] = _unsure(stopping, sample, float(both.high[k]))
    parts = np.split(both.samples[piece], np.flatnonzero(np.diff(t[both.samples[piece]]) > SPAN) + 1)
    spans = tuple((float(t[part[0]]), float(t[part[-1]])) for part in parts)
    return Finding(
        check="stop",
        verdict=Verdict.FAIL if fails else Verdict.UNDECIDED,
        start=float(t[both.samples[piece[0]]]),
        end=float(t[both.samples[piece[-1]]]),
        spans=spans,
        worst=worst,
        because=because,
        remedies=tuple(changes.for_piece(piece, sample, fails)),
        text=_summary(worst, fails, because, spans),
        lines=_more(worst, because),
    )


def _unsure(stopping: Stopping, sample: int, high: float) -> list[str]:
    case = stopping.case
    if not np.isfinite(high):
        ahead = sorted(doubt for doubt in case.motion.doubts if doubt[1] >= sample)
        return [ahead[0][2]] if ahead else ["the load has no value there"]
    reasons = []
    if stopping.turns[sample]:
        reasons.append(
            "the deceleration may be meant for the tool origin or, where the tool turns, for its fastest point; give "
            "stop.time or stop.measured"
        )
    reasons.append(
        "how far the part swings hangs on the timing of the changes of load"
        + ("" if stopping.damping > 0 else " and on the damping, which is not given (damping_ratio)")
    )
    if case.motion.error is not None:
        reasons.append(case.motion.error_sentence(sample))
    return reasons


def _summary(
    worst: dict[str, Any], fails: bool, because: dict[str, Any], times: tuple[tuple[float, float], ...]
) -> str:
    margin = f"margin {words.figure(worst['margin'])}"
    if not fails:
        low = worst["margin_low"]
        margin += f", may be as low as {words.figure(low)}" if low else ", may be anything"
    move = words.in_move(worst["move"]).removeprefix(" in ")
    return (
        f"{f'{move}, ' if move else ''}{words.spans(times)}: {margin} for a stop {KINDS[worst['stop']]} that begins at "
        f"{worst['t']:.3f} s, on pad '{worst['pad']}'; swing on the backing {100 * because['swing']:.0f} % of it, the "
        f"rest {words.ranked(because['causes'])}; acts as {words.ranked(because['ways'])}"
    )


def _more(worst: dict[str, Any], because: dict[str, Any]) -> tuple[tuple[str, str], ...]:
    when = f"{1e3 * worst['after']:.0f} ms after the stop began, which takes {1e3 * worst['braking_time']:.0f} ms"
    where = (
        f"pad '{worst['pad']}', edge at {words.spot(worst['point'], worst['azimuth'])}: without the swing tension "
        f"{words.stress(max(worst['normal_stress'], 0.0))} of {words.stress(worst['pull_off_stress'])}, shear "
        f"{words.stress(worst['shear_stress'])} of {words.stress(worst['shear_strength'])}"
    )
    unsure = tuple(("unsure", reason) for reason in because.get("undecided", ()))
    return (("when", when), ("where", where), ("load", words.load(worst["force"], worst["moment"])), *unsure)


def _lines(details: dict[str, Any]) -> tuple[str, ...]:
    lines = [
        f"worst {1e3 * details['after']:.0f} ms after a stop {KINDS[details['stop']]} began, which takes "
        f"{1e3 * details['braking_time']:.0f} ms; without the part's swing {words.figure(details['quasi_static'])}"
    ]
    if details["path"] is not None and details["axes"] is not None:
        lines.append(f"along the path {words.figure(details['path'])}, off the path {words.figure(details['axes'])}")
    damping = f"damping ratio {details['damping_ratio']:g}" if details["damping_ratio"] else "no damping"
    lines.append(f"the part swings on its backing at {details['lowest_frequency']:.0f} Hz and above, {damping}")
    return (*lines, *fall_lines(details["fall"]))


def _assumed(stopping: Stopping, kinds: list[str]) -> list[str]:
    out = list(stopping.rates.notes) if "path" in kinds else []
    if "path" in kinds:
        out.append(
            "Stops: along the path at a constant deceleration; on its way the program would have gone, for half of the "
            "stopping time."
        )
    if "axes" in kinds:
        out.append(
            "Stops: off the path every axis brakes at its own constant rate and then holds; brakes that close late or "
            "one after the other, and arms that sag, are not counted."
        )
    category = stopping.stop.category
    if category is not None:
        left_out = {0: stopping.stop.on_path, 1: False, 2: False}[category] or (
            category != 0 and stopping.stop.axis_deceleration is not None
        )
        if left_out:
            out.append(
                f"Stops: of category {category} alone, as the job says; the other figures of [stop] are not used."
            )
    if stopping.stop.ramp > 0:
        out.append("Stops: the ramp softens their beginning; their end is taken as sudden.")
    out.append(
        "Stops: the part may swing when a stop begins, as in `swing`; all its modes swing in phase"
        + ("." if stopping.damping > 0 else ", without damping (damping_ratio is not given for every pad).")
    )
    return out


STOP = Check(
    name="stop",
    question="Would the part stay on if the robot stopped, at any carried sample?",
    judged=(Judged(name="stop", target=lambda job: job.targets.stop if job.stop else None),),
    run=check_stop,
    result_words=lambda *_: ("", ()),
    finding_words=lambda *_: ("", ()),
    needs=lambda job: NO_DATA if job.stop is None else None,
    references=lambda job: (
        (
            "Stop categories: IEC 60204-1 (quoted). Stopping times and distances: ISO 10218-1:2011, Annex B (quoted).",
            "Swing after steps, ramps and pulses of the load: Chopra, Dynamics of Structures, ch. 4 (from memory).",
        )
        if job.stop
        else ()
    ),
)
