"""Columns of someone else: found where plain, by a map, refused with what to write where two readings are possible."""

import shutil
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import gripmargin as gm
from gripmargin.base.errors import InputError
from gripmargin.files.column_map import as_toml
from gripmargin.files.header import understood
from gripmargin.files.job_schema import table_at
from gripmargin.motion.chain import Chain

ARM = Chain(
    links=np.tile(np.eye(4), (4, 1, 1)),
    revolute=(True, True, False),
    names=("shoulder", "elbow", "quill"),
    source="arm",
)


def taken(text, robot=None, **wanted):
    """The names under which columns are read, in the order of the file; '-' where one is not."""
    headers = text.split(",")
    found = understood(headers, "log.csv, line 1", robot, gm.Columns(**wanted) if wanted else None)
    names = {column.index: column.name + (f" [{column.unit}]" if column.unit else "") for column in found.columns}
    return ",".join(names.get(i, "-") for i in range(len(headers)))


@pytest.mark.parametrize(
    ("header", "due"),
    [
        ("t [s],q1 (deg),q2_deg,q3/deg,q4 deg,Q5 {deg}", "t [s],q1 [deg],q2 [deg],q3 [deg],q4 [deg],q5 [deg]"),
        ("Time [s],J1 (deg),J2 (deg)", "t [s],q1 [deg],q2 [deg]"),
        ("timestamp,joint_0 [rad],joint_1 [rad]", "t,q1 [rad],q2 [rad]"),
        ("time_ms,actual_q_0_rad,actual_q_1_rad,actual_current_0", "t [ms],q1 [rad],q2 [rad],-"),
        ("time,axis1 (degrees),axis2 (degrees),torque1,torque2", "t,q1 [deg],q2 [deg],-,-"),
        ("time,position_joint1 [rad],velocity_joint1 [rad/s],effort_joint1", "t,q1 [rad],qd1 [rad/s],-"),
        ("time,q1 [deg],dq1,ddq1", "t,q1 [deg],qd1 [deg/s],qdd1 [deg/s^2]"),
        (
            "time,/joint_states/joint1/position [rad],/joint_states/joint2/position [rad]",
            "t,q1 [rad],q2 [rad]",
        ),
        (
            "t,pose.position.x [m],pose.position.y [m],pose.position.z [m],qw,qx,qy,qz",
            "t,x [m],y [m],z [m],qw,qx,qy,qz",
        ),
        (
            "header.stamp.sec,header.stamp.nanosec,tcp_x (mm),tcp_y (mm),tcp_z (mm),orientation.x,orientation.y,"
            "orientation.z,orientation.w",
            "t [s],t2 [ns],x [mm],y [mm],z [mm],qx,qy,qz,qw",
        ),
        (
            "t [s],px [m],py [m],pz [m],rotvec_x [rad],rotvec_y [rad],rotvec_z [rad]",
            "t [s],x [m],y [m],z [m],o1 [rad],o2 [rad],o3 [rad]",
        ),
        (
            "X [mm],Y [mm],Z [mm],Roll [deg],Pitch [deg],Yaw [deg],t [s]",
            "x [mm],y [mm],z [mm],roll [deg],pitch [deg],yaw [deg],t [s]",
        ),
    ],
)
def test_names_that_are_plain(header, due):
    assert taken(header) == due


@pytest.mark.parametrize(
    "columns",
    [
        "q_error_1 [rad],q_error_2 [rad]",
        "delta_q_1 [rad],delta_q_2 [rad]",
        "motor_position_1 [rad],motor_position_2 [rad]",
        "tcp_pose_1 [m],tcp_pose_2 [m]",
        "gyro_x [m],gyro_y [m],gyro_z [m],qx,qy,qz,qw",
        "flange_x [m],flange_y [m],flange_z [m],qx,qy,qz,qw",
        "marker_x [m],marker_y [m],marker_z [m],roll [deg],pitch [deg],yaw [deg]",
        "x [m],y [m],z [m],imu.orientation.x,imu.orientation.y,imu.orientation.z,imu.orientation.w",
    ],
)
def test_what_is_not_the_motion_of_joints_or_tool_is_not_taken_for_it(tmp_path, columns):
    row = ",0.5" * (columns.count(",") + 1)
    file = write(tmp_path, f"t [s],{columns}\n0{row}\n0.1{row}\n")
    with pytest.raises(InputError, match="expected"):
        gm.read_trajectory(file)
    with pytest.raises(InputError, match="expected"):
        gm.read_trajectory(file, columns=gm.Columns(ignore_others=True))


