"""The part is left: pads against a part that its nest holds still.

Here the motion of the tool relative to the part's face drives the pads (`gripmargin.contact.simulation`); in
between, in the air, the load of the part does.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.activation import PadFace, bonds_fully
from gripmargin.contact.cells import Patch
from gripmargin.contact.finer import finer, finer_share
from gripmargin.contact.handover_phases import (
    keep_to_the_budget,
)
from gripmargin.contact.pickup import Pickup
from gripmargin.contact.putdown import Putdown, Stretch, stretches
from gripmargin.contact.restraint import WAYS, Restraint, restraint
from gripmargin.contact.simulation import ContactHistory, simulate
from gripmargin.motion.tool_motion import ToolMotion
from gripmargin.workcell.job import Job

NotKnown = Literal["", "pressed", "uneven", "bowed"]


@dataclass(frozen=True, eq=False, kw_only=True)
class Release(Putdown):
    """A putdown of a part that is down in its nest, simulated.

    Attributes:
        bond: For each pad the share of its full strength that each cell holds at first.
        history: What the pads did.
        taken_along: Whether the pads take the part up again before it is to be let go: it was put down too early, or in
            two goes.
        fully: Whether cells that broke and are pressed on again bond fully in it.
        not_known: How the pads hold before it, where that is not known and this one is worse than another: "pressed"
            as hard as may have added to their bond since the preload, or "uneven", as they surely hold.
    """

    bond: tuple[FloatArray, ...]
    history: ContactHistory
    taken_along: bool = False
    fully: bool = True
    not_known: NotKnown = ""

    def least(self, job: Job) -> float:
        """Return the least ratio of restraint to demand that is known, 0 where the pads hold the part in the end."""
        if self.history.held_total[-1] > 0 and not self.taken_along:
            return 0.0
        forces = self.restraint(job, self.history.wrench)
        return float(np.nanmin([self.ratio(forces, way) for way in WAYS], initial=np.inf))

    def ratio(self, forces: Restraint, way: str) -> FloatArray:
        """Return restraint over demand over the rows, inf where it is not asked, NaN where the job does not state it.

        A part that is taken up again is meant to be lifted. What the pads still pull while the part comes down, less
        from row to row, is its weight that the nest takes over. A part that may slip so far may go along with the pads.

        Args:
            forces: Over its rows.
            way: Of `WAYS`.
        """
        if way in ("slide", "turn") and self.nest.slip > 0:
            return np.where(self.dragged <= self.nest.slip, np.inf, forces.ratio(way))
        if self.taken_along and way in ("lift", "tip"):
            return np.full(self.history.t.size, np.inf)
        pull = self.history.force[:, 2]
        coming = np.logical_and.accumulate((pull > 0) & (np.diff(pull, prepend=np.inf) <= 0))
        return np.where(coming, np.inf, forces.ratio(way))

    @property
    def set_free(self) -> float:
        """The most that strained pads push along the face when one of them buckles before the others [N].

        Which does is not known: they reach that pressure together. 0 where none buckles.
        """
        if not any(pad.overloaded.any() for pad in self.history.pads):
            return 0.0
        strained = [face.patch.areas @ np.asarray(face.offset)[:, :2] for face in self.faces if face.offset is not None]
        return max((float(np.hypot(*force)) for force in strained), default=0.0)

    def restraint(self, job: Job, wrench: FloatArray, *, hold_down: float = 0.0) -> Restraint:
        """Return demand and restraint of the part in its nest.

        Args:
            job: With part and gravity.
            wrench: Of the pads on the part about the face frame's origin, face axes [N, N m], shape (k, 6).
            hold_down: In addition to that of the nest [N].
        """
        nest = replace(self.nest, hold_down=self.nest.hold_down + hold_down)
        return restraint(job.part, nest, job.gravity, wrench, self.relative.rotation[0], self.relative.position[0])

    @property
    def dragged(self) -> FloatArray:
        """How far any place of the pads has moved along the face since the part came down, at most [m], each row."""
        edge = np.concatenate([face.patch.edge for face in self.faces])
        place = edge @ self.relative.rotation[:, :2].transpose(0, 2, 1) + self.relative.position[:, None, :2]
        way = np.maximum.accumulate(np.linalg.norm(place - place[0], axis=2).max(axis=1))
        return np.asarray(way[np.minimum(self.history.sample + 1, way.size - 1)])

    @property
    def tool_has_left(self) -> bool:
        """Whether at the end no pad is within reach of the part."""
        end = self.relative.samples - 1
        last = self.relative.between(end, end)
        return all(float(last.height(face.patch.edge).min()) >= face.reach for face in self.faces)


@dataclass(frozen=True, eq=False)
class _Way:
    """How the pads may hold before a release.

    Attributes:
        why: What is not known, as in `Release.not_known`.
        bond: The share of its full strength that each cell holds, of each pad.
        fully: Whether what is pressed on again bonds fully.
    """

    why: NotKnown
    bond: tuple[FloatArray, ...]
    fully: bool = True

    def of(self, job: Job, down: Putdown) -> Release:
        """The release that it makes of a part that is down."""
        return replace(_or_worse(job, _simulated(down, self.bond, fully=self.fully)), not_known=self.why)


def put_down(
    job: Job, motion: ToolMotion, patches: Sequence[Patch], pickup: Pickup | None, pressed: Sequence[float]
) -> tuple[Putdown, ...]:
    """Simulate every release; empty where the job has no nest face or no release phase.

    Args:
        job: The job.
        motion: Of the tool.
        patches: The pads' contacts.
        pickup: The preload; without one all cells hold all of their strength.
        pressed: The most that each pad may be pressed with in between [Pa], which may add to its bond; none: nothing.

    Returns:
        A `Release` for each time that the part is in its nest; only a `Putdown` where it never comes down, or so askew
        that the pads are torn off.
    """
    ways = _ways(patches, pickup, pressed)
    lowest = 0.0 if pickup is None else pickup.pick.flatness
    out: list[Putdown] = []
    for stretch in stretches(job, motion, patches, pickup):
        flush = _let_go(job, stretch, ways)
        out += flush if lowest == 0.0 else _worse(job, flush, _let_go(job, stretch.lowered(lowest), ways))
    return tuple(out)


def _let_go(job: Job, stretch: Stretch, ways: Sequence[_Way]) -> list[Putdown]:
    """What one release phase comes to."""
    out: list[Putdown] = []
    down, times = stretch.first(), 0
    while down.seat.seated and down.seat.flat:
        keep_to_the_budget(times := times + 1, "set the part down in its nest")
        release = _hardest(job, down, ways)
        up = _taken_up(job, release)
        again = None if up is None else stretch.next(int(release.samples[release.history.sample[up]]))
        if up is None or again is None:
            return [*out, release]
        out.append(_until(release, up))
        down = again
    return [*out, down]


def _worse(job: Job, flush: list[Putdown], low: list[Putdown]) -> list[Putdown]:
    """The worse of what a release comes to where the part's face is plane, and where it lies as low as it may."""

    def least(downs: list[Putdown]) -> float:
        return min(down.least(job) if isinstance(down, Release) else 0.0 for down in downs)

    worse, better = sorted((flush, low), key=least)
    best = least(better)
    return [
        replace(down, at_best=max(down.at_best, best), not_known=down.not_known or "bowed")
        if isinstance(down, Release)
        else replace(down, at_best=best)
        for down in worse
    ]


