"""The worst instant of the stop that begins at one sample, looked at closely."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.margin import margin_figure
from gripmargin.checks.stop.figures import WorstInstant
from gripmargin.checks.stop.follow import followed
from gripmargin.checks.stop.use import StopUse
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

    @classmethod
    def at(cls, stops: StopUse, k: int) -> Seen:
        """Look at one stop, of the kind that uses the pads more.

        Args:
            stops: The stops.
            k: Which, an index into their use.
        """
        stopping, sample = stops.stopping, int(stops.whole.samples[k])
        case, (_, course) = stopping.case, stopping.courses[0]
        kind = max(stops.by_kind, key=lambda kind: float(np.nan_to_num(stops.by_kind[kind].value[k], nan=np.inf)))
        t = course.t[sample : sample + 1]
        followed_too = [(some, followed(some, 0.0)) for some in stopping.begun(kind, course, t, np.zeros((2, 1)))]
        some, peak = max(followed_too, key=lambda found: float(found[1].use[0]))
        late = float(some.t[0] - t[0])
        motion, face = some.motion(peak.when), case.grip.face
        load = part_load(case.job.part, motion, case.job.gravity, case.job.air_density)
        use, point, *_ = peak_utilisation(face, course.carry @ peak.response)
        static = float(utilisation(face, load)[0][point[0], 0])
        return cls(
            alone=replace(
                case,
                load=load,
                standing=case.standing[:, sample : sample + 1],
                airborne=np.ones(1, dtype=bool),
                motion=replace(case.motion, at=motion, doubts=()),
            ),
            kind=kind,
            after=late + float(peak.when[0]),
            rest=late + float(some.borders[-1, 0]),
            point=int(point[0]),
            swing=max(0.0, 1.0 - static / float(use[0])) if use[0] > 0 else 0.0,
        )
