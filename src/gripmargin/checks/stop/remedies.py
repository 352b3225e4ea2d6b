"""What to change, by how much, so that the part stays on in a stop; each change is tried on the model."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import cached_property, partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.checks import words
from gripmargin.checks.case import Case, work_out
from gripmargin.checks.hold.remedies import LARGEST_PADS, stronger_pads
from gripmargin.checks.margin import Shortfall
from gripmargin.checks.stop import words as stop_words
from gripmargin.checks.stop.kinds import OffPath, OnPath, kinds_of
from gripmargin.checks.stop.stops import Stopping
from gripmargin.checks.stop.use import StopUse, stop_use
from gripmargin.checks.swing.ringing import stretches_of
from gripmargin.checks.use import inverse
from gripmargin.kernels.search import furthest
from gripmargin.results.findings import Remedy, on_target
from gripmargin.workcell import Gripper

Margins = Callable[[NDArray[np.intp], float], FloatArray]  # of samples [indices into the program] and a factor

SLOWEST: Final = 0.2  # share of the speed below which slowing is no remedy for a stop
SOFTEST: Final = 10.0  # factor on stopping times beyond which a softer stop is no remedy
TRIED: Final = 200  # samples, the worst ones, on which a change is tried before it is tried on all
HALVINGS: Final = 9
ROUNDS: Final = 3  # attempts, each with the samples that fell short in the one before


class Changes:
    """The changes that a stop which falls short may ask for."""

    def __init__(self, stops: StopUse, target: float) -> None:
        """Take the stops of a job and the margin wanted."""
        self._stops = stops
        self._case = stops.stopping.case
        self._use = stops.whole
        self._target = target

    def for_stretch(self, short: Shortfall) -> list[Remedy]:
        """Return what would be enough for a stretch of the carry."""
        known = np.isfinite(self._use.high[short.piece]).all()
        data = self._better_data(short.sample) if known else self._case.motion.better_data(short.sample)
        out = [] if short.fails else [Remedy(action="better data", text=data)]
        if not known:
            return out  # no change settles what happens where nothing is known
        return [*out, self._slow(short), *self._of_the_carry]

    @cached_property
    def _of_the_carry(self) -> tuple[Remedy, ...]:
        """Changes that are enough for the whole carry."""
        high = float(self._use.high.max())
        if not math.isfinite(high):
            return ()
        found = (self._softer(), self._larger(), stronger_pads(high, self._target))
        return tuple(remedy for remedy in found if remedy is not None)

    def _better_data(self, sample: int) -> str:
        out = []
        if self._stops.stopping.turns[sample]:
            out.append(stop_words.TIME_OR_MEASURED)
        if any(patch.pad.material.damping_ratio is None for patch in self._case.whole.patches):
            out.append(stop_words.MEASURE_DAMPING)
        return "; ".join(out or [stop_words.TRY_THE_STOP])

    def _slow(self, short: Shortfall) -> Remedy:
        trajectory = self._case.job.trajectory
        move = trajectory.move_at(short.sample)
        if move is None:
            members, subject = short.piece, f"the stretch around {trajectory.t[short.sample]:.3f} s"
        else:
            labels = np.array(trajectory.moves or ())
            members, subject = np.flatnonzero(labels[self._use.samples] == move), f"move '{move}'"
        factor = self._least(
            members, 1.0 / SLOWEST, lambda samples, time: self._margins(self._case, samples, slower=1.0 / time)
        )
        if factor is None:
            return Remedy(action="none", text=stop_words.slowing_alone(subject), figures={"move": move})
        speed = math.floor(100.0 / factor + 1e-9) / 100.0
        return Remedy(action="slow", text=words.slow(subject, speed), figures={"move": move, "factor": speed})

    def _softer(self) -> Remedy | None:
        everywhere = np.arange(self._use.samples.size)
        factor = self._least(
            everywhere, SOFTEST, lambda samples, softer: self._margins(self._case, samples, softer=softer)
        )
        if factor is None:
            return None
        kinds = [type(kind) for kind in self._stops.by_kind]
        text = stop_words.softer(self._stops.stopping.stop, factor, path=OnPath in kinds, axes=OffPath in kinds)
        return Remedy(action="stop softer", text=text, figures={"factor": factor})

    def _larger(self) -> Remedy | None:
        def margins(samples: NDArray[np.intp], factor: float) -> FloatArray:
            changed = self._with_pads(factor)
            return np.zeros(samples.size) if changed is None else self._margins(changed, samples)

        factor = self._least(np.arange(self._use.samples.size), LARGEST_PADS, margins)
        if factor is None:
            return None
        return Remedy(action="larger pads", text=stop_words.larger_pads(factor), figures={"factor": factor})

    def _with_pads(self, factor: float) -> Case | None:
        """The job with larger pads; None where they do not fit, leave the part, or carry it at other times."""
        job = self._case.job
        pads = tuple(pad.enlarged(factor) for pad in job.gripper.pads)
        try:
            larger = Gripper(pads=pads, cycles_since_cleaning=job.gripper.cycles_since_cleaning)
            changed = work_out(replace(job, gripper=larger), motion=self._case.motion)
        except InputError:
            return None
        both = zip(self._case.whole.patches, changed.whole.patches, strict=True)
        if any(new.share < min(old.share, 0.999) - 1e-6 for old, new in both):
            return None
        return changed if (changed.airborne == self._case.airborne).all() else None

    def _margins(
        self, case: Case, samples: NDArray[np.intp], *, slower: float = 1.0, softer: float = 1.0
    ) -> FloatArray:
        """Least margins that there may be in stops that begin at some samples of a job, shape (m,)."""
        stopping = Stopping(case, self._stops.stopping.stop, slower=slower, softer=softer)
        stretches = self._stops.stretches if case is self._case else stretches_of(case)
        return inverse(np.max([stop_use(kind, samples, stretches).high for kind in kinds_of(stopping)], axis=0))

    def _least(self, members: NDArray[np.intp], most: float, margins: Margins) -> float | None:
        """The least factor, rounded up to 1 %, that is enough at some of the carry; None where none was found.

        It is sought at the samples that are used most, and tried at all; those that then fall short join them.

        Args:
            members: Of the carry, indices into the use.
            most: Largest factor.
            margins: What it comes to at some samples of the program.
        """
        everywhere = self._use.samples[members]
        few = everywhere[np.sort(_first(-self._use.high[members]))]

        def enough(samples: NDArray[np.intp], factor: float) -> bool:
            return on_target(margins(samples, factor), self._target)

        for _ in range(ROUNDS):
            if not enough(few, most):
                return None
            found = furthest(partial(enough, few), most, 1.0, halvings=HALVINGS)
            factor = min(math.ceil(100.0 * found - 1e-9) / 100.0, most)
            left = margins(everywhere, factor)
            if on_target(left, self._target):
                return factor
            few = np.union1d(few, everywhere[_first(left)])
        return None


def _first(values: FloatArray) -> NDArray[np.intp]:
    """Where the least few of some values are."""
    return np.argsort(values, kind="stable")[:TRIED]
