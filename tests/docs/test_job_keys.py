"""The page of the job file names the keys of the schema, its jobs are read, and keys without effect have none."""

import json
import math
import re
import tomllib
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import gripmargin
from gripmargin.base.errors import InputError
from gripmargin.base.poses import CONVENTIONS, rotations
from gripmargin.base.units import DIMENSIONS, parse_quantity
from gripmargin.checks.case import work_out
from gripmargin.files.job_builder import build_job
from gripmargin.files.job_file import read_columns, read_job
from gripmargin.files.job_keys import Frame
from gripmargin.files.job_schema import JobFile, job_schema
from gripmargin.files.job_values import MOST_OPTIONS
from gripmargin.files.trajectory_file import read_trajectory
from support.pages import BLOCKS, ROOT, job_blocks, page_text, rows

SEVERAL = ("parts.", "picks.", "nests.")  # tables that have the keys of those of one
# ---- the job file ----


# Tables that several keys hold, and what the page says that these hold; it calls them by the last word.
OF_MANY_KEYS = {
    "PoseTable": "pose",
    "FaceTable": "face",
    "ColumnsTable": "columns",
    "ColumnGroupTable": "column group",
    "TimeColumnTable": "column of times",
}


def schema_keys(schema: dict[str, Any]) -> dict[str, tuple[bool, str]]:
    """Every key of the published schema: whether it is required, and what it holds, in words."""
    definitions = schema["$defs"]
    found: dict[str, tuple[bool, str]] = {}

    def walk(node: dict[str, Any], path: str, required: bool) -> None:
        options = [o for o in node.get("anyOf", [node]) if o.get("type") != "null"]
        if len(options) > 1:  # a name or a number, a list or one entry of it
            found[path] = (required, words(options[-1] if options[-1]["type"] == "array" else node))
            return
        (node,) = options
        if "$ref" in node:
            name = node["$ref"].rsplit("/", 1)[-1]
            if name in OF_MANY_KEYS:
                found[path] = (required, OF_MANY_KEYS[name])
                table(definitions[name], f"<{OF_MANY_KEYS[name].split(' ')[-1]}>")
            else:
                table(definitions[name], path)
        elif "oneOf" in node:
            for option in node["oneOf"]:
                walk(option, path, required)
        elif "properties" in node:
            table(node, path)
        elif "$ref" in str(node.get("additionalProperties")):
            walk(node["additionalProperties"], f"{path}.<name>", required)
        elif node.get("type") == "array" and "items" in node and "$ref" in str(node["items"]):
            walk(node["items"], f"{path}[]", required)
        else:
            found[path] = (required, words(node))

    def table(node: dict[str, Any], path: str) -> None:
        for key, value in node["properties"].items():
            inner = f"{path}.{key}" if path else key
            walk(value, inner, key in node.get("required", []))

    table(schema, "")
    return found


def words(node: dict[str, Any]) -> str:
    """What a leaf of the schema holds: dimensions, choices, "text" or "number"."""
    if "anyOf" in node:
        return "name;number"
    if "enum" in node and len(node["enum"]) > MOST_OPTIONS:
        return "a convention"
    if "enum" in node:
        return ";".join(str(option) for option in node["enum"])
    if "const" in node:
        return str(node["const"])
    if "additionalProperties" in node:
        return words(node["additionalProperties"])
    if "description" in node:
        return ";".join(re.findall(r"([a-z][a-z ]*?)(?: with its unit,)? such as", node["description"]))
    if node.get("type") == "array":
        parts = node.get("prefixItems") or [node["items"]]
        return ";".join(words(part) for part in parts)
    return {"string": "text", "number": "number", "integer": "number", "boolean": "true or false"}[node["type"]]


def documented_keys() -> dict[str, list[str]]:
    return {row[0].strip("`"): row[1:] for row in rows("docs/job-file.md") if len(row) == 6}


def test_every_key_of_the_schema_is_documented_and_no_other() -> None:
    keys = {*schema_keys(job_schema())}
    assert len(keys) > 60
    of_one = {key for key in keys if not key.startswith(SEVERAL)}
    assert set(documented_keys()) == of_one
    told = "`[parts.<name>]`, `[picks.<name>]` and `[nests.<name>]`, whose keys are those of `[part]`,\n`[pick]`"
    assert told in page_text("docs/job-file.md")
    assert {re.sub(r"^(\w+)s\.<name>", r"\1", key) for key in keys - of_one} <= of_one


