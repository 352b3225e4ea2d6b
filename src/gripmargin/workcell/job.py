"""A job: everything that is checked together, described by a person or read from a job file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cached_property
from typing import Any, get_args

import numpy as np

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError, InputErrors
from gripmargin.base.given import texts
from gripmargin.motion.chain import Chain
from gripmargin.motion.followers import completed
from gripmargin.motion.planned import sample_waypoints
from gripmargin.motion.stamps import Stamps
from gripmargin.motion.trajectory import JointTrajectory, Trajectory
from gripmargin.motion.waypoints import Waypoints
from gripmargin.workcell import (
    STANDARD_AIR_DENSITY,
    STANDARD_GRAVITY,
    Cleaner,
    Flange,
    Gripper,
    Nest,
    PadMaterial,
    Part,
    Phase,
    Pick,
    Process,
    Stop,
    Targets,
)
from gripmargin.workcell.aboard import Aboard
from gripmargin.workcell.fields import Declared, Fault, key, put
from gripmargin.workcell.holds import TABLES, Hold, holds_of, name_problems
from gripmargin.workcell.kinds import (
    LABELS,
    PATH,
    Choice,
    Flag,
    Named,
    Number,
    OfJoint,
    Row,
    Several,
    Text,
    Within,
    checked,
)
from gripmargin.workcell.phases import PhaseMap, phase_problems
from gripmargin.workcell.process import process_problems
from gripmargin.workcell.stations import at_stations, holds_at

WRIST_AXES = 3  # that meet in a point
STAMPS = get_args(Stamps)
ACCEPTABLE = (  # what looks wrong and may be meant: `gripmargin.checks.plausible` has a rule for each
    "density",
    "inertia",
    "centre_of_mass",
    "pad_material",
    "surface_factor",
    "pad_places",
    "gravity",
    "air_density",
    "pick_place",
    "nest_place",
    "phase_order",
    "spacing",
    "joint_travel",
    "scatter",
    "tool_travel",
    "short_carry",
    "from_below",
    "never_released",
    "unnamed_moves",
    "other_place",
    "moving_start",
    "joint_speed",
    "fouling",
    "polled",
    "target",
)
MAX_GRAVITY = 30.0  # [m/s^2]; three times the earth's is a slip of the unit
MAX_AIR_DENSITY = 10.0  # [kg/m^3]; eight times that at sea level is a slip of the unit


def _accepted(value: Any, where: str) -> tuple[str, ...]:
    return tuple(checked(Choice(ACCEPTABLE), code, f"{where}[{i}]") for i, code in enumerate(texts(value, where)))


class JointLimits(Declared, called="robot"):
    """What the joints may do, for tuning.

    Attributes:
        speed: Limit of each joint: what full speed is at a stop; kept by tuning.
        acceleration: Limit of each joint, kept by tuning.
        jerk: Limit of each joint, kept by tuning.
    """

    speed: FloatArray | None = key(
        Row(OfJoint("speed")), "stop, tune", default=None, absent="the highest speed of the program"
    )
    acceleration: FloatArray | None = key(Row(OfJoint("acceleration")), "tune", default=None)
    jerk: FloatArray | None = key(Row(OfJoint("jerk")), "tune", default=None)


class Job(Declared, called="job"):
    """A robot program with the part, the pads and the targets it is checked against.

    Attributes:
        name: What the report calls it.
        gripper: The pads.
        materials: Pad materials at hand beside those of the pads: what `tune` and `limits` choose from.
        part: The part as gripped; of several in `parts` the first.
        trajectory: The program; it follows from way points where these are given.
        waypoints: A program that is not sampled yet, in place of a trajectory; it is judged under several time laws.
        robot: The arm with its base in the world and the tool on its end; joint programs need it.
        phases: What happens when; empty: the whole program is one carry.
        targets: Margins to reach.
        gravity: In the world frame.
        air_density: Of the air around a part with `drag_area`.
        accept: What looks wrong and is meant, by the codes that the report names; it is said in every report.
        pick: Where the part is taken from.
        nest: Where it is left.
        parts: Several parts, in place of `part`: names by which phases call them.
        picks: Several places to take from, in place of `pick`, likewise.
        nests: Several places to leave at, in place of `nest`, likewise.
        cleaners: What the pads are cleaned on.
        process: Forces of the process that act on the part while it is carried.
        stop: How the robot stops.
        joint_limits: Of the robot.
        flange: What the robot may carry at its flange.
        stamps: What time stamps mean where rates are estimated, in the program and in a recording of it.
        recording: What was recorded while the robot ran the program, in any format of trajectories.
        recording_offset: By how much the recording's clock leads the program's.
        assumed: What was not given and was taken for granted, one sentence each.
        counted: Whether picks, cleanings and places of the program before its hold are counted already.
        unplaced: Why its recording is not placed beside a whole program of several holds; None: it is.
        uncleaned: Why the pads are not known to be as clean and whole as is counted, one sentence each.
        elsewhere: Where the part comes down on the place of another hold, in a sentence; empty: nowhere.
        station: Of a job of one station of the gripper: its name.
        frame: Of a job of one station: its frame in the tool frame, of which a program or a recording of poses tells;
            the robot's tool ends at it already.
        meanwhile: Times in which other stations press or let go beside the pads of this one: from, to [s].
        aboard: What other stations have on their pads meanwhile.

    Raises:
        InputError: No program, no part, a joint program without its robot, another number of joints than the robot's,
            phases that overlap or that the program does not have, a part that is not let go before the next one,
            gravity out of bounds.
    """

    name: str = key(Text(), "names")
    gripper: Gripper = key()
    materials: tuple[PadMaterial, ...] = key(Several(PadMaterial), default=())
    part: Part = key(default=None)
    trajectory: Trajectory = key(PATH, "all", default=None, absent="`waypoints`", table="program")
    waypoints: Waypoints | None = key(
        PATH, "all", default=None, absent="`trajectory`", table="program", after="trajectory"
    )
    robot: Chain | None = key(default=None)
    phases: tuple[Phase, ...] = key(Several(Phase), "all", default=(), table="program")
    targets: Targets = key(default_factory=Targets)
    gravity: FloatArray = key(
        Row(Number("acceleration"), 3),
        "all",
        default=(0.0, 0.0, -STANDARD_GRAVITY),
        absent=f"{STANDARD_GRAVITY} m/s² along -z",
    )
    air_density: float = key(
        Number("density", least=0, most=MAX_AIR_DENSITY),
        "hold, swing, settle",
        default=STANDARD_AIR_DENSITY,
        absent=f"{STANDARD_AIR_DENSITY} kg/m³",
    )
    accept: tuple[str, ...] = key(Row(Choice(ACCEPTABLE), check=_accepted), "all", default=())
    pick: Pick | None = key(default=None)
    nest: Nest | None = key(default=None)
    parts: Mapping[str, Part] = key(Named(Within(Part)), default_factory=dict)
    picks: Mapping[str, Pick] = key(Named(Within(Pick)), default_factory=dict)
    nests: Mapping[str, Nest] = key(Named(Within(Nest)), default_factory=dict)
    cleaners: tuple[Cleaner, ...] = key(Several(Cleaner), default=())
    process: tuple[Process, ...] = key(Several(Process), default=())
    stop: Stop | None = key(default=None)
    joint_limits: JointLimits | None = key(default=None)
    flange: Flange | None = key(default=None)
    stamps: Stamps | None = key(
        Choice(STAMPS, " or ".join(map(repr, STAMPS))),
        "all",
        default=None,
        absent="as the samples show",
        table="program",
    )
    recording: Trajectory | None = key(PATH, "recorded", default=None, table="program")
    recording_offset: float | None = key(
        Number("time", what="a finite time"), "recorded", default=None, absent="found", table="program"
    )
    assumed: tuple[str, ...] = key(LABELS, default=())
    counted: bool = key(Flag(), default=False)
    unplaced: str | None = key(Text(), default=None)
    uncleaned: tuple[str, ...] = key(LABELS, default=())
    elsewhere: str = key(default="")
    station: str = key(default="")
    frame: FloatArray | None = key(default=None)
    meanwhile: tuple[tuple[float, float], ...] = key(default=())
    aboard: tuple[Aboard, ...] = key(default=())

    def __post_init__(self) -> None:
        self.check_classes()
        if self.trajectory is None:
            if self.waypoints is None:
                raise InputError("program", "neither trajectory nor waypoints", "one of the two")
            put(self, "trajectory", sample_waypoints(self.waypoints, robot=self.robot))
        self._take_first_part()
        for name in ("trajectory", "recording"):
            trajectory = getattr(self, name)
            if isinstance(trajectory, JointTrajectory):
                put(self, name, matched_to_robot(trajectory, self.robot))
        super().__post_init__()
        problems = [*process_problems(self.process, self.trajectory)]
        if not self.by_station:
            problems += phase_problems(self.phases, self.trajectory)
        problems = problems or [*name_problems(self)]
        if problems:
            raise InputErrors(problems)
        _ = self.holds  # phases in no order are refused

    def _take_first_part(self) -> None:
        """Refuse one part beside several, or none."""
        for one, several in TABLES.items():
            alone, named = getattr(self, one), getattr(self, several)
            first = next(iter(named.values()), None) if isinstance(named, Mapping) else None
            if alone is not None and first is not None and alone != first:
                remedy = f"move what stands in {one} to {several}, with a name"
                raise InputError(several, f"{several} beside {one}", "one of the two", remedy)
        if self.part is None:
            if not self.parts:
                raise InputError("part", "nothing", "the part as gripped, or several in parts")
            put(self, "part", next(iter(self.parts.values())))

    def place(self, name: str) -> str:
        """Return what messages call a field; of a value within, its name is given in full."""
        return name if "." in name else f"{self.keys[name].table or self.called}.{name}"

    def faults(self) -> Iterator[Fault]:
        """Gravity of no planet, an offset of no recording, lists that do not go with the robot's joints."""
        size = float(np.linalg.norm(self.gravity))
        if size > MAX_GRAVITY:
            yield "gravity", f"{size:.4g} m/s^2", f"at most {MAX_GRAVITY:g} m/s^2", "check its unit"
        if self.recording_offset is not None and self.recording is None:
            remedy = "add program.recording, or leave the offset out"
            yield "recording_offset", "an offset without a recording", "a recording", remedy
        for i, force in enumerate(self.process):
            if force.frame == "nest" and self.nest is None and not self.nests:
                yield f"process[{i}].frame", "the nest's axes without a nest", "a nest, or tool or world"
        yield from self._cleaner_faults()
        if self.waypoints is not None:
            yield from self._waypoint_faults(self.waypoints)
        if self.robot is not None:
            yield from self._joint_faults(self.robot.joints)
        if self.flange is not None:
            yield from self._wrist_faults(self.flange)

    def _joint_faults(self, joints: int) -> Iterator[Fault]:
        limits = self.joint_limits or JointLimits()
        lists = {f"robot.{name}": getattr(limits, name) for name in limits.keys}
        if self.stop is not None:
            lists["stop.axis_deceleration"] = self.stop.axis_deceleration
            for i, figure in enumerate(self.stop.measured):
                if figure.axis is not None and figure.axis > joints:
                    yield f"stop.measured[{i}].axis", f"{figure.axis}", f"at most {joints}, the last joint"
        for where, values in lists.items():
            if values is not None and len(values) != joints:
                yield where, f"{len(values)} values", f"{joints}, one a joint of the robot"

    def _cleaner_faults(self) -> Iterator[Fault]:
        names = [cleaner.name for cleaner in self.cleaners]
        if again := [name for i, name in enumerate(names) if name in names[:i]]:
            yield "cleaners", f"two cleaners of the name '{again[0]}'", "a name of its own for each"
        for i, phase in enumerate(self.phases):
            where, known = f"program.phases[{i}].cleaner", ", ".join(f"'{name}'" for name in names) or "none"
            if phase.cleaner is not None and phase.cleaner not in names:
                yield where, f"'{phase.cleaner}'", f"a cleaner of the job ({known})"
            elif phase.kind == "clean" and phase.cleaner is None and len(names) > 1:
                yield where, "nothing", f"which of the job's cleaners ({known})"

    def _waypoint_faults(self, waypoints: Waypoints) -> Iterator[Fault]:
        if self.trajectory.source != waypoints.source:
            yield "waypoints", "way points beside a trajectory", "one of the two"
        for i, phase in enumerate(self.phases):
            if phase.moves is None:
                due = "moves: with way points its times depend on the time law"
                yield f"program.phases[{i}]", "a phase by times", due
        for i, force in enumerate(self.process):
            if force.moves is None:
                due = "moves: with way points its times depend on the time law"
                yield f"process[{i}]", "a force by times", due
        if self.recording is not None:
            remedy = "check what was recorded by itself: give it as program.trajectory"
            yield "recording", "a recording beside way points, whose time law is not known", "none", remedy

    def _wrist_faults(self, flange: Flange) -> Iterator[Fault]:
        by_joints = isinstance(self.trajectory, JointTrajectory) and self.robot is not None
        turns = self.robot.revolute if by_joints and self.robot is not None else (True,) * WRIST_AXES
        axes = "the joints of the robot" if by_joints else "the axes of a wrist, for a program of poses"
        for name in ("moment", "inertia", "peak_moment"):
            values = () if getattr(flange, name) is None else getattr(flange, name)
            first = len(turns) - len(values)
            if first < 0:
                yield f"flange.{name}", f"{len(values)} values", f"at most {len(turns)}, {axes}"
            for number in (i + 1 for i in range(first, len(turns)) if not turns[i]):
                due = "values of turning axes, the last one for the last axis"
                yield f"flange.{name}", f"a value for joint {number}, which slides", due

    def cleaner_of(self, phase: Phase) -> Cleaner | None:
        """Return what the pads are cleaned on in a clean phase; None where the job says nothing of it."""
        named = [cleaner for cleaner in self.cleaners if phase.cleaner in (None, cleaner.name)]
        return named[0] if named else None

    @cached_property
    def holds(self) -> tuple[Hold, ...]:
        """The holds of the program, one at least."""
        return holds_at(self.stations) if self.by_station else holds_of(self)

    @property
    def by_station(self) -> bool:
        """Whether several parts may be on the gripper at a time, each on the pads of its station."""
        return bool(self.gripper.station_names) or any(
            each.station for several in (self.phases, self.process) for each in several
        )

    @cached_property
    def stations(self) -> Mapping[str, Job]:
        """What is asked of each station whose parts the phases name, as jobs of their own."""
        return at_stations(self)

    @cached_property
    def phase_map(self) -> PhaseMap:
        """Which samples lie in which phase."""
        return PhaseMap(self.phases, self.trajectory)


def matched_to_robot(trajectory: JointTrajectory, robot: Chain | None) -> JointTrajectory:
    """Return a joint trajectory with its columns in the robot's order.

    Raises:
        InputError: No robot, another number of joints, or names that do not match.
    """
    source = trajectory.source
    if robot is None:
        found, due = "a joint program without a robot", "the robot it moves"
        raise InputError(source, found, due, "add the table [robot] to the job")
    trajectory = completed(trajectory, robot)
    if trajectory.names:
        if not all(robot.names):
            due = f"a robot whose {robot.joints} joints have names; those of {robot.source} have none"
            remedy = "name them in the order of the robot's axes ([robot] joint_names)"
            raise InputError(f"{source} joint names", ", ".join(trajectory.names), due, remedy)
        trajectory = trajectory.in_order_of(robot.names)
    columns = trajectory.q.shape[1]
    if columns != robot.joints:
        due, remedy = (
            f"{robot.joints}, the joints of {robot.source}",
            "check the robot (and its end link) and the columns",
        )
        raise InputError(source, f"{columns} joint columns", due, remedy)
    return trajectory