def test_a_map_that_takes_one_joint_for_another():
    """The columns have the names of the robot's joints, in the order of the alphabet; the map has two of them wrong."""
    header = "t [s],elbow [rad],quill [m],shoulder [rad]"
    right = {"names": ["shoulder", "elbow", "quill"]}
    assert taken(header, ARM, joints=gm.ColumnGroup(**right)) == "t [s],q2 [rad],q3 [m],q1 [rad]"
    says = "joints.names: found the column of joint 'elbow' for joint 1, expected 'shoulder', which it is in arm; name"
    with pytest.raises(InputError, match=says):
        taken(header, ARM, joints=gm.ColumnGroup(names=["elbow", "shoulder", "quill"]))


def test_joints_by_the_names_of_the_robot():
    header = "time,quill_pos (mm),elbow_pos (deg),shoulder_pos (deg),elbow_effort"
    assert taken(header, ARM) == "t,q3 [mm],q2 [deg],q1 [deg],-"


@pytest.mark.parametrize(
    ("header", "wanted", "due"),
    [
        (
            "timestamp,actual_q_0,actual_q_1,target_q_0,target_q_1,foo",
            {"joints": gm.ColumnGroup(names="target_q_*", unit="rad"), "ignore_others": True},
            "t,-,-,q1 [rad],q2 [rad],-",
        ),
        (
            "time,left_joint1,left_joint2,right_joint1,right_joint2",
            {"prefix": "right_", "joints": gm.ColumnGroup(unit="deg")},
            "t,-,-,q1 [deg],q2 [deg]",
        ),
        (
            "1,2,3",
            {
                "header": False,
                "time": gm.TimeColumn(name=3, unit="ms"),
                "joints": gm.ColumnGroup(names=(2, 1), unit=("deg", "mm")),
            },
            "q2 [mm],q1 [deg],t [ms]",
        ),
        (
            "a,b,c,d,e,f,g",
            {
                "time": gm.TimeColumn(name="a", unit="s"),
                "position": gm.ColumnGroup(names=("b", "c", "d"), unit="mm"),
                "orientation": gm.ColumnGroup(names=("g", "f", "e"), unit="deg", convention="intrinsic ZYX"),
            },
            "t [s],x [mm],y [mm],z [mm],o3 [deg],o2 [deg],o1 [deg]",
        ),
        (
            "t [s],x [m],y [m],z [m],q0,q1,q2,q3",
            {"orientation": gm.ColumnGroup(names="q*", convention="quaternion wxyz")},
            "t [s],x [m],y [m],z [m],qw,qx,qy,qz",
        ),
        ("q1 [deg],q2 [deg]", {"period": 0.002}, "q1 [deg],q2 [deg]"),
        ("t [s],q1 [deg],phase", {"move": "phase"}, "t [s],q1 [deg],move"),
        ("t [s],q1 [deg],qd1 [deg/s]", {"ignore_others": True}, "t [s],q1 [deg],-"),
        (
            "t [s],x [m],y [m],z [m],qx,qy,qz,qw,a,b,c,d,e,f,g,h,i,j,k,l",
            {
                "position": gm.ColumnGroup(names=("x", "y", "z")),
                "velocities": gm.ColumnGroup(names=tuple("abcdef"), unit=("mm/s", "deg/s")),
                "accelerations": gm.ColumnGroup(names=tuple("ghijkl"), unit=("m/s^2", "rad/s^2")),
            },
            "t [s],x [m],y [m],z [m],qx,qy,qz,qw,xd [mm/s],yd [mm/s],zd [mm/s],wx [deg/s],wy [deg/s],wz [deg/s],"
            "xdd [m/s^2],ydd [m/s^2],zdd [m/s^2],wxd [rad/s^2],wyd [rad/s^2],wzd [rad/s^2]",
        ),
    ],
)
def test_names_by_a_map(header, wanted, due):
    assert taken(header, **wanted) == due


