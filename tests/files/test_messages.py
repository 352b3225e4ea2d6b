"""Messages in memory: objects as rosbags and ROS hand them over, trees of plain values, wrappers.

The class of rosbags is made from the message definition of common_interfaces; the plain objects stand for rclpy's.
"""

from types import SimpleNamespace as Object

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.base.errors import InputError
from gripmargin.motion.chain import Chain

POINTS = [(0, 0, [0.1, 0.2], [0.0, 0.0]), (0, 500_000_000, [0.3, 0.1], [0.5, -0.2]), (1, 0, [0.4, 0.0], [0.0, 0.0])]
TREE = {
    "joint_names": ["shoulder", "elbow"],
    "points": [
        {"positions": q, "velocities": qd, "time_from_start": {"sec": sec, "nanosec": nanosec}}
        for sec, nanosec, q, qd in POINTS
    ],
}


def point(positions=(0.0,), sec=0):
    return Object(positions=positions, velocities=[], accelerations=[], time_from_start=Object(sec=sec, nanosec=0))


def plain(keys=("sec", "nanosec")):
    points = [
        Object(
            positions=q,
            velocities=qd,
            accelerations=[],
            effort=[],
            time_from_start=Object(**{keys[0]: sec, keys[1]: nanosec}),
        )
        for sec, nanosec, q, qd in POINTS
    ]
    return Object(header=None, joint_names=["shoulder", "elbow"], points=points)


def typed():
    from rosbags import typesys as stores

    types = stores.get_typestore(stores.Stores.LATEST).types
    none = np.zeros(0)
    points = [
        types["trajectory_msgs/msg/JointTrajectoryPoint"](
            positions=np.array(q),
            velocities=np.array(qd),
            accelerations=none,
            effort=none,
            time_from_start=types["builtin_interfaces/msg/Duration"](sec=sec, nanosec=nanosec),
        )
        for sec, nanosec, q, qd in POINTS
    ]
    stamp = types["builtin_interfaces/msg/Time"](sec=0, nanosec=0)
    header = types["std_msgs/msg/Header"](stamp=stamp, frame_id="")
    return types["trajectory_msgs/msg/JointTrajectory"](header=header, joint_names=["shoulder", "elbow"], points=points)


def timed(spelled):
    """A message whose times are spelled otherwise: as seconds, or as a duration of nanoseconds."""
    message = plain()
    for point in message.points:
        point.time_from_start = spelled(point.time_from_start)
    return message


@pytest.mark.parametrize(
    "message",
    [
        lambda: TREE,
        plain,
        lambda: plain(("secs", "nsecs")),
        lambda: timed(lambda time: time.sec + time.nanosec / 1e9),
        lambda: timed(lambda time: Object(nanoseconds=time.sec * 10**9 + time.nanosec)),
        typed,
        lambda: Object(joint_trajectory=plain(), multi_dof_joint_trajectory=Object(points=[])),
        lambda: Object(trajectory=Object(joint_trajectory=plain())),
        lambda: {"goal": {"trajectory": TREE}},
    ],
)
def test_objects_and_trees_are_the_same_program(message):
    trajectory = gm.trajectory_from_message(message())
    assert trajectory == gm.trajectory_from_message(TREE)
    assert trajectory.interpolation == "cubic"
    assert trajectory.names == ("shoulder", "elbow")
    np.testing.assert_array_equal(trajectory.t[[0, -1]], [0.0, 1.0])


def test_joints_by_name():
    arm = Chain(links=np.tile(np.eye(4), (3, 1, 1)), revolute=(True, True), names=("elbow", "shoulder"), source="arm")
    np.testing.assert_array_equal(gm.trajectory_from_message(plain(), robot=arm).q[0], [0.2, 0.1])


def test_the_tree_makes_the_message_class_of_another_library():
    from rosbags import typesys as stores

    store = stores.get_typestore(stores.Stores.LATEST)
    q = np.random.default_rng(1).normal(size=(5, 2))
    trajectory = gm.JointTrajectory(t=np.arange(5) / 250, q=q, names=("a", "b"))
    kind = store.types["trajectory_msgs/msg/JointTrajectoryPoint"]
    duration = store.types["builtin_interfaces/msg/Duration"]
    tree = gm.message_tree(trajectory)
    points = [
        kind(
            positions=np.array(point["positions"]),
            velocities=np.zeros(0),
            accelerations=np.zeros(0),
            effort=np.zeros(0),
            time_from_start=duration(**point["time_from_start"]),
        )
        for point in tree["points"]
    ]
    message = store.types["trajectory_msgs/msg/JointTrajectory"](
        header=typed().header, joint_names=tree["joint_names"], points=points
    )
    raw = store.serialize_cdr(message, "trajectory_msgs/msg/JointTrajectory")
    back = store.deserialize_cdr(raw, "trajectory_msgs/msg/JointTrajectory")
    found = gm.trajectory_from_message(back)
    np.testing.assert_array_equal(found.q, q)
    np.testing.assert_array_equal(found.t, trajectory.t)


@pytest.mark.parametrize(
    ("message", "says"),
    [
        (None, "found null without joint_names and points"),
        (Object(points=[]), "without joint_names and points"),
        (Object(joint_names=["a"], points=[1]), "found an object that is no message"),
        (Object(joint_names=["a"], points=[point(sec=0.5)] * 2), "found an object that is no message"),
        (Object(joint_names=["a"], points=[point(positions=["x"])] * 2), "found an object that is no message"),
        (Object(joint_names=["a"], points=None), "found an object that is no message"),
        (Object(joint_names=["a"], points=[]), "message: points: found 0 points, expected at least 2"),
        (Object(multi_dof_joint_trajectory=Object(points=[1]), joint_trajectory=plain()), "points of a multi-DOF"),
        ({**TREE, "points": [*TREE["points"][:1], *TREE["points"][:1]]}, r"points\[1\].* a time that repeats"),
    ],
)
def test_objects_that_are_no_messages(message, says):
    with pytest.raises(InputError, match=says):
        gm.trajectory_from_message(message)


def test_poses_of_a_trajectory_as_se3():
    from spatialmath import SE3

    poses = SE3.Rand(N=7)
    trajectory = gm.PoseTrajectory.from_se3(np.arange(7.0), poses)
    found = trajectory.to_se3()
    assert isinstance(found, SE3)
    np.testing.assert_array_equal(np.array(found.A), np.array(poses.A))
    assert gm.PoseTrajectory.from_se3(trajectory.t, found) == trajectory
