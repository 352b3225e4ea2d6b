"""How far the pads are used by a stop that begins at each carried sample, its swing included."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, reduce
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.hold.use import COVERAGE, SURE, above_between, rate_errors
from gripmargin.checks.stop.instants import Ring
from gripmargin.checks.stop.kinds import Kind, OffPath, asks_for_axes, kinds_of
from gripmargin.checks.stop.peaks import Pads
from gripmargin.checks.stop.stops import Stopping
from gripmargin.checks.swing.ringing import Stretch, mode_sets, next_too, stretches_of
from gripmargin.checks.use import Asked, Use
from gripmargin.kernels.face import Face
from gripmargin.kernels.utilisation import traction_size


@dataclass(frozen=True, eq=False, kw_only=True)
class StopUse:
    """The stops of a job, and how far they use the pads.

    Attributes:
        stopping: The stops.
        stretches: The part's swing while the program runs.
        by_kind: How far the stops of each kind use the pads.
    """

    stopping: Stopping
    stretches: Sequence[Stretch]
    by_kind: Mapping[Kind, Use]

    @cached_property
    def whole(self) -> Use:
        """The worse of the kinds at every sample."""
        return reduce(Use.worse, self.by_kind.values())

    @property
    def axes_unknown(self) -> bool:
        """Whether stops off the path are asked for and the program tells no joints."""
        return asks_for_axes(self.stopping.stop) and not any(isinstance(kind, OffPath) for kind in self.by_kind)


def use_of_stops(case: Case) -> StopUse | None:
    """Return how far the stops of a job use the pads; None where it has none that can be judged."""
    kinds = [] if case.job.stop is None else kinds_of(Stopping(case, case.job.stop))
    if not kinds:
        return None
    stretches = case.shared(stretches_of)
    by_kind = {kind: stop_use(kind, case.carried, stretches) for kind in kinds}
    return StopUse(stopping=kinds[0].stopping, stretches=stretches, by_kind=by_kind)


def asked_of_the_pads(case: Case) -> Iterator[Asked]:
    """Yield what the stops of a job ask of the pads, the swing of the part included."""
    stops = case.shared(use_of_stops)
    if stops is not None:
        yield Asked(name="stop", target=case.job.targets.stop, use=stops.whole)


def stop_use(kind: Kind, samples: NDArray[np.intp], stretches: Sequence[Stretch] = ()) -> Use:
    """Return how far stops of one kind use the pads.

    Args:
        kind: Of the stops.
        samples: Where they begin, indices into the program, rising, shape (m,).
        stretches: The part's swing while the program runs; without any it hangs still when a stop begins.
    """
    stopping, case = kind.stopping, kind.stopping.case
    face = case.grip.face
    noise, bias = _errors(kind, face)
    pads = Pads(face, stopping.gain(face), noise, bias, ring_of(stopping, face, stretches))
    worst = kind.worst(pads, samples)
    sure = NormalDist().inv_cdf(1.0 - (1.0 - SURE) / max(samples.size, 1))
    low = np.maximum(worst.sure - sure * worst.noise - worst.bias, 0.0)
    high = worst.most + COVERAGE * worst.noise + worst.bias
    if case.motion.given:
        high += above_between(case, samples, worst.value)
    if stopping.side < 0:
        for side in range(len(case.shared(mode_sets)) - 1):
            other = stop_use(replace(kind, stopping=replace(stopping, side=side)), samples, stretches)
            high = np.maximum(high, other.high) + abs(float(worst.value.max() - other.value.max()))
    if not case.grip.even:
        low = np.zeros_like(low)  # what margins count on is a lower bound there
    doubts = np.concatenate([[0], np.cumsum(np.isin(np.arange(case.load.shape[1]), case.motion.doubtful))])
    high[(doubts[worst.last + 1] > doubts[samples]) | ~np.isfinite(worst.most)] = np.inf
    return Use(samples=samples, value=worst.value, low=low, high=high, point=worst.point, grip=case.grip)


def ring_of(stopping: Stopping, face: Face, stretches: Sequence[Stretch]) -> Ring:
    """Return the swing of the part at every sample of the program, up to the next.

    Args:
        stopping: The stops.
        face: The places that count.
        stretches: The part's swing while the program runs.
    """
    n, slower = stopping.case.load.shape[1], stopping.slower
    if not stretches:
        return Ring.none(face.points, n)
    modes = stretches[0].swing.modes
    amplitude = np.zeros((modes.frequency.size, n))
    for stretch in stretches:
        found = stretch.swing if slower == 1.0 else _slowed(stretch, slower).swing
        size = next_too(found.about_rest + found.unsure + COVERAGE * found.sigma)
        firsts = np.flatnonzero(np.diff(stretch.owner, prepend=-1))
        amplitude[:, stretch.samples] = np.maximum.reduceat(size, firsts, axis=1)
    return Ring(
        gain=traction_size(face, modes.loads),
        amplitude=amplitude,
        turning=modes.frequency * np.sqrt(1.0 - modes.damping**2),
        fading=modes.frequency * modes.damping,
    )


def _slowed(stretch: Stretch, slower: float) -> Stretch:
    drive = stretch.swing.drive
    return stretch.driven(drive.scaled(drive.t / slower, np.full(drive.t.size, slower**2), stretch.still))


def _errors(kind: Kind, face: Face) -> tuple[FloatArray, FloatArray]:
    """What errors of estimated rates can add: one sigma of noise and a bound of the bias, at all samples."""
    case, slower = kind.stopping.case, kind.stopping.slower
    error, n = case.motion.error, case.load.shape[1]
    noise, bias = np.zeros(n), np.zeros(n)
    if error is None:
        return noise, bias
    square, per_speed = slower**2, kind.per_speed() * slower
    both = replace(
        error,
        sigma=np.hypot(square * error.sigma, per_speed * error.speed_sigma),
        bias=square * error.bias + per_speed * error.speed_bias,
    )
    motion = replace(case.motion, error=both)
    stretch = np.arange(case.carried[0], case.carried[-1] + 1)
    noise[stretch], bias[stretch] = rate_errors(replace(case, motion=motion), face, stretch)
    return noise, bias
