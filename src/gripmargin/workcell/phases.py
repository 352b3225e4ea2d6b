"""Which samples of a program belong to which phase."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.motion.trajectory import Trajectory
from gripmargin.workcell import Phase, PhaseKind

ON_THE_PADS = ("preload", "carry")  # phases after which the part is on the pads
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

    def kinds(self) -> tuple[PhaseKind, ...]:
        """Return the kind of phase each sample lies in; on the border of two phases, the more demanding one."""
        kinds = np.full(self.trajectory.samples, "free", dtype=object)  # of a few texts, each there once
        order: tuple[PhaseKind, ...] = ("clean", "preload", "release", "carry")
        for kind in order:
            kinds[self.covers(kind)] = kind
        return tuple(kinds.tolist())

    @cached_property
    def _masks(self) -> list[NDArray[np.bool_]]:
        return [_mask(phase, self.trajectory) for phase in self.phases]

    def _declared(self, kind: str) -> NDArray[np.bool_]:
        masks = [mask for phase, mask in zip(self.phases, self._masks, strict=True) if phase.kind == kind]
        return np.any(masks, axis=0) if masks else np.zeros(self.trajectory.samples, dtype=bool)

    def _carried_between(self, first: int, last: int) -> bool:
        """Whether the nearest phases with a part, before and after, have it on the pads."""
        with_part = {kind: self._declared(kind) for kind in ("preload", "carry", "release")}
        before = {kind: _last_true(mask[:first]) for kind, mask in with_part.items()}
        after = {kind: _first_true(mask[last + 1 :]) for kind, mask in with_part.items()}
        latest = max(before.values())
        earliest = min(after.values())
        return (
            latest >= 0
            and earliest < self.trajectory.samples
            and max(before[kind] for kind in ON_THE_PADS) == latest
            and min(after[kind] for kind in STILL_THERE) == earliest
        )


def _runs(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return [(int(first), int(end) - 1) for first, end in edges.reshape(-1, 2)]


def _last_true(mask: NDArray[np.bool_]) -> int:
    found = np.flatnonzero(mask)
    return int(found[-1]) if found.size else -1


def _first_true(mask: NDArray[np.bool_]) -> int:
    """Samples until the first True; more than any program has where there is none."""
    found = np.flatnonzero(mask)
    return int(found[0]) if found.size else np.iinfo(np.int64).max


def _mask(phase: Phase, trajectory: Trajectory) -> NDArray[np.bool_]:
    if phase.span is not None:
        start, end = phase.span
        return np.asarray((trajectory.t >= start) & (trajectory.t <= end))
    wanted = set(phase.moves or ())
    labels = trajectory.moves or ()
    return np.fromiter((label in wanted for label in labels), dtype=bool, count=trajectory.samples)


def phase_problems(phases: tuple[Phase, ...], trajectory: Trajectory) -> list[InputError]:
    """Return what is wrong with phases: moves or times the program does not have, overlaps, a part left in the air."""
    problems = [
        problem
        for i, phase in enumerate(phases)
        for problem in (_time_problems if phase.moves is None else _label_problems)(phase, trajectory, i)
    ]
    if problems:
        return problems
    masks = [_mask(phase, trajectory) for phase in phases]
    for j, later in enumerate(phases):
        for i, earlier in enumerate(phases[:j]):
            if _overlap(earlier, later, masks[i], masks[j], trajectory.t):
                found = f"a {later.kind} phase that overlaps the {earlier.kind} phase program.phases[{i}]"
                problems.append(InputError(f"program.phases[{j}]", found, "phases that do not overlap"))
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
