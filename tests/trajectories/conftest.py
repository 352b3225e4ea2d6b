"""The jobs of the folder, each checked once where it is asked for, and the programs they run."""

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


class Reports(dict):
    """Reports by the names of jobs, each made when it is first asked for."""

    def __missing__(self, name):
        self[name] = gripmargin.check_file(FOLDER / f"{name}.toml")
        return self[name]


@pytest.fixture(scope="session")
def reports():
    return Reports()
