"""Which samples of a program belong to which phase."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.base.labels import Labels
from gripmargin.base.stored import stored
from gripmargin.motion.trajectory import Trajectory
from gripmargin.workcell import Phase, PhaseKind

ON_THE_PADS = ("preload", "carry")  # phases after which the part is on the pads
WITH_PART = ("preload", "carry", "release")
STILL_THERE = ("carry", "release")  # phases that need it there


@dataclass(frozen=True, eq=False)
class PhaseMap:
    """The phases of a program, sample by sample.

    Without phases the whole program is one carry. Stretches that no phase covers are gaps. A gap between a
    preload or carry and a carry or release is carried, whatever the phases leave out: the part must be on the
    pads there. Other gaps are free.

    Attributes:
        phases: In any order.
        trajectory: The program.
    """

    phases: tuple[Phase, ...]
    trajectory: Trajectory

    def covers(self, kind: PhaseKind) -> NDArray[np.bool_]:
        """Return which samples lie in phases of a kind, shape (samples,).

        A sample on the border of two phases lies in both.
        """
        n = self.trajectory.samples
        if not self.phases:
            return np.full(n, kind == "carry")
        mask = self._declared(kind)
        for first, last, carried in self.gaps():
            if kind == ("carry" if carried else "free"):
                mask[first : last + 1] = True
        return mask

    def of(self, index: int) -> NDArray[np.bool_]:
        """Return which samples lie in one phase, shape (samples,)."""
        return self._masks[index].copy()

    def gaps(self) -> list[tuple[int, int, bool]]:
        """Return the stretches that no phase covers: first sample, last sample, whether the part is carried."""
        if not self.phases:
            return []
        bare = ~np.any(self._masks, axis=0)
        return [(first, last, self._carried_between(first, last)) for first, last in _runs(bare)]

    def dropped(self) -> list[tuple[int, int]]:
        """Return the samples of phases without a part in which it has to be on the pads, as (first, last)."""
        without = self._declared("free") | self._declared("clean")
        return [(first, last) for first, last in _runs(without) if self._carried_between(first, last)]

    def kinds(self) -> Sequence[str]:
        """Return the kind of phase each sample lies in; on the border of two phases, the more demanding one."""
        order: tuple[PhaseKind, ...] = ("free", "clean", "preload", "release", "carry")
        numbers = stored((self.trajectory.samples,), np.uint8)
        for k, kind in enumerate(order[1:], start=1):
            numbers[self.covers(kind)] = k
        return Labels(order, numbers)

    def stretches(self) -> list[tuple[int, int, int]]:
        """Return where phases with the part lie, in order of time: first sample, last sample, index of the phase."""
        found = [
            (first, last, i)
            for i, (phase, mask) in enumerate(zip(self.phases, self._masks, strict=True))
            if phase.kind in WITH_PART
            for first, last in _runs(mask)
        ]
        return sorted(found)

    def cleanings(self) -> list[tuple[int, int, int]]:
        """Return where pads are cleaned, in order of time, as `stretches`."""
        masks = enumerate(zip(self.phases, self._masks, strict=True))
        return sorted((*run, i) for i, (phase, mask) in masks if phase.kind == "clean" for run in _runs(mask))

    @cached_property
    def _masks(self) -> list[NDArray[np.bool_]]:
        return _masks(self.phases, self.trajectory)

    def _declared(self, kind: str) -> NDArray[np.bool_]:
        masks = [mask for phase, mask in zip(self.phases, self._masks, strict=True) if phase.kind == kind]
        return np.any(masks, axis=0) if masks else np.zeros(self.trajectory.samples, dtype=bool)

    @cached_property
    def _with_part(self) -> dict[str, NDArray[np.intp]]:
        """Samples of each kind of phase with a part, rising."""
        return {kind: np.flatnonzero(self._declared(kind)) for kind in WITH_PART}

    def _carried_between(self, first: int, last: int) -> bool:
        """Whether the nearest phases with a part, before and after, have it on the pads."""
        before, after = {}, {}
        for kind, samples in self._with_part.items():
            earlier, later = np.searchsorted(samples, [first, last + 1])
            before[kind] = int(samples[earlier - 1]) if earlier > 0 else -1
            after[kind] = int(samples[later]) if later < samples.size else self.trajectory.samples
        latest, earliest = max(before.values()), min(after.values())
        return (
            latest >= 0
            and earliest < self.trajectory.samples
            and max(before[kind] for kind in ON_THE_PADS) == latest
            and min(after[kind] for kind in STILL_THERE) == earliest
        )


def _runs(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return [(int(first), int(end) - 1) for first, end in edges.reshape(-1, 2)]


def _mask(phase: Phase, trajectory: Trajectory) -> NDArray[np.bool_]:
    if phase.span is not None:
        start, end = phase.span
        return np.asarray((trajectory.t >= start) & (trajectory.t <= end))
    wanted = set(phase.moves or ())
    labels = trajectory.moves or ()
    return np.fromiter((label in wanted for label in labels), dtype=bool, count=trajectory.samples)


def _masks(phases: tuple[Phase, ...], trajectory: Trajectory) -> list[NDArray[np.bool_]]:
    """Which samples lie in each phase; a label of several phases counts for one after the other, and then again."""
    masks = [_mask(phase, trajectory) for phase in phases]
    for index, first, last in _of_shared_labels(phases, trajectory):
        for i, phase in enumerate(phases):
            if i != index and phase.moves is not None:
                masks[i][first : last + 1] = False
    return masks


def _of_shared_labels(phases: tuple[Phase, ...], trajectory: Trajectory) -> Iterator[tuple[int, int, int]]:
    """Runs of labels that several phases name, each with the phase that it belongs to: index, first and last sample.

    Each preload in the list begins with a part of its own, and the program goes through these parts of the list in
    order, again and again. A move belongs to the part that is on, unless it begins anew with its preload.
    """
    owners: dict[str, dict[int, int]] = {}  # phase by part of the list, by label
    turns = _turns(phases)
    for i, phase in enumerate(phases):
        for label in phase.moves or ():
            owners.setdefault(label, {}).setdefault(turns[i], i)
    if all(len(each) < 2 for each in owners.values()):
        return
    now = -1  # the phase before
    for label, first, last in trajectory.runs():
        if label not in owners:
            continue
        mine = owners[label].get(turns[now], -1) if now >= 0 else -1
        if mine < 0 or (phases[mine].kind == "preload" and phases[now].kind != "preload"):
            turn = turns[now] if now >= 0 else -1
            mine = next(
                owners[label][k] for k in [*range(turn + 1, turns[-1] + 1), *range(turn + 1)] if k in owners[label]
            )
        now = mine
        if len(owners[label]) > 1:
            yield now, first, last


def _turns(phases: tuple[Phase, ...]) -> list[int]:
    """Which part of the list each phase belongs to: a preload begins the next."""
    return np.cumsum([phase.kind == "preload" for phase in phases]).tolist()


def phase_problems(phases: tuple[Phase, ...], trajectory: Trajectory) -> list[InputError]:
    """Return what is wrong with phases: moves or times the program does not have, overlaps, a part left in the air."""
    problems = [
        problem
        for i, phase in enumerate(phases)
        for problem in (_time_problems if phase.moves is None else _label_problems)(phase, trajectory, i)
    ]
    if problems:
        return problems
    masks = _masks(phases, trajectory)
    taken = {(i, (trajectory.moves or ())[first]) for i, first, _ in _of_shared_labels(phases, trajectory)}
    turns = _turns(phases)
    for j, later in enumerate(phases):
        for i, earlier in enumerate(phases[:j]):
            shared = set(earlier.moves or ()) & set(later.moves or ())
            missed = shared and any((k, label) not in taken for label in shared for k in (i, j))
            if (shared and turns[i] == turns[j]) or _overlap(earlier, later, masks[i], masks[j], trajectory.t):
                found = f"a {later.kind} phase that overlaps the {earlier.kind} phase program.phases[{i}]"
                problems.append(InputError(f"program.phases[{j}]", found, "phases that do not overlap"))
            elif missed:
                found = f"moves of a {later.kind} phase that the program does not make again after program.phases[{i}]"
                due, remedy = "a program that goes through the phases in order", "name those of the parts that it takes"
                problems.append(InputError(f"program.phases[{j}]", found, due, remedy))
    for first, last in PhaseMap(phases, trajectory).dropped() if not problems else ():
        times = f"from {trajectory.t[first]:g} s to {trajectory.t[last]:g} s"
        kind = "clean" if PhaseMap(phases, trajectory).covers("clean")[first : last + 1].any() else "free"
        found = f"a {kind} phase {times} between phases that have the part on the pads"
        problems.append(InputError("program.phases", found, "carry there, or a release before it"))
    return problems


def _time_problems(phase: Phase, trajectory: Trajectory, i: int) -> Iterator[InputError]:
    first, last = float(trajectory.t[0]), float(trajectory.t[-1])
    start, end = phase.span or (first, last)
    where, found = f"program.phases[{i}]", f"a {phase.kind} phase from {start:g} s to {end:g} s"
    if end <= first or start >= last:
        due = f"times within the program, which runs from {first:g} s to {last:g} s"
        yield InputError(where, found, due)
    elif not _mask(phase, trajectory).any():
        yield InputError(where, f"{found} that covers no sample", "at least one sample")


def _label_problems(phase: Phase, trajectory: Trajectory, i: int) -> Iterator[InputError]:
    where, known = f"program.phases[{i}].moves", list(dict.fromkeys(trajectory.moves or ()))
    if trajectory.moves is None:
        due = f"times, for {trajectory.source} has no labels"
        remedy = "add a column 'move' to the trajectory, or give from and to"
        yield InputError(where, "labels of moves", due, remedy)
        return
    for k, move in enumerate(phase.moves or ()):
        if move not in known:
            near = get_close_matches(move, known, n=1)
            shown = ", ".join(f"'{label}'" for label in known[:8]) + (", ..." if len(known) > 8 else "")
            due = f"a label of the program's moves ({shown})"
            yield InputError(f"{where}[{k}]", f"'{move}'", due, f"did you mean '{near[0]}'?" if near else "")


def _overlap(a: Phase, b: Phase, in_a: NDArray[np.bool_], in_b: NDArray[np.bool_], t: FloatArray) -> bool:
    if a.span is not None and b.span is not None:
        return max(a.span[0], b.span[0]) < min(a.span[1], b.span[1])
    shared = t[in_a & in_b]
    for span in (a.span, b.span):
        if span is not None:  # the sample on the border may belong to both
            shared = shared[(shared > span[0]) & (shared < span[1])]
    return shared.size > 0
