"""The worst instant of the stop that begins at one sample, looked at closely."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.margin import margin_figure
from gripmargin.checks.stop.figures import WorstInstant
from gripmargin.checks.stop.instants import Instant, Ring
from gripmargin.checks.stop.use import StopUse
from gripmargin.contact.loads import part_load
from gripmargin.kernels.utilisation import peak_with_swing


@dataclass(frozen=True, eq=False, kw_only=True)
class Seen:
    """The instant of a stop that uses the pads most.

    Attributes:
        alone: The job in that instant, as its only sample.
        instant: With one stop.
        point: Edge point that is used most.
        use: Its utilisation, swing included [-].
        static: Largest utilisation without the swing [-].
        rest: Time from the start of the stop to rest [s].
    """

    alone: Case
    instant: Instant
    point: int
    use: float
    static: float
    rest: float

    @property
    def load(self) -> FloatArray:
        """Quasi-static load, shape (6,)."""
        return self.alone.load[:, 0]

    @property
    def figures(self) -> WorstInstant:
        """What a report says of it."""
        return WorstInstant(
            stop=self.instant.kind,
            after=float(self.instant.after[0]),
            braking_time=self.rest,
            quasi_static=margin_figure(self.static),
        )

    @classmethod
    def at(cls, stops: StopUse, k: int) -> Seen:
        """Look at one stop, of the kind that uses the pads more.

        Args:
            stops: The stops.
            k: Which, an index into their use.
        """
        case, face = stops.stopping.case, stops.whole.grip.face
        kind = max(stops.by_kind, key=lambda kind: _rank(stops.by_kind[kind].value[k]))
        gain, still = stops.stopping.gain(face), Ring.none(face.points, 1)
        instants = list(kind.instants(stops.whole.samples[k : k + 1]))
        peaks = [instant.peak(face, gain, still) for instant in instants]
        worst = max(range(len(peaks)), key=lambda i: _rank(peaks[i][1][0]))
        instant, (_, use, point, _) = instants[worst], peaks[worst]
        motion, none = instant.motion(), 0.0 * instant.swing
        load = part_load(case.job.part, motion, case.job.gravity, case.job.air_density)
        return cls(
            alone=replace(
                case,
                load=load,
                standing=case.standing[:, instant.near],
                airborne=np.ones(1, dtype=bool),
                motion=replace(case.motion, at=motion, doubts=()),
            ),
            instant=instant,
            point=int(point[0]),
            use=float(use[0]),
            static=float(peak_with_swing(face, gain, load, none, none)[0][0]),
            rest=float(instants[-1].after[0]),
        )


def _rank(use: float) -> float:
    """A utilisation to compare; what is no number is the largest."""
    return float(np.nan_to_num(use, nan=np.inf))
