"""Joint trajectory messages: the spellings of both ROS generations, wrappers, joints by name, safe YAML.

Field names follow the message definitions trajectory_msgs/JointTrajectory, JointTrajectoryPoint and
builtin_interfaces/Duration (common_interfaces and rcl_interfaces of ROS 2).
"""

import json
import time

import numpy as np
import pytest

from gripmargin.base.errors import InputError
from gripmargin.files.trajectory_file import read_trajectory
from gripmargin.motion.chain import Chain

NAMES = ["shoulder", "elbow"]


def arm(names=("shoulder", "elbow"), revolute=(True, True)):
    return Chain(links=np.tile(np.eye(4), (3, 1, 1)), revolute=revolute, names=names, source="arm")


def message(rates=1, times=((0, 0), (1, 500_000_000))):
    points = []
    for i, (sec, nanosec) in enumerate(times):
        point = {"positions": [0.1 * i, -0.2 * i], "time_from_start": {"sec": sec, "nanosec": nanosec}}
        for k, field in enumerate(["velocities", "accelerations"]):
            point[field] = [0.0, 0.0] if rates > k else []
        point["effort"] = []
        points.append(point)
    return {"header": {"stamp": {"sec": 0, "nanosec": 0}, "frame_id": ""}, "joint_names": NAMES, "points": points}


def read(tmp_path, content, name="program.json", robot=None):
    path = tmp_path / name
    path.write_text(content if isinstance(content, str) else json.dumps(content), encoding="utf-8")
    return read_trajectory(path, robot=robot)


@pytest.mark.parametrize(("rates", "kind"), [(0, "linear"), (1, "cubic"), (2, "quintic")])
@pytest.mark.parametrize("name", ["program.json", "program.yaml", "program.yml"])
def test_interpolation_by_the_fields_that_are_there(tmp_path, rates, kind, name):
    trajectory = read(tmp_path, message(rates), name)
    assert trajectory.interpolation == kind
    assert trajectory.names == ("shoulder", "elbow")
    assert trajectory.t[-1] == pytest.approx(1.5, abs=1e-15)
    np.testing.assert_allclose(trajectory.q[-1], [0.1, -0.2])


def test_columns_go_by_name(tmp_path):
    trajectory = read(tmp_path, message(), robot=arm(("elbow", "shoulder")))
    np.testing.assert_allclose(trajectory.q[-1], [-0.2, 0.1])


def test_a_robot_without_joint_names_is_told_apart(tmp_path):
    with pytest.raises(InputError, match="those of arm have none; name them in the order of the robot's axes"):
        read(tmp_path, message(), robot=arm(()))


def test_joints_that_the_robot_does_not_have_are_left_out(tmp_path):
    chain = Chain(links=np.tile(np.eye(4), (2, 1, 1)), revolute=(True,), names=("elbow",))
    assert read(tmp_path, message(), robot=chain).q.shape[1] == 1


def test_seconds_as_ros_1_spells_them(tmp_path):
    content = message()
    for point in content["points"]:
        duration = point["time_from_start"]
        point["time_from_start"] = {"secs": duration["sec"], "nsecs": duration["nanosec"]}
    assert read(tmp_path, content).t[-1] == pytest.approx(1.5)


def test_times_as_plain_seconds(tmp_path):
    content = message()
    for point in content["points"]:
        duration = point["time_from_start"]
        point["time_from_start"] = duration["sec"] + duration["nanosec"] / 1e9
    np.testing.assert_array_equal(read(tmp_path, content).t, read(tmp_path, message()).t)


def test_spellings_do_not_mix(tmp_path):
    content = message()
    content["points"][1]["time_from_start"] = {"sec": 1, "nsecs": 5}
    with pytest.raises(InputError, match=r"points\[1\]\.time_from_start: found the keys sec, nsecs"):
        read(tmp_path, content)


