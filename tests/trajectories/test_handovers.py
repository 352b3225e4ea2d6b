"""Preload and release of the jobs: closed forms, and what the reports advise, done: it is enough, and less is not."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.handover.preload import PRELOAD
from gripmargin.checks.handover.release import RELEASE
from gripmargin.files.job_file import read_job
from support.demos import FOLDER, result


def job_of(name):
    return read_job(FOLDER / f"{name}.toml")


def driven(job, program):
    """A job with a joint program whose rates are known; its phases by the labels of the moves."""
    trajectory = gm.JointTrajectory(t=program.t, q=program.q, qd=program.qd, qdd=program.qdd, moves=program.moves)
    if job.trajectory.moves is None:
        kinds = {"preload": ("touch", "press"), "carry": ("lift", "transfer", "lower")}
        kinds["release"] = ("seat", "slide", "leave")
        phases = tuple(gm.Phase(kind=p.kind, moves=kinds[p.kind], release=p.release) for p in job.phases)
        return replace(job, trajectory=trajectory, phases=phases)
    return replace(job, trajectory=trajectory)


def carried_along(job, program):
    """A job with a program of x, y, z, yaw and tilt of the tool."""
    x, y, z, yaw, tilt = program.q.T
    turns = Rotation.from_euler("xz", np.column_stack([np.pi + tilt, yaw])).as_matrix()
    poses = gm.PoseTrajectory(t=program.t, position=np.column_stack([x, y, z]), rotation=turns, moves=program.moves)
    return replace(job, trajectory=poses)


def remedy(report, check, action):
    found = [r for f in report.findings if f.check == check for r in f.remedies if r.action == action]
    assert len(found) == 1
    return found[0]


def release_of(job):
    return RELEASE.answer(work_out(job, trial=True)).results[0]


def preload_of(job):
    return PRELOAD.answer(work_out(job, trial=True)).results[0]


# ---- closed forms ----


def test_moment_of_the_twist(reports):
    """Up to the first break at the rim the shear grows with the radius: T pi R^3 / 2 (torsion of a round bar)."""
    turn = result(reports["window"], "release").details["turn"]
    assert turn["demand"] == pytest.approx(0.6 * 6.5e4 * math.pi * 0.012**3 / 2, rel=0.02)


def test_force_of_the_slide(reports):
    """All cells are sheared alike and break together: T A."""
    slide = result(reports["reflector"], "release").details["slide"]
    assert slide["demand"] == pytest.approx(0.55 * 8e4 * 0.028**2, rel=1e-3)
    travel = result(reports["reflector-short-slide"], "release").details["travel"]
    assert travel["achieved"] == pytest.approx(0.0008, rel=1e-3)
    assert 0.99 * travel["required"] < 0.55 * 8e4 / 3.3e7  # T / k_t: then nothing is left to pull


def test_force_of_the_straight_pull(reports):
    """All cells are stretched alike and break together: S A."""
    lift = result(reports["lid-straight-pull"], "release").details["lift"]
    assert lift["demand"] == pytest.approx(0.7 * 6e4 * math.pi * 0.008**2, rel=2e-3)
    assert lift["restraint"] == pytest.approx(0.040 * 9.80665)


def test_force_after_the_overload(reports):
    """The residual of it."""
    lift = result(reports["lid"], "release").details["lift"]
    assert lift["demand"] == pytest.approx(0.02 * 0.7 * 6e4 * math.pi * 0.008**2, rel=2e-3)


def test_a_peel_takes_far_less_than_a_straight_pull(reports):
    lift = result(reports["diffuser-centred"], "release").details["lift"]
    assert lift["demand"] < 0.25 * 0.5 * 7e4 * 2 * 0.05**2


def test_area_that_a_tilted_tool_presses_on(reports):
    """A cell needs 0.9 of the full preload: depth d - x tan(tilt) on a Winkler layer; a disc cut by that line."""
    depth = 0.9 * 1.5e4 / 1.2e8
    x = (0.25e-3 - depth) / math.tan(math.radians(1.5)) / 0.012
    share = 1 - (math.acos(x) - x * math.sqrt(1 - x * x)) / math.pi
    preload = result(reports["window-askew"], "preload")
    assert preload.details["activated_share"] == pytest.approx(share, abs=0.025)  # half a row of cells
    assert preload.details["tilt"] == pytest.approx(math.radians(1.5), rel=1e-3)
    assert preload.details["tilt_azimuth"] == pytest.approx(0.0, abs=1e-3)


def test_the_askew_window_holds_less_on_the_side_that_stood_off(reports):
    askew, level = (result(reports[name], "hold") for name in ("window-askew", "window"))
    assert askew.value < 0.5 * level.value
    worst = min((f.worst for f in reports["window-askew"].findings if f.check == "hold"), key=lambda w: w["margin"])
    assert worst["point"][0] > 0.003
    assert abs(worst["azimuth"]) < math.radians(75)
    shear, tension = worst["shear_stress"] / worst["shear_strength"], worst["normal_stress"] / worst["pull_off_stress"]
    assert worst["set_aside"] > 0.02
    assert math.hypot(shear, max(tension, 0.0)) + worst["set_aside"] == pytest.approx(1 / worst["margin"], rel=1e-6)
    assert any("Margins count on" in sentence for sentence in reports["window-askew"].assumed)


def test_the_shallow_window_holds_in_proportion(reports):
    """Activation rises in a straight line up to the full preload, so the margin is that share of the full one."""
    share = 1.2e8 * 0.08e-3 / 1.5e4
    assert result(reports["window-shallow"], "preload").value == pytest.approx(share, rel=1e-3)
    full = result(reports["window"], "hold").value
    assert result(reports["window-shallow"], "hold").value == pytest.approx(share * full, rel=0.02)


# ---- release: further ----


def test_twisting_as_far_as_stated_lets_go(programs, reports):
    travel = remedy(reports["window-short-twist"], "release", "travel").figures
    assert travel["kind"] == "torsion"
    job, angle = job_of("window-short-twist"), math.degrees(travel["travel"])
    assert gm.check_job(driven(job, programs.window(twist=angle))).verdict == "pass"
    assert release_of(driven(job, programs.window(twist=angle - 0.2))).verdict == "fail"


def test_tilting_as_far_as_stated_lets_go(programs, reports):
    travel = remedy(reports["diffuser-small-tilt"], "release", "travel").figures
    assert travel["kind"] == "peel"
    job, angle = job_of("diffuser-small-tilt"), math.degrees(travel["travel"])
    hinge = programs.CENTRED_HINGE
    assert gm.check_job(carried_along(job, programs.diffuser(hinge=hinge, tilt=angle))).verdict == "pass"
    assert release_of(carried_along(job, programs.diffuser(hinge=hinge, tilt=angle - 0.1))).verdict == "fail"


def test_sliding_as_far_as_stated_lets_go(programs, reports):
    travel = remedy(reports["reflector-short-slide"], "release", "travel").figures
    assert travel["kind"] == "shear"
    job = job_of("reflector-short-slide")

    def slid(way):
        return driven(job, programs.reflector(period=0.004, slide=way))

    assert gm.check_job(slid(travel["travel"])).verdict == "pass"
    assert release_of(slid(travel["travel"] - 2e-5)).verdict == "fail"


def test_pressing_as_hard_as_stated_lets_go(programs, reports):
    travel = remedy(reports["lid-light-press"], "release", "travel").figures
    assert travel["kind"] == "overload"
    job = job_of("lid-light-press")
    assert gm.check_job(carried_along(job, programs.lid(press=travel["depth"]))).verdict == "pass"
    assert release_of(carried_along(job, programs.lid(press=travel["depth"] - 2e-5))).verdict == "fail"


def test_a_press_that_the_part_may_not_take_is_not_advised(programs):
    job = job_of("lid-light-press")
    report = gm.check_job(replace(job, part=replace(job.part, max_pressure=11e4)), checks=["release"])
    advised = [r for f in report.findings if f.check == "release" for r in f.remedies]
    assert {"none", "hold down"} <= {r.action for r in advised}
    assert "travel" not in {r.action for r in advised}
    assert any("more than the part may take" in r.text for r in advised if r.action == "none")


def test_measuring_the_overload_decides_it(reports):
    (finding,) = reports["lid-no-data"].findings
    assert [r.action for r in finding.remedies] == ["better data"]
    assert "overload_pressure, overload_residual" in finding.remedies[0].text
    job, measured = job_of("lid-no-data"), job_of("lid").gripper.pads[0].material
    pads = tuple(replace(pad, material=measured) for pad in job.gripper.pads)
    assert gm.check_job(replace(job, gripper=replace(job.gripper, pads=pads))).verdict == "pass"


# ---- release: held down ----


@pytest.mark.parametrize(
    "name",
    ["window-short-twist", "diffuser-small-tilt", "reflector-short-slide", "lid-light-press", "lid-straight-pull"],
)
def test_holding_down_as_stated_is_enough(reports, name):
    force = remedy(reports[name], "release", "hold down").figures["force"]
    case = work_out(job_of(name))

    def held(by):
        nest = replace(case.job.nest, hold_down=case.job.nest.hold_down + by)
        return RELEASE.answer(replace(case, job=replace(case.job, nest=nest))).results[0]

    assert held(force).verdict == "pass"
    # found on the first cells, on which the pads hold a little more than on finer ones
    assert held(0.9 * force - 0.2).verdict == "fail"


def test_a_nest_that_takes_as_much_as_stated_is_enough():
    job = job_of("reflector")

    def walled(force):
        return replace(job, nest=replace(job.nest, lateral_force=force))

    # 2.6 times what it is said to take is left out where another way to let go was shown to be enough
    far = [r for f in gm.check_job(walled(20.0), checks=["release"]).findings for r in f.remedies]
    assert [(r.action, r.shown) for r in far] == [("release", True)]
    report = gm.check_job(walled(40.0), checks=["release"])
    assert result(report, "release").verdict == "fail"
    force = remedy(report, "release", "nest").figures["lateral_force"]
    assert release_of(walled(force)).verdict == "pass"
    assert release_of(walled(0.99 * force)).verdict == "fail"


# ---- preload ----


def test_pressing_as_deep_as_stated_is_enough(programs, reports):
    deeper = remedy(reports["window-shallow"], "preload", "press deeper").figures
    assert deeper["longer"] == 0
    job = job_of("window-shallow")
    pressed = programs.SHALLOW + deeper["deeper"]
    report = gm.check_job(driven(job, programs.window(pressed=pressed)))
    assert report.verdict == "pass"
    assert preload_of(driven(job, programs.window(pressed=pressed - 1e-5))).verdict == "fail"


def test_pressing_a_tilted_tool_as_deep_as_stated_is_enough(programs, reports):
    deeper = remedy(reports["window-askew"], "preload", "press deeper").figures
    assert deeper["longer"] == 0
    job, pressed = job_of("window-askew"), 0.00025 + deeper["deeper"]
    report = gm.check_job(driven(job, programs.window(tilt=1.5, pressed=pressed)), trial=True)
    assert result(report, "preload").verdict == "pass"
    # a tilt also shears the cells that bond: what that uses up leaves the swing open
    assert (result(report, "hold").verdict, report.verdict) == ("pass", "undecided")
    assert preload_of(driven(job, programs.window(tilt=1.5, pressed=pressed - 2e-5))).verdict == "fail"


def test_a_tool_as_nearly_parallel_as_stated_is_enough(programs, reports):
    tilt = math.degrees(remedy(reports["window-askew"], "preload", "align").figures["tilt"])
    job = job_of("window-askew")
    assert gm.check_job(driven(job, programs.window(tilt=tilt))).verdict == "pass"
    assert preload_of(driven(job, programs.window(tilt=tilt + 0.03))).verdict == "fail"
