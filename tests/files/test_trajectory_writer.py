"""What is written is read back as it was: every format, joint values and poses, names and labels."""

import csv
import json
import math
import os
import stat

import hypothesis.extra.numpy as arrays
import numpy as np
import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

import gripmargin as gm
from gripmargin.base.errors import GripmarginError, InputError
from gripmargin.files.messages import message_tree
from gripmargin.files.named_columns import unit_quaternions
from gripmargin.motion.chain import Chain
from gripmargin.motion.interpolate import as_controller_moves

finite = st.floats(-12.0, 12.0, allow_subnormal=True)
rate = st.floats(-1e6, 1e6)
labels = st.text(
    st.characters(exclude_categories=("C", "Z")) | st.sampled_from([" ", ",", '"', "'", "#", ";"]), max_size=12
).map(str.strip)


def times(n):
    steps = arrays.arrays(np.float64, n, elements=st.floats(1e-6, 100.0))
    return st.builds(lambda start, h: start + np.cumsum(h), st.floats(-1e3, 1e3), steps)


def chain(revolute, names=()):
    n = len(revolute)
    return Chain(links=np.tile(np.eye(4), (n + 1, 1, 1)), revolute=tuple(revolute), names=tuple(names), source="arm")


@st.composite
def joint_trajectories(draw, names=False, whole_nanoseconds=False):
    n, joints = draw(st.integers(2, 6)), draw(st.integers(1, 4))
    values = {"q": draw(arrays.arrays(np.float64, (n, joints), elements=finite))}
    for name in ("qd", "qdd")[: draw(st.integers(0, 2))]:
        values[name] = draw(arrays.arrays(np.float64, (n, joints), elements=rate))
    if whole_nanoseconds:
        steps = draw(arrays.arrays(np.int64, n, elements=st.integers(1_000_000, 10**9)))
        values["t"] = (draw(st.integers(0, 10**12)) + np.cumsum(steps)) / 1e9
    else:
        values["t"] = draw(times(n))
    if names:
        words = st.text(st.characters(exclude_categories=("C", "Z")), min_size=1, max_size=8).filter(
            lambda w: w != "..."
        )
        values["names"] = tuple(draw(st.lists(words, min_size=joints, max_size=joints, unique=True)))
    else:
        values["moves"] = draw(st.none() | st.lists(labels, min_size=n, max_size=n).map(tuple))
    return gm.JointTrajectory(**values)


@st.composite
def pose_trajectories(draw):
    n = draw(st.integers(2, 6))
    vectors = draw(arrays.arrays(np.float64, (n, 3), elements=st.floats(-7.0, 7.0)))
    rates = arrays.arrays(np.float64, (n, 6), elements=rate)
    return gm.PoseTrajectory(
        t=draw(times(n)),
        position=draw(arrays.arrays(np.float64, (n, 3), elements=st.floats(-1e3, 1e3))),
        rotation=Rotation.from_rotvec(vectors).as_matrix(),
        moves=draw(st.none() | st.lists(labels, min_size=n, max_size=n).map(tuple)),
        **draw(st.just({}) | st.fixed_dictionaries(dict.fromkeys(gm.PoseTrajectory.RATES, rates))),
    )


def there_and_back(tmp_path_factory, trajectory, ending, robot=None, read_with=None):
    path = tmp_path_factory.mktemp("out") / f"program{ending}"
    gm.write_trajectory(trajectory, path, robot=robot)
    return gm.read_trajectory(path, robot=robot if read_with is None else read_with)


def same(a, b, *fields):
    for field in fields:
        one, other = getattr(a, field), getattr(b, field)
        assert np.array_equal(one, other) if isinstance(one, np.ndarray) else one == other, field


@pytest.mark.parametrize("ending", [".csv", ".npz"])
@given(data=st.data())
@settings(max_examples=60, deadline=None)
def test_joint_columns_come_back_to_the_last_digit(tmp_path_factory, ending, data):
    trajectory = data.draw(joint_trajectories())
    found = there_and_back(tmp_path_factory, trajectory, ending)
    same(found, trajectory, "t", "q", "qd", "qdd", "moves", "interpolation")
    revolute = data.draw(st.lists(st.booleans(), min_size=trajectory.q.shape[1], max_size=trajectory.q.shape[1]))
    found = there_and_back(tmp_path_factory, trajectory, ending, robot=chain(revolute))
    same(found, trajectory, "t", "q", "qd", "qdd", "moves")


