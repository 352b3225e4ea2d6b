"""What to change where a cleaning move leaves places dirty: each change is tried on the move before it is advised."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import BudgetError
from gripmargin.checks.advice import ordered
from gripmargin.checks.case import Case
from gripmargin.checks.cleaning import words
from gripmargin.checks.cleaning.figures import Gap
from gripmargin.checks.cleaning.moves import cleans, shifted
from gripmargin.contact.relative import RelativeMotion
from gripmargin.results.findings import Remedy
from gripmargin.workcell import Cleaner

Over = list[tuple[Cleaner, RelativeMotion]]
Changed = Callable[[RelativeMotion], RelativeMotion]

DEPTHS: Final = (0.02e-3, 0.05e-3, 0.1e-3, 0.2e-3, 0.5e-3, 1e-3)  # [m] that are tried
WAYS: Final = (1e-3, 2e-3, 5e-3, 10e-3, 20e-3)  # [m] that are tried
SPEEDS: Final = (0.8, 0.5, 0.3, 0.2, 0.1)
TIMES: Final = (2, 3, 4, 6)
LIFTED: Final = 1.0  # [m] between repeats
FINER: Final = 3  # halvings towards the least that is enough


def advice(case: Case, over: Over, gap: Gap) -> tuple[Remedy, ...]:
    """Return what helps a move that leaves a place dirty.

    Args:
        case: The job.
        over: Its cleaners, each with the motion of the tool in its frame.
        gap: The place that is least clean.
    """
    hint = {"slip": words.DRAG, "dragged": words.TURNING, "overload": words.LESS_DEEP}.get(gap.lack)
    found = [_least(case, over, gap, sizes, change, say) for sizes, change, say in _changes(gap, over)]
    return ordered([*found, Remedy(action="none", text=hint) if hint else None])


def _changes(
    gap: Gap, over: Over
) -> Iterator[tuple[Sequence[float], Callable[[float], Changed], Callable[[float], Remedy]]]:
    """Yield sizes of a change, the change of a size, and what it is called."""
    if gap.lack in ("touch", "pressure", "dwell", "slip"):
        yield DEPTHS, lambda d: lambda motion: shifted(motion, z=-d), _deeper
        yield WAYS, lambda e: lambda motion: _longer(motion, e), _longer_said
        for x, y in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            yield WAYS, _along(x, y), _said_along(x, y)
    if gap.lack == "dwell":
        yield SPEEDS, lambda k: lambda motion: replace(motion, t=motion.t / k), _slower
    if gap.lack == "presses":
        yield TIMES, lambda n: lambda motion: _again(motion, round(n)), _again_said


def _least(
    case: Case,
    over: Over,
    gap: Gap,
    sizes: Sequence[float],
    change: Callable[[float], Changed],
    said: Callable[[float], Remedy],
) -> Remedy | None:
    """The smallest size of a change with which all is clean, of those that are tried and some in between."""
    enough = next((i for i, size in enumerate(sizes) if _cleans(case, over, gap, change(size))), None)
    if enough is None:
        return None
    best, short = sizes[enough], 0.0 if enough == 0 else sizes[enough - 1]
    for _ in range(FINER if isinstance(best, float) and best not in SPEEDS else 0):
        middle = round((best + short) / 2.0, 5)
        best, short = (middle, short) if _cleans(case, over, gap, change(middle)) else (best, middle)
    return replace(said(best), shown=True)


def _cleans(case: Case, over: Over, gap: Gap, change: Changed) -> bool:
    """Whether the move passes with a change: the figure is that of the check."""
    changed = [(cleaner, change(motion)) for cleaner, motion in over]
    try:
        return cleans(changed, case.job.gripper.pads, case.job.targets.cleaning, gap)
    except BudgetError:
        return False


def _deeper(depth: float) -> Remedy:
    return Remedy(action="press deeper", text=words.deeper(depth), figures={"deeper": depth})


def _longer_said(each: float) -> Remedy:
    return Remedy(action="travel", text=words.longer(each), figures={"each_end": each})


def _slower(factor: float) -> Remedy:
    return Remedy(action="slow", text=words.slower(factor), figures={"factor": factor})


def _again_said(times: float) -> Remedy:
    return Remedy(action="travel", text=words.again(round(times)), figures={"times": round(times)})


def _along(x: int, y: int) -> Callable[[float], Changed]:
    return lambda e: lambda motion: shifted(motion, x * e, y * e)


def _said_along(x: int, y: int) -> Callable[[float], Remedy]:
    def said(each: float) -> Remedy:
        shift = {"x": x * each, "y": y * each}
        return Remedy(action="travel", text=words.further(**shift), figures=shift)

    return said


def _longer(motion: RelativeMotion, each: float) -> RelativeMotion:
    """A motion whose way along the cleaner's face is so much longer at each end [m], about the middle of its lowest."""
    flat = motion.position[:, :2]
    low = motion.position[:, 2] <= motion.position[:, 2].min() + 1e-4
    span = flat[low].max(axis=0) - flat[low].min(axis=0)
    axis = int(np.argmax(span))
    if span[axis] < 1e-3:
        return motion
    middle = 0.5 * (flat[low, axis].max() + flat[low, axis].min())
    position = motion.position.copy()
    position[:, axis] = middle + (position[:, axis] - middle) * (1.0 + 2.0 * each / span[axis])
    return replace(motion, position=position)


def _again(motion: RelativeMotion, times: int) -> RelativeMotion:
    """A motion made several times, the tool lifted from its end to its start in between."""
    lift, span = np.array([0.0, 0.0, LIFTED]), float(motion.t[-1] - motion.t[0])
    t, rotation, position = _joined(motion, lift)
    step = span + 3.0
    return RelativeMotion(
        t=np.concatenate([t + k * step for k in range(times)]),
        rotation=np.concatenate([rotation] * times),
        position=np.concatenate([position] * times),
    )


def _joined(motion: RelativeMotion, lift: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    ends = motion.position[[0, -1]] + lift
    return (
        np.concatenate([[motion.t[0] - 1.0], motion.t, [motion.t[-1] + 1.0]]),
        np.concatenate([motion.rotation[:1], motion.rotation, motion.rotation[-1:]]),
        np.concatenate([ends[:1], motion.position, ends[1:]]),
    )
