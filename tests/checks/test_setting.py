"""What is typed into a robot's program, against moves whose figures are known in closed form."""

import re
from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.rests import stretches
from gripmargin.checks.setting import setting
from gripmargin.workcell.job import JointLimits

SPEED, UP, DOWN, LONG = 0.5, 0.2, 0.4, 1.2  # [m/s, s]: 0.5 m/s within 0.2 s (2.5 m/s^2), level, and off within 0.4 s


@pytest.fixture
def trapezoid(slide, even_film, flat_part):
    """A slide that gets up to its speed, keeps it and brakes, at even accelerations."""
    t = np.arange(0.0, LONG + 0.002, 0.004)
    corners = np.array([0.0, UP, LONG - DOWN, LONG])
    qd = np.interp(t, corners, [0.0, SPEED, SPEED, 0.0])
    qdd = np.where(t < UP, SPEED / UP, np.where(t > LONG - DOWN + 1e-9, -SPEED / DOWN, 0.0))
    q = np.concatenate([[0.0], np.cumsum((qd[1:] + qd[:-1]) / 2 * np.diff(t))])
    return gm.Job(
        name="trapezoid",
        trajectory=gm.JointTrajectory(t=t, q=q[:, None], qd=qd[:, None], qdd=qdd[:, None], moves=("over",) * t.size),
        robot=slide(),
        gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", even_film(4e5), [0.05, 0.05]),)),
        part=flat_part(1.0),
        joint_limits=JointLimits(speed=[0.8 * SPEED]),
    )


def test_a_trapezoid_slowed_to_80_per_cent(trapezoid):
    """Speeds are 0.8 times, accelerations 0.64 times and times 1/0.8 times what the closed form of the move says."""
    tuning = gm.tune(trapezoid)
    (row,) = tuning.moves.rows
    assert (row.factor, row.limit.by, row.limit.joint) == (0.8, "joint speed", 1)
    found = row.setting
    assert found.percent == pytest.approx(80.0)
    assert found.tool_speed == pytest.approx(0.8 * SPEED)
    assert found.tool_acceleration == pytest.approx(0.64 * SPEED / UP)
    assert (found.joint, found.joint_slides, found.joint_speed) == (1, True, pytest.approx(0.8 * SPEED))
    assert found.acceleration_time == pytest.approx(UP / 0.8)
    assert found.braking_time == pytest.approx(DOWN / 0.8)
    # 1.2 s / 0.8 = 1.5 s; in the text speeds are rounded down and times up
    text = gm.tuning_text(tuning)
    assert "1.200 s become 1.500 s, 0.300 s or 25.0 % more" in text
    (line,) = [line.split() for line in text.splitlines() if line.split()[:3] == ["over", "80.0", "%"]]
    assert line[3:] == ["400", "1600", "1", "400", "mm/s", "0.250", "0.500", "1.500"]


def test_the_tool_leads_where_there_are_no_joints_and_rounded_ramps_count_whole(trapezoid):
    """A dwell of 0.3 s, then 0.4 m at a speed of 0.4 (1 - cos(2 pi t)) m/s: 0.8 m/s after 0.5 s, 0.8 pi m/s^2."""
    t = np.arange(0.0, 1.302, 0.004)
    s = np.clip(t - 0.3, 0.0, 1.0)
    rows = np.zeros((3, t.size, 3))
    rows[0, :, 0] = 0.4 * (s - np.sin(2 * np.pi * s) / (2 * np.pi))
    rows[1, :, 0] = 0.4 * (1 - np.cos(2 * np.pi * s))
    rows[2, :, 0] = 0.8 * np.pi * np.sin(2 * np.pi * s)
    down = np.broadcast_to(np.diag([1.0, -1.0, -1.0]), (t.size, 3, 3))
    poses = gm.PoseTrajectory(t=t, position=rows[0], rotation=down, moves=("over",) * t.size)
    case = work_out(replace(trapezoid, trajectory=poses, robot=None, joint_limits=None))
    (stretch,) = stretches(case, by_label=True)
    found = setting(case, stretch, 2.0)
    assert (found.joint, found.joint_speed) == (None, None)
    assert found.tool_speed == pytest.approx(1.6, rel=1e-3)
    assert found.tool_acceleration == pytest.approx(4 * 0.8 * np.pi, rel=5e-3)
    assert found.acceleration_time == pytest.approx(0.25, abs=0.004)
    assert found.braking_time == pytest.approx(0.25, abs=0.004)


def test_nothing_is_named_that_was_not_shown(trapezoid):
    """Where the program does not pass there is nothing to type in; nor where it stands still."""
    tuning = gm.tune(replace(trapezoid, targets=gm.Targets(hold=2.0, swing=1e4)))
    assert not tuning.moves.passed
    assert tuning.moves.rows[0].setting is None
    assert "to type in" not in gm.tuning_text(tuning)


def test_a_slow_start_counts_no_longer_than_to_the_peak(trapezoid):
    """A quarter of the speed for 0.4 s, then all of it within 0.1 s: 0.6 s up, where twice the half would be more."""
    t = np.arange(0.0, 1.002, 0.004)
    qd = np.interp(t, [0.0, 0.1, 0.5, 0.6, 0.8, 1.0], [0.0, 0.1, 0.1, 0.4, 0.4, 0.0])
    q = np.concatenate([[0.0], np.cumsum((qd[1:] + qd[:-1]) / 2 * np.diff(t))])
    program = gm.JointTrajectory(t=t, q=q[:, None], qd=qd[:, None], moves=("over",) * t.size)
    case = work_out(replace(trapezoid, trajectory=program))
    (stretch,) = stretches(case, by_label=True)
    found = setting(case, stretch, 1.0)
    assert found.acceleration_time == pytest.approx(0.6, abs=0.001)
    assert found.braking_time == pytest.approx(0.2, abs=0.001)


def test_a_whole_program_faster_than_a_dial_goes_is_typed_move_by_move(trapezoid):
    """Twice the speed: 1 m/s, 10 m/s^2, 0.1 s up, 0.2 s to brake, 0.6 s in all; a wait of 0.3 s becomes 0.15 s."""
    old = trapezoid.trajectory
    wait = np.arange(1, 76) * 0.004
    more = {name: np.vstack([getattr(old, name), np.zeros((75, 1))]) for name in ("qd", "qdd")}
    q = np.vstack([old.q, np.full((75, 1), old.q[-1, 0])])
    labels = ("a way with a name that is longer than any column",) * old.samples + ("wait",) * 75
    program = gm.JointTrajectory(t=np.append(old.t, LONG + wait), q=q, moves=labels, **more)
    tuning = gm.tune(replace(trapezoid, trajectory=program, joint_limits=JointLimits(speed=[2 * SPEED])))
    way, wait = tuning.override.rows
    assert (tuning.override.factor, way.factor, way.limit, wait.setting) == (2.0, 2.0, None, None)
    assert way.setting.tool_speed == pytest.approx(2 * SPEED)
    assert way.setting.tool_acceleration == pytest.approx(4 * SPEED / UP)
    assert (way.time_then, wait.time_then) == (pytest.approx(0.6), pytest.approx(0.15))
    text = gm.tuning_text(tuning)
    assert re.search(r"\.\.\. +200.0 % +1000 +10000 +1 +1000 mm/s +0.100 +0.200 +0.600\n", text)
    assert re.search(r"\n    wait  [ -]+ 0.150\n", text)
    assert text.count("to type in") == 2
    assert all(len(line) <= 100 for line in text.splitlines())
