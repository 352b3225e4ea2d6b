"""Jobs in folders, and the command run on them."""

import pytest

from gripmargin import cli


@pytest.fixture
def run(capsys, monkeypatch, tmp_path):
    """Run `gripmargin check` in the folder of the jobs, in this process; return status, output, errors."""
    monkeypatch.chdir(tmp_path)

    def make(*arguments):
        status = cli.main(["check", *arguments])
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        return status, out, err

    return make


@pytest.fixture
def folder(write, tmp_path):
    """Jobs in folders: good and heavy here, two good ones deeper down."""
    write("good")
    write("heavy", "8 kg")
    for deep in ("line/a", "line/b"):
        (tmp_path / deep).mkdir(parents=True)
        for ending in ("toml", "csv"):
            text = (tmp_path / f"good.{ending}").read_text()
            (tmp_path / deep / f"good.{ending}").write_text(text.replace('name = "good"', f'name = "{deep}"'))
    return tmp_path
