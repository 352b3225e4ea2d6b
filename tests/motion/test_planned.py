"""Way points under a time law: what is sampled, against hand figures and the Robotics Toolbox."""

from pathlib import Path

import numpy as np
import pytest

from gripmargin.base.errors import InputError
from gripmargin.base.poses import pose
from gripmargin.files.urdf import read_urdf
from gripmargin.motion.between import filled
from gripmargin.motion.chain import chain_from_axes
from gripmargin.motion.planned import LAWS, corners_cut, sample_waypoints
from gripmargin.motion.program import ProgramMotion
from gripmargin.motion.waypoints import Waypoint, Waypoints

ARM = read_urdf(Path(__file__).parents[2] / "trajectories" / "arm.urdf").mounted(tool=pose((0.0, 0.0, 0.12)))
LINE = {"kind": "line", "speed": 0.5, "acceleration": 2.0}
JOINT = {"kind": "joint", "turn_speed": 1.0, "turn_acceleration": 4.0}


def at(x, y, turn=0.0):
    return pose((x, y, 0.0), (0.0, 0.0, turn))


def square(**more):
    """Right round a corner: 0.5 m along x, then 0.5 m along y."""
    points = Waypoint(pose=at(0, 0)), Waypoint(pose=at(0.5, 0), **LINE, **more), Waypoint(pose=at(0.5, 0.5), **LINE)
    return Waypoints(points)


def taught(blend=0.0):
    """Two lines of the arm, one of which turns the tool, and a joint move back."""
    # lines from joint values to others that were read off the arm: posed by the joint move before them
    return Waypoints(
        (
            Waypoint(q=np.deg2rad([-36.8699, 50.2989, 26.7172, 0.0, 12.9839, -36.8699])),
            Waypoint(q=np.deg2rad([-36.8699, 34.6595, 28.7924, 0.0, 26.5481, -36.8699]), blend=blend, **LINE),
            Waypoint(q=np.deg2rad([-11.3099, 23.9604, 24.8655, 0.0, 41.1742, -11.3099]), **LINE),
            Waypoint(q=np.deg2rad([13.4957, 24.4072, 24.1441, 0.0, 41.4487, 13.4957]), **JOINT),
        )
    )


def test_a_line_by_hand():
    # 0.5 m at 0.5 m/s and 2 m/s^2: L / v + v / a = 1.25 s; the step before and after stands
    found = sample_waypoints(Waypoints(square().points[:2]))
    assert found.t[-1] == pytest.approx(1.25 + 2 * 0.004, abs=0.004)
    assert found.velocity[:, 0].max() == pytest.approx(0.5)
    assert np.unique(np.round(found.acceleration[:, 0], 9)).tolist() == [-2.0, 0.0, 2.0]
    assert found.position[-1] == pytest.approx([0.5, 0.0, 0.0])
    # each of the four steps lies between two samples 1e-8 s apart
    close = np.flatnonzero(np.diff(found.t) < 1e-6)
    assert found.t[close] == pytest.approx(0.004 + np.array([0.0, 0.25, 1.0, 1.25]), abs=1e-7)
    assert np.abs(np.diff(found.acceleration[:, 0])[close]) == pytest.approx(2.0)
    assert np.abs(np.diff(found.acceleration[:, 0])).sum() == pytest.approx(8.0)  # no other jump


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("blends", [False, True])
def test_samples_hold_all_of_the_motion(law, blends):
    """Rates follow from positions to the last digit, and nothing is missed between samples."""
    waypoints = taught(blend=0.03)
    found = sample_waypoints(waypoints, robot=ARM, law=law, blends=blends)
    motion = ProgramMotion.of(filled(found), ARM)
    assert motion.given
    assert motion.doubts == ()
    assert motion.error is None or motion.error.bias.max() < 1e-2
    assert found.q[-1] == pytest.approx(waypoints.q[-1], abs=1e-9)
    # Hermite's polynomial of degree five between samples whose acceleration does not jump
    h = np.diff(found.t)[:, None]
    misses = np.diff(found.q, axis=0) - h * (found.qd[1:] + found.qd[:-1]) / 2
    misses += h**2 * np.diff(found.qdd, axis=0) / 12
    assert np.abs(misses).max() < 1e-11


