"""How far a part that bends leaves the plane of its pads at every carried sample, forces at their places.

A use of places whose strength is a load for each metre: what holds of the pads' use holds of it, and of its swing too.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.checks.case import Case
from gripmargin.checks.droop import words
from gripmargin.checks.hold.use import COVERAGE, use_of
from gripmargin.checks.premises import swinging
from gripmargin.checks.swing.pushed import pushed_over
from gripmargin.checks.swing.ringing import Stretch, other_stretches, stretches_of
from gripmargin.checks.swing.use import PlacesOf, StretchUse, in_between, use_over
from gripmargin.checks.swing.vibration import Modes
from gripmargin.checks.use import Use
from gripmargin.contact.film import softened
from gripmargin.contact.grip import Grip
from gripmargin.contact.loads import added_mass
from gripmargin.contact.placed import Placed, rows_of
from gripmargin.contact.poked import place_of, stretched, unfollowed
from gripmargin.contact.sheet import Sheet
from gripmargin.kernels.face import Face

SOFT = 3e-3  # share by which forces along the plane may soften it; a strip droops a quarter of a per cent more then


@dataclass(frozen=True, eq=False, kw_only=True)
class Drooping:
    """Where a part may leave the plane of its pads.

    Attributes:
        sheet: The part on its pads.
        at: Where it is looked at, tool frame [m], shape (k, 2); where forces act among it.
    """

    sheet: Sheet
    at: FloatArray

    @classmethod
    def of(cls, case: Case) -> Drooping:
        """Look at the plate of a job."""
        sheet = Sheet.on(case.whole, case.job.part, case.grip.bonded.places if case.pushes else ())
        places = [place_of(push.of, sheet) for push in case.pushes]
        at = np.concatenate([sheet.droops[0], np.reshape(places, (-1, 2))])
        return cls(sheet=sheet, at=at)

    def places(self, case: Case) -> tuple[Grip, Face]:
        """Return its places to both sides as those of a grip."""
        face = Placed.drooping(self.sheet, self.at, ()).face
        points = np.tile(np.column_stack([self.at, np.zeros(len(self.at))]), (2 * len(self.sheet.bent), 1))
        none, one = np.zeros(len(points), dtype=np.intp), np.ones(len(points))
        return replace(case.grip, face=face, points=points, owner=none, pull=one, shear=one, film=None), face

    def pushed(self, case: Case, which: int | None = None) -> Placed | None:
        """Return what its places feel of forces where they act; None: none does.

        Args:
            case: The job.
            which: Index of the rigidity whose vibrations are followed; None: it hangs at rest.
        """
        air = added_mass(case.job.part, case.job.air_density)
        return Placed.drooping(self.sheet, self.at, case.pushes, which, air) if case.pushes else None

    def stretched(self, case: Case) -> float:
        """Return the energy that stretches the part with forces at their places, over that which bends it [1/m^2].

        For each square of a droop, by each combination of forces where it droops most.
        """
        placed, share = self.pushed(case), 0.0
        for more in case.added if placed is not None else ():
            own, rows = case.own_load[:, more.samples], rows_of(more, case.pushes, more.samples)
            droop = placed.peak(placed.loads(own, rows))[0] if placed is not None else np.zeros(1)
            k = int(np.argmax(droop))
            forces = [(push.of, rows[6 * i : 6 * i + 6, k]) for i, push in enumerate(case.pushes) if more.factors[i]]
            found = stretched(self.sheet, own[:, k] + more.wrench[:, k], forces)
            share = max(share, found / max(float(droop[k]), 1e-300) ** 2)
        return share


def not_followed(case: Case, sheet: Sheet) -> str:
    """Return what is not followed of how far forces of the process bend a part, and what would help; empty: all is."""
    if not case.pushes:
        return ""
    if len(case.grip.backings) > 1:
        return words.UNEVEN
    return unfollowed(sheet, case.pushes) or (words.SOFTENED if softening(case, sheet) > SOFT else "")


def droop_use(case: Case, drooping: Drooping, least: float) -> Use:
    """Return how far the part droops at every carried sample [m], as small bending tells, swing included.

    Args:
        case: The job.
        drooping: Its plate.
        least: What it may droop by without harm [m].
    """
    grip, face = drooping.places(case)
    still = use_of(case, grip, placed=drooping.pushed(case))[0]
    sets = [drooping.pushed(case, which) for which in range(len(drooping.sheet.bent))]
    all_kinds, between = [], np.zeros(still.samples.size)
    # the vibrations of a part that counts as rigid do not tell by which rigidity it bends where a force acts
    for rigid_as in range(len(sets) if case.pushes and case.grip.bonded.sheet is None else 1):

        def places_of(_: Case, modes: Modes, own: int = rigid_as) -> Placed | None:
            return sets[own if modes.sheet is None else modes.sheet[1]]

        for kind in (case.shared(stretches_of), *case.shared(other_stretches)):
            all_kinds.append([_swung(case, each, face, places_of) for each in kind])
        between = np.maximum(between, in_between(case, face, least, places_of=places_of)[0])
    value, low, point = (
        np.concatenate([getattr(part, name) for part in all_kinds[0]], axis=-1) for name in ("value", "low", "point")
    )
    most, noise = (
        np.max([np.concatenate([getattr(part, name) for part in kind]) for kind in all_kinds], axis=0)
        for name in ("high", "noise")
    )
    high = np.maximum(most, between) + COVERAGE * noise
    hidden = still.high - still.value if case.motion.given else 0.0
    factor = case.shared(swinging).factor
    high = np.where(np.isfinite(still.high) & np.isfinite(value), factor * (high + hidden), np.inf)
    return replace(still, value=value, low=np.minimum(low, still.low), high=high, point=point)


def _swung(case: Case, stretch: Stretch, face: Face, places_of: PlacesOf) -> StretchUse:
    forces = pushed_over(case, stretch.modes, stretch.samples, places_of(case, stretch.modes))
    return use_over(stretch, face, None, forces)


def softening(case: Case, sheet: Sheet) -> float:
    """Return by which share forces of the process along the plane may soften the plate together, each at its place."""
    sizes = {place_of(push.of, sheet): np.zeros(2) for push in case.pushes}
    for push in case.pushes:
        sizes[place_of(push.of, sheet)] += np.abs(push.wrench[:2]).max(axis=1)
    sizes = {place: size for place, size in sizes.items() if size.any()}
    if not sizes:
        return 0.0
    rows = sheet.form.rows(np.array(list(sizes))).toarray().T
    force = np.vstack([np.hstack([rows, 0 * rows]), np.hstack([0 * rows, rows])])
    each = np.concatenate(np.array(list(sizes.values())).T)
    model = sheet.model
    return max(float(softened(model, rigidity, force) @ each) for rigidity in model.rigidities)