@pytest.mark.parametrize(
    ("header", "wanted", "found", "ways"),
    [
        (
            "time,actual_q_0,actual_q_1,target_q_0,target_q_1",
            {},
            "2 groups of joint positions (actual_q_*, target_q_*)",
            ['joints = { names = "actual_q_*", unit = "rad" }', 'joints = { names = "target_q_*", unit = "rad" }'],
        ),
        ("time,joint1,joint2", {}, "column 'joint1'", ['joints = { unit = "rad" }', 'joints = { unit = "deg" }']),
        (
            "t [s],x [m],y [m],z [m],rx [rad],ry [rad],rz [rad]",
            {},
            "angles whose convention is not said",
            ['orientation = { convention = "rotation vector" }', 'orientation = { convention = "intrinsic ZYX" }'],
        ),
        (
            "t [s],x [m],y [m],z [m],A,B,C",
            {"position": gm.ColumnGroup(unit="m")},
            "column 'A'",
            [],
        ),
        ("t [s],x,y,z,qx,qy,qz,qw", {}, "column 'x'", ['position = { unit = "m" }', 'position = { unit = "mm" }']),
        (
            "rosbagTimestamp,header.stamp.secs,header.stamp.nsecs,q1 [rad]",
            {},
            "several columns of times",
            ['time = { name = "rosbagTimestamp" }'],
        ),
        ("t [s],q1 [deg],foo", {}, "column 'foo'", ["ignore_others = true"]),
        (
            "t [s],j1,j2,x,y,z,qw,qx,qy,qz",
            {"joints": gm.ColumnGroup(unit="rad")},
            "joints and poses",
            ["ignore_others"],
        ),
        (
            "t [s],tcp_x [m],tcp_y [m],tcp_z [m],tool_x [m],tool_y [m],tool_z [m],qx,qy,qz,qw",
            {},
            "2 groups of positions",
            [],
        ),
        ("t [s],q1 [deg]", {"joints": gm.ColumnGroup(unit="rad")}, "the unit 'rad' where the header has 'deg'", []),
        ("t [s],q1 [deg]", {"joints": gm.ColumnGroup(names="joint_1")}, "columns.joints.names: found 'joint_1'", []),
        ("t [s],q1 [deg]", {"joints": gm.ColumnGroup(names=3)}, "found column 3, expected at most 2", []),
        ("t [s],q1 [deg]", {"prefix": "left_"}, "no column that starts with 'left_'", []),
        ("t [s],q1 [deg]", {"joints": gm.ColumnGroup(names="a*")}, "no column like 'a*'", []),
    ],
)
def test_what_is_not_plain_says_what_to_write(header, wanted, found, ways):
    with pytest.raises(InputError) as caught:
        taken(header, **wanted)
    message = str(caught.value)
    assert found in message
    for way in ways:
        assert way in message


def test_what_an_error_says_to_write_is_enough():
    """Each way that the message gives, as the job file reads it, reads the table."""
    header = "timestamp,actual_q_0,actual_q_1,target_q_0,target_q_1,tau_0,tau_1,speed_scaling"
    with pytest.raises(InputError) as caught:
        taken(header)
    ways = caught.value.remedy.removeprefix("say in [program] which: ").removesuffix(' (or unit = "deg")').split(" or ")
    assert len(ways) == 2
    for way, due in zip(ways, ("t,q1 [rad],q2 [rad],-,-,-,-,-", "t,-,-,q1 [rad],q2 [rad],-,-,-"), strict=True):
        wanted = table_at(("program", "columns")).model_validate(tomllib.loads(way)["columns"]).given(gm.Columns)
        assert taken(header, **wanted) == due
        assert as_toml(gm.Columns(**wanted), inline=True) == way


def write(tmp_path, text, name="log.csv"):
    file = tmp_path / name
    file.write_text(text, encoding="utf-8")
    return file


T = np.arange(6) * 0.008
Q = np.random.default_rng(1).normal(size=(6, 2))


