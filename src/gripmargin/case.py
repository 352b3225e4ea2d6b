"""Everything the checks look at, worked out once from a job."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gripmargin.arrays import FloatArray
from gripmargin.contact.backing import Backing
from gripmargin.contact.bond import holding_strength
from gripmargin.contact.cells import cut_pads
from gripmargin.findings import Place
from gripmargin.job import Job
from gripmargin.loads import load_per_acceleration, part_load, standing_load
from gripmargin.motion.program import ProgramMotion, program_motion


@dataclass(frozen=True, eq=False)
class Case:
    """A job with its motion, loads and pads worked out.

    Attributes:
        job: What was asked.
        motion: Tool motion at the samples, between them, and its errors.
        load: On the gripper at the tool origin, tool axes, shape (6, n).
        standing: What gravity alone gives of it, shape (6, n).
        backing: The pads on the part.
        strengths: For each pad its pull-off stress and shear strength on this part [Pa].
    """

    job: Job
    motion: ProgramMotion
    load: FloatArray
    standing: FloatArray
    backing: Backing
    strengths: list[tuple[float, float]]

    @property
    def carried(self) -> NDArray[np.intp]:
        """Indices of the samples in which the part is carried."""
        return np.flatnonzero(self.job.phase_map.covers("carry"))

    def place(self, sample: int) -> Place:
        """Return time, index and move of a sample."""
        trajectory = self.job.trajectory
        return Place(t=float(trajectory.t[sample]), sample=int(sample), move=trajectory.move_at(int(sample)))

    def load_error_columns(self, samples: NDArray[np.intp], *, bias: bool) -> FloatArray:
        """Return the independent errors of the load that errors of the rates cause.

        Args:
            samples: Indices, shape (m,).
            bias: Bounds of the systematic error instead of one standard deviation of the noise.

        Returns:
            Shape (causes, 6, m).
        """
        error = self.motion.error
        if error is None:
            return np.zeros((1, 6, samples.size))
        columns = error.columns(samples, bias=bias)
        return np.asarray(np.einsum("ij,cjn->cin", load_per_acceleration(self.job.part), columns))


def work_out(job: Job, *, motion: ProgramMotion | None = None) -> Case:
    """Work out motion, loads and pads of a job.

    Args:
        job: What is asked.
        motion: Of the same trajectory and robot, where it has been worked out before.

    Raises:
        InputError: Something in the job does not fit together.
    """
    backing = Backing(cut_pads(job.gripper.pads, job.part))
    motion = motion or program_motion(job.trajectory, job.robot)
    return Case(
        job=job,
        motion=motion,
        load=part_load(job.part, motion.at, job.gravity),
        standing=standing_load(job.part, motion.at, job.gravity),
        backing=backing,
        strengths=[holding_strength(p.pad, job.part, job.gripper) for p in backing.patches],
    )