@pytest.mark.parametrize("ending", [".csv", ".npz"])
@given(trajectory=pose_trajectories())
@settings(max_examples=60, deadline=None)
def test_poses_come_back(tmp_path_factory, ending, trajectory):
    found = there_and_back(tmp_path_factory, trajectory, ending)
    same(found, trajectory, "t", "position", "velocity", "acceleration", "moves")
    np.testing.assert_allclose(found.rotation, trajectory.rotation, atol=2e-15, rtol=0)


@pytest.mark.parametrize("ending", [".json", ".yaml", ".yml"])
@given(trajectory=joint_trajectories(names=True, whole_nanoseconds=True))
@settings(max_examples=40, deadline=None)
def test_messages_come_back_as_a_controller_moves_them(tmp_path_factory, ending, trajectory):
    found = there_and_back(tmp_path_factory, trajectory, ending)
    due = as_controller_moves(trajectory)
    same(found, due, "t", "q", "qd", "qdd", "names", "interpolation")


@given(trajectory=joint_trajectories(names=True, whole_nanoseconds=True))
@settings(max_examples=40, deadline=None)
def test_trees_and_texts_hold_the_points_themselves(trajectory):
    texts = {e: gm.trajectory_bytes(trajectory, e).decode() for e in (".json", ".yaml")}
    trees = [message_tree(trajectory), json.loads(texts[".json"]), yaml.safe_load(texts[".yaml"])]
    for tree in trees:  # PyYAML is a reader of YAML 1.1, as the tools of ROS use it
        assert tuple(tree["joint_names"]) == trajectory.names
        for i, point in enumerate(tree["points"]):
            assert point["positions"] == trajectory.q[i].tolist()
            assert point.get("velocities") == (None if trajectory.qd is None else trajectory.qd[i].tolist())
            time = point["time_from_start"]
            assert (time["sec"] * 10**9 + time["nanosec"]) / 1e9 == trajectory.t[i]


def test_other_times_are_rounded_to_the_nanosecond():
    trajectory = gm.JointTrajectory(t=[0.0, 1 / 3], q=[[0.0], [1.0]], names=("a",))
    assert message_tree(trajectory)["points"][1]["time_from_start"] == {"sec": 0, "nanosec": 333333333}


def test_csv_for_another_reader(tmp_path):
    q = np.array([[math.pi, 0.1 + 0.2], [1e-300, -0.0]])
    moves = ("lift, slowly", 'set "down"')
    gm.write_trajectory(
        gm.JointTrajectory(t=[0, 0.1], q=q, moves=moves), tmp_path / "a.csv", robot=chain([True, False])
    )
    with (tmp_path / "a.csv").open(newline="") as file:
        header, *rows = csv.reader(file)
    assert header == ["t [s]", "q1 [rad]", "q2 [m]", "move"]
    assert rows == [["0.0", repr(math.pi), "0.30000000000000004", moves[0]], ["0.1", "1e-300", "-0.0", moves[1]]]


def test_the_same_bytes_each_time():
    trajectory = gm.JointTrajectory(t=[0.0, 1.0], q=[[0.0], [1.0]], names=("a",))
    for ending in (".yaml", ".json"):
        assert gm.trajectory_bytes(trajectory, ending) == gm.trajectory_bytes(trajectory, ending)
    for ending in (".csv", ".npz"):
        plain = gm.JointTrajectory(t=[0.0, 1.0], q=[[0.0], [1.0]])
        assert gm.trajectory_bytes(plain, ending) == gm.trajectory_bytes(plain, ending)


def test_quaternions_do_not_turn_against_each_other():
    angles = np.linspace(0, 6 * np.pi, 200)
    rotation = Rotation.from_rotvec(np.outer(angles, [0.6, 0.0, 0.8])).as_matrix()
    quaternions = unit_quaternions(rotation)
    assert (np.einsum("nk,nk->n", quaternions[1:], quaternions[:-1]) > 0.99).all()
    assert quaternions[0, 3] > 0


