"""Does the part stay on while it swings on its soft pads?

The margin is that of `hold`, with the load that the pads really carry: the part hangs on a backing that gives way, so
a sudden change of the load starts a swing that adds to it (`gripmargin.checks.swing.vibration`).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks import words
from gripmargin.checks.case import Case
from gripmargin.checks.check import Check, Judged
from gripmargin.checks.hold import explain
from gripmargin.checks.hold.use import pad_use
from gripmargin.checks.margin import edge_point, margin_figure, pieces_of, spans_of
from gripmargin.checks.swing.remedies import for_move, for_whole
from gripmargin.checks.swing.ringing import Stretch, stretches_of, swing_use
from gripmargin.checks.use import Use
from gripmargin.results.findings import CheckResult, Finding, Outcome, Remedy, Verdict, judge, short_of
from gripmargin.workcell.job import Job

TEXT = "grip margin over the carry with the part swinging on its backing"


def check_swing(case: Case) -> Outcome:
    """Judge the whole carry.

    Args:
        case: The job worked out; it carries the part in at least one sample.
    """
    still = case.shared(pad_use)[0]
    stretches = case.shared(stretches_of)
    use, load = swing_use(case, stretches, still)
    targets = case.job.targets
    target = targets.hold if targets.swing is None else targets.swing
    with np.errstate(divide="ignore"):
        pieces = pieces_of(case, use, short_of(1.0 / use.high, target))
    whole = for_whole(case, stretches, use, target) if pieces else ()
    findings = tuple(_finding(case, stretches, still, use, load, piece, target, whole) for piece in pieces)
    margins = []
    for values in (use.value, use.high):
        spread = np.full(case.load.shape[1], np.nan)
        with np.errstate(divide="ignore"):
            spread[use.samples] = 1.0 / values
        margins.append(spread)
    return Outcome(
        results=(_result(case, stretches, still, use, target),),
        findings=findings,
        assumed=_assumed(case),
        series={"swing_margin": margins[0], "swing_margin_low": margins[1]},
    )


def _result(case: Case, stretches: list[Stretch], still: Use, use: Use, target: float) -> CheckResult:
    low, high = float(use.high.max()), float(use.low.max())
    with np.errstate(divide="ignore"):
        verdict = judge(float(1.0 / np.float64(low)), float(1.0 / np.float64(high)), target)
    worst = int(np.argmax(use.high if verdict is Verdict.UNDECIDED else use.value))
    value = margin_figure(float(use.value.max()))
    modes = stretches[0].swing.modes
    quasi_static = float(still.value[worst])
    details = {
        "frequencies": modes.hertz.tolist(),
        "shapes": list(modes.names),
        "damping": modes.damping.tolist(),
        "amplification": float(use.value[worst]) / quasi_static if quasi_static > 0 else None,
        "quasi_static_margin": margin_figure(quasi_static),
        "ringing": _ringing(stretches, use, worst),
    }
    return CheckResult(
        check="swing",
        verdict=verdict,
        value=value,
        low=margin_figure(low),
        high=margin_figure(high),
        target=target,
        at=case.place(int(use.samples[worst])),
        details=details,
        text=TEXT if value is not None else f"{TEXT}; no load on the pads, so the margin has no value",
        lines=_lines(details),
    )


def _ringing(stretches: list[Stretch], use: Use, index: int) -> list[dict[str, Any]]:
    """How much utilisation the swing of each mode is worth at a carried sample."""
    before = 0
    for stretch in stretches:
        if index < before + stretch.samples.size:
            at = int(np.argmax(stretch.owner == index - before))
            found = stretch.swing
            gain = np.sqrt(((use.maps @ found.modes.loads) ** 2).sum(axis=0)).max(axis=0)
            worth = gain * found.amplitude[:, at]
            return [
                {"shape": name, "frequency": float(hertz), "use": float(x)}
                for name, hertz, x in zip(found.modes.names, found.modes.hertz, worth, strict=True)
            ]
        before += stretch.samples.size
    return []


def _lines(details: dict[str, Any]) -> tuple[str, ...]:
    said = ", ".join(
        f"{hertz:.3g} Hz {name}" for name, hertz in zip(details["shapes"], details["frequencies"], strict=True)
    )
    damping = details["damping"]
    low, high = f"{min(damping):.3g}", f"{max(damping):.3g}"
    ratio = "undamped" if high == "0" else f"damping ratio {low}" + (f" to {high}" if high != low else "")
    lines = [f"the part swings on its pads at {said}; {ratio}"]
    if details["amplification"] is not None:
        lines.append(
            f"at the worst sample the pads are used {details['amplification']:.2f} times as far as without swing "
            f"(margin {words.figure(details['quasi_static_margin'])} there)"
        )
    return tuple(lines)


def _finding(
    case: Case,
    stretches: list[Stretch],
    still: Use,
    use: Use,
    load: FloatArray,
    piece: NDArray[np.intp],
    target: float,
    whole: tuple[Remedy, ...],
) -> Finding:
    fails = bool(use.low[piece].max() > 1.0 / target)
    k = int(piece[np.argmax(use.value[piece] if fails else use.high[piece])])
    sample, point = int(use.samples[k]), int(use.point[k])
    patch = int(use.owner[point])
    place = edge_point(case, use, point)
    added = load[:, k] - case.load[:, sample]
    t = case.job.trajectory.t
    worst = {
        "t": float(t[sample]),
        "sample": sample,
        "move": case.job.trajectory.move_at(sample),
        "margin": margin_figure(float(use.value[k])),
        "margin_low": margin_figure(float(use.high[k])),
        "margin_high": margin_figure(float(use.low[k])),
        "quasi_static_margin": margin_figure(float(still.value[k])),
        **explain.spot_on_pad(case.backing, patch, place),
        **explain.stresses_at(case, patch, place, sample, swing=added),
        "force": load[:3, k].tolist(),
        "moment": load[3:, k].tolist(),
    }
    because = dict(explain.shares(case, use.maps, point, sample, swing=added))
    because["ringing"] = _ringing(stretches, use, k)
    if not fails:
        because["undecided"] = case.motion.doubts_at(sample) or [
            "the samples do not tell how suddenly the load changes between them, or the positions are too noisy, to "
            "know how far the part swings"
        ]
    spans = spans_of(case, use, piece)
    margin = f"margin {words.figure(worst['margin'])}"
    if not fails:
        lowest = worst["margin_low"]
        margin += f", may be as low as {words.figure(lowest)}" if lowest else ", may be anything"
    move = words.in_move(worst["move"]).removeprefix(" in ")
    rings = words.ranked(_parts(because["ringing"]))
    return Finding(
        check="swing",
        verdict=Verdict.FAIL if fails else Verdict.UNDECIDED,
        start=float(t[use.samples[piece[0]]]),
        end=float(t[use.samples[piece[-1]]]),
        spans=spans,
        worst=worst,
        because=because,
        remedies=(*for_move(case, stretches, use, piece, target), *whole),
        text=f"{f'{move}, ' if move else ''}{words.spans(spans)}: {margin} at {worst['t']:.3f} s on pad "
        f"'{worst['pad']}', {words.figure(worst['quasi_static_margin'])} without swing; "
        f"{words.ranked(because['causes'])}",
        lines=(
            ("swing", rings),
            ("load", words.load(worst["force"], worst["moment"])),
            *(("unsure", reason) for reason in because.get("undecided", ())),
        ),
    )


def _parts(ringing: list[dict[str, Any]]) -> dict[str, float]:
    """The shares of the modes in the swing, by name and frequency."""
    total = sum(mode["use"] for mode in ringing)
    return {f"{m['shape']}, {m['frequency']:.3g} Hz": m["use"] / total for m in ringing} if total > 0 else {}


def _assumed(case: Case) -> tuple[str, ...]:
    out = []
    bare = sum(p.pad.material.damping_ratio is None for p in case.backing.patches)
    if bare:
        some = "" if bare == len(case.backing.patches) else f" for {bare} of {len(case.backing.patches)} pads"
        out.append(f"Swing: no damping ratio is given{some}: taken as undamped, the safe choice.")
    pick = case.job.pick
    if case.pickup is not None:
        out.append(
            "Swing: the part rests in its tray until the pads pull with its weight and the break-away force; it then "
            "starts with the speed of the tool against it."
        )
    elif pick is not None and pick.break_away > 0:
        out.append("Swing: the carry begins with the part at rest on the pads, stretched by the break-away force too.")
    else:
        out.append("Swing: the carry begins with the part at rest on the pads, in balance with its first load.")
    return tuple(out)


def _swing_target(job: Job) -> float:
    return job.targets.hold if job.targets.swing is None else job.targets.swing


SWING = Check(
    name="swing",
    question="Does the part stay on while it swings on its soft pads?",
    judged=(Judged(name="swing", target=_swing_target),),
    run=check_swing,
    result_words=lambda *_: ("", ()),
    finding_words=lambda *_: ("", ()),
    references=lambda _: (
        "Swing of a part on its pads: modes of a rigid body on springs; response to loads in straight lines, Chopra, "
        "Dynamics of Structures, ch. 4 and 5 (from memory).",
    ),
)
