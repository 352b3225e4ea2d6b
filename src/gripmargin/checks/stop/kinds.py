"""The two kinds of stop: along the path of the program, and off it with every axis braking on its own."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.stop.braking import Arm
from gripmargin.checks.stop.instants import Instant
from gripmargin.checks.stop.peaks import Pads, Worst
from gripmargin.checks.stop.stops import CLOSE, Stopping
from gripmargin.workcell import Stop

SPEEDS_COUNT = 3.0  # how often an error of a speed counts in a braking load: once as such, twice by its swing


@dataclass(frozen=True, eq=False)
class OnPath:
    """Stops along the path."""

    stopping: Stopping
    name: ClassVar = "path"

    def instants(self, samples: NDArray[np.intp]) -> Iterator[Instant]:
        """Return the instants of the stops that begin at some samples, indices into the program."""
        return self.stopping.along_path(samples, self.stopping.rates.hard[samples])

    def worst(self, pads: Pads, samples: NDArray[np.intp]) -> Worst:
        """Return the largest utilisation by stops that begin at some samples."""
        hard, mild = (rates[samples] for rates in (self.stopping.rates.hard, self.stopping.rates.mild))
        found = Worst.over(pads, samples, self.instants(samples))
        if np.array_equal(mild, hard):
            return found
        milder = Worst.over(pads, samples, self.stopping.along_path(samples, mild))
        return replace(found, sure=np.minimum(found.sure, milder.sure))

    def per_speed(self) -> FloatArray:
        """Return how often an error of a speed counts in the load, over the speed factor, shape (n, 1) [1/s]."""
        return np.minimum(SPEEDS_COUNT * self.stopping.rates.hard, float(self.stopping.modes.frequency.max()))[:, None]


@dataclass(frozen=True, eq=False)
class OffPath:
    """Stops in which every axis brakes on its own.

    Attributes:
        stopping: The stops of the job.
        arm: At every sample.
    """

    stopping: Stopping
    arm: Arm
    name: ClassVar = "axes"

    def instants(self, samples: NDArray[np.intp], *, later: bool = True) -> Iterator[Instant]:
        """Return the instants of the stops that begin at some samples, indices into the program.

        Args:
            samples: Shape (m,).
            later: Whether to go on after the brakes have closed.
        """
        return self.stopping.by_axes(samples, self.arm.at(samples), self.stopping.before[:, samples], later=later)

    def worst(self, pads: Pads, samples: NDArray[np.intp]) -> Worst:
        """Return the largest utilisation by stops that begin at some samples.

        What happens after the brakes have closed is worked out at samples `CLOSE` to each other.
        """
        step = float(np.median(np.diff(self.stopping.case.job.trajectory.t)))
        stride = max(1, int(CLOSE / step + 1e-6))
        kept = np.unique([*range(0, samples.size, stride), samples.size - 1])
        found = Worst.over(pads, samples[kept], self.instants(samples[kept]))
        if stride == 1:
            return found
        return Worst.over(pads, samples, self.instants(samples, later=False)).with_later(found, kept)

    def per_speed(self) -> FloatArray:
        """Return how often an error of a speed counts: axes brake at their own rates, whatever their speed."""
        return np.zeros((self.stopping.case.load.shape[1], 1))


Kind = OnPath | OffPath


def kinds_of(stopping: Stopping) -> list[Kind]:
    """Return the kinds of stop that can be judged of those that a job asks for."""
    stop = stopping.stop
    kinds: list[Kind] = [OnPath(stopping)] if stop.on_path and stop.category != 0 else []
    arm = Arm.of(stopping.case, stop, stopping.slower, stopping.softer)
    return [*kinds, OffPath(stopping, arm)] if asks_for_axes(stop) and arm is not None else kinds


def asks_for_axes(stop: Stop) -> bool:
    """Whether stops in which every axis brakes on its own are to be judged."""
    return stop.axis_deceleration is not None and stop.category in (None, 0)
