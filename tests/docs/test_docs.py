"""The pages say what the program does: their examples run, their outputs and tables are its own.

`python tests/docs/test_docs.py` writes the outputs shown in the pages anew.
"""

import contextlib
import importlib.util
import io
import itertools
import json
import math
import os
import re
import shlex
import tempfile
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import gripmargin
from gripmargin import cli
from gripmargin.base.errors import InputError
from gripmargin.base.poses import CONVENTIONS, rotations
from gripmargin.base.units import DIMENSIONS, parse_quantity
from gripmargin.checks import registry
from gripmargin.checks.case import work_out
from gripmargin.checks.handover import pressure
from gripmargin.checks.handover import words as handover_words
from gripmargin.checks.hold import remedies, use
from gripmargin.contact import cells, limit, restraint, simulation, travel
from gripmargin.files.job_builder import build_job
from gripmargin.files.job_file import read_columns, read_job
from gripmargin.files.job_keys import Frame
from gripmargin.files.job_schema import JobFile, job_schema
from gripmargin.files.job_values import MOST_OPTIONS
from gripmargin.files.trajectory_file import read_trajectory
from gripmargin.files.waypoint_file import read_waypoints
from gripmargin.kernels import least_work
from gripmargin.motion import consistency, holes, interpolate, joints, rates
from gripmargin.motion.chain import Chain, chain_from_axes
from gripmargin.motion.trajectory import MAX_SAMPLES, RESOLVED, JointTrajectory, PoseTrajectory
from gripmargin.run import assumptions
from gripmargin.run import one as checker
from gripmargin.workcell import Pad, Targets

ROOT = Path(__file__).parents[2]
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]
COMMANDS = ("gripmargin ", ".venv/bin/gripmargin ")
FENCE = re.compile(r"^( *)```(\w*) *(\w*)[ \w.+]*\n(.*?)^\1```$", re.MULTILINE | re.DOTALL)
NUMBER = re.compile(r"(?<![\w.])[-+]?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")


@dataclass(frozen=True)
class Block:
    """A fenced block of a page."""

    page: Path
    line: int
    start: int
    end: int
    kind: str
    mark: str
    text: str

    @property
    def name(self) -> str:
        return f"{self.page.name}:{self.line}"


def blocks_of(page: Path) -> list[Block]:
    text = page.read_text(encoding="utf-8")
    return [
        Block(page, text.count("\n", 0, m.start()) + 1, m.start(4), m.end(4), m[2], m[3], m[4])
        for m in FENCE.finditer(text)
    ]


BLOCKS = [block for page in PAGES for block in blocks_of(page)]


def of_kind(*kinds: str) -> list[Any]:
    """Blocks that stand for themselves; those of a session are run in order by test_sessions.py."""
    return [pytest.param(block, id=block.name) for block in BLOCKS if block.kind in kinds and block.mark != "session"]


