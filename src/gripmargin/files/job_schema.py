"""The tables of the job file as pydantic models, made from what is declared of the fields that they fill."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from functools import reduce
from operator import or_
from types import GenericAlias
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, Literal, TypeVar, get_args

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    TypeAdapter,
    ValidationInfo,
    WithJsonSchema,
    create_model,
    field_validator,
)
from pydantic_core import PydanticCustomError

from gripmargin.base.errors import InputError
from gripmargin.files.column_map import COLUMN_KEYS, ColumnGroup, Columns, TimeColumn
from gripmargin.files.job_keys import PLACING, TOPICS, Face, Frame, Source
from gripmargin.files.job_values import fault, form
from gripmargin.files.source import printable
from gripmargin.workcell import (
    Cleaner,
    Component,
    Flange,
    Gripper,
    Nest,
    Pad,
    PadMaterial,
    Part,
    Phase,
    Pick,
    Process,
    Station,
    Stop,
    StopFigure,
    Targets,
)
from gripmargin.workcell.fields import Declared, Key
from gripmargin.workcell.job import Job, JointLimits
from gripmargin.workcell.kinds import OUTLINE, Choice, Kind, Named, Pair, Pose, Row, Several, Text, Within, positive

SCHEMA_NAME = "job-1.schema.json"

D = TypeVar("D", bound=Declared)
_MODELS: dict[type[Declared], Any] = {}  # what stands in the file for a value of a class


class Table(BaseModel):
    """A table of the job file; keys that are not listed are errors.

    Attributes:
        declared: What is declared of its keys, by the names of the fields that they fill.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)
    declared: ClassVar[Mapping[str, Key]] = {}

    if TYPE_CHECKING:  # the keys come from declarations, which no type checker follows

        def __getattr__(self, name: str) -> Any: ...

    def given(self, kind: type[Declared]) -> dict[str, Any]:
        """Return what the file gives for the fields of a class."""
        names = [name for name in kind.keys if name in self.model_fields_set]
        return {name: value for name in names if (value := getattr(self, name)) is not None}


def table(name: str, *sources: type[Declared] | Mapping[str, Key], of: str = "", text: str = "") -> type[Table]:
    """Make the model of a table.

    Args:
        name: What the published schema calls it.
        sources: Classes whose fields its keys fill, or keys of its own.
        of: Which table it is, where several fill a class.
        text: What the published schema says of it; empty: what the first class says of itself.
    """
    declared: list[tuple[str, Key]] = []
    for source in sources:
        for field, key in (source if isinstance(source, Mapping) else source.keys).items():
            if key.used and key.table == of:
                after = [each for each, _ in declared].index(key.after) + 1 if key.after else len(declared)
                declared.insert(after, (field, key))
    fields: dict[str, Any] = {field: _field(key) for field, key in declared}
    made = create_model(name, __base__=Table, __doc__=text or (sources[0].__doc__ or "").split("\n")[0], **fields)
    made.declared = dict(declared)
    return made


def _field(key: Key) -> tuple[Any, Any]:
    holds, alias = _form(key.kind), key.spelled or None
    return (holds, Field(alias=alias)) if key.is_required else (holds | None, Field(default=None, alias=alias))


def _form(kind: Kind) -> Any:
    """The type by which pydantic reads a kind."""
    match kind:
        case Row(each, count):
            several = _several(list, _form(each), least=count or kind.least, most=count)
            return _or_alone(several, _form(each)) if kind.alone else several
        case Named(each):
            return _several(dict, form(Text()), form(each), least=None)
        case Within(of):
            return _MODELS[of]
        case Pair(first, second, None):
            return GenericAlias(tuple, (_form(first), _form(second)))
        case Pair(first, second, third) if third is not None:
            return _with_a_third(_form(first), _form(second), _form(third))
        case Several(of, least, most):
            return _several(list, _MODELS[of], least=least or None, most=most)
        case Pose(is_face):
            return _MODELS[Face if is_face else Frame]
        case Choice((option,)):
            return Literal[option]
    return form(kind)


def _or_alone(several: Any, each: Any) -> Any:
    """A list of which one entry may stand by itself."""
    published = {"anyOf": [TypeAdapter(each).json_schema(), TypeAdapter(several).json_schema()]}

    def listed(value: object) -> object:
        return [value] if isinstance(value, str | int) else value

    return Annotated[several, BeforeValidator(listed), WithJsonSchema(published)]


def _with_a_third(*forms: Any) -> Any:
    """Three values in a row of which the last may be left out."""
    published = [TypeAdapter(each).json_schema() for each in forms]

    def filled(value: object) -> object:
        return [*value, None] if isinstance(value, list | tuple) and len(value) == len(forms) - 1 else value

    return Annotated[
        GenericAlias(tuple, (*forms[:-1], forms[-1] | None)),
        BeforeValidator(filled),
        WithJsonSchema({"type": "array", "prefixItems": published, "minItems": 2, "maxItems": 3}),
    ]


def _several(kind: type, *of: Any, least: int | None, most: int | None = None) -> Any:
    return Annotated[GenericAlias(kind, of), Field(min_length=least, max_length=most)]


