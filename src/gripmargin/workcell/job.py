"""A job: everything that is checked together, described by a person or read from a job file."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import get_args

import numpy as np

from gripmargin.base.arrays import FloatArray, Value, frozen
from gripmargin.base.errors import InputError, InputErrors
from gripmargin.motion.chain import Chain
from gripmargin.motion.stamps import Stamps
from gripmargin.motion.trajectory import JointTrajectory, Trajectory
from gripmargin.workcell import (
    STANDARD_AIR_DENSITY,
    STANDARD_GRAVITY,
    Flange,
    Gripper,
    Nest,
    Part,
    Phase,
    Pick,
    Stop,
    Targets,
)
from gripmargin.workcell.fields import positive
from gripmargin.workcell.phases import PhaseMap, phase_problems

WRIST_AXES = 3  # that meet in a point
MAX_GRAVITY = 30.0  # [m/s^2]; three times the earth's is a slip of the unit
MAX_AIR_DENSITY = 10.0  # [kg/m^3]; eight times that at sea level is a slip of the unit


@dataclass(frozen=True, eq=False, kw_only=True)
class JointLimits(Value):
    """What the joints may do, for tuning.

    Attributes:
        speed: [rad/s or m/s], shape (joints,), or None.
        acceleration: [rad/s^2 or m/s^2], shape (joints,), or None.
        jerk: [rad/s^3 or m/s^3], shape (joints,), or None.
    """

    speed: FloatArray | None = None
    acceleration: FloatArray | None = None
    jerk: FloatArray | None = None

    def __post_init__(self) -> None:
        for key in ("speed", "acceleration", "jerk"):
            value = getattr(self, key)
            if value is None:
                continue
            limits = frozen(value, (None,), f"robot.{key}")
            if not (limits > 0).all():
                raise InputError(f"robot.{key}", f"{limits.min():g}", "limits above 0")
            object.__setattr__(self, key, limits)


@dataclass(frozen=True, eq=False, kw_only=True)
class Job(Value):
    """A robot program with the part, the pads and the targets it is checked against.

    Attributes:
        name: What the reports call it.
        gripper: The pads.
        part: The part as gripped.
        trajectory: The program.
        robot: The arm with its base in the world and the tool on its end; joint programs need it.
        phases: What happens when; empty: the whole program is one carry.
        targets: Margins to reach.
        gravity: In the world frame [m/s^2], shape (3,).
        air_density: [kg/m^3]; counts where the part has a drag area.
        pick: Where the part is taken from, or None.
        nest: Where it is left, or None.
        stop: How the robot stops, or None.
        joint_limits: Of the robot, or None.
        flange: What the robot may carry at its flange, or None.
        stamps: How the time stamps of the program, and of the recording, are meant: "as given", "periodic", or None:
            as the samples show.
        recording: What the robot did when it ran the program, or None.
        recording_offset: Time by which the recording's clock leads that of the program [s]; None: it is found.
        assumed: What was not given and was taken for granted, one sentence each.

    Raises:
        InputError: A joint program without its robot, another number of joints than the robot's, phases
            that overlap or that the program does not have, gravity out of bounds.
    """

    name: str
    gripper: Gripper
    part: Part
    trajectory: Trajectory
    robot: Chain | None = None
    phases: tuple[Phase, ...] = ()
    targets: Targets = field(default_factory=Targets)
    gravity: FloatArray = (0.0, 0.0, -STANDARD_GRAVITY)  # type: ignore[assignment]
    air_density: float = STANDARD_AIR_DENSITY
    pick: Pick | None = None
    nest: Nest | None = None
    stop: Stop | None = None
    joint_limits: JointLimits | None = None
    flange: Flange | None = None
    stamps: Stamps | None = None
    recording: Trajectory | None = None
    recording_offset: float | None = None
    assumed: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        gravity = frozen(self.gravity, (3,), "job.gravity")
        size = float(np.linalg.norm(gravity))
        if size > MAX_GRAVITY:
            raise InputError("job.gravity", f"{size:.4g} m/s^2", f"at most {MAX_GRAVITY:g} m/s^2", "check its unit")
        object.__setattr__(self, "gravity", gravity)
        density = positive(self.air_density, "job.air_density", "kg/m^3", zero=True)
        if density > MAX_AIR_DENSITY:
            raise InputError("job.air_density", f"{density:g} kg/m^3", f"at most {MAX_AIR_DENSITY:g} kg/m^3")
        object.__setattr__(self, "air_density", density)
        object.__setattr__(self, "phases", tuple(self.phases))
        object.__setattr__(self, "assumed", tuple(self.assumed))
        if isinstance(self.trajectory, JointTrajectory):
            object.__setattr__(self, "trajectory", matched_to_robot(self.trajectory, self.robot))
        if isinstance(self.recording, JointTrajectory):
            object.__setattr__(self, "recording", matched_to_robot(self.recording, self.robot))
        self._check_recording()
        if self.robot is not None:
            self._check_joint_counts(self.robot.joints)
        if self.flange is not None:
            self._check_wrist(self.flange)
        problems = phase_problems(self.phases, self.trajectory)
        if problems:
            raise InputErrors(problems)

    def _check_recording(self) -> None:
        if self.stamps is not None and self.stamps not in get_args(Stamps):
            due = " or ".join(repr(word) for word in get_args(Stamps))
            raise InputError("program.stamps", f"{self.stamps!r}", due)
        if self.recording_offset is None:
            return
        if self.recording is None:
            raise InputError(
                "program.recording_offset",
                "an offset without a recording",
                "a recording",
                "add program.recording, or leave the offset out",
            )
        if not np.isfinite(self.recording_offset):
            raise InputError("program.recording_offset", f"{self.recording_offset}", "a finite time [s]")

    def _check_joint_counts(self, joints: int) -> None:
        limits = self.joint_limits or JointLimits()
        lists = {f"robot.{key}": getattr(limits, key) for key in ("speed", "acceleration", "jerk")}
        if self.stop is not None:
            lists["stop.axis_deceleration"] = self.stop.axis_deceleration
            for i, figure in enumerate(self.stop.measured):
                if figure.axis is not None and figure.axis > joints:
                    raise InputError(f"stop.measured[{i}].axis", f"{figure.axis}", f"at most {joints}, the last joint")
        for where, values in lists.items():
            if values is not None and len(values) != joints:
                raise InputError(where, f"{len(values)} values", f"{joints}, one a joint of the robot")

    def _check_wrist(self, flange: Flange) -> None:
        by_joints = isinstance(self.trajectory, JointTrajectory) and self.robot is not None
        turns = self.robot.revolute if by_joints and self.robot is not None else (True,) * WRIST_AXES
        for key in ("moment", "inertia", "peak_moment"):
            values = getattr(flange, key)
            if values is None:
                continue
            if len(values) > len(turns):
                axes = "the joints of the robot" if by_joints else "the axes of a wrist, for a program of poses"
                raise InputError(f"flange.{key}", f"{len(values)} values", f"at most {len(turns)}, {axes}")
            sliding = [i + 1 for i in range(len(turns) - len(values), len(turns)) if not turns[i]]
            if sliding:
                raise InputError(
                    f"flange.{key}",
                    f"a value for joint {sliding[0]}, which slides",
                    "values of turning axes, the last one for the last axis",
                )

    @cached_property
    def phase_map(self) -> PhaseMap:
        """Which samples lie in which phase."""
        return PhaseMap(self.phases, self.trajectory)


def matched_to_robot(trajectory: JointTrajectory, robot: Chain | None) -> JointTrajectory:
    """Return a joint trajectory with its columns in the robot's order.

    Raises:
        InputError: No robot, another number of joints, or names that do not match.
    """
    if robot is None:
        raise InputError(
            trajectory.source,
            "a joint program without a robot",
            "the robot it moves",
            "add the table [robot] to the job",
        )
    if trajectory.names:
        if not all(robot.names):
            raise InputError(
                f"{trajectory.source} joint names",
                ", ".join(trajectory.names),
                f"a robot whose {robot.joints} joints have names; those of {robot.source} have none",
                "name them in the order of the robot's axes ([robot] joint_names)",
            )
        trajectory = trajectory.in_order_of(robot.names)
    if trajectory.q.shape[1] != robot.joints:
        raise InputError(
            trajectory.source,
            f"{trajectory.q.shape[1]} joint columns",
            f"{robot.joints}, the joints of {robot.source}",
            "check the robot (and its end link) and the columns",
        )
    return trajectory
