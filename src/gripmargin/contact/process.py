"""Forces of the process at the samples of a program: what they add to the load of the part.

A force that may be there or not, either way round, between none and all of it, spans a convex set of loads. How far
pads are used is convex in the load, so the worst is at a corner of that set: every combination of all and none of the
forces that act together, of either sign where they act both ways. While a nest guides the part it may take some of a
force; how much is statically indeterminate, and all of it is put on the pads.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.stored import columns, flagged
from gripmargin.contact.backing import Backing
from gripmargin.kernels.face import Face
from gripmargin.kernels.utilisation import largest_utilisation
from gripmargin.motion.tool_motion import ToolMotion
from gripmargin.workcell import Process
from gripmargin.workcell.job import Job
from gripmargin.workcell.process import runs_of

PROCESS: Final = "process"  # the cause of a load that forces of the process are


@dataclass(frozen=True, eq=False, kw_only=True)
class Push:
    """One stretch over which a force acts on the part while it hangs on the pads.

    Attributes:
        of: The force.
        samples: Indices into the program without a gap, shape (m,).
        wrench: All of the force at the tool origin, tool axes, shape (6, m).
        rise: Over which time it comes, and goes [s]; 0: at once.
    """

    of: Process
    samples: NDArray[np.intp]
    wrench: FloatArray
    rise: float

    @property
    def factors(self) -> tuple[float, ...]:
        """What may be there of it: its corners, and nothing."""
        return (0.0, 1.0) if self.of.sign == "+" else (0.0, 1.0, -1.0)


@dataclass(frozen=True, eq=False, kw_only=True)
class Added:
    """One combination of forces, over the samples at which it may occur.

    Attributes:
        samples: Indices into the program, rising, shape (m,).
        wrench: What it adds to the load, shape (6, m).
        factors: Of every push of the job, 0 where it does not act.
    """

    samples: NDArray[np.intp]
    wrench: FloatArray
    factors: tuple[float, ...]


def pushes_of(job: Job, motion: ToolMotion, whole: Backing, airborne: NDArray[np.bool_]) -> tuple[Push, ...]:
    """Return the forces of a job while the part hangs on the pads, each stretch by itself; none that are no force.

    Args:
        job: The job.
        motion: Of the tool at the samples.
        whole: The pads, which give way to an overtravel.
        airborne: Where the part hangs on the pads, shape (n,).
    """
    out = []
    for force in job.process:
        if force.is_none:
            continue
        there = force.acting(job.trajectory) & airborne
        for first, end in runs_of(there):
            samples, rise = np.arange(first, end), force.rise_over(job.trajectory, int(first), int(end))
            out.append(Push(of=force, samples=samples, wrench=_wrench(force, job, motion, samples, whole), rise=rise))
    return tuple(out)


def added(pushes: Sequence[Push], samples: int) -> tuple[Added, ...]:
    """Return every combination of forces that act together, but that of none.

    Args:
        pushes: As `pushes_of` returns them.
        samples: Of the program.
    """
    if not pushes:
        return ()
    there = np.zeros((len(pushes), samples), dtype=bool)
    rows = np.zeros((len(pushes), samples), dtype=np.intp)
    for i, push in enumerate(pushes):
        there[i, push.samples] = True
        rows[i, push.samples] = np.arange(push.samples.size)
    acted = np.flatnonzero(there.any(axis=0))
    kinds, which = np.unique(there[:, acted], axis=1, return_inverse=True)
    out = []
    for k, kind in enumerate(kinds.T):
        at = acted[which.ravel() == k]
        for factors in product(*(push.factors if acts else (0.0,) for push, acts in zip(pushes, kind, strict=True))):
            if any(factors):
                some = [(f, push, rows[i, at]) for i, (f, push) in enumerate(zip(factors, pushes, strict=True)) if f]
                wrench = np.sum([f * push.wrench[:, row] for f, push, row in some], axis=0)
                out.append(Added(samples=at, wrench=wrench, factors=factors))
    return tuple(out)


def worst_load(face: Face, load: FloatArray, more: Sequence[Added]) -> FloatArray:
    """Return the load at every sample with what uses the pads most of what forces may add, shape (6, n).

    Args:
        face: The places that count.
        load: Without them, shape (6, n).
        more: What they may add.
    """
    out, most = load.copy(), np.full(load.shape[1], np.nan)
    for each in more:
        at = each.samples
        unknown = at[np.isnan(most[at])]
        most[unknown] = largest_utilisation(face, load[:, unknown])
        with_it = load[:, at] + each.wrench
        used = largest_utilisation(face, with_it)
        worse = used > most[at]
        most[at[worse]], out[:, at[worse]] = used[worse], with_it[:, worse]
    return out


def every_load(load: FloatArray, airborne: NDArray[np.bool_], more: Sequence[Added]) -> FloatArray:
    """Return all loads that pads may have to carry, with and without forces, shape (6, k)."""
    alone = columns(load, flagged(airborne))
    return np.hstack([alone, *(load[:, each.samples] + each.wrench for each in more)]) if more else alone


def unheld(job: Job, airborne: NDArray[np.bool_]) -> Iterator[tuple[Process, int]]:
    """Yield forces that are to act where the part does not hang on the pads, and the first sample at which they do."""
    for force in job.process:
        outside = np.flatnonzero(force.named(job.trajectory) & ~airborne)
        if not force.is_none and outside.size:
            yield force, int(outside[0])
        elif not force.is_none and not (force.acting(job.trajectory) & airborne).any():
            yield force, int(np.argmax(force.acting(job.trajectory)))


def _wrench(force: Process, job: Job, motion: ToolMotion, samples: NDArray[np.intp], whole: Backing) -> FloatArray:
    """All of a force at the tool origin, tool axes, shape (6, m)."""
    axes: FloatArray = np.broadcast_to(np.eye(3), (samples.size, 3, 3))
    if force.frame != "tool":
        axes = motion.rotation[samples].transpose(0, 2, 1)
    if force.frame == "nest" and job.nest is not None:
        axes = np.asarray(axes @ job.nest.face[:3, :3])

    def in_tool(vector: FloatArray | None) -> FloatArray:
        return np.zeros((3, samples.size)) if vector is None else (axes @ vector).T

    arm = np.zeros(3) if force.at is None else force.at
    if force.overtravel is None:
        push, turn = in_tool(force.force), in_tool(force.moment)
        return np.concatenate([push, turn + np.cross(arm, push.T).T])
    way = float(np.linalg.norm(force.overtravel))
    along = in_tool(force.overtravel / way)
    line = np.concatenate([along, np.cross(arm, along.T).T])
    # Two springs in a row: what is met, and the pads along the same line. The part is pushed back.
    met = 0.0 if force.stiffness is None else 1.0 / force.stiffness
    flexible = met + (line * (whole.compliance @ line)).sum(axis=0)
    return np.asarray(-line * (way / flexible))
