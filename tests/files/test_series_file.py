"""Figures at every sample given back: read again by the csv module, numpy, pandas, and by mcap and rosbags."""

import csv
import math
import sys
from io import BytesIO

import numpy as np
import pandas as pd
import pytest
from mcap.reader import make_reader
from rosbags.typesys import Stores, get_types_from_msg, get_typestore

import gripmargin as gm
from gripmargin.base.errors import InputError
from gripmargin.files.sample_columns import sample_columns

FILM = gm.PadMaterial(pull_off_stress=6e4, shear_strength=5e4, normal_stiffness=1e8, shear_stiffness=3e7)
STAMP = 1_700_000_000_123_456_789


@pytest.fixture(scope="module")
def report():
    """A heavy part on one pad, swung by a turning joint and a sliding one: some of it too fast."""
    n = 121
    t = np.linspace(0, 0.6, n)
    s = t / t[-1]
    law = 10 * s**3 - 15 * s**4 + 6 * s**5
    robot = gm.chain_from_axes(
        [np.eye(4), gm.pose((0.5, 0, 0))],
        [(0, 0, 1), (0, 0, 1)],
        [True, False],
        gm.pose(rpy=(math.pi, 0, 0)),
        names=("waist", "quill"),
    )
    return gm.check(
        trajectory=gm.JointTrajectory(
            t=t, q=np.column_stack([1.2 * law, 0.05 * law]), moves=("swing",) * n, source="run", stamp=STAMP
        ),
        robot=robot,
        gripper=gm.Gripper(pads=(gm.Pad.disc("pad", FILM, 0.03),)),
        part=gm.Part(
            face="plane", rigid=True, mass=1.5, com=[0.0, 0.0, 0.002], inertia=[1e-3, 1e-3, 2e-3, 0.0, 0.0, 0.0]
        ),
    )


def test_the_case_has_findings_and_what_is_not_known(report):
    assert report.verdict == "fail"
    assert report.findings
    assert np.isnan(report.samples.stop_margin).all()
    assert report.samples.joint_names == ("waist", "quill")
    assert report.samples.joint_units == ("rad", "m")


