"""Curves of several checks in one chart, loads of the air by name, and findings of a recording at their time."""

import re
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.contact.loads import AIR_CAUSES
from gripmargin.reports.html.view import View
from gripmargin.reports.series import check_sample, sample_of
from gripmargin.results.findings import worst_first

JOBS = Path(__file__).parents[2] / "trajectories"


@pytest.fixture(scope="module")
def stopped():
    job = gm.read_job(JOBS / "window-stop.toml")
    return gm.check_job(replace(job, targets=replace(job.targets, stop=1.7)))  # one of its own beside hold's


def test_each_curve_says_its_name_and_its_least_share(stopped):
    text = gm.report_html(stopped)
    said = re.findall(r'data-toggle="(\w+)"><svg.*?</svg>(.*?)</button>', text)
    assert {"hold", "swing", "stop", "release", "pressure"} == {check for check, _ in said}
    lows = {check.check: check.low / check.target for check in stopped.checks}
    for check, words in said:
        assert words.startswith(check)
        assert float(words.split()[-1]) == pytest.approx(lows[check], abs=0.0051)
        assert f'data-check="{check}"' in text


def test_findings_stand_on_the_curve_of_their_check(stopped):
    found = [f for f in View.of(stopped, "job1").numbered if f.check == "stop"]
    assert found
    for finding in found:
        share = stopped.shares["stop"][sample_of(stopped, finding)]
        assert share == pytest.approx(finding.worst["margin_low"] / 1.7, rel=1e-6)


def test_a_check_that_was_not_made_has_no_curve(stopped):
    shares = {check: share for check, share in stopped.shares.items() if check != "stop"}
    assert 'data-toggle="stop"' not in gm.report_html(replace(stopped, shares=shares, findings=()))


def test_the_cursor_opens_at_the_finding_that_decides(stopped):
    """The worst of all, whatever its check; with no finding where most of a target is used."""
    view, deciding = View.of(stopped, "job1"), worst_first(stopped.findings)[0]
    assert deciding.check == "stop"
    assert view.cursor == deciding.worst["t"]
    bare = View.of(replace(stopped, findings=()), "job1")
    assert stopped.samples.governing[bare.worst] == np.nanmin(stopped.samples.governing)


def test_findings_of_a_recording_are_placed_by_time():
    report = gm.check_file(JOBS / "window-as-run.toml")
    finding = next(f for f in report.findings if f.check == "recorded")
    check = next(c for c in report.checks if c.check == "recorded")
    step = np.diff(report.samples.t).max()
    for sample in (sample_of(report, finding), check_sample(report, check)):
        assert abs(report.samples.t[sample] - finding.worst["t"]) <= step
        assert sample != finding.worst["sample"]  # which counts samples of the recording


def test_loads_of_the_air_have_their_names(tmp_path):
    text = (JOBS / "window.toml").read_text()
    text = re.sub(r"^\[part\].*$", '\\g<0>\ndrag_area = "2000 cm^2"', text, count=1, flags=re.MULTILINE)
    assert tomllib.loads(text)["part"]["drag_area"] == "2000 cm^2"
    for source in JOBS.glob("*"):
        (tmp_path / source.name).symlink_to(source)
    job = tmp_path / "in-air.toml"
    job.write_text(text)
    report = gm.check_file(job)
    at = np.flatnonzero(report.scene.airborne)
    parts = report.scene.loads_by_cause(report.samples, at)
    assert set(AIR_CAUSES) <= parts.keys()
    assert "other" not in parts
    whole = np.concatenate([report.samples.force, report.samples.moment], axis=1)[at]
    np.testing.assert_allclose(np.sum(list(parts.values()), axis=0), whole, atol=1e-9 * np.abs(whole).max())
    assert "air drag" in gm.report_html(report)
    report.plot.load(tmp_path / "load.svg")


def test_the_figure_of_margins_reaches_down_to_the_worst_stop(stopped):
    (axes,) = stopped.plot.margin().axes
    stop = next(line for line in axes.lines if line.get_label() == "at a stop")
    least = np.nanmin(stopped.samples.stop_margin)
    assert np.nanmax(stop.get_ydata()) == pytest.approx(1.0 / least)
    assert max(axes.get_ylim()) > 1.0 / least
    assert "target 1.7 (stop)" in [line.get_label() for line in axes.lines]
