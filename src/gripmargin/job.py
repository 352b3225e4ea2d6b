"""A job: everything that is checked together, described by a person or read from a job file."""

from __future__ import annotations

from dataclasses import dataclass, field
from difflib import get_close_matches

import numpy as np
from numpy.typing import NDArray

from gripmargin.arrays import FloatArray, Value, frozen
from gripmargin.errors import InputError, InputErrors
from gripmargin.motion.chain import Chain
from gripmargin.motion.trajectory import JointTrajectory, Trajectory
from gripmargin.workcell import STANDARD_GRAVITY, Gripper, Nest, Part, Phase, PhaseKind, Pick, Stop, Targets

MAX_GRAVITY = 30.0  # [m/s^2]; three times the earth's is a slip of the unit


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
        pick: Where the part is taken from, or None.
        nest: Where it is left, or None.
        stop: How the robot stops, or None.
        joint_limits: Of the robot, or None.
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
    pick: Pick | None = None
    nest: Nest | None = None
    stop: Stop | None = None
    joint_limits: JointLimits | None = None
    assumed: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        gravity = frozen(self.gravity, (3,), "job.gravity")
        size = float(np.linalg.norm(gravity))
        if size > MAX_GRAVITY:
            raise InputError("job.gravity", f"{size:.4g} m/s^2", f"at most {MAX_GRAVITY:g} m/s^2", "check its unit")
        object.__setattr__(self, "gravity", gravity)
        object.__setattr__(self, "phases", tuple(self.phases))
        object.__setattr__(self, "assumed", tuple(self.assumed))
        if isinstance(self.trajectory, JointTrajectory):
            object.__setattr__(self, "trajectory", matched_to_robot(self.trajectory, self.robot))
        if self.robot is not None:
            self._check_joint_counts(self.robot.joints)
        problems = _phase_problems(self.phases, self.trajectory)
        if problems:
            raise InputErrors(problems)

    def _check_joint_counts(self, joints: int) -> None:
        limits = self.joint_limits or JointLimits()
        lists = {f"robot.{key}": getattr(limits, key) for key in ("speed", "acceleration", "jerk")}
        if self.stop is not None:
            lists["stop.axis_deceleration"] = self.stop.axis_deceleration
        for where, values in lists.items():
            if values is not None and len(values) != joints:
                raise InputError(where, f"{len(values)} values", f"{joints}, one a joint of the robot")

    def covers(self, kind: PhaseKind) -> NDArray[np.bool_]:
        """Return which samples lie in phases of a kind, shape (samples,).

        A sample on the border of two phases lies in both. Free are the free phases and the gaps between
        phases. Without phases the whole program is one carry.
        """
        n = self.trajectory.samples
        if not self.phases:
            return np.full(n, kind == "carry")
        mask = np.zeros(n, dtype=bool)
        for phase in self.phases:
            if phase.kind == kind:
                mask |= _mask(phase, self.trajectory)
        if kind == "free":
            for first, last in self.gaps():
                mask[first : last + 1] = True
        return mask

    def gaps(self) -> list[tuple[int, int]]:
        """Return the stretches that no phase covers, as (first sample, last sample)."""
        if not self.phases:
            return []
        bare = ~np.any([_mask(phase, self.trajectory) for phase in self.phases], axis=0)
        edges = np.flatnonzero(np.diff(np.concatenate([[False], bare, [False]]).astype(np.int8)))
        return [(int(first), int(end) - 1) for first, end in edges.reshape(-1, 2)]

    def phase_of_samples(self) -> tuple[PhaseKind, ...]:
        """Return the kind of phase each sample lies in; on the border of two phases, the more demanding one."""
        kinds: list[PhaseKind] = ["free"] * self.trajectory.samples
        order: tuple[PhaseKind, ...] = ("preload", "release", "carry")
        for kind in order:
            for i in np.flatnonzero(self.covers(kind)):
                kinds[i] = kind
        return tuple(kinds)


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


def _mask(phase: Phase, trajectory: Trajectory) -> NDArray[np.bool_]:
    if phase.span is not None:
        start, end = phase.span
        return np.asarray((trajectory.t >= start) & (trajectory.t <= end))
    wanted = set(phase.moves or ())
    labels = trajectory.moves or ()
    return np.fromiter((label in wanted for label in labels), dtype=bool, count=trajectory.samples)


def _phase_problems(phases: tuple[Phase, ...], trajectory: Trajectory) -> list[InputError]:
    problems = []
    for i, phase in enumerate(phases):
        where = f"program.phases[{i}]"
        if phase.moves is None:
            problems += _time_problems(phase, trajectory, where)
        elif trajectory.moves is None:
            problems.append(
                InputError(
                    f"{where}.moves",
                    "labels of moves",
                    f"times, for {trajectory.source} has no labels",
                    "add a column 'move' to the trajectory, or give from and to",
                )
            )
        else:
            problems += _label_problems(phase, trajectory.moves, where)
    if problems:
        return problems
    masks = [_mask(phase, trajectory) for phase in phases]
    for j, later in enumerate(phases):
        for i, earlier in enumerate(phases[:j]):
            if _overlap(earlier, later, masks[i], masks[j], trajectory.t):
                problems.append(
                    InputError(
                        f"program.phases[{j}]",
                        f"a {later.kind} phase that overlaps the {earlier.kind} phase program.phases[{i}]",
                        "phases that do not overlap",
                    )
                )
    return problems


def _time_problems(phase: Phase, trajectory: Trajectory, where: str) -> list[InputError]:
    first, last = float(trajectory.t[0]), float(trajectory.t[-1])
    start, end = phase.span or (first, last)
    found = f"a {phase.kind} phase from {start:g} s to {end:g} s"
    if end <= first or start >= last:
        due = f"times within the program, which runs from {first:g} s to {last:g} s"
        return [InputError(where, found, due)]
    if not _mask(phase, trajectory).any():
        return [InputError(where, f"{found} that covers no sample", "at least one sample")]
    return []


def _label_problems(phase: Phase, labels: tuple[str, ...], where: str) -> list[InputError]:
    known = list(dict.fromkeys(labels))
    problems = []
    for k, move in enumerate(phase.moves or ()):
        if move not in known:
            near = get_close_matches(move, known, n=1)
            shown = ", ".join(f"'{label}'" for label in known[:8]) + (", ..." if len(known) > 8 else "")
            remedy = f"did you mean '{near[0]}'?" if near else ""
            problems.append(
                InputError(f"{where}.moves[{k}]", f"'{move}'", f"a label of the program's moves ({shown})", remedy)
            )
    return problems


def _overlap(a: Phase, b: Phase, in_a: NDArray[np.bool_], in_b: NDArray[np.bool_], t: FloatArray) -> bool:
    if a.span is not None and b.span is not None:
        return max(a.span[0], b.span[0]) < min(a.span[1], b.span[1])
    shared = t[in_a & in_b]
    for span in (a.span, b.span):
        if span is not None:  # the sample on the border may belong to both
            shared = shared[(shared > span[0]) & (shared < span[1])]
    return shared.size > 0
