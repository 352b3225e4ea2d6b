"""A joint program that can be retimed: what may be missing of other programs is there."""

from __future__ import annotations

from dataclasses import dataclass

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError
from gripmargin.checks.case import Case
from gripmargin.motion.chain import Chain
from gripmargin.motion.trajectory import JointTrajectory
from gripmargin.workcell.job import Job


@dataclass(frozen=True, eq=False, kw_only=True)
class JointLaws:
    """The trajectory of a joint program and the limits of the robot that runs it.

    Attributes:
        trajectory: Joint values over time.
        robot: Its chain.
        speed: Limit of each joint [rad/s or m/s], shape (joints,).
        acceleration: Limit of each joint [rad/s^2 or m/s^2], shape (joints,).
        jerk: Limit of each joint [rad/s^3 or m/s^3], shape (joints,), or None: not given.
    """

    trajectory: JointTrajectory
    robot: Chain
    speed: FloatArray
    acceleration: FloatArray
    jerk: FloatArray | None

    @classmethod
    def of(cls, job: Job) -> JointLaws:
        """Take them from a job.

        Raises:
            InputError: A program of poses, or a limit of speed or acceleration that is not given.
        """
        trajectory, limits = job.trajectory, job.joint_limits
        if not isinstance(trajectory, JointTrajectory) or job.robot is None:
            raise InputError(
                trajectory.source,
                "a program of poses",
                "a joint program, for retiming",
                "the limits of the robot that follows the poses are not known here; use the factors by move",
            )
        speed = None if limits is None else limits.speed
        acceleration = None if limits is None else limits.acceleration
        if limits is None or speed is None:
            raise _missing("speed")
        if acceleration is None:
            raise _missing("acceleration")
        return cls(trajectory=trajectory, robot=job.robot, speed=speed, acceleration=acceleration, jerk=limits.jerk)


@dataclass(frozen=True, eq=False, kw_only=True)
class JointProgram:
    """A joint program with its rates.

    Attributes:
        case: The job worked out.
        laws: Trajectory, robot and limits.
        qd: Joint speeds, given or estimated, shape (n, joints).
        qdd: Joint accelerations, likewise.
    """

    case: Case
    laws: JointLaws
    qd: FloatArray
    qdd: FloatArray

    @classmethod
    def of(cls, case: Case) -> JointProgram:
        """Take it from a job worked out.

        Raises:
            InputError: A program of poses, or a limit that is not given.
        """
        laws, rates = JointLaws.of(case.job), case.motion.joint_rates
        if rates is None:
            raise InputError(laws.trajectory.source, "no joint rates", "a joint program")
        return cls(case=case, laws=laws, qd=rates[0], qdd=rates[1])


def _missing(key: str) -> InputError:
    return InputError(
        f"robot.{key}", "nothing", "the limit of each joint, for retiming", f"add {key} to the table [robot]"
    )
