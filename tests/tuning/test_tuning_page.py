"""The page on tuning names every key of its JSON, and figures as they are in the code."""

import re
from itertools import islice
from pathlib import Path

import gripmargin as gm
from gripmargin.tuning import choosing, grasp, override, retiming, tune
from gripmargin.tuning.layouts import layouts

PAGE = (Path(__file__).parents[2] / "docs" / "tuning.md").read_text(encoding="utf-8")


def keys(tree, path=""):
    """Every key of a tree; those of a report are on their own page, those of causes are names."""
    if isinstance(tree, dict):
        for key, value in tree.items():
            yield key
            if key not in ("report", "causes"):
                yield from keys(value)
    elif isinstance(tree, list):
        for item in tree:
            yield from keys(item)


def test_every_key_is_on_the_page(random_path_job, monkeypatch):
    monkeypatch.setattr(choosing, "layouts", lambda job: islice(layouts(job), 1))  # all of them take long
    passing = gm.tune(random_path_job(1), retime=True, grasp=True)
    heavy = gm.tune(random_path_job(1, hold=50.0))
    import json

    named = set(re.findall(r"\w+", " ".join(re.findall(r"`([\w.\[\], ]+)`", PAGE))))
    for tuning in (passing, heavy):
        assert set(keys(json.loads(gm.tuning_json(tuning)))) <= named


def test_figures_of_the_page_are_those_of_the_code():
    page = " ".join(PAGE.split())
    assert f"looked for up to {override.FASTEST:g} times the speed" in page
    assert f"{1e3 * retiming.SHORTEST_RAMP:g} to {1e3 * retiming.LONGEST_RAMP:g} ms" in page
    assert f"A margin of {100 * (retiming.RESERVE - 1):.1g} % over the targets" in page
    assert f"checked at {retiming.FINEST:g} samples a second" in page
    assert f"`--rate` samples a second ({tune.RATE:g})" in page
    assert f"up to {round(57.2958 * grasp.STEEPEST)} degrees" in page
