"""The worst instants of the stops that begin at some samples, looked at closely."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.margin import margin_figure
from gripmargin.checks.stop.course import Indices
from gripmargin.checks.stop.figures import WorstInstant
from gripmargin.checks.stop.follow import closely, picked
from gripmargin.checks.stop.use import StopUse, use_of_stops
from gripmargin.contact.loads import part_load
from gripmargin.kernels.face import utilisation
from gripmargin.kernels.utilisation import largest_utilisation, peak_utilisation


@dataclass(frozen=True, eq=False, kw_only=True)
class Seen:
    """The instant of a stop that uses the pads most.

    Attributes:
        alone: The job in that instant, as its only sample, without the swing.
        kind: Of the stop.
        after: Time since it began [s].
        rest: Time from its begin to rest [s].
        point: Place of the grip that is used most.
        swing: Share of its use that the swing adds.
    """

    alone: Case
    kind: str
    after: float
    rest: float
    point: int
    swing: float

    @property
    def load(self) -> FloatArray:
        """Quasi-static load, shape (6,)."""
        return self.alone.load[:, 0]

    @property
    def figures(self) -> WorstInstant:
        """What a report says of it."""
        static = float(largest_utilisation(self.alone.grip.face, self.alone.load)[0])
        return WorstInstant(
            stop=self.kind, after=self.after, braking_time=self.rest, quasi_static=margin_figure(static)
        )


def worst_of(case: Case) -> Seen:
    """Return the stop of a job that uses the pads most."""
    stops = case.shared(use_of_stops)
    if stops is None:
        raise TypeError("no stops to look at")
    (worst,) = _seen(stops, [int(np.argmax(stops.whole.value))]).values()
    return worst


def seen(stops: StopUse, some: Sequence[int]) -> dict[int, Seen]:
    """Look at some stops, indices into their use; at the worst of all only once."""
    worst = int(np.argmax(stops.whole.value))
    return {worst: stops.stopping.case.shared(worst_of)} | _seen(stops, [k for k in some if k != worst])


def _seen(stops: StopUse, some: Sequence[int]) -> dict[int, Seen]:
    """Look at some stops, each of the kind that uses the pads more."""
    values = np.nan_to_num([use.value[list(some)] for use in stops.by_kind.values()], nan=np.inf)
    return {
        k: seen
        for i, kind in enumerate(stops.by_kind)
        if (mine := [k for k, worse in zip(some, values.argmax(axis=0), strict=True) if worse == i])
        for k, seen in zip(mine, _of_kind(stops, kind, stops.whole.samples[mine]), strict=True)
    }


def _of_kind(stops: StopUse, kind: str, samples: Indices) -> Iterator[Seen]:
    """Look at stops of one kind that begin at some samples."""
    stopping, (_, course) = stops.stopping, stops.stopping.courses[0]
    t, case = course.t[samples], stopping.case
    begun = [(some, closely(some, 0.0)) for some in stopping.begun(kind, course, t, np.zeros((2, t.size)))]
    for i in range(len(samples)):
        at, stop, peak = np.array([i]), *max(begun, key=lambda found: float(found[1].use[i]))
        stop, peak, late = picked(stop, at), peak.take(at), float(stop.t[i] - t[i])
        motion, face = stop.motion(peak.when), case.grip.face
        load = part_load(case.job.part, motion, case.job.gravity, case.job.air_density)
        more = case.added_at(int(samples[i]))
        uses, points, *_ = peak_utilisation(face, course.carry @ peak.response + more)
        worst = int(np.argmax(uses))
        use, point, own, load = uses[[worst]], points[[worst]], load, load + more[:, [worst]]
        static = float(utilisation(face, load)[0][point[0], 0])
        yield Seen(
            alone=replace(
                case,
                load=load,
                own_load=own,
                pushes=(),
                airborne=np.ones(1, dtype=bool),
                motion=replace(case.motion, at=motion, doubts=()),
            ),
            kind=kind,
            after=late + float(peak.when[0]),
            rest=late + float(stop.borders[-1, 0]),
            point=int(point[0]),
            swing=max(0.0, 1.0 - static / float(use[0])) if use[0] > 0 else 0.0,
        )