def test_documented_kinds_and_requirements_are_those_of_the_schema() -> None:
    documented = documented_keys()
    for key, (required, kind) in schema_keys(job_schema()).items():
        if key.startswith(SEVERAL):
            continue
        holds, is_required = documented[key][:2]
        plural = holds.replace("ies", "y")
        if key in ("gripper.pads[].size", "gripper.pads[].diameter", "gripper.pads[].outline"):
            assert is_required.startswith("with"), key
        else:
            assert (is_required == "yes") == required, key
        if key not in ("gripper.pads[].shape", "job.accept"):  # whose values the text gives
            for word in kind.replace("moment of inertia", "of inertia").split(";"):
                assert re.sub(r"^or ", "", word.strip()) in plural.replace("moments", "moment"), (key, word, holds)


def test_published_schema_file_is_that_of_the_code() -> None:
    path = re.search(r"`(src/gripmargin/files/schemas/\S+)`", page_text("docs/job-file.md"))
    assert path is not None
    assert json.loads((ROOT / path[1]).read_text(encoding="utf-8")) == job_schema()


def written(folder: Path, text: str) -> Path:
    for file in ("arm.urdf", "window.csv", "window-as-run.csv", "diffuser.csv"):
        (folder / file).symlink_to(ROOT / "trajectories" / file)
    (folder / "job.toml").write_text(text, encoding="utf-8")
    return folder / "job.toml"


@pytest.mark.parametrize("index", [0, 1])
def test_jobs_of_the_page_are_read(tmp_path: Path, index: int) -> None:
    job = read_job(written(tmp_path, job_blocks()[index].text))
    assert work_out(job).carried.size > 0


def test_forces_of_the_page_are_read(tmp_path: Path) -> None:
    forces = next(b for b in BLOCKS if b.mark == "process").text
    text = job_blocks()[1].text
    path = written(tmp_path, text[: text.index("[[process]]")] + forces.replace("insert", "lower"))
    assert [force.name for force in read_job(path).process] == ["socket", "guide"]


def keys_in(tree: Any, path: str = "") -> set[str]:
    if isinstance(tree, dict):
        if path.endswith((".at", ".tool", ".base", ".face", ".wrist")):
            return {path}
        named = path in ("materials", "cleaners")
        return set().union(*(keys_in(v, f"{path}.{'<name>' if named else k}".strip(".")) for k, v in tree.items()))
    if isinstance(tree, list) and tree and isinstance(tree[0], dict):
        return set().union(*(keys_in(item, f"{path}[]") for item in tree))
    return {path}


def test_the_long_job_leaves_out_only_alternatives() -> None:
    given = keys_in(tomllib.loads(job_blocks()[1].text))
    documented = {key for key in documented_keys() if not key.startswith("<")}
    assert documented - given == {
        "robot.model",
        "robot.xacro_arguments",
        "robot.packages",
        "materials.<name>.pulls",
        "cleaners.<name>.outline",
        "cleaners.<name>.rigid",
        "part.bending_stiffness",
        "part.stiffness_axis",
        "part.twisting_stiffness",
        *(f"part.components[].{key}" for key in ("mass", "at", "size", "angle")),
        *(f"pick.peel_{key}" for key in ("energy", "angle", "direction", "speed")),
        *(f"program.phases[].{one}" for one in ("part", "pick", "nest", "station")),
        *(f"{each}[].station" for each in ("gripper.pads", "process")),
        *(f"gripper.stations[].{key}" for key in ("name", "at")),
        *(f"{place}.{key}" for place in ("pick", "nest") for key in ("step", "places")),
        "stop.time",
        "stop.deceleration",
        "stop.speed",
        "program.topic",
        "program.waypoints",
        "program.columns",
        "program.recording_topic",
        "program.recording_columns",
    }


