"""Would the part stay on the pads if the robot stopped, at any carried sample?

The margin is that of `hold`, for what the pads carry while the robot brakes and after: the part swings on its backing,
and a stop without a ramp is a step, at its beginning and at its end.
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
from gripmargin.checks.hold.check import UNBALANCED
from gripmargin.checks.hold.words import OTHERS_MAY_HOLD
from gripmargin.checks.margin import Shortfall, margin_figure, margin_result, shortfalls
from gripmargin.checks.stop import words
from gripmargin.checks.stop.fall import fall
from gripmargin.checks.stop.figures import Fall, StopDetails, StopShares, WorstStop
from gripmargin.checks.stop.remedies import advice
from gripmargin.checks.stop.use import AXES, PATH, StopUse, asked_of_the_pads, keep_stops, use_of_stops
from gripmargin.checks.stop.worst import Seen, seen, worst_of
from gripmargin.checks.use import inverse
from gripmargin.results.findings import CheckResult, Finding, Outcome, Remedy, short_of, undecided
from gripmargin.results.record import NoFigures

MOST_TRIALS, ENOUGH = 5, 3  # changed jobs that are put to the check: each costs up to what the check itself does


def run(case: Case) -> Outcome:
    """Judge a stop at every sample of the carry.

    Args:
        case: The job worked out; it carries the part in at least one sample.
    """
    stops, target = case.shared(use_of_stops), case.job.targets.stop
    (result,) = results(case)
    if stops is None:
        return Outcome(results=(result,))
    worst = case.shared(worst_of)
    found = [] if case.trial else shortfalls(case, stops.whole, target)
    remedies = (
        advice(stops, found, target, Trials(case, results, "stop", most=MOST_TRIALS, enough=ENOUGH, keep=keep_stops))
        if found
        else {}
    )
    instants = seen(stops, [short.k for short in found]) if found else {}
    margin, margin_low = stops.whole.over_time(case.load.shape[1])
    load = np.full((6, case.load.shape[1]), np.nan)
    load[:, stops.whole.samples] = stops.load
    return Outcome(
        results=(replace(result, details=_details(stops, worst)),),
        findings=tuple(_finding(stops, short, instants[short.k], remedies[short.k]) for short in found),
        assumed=_assumed(stops),
        series={"stop_margin": margin},
        least={"stop": margin_low},
        loads={"stop": load},
    )


def results(case: Case) -> Iterator[CheckResult]:
    """Yield what a stop at every sample of the carry comes to, without details."""
    stops, target = case.shared(use_of_stops), case.job.targets.stop
    if stops is None:
        yield undecided("stop", target, words.AXES_NEED_JOINTS)
        return
    # on trial nobody reads where it is: what the pads carry there is enough, swing and all
    load = stops.load[:, int(np.argmax(stops.whole.value))] if case.trial else case.shared(worst_of).load
    balanced = case.whole.imbalance(load) <= UNBALANCED
    proven = balanced and not stops.axes_unknown
    yield margin_result(case, "stop", stops.whole, target, NoFigures(), proven=proven)


def _details(stops: StopUse, worst: Seen) -> StopDetails:
    margins = {kind: margin_figure(float(use.value.max())) for kind, use in stops.by_kind.items()}
    return StopDetails(
        instant=worst.figures,
        path=margins.get(PATH),
        axes=margins.get(AXES),
        lowest_frequency=float(stops.stopping.modes.frequency.min() / (2.0 * np.pi)),
        damping_ratio=float(stops.stopping.modes.damping.min()),
        fall=_fall(stops),
        axes_unknown=stops.axes_unknown,
    )


def _fall(stops: StopUse) -> Fall | None:
    """What a part does that a stop may throw off; None where none does."""
    use = stops.whole
    loose = np.flatnonzero(short_of(inverse(use.high), 1.0))
    if loose.size == 0:
        return None
    surely = loose[use.low[loose] > 1.0]
    return fall(stops.stopping.case, stops.stopping.stop.floor, use.samples[loose], use.samples[surely])


def _finding(stops: StopUse, short: Shortfall, instant: Seen, remedies: Sequence[Remedy]) -> Finding:
    case, use = stops.stopping.case, stops.whole
    worst = WorstStop(
        margin=short.worst,
        spot=explain.spot_on_pad(*use.grip.place(instant.point)),
        stresses=explain.stresses_at(instant.alone, use.grip, instant.point, 0),
        load=explain.load_figures(instant.load),
        instant=instant.figures,
    )
    doubts = None if short.fails else _unsure(stops, short)
    because = StopShares(
        shares=explain.shares(instant.alone, use.grip, instant.point, 0, undecided=doubts),
        swing=instant.swing,
    )
    return short.finding(case, "stop", worst, because, remedies)


def _unsure(stops: StopUse, short: Shortfall) -> list[str]:
    stopping, motion = stops.stopping, stops.stopping.case.motion
    if not np.isfinite(stops.whole.high[short.k]):
        ahead = sorted(doubt for doubt in motion.doubts if doubt[1] >= short.sample)
        return [ahead[0][2]] if ahead else [words.NO_LOAD]
    reasons = [OTHERS_MAY_HOLD] if short.lets_go else []
    reasons += [words.ORIGIN_OR_FASTEST] if stopping.turns[short.sample] else []
    reasons.append(words.TIMING if stopping.modes.damping.min() > 0 else words.TIMING + words.NO_DAMPING)
    return reasons if motion.given else [*reasons, motion.error_sentence(short.sample)]


def _assumed(stops: StopUse) -> tuple[str, ...]:
    stopping, path, axes = stops.stopping, PATH in stops.by_kind, AXES in stops.by_kind
    notes = stopping.rates.notes if path else ()
    return *notes, *words.assumed(stopping.stop, path=path, axes=axes, damped=stopping.modes.damping.min() > 0)


STOP = Check(
    name="stop",
    question="Would the part stay on if the robot stopped, at any carried sample?",
    judged=(
        Judged(
            name="stop",
            target=lambda job: job.targets.stop if job.stop else None,
            details=StopDetails,
            series="stop_margin",
            rests_on=premises.STOPPING,
        ),
    ),
    run=run,
    result_words=words.result,
    finding_words=words.finding,
    needs=lambda job: words.NO_DATA if job.stop is None else None,
    references=lambda job: (
        (
            "Stop categories: IEC 60204-1 (quoted). Stopping times and distances: ISO 10218-1:2011, Annex B (quoted).",
            "Swing after steps, ramps and pulses of the load: Chopra, Dynamics of Structures, ch. 4 (from memory).",
        )
        if job.stop
        else ()
    ),
    uses=asked_of_the_pads,
)
