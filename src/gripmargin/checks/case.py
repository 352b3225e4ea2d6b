"""Everything the checks look at, worked out once from a job."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.contact.backing import Backing
from gripmargin.contact.bond import holding_strength
from gripmargin.contact.bonded import Bonded, Strength
from gripmargin.contact.cells import cut_pads
from gripmargin.contact.grip import Grip, grip_of
from gripmargin.contact.handover import Putdown, in_the_air, put_down
from gripmargin.contact.loads import drag_per_speed, load_per_acceleration, part_load, standing_load
from gripmargin.contact.locked import locked_in
from gripmargin.contact.pickup import Pickup, pick_up
from gripmargin.motion.between import filled
from gripmargin.motion.program import ProgramMotion
from gripmargin.motion.trajectory import RESOLVED, Trajectory
from gripmargin.results.findings import Place
from gripmargin.workcell.job import Job

T = TypeVar("T")


@dataclass(frozen=True, eq=False, kw_only=True)
class Case:
    """A job with its motion, loads and pads worked out.

    Attributes:
        job: What was asked, with samples put in between those of a program that gives its rates.
        motion: Tool motion at the samples and its errors.
        load: On the gripper at the tool origin, tool axes, shape (6, n).
        standing: What gravity alone gives of it, shape (6, n).
        pickup: The preload, simulated; None where the job does not tell enough.
        grip: The places that margins count on.
        airborne: Whether the part hangs on the pads, sample by sample, shape (n,); between samples that are far apart
            from one end on.
        recorded: Whether the motion is what was recorded of a robot, which may shake as no program asks it to.
        trial: Whether it is a change on trial (`gripmargin.checks.advice`): nobody reads its findings.
    """

    job: Job
    motion: ProgramMotion
    load: FloatArray
    standing: FloatArray
    pickup: Pickup | None
    grip: Grip
    airborne: NDArray[np.bool_]
    recorded: bool = False
    trial: bool = False
    _known: dict[Callable[[Any], Any], Any] = field(init=False, repr=False, default_factory=dict)

    def shared(self, work: Callable[[Case], T]) -> T:
        """Return what a piece of work on this case gives, done once for all checks that need it."""
        if work not in self._known:
            self._known[work] = work(self)
        return self._known[work]

    def take_over(self, work: Callable[[Case], Any], other: Case) -> None:
        """Take what a piece of work gave on another case, where it was done there and would give the same on this."""
        if work in other._known:
            self._known[work] = other._known[work]

    @property
    def whole(self) -> Backing:
        """All of the pads on the part."""
        return self.grip.whole

    @cached_property
    def putdowns(self) -> tuple[Putdown, ...]:
        """The releases, simulated; empty where the job has no nest face or no release phase."""
        return put_down(self.job, self.motion.at, self.whole.patches, self.pickup)

    @cached_property
    def at_best(self) -> Bonded | None:
        """The pads if cells that broke in the press and were pressed on again hold fully; None where there are none."""
        best = None if self.pickup is None else self.pickup.at_best
        return None if best is None else _taken(self.whole, self.grip.bonded.full, best)

    @property
    def carried(self) -> NDArray[np.intp]:
        """Indices of the samples in which the part is carried."""
        return np.flatnonzero(self.airborne)

    @property
    def hangs_in_carry_alone(self) -> bool:
        """Whether the part hangs on the pads in carry phases only."""
        carry = _with_borders(self.job.phase_map.covers("carry"), self.job.trajectory)
        return bool((self.airborne == carry).all())

    def place(self, sample: int) -> Place:
        """Return time, index and move of a sample."""
        trajectory = self.job.trajectory
        return Place(t=float(trajectory.t[sample]), sample=int(sample), move=trajectory.move_at(int(sample)))

    def load_errors(self, samples: NDArray[np.intp]) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return what errors of the rates do to the load: of accelerations, and by the drag of the air of speeds.

        Args:
            samples: Indices, shape (m,).

        Returns:
            What one unit of each cause adds, shape (causes, 6, m), one standard deviation of each, and the bound of its
            systematic error, shape (m, causes) each.
        """
        error = self.motion.error
        if error is None:
            none = np.zeros((samples.size, 1))
            return np.zeros((1, 6, samples.size)), none, none
        columns, sigma, bias = self.load_per_rate(samples), error.sigma[samples], error.bias[samples]
        if self.job.part.drag_area is None:
            return columns, sigma, bias
        per_speed = drag_per_speed(self.job.part, self.motion.at, self.job.air_density)[:, :, samples]
        drags = np.einsum("ijn,cjn->cin", per_speed, error.directions(samples))
        return (
            np.concatenate([columns, drags]),
            np.hstack([sigma, error.speed_sigma[samples]]),
            np.hstack([bias, error.speed_bias[samples]]),
        )

    def load_per_rate(self, samples: NDArray[np.intp]) -> FloatArray:
        """Return what one unit of each estimated rate adds to the load, shape (causes, 6, m).

        Args:
            samples: Indices, shape (m,).
        """
        error = self.motion.error
        if error is None:
            return np.zeros((1, 6, samples.size))
        per_acceleration = load_per_acceleration(self.job.part, self.job.air_density)
        return np.asarray(np.einsum("ij,cjn->cin", per_acceleration, error.directions(samples)))


