"""Trajectories from CSV: units, column orders, labels, the line in every error, and size."""

from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from gripmargin.base.errors import InputError
from gripmargin.files import csv_file
from gripmargin.files.trajectory_file import read_trajectory
from gripmargin.motion.chain import Chain
from gripmargin.motion.trajectory import JointTrajectory, PoseTrajectory


def chain(*revolute):
    return Chain(links=np.tile(np.eye(4), (len(revolute) + 1, 1, 1)), revolute=revolute, source="arm")


def read(tmp_path, text, robot=None):
    path = tmp_path / "program.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_trajectory(path, robot=robot)


def test_joint_columns_in_any_unit_and_order(tmp_path):
    text = "q2 [mm], t [ms], q1 [deg], qd1 [deg/s], qd2 [m/s]\n 1000, 0, 180, 90, 1\n 2000, 4, 90, 45, 2\n"
    trajectory = read(tmp_path, text, chain(True, False))
    assert isinstance(trajectory, JointTrajectory)
    np.testing.assert_allclose(trajectory.t, [0, 0.004])
    np.testing.assert_allclose(trajectory.q, [[np.pi, 1.0], [np.pi / 2, 2.0]])
    np.testing.assert_allclose(trajectory.qd, [[np.pi / 2, 1.0], [np.pi / 4, 2.0]])
    assert trajectory.qdd is None
    assert trajectory.moves is None
    assert trajectory.interpolation == "samples"


def test_accelerations(tmp_path):
    text = "t [s],q1 [rad],qd1 [rad/s],qdd1 [rad/s^2]\n0,1,2,3\n1,1,2,4\n"
    np.testing.assert_array_equal(read(tmp_path, text).qdd, [[3.0], [4.0]])


def test_quaternions_are_scalar_last(tmp_path):
    rotations = Rotation.random(4, random_state=1)
    rows = "\n".join(f"{i},1,2,3," + ",".join(map(repr, map(float, q))) for i, q in enumerate(rotations.as_quat()))
    trajectory = read(tmp_path, f"t [s],x [mm],y [mm],z [mm],qx,qy,qz,qw\n{rows}\n")
    assert isinstance(trajectory, PoseTrajectory)
    np.testing.assert_allclose(trajectory.rotation, rotations.as_matrix(), atol=1e-14)
    np.testing.assert_allclose(trajectory.position[0], [0.001, 0.002, 0.003])


def test_roll_pitch_yaw_turn_about_fixed_axes(tmp_path):
    # scipy's lower-case "xyz": about fixed axes, x first
    angles = np.array([[10.0, 20.0, 30.0], [-170.0, 80.0, 5.0]])
    rows = "\n".join(f"{i},0,0,0," + ",".join(map(str, row)) for i, row in enumerate(angles))
    trajectory = read(tmp_path, f"t [s],x [m],y [m],z [m],roll [deg],pitch [deg],yaw [deg]\n{rows}\n")
    np.testing.assert_allclose(
        trajectory.rotation, Rotation.from_euler("xyz", angles, degrees=True).as_matrix(), atol=1e-14
    )


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_line_ends_marks_comments_blanks_and_quotes(tmp_path, end, mark):
    lines = ["# made by hand", "", '"t [s]",move,q1 [deg]', "0,lift,1", "  # slower", "", '1,"lift, slow",2', "2,,3"]
    trajectory = read(tmp_path, mark + end.join(lines).encode())
    assert trajectory.moves == ("lift", "lift, slow", "")
    np.testing.assert_allclose(np.rad2deg(trajectory.q[:, 0]), [1, 2, 3])


def test_a_hash_within_a_label_is_part_of_it(tmp_path):
    assert read(tmp_path, "t [s],q1 [deg],move\n0,1,lift #2\n1,1,lift #2\n").moves == ("lift #2", "lift #2")


def test_lines_are_counted_past_comments(tmp_path):
    text = "# a\n# b\nt [s],q1 [deg]\n0,1\n# c\n\n1,nan\n"
    with pytest.raises(InputError, match=r"program\.csv, line 7, column 'q1 \[deg\]': found nan"):
        read(tmp_path, text)


