"""What the reports of the jobs to run advise works when it is done, and less does not."""

from __future__ import annotations

from dataclasses import replace

import pytest

import gripmargin
from gripmargin.files.job_file import read_job
from gripmargin.motion.trajectory import JointTrajectory
from support.demos import FOLDER, held_only, remedies, result, with_program


def test_slowing_the_move_by_the_stated_factor_passes(programs, reports, tmp_path):
    factors = {remedy.figures["factor"] for remedy in remedies(reports["window-fast"], "hold", "slow")}
    assert factors
    for factor in factors:
        slowed = programs.window({"transfer": programs.FAST["transfer"] * factor})
        path = with_program(tmp_path, "window-fast", "window-fast.csv", programs.joint_csv(slowed, "slowed"))
        report = gripmargin.check_file(path)
        assert result(report).verdict == "pass"
        # and the advice is not far too careful
        assert result(report).value < 1.5 * result(report).target


def test_slowing_until_the_swing_passes_too(programs, reports, tmp_path):
    found = remedies(reports["window-fast"], "swing", "slow")
    factor = min(remedy.figures["factor"] for remedy in found)
    slowed = programs.window(dict.fromkeys(("lift", "lower"), factor) | {"transfer": 1.6 * factor})
    path = with_program(tmp_path, "window-fast", "window-fast.csv", programs.joint_csv(slowed, "slowed"))
    report = gripmargin.check_file(path)
    assert result(report, "swing").verdict == "pass"
    assert result(report, "swing").value < 1.5 * result(report, "swing").target


def test_the_roller_cleans_all_with_the_stroke_that_is_advised(programs, reports, tmp_path):
    remedy = next(r for r in remedies(reports["lid-cleaned-short"], "cleaning", "travel") if "each_end" in r.figures)
    for more, verdict in ((remedy.figures["each_end"], "pass"), (0.8 * remedy.figures["each_end"], "fail")):
        text = programs.pose_csv(programs.lid(roll=programs.SHORT_ROLL + more), "longer")
        path = with_program(tmp_path, "lid-cleaned-short", "lid-cleaned-short.csv", text)
        assert result(gripmargin.check_file(path, checks=("cleaning",)), "cleaning").verdict == verdict


def test_the_abrupt_sensor_passes_with_the_jerk_that_is_advised(programs, reports, tmp_path):
    remedy = remedies(reports["sensor-abrupt"], "swing", "smooth")[0]
    smooth = programs.sensor(jerk=4.0 / remedy.figures["rise"])
    path = with_program(tmp_path, "sensor-abrupt", "sensor-abrupt.csv", programs.pose_csv(smooth, "smooth"))
    assert gripmargin.check_file(path).verdict == "pass"


def test_the_hasty_sensor_passes_after_the_wait_that_is_advised(programs, reports, tmp_path):
    wait = remedies(reports["sensor-hasty"], "settle", "wait")[0].figures["wait"]
    for longer, verdict in ((wait + 0.01, "pass"), (wait - 0.02, "fail")):
        later = programs.sensor(wait=programs.HASTY + longer)
        path = with_program(tmp_path, "sensor-hasty", "sensor-hasty.csv", programs.pose_csv(later, "later"))
        report = gripmargin.check_file(path)
        assert (report.verdict == "pass") == (verdict == "pass")


def test_moving_the_pads_by_the_stated_shift_gives_the_stated_margin(programs, reports, tmp_path):
    remedy = remedies(reports["diffuser"], "hold", "shift pads")[0]
    x, y = 1e3 * remedy.figures["x"], 1e3 * remedy.figures["y"]
    assert f"x {x:+.0f} mm, y {y:+.0f} mm" in remedy.text
    # the edge about which the tool tilts off moves with the pads
    program = programs.pose_csv(programs.diffuser(hinge=0.025 + remedy.figures["y"]), "pads moved")
    changes = [(f'["{at} mm", "0 mm", "0 mm"]', f'["{at + x:.0f} mm", "{y:.0f} mm", "0 mm"]') for at in (-220, 220)]
    report = gripmargin.check_file(with_program(tmp_path, "diffuser", "diffuser.csv", program, *changes))
    assert report.verdict == "pass"
    assert result(report).value == pytest.approx(remedy.figures["margin"], rel=0.02)


@pytest.mark.parametrize("name", ["window-fast", "diffuser"])
def test_larger_pads_by_the_stated_factor_pass_and_smaller_ones_do_not(reports, name):
    factor = max(remedy.figures["factor"] for remedy in remedies(reports[name], "hold", "larger pads"))

    def larger(job, by):
        pads = tuple(replace(pad, outline=by * pad.outline, edge=by * pad.edge) for pad in job.gripper.pads)
        return replace(job, gripper=replace(job.gripper, pads=pads))

    job = larger(read_job(FOLDER / f"{name}.toml"), factor)
    assert result(gripmargin.check_job(job, checks=["hold"])).verdict == "pass"
    assert gripmargin.check_job(larger(held_only(name), factor - 0.02), trial=True).verdict != "pass"


def test_a_move_left_out_of_the_phases_is_judged_all_the_same():
    job = held_only("window-fast")
    kept = tuple(
        replace(phase, moves=tuple(m for m in phase.moves if m != "transfer")) if phase.kind == "carry" else phase
        for phase in job.phases
    )
    report = gripmargin.check_job(replace(job, phases=kept), trial=True)
    assert report.verdict == "fail"
    assert any("'transfer'" in sentence and "judged as carry" in sentence for sentence in report.assumed)


@pytest.mark.parametrize("name", ["window-fast", "diffuser", "driver"])
def test_raising_the_strength_by_the_stated_factor_passes_and_less_does_not(reports, name):
    factor = max(remedy.figures["factor"] for remedy in remedies(reports[name], "hold", "strengthen"))
    job = held_only(name)

    def stronger(by):
        return replace(job, part=replace(job.part, surface_factor=job.part.surface_factor * by))

    assert result(gripmargin.check_job(stronger(factor), checks=["hold"])).verdict == "pass"
    assert result(gripmargin.check_job(stronger(factor - 0.02), trial=True)).verdict != "pass"


def test_no_speed_saves_the_driver(programs, reports):
    assert not any("slow move" in finding.remedy for finding in reports["driver"].findings)
    slow = programs.driver(dict.fromkeys(("turn up", "to rail", "hook on"), 0.3))
    job = held_only("driver")
    known = JointTrajectory(t=slow.t, q=slow.q, qd=slow.qd, qdd=slow.qdd, moves=slow.moves)
    assert gripmargin.check_job(replace(job, trajectory=known), trial=True).verdict == "fail"
