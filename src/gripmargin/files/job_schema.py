"""The job file as pydantic models: which keys there are and what each holds."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Annotated, Any, Literal, get_args

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from gripmargin.files.job_values import Choice, Count, JointQuantity, Label, Measured, Number, Quantity, fault
from gripmargin.files.source import printable
from gripmargin.motion.stamps import Stamps
from gripmargin.workcell import PhaseKind, ReleaseKind

SCHEMA_NAME = "job-1.schema.json"

Text = Annotated[str, Label()]
Length = Annotated[float, Quantity("length")]
Span = Annotated[float, Quantity("length", above=0)]
Angle = Annotated[float, Quantity("angle")]
Time = Annotated[float, Quantity("time")]
Stress = Annotated[float, Quantity("stress", above=0)]
Modulus = Annotated[float, Quantity("foundation modulus", above=0)]
Factor = Annotated[float, Number(above=0)]
Share = Annotated[float, Number(least=0, most=1)]

Mass = Annotated[float, Quantity("mass", above=0)]
Inertia = Annotated[list[Annotated[float, Quantity("moment of inertia")]], Field(min_length=6, max_length=6)]
Moments = Annotated[list[Annotated[float, Quantity("moment", above=0)]], Field(min_length=1)]

Three = Field(min_length=3, max_length=3)
Point = Annotated[list[Length], Field(min_length=2, max_length=2)]
Outline = Annotated[list[Point], Field(min_length=3)]
Names = Annotated[list[Text], Field(min_length=1)]


class Table(BaseModel):
    """A table of the job file; keys that are not listed are errors."""

    model_config = ConfigDict(extra="forbid", frozen=True)


def _not_empty(pose: PoseTable) -> PoseTable:
    if pose.xyz is None and pose.rpy is None:
        raise fault("an empty table", "xyz, rpy or both")
    return pose


class PoseTable(Table):
    """A pose: position, then roll, pitch, yaw about fixed axes, x first, then y, then z."""

    xyz: Annotated[list[Length], Three] | None = None
    rpy: Annotated[list[Angle], Three] | None = None


Pose = Annotated[PoseTable, AfterValidator(_not_empty)]


class FaceTable(Table):
    """Where a face lies in the world; +z out of the part."""

    xyz: Annotated[list[Length], Three]
    rpy: Annotated[list[Angle], Three] | None = None


class JobTable(Table):
    """What the job is called, gravity, and the air."""

    name: Text
    gravity: Annotated[list[Annotated[float, Quantity("acceleration")]], Three] | None = None
    air_density: Annotated[float, Quantity("density", least=0)] | None = None


class RobotTable(Table):
    """The arm of a joint program: a catalogue model or a URDF file."""

    model: Text | None = None
    urdf: Text | None = None
    end_link: Text | None = None
    joint_names: Names | None = None
    base: Pose | None = None
    tool: Pose | None = None
    speed: Annotated[list[Annotated[Measured, JointQuantity("speed")]], Field(min_length=1)] | None = None
    acceleration: Annotated[list[Annotated[Measured, JointQuantity("acceleration")]], Field(min_length=1)] | None = None
    jerk: Annotated[list[Annotated[Measured, JointQuantity("jerk")]], Field(min_length=1)] | None = None


class MaterialTable(Table):
    """A pad material; strengths on the reference surface."""

    pull_off_stress: Stress
    shear_strength: Stress
    normal_stiffness: Modulus
    shear_stiffness: Modulus
    peel_energy: Annotated[float, Quantity("energy per area", above=0)] | None = None
    fouling_per_cycle: Annotated[float, Number(least=0, below=1)] | None = None
    coupon_area: Annotated[float, Quantity("area", above=0)] | None = None
    full_preload: Stress | None = None
    preload_curve: (
        Annotated[list[tuple[Annotated[float, Quantity("stress", least=0)], Share]], Field(min_length=2)] | None
    ) = None
    min_dwell: Annotated[float, Quantity("time", least=0)] | None = None
    overload_pressure: Stress | None = None
    overload_residual: Share | None = None
    damping_ratio: Annotated[float, Number(least=0, below=1)] | None = None


class _PadTable(Table):
    name: Text
    material: Text
    at: Pose | None = None


class RectanglePad(_PadTable):
    """A rectangular pad about the origin of its frame."""

    shape: Literal["rectangle"]
    size: Annotated[list[Span], Field(min_length=2, max_length=2)]


class DiscPad(_PadTable):
    """A round pad about the origin of its frame."""

    shape: Literal["disc"]
    diameter: Span


class PolygonPad(_PadTable):
    """A pad with any outline, in its own frame."""

    shape: Literal["polygon"]
    outline: Outline


PadTable = Annotated[RectanglePad | DiscPad | PolygonPad, Field(discriminator="shape")]
PAD_TABLES = {"rectangle": RectanglePad, "disc": DiscPad, "polygon": PolygonPad}


class GripperTable(Table):
    """The pads on the tool."""

    pads: Annotated[list[PadTable], Field(min_length=1)]
    cycles_since_cleaning: Annotated[float, Number(least=0)] | None = None
    mass: Mass | None = None
    com: Annotated[list[Length], Three] | None = None
    inertia: Inertia | None = None


class PartTable(Table):
    """The part as gripped, in the tool frame, or in a frame of its own that ``at`` places in the tool frame."""

    mass: Mass
    com: Annotated[list[Length], Three] | None = None
    inertia: Inertia | None = None
    outline: Outline | None = None
    at: Pose | None = None
    surface_factor: Factor | None = None
    max_pressure: Stress | None = None
    thickness: Span | None = None
    youngs_modulus: Stress | None = None
    poissons_ratio: Annotated[float, Number(least=0, most=0.5)] | None = None
    drag_area: Annotated[float, Quantity("area", above=0)] | None = None


class PhaseTable(Table):
    """A stretch of the program, by labels of moves or by times."""

    kind: Annotated[PhaseKind, Choice(get_args(PhaseKind))]
    moves: Names | None = None
    start: Annotated[Time | None, Field(alias="from")] = None
    end: Annotated[Time | None, Field(alias="to")] = None
    release: Annotated[ReleaseKind, Choice(get_args(ReleaseKind))] | None = None

    @model_validator(mode="after")
    def _check(self) -> PhaseTable:
        by_time = [key for key, value in (("from", self.start), ("to", self.end)) if value is not None]
        if self.moves is not None and by_time:
            raise fault(f"moves and {' and '.join(by_time)}", "either moves, or from and to")
        if self.moves is None and len(by_time) < 2:
            raise fault(
                f"'{by_time[0]}' alone" if by_time else "neither moves nor times", "either moves, or from and to"
            )
        if self.start is not None and self.end is not None and not self.start < self.end:
            raise fault(f"from {self.start:g} s to {self.end:g} s", "an end later than the start")
        if self.release is not None and self.kind != "release":
            raise fault(f"a way of release in a {self.kind} phase", "a phase of kind release")
        return self


class ProgramTable(Table):
    """The trajectory and its phases."""

    trajectory: Text
    topic: Text | None = None
    phases: list[PhaseTable] | None = None
    stamps: Annotated[Stamps, Choice(get_args(Stamps))] | None = None
    recording: Text | None = None
    recording_offset: Time | None = None
    recording_topic: Text | None = None


class PickTable(Table):
    """Where the part is taken from."""

    face: FaceTable
    flatness: Annotated[float, Quantity("length", least=0)] | None = None
    break_away: Annotated[float, Quantity("force", least=0)] | None = None
    dwell: Annotated[float, Quantity("time", least=0)] | None = None


class NestTable(Table):
    """Where the part is left."""

    face: FaceTable
    hold_down: Annotated[float, Quantity("force", least=0)] | None = None
    lateral_force: Annotated[float, Quantity("force", least=0)] | None = None
    moment: Annotated[float, Quantity("moment", least=0)] | None = None
    support: Outline | None = None
    tolerance: Span | None = None


class StopFigureTable(Table):
    """One published or measured stop along the path."""

    speed: Annotated[float, Number(above=0, most=1)]
    time: Annotated[float, Quantity("time", above=0)]
    load: Annotated[float, Number(least=0)] | None = None
    distance: Annotated[Measured, JointQuantity("length")] | None = None
    axis: Annotated[int, Count()] | None = None


class StopTable(Table):
    """How the robot stops."""

    time: Annotated[float, Quantity("time", above=0)] | None = None
    deceleration: Annotated[float, Quantity("acceleration", above=0)] | None = None
    axis_deceleration: (
        Annotated[list[Annotated[Measured, JointQuantity("acceleration")]], Field(min_length=1)] | None
    ) = None
    category: Annotated[int, Choice((0, 1, 2))] | None = None
    measured: Annotated[list[StopFigureTable], Field(min_length=1)] | None = None
    load: Annotated[float, Number(least=0)] | None = None
    ramp: Annotated[float, Quantity("time", least=0)] | None = None
    floor: Length | None = None


class FlangeTable(Table):
    """The rated values of the robot's wrist."""

    payload: Mass
    moment: Moments | None = None
    inertia: Annotated[list[Annotated[float, Quantity("moment of inertia", above=0)]], Field(min_length=1)] | None = (
        None
    )
    peak_force: Annotated[float, Quantity("force", above=0)] | None = None
    peak_moment: Moments | None = None
    wrist: Pose | None = None