def test_laws_of_a_joint_move_by_the_toolbox():
    from roboticstoolbox import jtraj, trapezoidal

    two = Waypoints((Waypoint(q=[0.1, 0.5]), Waypoint(q=[1.3, -0.1], **JOINT)))
    quintic, trapezoid = (sample_waypoints(two, law=law) for law in ("quintic", "trapezoid"))
    time = 15 / 8 * 1.2 / 1.0  # the speed decides
    inside = (quintic.t > 0.004) & (quintic.t < 0.004 + time)
    theirs = jtraj([0.1, 0.5], [1.3, -0.1], np.array([0.0, *(quintic.t[inside] - 0.004), time]))
    for ours, column in ((quintic.q, theirs.q), (quintic.qd, theirs.qd), (quintic.qdd, theirs.qdd)):
        assert ours[inside] == pytest.approx(column[1:-1], abs=1e-9)
    time = 1.2 / 1.0 + 1.0 / 4.0
    profile = trapezoidal(0.1, 1.3, np.linspace(0.0, time, 301), 1.0)
    assert np.interp(np.linspace(0.0, time, 301) + 0.004, trapezoid.t, trapezoid.q[:, 0]) == pytest.approx(
        profile.s, abs=2e-5
    )
    assert trapezoid.qdd[:, 1] == pytest.approx(-0.5 * trapezoid.qdd[:, 0])  # in step


def test_poses_of_a_line_by_the_toolbox():
    from roboticstoolbox import ctraj
    from spatialmath import SE3

    two = Waypoints((Waypoint(pose=at(0, 0)), Waypoint(pose=at(0.4, 0.3, 1.0), **LINE)))
    found = sample_waypoints(two)
    share = np.linalg.norm(found.position, axis=1) / 0.5
    theirs = ctraj(SE3(at(0, 0)), SE3(at(0.4, 0.3, 1.0)), s=share)
    for i in range(0, found.samples, 40):
        assert found.position[i] == pytest.approx(theirs[i].t, abs=1e-9)
        assert found.rotation[i] == pytest.approx(theirs[i].R, abs=1e-9)


def test_a_blended_corner_by_hand():
    # The corner of two trapezoids at 2 m/s^2: with 0.0625 m left, the whole braking way v^2 / (2 a), both lie over each
    # other: (0.5 - s, s) with s = t^2 and 0.0625 - s; nearest to the corner where both are 0.0625 / 4.
    found = sample_waypoints(square(blend=0.0625))
    ((index, far),) = corners_cut(square(blend=0.0625), found, None)
    assert index == 1
    assert far == pytest.approx(np.sqrt(2) * 0.0625 / 4, rel=1e-3)
    assert found.t[-1] == pytest.approx(2 * 1.25 - 0.25 + 0.008, abs=0.004)
    inside = found.acceleration[(found.t > 1.01) & (found.t < 1.24)]
    assert inside[:, :2] == pytest.approx(np.broadcast_to([-2.0, 2.0], (len(inside), 2)))
    stopping = sample_waypoints(square(blend=0.0625), blends=False)
    assert stopping.t[-1] == pytest.approx(2 * 1.25 + 0.008, abs=0.004)
    assert np.linalg.norm(stopping.position - [0.5, 0.0, 0.0], axis=1).min() < 1e-9


def test_waits_and_labels():
    points = (
        Waypoint(pose=at(0, 0), wait=0.5),
        Waypoint(pose=at(0.5, 0), wait=0.3, move="over", **LINE),
        Waypoint(pose=at(0.5, 0), wait=0.2, move="press", kind="line"),
    )
    found = sample_waypoints(Waypoints(points))
    assert found.t[-1] == pytest.approx(0.5 + 1.25 + 0.3 + 0.2, abs=0.004)
    assert [label for label, _, _ in found.runs()] == ["over", "press"]
    (_, _, last), _ = found.runs()
    assert found.t[last] == pytest.approx(2.05, abs=0.005)


