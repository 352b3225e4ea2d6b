"""Job files: TOML, or the same tree as JSON, into a job; every fault of a file in one reading."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from gripmargin.base.errors import InputError, InputErrors
from gripmargin.base.given import as_path
from gripmargin.files import job_schema as schema
from gripmargin.files import job_values
from gripmargin.files.column_map import Columns
from gripmargin.files.job_builder import build_job
from gripmargin.files.job_schema import key_path
from gripmargin.files.job_tree import parse_toml, read_tree
from gripmargin.files.source import describe
from gripmargin.workcell.job import Job

MAX_PROBLEMS = 100  # listed one by one


def read_job(path: str | Path, *, program: bool = True) -> Job:
    """Read a job and the files it names; their names are relative to the job file.

    Args:
        path: A ``.toml`` file, or a ``.json`` file with the same tree.
        program: Whether there has to be a program; else the part hangs still on its pads in a job without one.

    Raises:
        InputErrors: All faults found, each with file and key.
        InputError: The file cannot be read at all.
    """
    file = as_path(path)
    return build_job(file, _validated(file, read_tree(file), schema.JobFile if program else schema.UnplannedJobFile))


def read_columns(text: str, where: str) -> Columns:
    """Read a map of columns as it stands in a job file.

    Args:
        text: Lines of the table [program.columns], "columns = { ... }", or a job file that has them.
        where: What to call it in an error.

    Raises:
        InputErrors: All faults found, each with its key.
        InputError: Text that is not TOML.
    """
    tree: Any = parse_toml(where, text)
    place = ("program", "columns")
    for step in place:
        tree = tree.get(step, tree) if isinstance(tree, dict) else tree
    model = schema.table_at(place)
    try:
        return Columns(**model.model_validate(tree).given(Columns))  # type: ignore[union-attr]
    except ValidationError as error:
        raise InputErrors([_problem(where, fault, tree, place) for fault in error.errors(include_url=False)]) from error


def _validated(file: Path, tree: Any, tables: type[schema.Table]) -> schema.Table:
    try:
        return tables.model_validate(tree)
    except ValidationError as error:
        faults = error.errors(include_url=False)
        problems = [_problem(file, fault, tree) for fault in faults[:MAX_PROBLEMS]]
        if len(faults) > MAX_PROBLEMS:
            problems.append(InputError(str(file), f"{len(faults) - MAX_PROBLEMS} more faults", "none"))
        raise InputErrors(problems) from error


def _problem(file: Path | str, fault: Any, tree: Any, table: tuple[str, ...] = ()) -> InputError:
    """Turn a fault that pydantic found, in a table of the file, into one of ours."""
    place = fault["loc"]
    where = f"{file}: {key_path(place)}" if place else str(file)
    if fault["type"] == "extra_forbidden":
        return InputError(where, *_unknown_key(table, place, tree))
    if fault["type"] in ("union_tag_not_found", "union_tag_invalid") and isinstance(fault["input"], dict):
        shape = fault["input"].get("shape")
        given = "nothing" if shape is None else describe(shape)
        shapes = list(schema.PAD_TABLES)
        return InputError(f"{where}.shape", given, f"one of {', '.join(shapes)}", job_values.meant(shape, shapes))
    if len(place) == 2 and place[0] == "materials" and fault["type"].startswith("model"):
        remedy = "give the material a name, as in [materials.film]"
        return InputError(where, describe(fault["input"]), "a table", remedy)
    facts = _facts(fault["type"], fault.get("ctx", {}), fault["input"], fault["msg"])
    if fault["input"] == job_values.UNMEASURED:
        facts = ("a value that is still to be measured", facts[1], "measure it and write it here")
    return InputError(where, *facts)


def _facts(kind: str, context: Any, value: Any, message: str) -> tuple[str, ...]:
    """What was found and what was expected."""
    match kind:
        case job_values.INPUT_FAULT:
            return context["found"], context["expected"], context["remedy"]
        case "missing":
            return "nothing", "a value, for this key is required"
        case "too_short":
            return _values(context["actual_length"]), f"at least {context['min_length']}"
        case "too_long":
            return _values(len(value)), f"at most {context['max_length']}"
        case "list_type" | "tuple_type":
            return describe(value), "a list", "" if isinstance(value, dict) else "put the values between [ ]"
        case "model_type" | "model_attributes_type" | "dict_type" | "union_tag_not_found" | "union_tag_invalid":
            return describe(value), "a table"
    return describe(value), message


def _values(count: int) -> str:
    return f"{count} value{'' if count == 1 else 's'}"


def _unknown_key(within: tuple[str, ...], place: tuple[int | str, ...], tree: Any) -> tuple[str, str, str]:
    """What is known in that table; what was meant is rather a key that is not given yet."""
    table = schema.table_at((*within, *place[:-1]))
    known = schema.known_keys(table) if table else []
    given = _given(tree, place[:-1])
    name = str(place[-1])
    in_python = table.model_fields.get(name) if table else None  # the same field, spelled otherwise in the file
    if in_python is not None and in_python.alias:
        return "a key that is not known", f"one of {', '.join(known)}", f"did you mean '{in_python.alias}'?"
    remedy = job_values.meant(name, [key for key in known if key not in given]) or job_values.meant(name, known)
    return "a key that is not known", f"one of {', '.join(known)}", remedy or _elsewhere(name)


def _given(tree: Any, place: tuple[int | str, ...]) -> Any:
    """The table of the file at a place; of the steps those that pydantic adds lead nowhere."""
    for step in place:
        with suppress(LookupError, TypeError):
            tree = tree[step]
    return tree if isinstance(tree, dict) else {}


def _elsewhere(name: str) -> str:
    """Which table a key belongs to, where only one has it."""
    tables = {each: schema.table_at((each,)) for each in schema.JobFile.model_fields}
    owners = [each for each, table in tables.items() if table is not None and name in schema.known_keys(table)]
    return f"it belongs to [{owners[0]}]" if len(owners) == 1 else ""