def work_out(job: Job, *, motion: ProgramMotion | None = None, trial: bool = False) -> Case:
    """Work out motion, loads and pads of a job.

    Args:
        job: What is asked.
        motion: Of the same trajectory and robot, where it has been worked out before.
        trial: Whether the job is a change on trial.

    Raises:
        InputError: Something in the job does not fit together.
    """
    if (dense := filled(job.trajectory)) is not job.trajectory:
        job = replace(job, trajectory=dense)
    whole = Backing(cut_pads(job.gripper.pads, job.part))
    full = tuple(holding_strength(p.pad, job.part, job.gripper) for p in whole.patches)
    motion = motion or ProgramMotion.of(job.trajectory, job.robot, stamps=job.stamps)
    load = part_load(job.part, motion.at, job.gravity, job.air_density)
    pickup, airborne = _handed_over(job, motion, whole)
    bonded = Bonded(whole=whole, full=full) if pickup is None else _taken(whole, full, pickup)
    return Case(
        job=job,
        motion=motion,
        load=load,
        standing=standing_load(job.part, motion.at, job.gravity),
        pickup=pickup,
        grip=grip_of(bonded, load[:, airborne]),
        airborne=airborne,
        trial=trial,
    )


def _taken(whole: Backing, full: tuple[Strength, ...], pickup: Pickup) -> Bonded:
    """The pads as a press left them."""
    locked = locked_in(whole, [pad.traction for pad in pickup.hard.pads], pickup.bond, pickup.pick.flatness)
    return Bonded(whole=whole, full=full, held=pickup.bond, locked=locked)


def _handed_over(job: Job, motion: ProgramMotion, whole: Backing) -> tuple[Pickup | None, NDArray[np.bool_]]:
    """The preload, simulated, and in which samples the part hangs on the pads."""
    carry = _with_borders(job.phase_map.covers("carry"), job.trajectory)
    pickup = pick_up(job, motion.at, whole.patches)
    return pickup, carry | in_the_air(job, motion.at, whole.patches, pickup)


def _with_borders(carry: NDArray[np.bool_], trajectory: Trajectory) -> NDArray[np.bool_]:
    """The carry with the samples next to it where they are far away: somewhere on the way to them it begins or ends."""
    own = np.arange(carry.size) if trajectory.filling is None else trajectory.filling.given
    out, wide = carry[own], np.diff(trajectory.t[own]) > RESOLVED
    out[:-1] |= carry[own[1:]] & wide
    out[1:] |= carry[own[:-1]] & wide
    every = np.arange(carry.size)
    return out[np.searchsorted(own, every, side="right") - 1] & out[np.searchsorted(own, every)]
