"""The reports of the jobs of the folder, beside the published JSON Schema."""

import json
from importlib import resources

import jsonschema
import pytest

import gripmargin as gm
from gripmargin.reports.schema import SCHEMA_NAME
from support.demos import FOLDER


@pytest.fixture(scope="module")
def validator():
    text = (resources.files("gripmargin.files") / "schemas" / SCHEMA_NAME).read_text(encoding="utf-8")
    return jsonschema.Draft202012Validator(json.loads(text))


@pytest.mark.parametrize("name", sorted(path.stem for path in FOLDER.glob("*.toml")))
def test_reports_are_valid(name, reports, validator):
    tree = json.loads(gm.report_json(reports[name]))
    assert list(validator.iter_errors(tree)) == []
    tree = json.loads(gm.report_json(reports[name], samples=True))
    own = tree["samples"]
    own |= {key: values[::101] for key, values in own.items() if key != "stamp"}  # the others are of the same kind
    assert "carry" in tree["samples"]["phase"]
    assert list(validator.iter_errors(tree)) == []
