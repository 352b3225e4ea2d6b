"""The subcommand: what it prints, writes and ends with."""

import json
import re
from itertools import islice
from pathlib import Path

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.cli import main
from gripmargin.tuning import choosing
from gripmargin.tuning.layouts import layouts

TRAJECTORIES = Path(__file__).parents[2] / "trajectories"

JOB = """
[job]
name = "slide"
[robot]
urdf = "slide.urdf"
{limits}
[materials.film]
pull_off_stress = "3 N/cm^2"
shear_strength = "3 N/cm^2"
normal_stiffness = "0.10 N/mm^3"
shear_stiffness = "0.033 N/mm^3"
[[gripper.pads]]
name = "pad"
material = "film"
shape = "rectangle"
size = ["50 mm", "50 mm"]
[part]
mass = "1 kg"
com = ["0 mm", "0 mm", "2 mm"]
inertia = ["1e-3 kg*m^2", "1e-3 kg*m^2", "2e-3 kg*m^2", "0 kg*m^2", "0 kg*m^2", "0 kg*m^2"]
face = "plane"
rigid = true
[program]
trajectory = "{program}"
[targets]
hold = {hold}
"""
URDF = """<robot name="slide"><link name="a"/><link name="b"/><joint name="j" type="prismatic">
<parent link="a"/><child link="b"/><axis xyz="1 0 0"/><origin rpy="3.14159265358979 0 0"/>
<limit lower="-5" upper="5" effort="1" velocity="1"/></joint></robot>"""
LIMITS = 'speed = ["3 m/s"]\nacceleration = ["20 m/s^2"]'


@pytest.fixture
def folder(tmp_path, smooth):
    """A slide that carries a part over a metre in 2 s."""
    made = smooth()
    columns = zip(made.t, made.q[:, 0], made.qd[:, 0], made.qdd[:, 0], strict=True)
    rows = [f"{t:.6g},{q:.9g},{v:.9g},{a:.9g},over" for t, q, v, a in columns]
    header = "t [s],q1 [m],qd1 [m/s],qdd1 [m/s^2],move"
    (tmp_path / "program.csv").write_text("\n".join([header, *rows]) + "\n")
    poses = [f"{t:.6g},{1e3 * q[0]:.9g},0,0,1,0,0,0" for t, q in zip(made.t, made.q, strict=False)]
    (tmp_path / "poses.csv").write_text("\n".join(["t [s],x [mm],y [mm],z [mm],qx,qy,qz,qw", *poses]) + "\n")
    (tmp_path / "slide.urdf").write_text(URDF)

    def job(*, limits=LIMITS, hold=2.0, program="program.csv"):
        file = tmp_path / "job.toml"
        file.write_text(JOB.format(limits=limits, hold=hold, program=program))
        return file

    return job


def test_text_and_status_of_a_pass(folder, capsys):
    assert main(["tune", str(folder())]) == 0
    out, err = capsys.readouterr()
    assert out.startswith("PASS  slide: how fast it may be\n")
    assert "whole program" in out
    assert "over" in out
    assert err == ""
    assert all(len(line) <= 100 for line in out.splitlines())


def test_json_holds_what_the_text_says_and_can_be_typed_in(folder, tmp_path, capsys):
    job = folder()
    assert main(["tune", str(job), "--json", "-"]) == 0
    tree = json.loads(capsys.readouterr().out)
    assert tree["schema"] == "gripmargin-tuning/1"
    assert tree["verdict"] == "pass"
    assert tree["override"]["report"]["verdict"] == "pass"
    assert tree["moves"]["rows"][0]["moves"] == ["over"]
    assert tree["override"]["factor"] > 1.0
    assert main(["tune", str(job), "--json", str(tmp_path / "a.json")]) == 0
    assert json.loads((tmp_path / "a.json").read_text()) == tree