def test_the_table_of_orientations_is_one_orientation() -> None:
    """Each line by its name, and by the product of turns that it shows."""
    found = [
        row for row in rows("docs/job-file.md") if len(row) == 4 and row[0].strip("`").split("`")[-1] in CONVENTIONS
    ]
    assert len(found) == 9
    due = Rotation.from_euler("ZYX", [30, 45, 60], degrees=True).as_matrix()
    for names, _, turn, example in found:
        convention = names.strip("`").split("`")[-1]
        values = np.array([float(number) for number in example.split(",")])
        angles = np.deg2rad(values) if len(values) == 3 else values
        assert rotations(angles, convention) == pytest.approx(due, abs=1e-6), convention
        key = {"angles": angles} if len(values) == 3 else {"quaternion": values}
        assert Frame(**key, convention=convention).matrix[:3, :3] == pytest.approx(due, abs=1e-6)
        if turn:
            product = np.eye(3)
            for axis, angle in re.findall(r"R([xyz])\(([abc])\)", turn):
                product = product @ Rotation.from_euler(axis, angles["abc".index(angle)]).as_matrix()
            assert product == pytest.approx(due, abs=1e-6), convention


def test_the_map_of_the_page_reads_its_log(tmp_path: Path) -> None:
    block = next(b for b in BLOCKS if b.mark == "columns")
    log = tmp_path / "log.csv"
    log.write_text("timestamp,actual_q_0,target_q_0,load\n" + "".join(f"{i * 0.008},{i},{i},{i}\n" for i in range(5)))
    with pytest.raises(InputError, match="2 groups of joint positions"):
        read_trajectory(log)
    assert read_trajectory(log, columns=read_columns(block.text, "page")).samples == 5


def without(tree: Any, steps: list[str]) -> bool:
    """Remove a key in every table that has it; say whether there was one."""
    head, *rest = steps
    if head.endswith("[]"):
        return sum(without(item, rest) for item in tree.get(head[:-2], [])) > 0
    if head == "<name>":
        return sum(without(item, rest) for item in tree.values()) > 0
    if not rest:
        return tree.pop(head, None) is not None
    return head in tree and without(tree[head], rest)


def test_keys_said_to_have_no_effect_have_none(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    tree = tomllib.loads(job_blocks()[1].text)
    # what takes time, and has no key without effect
    del tree["gripper"]["pads"][1:], tree["nest"], tree["targets"]["one_pad_lost"]
    del tree["cleaners"], tree["program"]["phases"][-1], tree["targets"]["interval"]
    del tree["part"]["clearance"]  # how far it droops under forces is not worked out
    tree["targets"] |= {"hold": 0.5, "peel": 0.5, "stop": 0.1, "swing": 0.3}
    tree["job"]["accept"] = ["target"]
    base = gripmargin.check_job(build_job(written(tmp_path, ""), JobFile.model_validate(tree)))
    idle = [key for key, cells in documented_keys().items() if cells[3] == "not yet" and not key.startswith("<")]
    removed = [key for key in idle if without(tree, key.split("."))]
    assert set(removed) <= {item.check for item in base.not_checked}  # and the report says so
    assert set(idle) == set(removed)
    bare = gripmargin.check_job(build_job(path, JobFile.model_validate(tree)))
    assert [c.verdict for c in base.checks] == ["pass"] * len(base.checks)
    assert bare.checks == base.checks
    texts = ("phase", "move", "governed_by", "joint_names", "joint_units")
    for field in fields(base.samples):
        a, b = getattr(bare.samples, field.name), getattr(base.samples, field.name)
        assert np.array_equal(a, b, equal_nan=field.name not in texts), field.name


def test_units_of_the_page() -> None:
    table = {row[0]: row[1].strip("`") for row in rows("docs/job-file.md") if len(row) == 2 and row[0] in DIMENSIONS}
    assert set(table) == set(DIMENSIONS)
    for dimension, example in table.items():
        assert math.isfinite(parse_quantity(example, dimension, "page"))
    line = re.search(r"^Units known: (.+)\.$", page_text("docs/job-file.md"), re.MULTILINE)
    assert line is not None
    measures = {"angle": ("rad", "deg", "rev"), "time": ("s", "min", "h"), "force": ("N", "kgf", "lbf")}
    measures |= {"length": ("m", "in", "ft"), "mass": ("g", "t", "lb", "oz"), "stress": ("Pa", "bar", "psi")}
    named = [re.sub(r" \(.*\)$", "", unit) for unit in line[1].split(", ")]
    for dimension, units in measures.items():
        for unit in units:
            assert unit in named
            assert math.isfinite(parse_quantity(f"1 {unit}", dimension, "page"))
    for unit, dimension, product in (("rpm", "angular speed", ""), ("J", "energy per area", "/m^2"), ("Hz", "", "")):
        assert unit in named
        if dimension:
            assert math.isfinite(parse_quantity(f"1 {unit}{product}", dimension, "page"))