def page_text(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def rows(name: str) -> list[list[str]]:
    """The cells of all table rows of a page, without headers and rules."""
    lines = page_text(name).splitlines()
    found = []
    for line, following in itertools.pairwise([*lines, ""]):
        if line.startswith("|") and not line.startswith("|---") and not following.startswith("|---"):
            found.append([cell.strip() for cell in line.strip("|").split("|")])
    return found


# ---- running what the pages show ----


@contextlib.contextmanager
def a_users_folder() -> Iterator[Path]:
    """A scratch folder with the jobs in it and the files that the pages speak of."""
    before = Path.cwd()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for item in ("trajectories", "src"):
            (folder / item).symlink_to(ROOT / item)
        least, wrong = job_blocks()[0].text, next(b for b in BLOCKS if b.mark == "wrong").text
        (folder / "wrong.toml").write_text(re.sub(r"\[part\]\n(.+\n)+", wrong, least), encoding="utf-8")
        (folder / "jobs").mkdir()
        for job in ("window.toml", "reflector.toml"):
            text = (ROOT / "trajectories" / job).read_text(encoding="utf-8")
            text = re.sub(r'(trajectory|urdf) = "', r'\1 = "../trajectories/', text)
            (folder / "jobs" / job).write_text(text, encoding="utf-8")
        (folder / "job.toml").write_text((folder / "jobs" / "window.toml").read_text().replace("../", ""))
        os.chdir(folder)
        try:
            yield folder
        finally:
            os.chdir(before)


SEVERAL = ("parts.", "picks.", "nests.")  # tables that have the keys of those of one
REPORTS: dict[str, gripmargin.Report] = {}


def check_once(path: str | Path, *, checks: Any = None) -> gripmargin.Report:
    """Check a job file, the same job no matter from which folder only once."""
    if checks is not None:
        return CHECK_FILE(path, checks=checks)
    try:
        job = re.sub(r'"(\.\./)?(trajectories/)?', '"', Path(path).read_text(encoding="utf-8"))
    except OSError:
        return CHECK_FILE(path)
    if job not in REPORTS:
        REPORTS[job] = CHECK_FILE(path)
    return REPORTS[job]


CHECK_FILE = checker.check_file


def run_command(line: str) -> tuple[str, int]:
    """Run the command in this process; return what a terminal would show, and the exit status."""
    words = shlex.split(line)[1:]
    arguments = [str(p) for w in words for p in (sorted(Path().glob(w)) if "*" in w else [w])]
    shown = io.StringIO()
    with (
        contextlib.redirect_stdout(shown),
        contextlib.redirect_stderr(shown),
        mock.patch.object(checker, "check_file", check_once),
    ):
        status = cli.main(arguments)
    return shown.getvalue(), status


def console(block: Block) -> str:
    """The block with the outputs of its commands as they are now."""
    out, status = [], 0
    for line in block.text.splitlines():
        if not line.startswith("$ "):
            continue
        out.append(line + "\n")
        if line == "$ echo $?":
            out.append(f"{status}\n")
            continue
        assert line[2:].startswith(COMMANDS), f"{block.name}: {line}"
        text, status = run_command(line[2:])
        out.append(text.rstrip("\n") + "\n")
    return "".join(out)


def python(block: Block) -> str:
    """What a script prints, run in the root of the project."""
    shown, before = io.StringIO(), Path.cwd()
    os.chdir(ROOT)
    try:
        with contextlib.redirect_stdout(shown):
            exec(compile(block.text, block.name, "exec"), {"__name__": "__main__"})  # noqa: S102 - our own pages
    finally:
        os.chdir(before)
    return shown.getvalue()


def shown_outputs(page: Path) -> list[tuple[Block, str]]:
    """Blocks of a page that show outputs, with what they should show."""
    found = []
    own = [block for block in blocks_of(page) if block.mark != "session"]
    for block, following in itertools.zip_longest(own, own[1:]):
        if block.kind == "console":
            with a_users_folder():
                found.append((block, console(block)))
        elif block.kind == "python" and following is not None and following.kind == "text":
            found.append((following, python(block)))
    return found


def assert_same_text(found: str, shown: str, where: str) -> None:
    """Same words in the same order; a number may be off by one in its last digit, as rounding may differ."""
    found, shown = " ".join(found.split()), " ".join(shown.split())
    advice = f"{where}: run 'python tests/docs/test_docs.py' and read what changed"
    assert NUMBER.sub("#", found) == NUMBER.sub("#", shown), advice
    for a, b in zip(NUMBER.findall(found), NUMBER.findall(shown), strict=True):
        mantissa, _, exponent = b.lower().partition("e")
        digits = len(mantissa.partition(".")[2])
        last = 10.0 ** (int(exponent or 0) - digits)
        whole = "." not in b and not exponent  # counts, times and places are exact
        assert abs(float(a) - float(b)) <= (0.0 if whole else 1.01 * last), f"{advice}: {b} is {a}"


@pytest.mark.parametrize("block", of_kind("python"))
def test_python_example(block: Block) -> None:
    shown = python(block)
    text = block.page.read_text(encoding="utf-8")
    following = next((b for b in blocks_of(block.page) if b.start > block.start), None)
    if shown:
        assert following is not None, block.name
        assert following.kind == "text", f"{block.name}: prints, and no output is shown"
        assert text[block.end : following.start].count("\n") <= 4, f"{block.name}: its output stands elsewhere"
        assert_same_text(shown, following.text, block.name)


@pytest.mark.parametrize("block", of_kind("console"))
def test_console_example(block: Block) -> None:
    with a_users_folder():
        assert_same_text(console(block), block.text, block.name)


def test_the_readme_shows_a_failing_run_as_it_is() -> None:
    block = next(b for b in BLOCKS if b.page.name == "README.md" and b.kind == "console")
    assert "\nFAIL  " in block.text
    assert block.text.endswith("$ echo $?\n1\n")


def commands_in_text() -> list[Any]:
    found = []
    for block in BLOCKS:
        if block.kind == "sh":
            found += [(block.name, line.strip()) for line in block.text.splitlines()]
    for page in PAGES:
        prose = FENCE.sub("", page.read_text(encoding="utf-8"))
        found += [(page.name, code) for code in re.findall(r"`(gripmargin check [^`]+)`", prose)]
    return [
        pytest.param(where, line, id=f"{where} {line}")
        for where, line in found
        if line.startswith(COMMANDS) and "JOB" not in line
    ]


@pytest.mark.parametrize(("where", "line"), commands_in_text())
def test_commands_run(where: str, line: str) -> None:
    with a_users_folder():
        shown, status = run_command(line)
    assert status in (cli.PASSED, cli.SHORT), f"{where}: {shown}"


def test_set_up_is_what_the_pipeline_does() -> None:
    pipeline = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    for page in ("README.md", "DEVELOPERS.md"):
        assert "python3 -m venv .venv && .venv/bin/python -m pip install -e '.[test]'\n" in page_text(page)
        assert "\n.venv/bin/python -m pytest -n auto\n" in page_text(page)
    assert re.search(r"^python3 -m venv (--clear )?\.venv$", pipeline, re.MULTILINE)
    assert re.search(r"^\.venv/bin/python -m pip install (--quiet )?-e '\.\[test\]'$", pipeline, re.MULTILINE)
    assert re.search(r"^\.venv/bin/python -m pytest -n auto( 2>.*)?$", pipeline, re.MULTILINE)


@pytest.mark.parametrize(
    ("found", "shown"),
    [("margin 1.56", "margin 1.54"), ("fails 1.54", "passes 1.54"), ("1.54", "1.54 2"), ("3 jobs", "4 jobs")],
)
def test_a_page_out_of_step_is_noticed(found: str, shown: str) -> None:
    with pytest.raises(AssertionError):
        assert_same_text(found, shown, "page")
    assert_same_text("margin  1.55,\n7.8e-08 rad", "margin 1.54, 7.7e-08 rad", "page")


# ---- links ----


def anchors(page: Path) -> set[str]:
    headings = re.findall(r"^#+ (.+)$", FENCE.sub("", page.read_text(encoding="utf-8")), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)\s]+)\)", FENCE.sub("", page.read_text(encoding="utf-8"))):
        assert "://" not in target, "pages link to pages"
        name, _, anchor = target.partition("#")
        file = (page.parent / name).resolve() if name else page
        assert file.exists(), target
        if anchor:
            assert anchor in anchors(file), target


