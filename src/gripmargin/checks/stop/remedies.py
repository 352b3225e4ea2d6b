"""What to change, by how much, so that the part stays on in a stop.

Changes are sought at the samples that use the pads most, and then put to the check.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks import changes
from gripmargin.checks.advice import Change, Trials, ordered
from gripmargin.checks.deciding import better_data, enough
from gripmargin.checks.hold.remedies import enlarged, size_for, strengthened
from gripmargin.checks.margin import Shortfall
from gripmargin.checks.slowing import Motion, slowing
from gripmargin.checks.stop import words
from gripmargin.checks.stop.use import AXES, PATH, StopUse, stop_use
from gripmargin.checks.stop.worst import Seen
from gripmargin.checks.use import inverse
from gripmargin.kernels.search import furthest
from gripmargin.results.findings import Remedy, Verdict, on_target

SLOWEST: Final = 0.2  # share of the speed below which slowing is no remedy for a stop
SOFTEST: Final = 10.0  # factor on stopping times beyond which a softer stop is no remedy
TRIED: Final = 24  # samples, the worst ones, at which a change is sought before the check tries it on all
HALVINGS: Final = 7
SEARCHED: Final = 3  # motions, the worst ones, for which a speed is sought
ROUNDS: Final = 3  # attempts at a softer stop, each with the samples that fell short in the one before


def advice(
    stops: StopUse, found: Sequence[Shortfall], target: float, trials: Trials
) -> Mapping[int, tuple[Remedy, ...]]:
    """Return what to change for each stretch that falls short, by its `k`.

    Args:
        stops: The stops of a job.
        found: The stretches.
        target: Margin wanted.
        trials: Of the check.
    """
    case, use = stops.stopping.case, stops.whole
    known = {short.k for short in found if np.isfinite(use.high[short.piece]).all()}
    slow = slowing(
        case,
        trials,
        [short for short in found if short.k in known],
        lambda motion, _: _speed_needed(stops, motion, target),
        lambda motion, _: Remedy(
            action="none", text=words.slowing_alone(motion.subject), figures={"move": motion.move}
        ),
        searched=SEARCHED,
    )
    whole = _for_whole(stops, target, trials) if known else ()
    open_ = any(not short.fails and short.k in known for short in found)
    part = (
        enough(case, lambda tried: next(iter(trials.results(tried))).verdict is not Verdict.UNDECIDED)
        if open_
        else None
    )
    out = {}
    for short in found:
        data = _better_data(stops, short.sample) if short.k in known else case.motion.better_data(short.sample)
        first = [] if short.fails else [Remedy(action="better data", text=data)]
        if first and short.k in known and part is not None:
            first = [better_data(case, short.sample, part)]
        out[short.k] = (*first, *(ordered([slow.get(short.k), *whole]) if short.k in known else ()))
    return out


def _for_whole(stops: StopUse, target: float, trials: Trials) -> tuple[Remedy, ...]:
    """Changes for the whole carry."""
    high = float(stops.whole.high.max())
    if not math.isfinite(high):
        return ()
    job = stops.stopping.case.job
    worst = Seen.at(stops, int(np.argmax(stops.whole.high)))
    found = (
        trials.tried(_softer(stops, target)),
        trials.tried(strengthened(job, high, target)),
        trials.tried(enlarged(job, size_for(job, worst.load[:, None], high, target))),
    )
    return tuple(remedy for remedy in found if remedy is not None)


def _better_data(stops: StopUse, sample: int) -> str:
    out = []
    if stops.stopping.turns[sample]:
        out.append(words.TIME_OR_MEASURED)
    if any(patch.pad.material.damping_ratio is None for patch in stops.stopping.case.whole.patches):
        out.append(words.MEASURE_DAMPING)
    return "; ".join(out or [words.TRY_THE_STOP])


def _speed_needed(stops: StopUse, motion: Motion, target: float) -> float | None:
    """The share of its speed at which the worst samples of a motion are on target; None where none was found."""
    inside = np.isin(stops.whole.samples, motion.samples)
    few = _first(stops.whole.samples[inside], stops.whole.high[inside])
    time = _least(lambda time: on_target(inverse(_high(stops, few, slower=1.0 / time)), target), 1.0 / SLOWEST)
    return None if time is None else math.floor(100.0 / time + 1e-9) / 100.0


def _softer(stops: StopUse, target: float) -> Iterator[Change]:
    """The factor on the stopping time that is enough, sought at the worst samples and at those short with it."""
    # a stop that takes longer reaches further: the worst places need not stay so
    samples, stop, job = stops.whole.samples, stops.stopping.stop, stops.stopping.case.job
    few, factor = np.union1d(_first(samples, stops.whole.high), samples[:: max(samples.size // TRIED, 1)]), 1.0
    for _ in range(ROUNDS):
        least = _least(partial(_enough, stops, few, target), SOFTEST, factor)
        if least is None:
            return
        factor = math.ceil(100.0 * least - 1e-9) / 100.0
        high = _high(stops, samples, softer=factor)
        if on_target(inverse(high), target):
            break
        few = np.union1d(few, _first(samples, high))
    text = words.softer(stop, factor, path=PATH in stops.by_kind, axes=AXES in stops.by_kind)
    yield Change(
        remedy=Remedy(action="stop softer", text=text, figures={"factor": factor}),
        job=lambda: changes.softer_stop(job, factor),
    )


def _high(stops: StopUse, samples: NDArray[np.intp], *, softer: float = 1.0, slower: float = 1.0) -> FloatArray:
    """How far stops that begin at some samples use the pads at most, as closely as their target asks."""
    stopping = stops.stopping.other(slower=slower, softer=softer)
    return np.max([stop_use(stopping, kind, samples, quick=True).high for kind in stops.by_kind], axis=0)


def _enough(stops: StopUse, few: NDArray[np.intp], target: float, softer: float) -> bool:
    """Whether stops that begin at a few samples are on target if they take so many times longer."""
    return on_target(inverse(_high(stops, few, softer=softer)), target)


def _least(enough: Callable[[float], bool], most: float, least: float = 1.0) -> float | None:
    """The least factor that is enough, above one that is not; None where the largest one is not."""
    while least < most:
        factor = min(2.0 * least, most)
        if enough(factor):
            return furthest(enough, factor, least, halvings=HALVINGS)
        least = factor
    return None


def _first(samples: NDArray[np.intp], use: FloatArray) -> NDArray[np.intp]:
    """Those of some samples that use the pads most."""
    return samples[np.sort(np.argsort(-use, kind="stable")[:TRIED])]