class TargetsTable(Table):
    """Margins to reach."""

    hold: Factor | None = None
    stop: Factor | None = None
    release: Factor | None = None
    preload: Factor | None = None
    pressure: Factor | None = None
    flange: Factor | None = None
    peel: Factor | None = None
    one_pad_lost: Factor | None = None
    swing: Factor | None = None
    settle: Factor | None = None


class JobFile(Table):
    """A job: a robot program with the part, the pads and the targets it is checked against."""

    job: JobTable
    robot: RobotTable | None = None
    materials: Annotated[dict[Text, MaterialTable], Field(min_length=1)]
    gripper: GripperTable
    part: PartTable
    program: ProgramTable
    pick: PickTable | None = None
    nest: NestTable | None = None
    stop: StopTable | None = None
    flange: FlangeTable | None = None
    targets: TargetsTable | None = None


def job_schema() -> dict[str, Any]:
    """Return the JSON Schema of a job file (TOML, or the same tree as JSON)."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **JobFile.model_json_schema(by_alias=True),
        "title": "gripmargin job, version 1",
    }


def known_keys(model: type[BaseModel]) -> list[str]:
    """Return the keys a table may have, as a file spells them."""
    return [field.alias or name for name, field in model.model_fields.items()]


def table_at(place: tuple[int | str, ...]) -> type[BaseModel] | None:
    """Return the model of the table at a place of the file, such as ("gripper", "pads", 0, "disc")."""
    kind: Any = JobFile
    for step in place:
        model = _model_in(kind)
        if model is not None and isinstance(step, str):
            field = next((f for n, f in model.model_fields.items() if step in (n, f.alias)), None)
            kind = None if field is None else field.annotation
        elif isinstance(step, str) and step in PAD_TABLES and RectanglePad in get_args(_stripped(kind)):
            kind = PAD_TABLES[step]
        elif arguments := get_args(_stripped(kind)):
            kind = arguments[-1]
        else:
            return None
    return _model_in(kind)


def key_path(place: Sequence[int | str]) -> str:
    """Return a key's full path as people write it, such as ``gripper.pads[1].size[0]``."""
    text = ""
    for i, step in enumerate(place):
        if isinstance(step, int):
            text += f"[{step}]"
        elif step == "[key]" or (i == 3 and tuple(place[:2]) == ("gripper", "pads") and step in PAD_TABLES):
            continue  # what pydantic adds to the path
        else:
            name = step if re.fullmatch(r"[A-Za-z0-9_-]+", step) else f'"{printable(step)}"'
            text += f".{name}" if text else name
    return text


def _stripped(kind: Any) -> Any:
    """The type without ``Annotated`` and without ``| None``."""
    while True:
        arguments = get_args(kind)
        if hasattr(kind, "__metadata__") or (type(None) in arguments and len(arguments) == 2):
            kind = arguments[0]
        else:
            return kind


def _model_in(kind: Any) -> type[BaseModel] | None:
    inner = _stripped(kind)
    return inner if isinstance(inner, type) and issubclass(inner, BaseModel) else None