def test_the_index_names_every_page() -> None:
    linked = set(re.findall(r"\]\(([^)#]+)\)", page_text("docs/index.md")))
    here = {path.name for path in (ROOT / "docs").iterdir() if path.name != "index.md"}
    assert linked == here | {"../README.md", "../DEVELOPERS.md"}


# ---- tables against the code ----


def test_checks_of_the_readme_are_those_made() -> None:
    defaults = Targets()
    listed = {row[0].strip("`"): row for row in rows("docs/checks.md") if len(row) == 6}
    assert list(listed) == [judged.name for judged in registry.judged()]
    for check, row in listed.items():
        name = {"lift_off": "hold", "recorded": "hold", "swing_as_run": "swing"}.get(check, check)
        assert row[2] == f"`targets.{name}`"
        default = getattr(defaults, name)
        if name == "swing":
            assert default is None
            assert row[3] == "that of hold"
            continue
        assert row[3].startswith("none" if default is None else f"{default:g}")


def test_exit_statuses_of_the_readme_are_those_of_the_command() -> None:
    help_text = io.StringIO()
    with contextlib.redirect_stdout(help_text):
        assert cli.main(["check", "--help"]) == 0
    shown = {int(row[0]): row[1] for row in rows("docs/checks.md") if len(row) == 2 and row[0].isdigit()}
    own = {int(k): v for k, v in re.findall(r"^ {2}(\d+) {2}(.+)$", help_text.getvalue(), re.MULTILINE)}
    assert set(shown) == set(own) == {cli.PASSED, cli.SHORT, cli.BAD_INPUT, cli.UNDECIDED, cli.INTERNAL, 130}
    for status, text in own.items():
        assert shown[status].startswith(text)


