"""The house rules that a machine can check: format, lint, types, import direction, what lies where."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SOURCE, TESTS = ROOT / "src" / "gripmargin", ROOT / "tests"
CROWDED = 450  # lines of a source file from which it wants walls of its own
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "src", "tests", "trajectories", "docs"}


@pytest.mark.parametrize(
    "command",
    [
        ["-m", "ruff", "format", "--check", "src", "tests", "trajectories"],
        ["-m", "ruff", "check", "src", "tests", "trajectories"],
        ["-m", "mypy"],
        [
            "-c",
            "import sys; from importlinter.cli import lint_imports_command as run; sys.argv=['lint-imports']; run()",
        ],
    ],
    ids=["format", "lint", "types", "import direction"],
)
def test_tool_is_content(command: list[str]) -> None:
    run = subprocess.run([sys.executable, *command], cwd=ROOT, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stdout + run.stderr


def tracked():
    """The files of the project, as parts of their paths."""
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode != 0:
        pytest.skip("not a git checkout")
    return [Path(line).parts for line in listed.stdout.splitlines()]


def test_top_level_holds_what_it_should() -> None:
    assert {parts[0] for parts in tracked() if not parts[0].startswith(".")} == TOP_LEVEL


def test_package_holds_rooms_and_its_entrances() -> None:
    within = [parts[2:] for parts in tracked() if parts[:2] == ("src", "gripmargin")]
    assert {parts[0] for parts in within if len(parts) == 1} == {"__init__.py", "__main__.py", "py.typed"}


def test_no_room_is_crowded() -> None:
    crowded = {
        str(path.relative_to(ROOT)): lines
        for path in SOURCE.rglob("*.py")
        if (lines := len(path.read_text().splitlines())) > CROWDED
    }
    assert crowded == {}


def test_tests_of_a_room_are_named_after_what_they_test() -> None:
    """After a module of their room, or after the room as a whole: test_<module>.py, test_<module>_<what>.py."""
    lost = []
    for path in TESTS.rglob("test_*.py"):
        room = SOURCE / path.parent.relative_to(TESTS)
        known = {room.name, *(inner.stem for inner in room.glob("*") if inner.suffix == ".py" or inner.is_dir())}
        named = path.stem.removeprefix("test_")
        if room.is_dir() and not any(f"{named}_".startswith(f"{name}_") for name in known):
            lost.append(str(path.relative_to(ROOT)))
    assert lost == []


def test_no_test_imports_a_private_name() -> None:
    private = [
        f"{path.relative_to(ROOT)}: {alias.name}"
        for path in TESTS.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
        if alias.name.startswith("_") and not alias.name.startswith("__")
    ]
    assert private == []


def test_nothing_is_asserted_in_the_sources() -> None:
    """What a function needs is in its types, or is refused by an error of the project."""
    asserted = [
        f"{path.relative_to(ROOT)}:{node.lineno}"
        for path in SOURCE.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Assert)
    ]
    assert asserted == []


def test_comparisons_with_targets_stand_in_one_place() -> None:
    """A name that is a target is compared by `results/findings.py` alone, so that NaN never passes."""
    compared = [
        f"{path.relative_to(ROOT)}:{node.lineno}"
        for path in SOURCE.rglob("*.py")
        if path != SOURCE / "results" / "findings.py"
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Compare) and any(isinstance(op, ast.Lt | ast.LtE | ast.Gt | ast.GtE) for op in node.ops)
        if any(_is_target(side) for side in (node.left, *node.comparators))
    ]
    assert compared == []


def _is_target(node: ast.expr) -> bool:
    return any(
        (isinstance(part, ast.Name) and part.id == "target")
        or (isinstance(part, ast.Attribute) and part.attr == "target")
        for part in ast.walk(node)
    )
