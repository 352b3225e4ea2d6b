"""`gripmargin convert`: what is read, column by column; the map that reads the same; what is written."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

import gripmargin as gm
from gripmargin import cli
from gripmargin.files.job_file import read_columns
from gripmargin.files.trajectory_file import read_file

JOBS = Path(__file__).parents[2] / "trajectories"
RNG = np.random.default_rng(3)
T, Q = np.arange(5) * 0.008, RNG.normal(size=(5, 2))
LOGS = {
    "joints.csv": ("timestamp,actual_q_0,actual_q_1,actual_qd_0,actual_qd_1,load", 'joints = { unit = "rad" }'),
    "poses.csv": (
        "time,tcp_x (mm),tcp_y (mm),tcp_z (mm),tcp_rx (deg),tcp_ry (deg),tcp_rz (deg),load",
        'orientation = { convention = "intrinsic ZYZ" }',
    ),
    "turned.csv": ("time,tcp_x (mm),tcp_y (mm),tcp_z (mm),yaw [deg],pitch [deg],roll [deg],load", ""),
    "quaternion.csv": ("t [s],x [m],y [m],z [m],qw,qz,qy,qx,load", ""),
    "slides.csv": ("t [s],q2 (mm),q1 (deg),load,move", ""),
    "bare.csv": (
        "",
        'header = false, time = { name = 1, unit = "s" }, joints = { names = [3, 2], unit = ["deg", "mm"] }',
    ),
    "none.csv": ("joint_7 (deg),joint_8 (deg)", 'period = "2 ms", joints = { names = ["joint_8", "joint_7"] }'),
}


def log(tmp_path, name):
    header, wanted = LOGS[name]
    count = len(header.split(",")) if header else 4
    rows = RNG.uniform(-0.5, 0.5, (5, count))
    rows[:, 0] = T if "period" not in wanted else rows[:, 0]
    if "qw" in header:
        rows[:, 4:8] /= np.linalg.norm(rows[:, 4:8], axis=1, keepdims=True)
    lines = [
        ",".join(
            [*(repr(float(cell)) for cell in row[: count - header.endswith("move")]), *["a"] * header.endswith("move")]
        )
        for row in rows
    ]
    (tmp_path / name).write_text("\n".join(([header] if header else []) + lines) + "\n", encoding="utf-8")
    text = wanted and f"columns = {{ {wanted}, ignore_others = true }}" if wanted else "ignore_others = true"
    return tmp_path / name, text


def same(a, b):
    assert type(a) is type(b)
    for name in ("t", *a.PLACES, *a.RATES):
        if getattr(a, name) is not None:
            np.testing.assert_array_equal(getattr(a, name), getattr(b, name))
    assert a.moves == b.moves


@pytest.mark.parametrize("name", LOGS)
def test_the_map_that_is_printed_reads_the_same(tmp_path, capsys, name):
    file, text = log(tmp_path, name)
    read = gm.read_trajectory(file, columns=read_columns(text, "here"))
    assert cli.main(["convert", str(file), "--dry-run", "--columns", text]) == 0
    out = capsys.readouterr().out
    printed = out[out.index("[program.columns]") :]
    assert "ignore_others" in tomllib.loads(printed)["program"]["columns"] or name == "none.csv"
    same(gm.read_trajectory(file, columns=read_columns(printed, "here")), read)
    assert [path.name for path in tmp_path.iterdir()] == [name]


@pytest.mark.parametrize("name", LOGS)
@pytest.mark.parametrize("ending", ["csv", "npz"])
def test_what_is_written_is_read_to_the_last_digit(tmp_path, name, ending):
    file, text = log(tmp_path, name)
    out = tmp_path / f"program.{ending}"
    if name == "slides.csv":  # nobody says which joint slides without the robot
        text += '\njoints = { names = [3], unit = "deg" }'
    (tmp_path / "map.toml").write_text(text, encoding="utf-8")
    assert cli.main(["convert", str(file), "-o", str(out), "--columns", str(tmp_path / "map.toml")]) == 0
    read = gm.read_trajectory(file, columns=read_columns(text, "here"))
    again = gm.read_trajectory(out)
    if isinstance(read, gm.PoseTrajectory):  # a quaternion of rotation matrices is rounded
        np.testing.assert_array_equal(again.position, read.position)
        np.testing.assert_allclose(again.rotation, read.rotation, atol=1e-14)
    else:
        same(again, read)


def test_each_column_with_unit_and_first_row(tmp_path, capsys):
    (tmp_path / "log.csv").write_text("timestamp;q_0 (deg);foo\n0,5;1,25;3\n0,508;1,5;3\n0,516;1,5;3\n")
    assert cli.main(["convert", str(tmp_path / "log.csv"), "--dry-run", "--columns", "ignore_others = true"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].endswith("log.csv: 3 samples, 0.5 to 0.516 s, every 8 ms")
    assert [line.split() for line in lines[2:5]] == [
        ["timestamp", "t", "s", "0.5"],
        ["q_0", "(deg)", "q1", "deg", "1.25"],
        ["foo", "not", "read"],
    ]


def test_messages_and_robots(tmp_path, capsys):
    out = tmp_path / "program.csv"
    assert cli.main(["convert", str(JOBS / "reflector.yaml"), "-o", str(out)]) == 2
    assert "name it by --robot" in capsys.readouterr().err
    assert not out.exists()
    assert cli.main(["convert", str(JOBS / "reflector.yaml"), "--dry-run"]) == 0
    assert "joints: " in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["log.csv"], "convert: found nothing to do, expected -o FILE or --dry-run"),
        (["log.csv", "-o", "log.csv"], "--output: found 'log.csv', which is read"),
        (["log.csv", "-o", "-"], "--output: found standard output"),
        (["log.csv", "-o", "p.xlsx"], "--output: found 'p.xlsx', expected a file that ends in .csv"),
        (["log.csv", "--dry-run", "--end-link", "a"], "--end-link: found a link of no robot"),
        (
            ["log.csv", "--dry-run", "--columns", "joints = 3"],
            "--columns: joints: found the number 3, expected a table",
        ),
        (["log.csv", "--dry-run", "--columns", "jonts = {}"], "did you mean 'joints'?"),
        (["log.csv", "--dry-run", "--columns", "joints = {"], "--columns: found text that is not TOML"),
        (["log.csv", "--dry-run", "--columns", "nope.toml"], "nope.toml: found no such file"),
        (["log.csv", "--dry-run", "--robot", "Pumma"], "--robot: found"),
        (["nope.csv", "--dry-run"], "nope.csv: found no such file"),
        ([".", "--dry-run", "--columns", "ignore_others = true"], "found columns of a file without columns"),
    ],
)
def test_wrong_calls(tmp_path, monkeypatch, capsys, arguments, says):
    monkeypatch.chdir(tmp_path)
    Path("log.csv").write_text("t [s],q1 [deg]\n0,1\n1,2\n")
    assert cli.main(["convert", *arguments]) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert says in shown.err
    assert [path.name for path in tmp_path.iterdir()] == ["log.csv"]
    assert Path("log.csv").read_text() == "t [s],q1 [deg]\n0,1\n1,2\n"


def test_as_map_of_a_table_by_own_names():
    reading = read_file(JOBS / "diffuser.csv")
    same(gm.read_trajectory(JOBS / "diffuser.csv", columns=reading.as_map), reading.trajectory)