def test_targets_by_analogy_follow_their_formula() -> None:
    table = [row for row in rows("docs/choosing-targets.md") if row[0].startswith("target")]
    header = next(line for line in page_text("docs/choosing-targets.md").splitlines() if line.startswith("| tilt"))
    angles = [float(a) for a in re.findall(r"(\d+)°", header)]
    assert [float(v) for v in table[0][1:]] == [round(2 + 2 * math.sin(math.radians(a)), 1) for a in angles]


def test_rooms_are_listed_in_the_order_of_the_contract() -> None:
    project = tomllib.loads(page_text("pyproject.toml"))
    layers = project["tool"]["importlinter"]["contracts"][0]["layers"]
    listed = [re.findall(r"`(\w+)`", row[0]) for row in rows("DEVELOPERS.md") if len(row) == 2]
    assert len(listed) == 11
    assert listed == [re.split(r" [:|] ", layer) for layer in layers]


def test_names_for_contributors_exist() -> None:
    names = re.findall(r"`([^`\s]+)`", FENCE.sub("", page_text("DEVELOPERS.md")))
    paths = [name for name in names if re.search(r"/|\.(py|toml|md)$", name) and not re.search(r"[<*]", name)]
    dotted = [name for name in names if name not in paths and re.fullmatch(r"[a-z]+(\.\w+)+", name)]
    assert len(paths) > 10
    assert len(dotted) > 10
    for path in paths:
        assert (ROOT / path).exists() or (ROOT / "src" / "gripmargin" / path).exists(), path
    for name in dotted:
        head, *rest = name.split(".")
        rooms = [f"gripmargin.{room}{head}" for room in ("", "base.", "files.", "checks.", "results.", "run.")]
        found: Any = importlib.import_module(next(room for room in rooms if importlib.util.find_spec(room)))
        for step in rest:
            found = getattr(found, step)


def test_versions_agree() -> None:
    project = tomllib.loads(page_text("pyproject.toml"))
    module, _, name = project["tool"]["setuptools"]["dynamic"]["version"]["attr"].rpartition(".")
    place = f"src/{module.replace('.', '/')}.py"
    assert name == "__version__"
    assert "version" not in project["project"]
    assert project["project"]["dynamic"] == ["version"]
    assert f'__version__ = "{gripmargin.__version__}"' in page_text(place)
    assert f"Set the version in `{place}`, the only place that has it" in page_text("DEVELOPERS.md")
    headings = re.findall(r"^## (.+)$", page_text("docs/CHANGELOG.md"), re.MULTILINE)
    assert headings[0] == "Unreleased"
    assert len(headings) == 1 or headings[1].startswith(gripmargin.__version__)


