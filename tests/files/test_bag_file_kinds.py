"""What recordings have beside joint states of ROS 2: bags of ROS 1, controllers, plans, goals, poses.

All are written by the writers of the library rosbags, or by that of the library mcap, from definitions as
ros-controls/control_msgs and ros/common_msgs publish them.
"""

import struct
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest
from mcap.writer import Writer as McapWriter
from rosbags.rosbag1 import Writer as Writer1
from rosbags.rosbag2 import Writer as Writer2
from rosbags.typesys import Stores, get_types_from_msg, get_typestore
from scipy.spatial.transform import Rotation

from gripmargin import read_job, read_trajectory
from gripmargin.base.errors import InputError
from gripmargin.files import ros1_bag
from gripmargin.motion.chain import Chain, Follower

START, STEP = 1_700_000_000_123_456_789, 4_000_001  # [ns]
JOINTS = ("shoulder", "elbow")
POINT = "trajectory_msgs/JointTrajectoryPoint"
MULTI = "trajectory_msgs/MultiDOFJointTrajectoryPoint"
HEAD = "std_msgs/Header header\nstring[] joint_names\n"
OLD = HEAD + "".join(f"{POINT} {name}\n" for name in ("desired", "actual", "error"))
BETWEEN = (
    HEAD
    + "".join(f"{POINT} {name}\n" for name in ("reference", "feedback", "error", "output", "desired", "actual"))
    + "string[] multi_dof_joint_names\n"
    + "".join(f"{MULTI} multi_dof_{n}\n" for n in ("reference", "feedback", "error", "output", "desired", "actual"))
)
NEW = (
    HEAD
    + "".join(f"{POINT} {name}\n" for name in ("reference", "feedback", "error", "output"))
    + "string[] multi_dof_joint_names\n"
    + "".join(f"{MULTI} multi_dof_{n}\n" for n in ("reference", "feedback", "error", "output"))
)
GOAL = "trajectory_msgs/JointTrajectory trajectory\nfloat64[] tolerances\ndouble_ goal_time_tolerance".replace(
    "double_", "duration"
)
ACTION = "std_msgs/Header header\nactionlib_msgs/GoalID goal_id\ncontrol_msgs/FollowJointTrajectoryGoal goal"
STATE_KIND, GOAL_KIND = (
    "control_msgs/msg/JointTrajectoryControllerState",
    "control_msgs/msg/FollowJointTrajectoryActionGoal",
)


def store_of(ros, state=OLD):
    store = get_typestore(Stores.ROS1_NOETIC if ros == 1 else Stores.LATEST)
    types = get_types_from_msg(state, STATE_KIND)
    if ros == 1:
        types |= get_types_from_msg(GOAL, "control_msgs/msg/FollowJointTrajectoryGoal")
        types |= get_types_from_msg(ACTION, GOAL_KIND)
        types |= get_types_from_msg("geometry_msgs/TransformStamped[] transforms", "tf2_msgs/msg/TFMessage")
    store.register(types)
    return store


