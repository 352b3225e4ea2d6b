"""`gripmargin init`: what is printed and written, and that nothing is overwritten."""

import shutil
import tomllib
from pathlib import Path

import pytest

from gripmargin import cli

JOBS = Path(__file__).parents[2] / "trajectories"


@pytest.fixture
def here(tmp_path, monkeypatch):
    for name in ("lid.csv", "window.csv", "arm.urdf"):
        shutil.copy(JOBS / name, tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_it_prints_a_job_and_writes_none(here, capsys):
    assert cli.main(["init", "lid.csv"]) == 0
    tree = tomllib.loads(capsys.readouterr().out)
    assert tree["program"]["trajectory"] == "lid.csv"
    assert "robot" not in tree
    assert len(list(here.iterdir())) == 3


def test_what_is_written_names_its_files_from_where_it_is_and_is_refused_until_filled_in(here, capsys):
    Path("jobs").mkdir()
    assert cli.main(["init", "window.csv", "--robot", "arm.urdf", "-o", "jobs/window.toml"]) == 0
    said = capsys.readouterr().out
    tree = tomllib.loads(Path("jobs/window.toml").read_text(encoding="utf-8"))
    assert tree["program"]["trajectory"] == "../window.csv"
    assert tree["robot"]["urdf"] == "../arm.urdf"
    assert cli.main(["check", "jobs/window.toml"]) == 2
    lines = capsys.readouterr().err.splitlines()
    named = [line for line in lines if "still to be measured" in line]
    assert said.startswith(f"jobs/window.toml: {len(named)} values to be measured")


def test_columns_stand_in_the_job(here, capsys):
    text = Path("lid.csv").read_text().replace("t [s]", "clock [s]", 1).replace("clock [s]", "clock")
    Path("log.csv").write_text(text)
    assert cli.main(["init", "log.csv", "--columns", 'time = { name = "clock", unit = "s" }']) == 0
    tree = tomllib.loads(capsys.readouterr().out)
    assert tree["program"]["columns"]["time"] == {"name": "clock", "unit": "s"}
    assert [phase["kind"] for phase in tree["program"]["phases"]] == ["preload", "carry", "release"]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["lid.csv", "-o", "job.txt"], "--output: found 'job.txt', expected a file that ends in .toml"),
        (["lid.csv", "-o", "old.toml"], "--output: found 'old.toml', which is there already"),
        (["old.toml", "-o", "old.toml"], "--output: found 'old.toml', which is read"),
        (["lid.csv", "-o", "no/job.toml"], "no/job.toml: found"),
        (["window.csv"], "a joint program without a robot"),
        (["window.csv", "--end-link", "tool0"], "--end-link: found a link of no robot"),
        (["none.csv", "-o", "job.toml"], "none.csv: found no such file"),
    ],
)
def test_wrong_calls(here, capsys, arguments, says):
    Path("old.toml").write_text("mine")
    assert cli.main(["init", *arguments]) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert says in shown.err
    assert Path("old.toml").read_text() == "mine"
    assert len(list(here.iterdir())) == 4
