"""What to change, by how much, so that the part stays on in a stop; each change is tried on the model."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from gripmargin.case import Case, work_out
from gripmargin.checks.remedies import LARGEST_PADS, least_factor, scaled_pad, stronger_pads
from gripmargin.checks.stop_use import stop_use
from gripmargin.checks.use import Use
from gripmargin.errors import InputError
from gripmargin.findings import Remedy
from gripmargin.stops import Stopping
from gripmargin.workcell import Gripper

SLOWEST = 0.2  # share of the speed below which slowing is no remedy for a stop
SOFTEST = 10.0  # factor on stopping times beyond which a softer stop is no remedy
TRIED = 200  # samples, the worst ones, on which a change is tried before it is tried on all
HALVINGS = 9
ROUNDS = 4  # attempts to mend a change that is enough for the worst samples and not for all


class Changes:
    """The changes that a stop which falls short may ask for.

    Args:
        stopping: The stops.
        kinds: Those that are judged.
        use: The worse of them at every sample.
        target: Margin wanted.
    """

    def __init__(self, stopping: Stopping, kinds: Sequence[str], use: Use, target: float) -> None:
        self.case = stopping.case
        self.kinds = kinds
        self.use = use
        self.target = target
        self.turns = stopping.turns

    def for_piece(self, piece: NDArray[np.intp], sample: int, fails: bool) -> list[Remedy]:
        """Return what would be enough for a stretch of the carry.

        Args:
            piece: The samples that fall short, indices into the use.
            sample: The worst of them, index into the program.
            fails: Whether it fails; else it is undecided.
        """
        out = [] if fails else [Remedy(action="better data", text=self._better_data(piece, sample))]
        if not np.isfinite(self.use.high[piece]).all():
            return out  # no change settles what happens where nothing is known
        return [*out, *self._slow(sample, piece), *self.overall]

    @cached_property
    def overall(self) -> list[Remedy]:
        """Changes that are enough for the whole carry."""
        high = float(self.use.high.max())
        if not math.isfinite(high):
            return []
        found = (self._softer(), self._larger(), stronger_pads(high, self.target))
        return [remedy for remedy in found if remedy is not None]

    def _better_data(self, piece: NDArray[np.intp], sample: int) -> str:
        if not np.isfinite(self.use.high[piece]).all():
            return self.case.motion.better_data(sample)
        out = []
        if self.turns[sample]:
            out.append("give stop.time or stop.measured, which say how the turning of the tool stops")
        if any(patch.pad.material.damping_ratio is None for patch in self.case.backing.patches):
            out.append("measure the damping_ratio of the pads")
        return (
            "; ".join(out) or "try the stop on the machine, guarded and low over a soft surface, and record the swing"
        )

    def _enough(self, samples: NDArray[np.intp], case: Case, slower: float = 1.0, softer: float = 1.0) -> bool:
        stopping = Stopping(case, slower=slower, softer=softer)
        return all(
            bool((stop_use(stopping, samples, kind=kind).high * self.target <= 1.0).all()) for kind in self.kinds
        )

    def _worst(self, members: NDArray[np.intp]) -> NDArray[np.intp]:
        """The samples of the program that are used most among some of the carry."""
        order = np.argsort(-self.use.high[members], kind="stable")[:TRIED]
        return np.sort(self.use.samples[members[order]])

    def _slow(self, sample: int, piece: NDArray[np.intp]) -> list[Remedy]:
        move = self.case.job.trajectory.move_at(sample)
        if move is None:
            members, subject = piece, f"the stretch around {self.case.job.trajectory.t[sample]:.3f} s"
        else:
            labels = self.case.job.trajectory.moves or ()
            members = np.array([i for i, s in enumerate(self.use.samples) if labels[s] == move], dtype=np.intp)
            subject = f"move '{move}'"
        few, all_of_it = self._worst(members), self.use.samples[members]
        figures = {"move": move, "factor": None}
        if not self._enough(few, self.case, slower=SLOWEST):
            text = f"slowing {subject} alone does not help: the robot brakes as hard from a lower speed"
            return [Remedy(action="none", text=text, figures={"move": move})]
        slack = least_factor(
            lambda x: self._enough(few, self.case, slower=1.0 - x), 0.0, 1.0 - SLOWEST, halvings=HALVINGS
        )
        factor = math.floor(100.0 * (1.0 - slack) + 1e-9) / 100.0
        for _ in range(ROUNDS):
            if factor < SLOWEST:
                break
            if self._enough(all_of_it, self.case, slower=factor):
                text = f"slow {subject} to {factor:.2f} of its speed (its time times {1 / factor:.2f})"
                return [Remedy(action="slow", text=text, figures=figures | {"factor": factor})]
            factor = round(factor - 0.01, 2)
        return []

    def _softer(self) -> Remedy | None:
        factor = self._least_over_all(SOFTEST, lambda samples, f: self._enough(samples, self.case, softer=f))
        if factor is None:
            return None
        stop = self.case.job.stop
        assert stop is not None  # noqa: S101 - there would be no stops
        ways = []
        if "path" in self.kinds:
            if stop.time is not None:
                ways.append(f"stop in {math.ceil(1e3 * stop.time * factor):d} ms instead of {1e3 * stop.time:.0f} ms")
            elif stop.deceleration is not None:
                ways.append(f"brake along the path at {math.floor(100 * stop.deceleration / factor) / 100:.2f} m/s^2")
            else:
                ways.append(f"stop along the path in {factor:.2f} times the measured times")
        if "axes" in self.kinds:
            ways.append(f"brake the axes at {math.floor(100 / factor) / 100:.2f} of their rates")
        text = " and ".join(ways) + ", where the robot and the risk assessment allow a longer way to rest"
        return Remedy(action="stop softer", text=text, figures={"factor": factor})

    def _larger(self) -> Remedy | None:
        def enough(samples: NDArray[np.intp], factor: float) -> bool:
            job = self.case.job
            pads = tuple(scaled_pad(pad, factor) for pad in job.gripper.pads)
            larger = Gripper(pads=pads, cycles_since_cleaning=job.gripper.cycles_since_cleaning)
            try:
                changed = work_out(replace(job, gripper=larger), motion=self.case.motion)
            except InputError:
                return False
            before, after = self.case.backing.patches, changed.backing.patches
            if any(new.share < min(old.share, 0.999) - 1e-6 for old, new in zip(before, after, strict=True)):
                return False
            return bool((changed.airborne == self.case.airborne).all()) and self._enough(samples, changed)

        factor = self._least_over_all(LARGEST_PADS, enough)
        if factor is None:
            return None
        text = f"make every pad {factor:.2f} times as long and as wide, where there is room"
        return Remedy(action="larger pads", text=text, figures={"factor": factor})

    def _least_over_all(self, most: float, enough: Callable[[NDArray[np.intp], float], bool]) -> float | None:
        """The least factor, rounded up to 1 %, that is enough at every sample; None where none is."""
        few = self._worst(np.arange(self.use.samples.size))
        if not enough(few, most):
            return None
        factor = math.ceil(100.0 * least_factor(lambda f: enough(few, f), 1.0, most, halvings=HALVINGS) - 1e-9) / 100.0
        for _ in range(ROUNDS):
            if factor <= most and enough(self.use.samples, factor):
                return factor
            factor = round(1.02 * factor + 0.005, 2)
        return None
