"""What to change, by how much, so that the part stays on in a stop.

Changes are sought at the samples that use the pads most, and then put to the check.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.checks import changes
from gripmargin.checks.advice import Change, Trials, ordered
from gripmargin.checks.case import work_out
from gripmargin.checks.hold.remedies import enlarged, least_size, strengthened
from gripmargin.checks.margin import Shortfall
from gripmargin.checks.slowing import Motion, slowing
from gripmargin.checks.stop import words
from gripmargin.checks.stop.kinds import OffPath, OnPath, kinds_of
from gripmargin.checks.stop.stops import Stopping
from gripmargin.checks.stop.use import StopUse, stop_use
from gripmargin.checks.use import inverse
from gripmargin.kernels.search import furthest
from gripmargin.results.findings import Remedy, on_target
from gripmargin.workcell.job import Job

SLOWEST: Final = 0.2  # share of the speed below which slowing is no remedy for a stop
SOFTEST: Final = 10.0  # factor on stopping times beyond which a softer stop is no remedy
TRIED: Final = 24  # samples, the worst ones, at which a change is sought before the check tries it on all
HALVINGS: Final = 9
SEARCHED: Final = 3  # motions, the worst ones, for which a speed is sought
ONWARD: Final = (1.0, 1.02, 1.1)  # times the factor found, until the check passes


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
    out = {}
    for short in found:
        data = _better_data(stops, short.sample) if short.k in known else case.motion.better_data(short.sample)
        first = [] if short.fails else [Remedy(action="better data", text=data)]
        out[short.k] = (*first, *(ordered([slow[short.k], *whole]) if short.k in known else ()))
    return out


def _for_whole(stops: StopUse, target: float, trials: Trials) -> tuple[Remedy, ...]:
    """Changes for the whole carry."""
    high = float(stops.whole.high.max())
    if not math.isfinite(high):
        return ()
    job = stops.stopping.case.job
    found = (
        trials.tried(_softer(stops, target)),
        trials.tried(enlarged(job, _size(stops, target))),
        trials.tried(strengthened(job, high, target)),
    )
    return tuple(remedy for remedy in found if remedy is not None)


def _better_data(stops: StopUse, sample: int) -> str:
    out = []
    if stops.stopping.turns[sample]:
        out.append(words.TIME_OR_MEASURED)
    if any(patch.pad.material.damping_ratio is None for patch in stops.stopping.case.backing.patches):
        out.append(words.MEASURE_DAMPING)
    return "; ".join(out or [words.TRY_THE_STOP])


def _speed_needed(stops: StopUse, motion: Motion, target: float) -> float | None:
    """The share of its speed at which the worst samples of a motion are on target; None where none was found."""
    few = _first(stops, np.isin(stops.whole.samples, motion.samples))
    time = _least(lambda time: _enough(stops, few, target, slower=1.0 / time), 1.0 / SLOWEST)
    return None if time is None else math.floor(100.0 / time + 1e-9) / 100.0


def _softer(stops: StopUse, target: float) -> Iterator[Change]:
    """Factors on the stopping time, from the one that is enough at the worst samples on."""
    few = _first(stops, np.ones(stops.whole.samples.size, dtype=bool))
    least = _least(lambda softer: _enough(stops, few, target, softer=softer), SOFTEST)
    kinds = [type(kind) for kind in stops.by_kind]
    stop, job = stops.stopping.stop, stops.stopping.case.job
    for factor in [] if least is None else [math.ceil(100.0 * least * onward - 1e-9) / 100.0 for onward in ONWARD]:
        text = words.softer(stop, factor, path=OnPath in kinds, axes=OffPath in kinds)
        yield Change(
            remedy=Remedy(action="stop softer", text=text, figures={"factor": factor}),
            job=lambda factor=factor: changes.softer_stop(job, factor),  # type: ignore[misc]
        )


def _size(stops: StopUse, target: float) -> float | None:
    """The factor on length and width of every pad that is enough at the worst samples."""
    case = stops.stopping.case
    few = _first(stops, np.ones(stops.whole.samples.size, dtype=bool))

    def enough(job: Job) -> bool:
        changed = work_out(job, motion=case.motion, trial=True)
        stopping = Stopping(changed, stops.stopping.stop)
        return on_target(inverse([stop_use(kind, few).most for kind in kinds_of(stopping)]), target)

    return least_size(case.job, enough)


def _enough(stops: StopUse, few: NDArray[np.intp], target: float, *, slower: float = 1.0, softer: float = 1.0) -> bool:
    """Whether stops that begin at a few samples are on target, with the program slower or the stops softer."""
    stopping = Stopping(stops.stopping.case, stops.stopping.stop, slower=slower, softer=softer)
    return on_target(inverse([stop_use(kind, few, stops.stretches).most for kind in kinds_of(stopping)]), target)


def _least(enough: Callable[[float], bool], most: float) -> float | None:
    """The least factor above 1 that is enough; None where the largest one is not."""
    return furthest(enough, most, 1.0, halvings=HALVINGS) if enough(most) else None


def _first(stops: StopUse, inside: NDArray[np.bool_]) -> NDArray[np.intp]:
    """The samples among some carried ones, marked, that use the pads most, indices into the program."""
    among = np.flatnonzero(inside)
    order = np.argsort(-stops.whole.high[among], kind="stable")[:TRIED]
    return stops.whole.samples[np.sort(among[order])]