def test_joints_by_name_are_put_in_the_order_of_the_robot(tmp_path_factory):
    trajectory = gm.JointTrajectory(t=[0.0, 1.0], q=[[1.0, 2.0], [3.0, 4.0]], names=("a", "b"))
    arm = chain([True, True], ("b", "a"))
    for ending in (".csv", ".npz", ".yaml"):
        found = there_and_back(tmp_path_factory, trajectory, ending, robot=arm)
        np.testing.assert_array_equal(found.q, [[2.0, 1.0], [4.0, 3.0]])


NAMED = gm.JointTrajectory(t=[0.0, 1.0], q=[[1.0, 2.0], [3.0, 4.0]], names=("a", "b"))
PLAIN = gm.JointTrajectory(t=[0.0, 1.0], q=[[1.0], [3.0]])
POSES = gm.PoseTrajectory(t=[0.0, 1.0], position=np.zeros((2, 3)), rotation=np.tile(np.eye(3), (2, 1, 1)))


def changed(trajectory, **fields):
    from dataclasses import replace

    return replace(trajectory, **fields)


@pytest.mark.parametrize(
    ("trajectory", "ending", "robot", "says"),
    [
        # read with another robot, columns in the order of a message would drive other joints
        (
            NAMED,
            ".csv",
            None,
            r"named joints \(a, b\), expected the robot, whose order columns follow; hand in the robot",
        ),
        (NAMED, ".csv", chain([True, True], ("a", "c")), "missing: c"),
        # without that word straight lines between points would be taken for samples of a smooth motion
        (changed(PLAIN, interpolation="linear"), ".npz", None, "points that a controller joins by straight lines"),
        (
            changed(PLAIN, interpolation="cubic"),
            ".json",
            None,
            "samples of a controller's cubic moves between other points",
        ),
        (PLAIN, ".yaml", None, "joints without names, expected a name for each joint"),
        (PLAIN, ".yaml", chain([True]), "joints without names"),
        (POSES, ".json", None, "found poses, expected joint values; write poses as .csv or .npz"),
        (changed(NAMED, t=[-1.0, 1.0]), ".json", None, "found -1 s to 1 s, expected times from 0"),
        (changed(NAMED, t=[1.0, 3e9]), ".json", None, "found 1 s to 3e.09 s, expected times from 0 to 68 years"),
        (changed(NAMED, t=[1.0, 1.0 + 4e-10]), ".json", None, "sample 1: found 4e-10 s since the sample before"),
        (changed(PLAIN, moves=("a", " b")), ".csv", None, "the label ' b', expected labels without blanks around"),
        (changed(PLAIN, moves=("a", "b\nc")), ".npz", None, r"the label 'b\\nc', expected plain text"),
        (changed(PLAIN, q=[[0.0], [13.0]]), ".csv", None, r"sample 1, column 'q1 \[rad\]': found an angle of 13 rad"),
        (PLAIN, ".xlsx", None, "found '.xlsx', expected one of .csv, .npz, .yaml, .yml, .json"),
    ],
)
def test_what_a_format_cannot_say_is_refused(trajectory, ending, robot, says, tmp_path):
    with pytest.raises(InputError, match=says):
        gm.write_trajectory(trajectory, tmp_path / f"a{ending}", robot=robot)
    assert list(tmp_path.iterdir()) == []


def test_written_whole_or_not_at_all(tmp_path, monkeypatch):
    path = tmp_path / "a.csv"
    path.write_text("before")
    with pytest.raises(GripmarginError, match="a place where a file can be written"):
        gm.write_trajectory(PLAIN, tmp_path / "nowhere" / "a.csv")

    def full(*_arguments):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    monkeypatch.setattr("pathlib.Path.replace", full)
    with pytest.raises(GripmarginError, match="No space left on device"):
        gm.write_trajectory(PLAIN, path)
    assert [p.name for p in tmp_path.iterdir()] == ["a.csv"]
    assert path.read_text() == "before"
    monkeypatch.undo()
    gm.write_trajectory(PLAIN, path)
    assert stat.S_IMODE(path.stat().st_mode) == 0o644
