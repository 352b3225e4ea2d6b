"""Holds of a program that differ in place and time alone: what the checks say of one they say of the other."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.kernels.recursion import AL, EX, A, V, W
from gripmargin.motion.program import ProgramMotion
from gripmargin.motion.trajectory import JointTrajectory
from gripmargin.workcell.job import Job

SAME: Final = 1e-9  # share of the largest figure of its kind by which two may differ: rounding of floats leaves less


@dataclass(eq=False)
class Alike:
    """The holds of a program that were judged by themselves.

    Attributes:
        known: By what they have in common: number in the program and figures of each.
    """

    known: dict[Any, list[tuple[int, list[tuple[FloatArray, float]]]]] = field(default_factory=dict)

    def find(self, job: Job, motion: ProgramMotion, part: str) -> int | None:
        """Return the number of a hold that this one does not differ from, or None."""
        among = self.known.get(_exact(job, motion, part), ())
        figures = _figures(job, motion) if among else []
        return next((number for number, known in among if _same(known, figures)), None)

    def keep(self, job: Job, motion: ProgramMotion, part: str, number: int) -> None:
        """Take down a hold that is judged by itself.

        Args:
            job: What is asked of it.
            motion: Over its stretch.
            part: Name of its part.
            number: Its number in the program.
        """
        self.known.setdefault(_exact(job, motion, part), []).append((number, _figures(job, motion)))


def _exact(job: Job, motion: ProgramMotion, part: str) -> Any:
    """What has to be the same to the last digit."""
    trajectory, begins = job.trajectory, float(job.trajectory.t[0])
    when = [(phase.kind, phase.release, phase.moves) for phase in job.phases]
    cleans = any(phase.kind == "clean" for phase in job.phases)  # its cleaner stands somewhere else
    materials = (pad.material for pad in job.gripper.pads)
    fouls = any(m.pulls is not None or m.fouling_per_cycle > 0 or m.recovery is not None for m in materials)
    places = [None if place is None else _bare(place) for place in (job.pick, job.nest)]
    by_time = job.recording is not None or any(force.span is not None for force in job.process)
    return (
        part,
        tuple(when),
        tuple(places),
        (job.gripper.cycles_since_cleaning, job.gripper.cleanings) if fouls else None,
        tuple(job.phase_map.of(i).tobytes() for i in range(len(job.phases))),
        trajectory.moves,
        trajectory.rows.tobytes(),
        motion.doubts,
        job.uncleaned,
        job.elsewhere,
        tuple(force.moves for force in job.process),
        begins if by_time or cleans else None,
        job.station,
        tuple((each.mass, *map(_bytes, (each.hangs, each.at, each.unknown)), len(each.pushes)) for each in job.aboard),
    )


def _bytes(values: NDArray[Any] | None) -> bytes | None:
    return None if values is None else values.tobytes()


def _bare(place: Any) -> Any:
    """All of a place but where it is."""
    return tuple(
        value.tobytes() if isinstance(value, np.ndarray) else value
        for value in (place.face[:3, :3] if name == "face" else getattr(place, name) for name in place.keys)
    )


def _figures(job: Job, motion: ProgramMotion) -> list[tuple[FloatArray, float]]:
    """What may differ by rounding, each with how much: places against those that the part has to do with.

    Looked at are the samples that the program gives: those put in between follow from them.
    """
    own, error, trajectory = job.trajectory.rows, motion.error, job.trajectory
    tool = motion.at.take(own)
    state, position = tool.state, tool.position
    way = position - position[0]
    faces = [position[0] - place.face[:3, 3] for place in (job.pick, job.nest) if place is not None]
    floor = [position[:, 2]] if job.stop is not None and job.stop.floor is not None else []
    found = [tool.t - tool.t[0], state[:, EX:], *(state[:, row] for row in (V, W, AL, A))]
    found += [trajectory.q[own]] if isinstance(trajectory, JointTrajectory) else []
    found += [rows[own] for rows in motion.joint_rates or ()]
    if trajectory.filling is not None and trajectory.filling.missed is not None:
        found.append(trajectory.filling.missed[own])
    if error is not None:
        found += [each[own] for each in (error.sigma, error.bias, error.speed_sigma, error.speed_bias, error.spin)]
        found += [error.window[own], *([] if error.quick is None else [error.quick[own]])]
        found += [] if error.shaking is None else [error.shaking[:, own]]
    spans = np.array(job.meanwhile).reshape(-1, 2)
    found.append(spans[(spans[:, 0] <= tool.t[-1]) & (spans[:, 1] >= tool.t[0])] - tool.t[0])
    for each in job.aboard:
        found += [each.com, each.inertia, each.contact, each.sure, each.instants]
        found += [rows for push in each.pushes for rows in push[1:]]
    alike = [(rows, SAME * float(np.abs(rows).max(initial=0.0))) for rows in found]
    return alike + [(rows, SAME * float(np.abs(way).max())) for rows in (way, *faces, *floor)]


def _same(known: list[tuple[FloatArray, float]], figures: list[tuple[FloatArray, float]]) -> bool:
    """Whether all figures agree."""
    return len(known) == len(figures) and all(
        a.shape == b.shape and bool((np.abs(a - b) <= tolerance).all())
        for (a, tolerance), (b, _) in zip(known, figures, strict=True)
    )
