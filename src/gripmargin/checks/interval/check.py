"""Over how many picks between two cleanings do the pads hold enough for every margin?

Every check that counts on the strength of the pads is put to the job with pads as dirty as they get. How many picks
would do follows from the margins, which go with the strength, and is put to the same checks before it is said.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from gripmargin.checks.case import Case, work_out
from gripmargin.checks.check import Check, Judged
from gripmargin.checks.cleaning.check import run as cleaned
from gripmargin.checks.handover.preload import PRELOAD
from gripmargin.checks.hold.check import HOLD
from gripmargin.checks.interval import dirt, words
from gripmargin.checks.interval.figures import IntervalDetails, WorstInterval
from gripmargin.checks.recorded.check import RECORDED
from gripmargin.checks.stop.check import STOP
from gripmargin.checks.swing.check import SWING
from gripmargin.results.findings import CheckResult, Finding, Outcome, Remedy, Verdict, overall, undecided
from gripmargin.results.findings import on_target as reaches
from gripmargin.workcell.job import Job

ON_STRENGTH: Final = (PRELOAD, HOLD, SWING, STOP, RECORDED)  # checks that give margins of the pads
TRIES: Final = 4  # numbers of picks that are put to the checks
SHOWN: Final = 33  # numbers of picks at which the course is told

Results = tuple[CheckResult, ...]


def run(case: Case) -> Outcome:
    """Judge the picks that the job asks for."""
    asked = _target(case.job)
    if asked is None:
        return Outcome()  # as a target that is not given: not asked
    names = dirt.unrecorded(case)
    if names:
        return _open(asked, words.unrecorded(names), words.RECORD)
    found = _after(case, asked)
    if not found:
        return _open(asked, words.NO_MARGIN)
    verdict = overall(result.verdict for result in found)
    if verdict is Verdict.PASS and not _is_cleaned(case):
        return _open(asked, words.NOT_CLEANED, words.CLEAN_FIRST)
    shown = (asked if verdict is Verdict.PASS else None) if case.trial else _most(case, asked, found)
    details = _details(case, asked, shown, found)
    limit = _limiting(found)
    result = CheckResult(
        check="interval",
        verdict=verdict,
        value=shown,
        low=shown,
        high=shown if verdict is not Verdict.UNDECIDED else None,
        target=asked,
        at=limit.at,
        low_at=limit.at,
        details=details,
        measure="picks",
    )
    if verdict is Verdict.PASS:
        return Outcome(results=(result,))
    return Outcome(results=(result,), findings=() if case.trial else _findings(case, result, details, shown))


def _is_cleaned(case: Case) -> bool:
    """Whether every cleaning move of the program cleans all of the pads, if there is one."""
    found = (result for result in cleaned(case).results if result.check == "cleaning")
    return all(result.low is not None and reaches(result.low, 1.0) for result in found)


def _open(asked: float, reason: str, remedy: str = "") -> Outcome:
    return Outcome(results=(undecided("interval", asked, reason, remedy=remedy, measure="picks"),))


def _target(job: Job) -> float | None:
    return job.targets.interval


def _after(case: Case, picks: float) -> Results:
    """What the margins come to with pads that have made up to so many picks, for the pick after which each is least."""
    found: dict[str, CheckResult] = {}
    for count in dirt.weakest(case, picks):
        for result in _margins(case, count):
            known = found.setdefault(result.check, result)
            if _severity(result) < _severity(known):
                found[result.check] = result
    return tuple(found.values())


def _severity(result: CheckResult) -> tuple[int, float]:
    order = (Verdict.FAIL, Verdict.UNDECIDED, Verdict.PASS)
    return order.index(result.verdict), (result.low or 0.0) / result.target


def _margins(case: Case, picks: float) -> Results:
    known = case.shared(_tried)
    if picks not in known:
        gripper = replace(case.job.gripper, cycles_since_cleaning=picks)
        dirty = work_out(replace(case.job, gripper=gripper), motion=case.motion, trial=True)
        known[picks] = tuple(
            result for check in ON_STRENGTH for result in check.answer(dirty).results if result.measure == "margin"
        )
    return known[picks]


def _tried(_: Case) -> dict[float, Results]:
    return {}


def _most(case: Case, asked: float, found: Results) -> float | None:
    """The most picks that were put to the checks and pass: those asked for, or what the margins say; None: none."""
    best, at, too_many = asked, asked, np.inf
    if not _passes(found):
        best, at, too_many, found = 0.0, 0.0, asked, _after(case, 0.0)  # far too dirty pads tell nothing by scale
        if not _passes(found):
            return None
    for _ in range(TRIES):
        picks = _by_scale(case, found, at)
        picks = np.floor((best + too_many) / 2.0) if picks is None else min(picks, np.ceil(too_many) - 1.0)
        if not best < picks < np.inf:
            return best
        found = _after(case, picks)
        if _passes(found):
            return float(picks)
        at = too_many = picks
    return best


def _passes(found: Results) -> bool:
    return overall(result.verdict for result in found) is Verdict.PASS


def _by_scale(case: Case, found: Results, picks: float) -> float | None:
    """Up to how many picks margins keep their targets that go with the strength, from what they are after some."""
    needs = [result.target / result.low if result.low else np.inf for result in found]
    if not np.isfinite(needs).all():
        return None
    now = np.min([dirt.left(case, count) for count in dirt.weakest(case, picks)], axis=0)
    return dirt.last_with(case, max(needs) * now)


def _limiting(found: Results) -> CheckResult:
    return min(found, key=_severity)


def _details(case: Case, asked: float, shown: float | None, found: Results) -> IntervalDetails:
    limit, up_to = _limiting(found), dirt.tested(case)
    last = min(max(asked, shown or 0.0), up_to)
    counts = np.unique(np.floor(np.linspace(0.0, last, SHOWN)))
    shares = np.array([dirt.left(case, float(count)) for count in counts])
    now = np.min([dirt.left(case, count) for count in dirt.weakest(case, asked)], axis=0)
    least = limit.low or 0.0
    return IntervalDetails(
        asked=asked,
        limit=limit.check,
        margin=limit.low,
        wanted=limit.target,
        tested=None if np.isinf(up_to) else up_to,
        picks=tuple(counts.tolist()),
        strength=tuple(shares.min(axis=1).tolist()),
        margins=tuple((least * (shares / now).min(axis=1)).tolist()),
        doubts=_doubts(found),
    )


def _doubts(found: Results) -> tuple[str, ...]:
    """Why the margins are not known after so many picks, each reason once."""
    return tuple(dict.fromkeys(doubt for result in found for doubt in result.doubts))


def _findings(case: Case, result: CheckResult, details: IntervalDetails, shown: float | None) -> tuple[Finding, ...]:
    at = result.at or case.place(int(case.carried[0]))
    if shown is not None:
        remedy = Remedy(action="clean sooner", text=words.sooner(shown), figures={"picks": shown}, shown=True)
    elif details.margin and details.wanted and reaches(details.margin, details.wanted):
        remedy = Remedy(action="better data", text=words.RECORD)
    else:
        remedy = Remedy(action="none", text=words.not_even_clean(details))
    worst = WorstInterval(at=at, shown=shown, details=details)
    share = 0.0 if result.low is None else result.low / result.target
    return (
        Finding(
            check="interval",
            verdict=result.verdict,
            start=at.t,
            end=at.t,
            spans=((at.t, at.t),),
            worst=worst,
            because={"cause": words.DIRT},
            remedies=(remedy,),
            share=share,
        ),
    )


INTERVAL = Check(
    name="interval",
    question="Over how many picks between two cleanings do the pads hold enough for every margin?",
    judged=(Judged(name="interval", target=_target, details=IntervalDetails, rests_on=()),),
    run=run,
    result_words=words.result,
    finding_words=words.finding,
    references=lambda job: words.REFERENCES if job.targets.interval is not None else (),
)
