"""Does the part stay on while it swings on its soft pads?

The margin is that of `hold`, with the load that the pads really carry: the part hangs on a backing that gives way, so
a sudden change of the load starts a swing that adds to it (`gripmargin.checks.swing.response`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from gripmargin.checks import premises
from gripmargin.checks.advice import Trials
from gripmargin.checks.case import Case
from gripmargin.checks.check import Check, Judged
from gripmargin.checks.hold import explain
from gripmargin.checks.margin import Shortfall, margin_figure, margin_result, shortfalls
from gripmargin.checks.swing import words
from gripmargin.checks.swing.figures import SwingCauses, SwingDetails, WorstSwing
from gripmargin.checks.swing.remedies import advice, blamed
from gripmargin.checks.swing.ringing import keep_swing
from gripmargin.checks.swing.use import CarrySwing, asked_of_the_pads, swing_target, swing_use
from gripmargin.results.findings import CheckResult, Finding, Outcome, Remedy, Verdict, finite
from gripmargin.results.record import NoFigures

MOST_TRIALS = 5  # changed jobs that are put to the check: each costs up to what the check itself does


def run(case: Case) -> Outcome:
    """Judge the whole carry.

    Args:
        case: The job worked out; it carries the part in at least one sample.
    """
    carry, target = case.shared(swing_use), swing_target(case.job)
    (result,) = results(case)
    undecided = result.verdict is not Verdict.FAIL
    trials = Trials(case, results, "swing", most=MOST_TRIALS, keep=keep_swing)
    margin, margin_low = carry.use.over_time(case.load.shape[1])
    return Outcome(
        results=(replace(result, details=details_of(carry)),),
        findings=tuple(findings_over(case, carry, target, trials, undecided=undecided)),
        assumed=_assumed(case),
        series={"swing_margin": margin, "swing_margin_low": margin_low},
        least={"swing": margin_low},
        loads={"swing": carry.load},
    )


def results(case: Case) -> Iterator[CheckResult]:
    """Yield what the swing over the carry comes to, without details."""
    yield margin_result(case, "swing", case.shared(swing_use).use, swing_target(case.job), NoFigures())


def findings_over(
    case: Case, carry: CarrySwing, target: float, trials: Trials, *, undecided: bool, moves: bool = True
) -> list[Finding]:
    """Return the stretches of a carry that fall short with the part swinging, or cannot be decided.

    Args:
        case: The job; it may carry the motion of a recording.
        carry: The swing over the carry.
        target: Margin wanted.
        trials: Of the check they belong to.
        undecided: Whether the carry as a whole is.
        moves: Whether the program can be tried at another speed.
    """
    found = [] if case.trial else shortfalls(case, carry.use, target)
    remedies = advice(case, carry, found, trials, undecided=undecided, moves=moves) if found else {}
    return [_finding(case, trials.name, carry, short, remedies[short.k]) for short in found]


def details_of(carry: CarrySwing) -> SwingDetails:
    """Return what is known of the swing over a carry beyond its margin."""
    worst = int(np.argmax(carry.use.value))
    quasi_static = float(carry.still.value[worst])
    return SwingDetails(
        frequencies=tuple(carry.modes.hertz.tolist()),
        shapes=carry.modes.names,
        damping=tuple(carry.modes.damping.tolist()),
        amplification=float(carry.use.value[worst]) / quasi_static if quasi_static > 0 else None,
        quasi_static_margin=margin_figure(quasi_static),
        ringing=carry.ringing(int(carry.use.samples[worst])),
        sway_angle=finite(float(np.max([sway.angle for sway in carry.sways]))),
        sway=finite(float(np.max([sway.way for sway in carry.sways]))),
        too_far=not all(sway.known.all() for sway in carry.sways),
    )


def _finding(case: Case, check: str, carry: CarrySwing, short: Shortfall, remedies: Sequence[Remedy]) -> Finding:
    use, sample, point = short.use, short.sample, short.point
    load = carry.load[:, sample]
    swing = load - case.load[:, sample]
    worst = WorstSwing(
        margin=short.worst,
        quasi_static_margin=margin_figure(float(carry.still.value[short.k])),
        spot=explain.spot_on_pad(*use.grip.place(point)),
        stresses=explain.stresses_at(case, use.grip, point, sample, swing=swing),
        load=explain.load_figures(load),
    )
    least = blamed(case, carry, short)
    missing = case.motion.rest_without_samples(least) is not None
    between = case.motion.error_sentence(least) if missing else words.LOAD_BETWEEN_SAMPLES
    still = words.PUSHED if carry.rings_by_force(case, sample) else between
    if carry.built_up is not None and carry.built_up.is_more[short.k]:
        still = words.IN_BETWEEN
    doubts = explain.doubts(case, short, still if carry.in_reach(sample) else words.TOO_FAR)
    because = SwingCauses(
        shares=explain.shares(case, use.grip, point, sample, swing=swing, undecided=doubts),
        ringing=carry.ringing(sample),
    )
    return short.finding(case, check, worst, because, remedies)


def _assumed(case: Case) -> tuple[str, ...]:
    pads, pick = case.whole.patches, case.job.pick
    return words.assumed(
        pads=len(pads),
        undamped=sum(patch.pad.material.damping_ratio is None for patch in pads),
        tray=case.pickup is not None,
        break_away=pick is not None and pick.break_away > 0,
    )


SWING = Check(
    name="swing",
    question="Does the part stay on while it swings on its soft pads?",
    judged=(
        Judged(
            name="swing", target=swing_target, details=SwingDetails, series="swing_margin", rests_on=premises.SWINGING
        ),
    ),
    run=run,
    result_words=words.swing_result,
    finding_words=words.swing_finding,
    references=lambda _: (
        "Swing of a part on its pads: modes of a rigid body on springs; response to loads in straight lines, Chopra, "
        "Dynamics of Structures, ch. 4 and 5 (from memory).",
    ),
    uses=asked_of_the_pads,
)
