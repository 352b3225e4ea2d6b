"""The API reference is made from the docstrings without a warning, and has every public name."""

import re
import subprocess
import sys
import zlib
from pathlib import Path

import pytest

import gripmargin

ROOT = Path(__file__).parents[2]
SOURCE = ROOT / "docs" / "reference"


def build(source: Path, out: Path) -> subprocess.CompletedProcess[str]:
    command = ["-m", "sphinx", "-b", "html", "-W", "-n", "--keep-going", "-q", "-d", f"{out}.trees", source, out]
    return subprocess.run([sys.executable, *map(str, command)], capture_output=True, text=True, check=False, cwd=ROOT)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("reference") / "html"
    run = build(SOURCE, out)
    assert run.returncode == 0, run.stdout + run.stderr
    assert "WARNING" not in run.stderr
    return out


def test_every_public_name_is_in_it(made: Path) -> None:
    *_, packed = (made / "objects.inv").read_bytes().split(b"\n", 4)  # four lines of header, then zlib
    names = {line.split(" py:")[0] for line in zlib.decompress(packed).decode().splitlines() if " py:" in line}
    missing = {name for name in gripmargin.__all__ if f"gripmargin.{name}" not in names}
    assert missing == set(), "list them in docs/reference/index.rst"


def test_names_that_load_later_are_public() -> None:
    assert all(getattr(gripmargin, name) is not None for name in gripmargin.__all__)
    assert set(gripmargin.__all__) <= set(dir(gripmargin))


def test_methods_and_examples_are_in_it(made: Path) -> None:
    page = (made / "index.html").read_text(encoding="utf-8")
    for name in (
        "Pad.rectangle",
        "JointTrajectory.from_toolbox",
        "Report.passed",
        "results.findings.Finding.remedy",
        "Chain.mounted",
    ):
        assert f'id="gripmargin.{name}"' in page
    assert "&gt;&gt;&gt;" in page
    assert not re.search(r"TypeAliasForwardRef|&lt;factory&gt;|Unexpected|_NestedSequence", page)


def test_faults_are_errors(tmp_path: Path) -> None:
    source = tmp_path / "source"
    source.mkdir()
    (source / "conf.py").write_bytes((SOURCE / "conf.py").read_bytes())
    text = ".. autofunction:: gripmargin.chek\n\nSee :py:func:`gripmargin.nothing`.\n"
    (source / "index.rst").write_text(f"Title\n=====\n\n{text}", encoding="utf-8")
    run = build(source, tmp_path / "html")
    assert run.returncode != 0
    assert re.search("failed to import.*'chek'", run.stderr)
    assert "reference target not found: gripmargin.nothing" in run.stderr
