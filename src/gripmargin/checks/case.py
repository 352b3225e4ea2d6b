"""Everything the checks look at, worked out once from a job."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import BudgetError
from gripmargin.checks import likely
from gripmargin.checks.pressed import pressed_in_the_carry
from gripmargin.contact.backing import Backing
from gripmargin.contact.bond import holding_strength
from gripmargin.contact.bonded import Bonded, Strength
from gripmargin.contact.cells import cut_pads
from gripmargin.contact.grip import Grip, grip_of
from gripmargin.contact.handover import in_the_air, in_the_tray, put_down
from gripmargin.contact.loads import drag_per_speed, load_per_acceleration, part_load, standing_load
from gripmargin.contact.locked import locked_in
from gripmargin.contact.pickup import Pickup, pick_up, preload_samples
from gripmargin.contact.process import Added, Push, added, every_load, pushes_of, worst_load
from gripmargin.contact.putdown import Putdown
from gripmargin.motion.between import filled
from gripmargin.motion.polled import unpolled
from gripmargin.motion.program import ProgramMotion
from gripmargin.motion.stamps import Stamps
from gripmargin.motion.trajectory import RESOLVED, PoseTrajectory, Trajectory
from gripmargin.motion.waits import waited
from gripmargin.results.findings import Place
from gripmargin.workcell import Part
from gripmargin.workcell.holds import single
from gripmargin.workcell.job import Job

T = TypeVar("T")


@dataclass(frozen=True, eq=False, kw_only=True)
class Case:
    """A job with its motion, loads and pads worked out.

    Attributes:
        job: What was asked, with samples put in between those of a program that gives its rates.
        motion: Tool motion at the samples and its errors.
        load: On the gripper at the tool origin, tool axes, with what uses the pads most of what forces of the process
            may add, shape (6, n).
        own_load: The same without forces of the process.
        pickup: The preload, simulated; None where the job does not tell enough.
        grip: The places that margins count on.
        pushes: Forces of the process that act while the part hangs on the pads.
        airborne: Whether the part hangs on the pads, sample by sample, shape (n,); between samples that are far apart
            from one end on.
        slips: What looks wrong in the job, a sentence for each code, as `gripmargin.checks.likely` found it.
        not_followed: Why pads and part were not simulated where they meet; empty: they were.
        recorded: Whether the motion is what was recorded of a robot, which may shake as no program asks it to.
        trial: Whether it is a change on trial (`gripmargin.checks.advice`): nobody reads its findings.
        grounds: What results take for granted (`gripmargin.checks.premises`), by their names, of checks asked so far.
        remembered: What was worked out at some cost, by all that it hangs on; cases that are made of this one share it.
    """

    job: Job
    motion: ProgramMotion
    load: FloatArray
    own_load: FloatArray
    pickup: Pickup | None
    grip: Grip
    pushes: tuple[Push, ...] = ()
    airborne: NDArray[np.bool_]
    slips: Mapping[str, str] = field(default_factory=dict)
    not_followed: str = ""
    recorded: bool = False
    trial: bool = False
    grounds: dict[str, tuple[Callable[[Case], Any], ...]] = field(repr=False, default_factory=dict)
    remembered: dict[object, Any] = field(repr=False, default_factory=dict)
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

    def judged(self, works: Iterable[Callable[[Case], Any]]) -> Case:
        """Return what drawings look at once all is judged: no errors of rates, which take the room of all the rest.

        Args:
            works: Pieces of work whose results are taken over.
        """
        drawn = replace(self, motion=replace(self.motion, error=None), remembered={})
        vars(drawn)["_put_down"] = self._put_down
        for work in works:
            drawn.take_over(work, self)
        return drawn

    @property
    def whole(self) -> Backing:
        """All of the pads on the part."""
        return self.grip.whole

    @cached_property
    def putdowns(self) -> tuple[Putdown, ...]:
        """The releases, simulated; empty where the job has no nest face or no release phase, or is `undone`."""
        return self._put_down[0]

    @property
    def undone(self) -> str:
        """Why pads and part were not simulated where they meet, in the tray or in the nest; empty: they were."""
        return self._put_down[1]

    @cached_property
    def _put_down(self) -> tuple[tuple[Putdown, ...], str]:
        if self.not_followed:
            return (), self.not_followed
        try:
            grows = self.pickup is not None and self.pickup.strongest is not None
            pressed = pressed_in_the_carry(self) if grows else ()
            return put_down(self.job, self.motion.at, self.whole.patches, self.pickup, pressed), ""
        except BudgetError as error:
            return (), str(error)

    @cached_property
    def at_best(self) -> Bonded | None:
        """The pads if cells that broke in the press and were pressed on again hold fully; None where there are none."""
        best = None if self.pickup is None else self.pickup.at_best
        return None if best is None else _taken(self.whole, self.grip.bonded.full, self.job.part, best)

    @cached_property
    def added(self) -> tuple[Added, ...]:
        """What forces of the process may add to the load, each combination of them."""
        return added(self.pushes, self.own_load.shape[1])

    def added_at(self, sample: int) -> FloatArray:
        """Return every load that forces of the process may add at a sample, none among them, shape (6, k)."""
        there = [(more.wrench, np.flatnonzero(more.samples == sample)) for more in self.added]
        return np.column_stack([np.zeros(6), *(wrench[:, k] for wrench, k in there)])

    def pushed(self, samples: int | slice | NDArray[np.intp]) -> FloatArray:
        """Return what forces of the process make of the load at some samples, shape (6, m)."""
        some = np.atleast_1d(samples) if not isinstance(samples, slice) else samples
        return np.asarray(self.load[:, some] - self.own_load[:, some])

    def moved(self, motion: ProgramMotion, **changes: Any) -> Case:
        """Return the case with another motion of the tool, whose job and airborne samples are among the changes."""
        new = replace(self, motion=motion, **changes)
        load = part_load(new.job.part, motion.at, new.job.gravity, new.job.air_density)
        pushes = pushes_of(new.job, motion.at, new.whole, new.airborne)
        more = added(pushes, load.shape[1])
        carried = worst_load(new.grip.face, load, more) if more else load
        return replace(new, load=carried, own_load=load, pushes=pushes)

    def standing(self, samples: int | slice | NDArray[np.intp]) -> FloatArray:
        """Return what gravity alone gives of the load at some samples, shape (6, m)."""
        return standing_load(self.job.part, self.motion.at.take(samples), self.job.gravity)

    @cached_property
    def carried(self) -> NDArray[np.intp]:
        """Indices of the samples in which the part is carried."""
        return np.flatnonzero(self.airborne)

    @property
    def hangs_in_carry_alone(self) -> bool:
        """Whether the part hangs on the pads in carry phases only."""
        carry = _with_borders(self.job.phase_map.covers("carry"), self.job.trajectory)
        return bool((self.airborne == carry).all())

    def placed_after(self, sample: int) -> bool:
        """Whether a release begins with what the program gives next after a sample.

        Samples that were put in after the last row of a carry are in no phase.
        """
        own = self.job.trajectory.rows
        following = own[min(int(np.searchsorted(own, sample, side="right")), own.size - 1)]
        return bool(self.job.phase_map.covers("release")[following])

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


@dataclass(frozen=True)
class _Described:
    job: Job
    whole: Backing
    motion: ProgramMotion


def work_out(job: Job, *, motion: ProgramMotion | None = None, trial: bool = False) -> Case:
    """Work out motion, loads and pads of a job.

    Args:
        job: What is asked, of one hold.
        motion: Of the same trajectory and robot, where it has been worked out before; that is then filled already.
        trial: Whether the job is a change on trial.

    Raises:
        InputError: Something in the job does not fit together.
    """
    job = single(job)
    if motion is None and (trajectory := dense(job.trajectory, job.stamps)) is not job.trajectory:
        job = replace(job, trajectory=trajectory)
    whole = Backing(cut_pads(job.gripper.pads, job.part))
    full = tuple(holding_strength(p.pad, job.part, job.gripper) for p in whole.patches)
    motion = motion or motion_of(job)
    load = part_load(job.part, motion.at, job.gravity, job.air_density)
    preload_samples(job)  # phases in no order are refused, whatever else is wrong
    slips = likely.found(_Described(job, whole, motion))
    odd = (said for code, said in likely.unaccepted(slips, job) if code not in likely.AFTERWARDS)
    not_followed = next(odd, "")  # not worth a simulation
    pickup = None
    try:
        pickup = None if not_followed else pick_up(job, motion.at, whole.patches)
    except BudgetError as error:
        not_followed = str(error)
    carry = _with_borders(job.phase_map.covers("carry"), job.trajectory)
    airborne = carry & ~in_the_tray(carry.size, pickup) | in_the_air(job, motion.at, whole.patches, pickup)
    bonded = Bonded(whole=whole, full=full, part=job.part) if pickup is None else _taken(whole, full, job.part, pickup)
    acted_on = [force.at[:2].tolist() for force in job.process if force.at is not None and not force.is_none]
    bonded = replace(bonded, places=tuple((x, y) for x, y in acted_on))
    pushes = pushes_of(job, motion.at, whole, airborne)
    more = added(pushes, load.shape[1])
    grip = grip_of(bonded, every_load(load, airborne, more))
    return Case(
        job=job,
        motion=motion,
        load=worst_load(grip.face, load, more) if more else load,
        own_load=load,
        pickup=pickup,
        grip=grip,
        pushes=pushes,
        airborne=airborne,
        slips=slips,
        not_followed=not_followed,
        trial=trial,
    )


def motion_of(job: Job) -> ProgramMotion:
    """Return the motion over the program of a job, of the frame of its station where it has one."""
    motion = ProgramMotion.of(job.trajectory, job.robot, stamps=job.stamps)
    poses = isinstance(job.trajectory, PoseTrajectory)
    return motion if job.frame is None or not poses else motion.regripped(job.frame)


def dense(trajectory: Trajectory, stamps: Stamps | None) -> Trajectory:
    """Return a program as it is judged: samples of a controller, with those in between that its rates tell."""
    return filled(waited(unpolled(trajectory, stamps)))


def _taken(whole: Backing, full: tuple[Strength, ...], part: Part, pickup: Pickup) -> Bonded:
    """The pads as a press left them."""
    locked = locked_in(whole, [pad.traction for pad in pickup.hard.pads], pickup.bond, pickup.pick.flatness)
    return Bonded(whole=whole, full=full, held=pickup.bond, locked=locked, part=part)


def _with_borders(carry: NDArray[np.bool_], trajectory: Trajectory) -> NDArray[np.bool_]:
    """The carry with the samples next to it where they are far away: somewhere on the way to them it begins or ends."""
    own = trajectory.rows
    out, wide = carry[own], np.diff(trajectory.t[own]) > RESOLVED
    out[:-1] |= carry[own[1:]] & wide
    out[1:] |= carry[own[:-1]] & wide
    every = np.arange(carry.size)
    return out[np.searchsorted(own, every, side="right") - 1] & out[np.searchsorted(own, every)]
