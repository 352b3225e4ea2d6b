"""The valid tables of a job file into a job, with the files they name."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from difflib import get_close_matches
from functools import partial
from pathlib import Path
from typing import Any, Final, TypeVar

from gripmargin.base.arrays import FloatArray
from gripmargin.base.errors import InputError, InputErrors
from gripmargin.base.poses import pose
from gripmargin.files import job_schema as schema
from gripmargin.files.job_assumptions import assumptions
from gripmargin.files.job_schema import key_path
from gripmargin.files.job_values import Measured, angular_of
from gripmargin.files.trajectory_file import read_trajectory
from gripmargin.motion.chain import Chain
from gripmargin.motion.trajectory import JointTrajectory, Trajectory
from gripmargin.workcell import (
    Flange,
    Gripper,
    Nest,
    Pad,
    PadMaterial,
    Part,
    Phase,
    Pick,
    Stop,
    StopFigure,
    Targets,
    uniform_plate,
)
from gripmargin.workcell.job import Job, JointLimits

_PLATE: Final = {
    ("com", "inertia"): "The part's centre of mass and inertia are those of a uniform plate (outline, thickness).",
    ("com",): "The part's centre of mass is that of a uniform plate (outline, thickness).",
    ("inertia",): "The part's inertia is that of a uniform plate (outline, thickness) about the given centre of mass.",
}

T = TypeVar("T")


def _pose(table: schema.PoseTable | schema.FaceTable) -> FloatArray:
    return pose(table.xyz or (0.0, 0.0, 0.0), table.rpy or (0.0, 0.0, 0.0))


def _given(table: schema.Table, *skip: str) -> dict[str, Any]:
    """The values of a table that the file gives, by field name."""
    return {
        name: getattr(table, name) for name in table.model_fields_set - set(skip) if getattr(table, name) is not None
    }


def build_job(file: Path, tables: schema.JobFile) -> Job:
    """Build a job from the valid tables of a job file, and read the files they name.

    Raises:
        InputErrors: All faults found, each with file and key.
    """
    return _Builder(file, tables).job()


class _Builder:
    """Builds the job from the valid tables; goes on after a fault, to report all of them."""

    def __init__(self, file: Path, tables: schema.JobFile) -> None:
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
        robot = self._robot()
        materials = self._materials()
        gripper = self._gripper(materials)
        part = self._part()
        phases = self._phases()
        pick = self._station("pick", Pick, tables.pick)
        nest = self._station("nest", Nest, tables.nest)
        stop = self._stop(robot)
        limits = self._limits(robot)
        flange = self._flange()
        targets = Targets(**_given(tables.targets)) if tables.targets else Targets()
        trajectory = recording = None
        if tables.robot is None or robot is not None:
            source = self.file.parent / tables.program.trajectory
            trajectory = self._attempt(None, lambda: read_trajectory(source, robot=robot, topic=tables.program.topic))
            recording = self._recording(robot)
        if trajectory is not None and isinstance(trajectory, JointTrajectory) and tables.robot is None:
            self._fault("robot", "no robot", "the robot that this joint program moves", "add the table [robot]")
        self._refuse()
        assert gripper is not None and part is not None and trajectory is not None  # noqa: S101, PT018 - else refused
        gravity: Any = {} if tables.job.gravity is None else {"gravity": tables.job.gravity}
        job = self._attempt(
            "job",
            lambda: Job(
                name=tables.job.name,
                gripper=gripper,
                part=part,
                trajectory=trajectory,
                robot=robot,
                phases=phases,
                targets=targets,
                pick=pick,
                nest=nest,
                stop=stop,
                joint_limits=limits,
                flange=flange,
                stamps=tables.program.stamps,
                recording=recording,
                recording_offset=tables.program.recording_offset,
                **gravity,
                **_given(tables.job, "name", "gravity"),
            ),
        )
        self._refuse()
        assert job is not None  # noqa: S101 - else refused
        return replace(job, assumed=(*self.assumed, *assumptions(job, tables)))

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
                full = f"{key}.{inner}" if inner else where if table in schema.JobFile.model_fields else key
                where = f"{self.file}: {full}"
            self.problems.append(type(problem)(where, problem.found, problem.expected, problem.remedy))
        return None

    def _fault(self, key: str, found: str, expected: str, remedy: str = "") -> None:
        self.problems.append(InputError(f"{self.file}: {key}", found, expected, remedy))

    def _refuse(self) -> None:
        if self.problems:
            raise InputErrors(self.problems)

    def _robot(self) -> Chain | None:
        table = self.tables.robot
        if table is None:
            return None
        if (table.model is None) == (table.urdf is None):
            found = "neither model nor urdf" if table.model is None else "both model and urdf"
            self._fault("robot", found, "one of the two")
            return None
        chain = self._attempt(None if table.urdf else "robot.model", lambda: _chain(self.file.parent, table))
        if chain is None:
            return None
        names = table.joint_names
        if names is not None and (len(names) != chain.joints or len(set(names)) != len(names)):
            found = f"{len(names)} names" if len(names) != chain.joints else "a name twice"
            self._fault("robot.joint_names", found, f"{chain.joints} names, one a joint of {chain.source}")
            return None
        if names is not None:
            chain = replace(chain, names=tuple(names))
        if table.tool is None:
            self.assumed.append("robot.tool is not given: the tool frame is the end of the robot's chain.")
        return chain.mounted(
            base=None if table.base is None else _pose(table.base),
            tool=None if table.tool is None else _pose(table.tool),
        )

    def _materials(self) -> dict[str, PadMaterial | None]:
        made: dict[str, PadMaterial | None] = {}
        for name, table in self.tables.materials.items():
            made[name] = self._attempt(
                key_path(("materials", name)), partial(PadMaterial, name=name, **_given(table)), f"{name}."
            )
        return made

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
        return self._attempt("gripper", lambda: Gripper(pads=tuple(pads), **_given(table, "pads")))

    def _part(self) -> Part | None:
        table = self.tables.part
        given = _given(table, "at")
        missing = [key for key in ("com", "inertia") if key not in given]
        if missing:
            if table.outline is None or table.thickness is None:
                for key in missing:
                    self._fault(
                        f"part.{key}",
                        "nothing",
                        "a value, for this key is required",
                        "or give part.outline and part.thickness: of a uniform plate it is worked out",
                    )
                return None
            plate = self._attempt("part.outline", lambda: uniform_plate(table.mass, table.outline, table.thickness))  # type: ignore[arg-type]
            if plate is None:
                return None
            for key, value in zip(("com", "inertia"), plate, strict=True):
                if key in missing:
                    given[key] = value
            self.assumed.append(_PLATE[tuple(missing)])
        part = self._attempt("part", lambda: Part(**given))
        if part is None or table.at is None:
            return part
        return self._attempt("part.at", lambda: part.placed(_pose(table.at)))  # type: ignore[arg-type]

    def _phases(self) -> tuple[Phase, ...]:
        phases = []
        for i, table in enumerate(self.tables.program.phases or ()):
            phase = self._attempt(f"program.phases[{i}]", partial(Phase, **_given(table)))
            if phase is not None:
                phases.append(phase)
        return tuple(phases)

    def _recording(self, robot: Chain | None) -> Trajectory | None:
        name = self.tables.program.recording
        if name is None:
            return None
        topic = self.tables.program.recording_topic
        return self._attempt(None, lambda: read_trajectory(self.file.parent / name, robot=robot, topic=topic))

    def _station(self, key: str, kind: Callable[..., T], table: schema.PickTable | schema.NestTable | None) -> T | None:
        if table is None:
            return None
        return self._attempt(key, lambda: kind(face=_pose(table.face), **_given(table, "face")))

    def _stop(self, robot: Chain | None) -> Stop | None:
        table = self.tables.stop
        if table is None:
            return None
        given = _given(table)
        if table.axis_deceleration is not None:
            key = "stop.axis_deceleration"
            given["axis_deceleration"] = self._joint_values(key, table.axis_deceleration, "acceleration", robot)
        if table.measured is not None:
            given["measured"] = self._stop_figures(table.measured, robot)
        return self._attempt("stop", lambda: Stop(**given))

    def _flange(self) -> Flange | None:
        table = self.tables.flange
        if table is None:
            return None
        wrist = None if table.wrist is None else _pose(table.wrist)
        return self._attempt("flange", lambda: Flange(wrist=wrist, **_given(table, "wrist")))

    def _stop_figures(self, tables: Sequence[schema.StopFigureTable], robot: Chain | None) -> tuple[StopFigure, ...]:
        figures = []
        for i, table in enumerate(tables):
            given = _given(table)
            if table.distance is not None:
                given["distance"] = table.distance.value
                if robot is not None and table.axis is not None and table.axis <= robot.joints:
                    turns = robot.revolute[table.axis - 1]
                    self._joint_value(f"stop.measured[{i}].distance", table.distance, "length", table.axis, turns)
            figures.append(StopFigure(**given))
        return tuple(figures)

    def _limits(self, robot: Chain | None) -> JointLimits | None:
        table = self.tables.robot
        if table is None:
            return None
        given: dict[str, Any] = {
            key: self._joint_values(f"robot.{key}", values, key, robot)
            for key in ("speed", "acceleration", "jerk")
            if (values := getattr(table, key)) is not None
        }
        return self._attempt("robot", lambda: JointLimits(**given)) if given else None

    def _joint_values(self, key: str, values: Sequence[Measured], linear: str, robot: Chain | None) -> list[float]:
        if robot is not None and len(values) == robot.joints:
            for i, (value, turns) in enumerate(zip(values, robot.revolute, strict=True)):
                self._joint_value(f"{key}[{i}]", value, linear, i + 1, turns)
        return [value.value for value in values]

    def _joint_value(self, key: str, value: Measured, linear: str, number: int, turns: bool) -> None:
        """Note a fault where a value is not of the dimension that its joint asks for."""
        due = angular_of(linear) if turns else linear
        if value.dimension != due:
            joint = f"joint {number}, which {'turns' if turns else 'slides'}"
            self._fault(key, f"a value of {value.dimension}", f"one of {due} for {joint}")


def _chain(folder: Path, table: schema.RobotTable) -> Chain:
    if table.urdf is not None:
        from gripmargin.files.urdf import read_urdf  # noqa: PLC0415 - XML is only needed here

        return read_urdf(folder / table.urdf, end_link=table.end_link)
    from gripmargin.files.robots import toolbox_chain  # noqa: PLC0415 - may load the robot toolbox, more than a second

    return toolbox_chain(table.model or "", end=table.end_link)


def _pad(table: schema.RectanglePad | schema.DiscPad | schema.PolygonPad, material: PadMaterial) -> Pad:
    at = None if table.at is None else _pose(table.at)
    if isinstance(table, schema.RectanglePad):
        return Pad.rectangle(table.name, material, table.size, at)
    if isinstance(table, schema.DiscPad):
        return Pad.disc(table.name, material, table.diameter, at)
    return Pad.polygon(table.name, material, table.outline, at)
