"""The pages say what the program does: their examples run, their outputs and tables are its own.

`python tests/docs/test_docs.py` writes the outputs shown in the pages anew.
"""

import contextlib
import io
import itertools
import math
import os
import re
import shlex
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np
import pytest

import gripmargin
from gripmargin import cli
from gripmargin.files.trajectory_file import read_trajectory
from gripmargin.files.waypoint_file import read_waypoints
from gripmargin.motion.chain import Chain, chain_from_axes
from gripmargin.motion.trajectory import JointTrajectory, PoseTrajectory
from gripmargin.run import one as checker

sys.path.insert(0, str(Path(__file__).parents[1]))  # as pytest does

from support.pages import BLOCKS, FENCE, PAGES, ROOT, Block, blocks_of, job_blocks, of_kind, page_text

COMMANDS = ("gripmargin ", ".venv/bin/gripmargin ")
NUMBER = re.compile(r"(?<![\w.])[-+]?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")


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
