"""What the pads do to a part in its nest while the tool leaves, and what that asks of the nest."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import BudgetError, InputError
from gripmargin.checks.case import Case
from gripmargin.checks.handover.figures import LettingGo, Travel, Way
from gripmargin.contact.finer import MeshRange
from gripmargin.contact.handover import Release, on_finer_cells
from gripmargin.contact.press_engine import PressEngine
from gripmargin.contact.pull import straight_pull
from gripmargin.contact.restraint import WAYS, Restraint
from gripmargin.contact.travel import RequiredTravel, required_travel
from gripmargin.results.findings import Verdict, finite, judge, on_target

COARSEST = (0.4, 1.05)  # of the target: a ratio between them may lie on the other side of it on finer cells
FINER = 2  # halvings of the cells, at most
ALIKE = 1e-3  # ratios closer than this are the same: the first of the ways names them


@dataclass(frozen=True, eq=False, kw_only=True)
class LetGo:
    """One release, judged.

    Attributes:
        release: As it was simulated.
        forces: Demand and restraint over its rows.
        travel: How far it goes and would have to go; None where the phase does not say how it lets go.
        worst: Row with the least ratio of restraint to demand.
        way: That gives it.
        least: That ratio.
        unknown: Ways whose restraint the job does not state although it is needed.
    """

    release: Release
    forces: Restraint
    travel: RequiredTravel | None
    worst: int
    way: str
    least: float
    unknown: tuple[str, ...]

    @property
    def follows(self) -> bool:
        """Whether the pads still hold the part in the end."""
        return not self.release.taken_along and bool(self.release.history.held_total[-1] > 0)

    @property
    def value(self) -> float:
        """The least ratio, 0 where the pads still hold the part when the tool has left."""
        return 0.0 if self.follows else self.least

    def least_of(self, way: str) -> float:
        """Return the least ratio of one way that is known and asked, inf where none is."""
        return float(np.nanmin(self.release.ratio(self.forces, way), initial=np.inf))

    @property
    def unmeasured(self) -> bool:
        """Whether it is an overload release of pads whose overload is not known."""
        materials = [face.patch.pad.material for face in self.release.faces]
        return self.release.kind == "overload" and any(material.overload_pressure is None for material in materials)

    @property
    def at_worst(self) -> tuple[float, float]:
        """Demand and restraint at the worst instant, [N] or [N m] by the way; NaN where the job does not say."""
        return float(self.forces.demand[self.way][self.worst]), float(self.forces.available[self.way][self.worst])


def let_go(case: Case, release: Release) -> LetGo:
    """Judge one release."""
    forces, ratios = release.restraint(case.job, release.history.wrench), ratios_of(case, release)
    row, way = worst_way(ratios)
    known = np.where(np.isnan(ratios), np.inf, ratios)
    return LetGo(
        release=release,
        forces=forces,
        travel=_travel(case, release),
        worst=row,
        way=WAYS[way],
        least=float(known[:, row].min()),
        unknown=tuple(way for way, row in zip(WAYS, ratios, strict=True) if np.isnan(row).any()),
    )


def mesh_range(case: Case, found: LetGo) -> MeshRange:
    """Return the ratio with what the size of the cells leaves open of it, on cells as fine as the verdict needs.

    Where a larger error than cells can make would not change the verdict, the ratio stands as it is.
    """
    target, value = case.job.targets.release, found.value
    exact = MeshRange(value, value, value)
    reached = value / target
    if not COARSEST[0] < reached < COARSEST[1]:
        return exact
    release, ranged = found.release, exact
    for _ in range(FINER):
        try:
            release = on_finer_cells(case.job, release, lambda finer: on_target([finer.least(case.job)], target))
        except BudgetError:
            if ranged is exact:
                raise
            break
        fine = release.least(case.job)
        ranged, value = MeshRange.of(value, fine), fine
        if judge(ranged.low, ranged.high, target) is not Verdict.UNDECIDED:
            break
    return ranged


def ratios_of(case: Case, release: Release) -> FloatArray:
    """Return restraint over demand over the rows of a release, NaN where the job does not state it, shape (ways, k)."""
    forces = release.restraint(case.job, release.history.wrench)
    return np.stack([release.ratio(forces, way) for way in WAYS])


def worst_way(ratios: FloatArray) -> tuple[int, int]:
    """Return the row with the least ratio, and the way that gives it: a lift that also tips is called a lift.

    Args:
        ratios: Of each way over the rows, NaN where it is not known, shape (ways, k).
    """
    known = np.where(np.isnan(ratios), np.inf, ratios)
    row = int(np.argmin(known.min(axis=0)))
    return row, int(np.argmax(known[:, row] <= known[:, row].min() * (1 + ALIKE)))


def _travel(case: Case, release: Release) -> RequiredTravel | None:
    """The travel from which on the tool may leave straight and neither lift nor tip the part, target included."""
    if release.kind is None or release.taken_along or case.trial:
        return None  # on trial only the verdict counts
    target = case.job.targets.release

    def enough(engine: PressEngine) -> bool:
        forces = release.restraint(case.job, straight_pull(engine))
        return on_target([forces.least("lift"), forces.least("tip")], target)

    try:
        return required_travel(release.faces, release.kind, release.move, release.bond, enough)
    except BudgetError:
        raise
    except InputError:  # far above the nest no bond is left to let go
        return None


def course_of(found: LetGo) -> LettingGo:
    """Return the figures of a release."""
    history, row, travel = found.release.history, found.worst, found.travel
    return LettingGo(
        bonded_at_start=float(history.held_total[0]),
        bonded_at_worst=float(history.held_total[row]),
        bonded_at_end=float(history.held_total[-1]),
        part_follows=found.follows,
        force_on_part=tuple(history.force[row].tolist()),
        moment_on_part=tuple(history.moment[row].tolist()),
        energy_imbalance=history.imbalance,
        ways={way: _way(found, way) for way in WAYS},
        travel=None
        if travel is None
        else Travel(kind=travel.kind, achieved=travel.achieved, required=finite(travel.required), left=travel.left),
    )


def _way(found: LetGo, way: str) -> Way:
    demand, available = found.forces.demand[way], found.forces.available[way]
    ratio = found.release.ratio(found.forces, way)
    stated = way not in found.unknown
    k = int(np.argmin(np.where(np.isnan(ratio), np.inf, ratio)) if stated else np.argmax(demand))
    return Way(
        demand=float(demand[k]),
        restraint=None if math.isnan(available[k]) else float(available[k]),
        ratio=finite(float(ratio[k])) if stated else None,
        t=float(found.release.history.t[k]),
    )
