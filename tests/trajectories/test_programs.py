"""The programs of the jobs to run, and the time laws they are made by."""

from __future__ import annotations

import importlib
import math
import subprocess
import sys

import numpy as np
import pytest

from gripmargin.motion.tool_motion import joint_motion
from support.demos import FOLDER


def test_programs_are_as_the_script_makes_them():
    run = subprocess.run(
        [sys.executable, FOLDER / "make_programs.py", "--check"], capture_output=True, text=True, check=False
    )
    assert run.returncode == 0, run.stdout + run.stderr
    assert run.stdout == "as on disk\n"


def test_a_changed_program_is_noticed(programs):
    kept = "# c\nt [s],q1 [deg],move\n0.004,1.23456,lift\n"
    assert programs.differences(kept, kept) is None
    assert programs.differences(kept, kept.replace("1.23456", "1.23457")) is None  # one digit of rounding
    assert programs.differences(kept, kept.replace("1.23456", "1.23458")) == "line 3: 1.23458 instead of 1.23456"
    assert "line 3" in programs.differences(kept, kept.replace("lift", "lower"))
    assert "lines" in programs.differences(kept, kept + "0.008,1.2,lift\n")


def test_slowing_a_move_scales_its_rates_on_the_same_path(programs):
    fast, slow = programs.window(period=0.004), programs.window({"transfer": 0.5}, period=0.004)
    for program, factor in ((fast, 1.0), (slow, 2.0)):
        at = np.array(program.moves) == "transfer"
        t = (program.t[at] - program.t[at][0]) / factor
        middle = np.interp(0.8, t, program.q[at, 0]), np.interp(0.8, t, program.qdd[at, 0]) * factor**2
        if factor == 1.0:
            due = middle
    assert middle == pytest.approx(due, rel=2e-3)


def test_unknown_move_is_refused(programs):
    with pytest.raises(ValueError, match="no such move: tranfser"):
        programs.window({"tranfser": 0.5})


def test_joints_stay_within_the_arm_limits(programs):
    arm = programs.bench_arm(0.1)
    for program in (programs.window(programs.FAST), programs.reflector(), programs.driver()):
        assert (program.q >= arm.lower).all()
        assert (program.q <= arm.upper).all()


def test_the_arm_reaches_tray_and_frame_by_pinocchio(programs):
    pin = pytest.importorskip("pinocchio")
    model = pin.buildModelFromUrdf(str(FOLDER / "arm.urdf"))
    data = model.createData()
    program = programs.window()
    tool = pin.SE3(np.eye(3), np.array([0.0, 0.0, 0.12]))
    for move, place in (("press", (0.42, -0.34, 0.030)), ("seat", (0.40, 0.33, 0.050))):
        q = program.q[program.moves.index(move)]
        pin.framesForwardKinematics(model, data, q)
        at = data.oMf[model.getFrameId("flange")] * tool
        assert at.translation == pytest.approx(np.array(place) - [0, 0, 0.00025], abs=1e-10)
        assert at.rotation[:, 2] == pytest.approx([0, 0, -1], abs=1e-10)


def test_lines_are_straight_with_the_rates_of_their_law(programs):
    program = programs.window()
    motion = joint_motion(programs.bench_arm(0.12), program.t, program.q, program.qd, program.qdd)
    lift = np.array(program.moves) == "lift"
    assert np.ptp(motion.position[lift, :2], axis=0).max() < 1e-10
    assert np.abs(motion.angular_velocity[lift]).max() < 1e-9
    assert np.abs(motion.angular_acceleration[lift]).max() < 1e-8
    assert np.abs(motion.acceleration[lift]).max() <= 1.2  # as typed for the move
    rise = np.diff(motion.position[lift, 2]) / 0.004
    assert rise.max() <= 0.25
    # trapezoids over the accelerations give the speeds, which give the heights, to second order in the step
    speed = -motion.velocity[lift, 2]  # the tool looks down
    assert np.diff(speed) == pytest.approx(
        -0.004 * (motion.acceleration[lift, 2][1:] + motion.acceleration[lift, 2][:-1]) / 2, abs=5e-5
    )


# ---- time laws ----


@pytest.mark.parametrize(
    ("length", "speed", "acceleration", "jerk"),
    [
        (1.0, 0.5, 2.0, 20.0),
        (1.0, 5.0, 2.0, 20.0),
        (0.01, 5.0, 2.0, 20.0),
        (1.0, 0.05, 2.0, 20.0),
        (2.0, 1.0, 9.0, 4.0),
    ],
)
def test_s_curve_keeps_its_limits_and_ends_at_rest(programs, length, speed, acceleration, jerk):
    law = importlib.import_module("laws").SCurve.within(length, speed, acceleration, jerk)
    t = np.linspace(0.0, law.duration, 20001)
    s, v, a = length * law.share(t)
    assert (s[0], v[0], a[0]) == (0, 0, 0)
    assert s[-1] == pytest.approx(length, rel=1e-12)
    assert abs(v[-1]) < 1e-12 * speed + 1e-15
    assert v.max() <= speed * (1 + 1e-9)
    assert np.abs(a).max() <= acceleration * (1 + 1e-9)
    assert np.abs(np.diff(a) / np.diff(t)).max() <= jerk * (1 + 1e-6)
    # some limit is reached, so the curve is not slower than it has to be
    reached = [v.max() / speed, np.abs(a).max() / acceleration, np.abs(np.diff(a) / np.diff(t)).max() / jerk]
    assert max(reached) == pytest.approx(1.0, rel=1e-6)
    step = t[1] - t[0]
    assert np.cumsum((v[1:] + v[:-1]) / 2 * step)[-1] == pytest.approx(length, abs=jerk * step**2 * law.duration)
    # the trapezoid rule misses at most jerk step^2 / 8 at each of the eight steps of the jerk
    assert np.cumsum((a[1:] + a[:-1]) / 2 * step) == pytest.approx(v[1:], abs=jerk * step**2)


def test_s_curve_of_endless_jerk_is_bang_bang(programs):
    # 1 m rest to rest at 5 m/s^2 takes 2 sqrt(1/5) s: uniform acceleration, closed form
    law = importlib.import_module("laws").SCurve.within(1.0, 1e9, 5.0, 1e9)
    assert law.duration == pytest.approx(0.894427191, rel=1e-6)


def test_minimum_jerk_peaks(programs):
    # peaks 15/8 L/T and 10/sqrt(3) L/T^2 of the polynomial of degree five, closed form
    law = importlib.import_module("laws").MinimumJerk.within(0.3, 0.4, 100.0)
    s, v, a = law.share(np.linspace(0, law.duration, 20001))
    assert 0.3 * v.max() == pytest.approx(0.4, rel=1e-9)
    assert np.abs(a).max() == pytest.approx(10 / math.sqrt(3) / law.duration**2, rel=1e-6)
    assert s[-1] == 1.0
