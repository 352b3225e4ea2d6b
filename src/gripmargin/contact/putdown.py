"""Where a carried part is put down: from its pick, or the release before, to where the tool has left its nest."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gripmargin.contact.activation import PadFace, pad_faces
from gripmargin.contact.backing import Backing
from gripmargin.contact.cells import Patch
from gripmargin.contact.handover_phases import look_at_facing, one_stretch, relative_to, wrong_order
from gripmargin.contact.locked import locked_in
from gripmargin.contact.pickup import Pickup
from gripmargin.contact.relative import RelativeMotion
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
        may_be_down: Of a part that never comes down: whether it does where its face is bowed otherwise, and is let go.
    """

    nest: Nest
    kind: ReleaseKind | None
    faces: tuple[PadFace, ...]
    on_the_way: NDArray[np.intp]
    samples: NDArray[np.intp]
    relative: RelativeMotion
    seat: Seating
    begins: int
    may_be_down: bool = False

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
class Stretch:
    """The samples between a pick, or the release before, and where the tool has left the nest after a release.

    Attributes:
        job: The job.
        kind: How the phase says that it lets go.
        faces: The pads.
        relative: The tool in the face frame, over these samples, shape (n,).
        offset: The first of them.
        declared: Which of them lie in the release phase, shape (n,).
        nest: Where the part is left.
    """

    job: Job
    nest: Nest
    kind: ReleaseKind | None
    faces: tuple[PadFace, ...]
    relative: RelativeMotion
    offset: int
    declared: NDArray[np.bool_]

    def lowered(self, by: float) -> Stretch:
        """The same with a part whose face lies lower in its nest [m]."""
        down = self.relative
        higher = RelativeMotion(t=down.t, rotation=down.rotation, position=down.position + np.array([0.0, 0.0, by]))
        return replace(self, relative=higher)

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
        job, nest = self.job, self.nest
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


def stretches(job: Job, motion: ToolMotion, patches: Sequence[Patch], pickup: Pickup | None) -> Iterator[Stretch]:
    """Yield the stretch of every release phase of a job with a nest.

    Raises:
        InputError: A release before the carry, in more than one piece, or pads that do not face the nest.
    """
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
        yield Stretch(
            job=job, nest=job.nest, kind=phase.release, faces=faces, relative=relative, offset=first, declared=declared
        )


def _after_the_tray(faces: Sequence[PadFace], job: Job, motion: ToolMotion, pickup: Pickup) -> int:
    """The first sample after a press at which all pads are out of reach of the tray, or are beside it."""
    last = int(pickup.samples[-1])
    relative = relative_to(motion, np.arange(last, motion.t.size), pickup.pick.face)
    near = within_reach(faces, relative) & over(faces, job.part, relative, 0)
    return last + int(np.argmin(near)) if not near.all() else last