class Maker:
    """Makes messages of a store, ROS 1 or ROS 2, by their fields."""

    def __init__(self, ros, state=OLD):
        self.ros, self.store = ros, store_of(ros, state)

    def __call__(self, kind, **fields):
        package, name = kind.split("/")
        return self.store.types[f"{package}/msg/{name}"](**fields)

    def header(self, i, frame=""):
        stamp = self("builtin_interfaces/Time", sec=(START + i * STEP) // 10**9, nanosec=(START + i * STEP) % 10**9)
        return self("std_msgs/Header", **({"seq": i} if self.ros == 1 else {}), stamp=stamp, frame_id=frame)

    def point(self, q, qd=(), qdd=(), t=0.0):
        ns = round(t * 1e9)
        since = self("builtin_interfaces/Duration", sec=ns // 10**9, nanosec=ns % 10**9)
        values = {"positions": q, "velocities": qd, "accelerations": qdd, "effort": ()}
        return self(POINT, **{k: np.array(v, dtype=float) for k, v in values.items()}, time_from_start=since)

    def joints(self, i):
        values = {"position": q_of(i) + 0.5, "velocity": (), "effort": ()}
        arrays = {k: np.array(v, dtype=float) for k, v in values.items()}
        return self("sensor_msgs/JointState", header=self.header(i), name=list(JOINTS), **arrays)

    def state(self, i, *names):
        """A controller's state: what it aims at, then what it measures 1e-3 behind, then nothing."""
        rest = [self.point(()) for _ in names[2:]]
        points = [self.point(q_of(i), QD, QDD), self.point(q_of(i) - 1e-3, QD), *rest]
        multi = {}
        if len(names) > 3:
            empty = self(
                MULTI, transforms=[], velocities=[], accelerations=[], time_from_start=self.point(()).time_from_start
            )
            multi = {"multi_dof_joint_names": []} | {f"multi_dof_{name}": empty for name in names}
        kind = "control_msgs/JointTrajectoryControllerState"
        fields = dict(zip(names, points, strict=True))
        return self(kind, header=self.header(i), joint_names=list(JOINTS), **fields, **multi)

    def plan(self, ends, frame=0):
        points = [self.point(q, t=t) for t, q in zip((0.0, 0.5, 1.0), ends, strict=True)]
        kind = "trajectory_msgs/JointTrajectory"
        return self(kind, header=self.header(frame), joint_names=list(JOINTS), points=points)

    def goal(self, i, ends):
        goal = self(
            "control_msgs/FollowJointTrajectoryGoal",
            trajectory=self.plan(ends, i),
            tolerances=np.array([0.1]),
            goal_time_tolerance=self.point(()).time_from_start,
        )
        name = self("actionlib_msgs/GoalID", stamp=self.header(i).stamp, id=f"g{i}")
        return self("control_msgs/FollowJointTrajectoryActionGoal", header=self.header(i), goal_id=name, goal=goal)

    def transform(self, i, inner, outer="base"):
        x, y, z, w = TURN[i].as_quat()
        placed = self(
            "geometry_msgs/Transform",
            translation=self("geometry_msgs/Vector3", x=0.1 * i, y=0.2, z=0.3),
            rotation=self("geometry_msgs/Quaternion", x=x, y=y, z=z, w=w),
        )
        fields = {"header": self.header(i, outer), "child_frame_id": inner, "transform": placed}
        return self("geometry_msgs/TransformStamped", **fields)

    def pose(self, i, frame="base"):
        placed = self.transform(i, "").transform
        point = {axis: getattr(placed.translation, axis) for axis in "xyz"}
        pose = self("geometry_msgs/Pose", position=self("geometry_msgs/Point", **point), orientation=placed.rotation)
        return self("geometry_msgs/PoseStamped", header=self.header(i, frame), pose=pose)


def q_of(i):
    return np.array([0.1, 0.2]) + np.array(QD) * 1e-9 * i * STEP


QD, QDD = (1.0, -0.5), (0.0, 0.0)
TURN = Rotation.from_rotvec(np.arange(6)[:, None] * [0.05, -0.1, 0.2])
EXACT = np.arange(6) * STEP / 1e9
Q = np.array([q_of(i) for i in range(6)])


def write(path, make, topics, compression=None):
    """Write messages by topic, all topics in turn: a bag of ROS 1 or a folder of ROS 2."""
    writer = Writer1(path) if make.ros == 1 else Writer2(path, version=9)
    if compression:
        writer.set_compression(compression)
    with writer:
        for topic, messages in topics.items():
            kind = messages[0].__msgtype__
            connection = writer.add_connection(topic, kind, typestore=make.store)
            raw = make.store.serialize_ros1 if make.ros == 1 else make.store.serialize_cdr
            for i, message in enumerate(messages):
                writer.write(connection, START + i * STEP, raw(message, kind))
    return path


@pytest.fixture(params=[1, 2], ids=["ros1", "ros2"])
def ros(request):
    return request.param


@pytest.fixture
def bag(tmp_path):
    return lambda make, **topics: write(
        tmp_path / ("run.bag" if make.ros == 1 else "run"), make, {f"/{name}": each for name, each in topics.items()}
    )


# ---- ROS 1 ----


@pytest.mark.parametrize("compression", [None, *Writer1.CompressionFormat])
def test_joint_states_of_ros_1(tmp_path, compression):
    make = Maker(1)
    path = write(tmp_path / "run.bag", make, {"/joint_states": [make.joints(i) for i in range(6)]}, compression)
    trajectory = read_trajectory(path)
    np.testing.assert_array_equal(trajectory.t, EXACT)
    np.testing.assert_array_equal(trajectory.q, Q + 0.5)
    assert trajectory.names == JOINTS
    assert trajectory.notes == ("Measured: 6 joint states; time 0 is the stamp 1700000000.123456789 s.",)


def test_messages_of_ros_1_in_mcap(tmp_path):
    make = Maker(1)
    with (tmp_path / "run.mcap").open("wb") as file:
        writer = McapWriter(file)
        writer.start("ros1")
        schema = writer.register_schema("sensor_msgs/JointState", "ros1msg", b"")
        channel = writer.register_channel("/joint_states", "ros1", schema)
        for i in range(6):
            raw = bytes(make.store.serialize_ros1(make.joints(i), "sensor_msgs/msg/JointState"))
            writer.add_message(channel, START, raw, START)
        writer.finish()
    np.testing.assert_array_equal(read_trajectory(tmp_path / "run.mcap").q, Q + 0.5)


@pytest.mark.parametrize("compression", [None, *Writer1.CompressionFormat])
def test_a_damaged_bag_is_refused(tmp_path, compression):
    """Cut at any place, or with a byte of a length or of packed content changed: no message is missing in silence."""
    make = Maker(1)
    path = write(tmp_path / "run.bag", make, {"/joint_states": [make.joints(i) for i in range(40)]}, compression)
    whole = path.read_bytes()
    for cut in np.linspace(10, len(whole) - 1, 25).astype(int):
        path.write_bytes(whole[:cut])
        with suppress(InputError):
            assert read_trajectory(path).samples == 40  # where the index behind the messages is cut
            assert cut > 0.8 * len(whole)
    path.write_bytes(whole.replace(b"size=", b"size!", 1))
    with pytest.raises(InputError, match=r"run\.bag: found a record that is damaged, or a file that was cut short"):
        read_trajectory(path)
    path.write_bytes(whole.replace(b"#ROSBAG V2.0", b"#ROSBAG V1.2"))
    with pytest.raises(InputError, match="found a file that does not start as a bag of ROS 1 does"):
        read_trajectory(path)


def test_a_chunk_that_says_too_little_or_unpacks_too_far(tmp_path, monkeypatch):
    make = Maker(1)
    states = {"/joint_states": [make.joints(0)] * 200}
    path = write(tmp_path / "run.bag", make, states, Writer1.CompressionFormat.BZ2)
    whole = path.read_bytes()
    place = whole.index(b"size=") + 5
    (size,) = struct.unpack("<I", whole[place : place + 4])
    for wrong in (size - 1, size + 1):
        path.write_bytes(whole[:place] + struct.pack("<I", wrong) + whole[place + 4 :])
        with pytest.raises(InputError, match="found a record that is damaged"):
            read_trajectory(path)
    path.write_bytes(whole)
    monkeypatch.setattr(ros1_bag, "MAX_CHUNK", size)
    monkeypatch.setattr(ros1_bag, "MAX_PACKING", -1)
    with pytest.raises(InputError, match="chunks that unpack to more than -1 times the size of the file"):
        read_trajectory(path)


# ---- controllers ----


@pytest.mark.parametrize(
    ("version", "definition", "names"),
    [
        (1, OLD, ("desired", "actual", "error")),
        (2, OLD, ("desired", "actual", "error")),
        (2, BETWEEN, ("reference", "feedback", "error", "output", "desired", "actual")),
        (2, NEW, ("reference", "feedback", "error", "output")),
    ],
)
def test_program_and_recording_out_of_one_bag(bag, version, definition, names):
    make = Maker(version, definition)
    path = bag(make, arm=[make.state(i, *names) for i in range(6)])
    program, recording = read_trajectory(path), read_trajectory(path, recorded=True)
    for trajectory in (program, recording):
        np.testing.assert_array_equal(trajectory.t, EXACT)
        assert trajectory.names == JOINTS
    np.testing.assert_array_equal(program.q, Q)
    np.testing.assert_array_equal(program.qd, np.tile(QD, (6, 1)))  # of a controller's own law: no filter, no noise
    np.testing.assert_array_equal(program.qdd, np.tile(QDD, (6, 1)))
    np.testing.assert_array_equal(recording.q, Q - 1e-3)
    assert recording.qd is None
    assert program.notes == ("Aimed at: 6 controller states; time 0 is the stamp 1700000000.123456789 s.",)
    for word in ("actual", "feedback"):
        np.testing.assert_array_equal(read_trajectory(path, topic=f"/arm.{word}").q, recording.q)
    np.testing.assert_array_equal(read_trajectory(path, topic="/arm.desired", recorded=True).q, program.q)


def test_a_job_has_what_was_aimed_at_as_program_and_what_was_done_as_recording(bag, tmp_path):
    make = Maker(2, NEW)
    bag(make, arm=[make.state(i, "reference", "feedback", "error", "output") for i in range(6)])
    links = '<link name="a"/><link name="b"/><link name="tool0"/>'
    joint = '<joint name="{}" type="revolute"><parent link="{}"/><child link="{}"/></joint>'
    chain = joint.format("elbow", "a", "b") + joint.format("shoulder", "b", "tool0")
    (tmp_path / "arm.urdf").write_text(f'<robot name="arm">{links}{chain}</robot>')
    good = (Path(__file__).parents[1] / "bad_input" / "good" / "job.toml").read_text(encoding="utf-8")
    pads = good[good.index("[materials.film]") : good.index("[program]")]
    program = '[program]\ntrajectory = "run"\nrecording = "run"\n'
    (tmp_path / "job.toml").write_text(f'[job]\nname = "arm"\n[robot]\nurdf = "arm.urdf"\n{pads}{program}')
    job = read_job(tmp_path / "job.toml")
    np.testing.assert_array_equal(job.trajectory.q, Q[:, ::-1])
    np.testing.assert_array_equal(job.recording.q, Q[:, ::-1] - 1e-3)
    assert job.trajectory.stamp == job.recording.stamp == START


def test_a_controller_that_says_nothing_of_its_joints(bag):
    make = Maker(2)
    path = bag(make, arm=[make.state(i, "error", "desired", "actual") for i in range(6)])
    assert read_trajectory(path, topic="/arm.desired").samples == 6  # by place, whatever it is called
    empty = make.state(1, "desired", "actual", "error")
    empty.actual.positions = np.zeros(0)
    path = write(path.parent / "other", make, {"/arm": [make.state(0, "desired", "actual", "error"), empty]})
    with pytest.raises(InputError, match="message 1: found 0 positions for 2 joints, expected one a joint"):
        read_trajectory(path, recorded=True)


def test_joint_states_count_before_others_and_topics_choose(bag, ros):
    make = Maker(ros)
    state = [make.state(i, "desired", "actual", "error") for i in range(6)]
    path = bag(make, arm=state, joint_states=[make.joints(i) for i in range(6)], plan=[make.plan(ENDS)])
    np.testing.assert_array_equal(read_trajectory(path).q, Q + 0.5)
    np.testing.assert_array_equal(read_trajectory(path, topic="/arm").q, Q)
    with pytest.raises(InputError, match=r"found 'both' behind it, expected one of desired, reference, actual, feed"):
        read_trajectory(path, topic="/arm.both")
    with pytest.raises(InputError, match=r"found 'actual' behind it, expected nothing behind it"):
        read_trajectory(path, topic="/joint_states.actual")


def test_several_topics_of_other_kinds_need_a_choice(bag, ros):
    make = Maker(ros)
    path = bag(make, plan=[make.plan(ENDS)], arm=[make.state(i, "desired", "actual", "error") for i in range(6)])
    says = r"motion on 2 topics: '/plan' \(1 joint trajectories\), '/arm' \(6 controller states\)"
    with pytest.raises(InputError, match=says):
        read_trajectory(path)


# ---- plans and goals ----

ENDS = [[0.0, 0.1], [0.2, 0.3], [0.4, 0.5]]
OTHER = [[0.0, 0.1], [0.2, 0.3], [0.4, 0.6]]


@pytest.mark.parametrize("kind", ["plan", "goal"])
def test_plans_and_goals_are_what_their_messages_are(bag, kind):
    make = Maker(1)
    one = {"plan": lambda i, ends: make.plan(ends, i), "goal": make.goal}[kind]
    path = bag(make, arm=[one(0, ENDS), one(1, ENDS)])  # sent twice: the same motion
    trajectory = read_trajectory(
        path, robot=Chain(links=np.tile(np.eye(4), (3, 1, 1)), revolute=(True,) * 2, names=JOINTS[::-1])
    )
    np.testing.assert_array_equal(trajectory.t, [0.0, 0.5, 1.0])
    np.testing.assert_array_equal(trajectory.q, np.array(ENDS)[:, ::-1])
    assert trajectory.interpolation == "linear"
    assert trajectory.notes[0] == "Planned: joint trajectory 1 of 2."
    path = write(path.parent / "two.bag", make, {"/arm": [one(0, ENDS), one(1, OTHER)]})
    with pytest.raises(InputError, match=r"found 2 joint trajectories that differ, expected one; name .* \"/arm#1\""):
        read_trajectory(path)
    np.testing.assert_array_equal(read_trajectory(path, topic="/arm#2").q, OTHER)
    with pytest.raises(InputError, match="found '3' behind it, expected the number of one of its 2 trajectories"):
        read_trajectory(path, topic="/arm#3")


def test_a_plan_that_is_wrong_is_told_by_message_and_key(bag, ros):
    make = Maker(ros)
    path = bag(make, plan=[make.plan([[0.0, 0.1], [0.2], [0.4, 0.5]])])
    says = r"topic '/plan', message 0: points\[1\]\.positions: found a list of 1, expected 2 values"
    with pytest.raises(InputError, match=says):
        read_trajectory(path)


# ---- poses ----


@pytest.mark.parametrize("kind", ["pose", "transform", "tf"])
def test_poses_of_the_tool(bag, ros, kind):
    make = Maker(ros)
    messages = {
        "pose": make.pose,
        "transform": lambda i: make.transform(i, "tool0"),
        "tf": lambda i: make("tf2_msgs/TFMessage", transforms=[make.transform(i, "tool0")]),
    }[kind]
    trajectory = read_trajectory(bag(make, tool=[messages(i) for i in range(6)]))
    np.testing.assert_array_equal(trajectory.t, EXACT)
    np.testing.assert_allclose(trajectory.position, [[0.1 * i, 0.2, 0.3] for i in range(6)], rtol=0, atol=1e-15)
    np.testing.assert_allclose(trajectory.rotation, TURN.as_matrix(), rtol=0, atol=1e-15)
    of = "" if kind == "pose" else " of 'tool0'"
    assert trajectory.notes == (
        f"Measured: 6 poses{of} in 'base'; time 0 is the stamp 1700000000.123456789 s.",
        "They are taken as poses of the tool frame in the world.",
    )


def test_of_several_transforms_one_is_named(bag, ros):
    make = Maker(ros)

    def both(i):
        return make("tf2_msgs/TFMessage", transforms=[make.transform(i, "camera"), make.transform(i, "tool0", "world")])

    path = bag(make, tf=[both(i) for i in range(6)])
    with pytest.raises(InputError, match=r"found transforms of the frames camera, tool0, expected one frame; name"):
        read_trajectory(path)
    assert read_trajectory(path, topic="/tf.tool0").notes[0].startswith("Measured: 6 poses of 'tool0' in 'world'")
    with pytest.raises(InputError, match="transforms of other frames alone, expected transforms of the frame 'a'"):
        read_trajectory(path, topic="/tf.a")


def test_poses_in_two_frames_are_refused(bag):
    make = Maker(2)
    path = bag(make, tool=[make.pose(i, "base" if i < 3 else "world") for i in range(6)])
    with pytest.raises(InputError, match="message 3: found the frame 'world', where others are in 'base'"):
        read_trajectory(path)


# ---- what a recording may leave out ----


def test_a_joint_that_follows_another_is_worked_out(bag, ros):
    make = Maker(ros)
    robot = Chain(
        links=np.tile(np.eye(4), (4, 1, 1)),
        revolute=(True,) * 3,
        names=("shoulder", "level", "elbow"),
        followers=(Follower(joint=1, leader="shoulder", factor=-1.0, offset=0.25),),
    )
    trajectory = read_trajectory(bag(make, joint_states=[make.joints(i) for i in range(6)]), robot=robot)
    np.testing.assert_allclose(trajectory.q[:, 1], 0.25 - trajectory.q[:, 0], rtol=0, atol=1e-15)
