"""Pictures beside verdicts, of all jobs to run: what is drawn and what is said contradict no verdict."""

import json
from pathlib import Path

import numpy as np
import pytest

import gripmargin as gm

NAMES = sorted(path.stem for path in (Path(__file__).parents[2] / "trajectories").glob("*.toml"))


@pytest.mark.parametrize("name", NAMES)
def test_what_governs_contradicts_no_verdict_of_the_json(name, reports):
    """Every check of the JSON, by the JSON alone: its least over time is its low over its target, at its place."""
    tree = json.loads(gm.report_json(reports[name], samples=True))
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