@pytest.mark.parametrize(
    "wrap",
    [
        lambda m: {"joint_trajectory": m, "multi_dof_joint_trajectory": {"joint_names": [], "points": []}},
        lambda m: {"trajectory": m},
        lambda m: {"goal": {"trajectory": m}},
        lambda m: {"model_id": "arm", "trajectory": [{"joint_trajectory": m}]},
    ],
)
def test_wrappers(tmp_path, wrap):
    assert read(tmp_path, wrap(message())).interpolation == "cubic"


def test_multi_dof_points_are_not_passed_over(tmp_path):
    wrapped = {"joint_trajectory": message(), "multi_dof_joint_trajectory": {"points": [{}]}}
    with pytest.raises(InputError, match="points of a multi-DOF trajectory"):
        read(tmp_path, wrapped)


def test_the_end_mark_of_a_printed_message_is_no_second_document(tmp_path):
    text = f"{json.dumps(message())}\n---\n"
    assert read(tmp_path, text, "program.yaml").interpolation == "cubic"


def test_yaml_numbers_are_those_of_json(tmp_path):
    # YAML 1.1 reads 1e-3 as text, 010 as 8 and 1:30 as 90 (yaml.org/type/float.html, int.html)
    text = """
joint_names: [shoulder, elbow]
points:
- {positions: [1e-3, 010], time_from_start: {sec: 0}}
- {positions: [1E-3, +.5], time_from_start: {sec: 1}}
"""
    np.testing.assert_array_equal(read(tmp_path, text, "program.yaml").q, [[1e-3, 10.0], [1e-3, 0.5]])
    with pytest.raises(InputError, match=r'positions\[1\]: found "1:30", expected a finite number'):
        read(tmp_path, text.replace("010", "1:30"), "program.yaml")


@pytest.mark.parametrize("entry", [True, None, "a", [1.0], {"a": 1}, 10**400])
def test_entries_that_are_no_numbers(tmp_path, entry):
    content = message()
    content["points"][1]["positions"][0] = entry
    with pytest.raises(InputError, match=r"points\[1\]\.positions\[0\]: found .*, expected a finite number"):
        read(tmp_path, content)


@pytest.mark.parametrize("tag", ["!!python/name:os.system", "!!python/object/new:os.system [a]", "!reference a"])
def test_tags_are_refused(tmp_path, tag):
    with pytest.raises(InputError, match="not plain YAML"):
        read(tmp_path, f"joint_names: {tag}\n", "program.yaml")


def test_aliases_that_multiply_cost_no_time(tmp_path):
    lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x]"]
    lines += [f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 9)}]" for i in range(1, 40)]
    text = "\n".join(lines) + "\njoint_names: *a39\npoints: []\n"
    start = time.perf_counter()
    with pytest.raises(InputError, match=r"joint_names: found a list of 9, expected a list of joint names|a key that"):
        read(tmp_path, text, "program.yaml")
    assert time.perf_counter() - start < 5.0


def test_a_list_within_itself(tmp_path):
    with pytest.raises(InputError):
        read(tmp_path, "joint_names: &a [*a]\npoints: []\n", "program.yaml")


@pytest.mark.parametrize("opening", ["[", "- ", "{a: ", "? "])
def test_deep_nesting(tmp_path, opening):
    with pytest.raises(InputError):
        read(tmp_path, opening * 50_000, "program.yaml")


def test_without_the_compiled_loader(tmp_path, monkeypatch):
    import yaml

    monkeypatch.delattr(yaml, "CSafeLoader")
    assert read(tmp_path, message(), "program.yaml").interpolation == "cubic"
    with pytest.raises(InputError, match="nested too deep"):
        read(tmp_path, "[" * 5_000, "program.yaml")
    with pytest.raises(InputError, match="the key 'a' twice"):
        read(tmp_path, "{a: 1, a: 2}", "program.yaml")


def test_degrees_in_a_message(tmp_path):
    content = message()
    content["points"][1]["positions"] = [45.0, 0.0]
    with pytest.raises(InputError, match=r"points\[1\]\.positions\[0\]: found an angle of 45 rad"):
        read(tmp_path, content, robot=arm(("elbow", "shoulder")))
    assert read(tmp_path, content, robot=arm(revolute=(False, True))).samples > 2
