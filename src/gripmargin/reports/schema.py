"""The JSON Schema of a report, made from the values that a report consists of: their types and docstrings."""

from __future__ import annotations

import re
import types
from collections.abc import Mapping, Sequence
from dataclasses import fields
from enum import StrEnum
from typing import Any, Final, Union, get_args, get_origin, get_type_hints

import numpy as np

from gripmargin.base.docstrings import attributes
from gripmargin.checks import registry
from gripmargin.reports.as_json import ERROR_SCHEMA
from gripmargin.results.findings import CheckResult, Finding, NotChecked, Place, Remedy, RootCause
from gripmargin.results.report import SCHEMA, HoldReport, Report
from gripmargin.results.samples import Samples
from gripmargin.results.time_laws import CheckUnderLaw, TimeLaw
from gripmargin.workcell import PhaseKind

SCHEMA_NAME: Final = "report-1.schema.json"

Tree = dict[str, Any]
TABLES: Final = (
    CheckResult,
    CheckUnderLaw,
    Finding,
    HoldReport,
    NotChecked,
    Place,
    Remedy,
    RootCause,
    Samples,
    TimeLaw,
)
KEYS: Final = {"start": "from", "end": "to"}  # fields that the JSON names otherwise
UNWRITTEN: Final[Mapping[type, tuple[str, ...]]] = {
    Finding: ("lines",),
    HoldReport: ("report",),
    Report: ("shares", "scene", "plotter"),
}  # for other reports
OF_HOLDS: Final = ("hold", "holds", "samples")  # keys that are not always there
OF_ONE: Final = ("checks", "causes", "not_checked", "assumed")  # of a hold that is like no other, as in a report
CODE: Final = "What `gripmargin explain` takes: the code of the cause that explains the finding, else its check."
WORST: Final[Tree] = {
    "t": {"type": "number", "description": "Time [s]."},
    "sample": {"type": "integer", "minimum": 0, "description": "Index, from 0."},
    "move": {"type": ["string", "null"], "description": "Label of the move, or null."},
}


def report_schema() -> Tree:
    """Return the JSON Schema of what the command writes: a report, an error in its place, or a list of both.

    Every key that a report always has is required. Tables of figures that differ by check (``details``, ``worst``,
    ``because``, ``figures``) are open, and so is every table for keys that later versions add.
    """
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "gripmargin report, version 1",
        "description": "SI units and radians; null where there is no number.",
        "anyOf": [
            {"$ref": "#/$defs/Report"},
            {"$ref": "#/$defs/Error"},
            {
                "type": "array",
                "description": "Several jobs, in their order.",
                "items": {"anyOf": [{"$ref": "#/$defs/Report"}, {"$ref": "#/$defs/Error"}]},
            },
        ],
        "$defs": {"Report": _report(), "Error": _error(), **{table.__name__: _table(table) for table in TABLES}},
    }


def _report() -> Tree:
    tree = _table(Report)
    first = {"schema": {"const": SCHEMA, "description": "What this is, with its version."}}
    last = {"cautions": {**_strings(), "description": "What whoever acts on the report has to know."}}
    tree["properties"] = first | tree["properties"] | last
    tree["required"] = [key for key in tree["properties"] if key not in OF_HOLDS]
    return tree


def _error() -> Tree:
    facts = {
        "where": "File, key or place of the fault.",
        "found": "What was there.",
        "expected": "What was expected.",
        "remedy": "What to do; may be empty.",
    }
    fault = _object("A fault.", {key: {"type": "string", "description": text} for key, text in facts.items()})
    return _object(
        "What stands in place of the report of a job that could not be checked.",
        {
            "schema": {"const": ERROR_SCHEMA, "description": "What this is, with its version."},
            "job_file": {"type": "string", "description": "The job file as it was named."},
            "errors": {"type": "array", "minItems": 1, "items": fault, "description": "All faults found."},
        },
    )


def _table(kind: type) -> Tree:
    """The schema of a dataclass, all of whose fields are written."""
    hints, texts = get_type_hints(kind), attributes(kind)
    properties = {}
    for field in fields(kind):
        if field.name not in UNWRITTEN.get(kind, ()):
            text = texts.get(field.name, "")
            properties[KEYS.get(field.name, field.name)] = {**_of(hints[field.name], text), "description": text}
    if kind is Finding:
        properties["remedy"] = {"type": "string", "description": _first_line(Finding.remedy)}
        properties["code"] = {"type": "string", "description": CODE}
        properties["worst"] |= {"properties": WORST, "required": [*WORST]}
    if kind is CheckResult:
        properties["check"]["description"] = f"Its name: {', '.join(judged.name for judged in registry.judged())}."
    if kind is Samples:
        properties["phase"]["items"] = {"enum": [*get_args(PhaseKind)]}
    if kind is HoldReport:
        of_report = _table(Report)["properties"]
        properties["verdict"] = {**of_report["verdict"], "description": _first_line(HoldReport.verdict)}
        properties |= {key: of_report[key] for key in OF_ONE}
    tree = _object(_first_line(kind), {key: value for key, value in properties.items() if value})
    optional = (*OF_HOLDS, *(OF_ONE if kind is HoldReport else ()))
    return tree | {"required": [key for key in tree["required"] if kind is Samples or key not in optional]}


def _object(text: str, properties: Mapping[str, Tree]) -> Tree:
    return {"type": "object", "description": text, "properties": dict(properties), "required": [*properties]}


def _of(hint: Any, text: str) -> Tree:
    """The schema of a type; of an array by the shape that its description names."""
    origin, arguments = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        (inner,) = [_of(kind, text) for kind in arguments if kind is not type(None)]
        return {"anyOf": [inner, {"type": "null"}]} if "$ref" in inner else {**inner, "type": [inner["type"], "null"]}
    if hint in TABLES:
        return {"$ref": f"#/$defs/{hint.__name__}"}
    if origin is tuple or (origin is not None and issubclass(origin, Sequence)):
        items = [_of(kind, text) for kind in arguments if kind is not Ellipsis]
        if origin is not tuple or Ellipsis in arguments:
            return {"type": "array", "items": items[0]}
        return {"type": "array", "prefixItems": items, "minItems": len(items), "maxItems": len(items)}
    if origin is np.ndarray:
        wide = re.search(r"shape \(n, (\d)\)", text)
        number: Tree = {"type": ["number", "null"]}
        row: Tree = {"type": "array", "items": number}
        if "shape (n, joints)" in text:
            return {"type": "array", "items": row}
        return {"type": "array", "items": {**row, "minItems": int(wide[1]), "maxItems": int(wide[1])}} if wide else row
    if isinstance(hint, type) and issubclass(hint, StrEnum):
        return {"enum": [str(option) for option in hint]}
    if origin is not None and issubclass(origin, Mapping):
        return {"type": "object"}
    names: dict[Any, str] = {str: "string", float: "number", int: "integer", bool: "boolean"}
    return {"type": names[hint]}


def _strings() -> Tree:
    return {"type": "array", "items": {"type": "string"}}


def _first_line(thing: Any) -> str:
    return (thing.__doc__ or "").strip().splitlines()[0]
