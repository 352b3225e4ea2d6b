"""Trajectories from .npz: the columns of the CSV header, floats of both lengths, nothing unpickled."""

import numpy as np
import pytest

from gripmargin.base.errors import InputError
from gripmargin.files.trajectory_file import read_trajectory
from gripmargin.motion.trajectory import JointTrajectory, PoseTrajectory


def read(tmp_path, save=np.savez, **columns):
    path = tmp_path / "program.npz"
    save(path, **columns)
    return read_trajectory(path)


@pytest.mark.parametrize("save", [np.savez, np.savez_compressed])
@pytest.mark.parametrize("kind", ["<f8", ">f8", "<f4", "<i4", "<i8"])
def test_joint_columns(tmp_path, save, kind):
    columns = {"t [s]": np.arange(3, dtype=kind), "q1 [deg]": np.array([90, 180, 270], dtype=kind)}
    trajectory = read(tmp_path, save, **columns, move=np.array(["lift", "lift", "set down"]))
    assert isinstance(trajectory, JointTrajectory)
    np.testing.assert_allclose(trajectory.q[:, 0], [np.pi / 2, np.pi, 3 * np.pi / 2])
    assert trajectory.moves == ("lift", "lift", "set down")
    assert trajectory.source == "program.npz"


def test_poses(tmp_path):
    columns = {"t [s]": [0.0, 1.0], "x [mm]": [1.0, 2.0], "y [mm]": [0.0, 0.0], "z [mm]": [0.0, 0.0]}
    quaternion = {"qx": [0.0, 0.0], "qy": [0.0, 0.0], "qz": [0.0, 0.0], "qw": [1.0, 1.0]}
    trajectory = read(tmp_path, **columns, **quaternion)
    assert isinstance(trajectory, PoseTrajectory)
    np.testing.assert_allclose(trajectory.position[:, 0], [0.001, 0.002])


@pytest.mark.parametrize("kind", [np.float16, np.complex128, np.bool_, "S8", "M8[s]"])
def test_other_types_are_refused(tmp_path, kind):
    with pytest.raises(InputError, match=r"key 'q1 \[deg\]': found an array of"):
        read(tmp_path, **{"t [s]": np.arange(3.0), "q1 [deg]": np.zeros(3, dtype=kind)})


def test_numbers_for_labels_are_refused(tmp_path):
    with pytest.raises(InputError, match="key 'move': found an array of float64, expected an array of text"):
        read(tmp_path, **{"t [s]": np.arange(3.0), "q1 [deg]": np.zeros(3), "move": np.zeros(3)})


def test_long_labels_are_refused_unread(tmp_path):
    with pytest.raises(InputError, match="found labels of 201 characters, expected at most 200"):
        read(tmp_path, move=np.array(["a" * 201]))


def test_empty_archive(tmp_path):
    with pytest.raises(InputError, match="an archive without arrays"):
        read(tmp_path)


def test_many_arrays(tmp_path):
    with pytest.raises(InputError, match="found 201 arrays, expected at most 200"):
        read(tmp_path, **{f"a{i}": np.zeros(1) for i in range(201)})


def test_damaged_content(tmp_path):
    path = tmp_path / "program.npz"
    np.savez_compressed(path, **{"t [s]": np.linspace(0, 1, 1000)})
    content = bytearray(path.read_bytes())
    for i in range(200, 260):
        content[i] ^= 0xFF
    path.write_bytes(bytes(content))
    with pytest.raises(InputError, match=r"program\.npz"):
        read_trajectory(path)
