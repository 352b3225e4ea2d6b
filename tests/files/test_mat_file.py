"""Variables of .mat files and arrays of two dimensions as columns, written by scipy and numpy."""

import sys

import numpy as np
import pytest
from scipy.io import loadmat, savemat

import gripmargin as gm
from gripmargin.base.errors import InputError
from gripmargin.files.mat_file import Parser

T = np.arange(6) * 0.004
Q = np.random.default_rng(2).normal(size=(6, 3))
RADIANS = gm.Columns(joints=gm.ColumnGroup(unit="rad"))


@pytest.mark.parametrize("packed", [False, True])
@pytest.mark.parametrize("oriented", [False, True])
def test_variables_of_one_and_two_dimensions(tmp_path, packed, oriented):
    savemat(tmp_path / "log.mat", {"t": T, "q": Q.T if oriented else Q}, do_compression=packed)
    found = gm.read_trajectory(tmp_path / "log.mat", columns=RADIANS)
    np.testing.assert_array_equal(found.t, T)
    np.testing.assert_array_equal(found.q, Q)


def test_every_kind_of_number_as_scipy_reads_it(tmp_path):
    """Numbers are stored in the smallest type that holds them."""
    kinds = ["f8", "f4", "i1", "u1", "i2", "u2", "i4", "u4", "i8", "u8"]
    given = {f"a{kind}": np.array([[1, 2, 3], [4, 5, 6]], dtype=kind) for kind in kinds} | {
        "flag": np.array([True, False])
    }
    savemat(tmp_path / "log.mat", given | {"text": ["ab", "cde"], "b": 1 - 2j, "c": np.empty((0, 0))})
    content = (tmp_path / "log.mat").read_bytes()
    found = dict(Parser("<").variables(content[128:]))
    for name, due in loadmat(tmp_path / "log.mat").items():
        if name[:2] != "__" and name not in ("text", "b"):
            np.testing.assert_array_equal(found[name], np.squeeze(due) if 1 in due.shape else due)
            assert found[name].dtype == (bool if name == "flag" else due.dtype)
    assert found["text"].tolist() == ["ab", "cde"]
    assert found["b"].dtype == complex


def test_an_old_file_says_how_to_save_it(tmp_path):
    savemat(tmp_path / "log.mat", {"t": T}, format="4")
    with pytest.raises(InputError, match="save it with the option '-v7'"):
        gm.read_trajectory(tmp_path / "log.mat")


def test_fields_of_a_structure_packed(tmp_path):
    log = {"time": T[:, None], "joint_pos": Q, "joint_torque": Q, "name": "arm", "gain": 3.0}
    savemat(tmp_path / "log.mat", {"log": log}, do_compression=True)
    wanted = gm.Columns(joints=gm.ColumnGroup(unit="rad"), ignore_others=True)
    found = gm.read_trajectory(tmp_path / "log.mat", columns=wanted)
    np.testing.assert_array_equal(found.q, Q)


def test_arrays_of_two_dimensions_in_npz(tmp_path):
    np.savez(tmp_path / "log.npz", **{"t [s]": T, "q [rad]": Q, "qd [rad/s]": Q + 1})
    found = gm.read_trajectory(tmp_path / "log.npz")
    np.testing.assert_array_equal(found.q, Q)
    np.testing.assert_array_equal(found.qd, Q + 1)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"MATLAB 7.3 MAT-file, Platform: GLNXA64".ljust(512) + b"\x89HDF\r\n\x1a\n", "version 7.3 (HDF5)"),
        (b"\x89HDF\r\n\x1a\n" + bytes(600), "save it with the option '-v7'"),
        (b"no such file at all", "found a file that is no .mat file"),
        (b"", "found an empty file"),
    ],
)
def test_files_that_are_none(tmp_path, content, says):
    (tmp_path / "log.mat").write_bytes(content)
    with pytest.raises(InputError) as caught:
        gm.read_trajectory(tmp_path / "log.mat")
    assert says in str(caught.value)


def test_arrays_that_do_not_go_together(tmp_path):
    for given, says in (
        ({"t": T, "q": np.zeros((5, 2))}, "variable 'q': found 5 values, expected 6, as many as 't' has"),
        ({"t": T, "q": np.zeros((6, 2), complex)}, "variable 'q': found an array of complex128"),
        ({"t": T, "q": np.zeros((6, 2, 2))}, "'q': found"),
        ({"t": T, "q": "text"}, "'q'"),
    ):
        savemat(tmp_path / "log.mat", given)
        with pytest.raises(InputError) as caught:
            gm.read_trajectory(tmp_path / "log.mat", columns=RADIANS)
        assert says in str(caught.value)


def test_parquet(tmp_path, monkeypatch):
    pd = pytest.importorskip("pandas")
    file = tmp_path / "log.parquet"
    file.write_bytes(b"PAR1")
    monkeypatch.setattr(pd, "read_parquet", lambda path: pd.DataFrame({"t": T, "position": list(Q)}))
    np.testing.assert_array_equal(gm.read_trajectory(file, columns=RADIANS).q, Q)
    monkeypatch.setitem(sys.modules, "pandas", None)
    with pytest.raises(InputError, match="no library to read it with, expected pandas with pyarrow or fastparquet"):
        gm.read_trajectory(file)


def test_a_real_parquet_file(tmp_path):
    pd = pytest.importorskip("pandas")
    file = tmp_path / "log.parquet"
    try:
        pd.DataFrame({"t [s]": T, "q1 [rad]": Q[:, 0]}).to_parquet(file)
    except ImportError:
        file.write_bytes(b"PAR1")
        with pytest.raises(InputError, match="no library to read it with"):
            gm.read_trajectory(file)
    else:
        np.testing.assert_array_equal(gm.read_trajectory(file).q[:, 0], Q[:, 0])