def test_the_file_written_passes_the_check(folder, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(choosing, "layouts", lambda job: islice(layouts(job), 1))  # all of them take long
    job = folder()
    out = tmp_path / "fast.csv"
    assert main(["tune", str(job), "--retime", str(out), "--grasp"]) == 0
    said = capsys.readouterr().out
    assert "A better grasp" in said
    assert "decided by" in said
    job.write_text(job.read_text().replace("program.csv", "fast.csv"))
    assert main(["check", str(job)]) == 0
    assert gm.read_job(job).trajectory.t[-1] < 2.0


def test_a_part_too_heavy_to_hold_ends_with_1_and_writes_nothing(folder, tmp_path, capsys):
    out = tmp_path / "fast.csv"
    assert main(["tune", str(folder(hold=50)), "--retime", str(out)]) == 1
    assert "gravity alone is too much" in capsys.readouterr().out
    assert not out.exists()


def test_undecided_ends_with_3(tmp_path, capsys):
    t = np.arange(0, 2.01, 0.1)
    text = "joint_names: [j]\npoints:\n" + "".join(
        f"- {{positions: [{x / 2:.3f}], time_from_start: {{sec: {int(x)}, nanosec: {round(x % 1 * 1e9)}}}}}\n"
        for x in t
    )
    (tmp_path / "program.yaml").write_text(text)
    (tmp_path / "slide.urdf").write_text(URDF)
    (tmp_path / "job.toml").write_text(JOB.format(limits="", hold=2.0, program="program.yaml"))
    assert main(["tune", str(tmp_path / "job.toml")]) == 3
    assert "cannot be decided" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("job", "more", "message"),
    [
        ({"limits": ""}, ["--retime", "x.csv"], "robot.speed: found nothing"),
        ({"limits": 'speed = ["3 m/s"]'}, ["--retime", "x.csv"], "robot.acceleration: found nothing"),
        ({"program": "poses.csv"}, ["--retime", "x.csv"], "a program of poses"),
        ({}, ["--retime", "x.csv", "--rate", "5"], "rate: found 5"),
        ({}, ["--retime", "-"], "--retime"),
        ({}, ["--retime", "/nowhere/at/all.csv"], "a place where a file can be written"),
        ({}, ["--retime", "x.csv", "--rate", "fast"], "--rate: found 'fast'"),
        ({}, ["--rate", "500"], "--retime beside it"),
        ({"program": "nothing.csv"}, [], "nothing.csv"),
    ],
)
def test_bad_input_ends_with_2_and_one_clear_message(folder, capsys, job, more, message):
    assert main(["tune", str(folder(**job)), *more]) == 2
    out, err = capsys.readouterr()
    assert message in err
    assert "Traceback" not in err
    assert out == ""


@pytest.mark.parametrize("name", ["job.toml", "program.csv", "slide.urdf"])
def test_the_new_program_overwrites_nothing_that_the_job_reads(folder, tmp_path, capsys, name):
    job = folder()
    before = (tmp_path / name).read_bytes()
    for output in ("--retime", "--json"):
        assert main(["tune", str(job), output, str(tmp_path / name)]) == 2
        assert f"{output}: found '{tmp_path / name}', which is read by the job" in capsys.readouterr().err
    assert (tmp_path / name).read_bytes() == before


def test_every_fault_is_said_on_a_line_of_its_own(folder, capsys):
    job = folder()
    text = job.read_text(encoding="utf-8")
    job.write_text(text.replace("surface_factor", "surface_faktor") + "\n[nonsense]\n[folly]\n", encoding="utf-8")
    assert main(["tune", str(job)]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) >= 2
    assert all(line.startswith("gripmargin: ") for line in lines)


def test_a_program_in_a_hurry_is_slowed_move_by_move(tmp_path, capsys):
    """What is to be typed in, against differences of the angles in the demo's own file (joints, 4 ms apart)."""
    out = tmp_path / "tuned.json"
    assert main(["tune", str(TRAJECTORIES / "window-fast.toml"), "--json", str(out)]) == 0
    text = capsys.readouterr().out
    assert "kept: preload" in text
    assert "leave + return" in text
    moves = json.loads(out.read_text(encoding="utf-8"))["moves"]
    assert moves["saved"] == pytest.approx(moves["cycle_now"] - moves["cycle_then"])
    assert moves["saved_percent"] == pytest.approx(100.0 * (1.0 - moves["cycle_then"] / moves["cycle_now"]))
    file = (TRAJECTORIES / "window-fast.csv").read_text(encoding="utf-8").splitlines()[2:]
    angles = np.array([[float(cell) for cell in line.split(",")[:7]] for line in file])
    t, speeds = angles[:, 0], np.gradient(angles[:, 1:], angles[:, 0], axis=0)
    for row in moves["rows"]:
        inside = np.abs(speeds[(t >= row["from"]) & (t <= row["to"])]).max(axis=0)
        if row["setting"] is None:
            assert row["kept"] == "stands still"
            assert inside.max() < 0.1
            continue
        found = row["setting"]
        assert found["percent"] == pytest.approx(100.0 * row["factor"])
        assert found["joint"] == np.argmax(inside) + 1
        assert np.degrees(found["joint_speed"]) == pytest.approx(row["factor"] * inside.max(), rel=0.01)
        ramps = found["acceleration_time"] + found["braking_time"]
        assert 0.3 * row["time_then"] < ramps < 1.001 * row["time_then"]
        assert re.search(rf"^ +{re.escape(' + '.join(row['moves']))} +{found['percent']:.1f} % ", text, re.MULTILINE)
