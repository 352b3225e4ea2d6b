"""The house rules that a machine can check: format, lint, types, import direction, what lies where."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
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


def test_top_level_holds_what_it_should() -> None:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode != 0:
        pytest.skip("not a git checkout")
    names = {line.split("/")[0] for line in listed.stdout.splitlines()}
    assert {name for name in names if not name.startswith(".")} == TOP_LEVEL


def test_no_room_is_crowded() -> None:
    crowded = {
        str(path.relative_to(ROOT)): lines
        for path in (ROOT / "src").rglob("*.py")
        if (lines := len(path.read_text().splitlines())) > CROWDED
    }
    assert crowded == {}


def test_importing_the_package_loads_no_robot_toolbox_and_no_plotting() -> None:
    heavy = "{'roboticstoolbox', 'matplotlib', 'scipy.signal', 'pint', 'pydantic'}"
    code = f"import sys, gripmargin; print(sorted({heavy} & set(sys.modules)))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"