def figures() -> dict[str, list[str]]:
    """Phrases of the pages with the figures of the code in them."""
    return {
        "docs/theory.md": [
            f"must give the travel within {100 * consistency.SPEED_TOLERANCE:g} %",
            f"within {100 * consistency.BARE_SPEED_TOLERANCE:g} % where there are none",
            f"the change of speed within {100 * consistency.ACCELERATION_TOLERANCE:g} %",
            f"A turn of {math.degrees(rates.LARGEST_TURN):g} degrees or more between two samples is refused",
            f"It is sampled every {1e3 * interpolate.CONTROLLER_PERIOD:g} ms",
            f"normal more than {math.degrees(math.acos(cells.STEEPEST)):g} degrees off",
            f"circumscribed, with {Pad.DISC_CORNERS} corners",
            f"Where the bounds do not agree within `{10 * limit.RELATIVE_GAP:.0e}`".replace("e-03", "e-3"),
            f"both bounds agree within `{10 * least_work.LAST:.0e}`".replace("e-05", "e-5"),
            f"The coverage factor {use.COVERAGE:g} stands for",
            f"stand out from all of it with {100 * use.SURE:g} %",
            f"more than {('five', 'six')[int(holes.GAP_STEPS - 5)]} median steps",
            f"without speeds more than {1e3 * joints.LINEAR_SPACING:g} ms apart",
            f"the shift is {1e3 * remedies.WORTH_SHIFTING:g} mm or more and the pads stay on the part",
            f"no factor of {remedies.SLOWEST:g} or more helps",
            f"The factor, up to {remedies.LARGEST_PADS:g}, by which every pad",
            f"more than {('four', 'five')[int(assumptions.MUCH_LARGER - 4)]} times the area of the coupon",
            f"beyond {1e3 * consistency.NO_MOTION:g} mrad or mm makes the interval a doubt",
            f"where those given are more than {1e3 * RESOLVED:.0f} ms apart",
            f"to within {travel.SEATED:g} of the displacement that breaks a full bond",
            f"cut into cells, {cells.CELLS_ACROSS} along the longer side",
            f"No cell moves by more than 1/{1 / simulation.STEP:g} of what breaks a full bond",
            f"the demand is above {restraint.NEGLIGIBLE:g} of the part's weight",
            f"more than {pressure.BEYOND:g} times what the pads need",
        ],
        "docs/job-file.md": [
            f"At most {MAX_SAMPLES / 1e6:g} million samples",
            f"moving robot are more than {1e3 * joints.LINEAR_SPACING:g} ms apart",
            f"a force above {restraint.NEGLIGIBLE:g} of the part's weight",
        ],
        "docs/report.md": [f"only where the ratio is below {handover_words.WORTH_SAYING:g}"],
        "docs/choosing-targets.md": [
            f"`preload = {Targets().preload:g}`",
            f"`pressure = {Targets().pressure:.1f}`",
            f"`release = {Targets().release:g}`",
            f"`hold = {Targets().hold:.1f}`",
        ],
    }


def test_figures_in_the_text_are_those_of_the_code() -> None:
    for page, phrases in figures().items():
        text = " ".join(page_text(page).split())
        for phrase in phrases:
            assert phrase in text, page


def test_the_python_version_is_the_one_required() -> None:
    required = tomllib.loads(page_text("pyproject.toml"))["project"]["requires-python"]
    assert f"Python {required.removeprefix('>=')} or newer" in page_text("README.md")


# ---- the job file ----


def job_blocks() -> list[Block]:
    return [b for b in BLOCKS if b.page.name == "job-file.md" and b.kind == "toml" and not b.mark]


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
        *(f"program.phases[].{one}" for one in ("part", "pick", "nest")),
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


@pytest.fixture
def slide_arm() -> Chain:
    eye = np.eye(4)
    return chain_from_axes(
        [eye] * 3, [[0, 0, 1], [0, 1, 0], [0, 0, 1]], [True, True, False], eye, names=("shoulder", "elbow", "lift")
    )


@pytest.mark.parametrize("block", of_kind("csv", "yaml"))
def test_trajectory_examples_are_read(block: Block, slide_arm: Chain, tmp_path: Path) -> None:
    path = tmp_path / f"example.{block.kind}"
    path.write_text(block.text, encoding="utf-8")
    if block.mark == "waypoints":
        assert [point.move for point in read_waypoints(path).points] == ["", "lift", "transfer", "lower"]
        return
    trajectory = read_trajectory(path, robot=slide_arm)
    kind = {"joints": JointTrajectory, "poses": PoseTrajectory}[block.mark]
    assert isinstance(trajectory, kind)
    if isinstance(trajectory, JointTrajectory) and block.kind == "csv":
        assert trajectory.moves == ("lift", "lift", *("transfer",) * 3)
        assert trajectory.q[0] == pytest.approx([math.radians(10), math.radians(20), 0.150])


def refresh() -> None:
    """Write the outputs shown in the pages anew."""
    for page in PAGES:
        text = page.read_text(encoding="utf-8")
        for block, output in reversed(shown_outputs(page)):
            text = text[: block.start] + output + text[block.end :]
        page.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    refresh()