def test_csv_by_the_csv_module(report, tmp_path):
    gm.write_series(report, tmp_path / "run.csv")
    with (tmp_path / "run.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    for name, values in sample_columns(report.samples).items():
        found = [row[name] for row in rows]
        if values.dtype.kind == "f":
            np.testing.assert_array_equal([float(cell or "nan") for cell in found], values)
        else:
            assert found == values.tolist()
    assert rows[0]["stop_margin"] == ""
    names = list(rows[0])
    assert names[:5] == ["t [s]", "phase", "move", "joint_waist [rad]", "joint_quill [m]"]
    assert {"force_z [N]", "moment_x [N*m]", "acceleration_y [m/s^2]", "hold_margin", "swing_margin_low"} < {*names}


def test_npz_by_numpy(report, tmp_path):
    gm.write_series(report, tmp_path / "run.npz")
    due = sample_columns(report.samples)
    with np.load(tmp_path / "run.npz", allow_pickle=False) as file:
        assert set(file) == set(due)
        for name, values in due.items():
            np.testing.assert_array_equal(file[name], values)


def test_parquet_by_pandas(report, tmp_path):
    gm.write_series(report, tmp_path / "run.parquet")
    pd.testing.assert_frame_equal(pd.read_parquet(tmp_path / "run.parquet"), gm.samples_frame(report.samples))


def read_mcap(content):
    """Messages by topic as (time, message), decoded by the definitions in the file itself, and the metadata."""
    reader = make_reader(BytesIO(content))
    assert reader.get_header().profile == "ros2"
    store, found = get_typestore(Stores.EMPTY), {}
    for schema in reader.get_summary().schemas.values():
        assert schema.encoding == "ros2msg"
        types = get_types_from_msg(schema.data.decode(), schema.name)
        store.register({name: each for name, each in types.items() if name not in store.fielddefs})
    for schema, channel, message in reader.iter_messages():
        assert channel.message_encoding == "cdr"
        decoded = store.deserialize_cdr(message.data, schema.name)
        found.setdefault(channel.topic, []).append((message.log_time, decoded))
    return found, {record.name: record.metadata for record in reader.iter_metadata()}


@pytest.fixture(scope="module")
def recording(report):
    return read_mcap(gm.series_bytes(report, ".mcap"))


class TestMcapByTheLibrariesOfTheTrade:
    def test_margins_where_they_are_known(self, report, recording):
        topics, _ = recording
        for name in ("hold_margin", "hold_margin_low", "peel_index", "swing_margin"):
            due, read = getattr(report.samples, name), topics[f"/gripmargin/{name}"]
            known = ~np.isnan(due)
            np.testing.assert_array_equal([message.data for _, message in read], due[known])
            times = STAMP + np.round(report.samples.t[known] * 1e9).astype(np.int64)
            assert [time for time, _ in read] == times.tolist()
        assert "/gripmargin/stop_margin" not in topics

    def test_vectors_and_joints_by_their_stamps(self, report, recording):
        samples, (topics, _) = report.samples, recording

        def three(vector):
            return [vector.x, vector.y, vector.z]

        loads, rates = topics["/gripmargin/load"], topics["/gripmargin/acceleration"]
        np.testing.assert_array_equal([three(m.wrench.force) for _, m in loads], samples.force)
        np.testing.assert_array_equal([three(m.wrench.torque) for _, m in loads], samples.moment)
        np.testing.assert_array_equal([three(m.accel.linear) for _, m in rates], samples.acceleration)
        np.testing.assert_array_equal([three(m.accel.angular) for _, m in rates], samples.angular_acceleration)
        places, turns = topics["/gripmargin/position"], topics["/gripmargin/angular_velocity"]
        np.testing.assert_array_equal([three(m.point) for _, m in places], samples.position)
        np.testing.assert_array_equal([three(m.vector) for _, m in turns], samples.angular_velocity)
        joints = topics["/gripmargin/joint_states"]
        np.testing.assert_array_equal([m.position for _, m in joints], samples.joints)
        assert {tuple(m.name) for _, m in joints} == {("waist", "quill")}
        assert {m.header.frame_id for _, m in loads} == {"tool"}
        assert {m.header.frame_id for _, m in places} == {"world"}
        for time, message in (*loads, *joints):
            assert message.header.stamp.sec * 10**9 + message.header.stamp.nanosec == time

    def test_findings_as_messages_of_a_log_and_as_metadata(self, report, recording):
        topics, metadata = recording
        spans = [(f, span) for f in report.findings for span in f.spans]
        due = sorted((STAMP + round(t * 1e9), f.check) for f, span in spans for t in span)
        read = topics["/gripmargin/findings"]
        assert sorted((time, message.name) for time, message in read) == due
        first = report.findings[0]
        texts = [message.msg for _, message in read if message.name == first.check]
        assert f"{first.check}, {first.verdict}: {first.text} (from here)" in texts
        assert {message.level for _, message in read} <= {30, 40}
        facts = metadata["gripmargin finding 1"]
        assert facts["span 1"] == f"{first.spans[0][0]!r} s to {first.spans[0][1]!r} s"
        assert metadata["gripmargin"]["verdict"] == "fail"
        assert metadata["gripmargin"]["unit force"] == "N"

    def test_phases_where_they_begin(self, recording):
        ((time, message),) = recording[0]["/gripmargin/phase"]
        assert (time, message.data) == (STAMP, "carry: swing")

    def test_our_own_reader_takes_the_joints_for_the_motion(self, report, tmp_path):
        gm.write_series(report, tmp_path / "run.mcap")
        again = gm.read_trajectory(tmp_path / "run.mcap", topic="/gripmargin/joint_states")
        np.testing.assert_array_equal(again.q, report.samples.joints)
        np.testing.assert_allclose(again.t, report.samples.t, rtol=0, atol=1e-9)
        assert again.stamp == STAMP


def test_a_program_of_poses_has_no_joints_and_unlabelled_ones_no_moves():
    n = 40
    report = gm.check(
        trajectory=gm.PoseTrajectory(
            t=np.linspace(0, 0.4, n),
            position=np.column_stack([np.linspace(0, 0.1, n), np.zeros(n), np.full(n, 0.4)]),
            rotation=np.tile(np.diag([1.0, -1.0, -1.0]), (n, 1, 1)),
        ),
        gripper=gm.Gripper(pads=(gm.Pad.disc("pad", FILM, 0.03),)),
        part=gm.Part(
            face="plane", rigid=True, mass=0.2, com=[0.0, 0.0, 0.002], inertia=[1e-4, 1e-4, 2e-4, 0.0, 0.0, 0.0]
        ),
    )
    assert not any(name.startswith(("joint", "move")) for name in sample_columns(report.samples))
    assert len(gm.samples_frame(report.samples)) == report.samples.t.size
    topics, _ = read_mcap(gm.series_bytes(report, ".mcap"))
    assert "/gripmargin/joint_states" not in topics
    assert topics["/gripmargin/load"][0][0] == 0  # by the program's own time, where no clock is known


@pytest.mark.parametrize(
    ("ending", "module", "says"),
    [
        (".xlsx", "none", r"ending: found '\.xlsx', expected one of \.csv, \.npz, \.parquet, \.mcap"),
        (
            ".parquet",
            "pyarrow",
            r"series: found no library pyarrow, expected the optional dependency 'frames'; install",
        ),
        (".mcap", "mcap.writer", r"series: found no library mcap, expected the optional dependency 'bags'; install it"),
    ],
)
def test_what_cannot_be_written(report, monkeypatch, ending, module, says):
    monkeypatch.delitem(sys.modules, "gripmargin.files.series_bag", raising=False)
    monkeypatch.setitem(sys.modules, module, None)
    with pytest.raises(InputError, match=says):
        gm.series_bytes(report, ending)
