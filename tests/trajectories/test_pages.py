"""Pictures beside verdicts, of all jobs to run: what is drawn and what is said contradict no verdict."""

import re
from pathlib import Path

import numpy as np
import pytest

NAMES = sorted(path.stem for path in (Path(__file__).parents[2] / "trajectories").glob("*.toml"))
ONE = [name for name in NAMES if not name.startswith(("kit", "swap"))]  # jobs of one hold, whose page is one section


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


@pytest.mark.parametrize("name", ONE)
def test_the_page_says_and_draws_what_the_json_has(name, pages, trees):
    """Verdict, checks, findings, moves and curves of the page, taken out of its text, against the JSON alone."""
    tree = trees[name]
    page, samples = pages[name], tree["samples"]
    own = [f for f in tree["findings"] if f["check"] not in {c for cause in tree["causes"] for c in cause["explains"]}]
    ranked = sorted(own, key=lambda f: (f["verdict"] != "fail", f["share"], f["from"]))
    assert re.search(r'<p class="word">(\w+)</p>', page)[1] == tree["verdict"]
    checks = page[page.index('class="table checks"') :].split("</table>")[0]
    rows = re.findall(r'<tr><th scope="row">([\w ]+)</th><td><span class="stamp (\w+)">.*?<b>(.*?)</b>', checks)
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
    labels, phases = np.array(samples["move"] or samples["phase"]), np.array(samples["phase"])
    lows = {c["check"].replace("_", " "): c["low"] / c["target"] for c in tree["checks"] if c["low"] is not None}
    for check, least in re.findall(r"<button [^>]*data-toggle=[^>]*>.*?</svg>([\w ]+) ([\d.]+)</button>", page):
        undecided = min((f["share"] for f in own if f["check"].replace("_", " ") == check), default=np.inf)
        assert alike(least, min(lows[check], undecided))
    table = page[page.index('class="table numbers moves"') :].split("</table>")[0]
    row = r'<tr><th scope="row">([^<]*)</th><td>([^<]*)</td><td>([\d.]+) – ([\d.]+)</td><td>(.*?)</td><td>(.*?)</td>'
    moves = []
    for move, phase, start, end, least, check in re.findall(row, table):
        inside = (t >= float(start) - 5e-4) & (t <= float(end) + 5e-4) & (labels == move)
        assert {*phases[inside]} == {*phase.split(", ")}
        assert inside.any()
        if least in ("–", "∞"):  # nothing says anything there, or nothing loads the pads: neither is a number of JSON
            assert np.isnan(share[inside]).all()
            assert bool(check) == (least == "∞")
            continue
        k = np.nanargmin(np.where(inside, share, np.nan))
        assert alike(least, share[k])
        assert check == samples["governed_by"][k].replace("_", " ")
        moves.append((move, least))
    short = {f["worst"].get("move") for f in tree["findings"] if f["share"] < 0.99} - {None}
    assert short <= {move for move, least in moves if least[0] == "0"}


@pytest.mark.parametrize("name", ONE)
def test_curve_and_faces_show_the_figures_of_the_json(name, pages, trees):
    """The strong line is at its lowest the least share of all; the faces are used as far as the margin says that is."""
    tree, samples = trees[name], trees[name]["samples"]
    page, t = pages[name], np.array(samples["t"])
    share = np.array(samples["governing"], dtype=float)
    chart = page[page.index('class="frame tall"') :].split("</figure>")[0]
    ticks = re.findall(r'<text x="100%" y="([\d.]+)%"[^>]*>([\d.]+)</text>', chart)
    ((height, value), *_) = ((float(y), float(text)) for y, text in ticks if text == "1")
    bottom = 100.0 * value / height  # use at the lower edge: heights are those of the use
    line = re.search(r'<path class="s1" d="([^"]+)"', chart)[1]
    x, y = np.array([point.split()[:2] for point in re.split("[ML]", line.replace("h2", ""))[1:]], dtype=float).T
    deepest = 1.0 / max(np.nanmin(share), 1e-9)
    assert y.max() / 1000.0 * bottom == pytest.approx(min(deepest, bottom), abs=0.02 * bottom)
    if deepest < bottom:
        at = t[0] + x[y.argmax()] / 1000.0 * (t[-1] - t[0])
        assert np.nanmin(share[np.abs(t - at) <= 0.006 * (t[-1] - t[0])]) == pytest.approx(np.nanmin(share), rel=5e-3)
    said = re.search(r'data-face="said">At ([\d.]+) s (.*?)</p>', page)
    k = np.argmin(np.abs(t - float(said[1])))
    if "does not hang" in said[2]:
        assert samples["hold_margin"][k] is None
        return
    of = re.search(r'The load is <b data-say="load">(.*?)</b>', page)[1]
    name = samples["governed_by"][k]
    if name in ("swing", "stop"):
        margin = samples[f"{name}_margin"][k]
    elif name in ("recorded", "swing_as_run"):  # worst where the page opens
        margin = next(c["value"] for c in tree["checks"] if c["check"] == name)
    else:
        name, margin = "the program’s motion, without swing or stop", samples["hold_margin"][k]
    assert of == f"that of {name.replace('_', ' ')}"
    due = 100.0 / margin
    assert float(re.search(r": (\d+) % of what it holds", said[2])[1]) == pytest.approx(due, abs=0.51)


def alike(said, value):
    """Whether a figure on the page stands for a value: two decimals, fewer from 100 on."""
    return value >= 999.5 if said == "over 1000" else abs(float(said) - value) <= (0.0051 if value < 100 else 0.51)
