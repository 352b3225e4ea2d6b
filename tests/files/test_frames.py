"""Tables of pandas in and out, with the columns of a CSV file; figures of a report as a table."""

import sys
from dataclasses import fields
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import gripmargin as gm
from gripmargin.base.errors import InputError
from gripmargin.motion.chain import Chain

JOBS = Path(__file__).parents[2] / "trajectories"
FILM = gm.PadMaterial(pull_off_stress=6e4, shear_strength=5e4, normal_stiffness=1e8, shear_stiffness=3e7)


def joint_table(**more):
    return pd.DataFrame({"t [s]": [0.0, 0.1, 0.2], "q1 [deg]": [0.0, 90.0, 180.0], **more})


@pytest.fixture(scope="module")
def report():
    n = 60
    return gm.check(
        trajectory=gm.PoseTrajectory(
            t=np.linspace(0, 0.6, n),
            position=np.column_stack([np.linspace(0, 0.1, n), np.zeros(n), np.full(n, 0.4)]),
            rotation=np.tile(np.diag([1.0, -1.0, -1.0]), (n, 1, 1)),
            moves=("across",) * n,
        ),
        gripper=gm.Gripper(pads=(gm.Pad.disc("pad", FILM, 0.03),)),
        part=gm.Part(
            face="plane", rigid=True, mass=0.2, com=[0.0, 0.0, 0.002], inertia=[1e-4, 1e-4, 2e-4, 0.0, 0.0, 0.0]
        ),
    )


def test_joint_values_from_a_table():
    trajectory = gm.trajectory_from_frame(joint_table(move=["lift", "lift", "set down"]))
    np.testing.assert_allclose(trajectory.q[:, 0], [0, np.pi / 2, np.pi])
    assert trajectory.moves == ("lift", "lift", "set down")
    assert trajectory.source == "frame"


def test_a_named_index_counts_as_a_column():
    trajectory = gm.trajectory_from_frame(joint_table().set_index("t [s]"))
    np.testing.assert_array_equal(trajectory.t, [0.0, 0.1, 0.2])


def test_rows_picked_from_a_longer_table():
    table = joint_table()
    assert gm.trajectory_from_frame(table[table["t [s]"] > 0.05]).samples == 2


@pytest.mark.parametrize("kind", ["int64", "Int64", "uint64"])
def test_stamps_in_nanoseconds_keep_their_digits(kind):
    stamps = pd.array([1_700_000_000_000_000_001, 1_700_000_000_004_000_002, 1_700_000_000_008_000_001], dtype=kind)
    trajectory = gm.trajectory_from_frame(pd.DataFrame({"t [ns]": stamps, "q1 [rad]": [0.0, 0.1, 0.2]}))
    np.testing.assert_array_equal(trajectory.t, [0.0, 0.004000001, 0.008])
    assert trajectory.notes[0] == "Times start at 0, which is the stamp 1700000000000000001 ns."


def test_there_and_back_to_the_last_digit():
    rng = np.random.default_rng(0)
    q, qd, qdd = rng.normal(size=(3, 50, 3))
    moves = tuple("ab"[i % 2] for i in range(50))
    arm = Chain(links=np.tile(np.eye(4), (4, 1, 1)), revolute=(True, False, True), source="arm")
    trajectory = gm.JointTrajectory(t=np.cumsum(rng.uniform(1e-3, 1, 50)), q=q, qd=qd, qdd=qdd, moves=moves)
    table = gm.trajectory_frame(trajectory, robot=arm)
    assert list(table)[:4] == ["t [s]", "q1 [rad]", "q2 [m]", "q3 [rad]"]
    found = gm.trajectory_from_frame(table, robot=arm)
    for field in ("t", "q", "qd", "qdd"):
        np.testing.assert_array_equal(getattr(found, field), getattr(trajectory, field))
    assert found.moves == moves


def test_the_table_is_that_of_the_csv_file(tmp_path):
    trajectory = gm.read_trajectory(JOBS / "diffuser.csv")
    gm.write_trajectory(trajectory, tmp_path / "a.csv")
    due = gm.trajectory_frame(trajectory)
    table = pd.read_csv(tmp_path / "a.csv", dtype=str)  # as text: not every reader of numbers is exact
    assert list(table) == list(due)
    for name in due.columns.drop("move"):
        np.testing.assert_array_equal([float(cell) for cell in table[name]], due[name])
    assert list(table["move"]) == list(due["move"])


@pytest.mark.parametrize(
    ("table", "says"),
    [
        (joint_table().rename(columns={"q1 [deg]": "q1"}), "frame, column 'q1': found a column without its unit"),
        (joint_table(q2=["a", "b", "c"]), "frame, column 'q2': found a column without its unit"),
        (joint_table(**{"q2 [deg]": ["a", "b", "c"]}), r"frame, column 'q2 \[deg\]': found an array of"),
        (joint_table(**{"q2 [deg]": [0.0, None, 1.0]}), r"frame, column 'q2 \[deg\]', row 1: found nan"),
        (joint_table(move=["a", None, "b"]), "frame, column 'move', row 1: found"),
        (joint_table(move=[1, 2, 3]), "frame, column 'move': found an array of int64, expected an array of text"),
        (joint_table(**{"q2 [deg]": [1j, 2j, 3j]}), "found an array of complex128, expected an array of numbers"),
        (joint_table(**{"q2 [deg]": [True, False, True]}), "found an array of bool, expected an array of numbers"),
        (
            joint_table(**{"t [s]": pd.array([2 * 10**9, None, 1], dtype="Int64")}),
            r"column 't \[s\]', row 1: found nan",
        ),
        (pd.DataFrame({"move": ["a"]}), "found no column of times"),
        (joint_table().iloc[:1], "found 1 sample, expected at least 2"),
        (joint_table().iloc[::-1], "frame, row 1: found a time that goes back"),
        (joint_table().set_index(pd.Index([1, 2, 3], name="step")), "frame, column 'step': found a column that is not"),
        ([[0.0, 1.0]], "found an object of type list, expected a pandas DataFrame"),
    ],
)
def test_tables_that_are_wrong(table, says):
    with pytest.raises(InputError, match=says):
        gm.trajectory_from_frame(table)


def test_figures_at_every_sample(report):
    table = gm.samples_frame(report.samples)
    assert len(table) == 60
    np.testing.assert_array_equal(table["force_z [N]"], report.samples.force[:, 2])
    np.testing.assert_array_equal(table["hold_margin"], report.samples.hold_margin)
    assert set(table["move"]) == {"across"}
    idle = ("joints", "joint_names", "joint_units", "stamp", "station")  # no columns of figures, or empty here
    named = [f.name for f in fields(report.samples) if f.name not in idle]
    vectors = [name for name in named if np.ndim(getattr(report.samples, name)) == 2]
    assert table.shape[1] == len(named) + 2 * len(vectors)


def test_without_the_library(monkeypatch, report):
    monkeypatch.setitem(sys.modules, "pandas", None)
    with pytest.raises(InputError, match=r"no library pandas, expected the optional dependency 'frames'; install it"):
        gm.samples_frame(report.samples)
