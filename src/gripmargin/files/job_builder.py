"""The valid tables of a job file into a job, with the files they name."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from difflib import get_close_matches
from functools import partial
from pathlib import Path
from typing import Any, Final, TypeVar

from gripmargin.base.errors import InputError, InputErrors
from gripmargin.files.job_assumptions import assumptions
from gripmargin.files.job_keys import Source
from gripmargin.files.job_schema import JobFile, Table, key_path
from gripmargin.files.job_values import OfOneJoint
from gripmargin.files.trajectory_file import read_trajectory
from gripmargin.files.waypoint_file import read_waypoints
from gripmargin.motion.chain import Chain
from gripmargin.motion.planned import sample_waypoints
from gripmargin.motion.still import hanging_still
from gripmargin.motion.trajectory import JointTrajectory, Trajectory
from gripmargin.motion.waypoints import Waypoints
from gripmargin.workcell import Cleaner, Flange, Gripper, Nest, Pad, PadMaterial, Part, Pick, Stop, StopFigure, Targets
from gripmargin.workcell.fields import Declared
from gripmargin.workcell.job import Job, JointLimits
from gripmargin.workcell.part import uniform_plate

_PLATE: Final = {
    ("com", "inertia"): "The part's centre of mass and inertia are those of a uniform plate ({of}).",
    ("com",): "The part's centre of mass is that of a uniform plate ({of}).",
    ("inertia",): "The part's inertia is that of a uniform plate ({of}) about the given centre of mass.",
}

T = TypeVar("T")
D = TypeVar("D", bound=Declared)


def build_job(file: Path, tables: Table) -> Job:
    """Build a job from the valid tables of a job file, and read the files they name.

    In a job without a program the part hangs still on its pads.

    Raises:
        InputErrors: All faults found, each with file and key.
    """
    return _Builder(file, tables).job()


class _Builder:
    """Builds the job from the valid tables; goes on after a fault, to report all of them."""

    def __init__(self, file: Path, tables: Table) -> None:
        self.file = file
        self.tables = tables
        self.problems: list[InputError] = []
        self.assumed: list[str] = []

    def job(self) -> Job:
        """Return the job.

        Raises:
            InputErrors: All faults found.
        """
        tables = self.tables
        robot = None if tables.program is None else self._robot()
        materials = self._materials()
        values: dict[str, Any] = {
            "gripper": self._gripper(materials),
            "materials": tuple(material for material in materials.values() if material is not None),
            "part": None if tables.part is None else self._part("part", tables.part),
            "parts": self._named("parts", self._part),
            "pick": self._value("pick", Pick),
            "picks": self._named("picks", partial(self._made, Pick)),
            "nest": self._value("nest", Nest),
            "nests": self._named("nests", partial(self._made, Nest)),
            "cleaners": self._cleaners(),
            "process": tuple(tables.process or ()),
            "stop": self._stop(robot),
            "joint_limits": self._limits(robot),
            "flange": self._value("flange", Flange),
            "targets": self._value("targets", Targets) or Targets(),
            "robot": robot,
        }
        values |= tables.job.given(Job)
        if tables.program is not None:
            values |= self._program(tables.program, robot)
        else:
            values["trajectory"] = hanging_still(values.get("gravity", (0.0, 0.0, -1.0)))
        self._refuse()
        job = self._attempt("job", lambda: Job(**values))
        if job is None:
            raise InputErrors(self.problems)
        return replace(job, assumed=(*self.assumed, *assumptions(job, tables)))

    def _program(self, table: Table, robot: Chain | None) -> dict[str, Any]:
        """The values of the program's table, its files read."""
        trajectory = recording = waypoints = None
        for key, what in {"recording_topic": "a topic", "recording_columns": "columns"}.items():
            if getattr(table, key) is not None and table.recording is None:
                remedy = f"add program.recording, or leave the {what.split()[-1]} out"
                self._fault(f"program.{key}", f"{what} without a recording", "a recording", remedy)
        if self.tables.robot is None or robot is not None:
            trajectory = self._trajectory(robot, table, "trajectory", "topic", "columns")
            waypoints = self._waypoints(robot, table.waypoints)
            if waypoints is not None:
                trajectory = self._attempt(None, partial(sample_waypoints, waypoints, robot=robot))
            recording = self._trajectory(robot, table, "recording", "recording_topic", "recording_columns")
        if (table.trajectory is None) == (table.waypoints is None):
            found = "neither trajectory nor waypoints" if table.trajectory is None else "both trajectory and waypoints"
            self._fault("program", found, "one of the two")
        if isinstance(trajectory, JointTrajectory) and self.tables.robot is None:
            self._fault("robot", "no robot", "the robot that this joint program moves", "add the table [robot]")
        return {**table.given(Job), "trajectory": trajectory, "waypoints": waypoints, "recording": recording}

    def _attempt(self, key: str | None, make: Callable[[], T], own: str = "") -> T | None:
        """Make something; a fault is noted under the key (None: it names its own file)."""
        try:
            return make()
        except InputErrors as errors:
            found: Sequence[InputError] = errors.problems
        except InputError as error:
            found = [error]
        for problem in found:
            where = problem.where
            if key is not None:
                inner = where.removeprefix(own) if own and where.startswith(own) else ""
                table = re.split(r"[.\[]", where)[0]
                full = f"{key}.{inner}" if inner else where if table in JobFile.model_fields else key
                where = f"{self.file}: {full}"
            self.problems.append(type(problem)(where, problem.found, problem.expected, problem.remedy))
        return None

    def _fault(self, key: str, found: str, expected: str, remedy: str = "") -> None:
        self.problems.append(InputError(f"{self.file}: {key}", found, expected, remedy))

    def _refuse(self) -> None:
        if self.problems:
            raise InputErrors(self.problems)

    def _value(self, name: str, kind: type[D]) -> D | None:
        """The value of a table, or None where there is none, or where it is at fault."""
        table = getattr(self.tables, name)
        return None if table is None else self._made(kind, name, table)

    def _made(self, kind: type[D], key: str, table: Table) -> D | None:
        """The value of a table at a key; None where it is at fault."""
        return self._attempt(key, lambda: kind(**table.given(kind)), f"{kind.called}.")

    def _named(self, name: str, make: Callable[[str, Table], T | None]) -> dict[str, T]:
        """The values of several tables by their names, without those that are at fault."""
        tables = getattr(self.tables, name) or {}
        made = {each: make(key_path((name, each)), table) for each, table in tables.items()}
        return {each: value for each, value in made.items() if value is not None}

    def _robot(self) -> Chain | None:
        source = self._value("robot", Source)
        if source is None:
            return None
        chain = self._attempt(None if source.urdf else "robot.model", lambda: _chain(self.file.parent, source))
        if chain is None:
            return None
        names = source.joint_names
        if names is not None and (len(names) != chain.joints or len(set(names)) != len(names)):
            found = f"{len(names)} names" if len(names) != chain.joints else "a name twice"
            self._fault("robot.joint_names", found, f"{chain.joints} names, one a joint of {chain.source}")
            return None
        if names is not None:
            chain = replace(chain, names=names)
        if source.tool is None:
            self.assumed.append("robot.tool is not given: the tool frame is the end of the robot's chain.")
        return chain.mounted(base=source.base, tool=source.tool)

    def _materials(self) -> dict[str, PadMaterial | None]:
        made: dict[str, PadMaterial | None] = {}
        for name, table in self.tables.materials.items():
            make = partial(PadMaterial, name=name, **table.given(PadMaterial))
            made[name] = self._attempt(key_path(("materials", name)), make, f"{name}.")
        return made

    def _cleaners(self) -> tuple[Cleaner, ...]:
        made = []
        for name, table in (self.tables.cleaners or {}).items():
            make = partial(Cleaner, name=name, **table.given(Cleaner))
            made.append(self._attempt(key_path(("cleaners", name)), make, f"{name}."))
        return tuple(cleaner for cleaner in made if cleaner is not None)

    def _gripper(self, materials: dict[str, PadMaterial | None]) -> Gripper | None:
        pads = []
        table = self.tables.gripper
        for i, pad in enumerate(table.pads):
            key = f"gripper.pads[{i}]"
            if pad.material not in materials:
                near = get_close_matches(pad.material, list(materials), n=1)
                known = ", ".join(f"'{name}'" for name in list(materials)[:8])
                remedy = f"did you mean '{near[0]}'?" if near else ""
                self._fault(f"{key}.material", f"'{pad.material}'", f"a material of the job ({known})", remedy)
                continue
            material = materials[pad.material]
            if material is None:
                continue
            made = self._attempt(f"{key}.outline" if pad.shape == "polygon" else key, partial(_pad, pad, material))
            if made is not None:
                pads.append(made)
        if len(pads) < len(table.pads):
            return None
        return self._attempt("gripper", lambda: Gripper(**{**table.given(Gripper), "pads": pads}))

    def _part(self, key: str, table: Table) -> Part | None:
        """The part of a table at a key; None where it is at fault."""
        given = table.given(Part)
        missing = tuple(name for name in ("com", "inertia") if name not in given)
        if missing:
            if table.outline is None or table.thickness is None:
                remedy = f"or give {key}.outline and {key}.thickness: of a uniform plate it is worked out"
                for name in missing:
                    self._fault(f"{key}.{name}", "nothing", "a value, for this key is required", remedy)
                return None
            components = given.get("components", ())
            plate = self._attempt(
                f"{key}.outline", lambda: uniform_plate(table.mass, table.outline, table.thickness, components)
            )
            if plate is None:
                return None
            given = dict(zip(("com", "inertia"), plate, strict=True)) | given
            said = _PLATE[missing].format(of=f"outline, thickness{', components' * bool(components)}")
            self.assumed.append(said if key == "part" else f"{said.removesuffix('.')}: {key}.")
        part = self._attempt(key, lambda: Part(**given), "part.")
        if part is None or table.at is None:
            return part
        return self._attempt(f"{key}.at", lambda: part.placed(table.at))

    def _trajectory(self, robot: Chain | None, table: Table, *keys: str) -> Trajectory | None:
        """The trajectory that the first of some keys of the program names; the others say how it is read."""
        name, topic, columns = (getattr(table, key) for key in keys)
        if name is None:
            return None
        read = partial(read_trajectory, robot=robot, topic=topic, columns=columns, recorded=keys[0] == "recording")
        return self._attempt(None, lambda: read(self.file.parent / name))

    def _waypoints(self, robot: Chain | None, name: str | None) -> Waypoints | None:
        return (
            None if name is None else self._attempt(None, lambda: read_waypoints(self.file.parent / name, robot=robot))
        )

    def _stop(self, robot: Chain | None) -> Stop | None:
        table = self.tables.stop
        if table is None:
            return None
        given = table.given(Stop)
        self._check_joints("stop.axis_deceleration", table.axis_deceleration, robot)
        figures = given.get("measured", ())
        for i, figure in enumerate(figures):
            if figure.distance is not None and figure.axis is not None:
                self._check_joint(f"stop.measured[{i}].distance", figure.distance, figure.axis, robot)
        given["measured"] = [StopFigure(**figure.given(StopFigure)) for figure in figures]
        return self._attempt("stop", lambda: Stop(**given))

    def _limits(self, robot: Chain | None) -> JointLimits | None:
        given = {} if self.tables.robot is None else self.tables.robot.given(JointLimits)
        for name, values in given.items():
            self._check_joints(f"robot.{name}", values, robot)
        return self._attempt("robot", lambda: JointLimits(**given)) if given else None

    def _check_joints(self, key: str, values: Sequence[OfOneJoint] | None, robot: Chain | None) -> None:
        if values is not None and robot is not None and len(values) == robot.joints:
            for i, value in enumerate(values):
                self._check_joint(f"{key}[{i}]", value, i + 1, robot)

    def _check_joint(self, key: str, value: OfOneJoint, number: int, robot: Chain | None) -> None:
        """Note a fault where a value is not of the dimension that its joint, numbered from 1, asks for."""
        if robot is not None and number <= robot.joints and value.turns != robot.revolute[number - 1]:
            joint = f"joint {number}, which {'slides' if value.turns else 'turns'}"
            self._fault(key, f"a value of {value.dimension}", f"one of {value.other} for {joint}")


def _chain(folder: Path, source: Source) -> Chain:
    if source.urdf is not None:
        from gripmargin.files.urdf import read_urdf  # noqa: PLC0415 - XML is only needed here

        return read_urdf(
            folder / source.urdf,
            end_link=source.end_link,
            base_link=source.base_link,
            arguments=source.xacro_arguments,
            packages={name: folder / each for name, each in (source.packages or {}).items()},
        )
    from gripmargin.files.robots import toolbox_chain  # noqa: PLC0415 - may load the robot toolbox, more than a second

    return toolbox_chain(source.model or "", end=source.end_link)


def _pad(table: Table, material: PadMaterial) -> Pad:
    match table.shape:
        case "rectangle":
            return Pad.rectangle(table.name, material, table.size, table.pose_in_tool, table.station)
        case "disc":
            return Pad.disc(table.name, material, table.diameter, table.pose_in_tool, table.station)
    return Pad.polygon(table.name, material, table.outline, table.pose_in_tool, table.station)