def _ways(patches: Sequence[Patch], pickup: Pickup | None, pressed: Sequence[float]) -> list[_Way]:
    """In which ways the pads may hold before a release, each once: the most that they do, and what they surely do.

    Pads that hold unevenly ask less of the nest in all, but let go one after the other, and turn the part.
    """
    strongest = None if pickup is None else pickup.strongest
    strongest = strongest or tuple(np.ones(patch.areas.size) for patch in patches)
    out = [_Way("", strongest)]
    if pickup is None:
        return out
    if pressed:
        out.append(_Way("pressed", _grown(pickup.faces, strongest, pressed)))
    if any(bond.any() for bond in pickup.bond):
        out.append(_Way("uneven", pickup.bond, fully=False))
    return out[:1] + [way for way in out[1:] if not all(map(np.array_equal, way.bond, strongest))]


def _hardest(job: Job, down: Putdown, ways: Sequence[_Way]) -> Release:
    """The release that asks most of the nest."""
    each = [way.of(job, down) for way in ways]
    if len(each) == 1:
        return each[0]
    least = [release.least(job) for release in each]
    return replace(each[int(np.argmin(least))], at_best=max(*least, *(release.at_best for release in each)))


def _grown(faces: Sequence[PadFace], start: Sequence[FloatArray], pressed: Sequence[float]) -> tuple[FloatArray, ...]:
    """The share of its strength that each cell may hold once its pad has been pressed so much more, [Pa]."""
    each = zip(faces, start, pressed, strict=True)
    return tuple(np.maximum(share, face.law.most(most)) for face, share, most in each)


