"""The jobs of the folder, each checked once where it is asked for, and the programs they run."""

import importlib
import json

import pytest

import gripmargin
from support.demos import FOLDER


@pytest.fixture(scope="session")
def programs():
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(FOLDER))
        yield importlib.import_module("make_programs")


class Made(dict):
    """Something by the names of jobs, each made when it is first asked for."""

    def __init__(self, make):
        super().__init__()
        self._make = make

    def __missing__(self, name):
        self[name] = self._make(name)
        return self[name]


@pytest.fixture(scope="session")
def reports():
    return Made(lambda name: gripmargin.check_file(FOLDER / f"{name}.toml"))


@pytest.fixture(scope="session")
def trees(reports):
    return Made(lambda name: json.loads(gripmargin.report_json(reports[name], samples=True)))


@pytest.fixture(scope="session")
def pages(reports):
    return Made(lambda name: gripmargin.report_html(reports[name]))
