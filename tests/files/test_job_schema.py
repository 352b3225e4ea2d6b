"""The published JSON Schema of the job file: in step with the reader, and agreeing with it on files."""

import json
import tomllib
from importlib import resources
from pathlib import Path

import jsonschema
import pytest

from gripmargin.base.units import DIMENSIONS, parse_quantity
from gripmargin.files.job_schema import SCHEMA_NAME, job_schema, key_path, table_at

GOOD = Path(__file__).parents[1] / "bad_input" / "good" / "job.toml"


def published():
    return json.loads((resources.files("gripmargin.files") / "schemas" / SCHEMA_NAME).read_text(encoding="utf-8"))


def test_published_schema_is_in_step():
    assert published() == job_schema(), "write json.dumps(job_schema(), indent=2) to the schema file again"


def test_published_schema_is_a_schema_and_takes_the_good_job():
    jsonschema.Draft202012Validator.check_schema(published())
    jsonschema.validate(tomllib.loads(GOOD.read_text(encoding="utf-8")), published(), jsonschema.Draft202012Validator)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('mass = "1.0 kg"', "mass = 1.0"),
        ("surface_factor = 0.8", "surface_facter = 0.8"),
        ("surface_factor = 0.8", "surface_factor = 0"),
        ('shape = "disc"', 'shape = "circle"'),
        ('kind = "carry"', 'kind = "carrying"'),
        ('size = ["50 mm", "50 mm"]', 'size = ["50 mm"]'),
    ],
)
def test_published_schema_refuses(old, new):
    text = GOOD.read_text(encoding="utf-8")
    assert old in text
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(tomllib.loads(text.replace(old, new)), published(), jsonschema.Draft202012Validator)


def quantities(tree):
    if isinstance(tree, dict):
        if str(tree.get("description", "")).partition(" with its unit")[1]:
            yield tree
        for value in tree.values():
            yield from quantities(value)
    elif isinstance(tree, list):
        for value in tree:
            yield from quantities(value)


def test_quantities_are_strings_that_name_their_dimension():
    found = list(quantities(published()))
    assert len(found) > 30
    for entry in found:
        assert entry["type"] == "string"
        dimension = entry["description"].partition(" with its unit")[0]
        assert parse_quantity(DIMENSIONS[dimension][1], dimension, "") > 0


@pytest.mark.parametrize(
    ("place", "text"),
    [
        (("gripper", "pads", 1, "disc", "size", 0), "gripper.pads[1].size[0]"),
        (("materials", "disc", "peel_energy"), "materials.disc.peel_energy"),
        (("materials", "a b", "peel_energy"), 'materials."a b".peel_energy'),
        (("materials", "", "[key]"), 'materials.""'),
    ],
)
def test_key_paths(place, text):
    assert key_path(place) == text


def test_tables_are_found_by_place():
    assert table_at(("gripper", "pads", 0, "disc", "at")).__name__ == "PoseTable"
    assert table_at(("program", "phases", 3)).__name__ == "PhaseTable"
    assert table_at(("part", "mass")) is None
