"""What to change, by how much, so that the part stays on in a stop; each change is tried on the model."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cached_property, partial

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.checks.case import Case, work_out
from gripmargin.checks.hold.remedies import LARGEST_PADS, least_factor, stronger_pads
from gripmargin.checks.stop.stops import Stopping
from gripmargin.checks.stop.use import stop_use
from gripmargin.checks.swing.ringing import Stretch, stretches_of
from gripmargin.checks.use import Use
from gripmargin.results.findings import Remedy
from gripmargin.workcell import Gripper

SLOWEST = 0.2  # share of the speed below which slowing is no remedy for a stop
SOFTEST = 10.0  # factor on stopping times beyond which a softer stop is no remedy
TRIED = 200  # samples, the worst ones, on which a change is tried before it is tried on all
HALVINGS = 9
ROUNDS = 3  # attempts, each with the samples that fell short in the one before


class Changes:
    """The changes that a stop which falls short may ask for.

    Args:
        stopping: The stops.
        kinds: Those that are judged.
        use: The worse of them at every sample.
        target: Margin wanted.
        stretches: The part's swing while the program runs.
    """

    def __init__(
        self, stopping: Stopping, kinds: Sequence[str], use: Use, target: float, stretches: Sequence[Stretch]
    ) -> None:
        self.case = stopping.case
        self.kinds = kinds
        self.use = use
        self.target = target
        self.turns = stopping.turns
        self.stretches = stretches

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

    def _excess(self, samples: NDArray[np.intp], case: Case, slower: float = 1.0, softer: float = 1.0) -> FloatArray:
        """Utilisation that may occur over what the target allows, for stops that begin at some samples."""
        stopping = Stopping(case, slower=slower, softer=softer)
        found = self.stretches if case is self.case else stretches_of(case)
        return np.asarray(
            np.max(
                [self.target * stop_use(stopping, samples, kind=kind, stretches=found).high for kind in self.kinds],
                axis=0,
            )
        )

    def _slow(self, sample: int, piece: NDArray[np.intp]) -> list[Remedy]:
        move = self.case.job.trajectory.move_at(sample)
        if move is None:
            members, subject = piece, f"the stretch around {self.case.job.trajectory.t[sample]:.3f} s"
        else:
            labels = self.case.job.trajectory.moves or ()
            members = np.array([i for i, s in enumerate(self.use.samples) if labels[s] == move], dtype=np.intp)
            subject = f"move '{move}'"
        longest = 1.0 / SLOWEST
        factor = self._least(
            members, longest, lambda samples, time: self._excess(samples, self.case, slower=1.0 / time)
        )
        if factor is None:
            text = f"slowing {subject} alone does not help: the robot brakes as hard from a lower speed"
            return [Remedy(action="none", text=text, figures={"move": move})]
        speed = math.floor(100.0 / factor + 1e-9) / 100.0
        text = f"slow {subject} to {speed:.2f} of its speed (its time times {1 / speed:.2f})"
        return [Remedy(action="slow", text=text, figures={"move": move, "factor": speed})]

    def _softer(self) -> Remedy | None:
        everywhere = np.arange(self.use.samples.size)
        factor = self._least(everywhere, SOFTEST, lambda samples, f: self._excess(samples, self.case, softer=f))
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
        def excess(samples: NDArray[np.intp], factor: float) -> FloatArray:
            job, never = self.case.job, np.full(samples.size, np.inf)
            pads = tuple(pad.enlarged(factor) for pad in job.gripper.pads)
            larger = Gripper(pads=pads, cycles_since_cleaning=job.gripper.cycles_since_cleaning)
            try:
                changed = work_out(replace(job, gripper=larger), motion=self.case.motion)
            except InputError:
                return never
            before, after = self.case.backing.patches, changed.backing.patches
            if any(new.share < min(old.share, 0.999) - 1e-6 for old, new in zip(before, after, strict=True)):
                return never
            return self._excess(samples, changed) if (changed.airborne == self.case.airborne).all() else never

        factor = self._least(np.arange(self.use.samples.size), LARGEST_PADS, excess)
        if factor is None:
            return None
        text = f"make every pad {factor:.2f} times as long and as wide, where there is room"
        return Remedy(action="larger pads", text=text, figures={"factor": factor})

    def _least(
        self, members: NDArray[np.intp], most: float, excess: Callable[[NDArray[np.intp], float], FloatArray]
    ) -> float | None:
        """The least factor, rounded up to 1 %, that is enough at some of the carry; None where none was found.

        It is sought at the samples that are used most, and tried at all; those that then fall short join them.
        """
        everywhere = self.use.samples[members]
        few = everywhere[np.sort(np.argsort(-self.use.high[members], kind="stable")[:TRIED])]
        for _ in range(ROUNDS):
            if not _enough(excess, few, most):
                return None
            found = least_factor(partial(_enough, excess, few), 1.0, most, halvings=HALVINGS)
            factor = min(math.ceil(100.0 * found - 1e-9) / 100.0, most)
            left = excess(everywhere, factor)
            if (left <= 1.0).all():
                return factor
            few = np.union1d(few, everywhere[np.argsort(-left, kind="stable")[:TRIED]])
        return None


def _enough(excess: Callable[[NDArray[np.intp], float], FloatArray], samples: NDArray[np.intp], factor: float) -> bool:
    return bool((excess(samples, factor) <= 1.0).all())
