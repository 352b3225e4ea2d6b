"""Does the part stay on the pads at every carried sample?

The margin is the factor by which the whole load could grow before the first place on a pad's edge reaches
what it holds (first peel on an elastic layer). It is the lower end of a bracket; the upper end is the shared
margin (`gripmargin.contact.limit`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks import words
from gripmargin.checks.case import Case
from gripmargin.checks.hold import explain
from gripmargin.checks.hold.pieces import edge_point, margin_figure, pieces_of, spans_of
from gripmargin.checks.hold.remedies import Overall, for_piece
from gripmargin.checks.hold.use import Use, pad_use, use_without
from gripmargin.results.findings import CheckResult, Finding, Outcome, Verdict, judge, short_of

UNBALANCED = 1e-3  # residual of the force balance, over the load, from which tractions prove nothing
LIMIT_ANALYSES = 5  # findings whose shared margin is worked out, worst first

NAMES = {
    "hold": "grip margin over the carry",
    "peel": "peel margin over the carry",
    "one_pad_lost": "grip margin over the carry with any one pad gone",
}


@dataclass(frozen=True, eq=False, kw_only=True)
class HoldOutcome:
    """What the hold check found.

    Attributes:
        outcome: The hold result, and those of peel and one pad lost where they have a target.
        margin: Grip margin at every sample [-], NaN outside carry phases, shape (n,).
        margin_low: Least value it may have, likewise.
        peel_index: Largest tension over pull-off stress [-], likewise.
        peel_azimuth: Where it is, about the tool's z axis [rad], likewise.
        use: How far the pads are used.
    """

    outcome: Outcome
    margin: FloatArray
    margin_low: FloatArray
    peel_index: FloatArray
    peel_azimuth: FloatArray
    use: Use


def check_hold(case: Case) -> HoldOutcome:
    """Judge the whole carry.

    Args:
        case: The job worked out; it carries the part in at least one sample.
    """
    targets = case.job.targets
    whole, tension = pad_use(case)
    lost = [use_without(case, i) for i in range(len(case.backing.patches))] if len(case.backing.patches) > 1 else []
    details = _details(case, whole, tension, lost)
    judged = [("hold", whole, targets.hold, details)]
    if targets.peel is not None:
        judged.append(("peel", tension, targets.peel, {}))
    if targets.one_pad_lost is not None:
        worst = max(lost, key=lambda use: _unknown_as_inf(use.high)) if lost else _nothing_left(whole)
        judged.append(("one_pad_lost", worst, targets.one_pad_lost, {}))
    results, findings = [], []
    for name, use, target, more in judged:
        results.append(_result(case, name, use, target, more))
        findings += findings_over(case, name, use, target)
    n = case.load.shape[1]
    spread = {}
    for key, values in (
        ("margin", whole.margin()),
        ("margin_low", 1.0 / np.maximum(whole.high, 1e-300)),
        ("peel_index", tension.value),
        ("peel_azimuth", _azimuths(case, tension)),
    ):
        spread[key] = np.full(n, np.nan)
        spread[key][whole.samples] = values
    return HoldOutcome(outcome=Outcome(results=tuple(results), findings=tuple(findings)), use=whole, **spread)


def _nothing_left(whole: Use) -> Use:
    """The use with the only pad gone: without bound."""
    unbounded = np.full(whole.samples.size, np.inf)
    return replace(whole, value=unbounded, low=unbounded, high=unbounded)


def _unknown_as_inf(values: FloatArray) -> float:
    return float(np.where(np.isnan(values), np.inf, values).max())


def _azimuths(case: Case, tension: Use) -> FloatArray:
    points = case.backing.edge_points()[tension.point]
    return np.where(tension.value > 0, np.arctan2(points[:, 1], points[:, 0]), np.nan)


def _result(case: Case, name: str, use: Use, target: float, details: dict[str, Any]) -> CheckResult:
    worst = int(np.argmax(use.value))
    surest = int(np.argmax(use.high))
    low, high = float(use.high.max()), float(use.low.max())
    with np.errstate(divide="ignore"):
        verdict = judge(float(1.0 / np.float64(low)), float(1.0 / np.float64(high)), target)
    if verdict is Verdict.PASS and not details.get("imbalance", 0.0) <= UNBALANCED:
        verdict = Verdict.UNDECIDED  # tractions that do not carry the load prove nothing
    at = surest if verdict is Verdict.UNDECIDED else worst
    value = margin_figure(float(use.value[worst]))
    text = NAMES[name]
    if value is None:
        text += "; no load on the pads, so the margin has no value"
    return CheckResult(
        check=name,
        verdict=verdict,
        value=value,
        low=margin_figure(low),
        high=margin_figure(high),
        target=target,
        at=case.place(int(use.samples[at])),
        details=details,
        text=text,
        lines=_lines(details),
    )


def _details(case: Case, whole: Use, tension: Use, lost: list[Use]) -> dict[str, Any]:
    worst = int(np.argmax(whole.value))
    sample = int(whole.samples[worst])
    peeled = int(np.argmax(tension.value))
    point = case.backing.edge_points()[tension.point[peeled]]
    patch = int(tension.owner[tension.point[peeled]])
    at_peel = int(tension.samples[peeled])
    out: dict[str, Any] = {
        **explain.shared_margin(case, sample),
        "peel": {
            "peel_index": float(tension.value[peeled]),
            "t": float(case.job.trajectory.t[at_peel]),
            "sample": at_peel,
            **explain.place_on_pad(case.backing, patch, point),
            **explain.tractions_at(case, patch, point, at_peel),
        },
        "imbalance": case.backing.imbalance(case.load[:, sample]),
        "one_pad_lost": [],
    }
    for i, use in enumerate(lost):
        k = int(np.argmax(use.value))
        out["one_pad_lost"].append(
            {
                "lost": case.backing.patches[i].pad.name,
                "margin": margin_figure(float(use.value[k])),
                "t": float(case.job.trajectory.t[use.samples[k]]),
            }
        )
    return out


def findings_over(case: Case, name: str, use: Use, target: float) -> list[Finding]:
    """Return the stretches of a carry that fall short of a target or cannot be decided, one a move.

    Args:
        case: The job.
        name: Of the check they belong to.
        use: How far the pads are used.
        target: Margin wanted.
    """
    with np.errstate(divide="ignore"):
        short = short_of(1.0 / use.high, target)
    stretches = pieces_of(case, use, short)
    if not stretches:
        return []
    ranked = sorted(stretches, key=lambda piece: -float(use.high[piece].max()))
    with_limit = {id(piece) for piece in ranked[:LIMIT_ANALYSES]} if name in ("hold", "recorded") else set()
    whole = Overall.of(case, use, target, name)
    return [_finding(case, name, use, whole, piece, id(piece) in with_limit) for piece in stretches]


def _finding(case: Case, name: str, use: Use, whole: Overall, piece: NDArray[np.intp], with_limit: bool) -> Finding:
    target = whole.target
    fails = bool(use.low[piece].max() > 1.0 / target)
    k = int(piece[np.argmax(use.value[piece] if fails else use.high[piece])])
    sample, point = int(use.samples[k]), int(use.point[k])
    patch = int(use.owner[point])
    spot = edge_point(case, use, point)
    t = case.job.trajectory.t
    worst = {
        "t": float(t[sample]),
        "sample": sample,
        "move": case.job.trajectory.move_at(sample),
        "margin": margin_figure(float(use.value[k])),
        "margin_low": margin_figure(float(use.high[k])),
        "margin_high": margin_figure(float(use.low[k])),
        **explain.place_on_pad(case.backing, patch, spot),
        **explain.tractions_at(case, patch, spot, sample),
        "force": case.load[:3, sample].tolist(),
        "moment": case.load[3:, sample].tolist(),
    }
    if with_limit:
        worst |= explain.shared_margin(case, sample)
    because = explain.shares(case, use.maps, point, sample)
    if not fails:
        because["undecided"] = case.motion.doubts_at(sample) or [case.motion.error_sentence(sample)]
    spans = spans_of(case, use, piece)
    return Finding(
        check=name,
        verdict=Verdict.FAIL if fails else Verdict.UNDECIDED,
        start=float(t[use.samples[piece[0]]]),
        end=float(t[use.samples[piece[-1]]]),
        spans=spans,
        worst=worst,
        because=because,
        remedies=tuple(for_piece(case, use, whole, piece, sample)),
        text=_summary(worst, fails, because, spans),
        lines=_more(worst, because),
    )


def _summary(
    worst: dict[str, Any], fails: bool, because: dict[str, Any], times: tuple[tuple[float, float], ...]
) -> str:
    margin = f"margin {words.figure(worst['margin'])}"
    if not fails:
        low = worst["margin_low"]
        margin += f", may be as low as {words.figure(low)}" if low else ", may be anything"
    move = words.in_move(worst["move"]).removeprefix(" in ")
    return (
        f"{f'{move}, ' if move else ''}{words.spans(times)}: {margin} at {worst['t']:.3f} s on pad '{worst['pad']}'; "
        f"{words.ranked(because['causes'])}; acts as {words.ranked(because['ways'])}"
    )


def _more(worst: dict[str, Any], because: dict[str, Any]) -> tuple[tuple[str, str], ...]:
    where = (
        f"pad '{worst['pad']}', edge at {words.spot(worst['point'], worst['azimuth'])}: tension "
        f"{words.stress(max(worst['normal_stress'], 0.0))} of {words.stress(worst['pull_off_stress'])}, shear "
        f"{words.stress(worst['shear_stress'])} of {words.stress(worst['shear_strength'])}"
    )
    unsure = tuple(("unsure", reason) for reason in because.get("undecided", ()))
    return (("where", where), ("load", words.load(worst["force"], worst["moment"])), *unsure)


def _lines(details: dict[str, Any]) -> tuple[str, ...]:
    """What else is known of the whole carry, in sentences."""
    lines = []
    if details.get("shared_margin") is not None:
        lines.append(
            f"a backing that shared the load ideally would give {words.figure(details['shared_margin'])}: the upper "
            "end of what is possible, not to be relied on"
        )
    peel = details.get("peel")
    if peel is not None and peel["peel_index"] > 0:
        amplification = peel["edge_amplification"]
        edge = f", {amplification:.1f} times the pad's mean tension" if amplification is not None else ""
        lines.append(
            f"highest tension {100 * peel['peel_index']:.0f} % of the pull-off stress (peel index "
            f"{peel['peel_index']:.2f}) at {peel['t']:.3f} s on pad '{peel['pad']}', edge at "
            f"{words.spot(peel['point'], peel['azimuth'])}{edge}"
        )
    for item in details.get("one_pad_lost", []):
        falls = ": the part falls" if item["margin"] is not None and item["margin"] < 1 else ""
        lines.append(
            f"with pad '{item['lost']}' gone: margin {words.figure(item['margin'])} at {item['t']:.3f} s{falls}"
        )
    return tuple(lines)