def test_turns_keep_to_their_own_limits():
    # 0.1 m and 1 rad: the turn, 1 rad at 2 rad/s^2 without cruise, takes 2 sqrt(1/2) s
    turning = {**LINE, "turn_speed": 9.0, "turn_acceleration": 2.0}
    found = sample_waypoints(Waypoints((Waypoint(pose=at(0, 0)), Waypoint(pose=at(0.1, 0, 1.0), **turning))))
    assert found.t[-1] - 0.008 == pytest.approx(2 * np.sqrt(0.5), abs=0.004)
    assert np.abs(found.acceleration[:, 5]).max() == pytest.approx(2.0)


def test_a_slide_that_leads_keeps_to_lengths():
    gantry = chain_from_axes([np.eye(4)] * 2, [[1, 0, 0], [0, 1, 0]], [False, False], np.eye(4))
    move = Waypoint(q=[0.5, 0.1], kind="joint", speed=0.5, acceleration=2.0)
    found = sample_waypoints(Waypoints((Waypoint(q=[0.0, 0.0]), move)), robot=gantry)
    assert np.abs(found.qd).max(axis=0) == pytest.approx([0.5, 0.1])


def test_steps_closer_than_a_mark_are_marked_once():
    # the second move starts when 1e-8 of the first is left: within a fraction of a microsecond of its end
    found = sample_waypoints(square(blend=5e-14))
    assert np.diff(found.t).min() > 9e-9
    assert ProgramMotion.of(filled(found), None).doubts == ()


@pytest.mark.parametrize(
    ("move", "says"),
    [
        ({"kind": "line"}, "found a line move without speed, expected the speed of the tool point [mm/s]"),
        (
            {"kind": "line", "speed": 0.5, "turn_speed": 1.0, "turn_acceleration": 1.0},
            "found a line move without acceleration, expected the acceleration of the tool point [mm/s^2]",
        ),
        ({**LINE, "pose": at(0, 0)}, "found a move to where the robot already is, expected another place, or a wait"),
        (
            {"kind": "line", "pose": at(0, 0, 1.0), "speed": 1.0, "acceleration": 1.0},
            "found a line move without speed, expected the speed of the tool's turning [deg/s]",
        ),
        ({**LINE, "blend": 0.251}, "found a blend over 50 % of its move, expected at most half of it; make"),
        (
            {**LINE, "turn_blend": 0.1},
            "found a blend that is an angle of a line move without one, expected a blend in mm, of the tool's way",
        ),
        ({"kind": "line", "speed": 1e-9, "acceleration": 1.0}, "found a program of 5e+08 s (5e+08 s of it to"),
    ],
)
def test_moves_that_cannot_be_planned(move, says):
    point = Waypoint(**{"pose": at(0.5, 0), **move})
    with pytest.raises(InputError) as error:
        sample_waypoints(Waypoints((Waypoint(pose=at(0, 0)), point, Waypoint(pose=at(0.5, 0.5, 1.0), **LINE))))
    assert says in str(error.value)


def test_lines_between_joint_values_need_the_arm_and_its_posture():
    with pytest.raises(InputError, match="a line between joint values without a robot, expected the robot"):
        sample_waypoints(taught())
    last = taught().points[2]
    turned = Waypoint(q=last.q + 2 * np.pi * np.eye(6)[5], **LINE)
    with pytest.raises(InputError) as error:
        sample_waypoints(Waypoints((*taught().points[:2], turned)), robot=ARM)
    assert "found a line at whose end joint 6 is at -11.310 deg, expected 348.690 deg" in str(error.value)
    with pytest.raises(InputError, match="found 2 joint values, expected 6, the joints of"):
        sample_waypoints(Waypoints((Waypoint(q=[0, 0]), Waypoint(q=[1, 0], **JOINT))), robot=ARM)


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"law": "cubic"}, "law: found 'cubic'"),
        ({"step": 0.1}, "step: found 0.1"),
        ({"step": 9e-5}, "step: found 9e-05"),
    ],
)
def test_what_is_asked_for_is_checked(given, says):
    with pytest.raises(InputError) as error:
        sample_waypoints(square(), **given)
    assert str(error.value).startswith(says)
