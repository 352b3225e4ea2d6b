"""A trajectory to the tool's motion at its samples, with what is known of it: the whole way, step by step.

1. What is given: `trajectory` and `chain`.
2. When samples were taken: `stamps`.
3. Do given rates follow from the positions: `consistency`.
4. Rates, given or estimated, with their errors: `rates`; where samples are missing, what may have happened: `holes`.
   `joints` and `poses` do these steps for their kind of program.
5. The tool's motion at the samples: `tool_motion`; what errors of the rates do to it: `rate_error`.

Where the file gives all rates, `between` has put samples in before.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.base.stored import parts
from gripmargin.motion.chain import Chain
from gripmargin.motion.holes import rest_without_samples
from gripmargin.motion.joints import Joints
from gripmargin.motion.poses import Poses
from gripmargin.motion.rate_error import RateError
from gripmargin.motion.rates import METHOD
from gripmargin.motion.stamps import Stamps
from gripmargin.motion.tool_motion import ToolMotion
from gripmargin.motion.trajectory import PoseTrajectory, Trajectory


@dataclass(frozen=True, eq=False, kw_only=True)
class ProgramMotion:
    """The tool's motion over a program.

    Attributes:
        at: At the samples.
        given: Whether the file gives the rates.
        error: Errors of estimated rates, or what given accelerations may be exceeded by between samples; None: nothing.
        joint_rates: Joint speeds and accelerations that were used, each of shape (n, joints); None for poses.
        doubts: (first sample, last sample, reason) of stretches that cannot be judged.
        notes: How the rates came about, in sentences.
        references: Published sources of the methods used.
        fastest: Of a stretch of a program, speeds of the tool's origin and of its turning over the whole of it, those
            that no other sample exceeds in both [m/s, rad/s], shape (2, k); None: it is the whole program.
    """

    at: ToolMotion
    given: bool = False
    error: RateError | None = None
    joint_rates: tuple[FloatArray, FloatArray] | None = None
    doubts: tuple[tuple[int, int, str], ...] = ()
    notes: tuple[str, ...] = ()
    references: tuple[str, ...] = ()
    fastest: FloatArray | None = None
    doubtful: NDArray[np.intp] = field(init=False)

    def __post_init__(self) -> None:
        inside = [np.arange(first, last + 1) for first, last, _ in self.doubts]
        object.__setattr__(self, "doubtful", np.unique(np.concatenate([np.zeros(0, dtype=np.intp), *inside])))

    @classmethod
    def of(cls, trajectory: Trajectory, robot: Chain | None, *, stamps: Stamps | None = None) -> ProgramMotion:
        """Work out the motion of a program.

        Args:
            trajectory: The samples.
            robot: Joint trajectories need it.
            stamps: How the time stamps are meant where rates are estimated; None: as the samples show.

        Raises:
            InputError: No robot, another number of joints, too few samples, rates that contradict positions, or stamps
                that are to be a periodic sampler's and are not.
        """
        program = _coordinates(trajectory, robot)
        found = program.rates(stamps)
        t, rates, known, doubts, notes = found.t, found.rates, found.known, found.doubts, found.notes
        first, second, error = rates.first, rates.second, None
        if not known or rates.bias_second.any():
            error = RateError.of(t, rates, program.spin(rates), program.directions, program.names)
        del found, rates  # of a long program they take as much as all that follows
        return cls(
            at=program.tool(t, first, second),
            given=known,
            error=error,
            joint_rates=(first, second) if isinstance(program, Joints) else None,
            doubts=doubts,
            notes=notes,
            references=() if known else (METHOD,),
        )

    def regripped(self, frame: FloatArray) -> ProgramMotion:
        """Return the motion of another frame that is fixed to the tool, with what errors of the rates do to it.

        Args:
            frame: Its pose in the tool frame, shape (4, 4).
        """
        if np.array_equal(frame, np.eye(4)):
            return self
        error = None if self.error is None else self.error.regripped(frame)
        return replace(self, at=self.at.regripped(frame), error=error, fastest=None)

    def speeds(self) -> FloatArray:
        """Return the speeds of `fastest`, of a whole program those at all samples, shape (2, k)."""
        if self.fastest is not None:
            return self.fastest
        return np.stack([np.linalg.norm(rows, axis=1) for rows in (self.at.velocity, self.at.angular_velocity)])

    def doubts_at(self, sample: int) -> list[str]:
        """Return the reasons why a sample cannot be judged."""
        return [reason for first, last, reason in self.doubts if first <= sample <= last]

    def rest_without_samples(self, sample: int) -> tuple[float, float] | None:
        """Return from when to when samples are missing beside one, in a rest that nothing shows; None: nowhere."""
        if self.error is None or self.given or self.doubts_at(sample):
            return None
        return rest_without_samples(self.at.t, sample)

    def acceleration_error(self, sample: int) -> tuple[float, float]:
        """Return one sigma of the error of the tool origin's and of the angular acceleration [m/s^2, rad/s^2]."""
        if self.error is None:
            return 0.0, 0.0
        linear, angular = self.error.sizes(np.array([sample]))[0, :, 0]
        return float(linear), float(angular)

    def error_sentence(self, sample: int) -> str:
        """Return how well the acceleration is known at a sample, in words."""
        if self.error is None or self.given:
            return "the samples are too far apart to tell how high the accelerations between them are"
        if missing := self.rest_without_samples(sample):
            first, last = missing
            return (
                f"no sample from {first:.3f} to {last:.3f} s, at rest before and after: whether it moved there and "
                "back meanwhile is not known"
            )
        (linear, angular), (smooth, turning) = self.error.sizes(np.array([sample]))[:, :, 0]
        if smooth + turning > 2.0 * (linear + angular):
            reason = "the samples are too sparse, or too noisy, to follow how fast the acceleration changes"
        else:
            reason = "the positions are noisy or coarsely rounded"
        return (
            f"the accelerations are estimated, and {reason}: error {linear:.2g} m/s^2 and "
            f"{angular:.2g} rad/s^2 (1 sigma) by noise, up to {smooth:.2g} m/s^2 and {turning:.2g} rad/s^2 by "
            f"sampling and smoothing; most of it from {self.error.most_of_it(sample)}"
        )

    def error_over(self, samples: NDArray[np.intp]) -> str | None:
        """Return the largest errors of the tool's accelerations over some samples, in words; None where none."""
        if self.error is None or self.given:
            return None
        most = [self.error.sizes(samples[part]).max(axis=2) for part in parts(samples.size)]
        (line, turn), (line_bias, turn_bias) = np.max(most, axis=0)
        return (
            f"Over the carry the tool's accelerations are known to {line:.2g} m/s^2 and {turn:.2g} rad/s^2 (1 sigma of "
            f"noise), smoothing and sampling add up to {line_bias:.2g} m/s^2 and {turn_bias:.2g} rad/s^2."
        )

    def better_data(self, sample: int) -> str:
        """Return what data would decide a sample."""
        if self.doubts_at(sample):
            return "give samples (or points with speeds and accelerations) over this stretch"
        if self.given:
            return "sample the program more densely here"
        if missing := self.rest_without_samples(sample):
            first, last = missing
            return (
                f"give the samples from {first:.3f} to {last:.3f} s: export the wait with them, or record it again "
                "without losing any"
            )
        if self.joint_rates is None:
            return "give velocities and accelerations with the poses, or poses with less noise or more digits"
        return "give joint speeds and accelerations with the positions, or positions with less noise or more digits"


def _coordinates(trajectory: Trajectory, robot: Chain | None) -> Joints | Poses:
    if isinstance(trajectory, PoseTrajectory):
        return Poses(trajectory)
    if robot is None:
        raise InputError(trajectory.source, "a joint program without a robot", "the robot it moves")
    return Joints(trajectory, robot)
