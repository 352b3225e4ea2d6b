"""What the targets ask of the pads over the carry, and the speed at which they are just met: in closed form.

With all rates scaled by k the load is gravity's part plus k^2 of the rest, and so are the errors of estimated
rates. Utilisation is convex in k^2, so each place on the pads allows the speeds up to one root of a quadratic
(`gripmargin.kernels.utilisation.largest_scale`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.checks import words
from gripmargin.checks.case import Case
from gripmargin.checks.hold.use import pad_use, uses_without
from gripmargin.checks.premises import bending, bending_without_a_pad
from gripmargin.checks.use import Use
from gripmargin.contact.loads import load_by_cause
from gripmargin.kernels.face import Face, joined
from gripmargin.kernels.utilisation import largest_scale, peak_utilisation, shares
from gripmargin.results.tuned import Limit
from gripmargin.workcell import Targets

LOST = 1e6  # what a load asks of pads that are gone, over what it asks of those that were there


@dataclass(frozen=True, eq=False, kw_only=True)
class Demands:
    """Tractions over what the targets allow: all of them at most 1 is on target.

    Attributes:
        face: The places that count, as much more used as the targets ask.
        checks: For each point the check it belongs to.
        pads: For each point its pad.
        samples: The carried samples, shape (m,).
        still: Load at standstill there, shape (6, m).
        moving: What the motion adds, shape (6, m).
        error: What errors of the rates and gaps between samples may add to the use, shape (m,); inf: unknown.
    """

    face: Face
    checks: tuple[str, ...]
    pads: tuple[str, ...]
    samples: NDArray[np.intp]
    still: FloatArray
    moving: FloatArray
    error: FloatArray

    @classmethod
    def of(cls, case: Case) -> Demands:
        """Work them out for a job."""
        targets, samples = _raised(case), case.carried
        whole, tension = pad_use(case)
        parts = [("hold", whole.grip, whole.grip.face.asked(targets.hold))]
        error = targets.hold * _added(whole)
        if targets.peel is not None:
            parts.append(("peel", whole.grip, whole.grip.face.pulled_alone().asked(targets.peel)))
            error = np.maximum(error, targets.peel * _added(tension))
        if targets.one_pad_lost is not None:
            # with the only pad gone any load is too much
            for lost in uses_without(case) or (gone(whole),):
                parts.append(("one_pad_lost", lost.grip, lost.grip.face.asked(targets.one_pad_lost)))
                error = np.maximum(error, targets.one_pad_lost * _added(lost))
        still = case.standing(samples)
        return cls(
            face=joined([face for _, _, face in parts]),
            checks=tuple(name for name, grip, _ in parts for _ in grip.owner),
            pads=tuple(grip.patch(point).pad.name for _, grip, _ in parts for point in range(grip.owner.size)),
            samples=samples,
            still=still,
            moving=case.own_load[:, samples] - still,
            error=error,
        )

    def speeds(self) -> FloatArray:
        """Return the largest speed factor of each carried sample, shape (m,); NaN where no speed is slow enough."""
        return np.sqrt(largest_scale(self.face, self.still, self.moving, 1.0, self.error))

    def ratios(self, speeds: Sequence[float] | FloatArray) -> FloatArray:
        """Return the least margin over its target over the carry at speed factors, shape of ``speeds``."""
        return np.array([self._ratio(float(k)) for k in speeds])

    def standing_ratio(self) -> tuple[float, int, int]:
        """Return the least margin over its target at standstill, where in the carry and at which point."""
        use, point, _, _ = peak_utilisation(self.face, self.still)
        worst = int(np.argmax(use))
        return (1.0 / float(use[worst]) if use[worst] > 0 else np.inf), worst, int(point[worst])

    def _ratio(self, speed: float) -> float:
        use = peak_utilisation(self.face, self.still + speed**2 * self.moving)[0] + speed**2 * self.error
        worst = float(use.max()) if not np.isnan(use).any() else np.inf
        return 1.0 / worst if worst > 0 else np.inf

    def limit(self, case: Case, index: int, speed: float) -> Limit:
        """Return what limits a carried sample at a speed factor.

        Args:
            case: The job.
            index: Of the carried sample.
            speed: Factor on the speed.
        """
        sample = int(self.samples[index])
        load = self.still[:, index] + speed**2 * self.moving[:, index]
        point = int(peak_utilisation(self.face, load[:, None])[1][0])
        check, pad = self.checks[point], self.pads[point]
        causes = self._causes(case, sample, point, speed, load)
        place = case.place(sample)
        return Limit(
            by=check,
            t=place.t,
            sample=sample,
            move=place.move,
            pad=pad,
            causes=causes,
            text=f"{check} at {place.t:.3f} s{words.in_move(place.move)}, pad '{pad}': {words.ranked(causes)}",
        )

    def _causes(self, case: Case, sample: int, point: int, speed: float, load: FloatArray) -> dict[str, float]:
        motion, job = case.motion.at.take(sample), case.job
        found = load_by_cause(job.part, motion, job.gravity, job.air_density)
        scale = np.array([1.0 if cause == "gravity" else speed**2 for cause in found])[:, None, None]
        share = shares(self.face.maps[:, [point]], load[:, None], scale * np.stack(list(found.values())))
        return dict(zip(found, share[:, 0].tolist(), strict=True))


def _raised(case: Case) -> Targets:
    """The targets with what bending of the part may take of the margins."""
    targets, bent = case.job.targets, case.shared(bending).factor
    peel = None if targets.peel is None else bent * targets.peel
    lost = None if targets.one_pad_lost is None else case.shared(bending_without_a_pad).factor * targets.one_pad_lost
    return replace(targets, hold=bent * targets.hold, peel=peel, one_pad_lost=lost)


def _added(use: Use) -> FloatArray:
    """What errors and gaps add to the best estimate; unknown is infinite."""
    with np.errstate(invalid="ignore"):
        added = use.high - use.value
    return np.where(np.isnan(added), np.inf, added)


def gone(whole: Use) -> Use:
    """Return the use of pads that are not there any more."""
    none = np.zeros(whole.samples.size)
    grip = replace(whole.grip, face=whole.grip.face.asked(LOST))
    return replace(whole, grip=grip, value=none, low=none, high=none)