@pytest.mark.parametrize(
    ("separator", "decimal"), [(",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ","), (" ", "."), ("  ", ",")]
)
@pytest.mark.parametrize("ending", ["csv", "txt"])
def test_separators_and_decimals(tmp_path, separator, decimal, ending):
    """The same numbers to the last digit, and those that pandas reads."""
    rows = [[repr(float(cell)).replace(".", decimal) for cell in (t, *q)] for t, q in zip(T, Q, strict=True)]
    lines = [separator.join(row) for row in ([["timestamp", "joint_1(rad)", "joint_2(rad)"], *rows])]
    file = write(tmp_path, "\n".join(lines) + "\n", f"log.{ending}")
    found = gm.read_trajectory(file)
    np.testing.assert_array_equal(found.t, T)
    np.testing.assert_array_equal(found.q, Q)
    table = pd.read_csv(file, sep=r"\s+" if separator.isspace() else separator, decimal=decimal)
    np.testing.assert_allclose(found.q, table.iloc[:, 1:], rtol=1e-15)
    assert found.notes == ("Columns: 'timestamp' as t [s], 'joint_1(rad)' as q1 [rad], 'joint_2(rad)' as q2 [rad].",)


@pytest.mark.parametrize(
    ("text", "wanted", "says"),
    [
        ("t [s];q1 [deg]\n0,0;1.5\n0,1;2,5\n", {}, "decimal points and decimal commas"),
        ("t [s];q1 [deg]\n0,0;1.500,5\n0,1;2,5\n", {}, 'found "1.500,5", expected a number; decimals are written'),
        ("0,1,2\n1,2,3\n", {}, "columns = { header = false, time = { name = 1"),
        ("t [s],q1 [deg]\n0,1\n1,2\n", {"separator": "semicolon"}, "put commas between columns"),
        ("t,q1 [deg]\n0,1\n0.1,2\n0.2,3\n", {}, 'time = { unit = "s" } } or columns = { time = { unit = "ms" } }'),
        ("t,q1 [deg]\n0,1\n90,2\n180,3\n", {}, 'time = { unit = "ms" } } or columns = { time = { unit = "us" } }'),
        ("t,q1 [deg]\n0,1\n1e-6,2\n2e-6,3\n", {}, 'time = { unit = "s" } } or columns = { time = { unit = "ms" } }'),
        (
            't [s],q\n0,"[1, 2]"\n1,"[1, 2, 3]"\n',
            {"joints": gm.ColumnGroup(unit="deg")},
            "line 3: found 3 values in one",
        ),
    ],
)
def test_texts_that_are_not_plain(tmp_path, text, wanted, says):
    with pytest.raises(InputError, match=says.replace("{", r"\{").replace("[1", r"\[1")):
        gm.read_trajectory(write(tmp_path, text), columns=gm.Columns(**wanted) if wanted else None)


@pytest.mark.parametrize(
    ("stamps", "unit"),
    [
        ((0.0, 0.008, 0.016), "s"),
        ((0, 8, 16), "ms"),
        ((0, 8000, 16000), "us"),
        ((0, 8_000_000, 16_000_000), "ns"),
        ((1_700_000_000.1, 1_700_000_000.2, 1_700_000_000.3), "s"),
        ((1_700_000_000_100, 1_700_000_000_200, 1_700_000_000_300), "ms"),
    ],
)
def test_the_only_likely_unit_of_times(tmp_path, stamps, unit):
    found = gm.read_trajectory(write(tmp_path, "time,q1 [deg]\n" + "".join(f"{t},1\n" for t in stamps)))
    assert f"'time' as t [{unit}]" in found.notes[-1]
    np.testing.assert_allclose(np.diff(found.t), 0.008 if stamps[1] != stamps[0] + 100 and stamps[0] < 1e6 else 0.1)


def test_seconds_beside_nanoseconds_keep_their_digits(tmp_path):
    text = "sec,nanosec,q1 [deg]\n1700000000,999999999,1\n1700000001,3,2\n1700000001,8000001,3\n"
    np.testing.assert_array_equal(gm.read_trajectory(write(tmp_path, text)).t, [0.0, 4e-9, 8.000002e-3])


def test_a_period_in_the_place_of_times(tmp_path):
    found = gm.read_trajectory(write(tmp_path, "q1 [deg]\n1\n2\n3\n"), columns=gm.Columns(period=0.002))
    np.testing.assert_array_equal(found.t, [0.0, 0.002, 0.004])
    np.testing.assert_allclose(found.q[:, 0], np.deg2rad([1, 2, 3]))


def test_rows_alone_are_read_where_the_map_goes_by_numbers(tmp_path):
    text = "0.1,1,2\n0.1,3,4\n0.1,5,6\n0.2,7,8\n"
    joints = gm.ColumnGroup(names=(2, 3), unit="deg")
    found = gm.read_trajectory(
        write(tmp_path, text), columns=gm.Columns(period=0.008, joints=joints, ignore_others=True)
    )
    np.testing.assert_allclose(found.q, np.deg2rad([[1, 2], [3, 4], [5, 6], [7, 8]]))
    with pytest.raises(InputError, match=r"times that repeat from row to row.*columns = { period"):
        gm.read_trajectory(
            write(tmp_path, text), columns=gm.Columns(time=gm.TimeColumn(name=1, unit="s"), joints=joints)
        )


def test_no_header_and_a_column_of_lists(tmp_path):
    bare = gm.Columns(
        header=False, time=gm.TimeColumn(name=1, unit="ms"), joints=gm.ColumnGroup(names=(3, 2), unit="deg")
    )
    found = gm.read_trajectory(write(tmp_path, "# a\n\n0,1,2\n8,3,4\n16,5,6\n"), columns=bare)
    np.testing.assert_allclose(found.q, np.deg2rad([[2, 1], [4, 3], [6, 5]]))
    np.testing.assert_array_equal(found.t, [0.0, 0.008, 0.016])
    text = "time;name;position\n0;\"['a', 'b']\";[0.1, 0.2]\n0.008;\"['a', 'b']\";[0.3, 0.4]\n"
    lists = gm.Columns(joints=gm.ColumnGroup(unit="rad"), ignore_others=True)
    np.testing.assert_array_equal(gm.read_trajectory(write(tmp_path, text), columns=lists).q, [[0.1, 0.2], [0.3, 0.4]])


def test_faults_of_a_map():
    for wanted, says in (
        ({"time": gm.TimeColumn(unit="s"), "period": 0.1}, "a period beside times"),
        ({"orientation": gm.ColumnGroup(names=("a", "b", "c"))}, "without their convention"),
        ({"orientation": gm.ColumnGroup(names=("a", "b"), convention="rotation vector")}, "2 columns, expected 3"),
        ({"joints": gm.ColumnGroup(unit="rad", convention="rotation vector")}, "one for an orientation only"),
        ({"header": False, "joints": gm.ColumnGroup(names="q*")}, "a name where there is no header"),
        ({"position": gm.ColumnGroup(names=("x", "y"))}, "2 columns, expected 3"),
    ):
        with pytest.raises(InputError, match=says):
            gm.Columns(**wanted)
    for given in ((0,), ("",), (True,), ("a", "a")):
        with pytest.raises(InputError, match="columns"):
            gm.ColumnGroup(names=given)


def test_a_job_with_maps_of_program_and_recording(tmp_path):
    good = Path(__file__).parents[1] / "bad_input" / "good"
    due = gm.read_job(good / "job.toml").trajectory
    shutil.copytree(good, tmp_path, dirs_exist_ok=True)
    rows = [line for line in (good / "program.csv").read_text().splitlines() if line[:1].isdigit()]
    (tmp_path / "program.csv").write_text("stamp,a,b,c,phase,load\n" + "".join(f"{row},7\n" for row in rows))
    (tmp_path / "run.csv").write_text("".join(f"{row},7\n" for row in rows))
    job = (tmp_path / "job.toml").read_text()
    joints = 'unit = ["deg", "deg", "mm"] }, ignore_others = true'
    job = job.replace(
        'trajectory = "program.csv"',
        f"""trajectory = "program.csv"
columns = {{ time = {{ unit = "s" }}, joints = {{ names = ["a", "b", "c"], {joints}, move = "phase" }}
recording = "run.csv"
recording_columns = {{ header = false, time = {{ name = 1, unit = "s" }}, joints = {{ names = [2, 3, 4], {joints} }}""",
    )
    (tmp_path / "job.toml").write_text(job)
    read = gm.read_job(tmp_path / "job.toml")
    for found in (read.trajectory, read.recording):
        np.testing.assert_array_equal(found.t, due.t)
        np.testing.assert_array_equal(found.q, due.q)
    assert read.trajectory.moves == due.moves
    assert "'a' as q1 [deg]" in read.trajectory.notes[-1]
    assert read.trajectory.notes[-1].endswith("not read: load.")
