"""What to change, by how much, so that the part stays on in a stop.

Changes are sought at the samples that use the pads most, and then put to the check.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import cache, partial
from itertools import islice
from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks import changes
from gripmargin.checks.advice import Trials, ordered
from gripmargin.checks.deciding import better_data, enough
from gripmargin.checks.hold.remedies import enlarged, size_for, strengthened
from gripmargin.checks.margin import Shortfall
from gripmargin.checks.slowing import STEPS_BACK, Motion, motion_at, slowing
from gripmargin.checks.stop import words
from gripmargin.checks.stop.course import Indices
from gripmargin.checks.stop.follow import FIRST
from gripmargin.checks.stop.use import AXES, PATH, Stopping, StopUse, stop_use, use_of_stops
from gripmargin.checks.stop.worst import seen
from gripmargin.checks.use import inverse
from gripmargin.kernels.search import furthest_within
from gripmargin.kernels.utilisation import largest_utilisation
from gripmargin.results.findings import Remedy, Verdict, on_target

SLOWEST: Final = 0.2  # share of the speed below which slowing is no remedy for a stop
SOFTEST: Final = 10.0  # factor on stopping times beyond which a softer stop is no remedy
TRIED: Final = FIRST  # samples, the worst ones, at which a change is sought before the check tries it on all
NEAR: Final = 0.01  # share by which a use that is sought may be below what it may be
SHARES: Final = 8  # of the speed, or of the deceleration, that are looked at in a search
SEARCHED: Final = 3  # motions, the worst ones, for which a speed is sought
FURTHER: Final = 1.03  # by what less a softer stop that failed on trial has to use the pads where it is sought anew
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
    sought, needed = trials.sought(target), _speeds(stops, lambda: trials.sought(target))
    slow = slowing(
        case,
        trials,
        [short for short in found if short.k in known],
        lambda motion, _: needed(motion),
        lambda motion, _: Remedy(
            action="none", text=words.slowing_alone(motion.subject), figures={"move": motion.move}
        ),
        searched=SEARCHED,
        back=STEPS_BACK[::2],
    )
    whole = _for_whole(stops, sought, trials) if known else ()
    open_ = any(not short.fails and short.k in known for short in found)
    part = (
        enough(case, lambda tried: next(iter(trials.results(tried))).verdict is not Verdict.UNDECIDED, trials.name)
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
    k = int(np.argmax(stops.whole.high))
    found = (
        _softer(stops, target, trials),
        trials.tried(islice(strengthened(job, high, target), 0, None, 2)),  # a trial costs much
        trials.tried(islice(enlarged(job, size_for(job, seen(stops, [k])[k].load[:, None], high, target)), 0, None, 2)),
    )
    return tuple(remedy for remedy in found if remedy is not None)


def _better_data(stops: StopUse, sample: int) -> str:
    out = []
    if stops.stopping.turns[sample]:
        out.append(words.TIME_OR_MEASURED)
    if any(patch.pad.material.damping_ratio is None for patch in stops.stopping.case.whole.patches):
        out.append(words.MEASURE_DAMPING)
    return "; ".join(out or [words.TRY_THE_STOP])


def _speeds(stops: StopUse, sought: Callable[[], float]) -> Callable[[Motion], float | None]:
    """What finds the share of its speed at which the worst samples of a motion are on target."""
    at, ends = cache(lambda speed: stops.stopping.other(slower=speed, softer=1.0)), [SLOWEST]

    def needed(motion: Motion) -> float | None:
        few = _worst(stops.whole.high, np.flatnonzero(np.isin(stops.whole.samples, motion.samples)), TRIED)
        beyond, target = (1.0, float(stops.whole.high[few].max())), sought()
        for speed in ends:  # what another motion needs, first: they are often alike
            used = _used(stops, few, at(speed))
            if on_target(inverse(used), target):
                within = speed, used
                break
            beyond = speed, used
        else:
            return None
        # what uses the pads grows with the square of the speed, but for their weight
        found = furthest_within(
            lambda square: _used(stops, few, at(math.sqrt(square))),
            1.0 / target,
            (within[0] ** 2, within[1]),
            (beyond[0] ** 2, beyond[1]),
            near=NEAR,
            most=SHARES,
        )
        ends.insert(0, math.sqrt(found or within[0] ** 2))
        return math.floor(100.0 * ends[0] + 1e-9) / 100.0

    return needed


def _softer(stops: StopUse, target: float, trials: Trials) -> Remedy | None:
    """The factor on the stopping time: enough at some samples, then at those that were the worst on trial."""
    case, samples, stop = stops.stopping.case, stops.whole.samples, stops.stopping.stop
    moving = float(largest_utilisation(case.grip.face, case.load[:, samples]).max())
    if not on_target(inverse(moving), target):
        return None
    # a stop that takes longer reaches further: the worst places need not stay so
    worst = motion_at(case, int(samples[np.argmax(stops.whole.high)]))
    inside, known = np.flatnonzero(np.isin(samples, worst.samples)), (1.0, stops.whole.most)
    few = np.union1d(_worst(stops.whole.high, inside, TRIED // 2), inside[:: -(-inside.size // (TRIED // 2))])
    most = 1.0 / target
    for _ in range(ROUNDS):
        with_share = partial(_with_softer, stops, few)
        share = furthest_within(with_share, most, (1.0 / SOFTEST, moving), known, near=NEAR, most=SHARES)
        if share is None:
            return None
        factor = math.ceil(100.0 / share - 1e-9) / 100.0
        text = words.softer(stop, factor, path=PATH in stops.by_kind, axes=AXES in stops.by_kind)
        remedy = Remedy(action="stop softer", text=text, figures={"factor": factor})
        if trials.done:
            break
        if trials.passes(partial(changes.softer_stop, case.job, factor)) is not None:
            return replace(remedy, shown=True)
        tried = trials.last and trials.last.shared(use_of_stops)
        if not tried or tried.whole.samples.size != samples.size:
            break
        # on trial only the worst are looked at closely: what is sure tells them, and others may count for more
        use = tried.whole
        few, known = _worst(use.low, np.arange(samples.size), TRIED), (1.0 / factor, use.most)
        most = 1.0 / target / max(FURTHER, use.most / float(use.high[few].max()))
    return remedy


def _with_softer(stops: StopUse, few: Indices, share: float) -> float:
    """How far stops at a few of the samples use the pads with a share of their decelerations."""
    return _used(stops, few, stops.stopping.other(slower=1.0, softer=1.0 / share))


def _used(stops: StopUse, few: Indices, other: Stopping) -> float:
    """How far other stops at a few of the samples use the pads at most."""
    samples = stops.whole.samples[few]
    return float(np.max([stop_use(other, kind, samples, quick=True).high for kind in stops.by_kind]))


def _worst(use: FloatArray, some: Indices, many: int) -> Indices:
    """Those of some indices that use the pads most."""
    return np.asarray(np.sort(some[np.argsort(-use[some], kind="stable")[:many]]))