def on_finer_cells(job: Job, release: Release, may_pass: Callable[[Release], bool]) -> Release:
    """Return a release simulated on cells of half the size.

    Args:
        job: With part and gravity.
        release: Where cells bond again in the way that was worse.
        may_pass: Whether one on finer cells may pass; else it falls short whatever the other way does.
    """
    fields = {field: getattr(release, field) for field in Putdown.__dataclass_fields__}
    down = Putdown(**{**fields, "faces": tuple(finer(face) for face in release.faces)})
    start = tuple(finer_share(share) for share in release.bond)
    out = replace(_simulated(down, start, fully=release.fully), taken_along=release.taken_along)
    return _or_worse(job, out) if may_pass(out) else out


def _or_worse(job: Job, out: Release) -> Release:
    """A release, or it simulated in the other way in which cells that break and are pressed on again may bond.

    How a broken cell bonds again is not known: by the rise of its pressure as at first, or fully at once.
    """
    again = bool((np.diff(out.history.bonded, axis=0) > 0).any())
    if not again or all(face.law.source == "none" for face in out.faces):
        return out
    down = Putdown(**{field: getattr(out, field) for field in Putdown.__dataclass_fields__})
    other = replace(_simulated(down, out.bond, fully=not out.fully), taken_along=out.taken_along)
    worse, better = sorted((out, other), key=lambda release: release.least(job))
    return replace(worse, at_best=better.least(job))


def _simulated(down: Putdown, start: tuple[FloatArray, ...], *, fully: bool) -> Release:
    faces = [bonds_fully(face) for face in down.faces] if fully else down.faces
    return Release(**vars(down), bond=start, history=simulate(faces, down.relative, start), fully=fully)


def _taken_up(job: Job, release: Release) -> int | None:
    """The row at which the pads first pull the part out of its nest, before it is said to be let go."""
    lifted = release.restraint(job, release.history.wrench).ratio("lift") < 1.0
    rows = np.flatnonzero(lifted & (release.history.sample < release.begins))
    return int(rows[0]) if rows.size else None


def _until(release: Release, row: int) -> Release:
    """The release up to the sample before the pads pull the part out of its nest."""
    end = int(release.history.sample[row])
    relative = release.relative.between(0, end)
    history = simulate(release.faces, relative, release.bond)
    samples = release.samples[: end + 1]
    return replace(release, relative=relative, samples=samples, history=history, taken_along=True)


def in_the_tray(samples: int, pickup: Pickup | None) -> NDArray[np.bool_]:
    """Return the samples, whatever their phase, in which the part lies in its tray before it leaves with the pads.

    Args:
        samples: Of the program.
        pickup: The press; without one that lifts the part there are none.
    """
    mask = np.zeros(samples, dtype=bool)
    if pickup is not None and pickup.lift is not None:
        mask[pickup.samples[pickup.samples < pickup.lift]] = True
    return mask


def in_the_air(job: Job, motion: ToolMotion, patches: Sequence[Patch], pickup: Pickup | None) -> NDArray[np.bool_]:
    """Return the samples of preload and release phases in which the part hangs on the pads all the same, shape (n,).

    Those are the samples of a preload from where the part leaves its tray, or in which it is taken up and put back, and
    those of a release before it is down in its nest.
    """
    mask = np.zeros(job.trajectory.samples, dtype=bool)
    if pickup is not None:
        mask[np.setdiff1d(np.arange(pickup.samples[0], pickup.samples[-1]), pickup.samples)] = True
    if pickup is not None and pickup.lift is not None:
        mask[pickup.lift :] = job.phase_map.covers("preload")[pickup.lift :]
    for stretch in stretches(job, motion, patches, pickup):
        down = stretch.first()
        if down.seat.seated:
            mask[down.on_the_way] = True
    return mask