@pytest.mark.parametrize("cell", ["1_000", "0x10", "1e", "--1", "1.0.0", "one", "1 2", "٣"])
def test_cells_that_are_no_numbers(tmp_path, cell):
    with pytest.raises(InputError, match=r"line 3, column 'q1 \[deg\]': found .*, expected a number"):
        read(tmp_path, f"t [s],q1 [deg]\n0,1\n1,{cell}\n")


def test_a_long_row_does_not_pass_for_a_short_one_elsewhere(tmp_path):
    with pytest.raises(InputError, match="line 2: found 4 cells, expected 3"):
        read(tmp_path, "t [s],q1 [deg],move\n0,5,1,lift\n1,2\n")


def test_without_a_robot_either_unit_is_taken(tmp_path):
    text = "t [s],q1 [deg],q2 [mm]\n0,1,1\n1,2,2\n"
    assert read(tmp_path, text).q.shape == (2, 2)
    with pytest.raises(InputError, match=r"q2 \[mm\]': found a unit of another dimension, expected a unit of angle"):
        read(tmp_path, text, chain(True, True))


def test_rates_have_the_kind_of_their_joint(tmp_path):
    with pytest.raises(InputError, match=r"found the unit 'mm/s' where q1 is in 'deg'"):
        read(tmp_path, "t [s],q1 [deg],qd1 [mm/s]\n0,1,1\n1,2,2\n")


@pytest.mark.parametrize(("unit", "value"), [("deg", "1000"), ("rev", "4"), ("rad", "12")])
def test_many_turns_in_a_unit_that_says_so(tmp_path, unit, value):
    assert read(tmp_path, f"t [s],q1 [{unit}]\n0,0\n1,{value}\n").samples == 2


@pytest.mark.parametrize("value", ["12.6", "-90"])
def test_surely_degrees(tmp_path, value):
    with pytest.raises(InputError, match="surely degrees"):
        read(tmp_path, f"t [s],q1 [rad]\n0,0\n1,{value}\n")


def test_a_sliding_joint_far_out_is_not_an_angle(tmp_path):
    assert read(tmp_path, "t [s],q1 [m]\n0,0\n1,20\n", chain(False)).samples == 2


def test_values_of_a_large_file_survive(tmp_path):
    rng = np.random.default_rng(3)
    values = np.column_stack([0.004 * np.arange(20_000), rng.normal(size=(20_000, 7))])
    header = "t [s]," + ",".join(f"q{i} [rad]" for i in range(1, 8))
    path = tmp_path / "program.csv"
    np.savetxt(path, values, fmt="%.17g", delimiter=",", header=header, comments="")
    trajectory = read_trajectory(path)
    np.testing.assert_array_equal(trajectory.t, values[:, 0])
    np.testing.assert_array_equal(trajectory.q, values[:, 1:])


def test_a_file_at_the_limit_is_read_and_one_beyond_is_not(tmp_path, monkeypatch):
    monkeypatch.setattr(csv_file, "MAX_SAMPLES", 100)
    monkeypatch.setattr(csv_file, "COMMENT_LINES", 10)
    rows = [f"{i},1" for i in range(101)]
    text = "\n".join(["# a", "t [s],q1 [deg]", *rows])
    with pytest.raises(InputError, match="found 101 rows, expected at most 100"):
        read(tmp_path, text)
    assert read(tmp_path, text[: text.rindex("\n")]).samples == 100
    with pytest.raises(InputError, match="found more than 100 rows"):
        read(tmp_path, text + "\n#" * 20)


def test_a_file_that_may_not_be_read_is_bad_input(tmp_path, monkeypatch):
    (tmp_path / "program.csv").write_text("t [s], x [mm]\n")

    def refused(*_, **__):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refused)
    with pytest.raises(InputError, match=r"csv: found a file that may not be read, expected a file that can be read"):
        read_trajectory(tmp_path / "program.csv")
