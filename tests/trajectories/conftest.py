"""The jobs of the folder, each checked once, and the programs they run."""

import importlib
from pathlib import Path

import pytest

import gripmargin

FOLDER = Path(__file__).parents[2] / "trajectories"


@pytest.fixture(scope="session")
def programs():
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(FOLDER))
        yield importlib.import_module("make_programs")


@pytest.fixture(scope="session")
def reports():
    return {path.stem: gripmargin.check_file(path) for path in sorted(FOLDER.glob("*.toml"))}
