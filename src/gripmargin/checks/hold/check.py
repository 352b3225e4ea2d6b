"""Does the part stay on the pads at every carried sample?

The margin is the factor by which the whole load could grow before the first place on a pad's edge reaches
what it holds (first peel on an elastic layer). It is the lower end of a bracket; the upper end is the shared
margin (`gripmargin.contact.limit`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from gripmargin.base.stored import columns, filled_with, parts
from gripmargin.checks.advice import Trials
from gripmargin.checks.case import Case
from gripmargin.checks.check import Check, Judged
from gripmargin.checks.dents import dented_without_a_pad
from gripmargin.checks.hold import explain, words
from gripmargin.checks.hold.figures import FirstBreak, HighestTension, HoldDetails, PadLost, WorstHold
from gripmargin.checks.hold.letting_go import settled_carry
from gripmargin.checks.hold.remedies import advice
from gripmargin.checks.hold.use import asked_of_the_pads, pad_use, uses_without
from gripmargin.checks.margin import Shortfall, margin_figure, margin_result, shortfalls
from gripmargin.checks.premises import (
    HOLDING,
    PADS,
    hanging_without_a_pad,
    plane_face,
    pressed_flat,
)
from gripmargin.checks.use import Asked, Use
from gripmargin.contact.grip import first_break
from gripmargin.kernels.utilisation import peak_utilisation
from gripmargin.results.findings import CheckResult, Finding, Outcome, Remedy
from gripmargin.results.record import NoFigures

UNBALANCED = 1e-3  # residual of the force balance, over the load, from which tractions prove nothing
LIMIT_ANALYSES = 1  # findings whose shared margin is worked out, worst first


def run(case: Case) -> Outcome:
    """Judge the whole carry.

    Args:
        case: The job worked out; it carries the part in at least one sample.
    """
    whole, tension = case.shared(pad_use)
    details = _details(case, whole, tension)
    found = [replace(result, details=details) if result.check == "hold" else result for result in results(case)]
    findings = []
    for asked in case.shared(_asked):
        findings += findings_over(case, asked.use, asked.target, Trials(case, results, asked.name))
    n = case.load.shape[1]
    margin, margin_low = whole.over_time(n)
    peel = filled_with(np.nan, (2, n))
    for part in parts(whole.samples.size):
        value, points = tension.value[part], case.grip.points[tension.point[part]]
        azimuth = np.where(value > 0, np.arctan2(points[:, 1], points[:, 0]), np.nan)
        peel[:, whole.samples[part]] = value, azimuth
    return Outcome(
        results=tuple(found),
        findings=tuple(findings),
        series={
            "hold_margin": margin,
            "hold_margin_low": margin_low,
            "peel_index": peel[0],
            "peel_azimuth": peel[1],
        },
        least={asked.name: asked.use.over_time(n)[1] for asked in case.shared(_asked)},
    )


def results(case: Case) -> Iterator[CheckResult]:
    """Yield what the targets of the carry come to, without details."""
    for asked in case.shared(_asked):
        # tractions that do not carry the load prove nothing
        proven = asked.name != "hold" or _imbalance(case, asked.use) <= UNBALANCED
        yield margin_result(case, asked.name, asked.use, asked.target, NoFigures(), proven=proven)


def _asked(case: Case) -> tuple[Asked, ...]:
    """What the targets of the carry ask, as far as pads that let go are followed."""
    return tuple(replace(asked, use=settled_carry(case, asked)) for asked in asked_of_the_pads(case))


def _imbalance(case: Case, use: Use) -> float:
    return case.whole.imbalance(case.load[:, int(use.samples[np.argmax(use.value)])])


def findings_over(case: Case, use: Use, target: float, trials: Trials, *, moves: bool = True) -> list[Finding]:
    """Return the stretches of a carry that fall short of a target or cannot be decided, one a move.

    Args:
        case: The job.
        use: How far the pads are used.
        target: Margin wanted.
        trials: Of the check they belong to.
        moves: Whether the program can be tried at another speed.
    """
    found = shortfalls(case, use, target)
    if not found or case.trial:
        return []
    limited = sorted(found, key=lambda short: -float(use.value[short.piece].max()))[:LIMIT_ANALYSES]
    with_limit = {short.k for short in limited} if trials.name in ("hold", "recorded") else set()
    remedies = advice(case, use, found, target, trials, moves=moves)
    return [_finding(case, trials.name, short, remedies[short.k], with_limit=short.k in with_limit) for short in found]


def _finding(case: Case, check: str, short: Shortfall, remedies: Sequence[Remedy], *, with_limit: bool) -> Finding:
    use, sample, point = short.use, short.sample, short.point
    worst = WorstHold(
        margin=short.worst,
        spot=explain.spot_on_pad(*use.grip.place(point)),
        stresses=explain.stresses_at(case, use.grip, point, sample),
        load=explain.load_figures(case.load[:, sample]),
        limit=explain.shared_margin(case, sample) if with_limit else None,
    )
    doubts = explain.doubts(case, short, case.motion.error_sentence(sample))
    because = explain.shares(case, use.grip, point, sample, undecided=doubts)
    return short.finding(case, check, worst, because, remedies)


def _details(case: Case, whole: Use, tension: Use) -> HoldDetails:
    sample = int(whole.samples[np.argmax(whole.value)])
    peeled = int(np.argmax(tension.value))
    point, at = int(tension.point[peeled]), case.place(int(tension.samples[peeled]))
    return HoldDetails(
        limit=explain.shared_margin(case, sample),
        peel=HighestTension(
            peel_index=float(tension.value[peeled]),
            t=at.t,
            sample=at.sample,
            spot=explain.spot_on_pad(*case.grip.place(point)),
            stresses=explain.stresses_at(case, case.grip, point, at.sample),
        ),
        imbalance=_imbalance(case, whole),
        one_pad_lost=tuple(
            PadLost(
                lost=patch.pad.name,
                margin=margin_figure(float(use.value.max())),
                t=case.place(int(use.samples[np.argmax(use.value)])).t,
            )
            for patch, use in zip(case.whole.patches, case.shared(uses_without), strict=False)  # none for one pad
        ),
        first_break=None if case.grip.share == 1.0 else _first_break(case),
    )


def _first_break(case: Case) -> FirstBreak:
    grip = first_break(case.grip.bonded)
    use, point, _, _ = peak_utilisation(grip.face, columns(case.load, case.carried))
    worst = int(np.argmax(use))
    return FirstBreak(
        margin=margin_figure(float(use[worst])),
        t=case.place(int(case.carried[worst])).t,
        core=case.grip.share,
        spot=explain.spot_on_pad(*grip.place(int(point[worst]))),
    )


HOLD = Check(
    name="hold",
    question="Does the part stay on the pads at every carried sample?",
    judged=(
        Judged(
            name="hold",
            target=lambda job: job.targets.hold,
            details=HoldDetails,
            series="hold_margin",
            rests_on=HOLDING,
        ),
        Judged(name="peel", target=lambda job: job.targets.peel, rests_on=HOLDING),
        Judged(
            name="one_pad_lost",
            target=lambda job: job.targets.one_pad_lost,
            rests_on=(plane_face, hanging_without_a_pad, dented_without_a_pad, pressed_flat, *PADS),
        ),
    ),
    run=run,
    result_words=words.result,
    finding_words=words.finding,
    references=lambda _: (
        "Traction on an elastic layer, N/A + M y/I: strength of materials; Chokshi, eccentrically loaded footings.",
        "Shared margin: limit analysis, Drucker, Prager & Greenberg, Q. Appl. Math. 9:381-389, 1952 (from memory).",
        "Mixed-mode limit on an elastic layer: Kanninen, Int. J. Fract. 9:83, 1973 (from memory).",
    ),
    uses=asked_of_the_pads,
)
