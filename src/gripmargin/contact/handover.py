"""The part is left: pads against a part that its nest holds still.

Here the motion of the tool relative to the part's face drives the pads (`gripmargin.contact.simulation`); in
between, in the air, the load of the part does.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.contact.activation import PadFace, bonds_fully, pad_faces
from gripmargin.contact.backing import Backing
from gripmargin.contact.cells import Patch
from gripmargin.contact.finer import finer, finer_share
from gripmargin.contact.handover_phases import (
    keep_to_the_budget,
    look_at_facing,
    one_stretch,
    relative_to,
    wrong_order,
)
from gripmargin.contact.locked import locked_in
from gripmargin.contact.pickup import Pickup
from gripmargin.contact.relative import RelativeMotion
from gripmargin.contact.restraint import WAYS, Restraint, restraint
from gripmargin.contact.seating import (
    SEATED,
    Seating,
    break_displacement,
    centre_of,
    from_touch_down,
    over,
    seating,
    taken_up,
    within_reach,
)
from gripmargin.contact.simulation import ContactHistory, simulate
from gripmargin.motion.tool_motion import ToolMotion
from gripmargin.workcell import Nest, ReleaseKind
from gripmargin.workcell.job import Job


@dataclass(frozen=True, eq=False, kw_only=True)
class Putdown:
    """A release, from where the part is set down, whatever that move is called, or is nearest to its nest.

    Attributes:
        nest: Where the part is left.
        kind: How the phase says that it lets go; None where it does not say.
        faces: The pads, as strong as just after cleaning: letting go is judged against the strongest hold.
        on_the_way: The program's samples of the release phase before, shape (m,).
        samples: Those from there on until the tool has left, shape (n,); the first pose may lie between that sample
            and the next.
        relative: The tool in the face frame over these.
        seat: Where the part is set down.
        begins: Which of these is the first of the release phase.
    """

    nest: Nest
    kind: ReleaseKind | None
    faces: tuple[PadFace, ...]
    on_the_way: NDArray[np.intp]
    samples: NDArray[np.intp]
    relative: RelativeMotion
    seat: Seating
    begins: int

    @property
    def move(self) -> RelativeMotion:
        """The tool in the face frame from where the release phase begins."""
        return self.relative.between(self.begins, self.relative.samples - 1)

    @property
    def placed(self) -> RelativeMotion:
        """The tool in the face frame as the release phase begins, or as the part is taken up again before it."""
        last = min(self.begins, self.relative.samples - 1)
        return self.relative.between(last, last)


@dataclass(frozen=True, eq=False, kw_only=True)
class Release(Putdown):
    """A putdown of a part that is down in its nest, simulated.

    Attributes:
        bond: For each pad the share of its full strength that each cell holds at first.
        history: What the pads did.
        taken_along: Whether the pads take the part up again before it is to be let go: it was put down too early, or in
            two goes.
        fully: Whether cells that broke and are pressed on again bond fully in it.
        at_best: The least ratio of restraint to demand if broken cells bond again as leaves the part more easily, and
            nothing that may have pressed the pads since the preload has added to their bond.
        pressed: Whether something may have.
    """

    bond: tuple[FloatArray, ...]
    history: ContactHistory
    taken_along: bool = False
    fully: bool = True
    at_best: float = 0.0
    pressed: bool = False

    def least(self, job: Job) -> float:
        """Return the least ratio of restraint to demand that is known, 0 where the pads hold the part in the end."""
        forces = self.restraint(job, self.history.wrench)
        return 0.0 if self.history.held_total[-1] > 0 else min(forces.least(way) for way in WAYS)

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
    start = None if pickup is None else pickup.strongest
    start = start or tuple(np.ones(patch.areas.size) for patch in patches)
    grown = start if pickup is None or not pressed else _grown(pickup.faces, start, pressed)
    out: list[Putdown] = []
    for stretch in _stretches(job, motion, patches, pickup):
        down, times = stretch.first(), 0
        while down.seat.seated and down.seat.flat:
            keep_to_the_budget(times := times + 1, "set the part down in its nest")
            release = _or_worse(job, _simulated(down, grown, fully=True))
            if any((more > own).any() for more, own in zip(grown, start, strict=True)):
                plain = _or_worse(job, _simulated(down, start, fully=True))
                release = replace(release, at_best=max(plain.at_best, plain.least(job)), pressed=True)
            up = _taken_up(job, release)
            again = None if up is None else stretch.next(int(release.samples[release.history.sample[up]]))
            if up is None or again is None:
                out.append(release)
                break
            out.append(_until(release, up))
            down = again
        else:
            out.append(down)
    return tuple(out)


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
    for stretch in _stretches(job, motion, patches, pickup):
        down = stretch.first()
        if down.seat.seated:
            mask[down.on_the_way] = True
    return mask


@dataclass(frozen=True, eq=False, kw_only=True)
class _Stretch:
    """The samples between a pick, or the release before, and where the tool has left the nest after a release.

    Attributes:
        job: The job.
        kind: How the phase says that it lets go.
        faces: The pads.
        relative: The tool in the face frame, over these samples, shape (n,).
        offset: The first of them.
        declared: Which of them lie in the release phase, shape (n,).
    """

    job: Job
    kind: ReleaseKind | None
    faces: tuple[PadFace, ...]
    relative: RelativeMotion
    offset: int
    declared: NDArray[np.bool_]

    def first(self) -> Putdown:
        """Where the part is first set down."""
        return self._from(0)

    def next(self, sample: int) -> Putdown | None:
        """Where the part that was taken up again at a sample of the program is next set down; None: nowhere."""
        height = self.relative.height(centre_of(self.faces)[None])[:, 0]
        slack = SEATED * break_displacement(self.faces)
        above = np.flatnonzero(height[sample - self.offset :] > slack)
        if above.size == 0:
            return None
        start = sample - self.offset + int(above[0])
        if start > int(np.flatnonzero(self.declared)[-1]):
            return None
        down = self._from(start)
        return down if down.seat.seated else None

    def _from(self, start: int) -> Putdown:
        relative = self.relative.between(start, self.relative.samples - 1)
        job, nest = self.job, _nest(self.job)
        weight = -job.part.mass * float(job.gravity @ nest.face[:3, 2])
        seat = seating(self.faces, relative, self.declared[start:], job.part, weight)
        near = taken_up(self.faces, relative, ~over(self.faces, self.job.part, relative, seat.sample))
        end = self._end(near, start)
        moving, first = (
            from_touch_down(self.faces, near.between(0, end), seat.sample)
            if seat.seated
            else (
                near.between(seat.sample, end),
                seat.sample,
            )
        )
        declared = np.flatnonzero(self.declared)
        first += start
        return Putdown(
            nest=nest,
            kind=self.kind,
            faces=self.faces,
            on_the_way=self.offset + declared[declared < start + seat.sample],
            samples=self.offset + np.arange(first, start + end + 1),
            relative=moving,
            seat=seat,
            begins=max(int(declared[0]) - first, 0),
        )

    def _end(self, relative: RelativeMotion, start: int) -> int:
        """The end of the release phase, or where the tool is out of reach for good after it."""
        near = np.flatnonzero(within_reach(self.faces, relative))
        last = int(np.flatnonzero(self.declared[start:])[-1])
        return min(max(last, int(near[-1]) + 1 if near.size else 0), relative.samples - 1)


def _stretches(job: Job, motion: ToolMotion, patches: Sequence[Patch], pickup: Pickup | None) -> Iterator[_Stretch]:
    if job.nest is None:
        return
    faces = pad_faces(patches, job.part, None)
    if pickup is not None:
        locked = locked_in(Backing(tuple(patches)), [pad.traction for pad in pickup.hard.pads], pickup.bond)
        along = [own * (1.0, 1.0, 0.0) for own in locked.traction]  # across the face they press as they then lie on it
        faces = tuple(replace(face, offset=own) for face, own in zip(faces, along, strict=True))
    carry = np.flatnonzero(job.phase_map.covers("carry"))
    lets_go = np.flatnonzero(job.phase_map.covers("release"))
    begin = 0 if pickup is None else _after_the_tray(faces, job, motion, pickup)
    for index, phase in enumerate(job.phases):
        if phase.kind != "release":
            continue
        samples = np.flatnonzero(job.phase_map.of(index))
        one_stretch(samples, job, "release")
        if carry.size and carry[0] > samples[0]:
            raise wrong_order(job, "a release", int(samples[0]), "before the carry", "a release after a carry")
        others = lets_go[~np.isin(lets_go, samples)]
        before, after = others[others < samples[0]], np.concatenate([others, carry])
        after = after[after > samples[-1]]
        first = min(max(begin, int(before[-1]) if before.size else 0), int(samples[0]))
        stretch = np.arange(first, int(after.min()) + 1 if after.size else motion.t.size)
        relative = relative_to(motion, stretch, job.nest.face)
        declared = np.isin(stretch, samples)
        look_at_facing(faces, relative.take(np.flatnonzero(declared)), "nest.face")
        yield _Stretch(job=job, kind=phase.release, faces=faces, relative=relative, offset=first, declared=declared)


def _after_the_tray(faces: Sequence[PadFace], job: Job, motion: ToolMotion, pickup: Pickup) -> int:
    """The first sample after a press at which all pads are out of reach of the tray, or are beside it."""
    last = int(pickup.samples[-1])
    relative = relative_to(motion, np.arange(last, motion.t.size), pickup.pick.face)
    near = within_reach(faces, relative) & over(faces, job.part, relative, 0)
    return last + int(np.argmin(near)) if not near.all() else last


def _nest(job: Job) -> Nest:
    if job.nest is None:
        raise InputError("nest", "none", "the place where the part is left")
    return job.nest
