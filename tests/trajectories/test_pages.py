"""Pictures beside verdicts, of all jobs to run: what is drawn and what is said contradict no verdict."""

import json
import re
from pathlib import Path

import numpy as np
import pytest

import gripmargin as gm

NAMES = sorted(path.stem for path in (Path(__file__).parents[2] / "trajectories").glob("*.toml"))


@pytest.fixture(scope="module")
def trees(reports):
    return {name: json.loads(gm.report_json(report, samples=True)) for name, report in reports.items()}


@pytest.mark.parametrize("name", NAMES)
def test_what_governs_contradicts_no_verdict_of_the_json(name, trees):
    """Every check of the JSON, by the JSON alone: its least over time is its low over its target, at its place."""
    tree = trees[name]
    t, share = np.array(tree["samples"]["t"]), np.array(tree["samples"]["governing"], dtype=float)
    names = np.array(tree["samples"]["governed_by"])
    lows = {c["check"]: c["low"] / c["target"] for c in tree["checks"] if c["low"] is not None}
    worst = [finding["share"] for finding in tree["findings"]]
    assert np.nanmin(share) == pytest.approx(min([*lows.values(), *worst]), rel=1e-9)
    for check in tree["checks"]:
        low = check["low_at"] or check["at"]
        assert share[np.argmin(np.abs(t - low["t"]))] <= lows[check["check"]] * (1 + 1e-9)
        if check["verdict"] == "fail":
            assert share[np.argmin(np.abs(t - check["at"]["t"]))] < 1.0
    assert (np.nanmin(share) >= 1.0) == (tree["verdict"] == "pass")
    for finding in tree["findings"]:
        inside = (t >= finding["from"]) & (t <= finding["to"])
        assert np.nanmin(share[inside]) <= finding["share"] * (1 + 1e-9)
    for deciding in sorted(tree["findings"], key=lambda f: (f["verdict"] != "fail", f["share"]))[:1]:
        assert deciding["check"] in names[np.abs(t - deciding["worst"]["t"]) <= np.diff(t).max()]
    assert {*names} - {""} <= {*lows}


@pytest.mark.parametrize("name", NAMES)
def test_the_page_says_and_draws_what_the_json_has(name, reports, trees):
    """Verdict, checks, findings, moves and curves of the page, taken out of its text, against the JSON alone."""
    tree = trees[name]
    page, samples = gm.report_html(reports[name]), tree["samples"]
    own = [f for f in tree["findings"] if f["check"] not in {c for cause in tree["causes"] for c in cause["explains"]}]
    ranked = sorted(own, key=lambda f: (f["verdict"] != "fail", f["share"], f["from"]))
    assert re.search(r'<p class="word">(\w+)</p>', page)[1] == tree["verdict"]
    rows = re.findall(r'<tr><th scope="row">([\w ]+)</th><td><span class="stamp (\w+)">.*?<b>(.*?)</b>', page)
    assert [row[:2] for row in rows] == [(c["check"].replace("_", " "), c["verdict"]) for c in tree["checks"]]
    cards = re.findall(r'<details class="card (\w+)" id="job1-f\d+"[^>]*>.*?</span>([\w ]+) at ([\d.]+) s', page)
    due = [(f["verdict"], f["check"].replace("_", " ").capitalize(), f"{f['worst']['t']:.3f}") for f in ranked[:12]]
    assert cards == due
    t, share = np.array(samples["t"]), np.array(samples["governing"], dtype=float)
    k = np.argmin(np.abs(t - ranked[0]["worst"]["t"])) if ranked else np.nanargmin(share)
    opened = re.search(
        r'<output[^>]*>([\d.]+) s</output>.*?<b data-say="governs">([\w ]+) ([\d.]+|over 1000)</b>', page
    )
    assert opened[1] == f"{t[k]:.3f}"
    assert opened[2] == samples["governed_by"][k].replace("_", " ")
    assert float(opened[3]) == pytest.approx(share[k], abs=0.0051)
    lows = {c["check"].replace("_", " "): c["low"] / c["target"] for c in tree["checks"] if c["low"] is not None}
    for check, least in re.findall(r"<button [^>]*data-toggle=[^>]*>.*?</svg>([\w ]+) ([\d.]+)</button>", page):
        undecided = min((f["share"] for f in own if f["check"].replace("_", " ") == check), default=np.inf)
        assert float(least) == pytest.approx(min(lows[check], undecided), abs=0.0051)
    table = page[page.index('class="table numbers moves"') :].split("</table>")[0]
    moves = re.findall(r'<tr><th scope="row">([^<]*)</th><td>[^<]*</td><td>[\d. –]+</td><td>([\d.]+)</td><td>', table)
    for move, least in moves:
        inside = np.array(samples["move"] or samples["phase"]) == move
        assert float(least) >= np.nanmin(share[inside]) - 0.0051
    short = {f["worst"].get("move") for f in tree["findings"] if f["share"] < 0.99} - {None}
    assert short <= {move for move, least in moves if float(least) < 1.0}
