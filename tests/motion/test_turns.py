"""Poses with given velocities: against turns about a fixed axis and against the same motion of an arm."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.spatial.transform import Rotation

import gripmargin as gm
from gripmargin.base.poses import skew
from gripmargin.checks.changes import paused
from gripmargin.motion.between import filled, missed_by_samples
from gripmargin.motion.chain import Chain
from gripmargin.motion.program import ProgramMotion
from gripmargin.motion.turns import as_channels, turned
from gripmargin.workcell.scaling import scaled
from support.laws import program, samples_of

AXIS = np.array([0.48, -0.6, 0.64])  # of unit length


def poses(found, t, digits=None):
    """Three joints of a program as x and y of the tool and as its angle about a fixed axis."""
    q, qd, qdd = found.at(t)
    quaternion = Rotation.from_rotvec(q[:, 2:] * AXIS).as_quat()
    columns = [np.hstack([row[:, :2], 0 * row[:, :1], row[:, 2:] * AXIS]) for row in (qd, qdd)]
    position = np.pad(q[:, :2], ((0, 0), (0, 1)))
    if digits is not None:
        position, quaternion, *columns = (row.round(digits) for row in (position, quaternion, *columns))
    made = gm.PoseTrajectory.from_quaternions(t, position, quaternion)
    return replace(made, velocity=columns[0], acceleration=columns[1])


@pytest.mark.parametrize("law", ["s_curve", "trapezoid", "minimum_jerk"])
@pytest.mark.parametrize(("step", "digits", "wide"), [(0.004, None, 1e-3), (0.02, None, 0.02), (0.004, 6, 0.01)])
def test_no_acceleration_is_missed_and_none_made_up(law, step, digits, wide):
    found = program(law, 3)
    t = samples_of(found, 3, step).round(9)
    dense = filled(poses(found, t, digits))
    at = found.dense(t[0], t[-1])
    true = np.abs(np.column_stack([found.at(at)[2][:, :2], found.at(at)[2][:, 2:] * AXIS])).max(axis=0)
    most = (np.abs(dense.acceleration) + missed_by_samples(dense)).max(axis=0)[[0, 1, 3, 4, 5]]
    assert (most >= true * (1.0 - 3e-4)).all()
    assert (most <= true * (1.0 + wide)).all()


def test_what_is_put_in_lies_on_the_motion():
    found = program("s_curve", 1)
    dense = filled(poses(found, samples_of(found, 1, 0.02)))
    exact = poses(found, dense.t)
    assert dense.samples > dense.own[0].samples
    np.testing.assert_allclose(dense.position, exact.position, atol=1e-6)
    np.testing.assert_allclose(dense.rotation, exact.rotation, atol=1e-6)
    np.testing.assert_allclose(dense.velocity, exact.velocity, atol=1e-6)


def test_a_turn_about_an_axis_that_turns_is_followed():
    """Angular velocity of degree two in time; the orientation by an integrator of high order."""
    powers = np.array([[1.0, 0.5, -1.0], [20.0, -30.0, 40.0], [0.0, 100.0, -50.0]])
    t = np.arange(0.0, 0.2, 0.01)
    omega = np.stack([powers[0] + x * (powers[1] + x * powers[2]) for x in t])
    alpha = np.stack([powers[1] + 2 * x * powers[2] for x in t])
    made = solve_ivp(
        lambda x, r: (skew(powers[0] + x * (powers[1] + x * powers[2])) @ r.reshape(3, 3)).ravel(),
        (0.0, t[-1]),
        np.eye(3).ravel(),
        t_eval=t,
        rtol=1e-11,
        atol=1e-12,
    )
    rotation = made.y.T.reshape(-1, 3, 3)
    u, _, v = np.linalg.svd(rotation)
    zero = np.zeros((t.size, 3))
    trajectory = gm.PoseTrajectory(
        t=t,
        position=zero,
        rotation=u @ v,
        velocity=np.hstack([zero, omega]),
        acceleration=np.hstack([zero, alpha]),
    )
    channels = as_channels(trajectory)
    due = np.outer(t, powers[0]) + np.outer(t**2 / 2, powers[1]) + np.outer(t**3 / 3, powers[2])
    np.testing.assert_allclose(channels.q[:, 3:], due, atol=1e-7)
    turn, change = np.diff(channels.q[:, 3:], axis=0), np.diff(omega, axis=0)
    np.testing.assert_allclose(turned(rotation[:-1], np.diff(t), turn, change), rotation[1:], atol=1e-7)


@pytest.fixture(scope="module")
def both(arm, one_pad, plate):
    """A job of an arm with three joints moving, with exact rates, and the same as poses of the tool with theirs."""
    found = program("s_curve", 7, joints=6)
    t = samples_of(found, 7, 0.004)
    q, qd, qdd = (rows * np.array([0.3, 0.2, 0.2, 0.3, 0.3, 0.5]) for rows in found.at(t))
    chain: Chain = arm
    joints = gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd)
    at = ProgramMotion.of(joints, chain).at
    world = [
        np.hstack([np.einsum("nij,nj->ni", at.rotation, row) for row in pair])
        for pair in ((at.velocity, at.angular_velocity), (at.acceleration, at.angular_acceleration))
    ]
    tool = gm.PoseTrajectory(t=t, position=at.position, rotation=at.rotation, velocity=world[0], acceleration=world[1])
    job = gm.Job(name="arm", trajectory=joints, robot=chain, gripper=one_pad, part=plate(0.1))
    return job, replace(job, trajectory=tool, robot=None)


def hold(job):
    return next(each for each in gm.check_job(job).checks if each.check == "hold")


def test_a_program_of_poses_is_judged_as_that_of_the_joints(both):
    by_joints, by_poses = (hold(job) for job in both)
    assert by_poses.value == pytest.approx(by_joints.value, rel=1e-3)
    assert by_poses.low == pytest.approx(by_joints.low, rel=5e-3)
    without = replace(both[1].trajectory, velocity=None, acceleration=None)
    estimated = hold(replace(both[1], trajectory=without))
    assert by_poses.value - by_poses.low < 0.2 * (estimated.value - estimated.low)


def test_another_tool_frame_moves_with_it(both):
    """Rates of the new frame against those that the poses of the new frame come to."""
    tool = gm.pose((0.1, -0.05, 0.2), (0.3, 0.2, -0.5))
    moved = both[1].trajectory.regripped(tool)
    bare = ProgramMotion.of(replace(moved, velocity=None, acceleration=None), None).at
    given = ProgramMotion.of(moved, None).at
    inside = slice(20, -20)
    assert np.abs(given.velocity - bare.velocity)[inside].max() < 2e-3
    assert np.abs(given.acceleration - bare.acceleration)[inside].max() < 0.1 * np.abs(given.acceleration).max()


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"velocity": lambda t: np.pi / 180 * t.velocity}, r"xd|yd|wx"),
        ({"acceleration": lambda t: None}, "velocities of poses without accelerations"),
        ({"velocity": lambda t: None}, "accelerations without velocities"),
    ],
)
def test_rates_that_do_not_follow_are_refused(both, change, says):
    trajectory = both[1].trajectory
    with pytest.raises(gm.InputError, match=says):
        gm.check_job(
            replace(
                both[1], trajectory=replace(trajectory, **{name: make(trajectory) for name, make in change.items()})
            )
        )


def test_rates_go_with_times_and_pauses(both):
    """Half the speed: half the velocities and a quarter of the accelerations; a wait has those of the rest before."""
    job = both[1]
    slow = scaled(job, np.full(job.trajectory.samples - 1, 0.5)).trajectory
    np.testing.assert_allclose(slow.velocity, 0.5 * job.trajectory.velocity)
    np.testing.assert_allclose(slow.acceleration, 0.25 * job.trajectory.acceleration)
    longer = paused(job, 2, 0.1).trajectory
    assert longer.samples == longer.velocity.shape[0] == longer.acceleration.shape[0] > job.trajectory.samples
    assert not longer.velocity[:20].any()
