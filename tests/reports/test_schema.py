"""The published JSON Schema of the report: in step with the code, true of real reports, strict where it matters."""

import copy
import json
import shutil
from dataclasses import fields
from importlib import resources
from pathlib import Path

import jsonschema
import numpy as np
import pytest

import gripmargin as gm
from gripmargin import cli
from gripmargin.reports.as_json import error_json
from gripmargin.reports.schema import SCHEMA_NAME, attributes, report_schema
from gripmargin.results.findings import CheckResult, Finding, NotChecked, Place, Remedy
from gripmargin.results.report import Report
from gripmargin.results.samples import Samples

FOLDER = Path(__file__).parents[2] / "trajectories"


def published():
    return json.loads((resources.files("gripmargin.files") / "schemas" / SCHEMA_NAME).read_text(encoding="utf-8"))


def closed(tree):
    """The schema without room for keys that it does not name, but in tables of figures."""
    if isinstance(tree, dict):
        own = {"additionalProperties": False} if set(tree) >= {"properties", "required"} and "t" not in tree else {}
        return {key: closed(value) for key, value in tree.items()} | own
    return [closed(item) for item in tree] if isinstance(tree, list) else tree


VALIDATOR = jsonschema.Draft202012Validator(published())


def errors(tree):
    return [error.message for error in VALIDATOR.iter_errors(tree)]


@pytest.fixture(scope="module")
def kept():
    """The JSON of a demo job that falls short, with the first samples."""
    tree = json.loads(gm.report_json(gm.check_file(FOLDER / "diffuser.toml"), samples=True))
    tree["samples"] |= {key: values[:2] for key, values in tree["samples"].items() if key != "stamp"}
    return tree


def test_published_schema_is_in_step():
    assert published() == report_schema(), "write json.dumps(report_schema(), indent=2) to the schema file again"


def test_published_schema_is_a_schema():
    jsonschema.Draft202012Validator.check_schema(published())


@pytest.mark.parametrize("kind", [CheckResult, Finding, NotChecked, Place, Remedy, Report, Samples])
def test_every_field_is_described(kind):
    assert set(attributes(kind)) == {field.name for field in fields(kind)}


def test_a_report_is_valid_and_has_no_key_that_the_schema_does_not_name(kept):
    assert errors(kept) == []
    schema = closed(published())
    schema["$defs"]["Finding"]["properties"]["worst"].pop("additionalProperties")
    assert list(jsonschema.Draft202012Validator(schema).iter_errors(kept)) == []


def test_what_the_command_writes_is_valid(tmp_path, capsys):
    broken = tmp_path / "broken.toml"
    broken.write_text("[job]\n", encoding="utf-8")
    for name in ("diffuser.toml", "diffuser.csv"):
        shutil.copy(FOLDER / name, tmp_path)
    for jobs, kind in (([broken], dict), ([tmp_path / "diffuser.toml", broken], list)):
        assert cli.main(["check", *map(str, jobs), "--json", "-"]) in (1, 2)
        tree = json.loads(capsys.readouterr().out)
        assert isinstance(tree, kind)
        assert errors(tree) == []


def leaves(schema, tree, path=()):
    """Every place of a tree that the schema speaks of: its path and whether it is a required key."""
    for option in schema.get("anyOf", [schema]):
        if "$ref" in option:
            yield from leaves(published()["$defs"][option["$ref"].rsplit("/", 1)[-1]], tree, path)
    if isinstance(tree, dict):
        for key in schema.get("required", ()):
            yield (*path, key)
            yield from leaves(schema["properties"][key], tree[key], (*path, key))
    if isinstance(tree, list) and tree and "items" in schema:
        yield from leaves(schema["items"], tree[0], (*path, 0))


def changed(tree, path, change):
    made = copy.deepcopy(tree)
    *steps, last = path
    table = made
    for step in steps:
        table = table[step]
    change(table, last)
    return made


def wrong(table, key):
    table[key] = {"text": "wrong"} if not isinstance(table[key], dict) else 7


def test_a_missing_key_or_a_wrong_type_is_noticed(kept):
    fault = json.loads(error_json("job.toml", gm.InputError("part.mass", "nothing", "a mass")))
    for whole, kind, least in ((kept, "Report", 50), (fault, "Error", 7)):
        schema = published()["$defs"][kind]
        if kind == "Report":
            schema = {**schema, "required": [*schema["required"], "samples"]}
        places = list(dict.fromkeys(leaves(schema, whole)))
        assert len(places) >= least
        for path in places:
            assert errors(changed(whole, path, wrong)), path
            if path != ("samples",):
                assert errors(changed(whole, path, lambda table, key: table.pop(key))), path


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("schema",), "gripmargin-report/2"),
        (("verdict",), "passed"),
        (("checks", 0, "verdict"), None),
        (("checks", 0, "target"), "2"),
        (("checks", 0, "value"), "none"),
        (("findings", 0, "spans"), [[0.0]]),
        (("findings", 0, "spans"), [[0.0, 1.0, 2.0]]),
        (("findings", 0, "worst", "sample"), 1.5),
        (("samples", "phase", 0), "carrying"),
        (("samples", "position", 0), [0.0, 0.0]),
        (("samples", "hold_margin", 0), "inf"),
        (("assumed",), "nothing"),
    ],
)
def test_a_wrong_value_is_noticed(path, value, kept):
    assert errors(changed(kept, path, lambda table, key: table.__setitem__(key, value)))


def test_details_are_open(kept):
    tree = copy.deepcopy(kept)
    tree["checks"][0]["details"]["of a later version"] = [1, {"a": None}]
    tree["of a later version"] = True
    assert errors(tree) == []


def test_plain_reports_from_python_are_valid():
    t = np.linspace(0.0, 1.0, 101)
    film = gm.PadMaterial(pull_off_stress=5e4, shear_strength=5e4, normal_stiffness=1e8, shear_stiffness=3e7)
    report = gm.check(
        trajectory=gm.PoseTrajectory(
            t=t,
            position=np.zeros((101, 3)),
            rotation=np.broadcast_to(np.diag([1.0, -1.0, -1.0]), (101, 3, 3)),
        ),
        gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [0.03, 0.03]),)),
        part=gm.Part(face="plane", rigid=True, mass=1.0, com=[0, 0, 0.01], inertia=1e-2 * np.eye(3)),
        gravity=(0.0, 0.0, 0.0),  # no load, so no margin
    )
    assert report.checks[0].value is None
    assert errors(json.loads(gm.report_json(report, samples=True))) == []