def _built(kind: type[D], then: Callable[[D], Any] = lambda value: value) -> AfterValidator:
    """Build the value of a table as soon as its keys are read: what does not fit together is told with them."""

    def build(read: Table) -> Any:
        try:
            return then(kind(**read.given(kind)))
        except InputError as error:
            raise fault(error.found, error.expected, error.remedy) from error

    return AfterValidator(build)


def _pad_table(text: str, shape: str, **own: Key) -> type[Table]:
    """The table of a pad of one shape; Python has a constructor of `Pad` for each."""
    which = Key(Choice((shape,)), "all", doc="Which of the next three it has.")
    return table(f"{shape.title()}Pad", Pad, {"shape": which, **own}, text=text)


_MODELS[Frame] = Annotated[table("PoseTable", Frame), _built(Frame, lambda frame: frame.matrix)]
_MODELS[Face] = Annotated[table("FaceTable", Face), _built(Face, lambda face: face.matrix)]
_MODELS[Phase] = Annotated[table("PhaseTable", Phase), _built(Phase)]
_MODELS[Process] = Annotated[table("ProcessTable", Process), _built(Process)]
for _of in (ColumnGroup, TimeColumn, Columns):
    _MODELS[_of] = Annotated[table(f"{_of.__name__}Table", _of), _built(_of)]
_MODELS[Station] = Annotated[table("StationTable", Station), _built(Station)]
_MODELS[StopFigure] = table("StopFigureTable", StopFigure)
_MODELS[Component] = Annotated[table("ComponentTable", Component), _built(Component)]
PAD_TABLES = {
    "rectangle": _pad_table(
        "A rectangular pad about the origin of its frame.",
        "rectangle",
        size=Key(Row(positive("length"), 2), "all", doc="Along the pad's x and y."),
    ),
    "disc": _pad_table(
        "A round pad about the origin of its frame.",
        "disc",
        diameter=Key(positive("length"), "all", doc="Of the circle."),
    ),
    "polygon": _pad_table(
        "A pad with any outline, in its own frame.",
        "polygon",
        outline=Key(OUTLINE, "all", doc="In the pad frame, in order around it; need not be convex."),
    ),
}
_MODELS[Pad] = Annotated[reduce(or_, PAD_TABLES.values()), Field(discriminator="shape")]


def _unless_several(several: str) -> Any:
    """Ask for a table where there is neither it nor several in its place."""

    def asked(cls: object, value: Any, info: ValidationInfo) -> Any:
        if value is None and several in info.data and info.data[several] is None:
            raise PydanticCustomError("missing", "nothing")
        return value

    return asked


_PART = "The part as gripped, in the tool frame, or in a frame of its own that ``at`` places in the tool frame."
_PART_TABLE: Any = table("PartTable", Part, PLACING, text=_PART)
_PICK_TABLE: Any = table("PickTable", Pick)
_NEST_TABLE: Any = table("NestTable", Nest)
_PROGRAM: Any = table("ProgramTable", Job, TOPICS, COLUMN_KEYS, of="program", text="The trajectory and its phases.")
_TABLES: dict[str, Any] = {
    "job": (table("JobTable", Job, text="What the job is called, gravity, and the air."), ...),
    "robot": (table("RobotTable", Source, JointLimits) | None, None),
    "materials": (_several(dict, form(Text()), table("MaterialTable", PadMaterial), least=1), ...),
    "gripper": (table("GripperTable", Gripper), ...),
    "parts": (_several(dict, form(Text()), _PART_TABLE, least=1) | None, None),
    "part": (_PART_TABLE | None, Field(default=None, validate_default=True)),
    "program": (_PROGRAM, ...),
    "picks": (_several(dict, form(Text()), _PICK_TABLE, least=1) | None, None),
    "pick": (_PICK_TABLE | None, None),
    "nests": (_several(dict, form(Text()), _NEST_TABLE, least=1) | None, None),
    "nest": (_NEST_TABLE | None, None),
    "cleaners": (_several(dict, form(Text()), table("CleanerTable", Cleaner), least=1) | None, None),
    "process": (_several(list, _MODELS[Process], least=1) | None, None),
    "stop": (table("StopTable", Stop) | None, None),
    "flange": (table("FlangeTable", Flange) | None, None),
    "targets": (table("TargetsTable", Targets) | None, None),
}
_JOB = "A job: a robot program with the part, the pads and the targets it is checked against."
_ASKED: Any = {"has_a_part": field_validator("part", mode="after")(_unless_several("parts"))}
JobFile: type[Table] = create_model("JobFile", __base__=Table, __doc__=_JOB, __validators__=_ASKED, **_TABLES)
UnplannedJobFile: type[Table] = create_model("UnplannedJobFile", __base__=JobFile, program=(_PROGRAM | None, None))


def job_schema() -> dict[str, Any]:
    """Return the JSON Schema of a job file (TOML, or the same tree as JSON)."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **JobFile.model_json_schema(by_alias=True),
        "anyOf": [{"required": ["part"]}, {"required": ["parts"]}],
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
        elif isinstance(step, str) and step in PAD_TABLES and PAD_TABLES["rectangle"] in get_args(_stripped(kind)):
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
