"""The command: what goes where, and which exit status means what."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from gripmargin import cli

JOB = """
[job]
name = "plate"

[materials.film]
pull_off_stress = "5 N/cm^2"
shear_strength = "5 N/cm^2"
normal_stiffness = "0.1 N/mm^3"
shear_stiffness = "0.03 N/mm^3"

[[gripper.pads]]
name = "pad"
material = "film"
shape = "rectangle"
size = ["50 mm", "50 mm"]

[part]
mass = "MASS"
com = ["0 mm", "0 mm", "2 mm"]
inertia = ["3e-4 kg*m^2", "3e-4 kg*m^2", "6e-4 kg*m^2", "0 kg*m^2", "0 kg*m^2", "0 kg*m^2"]
face = "plane"
rigid = true

[program]
trajectory = "lift.csv"
"""


def write(folder: Path, name: str, mass: str, *, noise: float = 0.0) -> str:
    rows = ["t [s], x [mm], y [mm], z [mm], qx, qy, qz, qw"]
    for i in range(201):
        s = i / 200
        rise = 200 * (10 * s**3 - 15 * s**4 + 6 * s**5) + noise * (-1) ** (i * (i + 1) // 2)
        rows.append(f"{0.8 * s:.4f}, 0, 0, {rise:.9f}, 1, 0, 0, 0")
    (folder / f"{name}.csv").write_text("\n".join(rows) + "\n")
    path = folder / f"{name}.toml"
    path.write_text(JOB.replace("MASS", mass).replace("lift.csv", f"{name}.csv"))
    return str(path)


@pytest.fixture
def jobs(tmp_path):
    return {
        "pass": write(tmp_path, "pass", "400 g"),
        "fail": write(tmp_path, "fail", "8 kg"),
        "undecided": write(tmp_path, "undecided", "3 kg", noise=0.05),
        "broken": str(tmp_path / "no such job.toml"),
    }


@pytest.mark.parametrize(
    ("names", "status"),
    [
        (["pass"], 0),
        (["fail"], 1),
        (["broken"], 2),
        (["undecided"], 3),
        (["pass", "fail"], 1),
        (["pass", "undecided"], 3),
        (["undecided", "fail"], 1),
        (["pass", "broken"], 2),
        (["undecided", "broken"], 2),
        (["fail", "broken"], 1),
    ],
)
def test_exit_status_is_that_of_the_worst(jobs, capsys, names, status):
    assert cli.main(["check", *(jobs[name] for name in names)]) == status
    out, err = capsys.readouterr()
    assert out.count("  caution  ") == sum(name != "broken" for name in names)
    assert ("no such file" in err) == ("broken" in names)
    assert "Traceback" not in out + err


@pytest.mark.parametrize("ending", [".csv", ".mcap"])
def test_series_are_written_beside_the_text(jobs, tmp_path, capsys, ending):
    assert cli.main(["check", jobs["fail"], "--series", str(tmp_path / f"run{ending}")]) == 1
    assert capsys.readouterr().out.startswith("FAIL  plate")
    content = (tmp_path / f"run{ending}").read_bytes()
    assert content.startswith({".csv": b"t [s],phase,position_x [m],", ".mcap": b"\x89MCAP0\r\n"}[ending])


def test_no_series_of_a_job_that_could_not_be_read(jobs, tmp_path, capsys):
    assert cli.main(["check", jobs["broken"], "--series", str(tmp_path / "run.csv")]) == 2
    assert not (tmp_path / "run.csv").exists()


@pytest.mark.parametrize("name", ["pass", "fail", "undecided"])
def test_the_verdict_is_the_first_word(jobs, capsys, name):
    cli.main(["check", jobs[name]])
    assert capsys.readouterr().out.startswith(name.upper() + "  plate\n")


@pytest.mark.parametrize(
    "arguments", [[], ["check"], ["chek", "x"], ["check", "--jsn", "x"], ["check", "x", "--samples"], ["--versoin"]]
)
def test_usage_errors_are_status_2_and_say_nothing_on_stdout(capsys, arguments):
    assert cli.main(arguments) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("gripmargin: ")


@pytest.mark.parametrize(
    ("arguments", "meant"),
    [(["chek", "x"], "check"), (["check", "x", "--breif"], "--brief"), (["tune", "x", "--jsn=x"], "--json")],
)
def test_what_was_probably_meant_is_asked(capsys, arguments, meant):
    assert cli.main(arguments) == 2
    assert f"; did you mean '{meant}'?\n" in capsys.readouterr().err


def test_a_fault_of_how_things_fit_together_names_its_job(tmp_path, capsys):
    """Found after the files are read, in the second of two jobs."""
    good = Path(write(tmp_path, "good", "400 g"))
    bad = Path(write(tmp_path, "bad", "400 g"))
    phases = 'phases = [{ kind = "free", from = "0 s", to = "2 s" }]'
    bad.write_text(bad.read_text().replace("[program]", f"[program]\n{phases}"))
    other = Path(write(tmp_path, "other", "400 g"))
    (tmp_path / "other.csv").write_text("q1_degr\n")
    assert cli.main(["check", str(bad)]) == 2
    alone = "no sample in a carry phase, so nothing to check, expected a phase of kind carry with samples"
    assert capsys.readouterr().err == f"gripmargin: {bad}: job 'plate': found {alone}\n"
    assert cli.main(["check", str(good), str(bad), str(other), "--workers", "1", "--brief"]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert lines[0].startswith(f"gripmargin: {bad}: job 'plate': found no sample")
    assert lines[1].startswith(f"gripmargin: {other}: {tmp_path / 'other.csv'}, line 1, column 'q1_degr': found")


def test_help_and_version_are_no_verdict_but_succeed(capsys):
    assert cli.main(["--version"]) == 0
    assert cli.main(["check", "--help"]) == 0
    assert "exit status:" in capsys.readouterr().out


def test_an_error_of_the_program_itself_is_status_4(jobs, capsys, monkeypatch):
    def broken(path, **_):
        raise ZeroDivisionError("a fault of ours")

    monkeypatch.setattr("gripmargin.run.one.check_file", broken)
    assert cli.main(["check", jobs["pass"]]) == 4
    out, err = capsys.readouterr()
    assert out == ""
    assert "ZeroDivisionError: a fault of ours" in err
    assert "Nothing was decided" in err


@pytest.mark.parametrize(("error", "status"), [(KeyboardInterrupt, 130), (MemoryError, 4)])
def test_interrupted_is_no_verdict(jobs, monkeypatch, error, status):
    def stopped(path, **_):
        raise error

    monkeypatch.setattr("gripmargin.run.one.check_file", stopped)
    assert cli.main(["check", jobs["pass"]]) == status


def test_json_on_stdout_is_json_alone(jobs, capsys):
    cli.main(["check", jobs["fail"], "--json", "-", "--samples"])
    tree = json.loads(capsys.readouterr().out, parse_constant=pytest.fail)
    assert tree["verdict"] == "fail"
    assert len(tree["samples"]["t"]) == 201


def test_json_file_is_written_whole_with_a_place_for_a_broken_job(jobs, tmp_path, capsys):
    target = tmp_path / "out.json"
    target.write_text("what an earlier run left")
    cli.main(["check", jobs["broken"], "--json", str(target)])
    assert json.loads(target.read_text())["schema"] == "gripmargin-error/1"
    cli.main(["check", jobs["pass"], jobs["broken"], jobs["fail"], "--json", str(target)])
    trees = json.loads(target.read_text())
    assert [tree.get("verdict") for tree in trees] == ["pass", None, "fail"]
    assert trees[1]["errors"][0]["found"] == "no such file"
    assert [path.name for path in tmp_path.glob(".out*")] == []


def test_a_place_that_cannot_be_written_is_bad_usage(jobs, capsys):
    assert cli.main(["check", jobs["pass"], "--json", "/no/such/folder/x.json"]) == 2
    assert "/no/such/folder/x.json: found" in capsys.readouterr().err


def test_same_input_same_bytes(jobs, tmp_path):
    for name in ("a", "b"):
        cli.main(["check", jobs["fail"], "--json", str(tmp_path / name), "--samples"])
    assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes()


def test_a_reader_that_leaves_does_not_turn_into_a_verdict(jobs):
    program = subprocess.Popen(
        [sys.executable, "-m", "gripmargin", "check", jobs["pass"]],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    program.stdout.close()
    err = program.stderr.read().decode()
    program.stderr.close()
    assert program.wait() == 4
    assert "Traceback" not in err


def test_a_write_that_fails_leaves_nothing_behind(jobs, tmp_path, capsys):
    target = tmp_path / "folder"
    target.mkdir()
    assert cli.main(["check", jobs["pass"], "--json", str(target)]) == 2
    assert "folder: found" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []


def test_nothing_but_the_report_goes_to_stdout(jobs):
    """Even with a terminal that knows no letters beyond ASCII, and with warnings on."""
    job = Path(jobs["pass"])
    job.write_text(job.read_text().replace('name = "plate"', 'name = "plåt → 板"'), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-W", "always", "-m", "gripmargin", "check", str(job)],
        capture_output=True,
        env={**os.environ, "PYTHONIOENCODING": "ascii"},
        check=False,
    )
    assert done.returncode == 0
    assert done.stdout.startswith(b"PASS")
