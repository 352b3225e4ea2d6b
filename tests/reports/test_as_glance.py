"""The report at a glance: short, in the order in which a person needs it, and of one mind with the rest."""

from dataclasses import replace
from pathlib import Path

import pytest

import gripmargin as gm
from gripmargin.reports.as_glance import report_glance, verdict_line

TRAJECTORIES = Path(__file__).parents[2] / "trajectories"


@pytest.fixture(scope="module")
def reports():
    return {name: gm.check_file(TRAJECTORIES / f"{name}.toml") for name in ("window", "window-fast", "lid-no-data")}


def rows(text):
    """The lines of the table, by check."""
    body = text.split("\n\n")[1]
    return {line.split()[0]: line for line in body.splitlines()}


@pytest.mark.parametrize("name", ["window", "window-fast", "lid-no-data"])
def test_a_line_a_check_says_what_the_report_has(reports, name):
    report = reports[name]
    text = report_glance(report)
    assert text.startswith(f"{report.verdict.upper()}  {report.job}\n\n")
    shown = rows(text)
    assert list(shown) == [check.check for check in report.checks]
    for check in report.checks:
        assert shown[check.check].split()[1] == check.verdict
        assert f"{check.measure} {check.value:.2f}" in shown[check.check]
        assert f"target {check.target:g} " in shown[check.check]
        assert f"at {check.at.t:.3f} s" in shown[check.check]


def test_a_pass_takes_some_twelve_lines_and_a_fail_some_twenty(reports):
    lines = {name: len(report_glance(report).splitlines()) for name, report in reports.items()}
    assert lines["window"] <= 13
    assert max(lines.values()) <= 21


def test_what_decides_is_said_with_what_was_shown_to_be_enough(reports):
    report = reports["window-fast"]
    text = " ".join(report_glance(report).split())
    worst = min((f for f in report.findings if f.verdict == "fail"), key=lambda f: f.share)
    assert f"why {worst.check}: {worst.text}" in text
    assert f"to change swing: {next(r for r in worst.remedies if r.shown).text}: then it passes" in text
    assert "explain swing" in text
    assert verdict_line(report).startswith("FAIL  window, tray to frame, transfer in a hurry: swing, margin 1.12")


def test_what_was_not_checked_and_the_caution_are_always_there(reports):
    for report in reports.values():
        text = report_glance(report)
        left = [line for line in text.splitlines() if line.startswith("  not checked  ")]
        assert left == ["  not checked  " + ", ".join(item.check for item in report.not_checked)]
        assert "  caution      a part that falls can hurt someone" in text


def test_checks_that_were_chosen_are_no_verdict_of_the_whole():
    report = gm.check_file(TRAJECTORIES / "window-fast.toml", checks=["preload", "lift_off"])
    assert [check.check for check in report.checks] == ["preload", "lift_off"]
    assert report_glance(report).startswith("PASS  window, tray to frame, transfer in a hurry (chosen checks only)\n")
    assert "(chosen checks only): " in verdict_line(report)
    assert {"hold", "swing"} <= {item.check for item in report.not_checked}


@pytest.mark.parametrize("width", [60, 80, 120])
def test_no_line_is_wider_than_the_terminal(reports, width):
    for report in reports.values():
        assert max(map(len, report_glance(report, width=width).splitlines())) <= width
        assert max(map(len, gm.report_text(report, width=width).splitlines())) <= width


def test_a_cause_stands_before_what_follows_from_it(tmp_path):
    text = (TRAJECTORIES / "window.toml").read_text(encoding="utf-8")
    changed = text.replace('"120 mm"', '"100 mm"')  # the tool is said to be 20 mm shorter than it is
    assert changed != text
    for name in ("window.csv", "arm.urdf"):
        (tmp_path / name).symlink_to(TRAJECTORIES / name)
    (tmp_path / "window.toml").write_text(changed, encoding="utf-8")
    report = gm.check_file(tmp_path / "window.toml")
    said = report_glance(report)
    assert f"  why          {report.causes[0].text[:40]}" in said
    assert f"explain {report.causes[0].code}" in " ".join(said.split())


def test_one_name_alone_chooses_and_no_name_or_a_wrong_one_is_told():
    job = gm.read_job(TRAJECTORIES / "window.toml")
    assert [check.check for check in gm.check_job(job, checks="hold").checks] == ["hold"]
    for wrong, word in (("swin", "did you mean 'swing'"), ([], "at least one"), ([3], "a str"), (3, "a list")):
        with pytest.raises(gm.InputError, match=word):
            gm.check_job(job, checks=wrong)


def test_what_a_cause_keeps_from_being_worked_out_is_said_once():
    job = gm.read_job(TRAJECTORIES / "window.toml")
    report = gm.check_job(replace(job, part=replace(job.part, mass=1e3 * job.part.mass)))
    text = " ".join(report_glance(report).split())
    assert text.count("heavier than any metal") == 1
    assert text.count("not worked out: see below") == sum(check.value is None for check in report.checks) > 1
