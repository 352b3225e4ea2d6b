"""A result as far as what its check takes for granted holds: a pass counts only where nothing of it is in doubt."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from gripmargin.checks import likely, plausible
from gripmargin.checks.case import Case
from gripmargin.checks.standing import Premise, Standing
from gripmargin.contact.process import unheld
from gripmargin.results.findings import CheckResult, Verdict, judge


def meant(case: Case) -> Standing:
    """Whether the job can be meant as it stands, and whether pads and part were simulated where they meet."""
    return _meant(case, case)


def _meant(case: Case, down: Case) -> Standing:
    """The same, with what is odd where the part is taken and left of another case."""
    odd = dict(likely.unaccepted({**case.slips, **plausible.places(down)}, case.job)).values()
    undone = () if down.undone in dict(likely.unaccepted(down.slips, down.job)).values() else (down.undone,)
    doubts = dict.fromkeys((*odd, *filter(None, undone), *(() if case.recorded else _unheld(case))))
    return Standing(doubts=tuple(doubts))


def _unheld(case: Case) -> Iterator[str]:
    """Forces of the process where the part does not hang on the pads: tray and nest are not known to bear them."""
    for force, sample in unheld(case.job, case.airborne):
        t = case.place(sample).t
        yield (
            f"force '{force.name}' of the process acts at {t:.3f} s, where the part does not hang on the "
            "pads: forces are judged in the carry alone; make their move a carry phase of its own, before the "
            "release"
        )


def raised(case: Case, premises: Iterable[Premise]) -> float:
    """Return the factor by which premises that hold nearly may raise the use of the pads [-]."""
    return _product(tuple(_each(case, premises)))


def _product(standing: Sequence[Standing]) -> float:
    return float(np.prod([each.factor for each in standing]))


def on_trial(tried: Case, case: Case, result: CheckResult) -> CheckResult:
    """Return a result of a changed job as far as what the check takes for granted of it holds.

    Args:
        tried: The changed job.
        case: The job as it stands. Where it was simulated, so is not again whether its part comes off and stays down:
            a change that is sought for the carry moves no tray and no nest.
        result: Of the changed job.
    """
    down = tried if case.not_followed else case
    return _resting_on(tried, (_meant(tried, down), *_each(tried, case.grounds.get(result.check, ()))), result)


def data_alone(case: Case, name: str) -> bool:
    """Whether nothing but errors of the rates leaves a result open that is within its bounds: they are put to 0."""
    exact = replace(case, motion=replace(case.motion, given=True, error=None))
    odd = {} if case.recorded else likely.found(exact)
    standing = _meant(replace(exact, slips=odd), case), *_each(case, case.grounds.get(name, ()))
    return not any(each.doubts for each in standing)


def doubted(case: Case, name: str) -> frozenset[str]:
    """Return what makes a job itself doubtful where a result counts."""
    standing = (case.shared(meant), *_each(case, case.grounds.get(name, ())))
    return frozenset(doubt for each in standing for doubt in each.doubts)


def _each(case: Case, premises: Iterable[Premise]) -> Iterator[Standing]:
    yield from map(case.shared, premises)


def resting_on(case: Case, premises: Sequence[Premise], result: CheckResult) -> CheckResult:
    """Return a result as far as its premises hold: a pass is undecided where one is in doubt, and says so.

    Where one holds nearly, the least value that a margin may have falls by its factor. Of a part that bends so far that
    it is stretched neither a pass nor a failure is shown.
    """
    return _resting_on(case, (*_each(case, (meant, *premises)),), result)


def _resting_on(case: Case, standing: Sequence[Standing], result: CheckResult) -> CheckResult:
    low, high = (figure if result.measure == "margin" else None for figure in (result.low, result.high))
    if result.verdict is Verdict.FAIL:
        spared = [doubt for each in standing for doubt in (each.drooping(1.0 / high) if high else ())]
        dents, least = max(each.dents for each in standing), max(each.least for each in standing)
        least = max(least, 1.0 / high - dents) if high else np.inf
        if dents and (least <= 0.0 or judge(0.0, 1.0 / least, result.target) is not Verdict.FAIL):
            spared.append("a force of the process bends the part where it acts, which may use its pads less as well")
        return replace(result, verdict=Verdict.UNDECIDED, doubts=tuple(spared)) if spared else result
    doubts = tuple(doubt for each in standing for doubt in each.doubts)
    doubts += tuple(doubt for each in standing for doubt in (each.open(result) if low else ()))
    factor = _product(standing)
    verdict: Verdict = Verdict.UNDECIDED if doubts else result.verdict
    if low is not None and factor != 1.0:
        low = low / factor
        if verdict is Verdict.PASS:
            verdict = judge(low, low if high is None else high, result.target)
            if verdict is not Verdict.PASS:
                doubts = (
                    f"the part bends in more ways than are followed, which may use the pads {factor:.2f} times as much",
                )
    held = replace(result, verdict=verdict, low=low if result.measure == "margin" else result.low, doubts=doubts)
    too_low = plausible.passes_too_low(held) if "target" not in case.job.accept else ()
    return replace(held, verdict=Verdict.UNDECIDED, doubts=too_low) if too_low else held
