"""The cheat sheet names every command, every exit status and keys that a job file has."""

import re
from pathlib import Path

import pytest

from gripmargin import cli
from gripmargin.cli.arguments import EXITS
from gripmargin.files.job_schema import job_schema

PAGE = (Path(__file__).parents[2] / "docs" / "cheat-sheet.md").read_text(encoding="utf-8")


def test_every_command_is_on_it(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["no such command"]) == 2
    known = re.findall(r"'(\w+)'", capsys.readouterr().err.partition("choose from")[2])
    assert set(re.findall(r"`gripmargin (\w+)", PAGE)) == set(known)


def test_every_exit_status_is_on_it_in_the_words_of_the_help() -> None:
    rows = dict(re.findall(r"^\| (\d+) \| (.*?) \|$", PAGE, re.MULTILINE))
    known = dict(re.findall(r"^  (\d+)  ([^(\n]*?)(?: \(.*)?$", EXITS, re.MULTILINE))
    assert rows == known


def test_its_keys_are_keys_and_ten() -> None:
    table = PAGE.partition("## Ten keys")[2]
    rows = [re.findall(r"`([\w.]+)`", line.split("|")[1]) for line in table.splitlines() if line.startswith("| `")]
    assert len(rows) == 10
    text = str(job_schema())
    for key in (name.rpartition(".")[2] for row in rows for name in row):
        assert f"'{key}'" in text
