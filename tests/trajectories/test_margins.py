"""Margins of the jobs to run: by hand, by another library, and with the exact rates of their programs."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

import gripmargin
from gripmargin.files.job_file import read_job
from gripmargin.motion.tool_motion import joint_motion
from gripmargin.motion.trajectory import JointTrajectory
from support.demos import FOLDER, held_only, result

# ---- margins at standstill, by hand: sigma = N/A + M c/I (strength of materials) ----


def test_diffuser_at_rest_by_hand(reports):
    weight, arm, side, area = 1.796 * 9.80665, 0.0419, 0.050, 2 * 0.050**2
    tension = weight / area + weight * arm * (side / 2) / (2 * side**4 / 12)
    margin = 0.5 * 7.0e4 / tension
    samples = reports["diffuser"].samples
    last = max(i for i, kind in enumerate(samples.phase) if kind == "carry")
    assert samples.hold_margin[last] == pytest.approx(margin, rel=1e-3)


def test_driver_upright_by_hand(reports):
    weight, arm, side = 0.560 * 9.80665, 0.026, 0.033
    tension = weight * arm * (side / 2) / (side**4 / 12)
    use = math.hypot(tension / (0.5 * 8.0e4), weight / side**2 / (0.5 * 7.0e4))
    samples = reports["driver"].samples
    middle = samples.move.index("show") + 100
    assert samples.hold_margin[middle] == pytest.approx(1 / use, rel=1e-6)


def test_window_at_rest_by_hand(reports):
    margin = 0.6 * 7.5e4 * math.pi * 0.012**2 / (0.510 * 9.80665)
    samples = reports["window"].samples
    rest = samples.move.index("transfer")  # the part hangs still, lifted: accelerations are estimated at the rest's end
    assert samples.hold_margin[rest] == pytest.approx(margin, rel=1e-2)


def test_fast_transfer_by_pinocchio_and_closed_forms(programs, reports):
    """Accelerations by Pinocchio, then Newton and Euler, then N/A + M/W and F/A + T r/J of a disc."""
    pin = pytest.importorskip("pinocchio")
    model = pin.buildModelFromUrdf(str(FOLDER / "arm.urdf"))
    flange = model.frames[model.getFrameId("flange")]
    place = flange.placement * pin.SE3(np.eye(3), np.array([0.0, 0.0, 0.12]))
    tool = model.addFrame(pin.Frame("tool", flange.parentJoint, place, pin.FrameType.OP_FRAME))
    data = model.createData()
    program = programs.window(programs.FAST)
    mass, com = 0.510, np.array([0.0, 0.0, 0.0025])
    inertia = np.diag([1.229e-3, 2.449e-3, 3.676e-3])
    radius, pull, shear = 0.012, 0.6 * 7.5e4, 0.6 * 6.5e4
    area, section, polar = math.pi * radius**2, math.pi * radius**3 / 4, math.pi * radius**4 / 2
    rim = np.linspace(0.0, 2 * math.pi, 721)
    x, y = radius * np.cos(rim), radius * np.sin(rim)
    most = 0.0
    for i in np.flatnonzero(np.array(program.moves) == "transfer"):
        pin.forwardKinematics(model, data, program.q[i], program.qd[i], program.qdd[i])
        pin.updateFramePlacements(model, data)
        at = pin.getFrameClassicalAcceleration(model, data, tool, pin.LOCAL)
        omega, alpha = pin.getFrameVelocity(model, data, tool, pin.LOCAL).angular, at.angular
        gravity = data.oMf[tool].rotation.T @ np.array([0.0, 0.0, -9.80665])
        force = mass * (gravity - at.linear - np.cross(alpha, com) - np.cross(omega, np.cross(omega, com)))
        moment = np.cross(com, force) - inertia @ alpha - np.cross(omega, inertia @ omega)
        tension = force[2] / area + (moment[0] * y - moment[1] * x) / (section * radius)
        along = force[0] / area - moment[2] * y / polar, force[1] / area + moment[2] * x / polar
        use = np.hypot(np.hypot(*along) / shear, np.maximum(tension, 0.0) / pull)
        most = max(most, use.max())
    job = held_only("window-fast")
    known = JointTrajectory(t=program.t, q=program.q, qd=program.qd, qdd=program.qdd, moves=program.moves)
    found = result(gripmargin.check_job(replace(job, trajectory=known))).value
    # the rim is judged at corners of a polygon around the disc, 0.12 % outside it
    assert 1 / most * (1 - 3e-3) <= found <= 1 / most


# ---- estimated rates against the program's own, which are known in closed form ----


@pytest.mark.parametrize(
    ("name", "make"),
    [
        ("window", lambda p: p.window()),
        ("window-fast", lambda p: p.window(p.FAST)),
        ("window-recorded", lambda p: p.window(p.RECORDED, period=0.001)),
    ],
)
def test_true_margin_lies_within_what_the_report_says(programs, reports, name, make):
    true = make(programs)
    job = held_only(name)
    known = JointTrajectory(t=true.t, q=true.q, qd=true.qd, qdd=true.qdd, moves=true.moves)
    exact = gripmargin.check_job(replace(job, trajectory=known))
    hold, sure = result(reports[name]), result(exact)
    assert hold.low <= sure.value <= hold.high
    given = np.searchsorted(exact.samples.t, reports[name].samples.t - 1e-9)
    margin = exact.samples.hold_margin[given]
    carried = ~np.isnan(margin)
    short = margin[carried] < reports[name].samples.hold_margin_low[carried] * (1 - 1e-9)
    assert short.mean() < 0.025  # the noise is covered by two standard deviations
    if name == "window-fast":
        assert exact.verdict == "fail"


def test_message_is_driven_as_the_program_it_was_made_from(programs, reports):
    true = programs.reflector(period=0.002)
    samples = reports["reflector"].samples
    carry = np.array([kind == "carry" for kind in samples.phase])
    # the planner's jerk steps fall between its points; a quintic follows the accelerations within a tenth
    chain = programs.bench_arm(0.10)
    exact = joint_motion(chain, true.t, true.q, true.qd, true.qdd)
    for axis in range(3):
        expected = np.interp(samples.t[carry], exact.t, exact.position[:, axis])
        assert samples.position[carry, axis] == pytest.approx(expected, abs=2e-5)
        expected = np.interp(samples.t[carry], exact.t, exact.acceleration[:, axis])
        assert samples.acceleration[carry, axis] == pytest.approx(expected, abs=0.3)


def test_message_phases_are_the_program_moves(programs):
    program = programs.reflector(period=0.02)
    starts = {move: program.t[program.moves.index(move)] for move in dict.fromkeys(program.moves)}
    found = [(phase.start, phase.end) for phase in read_job(FOLDER / "reflector.toml").phases]
    due = [("touch", "lift"), ("lift", "seat"), ("seat", "return")]
    assert found == [pytest.approx((starts[a], starts[b])) for a, b in due]
