"""The subcommand: what it prints, writes and ends with."""

import json

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.cli import main

JOB = """
[job]
name = "plate"
[materials.film]
pull_off_stress = "5 N/cm^2"
shear_strength = "5 N/cm^2"
normal_stiffness = "1 N/mm^3"
shear_stiffness = "0.33 N/mm^3"
{damping}
[[gripper.pads]]
name = "pad"
material = "film"
shape = "rectangle"
size = ["40 mm", "40 mm"]
[part]
mass = "{mass} kg"
com = ["0 mm", "0 mm", "0 mm"]
inertia = ["1e-5 kg*m^2", "1e-5 kg*m^2", "1e-5 kg*m^2", "0 kg*m^2", "0 kg*m^2", "0 kg*m^2"]
face = "plane"
rigid = true
{more}
"""
FEW = ["--tilt", "0,30", "--ramp", "100", "--radius", "500"]


@pytest.fixture
def job(tmp_path):
    def write(damping="damping_ratio = 0.08", mass=1.5, more=""):
        file = tmp_path / "job.toml"
        file.write_text(JOB.format(damping=damping, mass=mass, more=more))
        return str(file)

    return write


def test_a_job_without_a_program(job, tmp_path, capsys):
    out = tmp_path / "limits.json"
    page = tmp_path / "limits.html"
    assert main(["limits", job(), *FEW, "--json", str(out), "--html", str(page)]) == 0
    said = capsys.readouterr().out
    assert said.startswith("PASS  plate:")
    assert all(len(line) <= 100 for line in said.splitlines())
    assert "Full bond" in said
    found = gm.limits_file(job(), tilts=np.deg2rad([0, 30]), ramps=[0.1], radii=[0.5])
    first = next(line for line in said.splitlines() if line.lstrip().startswith("0 deg"))
    # rounded down to three digits, in mm/s^2
    for shown, due in zip(first.split()[2:], 1e3 * found.linear["any"][0], strict=True):
        assert due * (1 - 1e-2) < float(shown) <= due
    assert out.read_text() == gm.limits_json(found)
    assert page.read_text() == gm.limits_html(found)
    tree = json.loads(out.read_text())
    assert tree["schema"] == "gripmargin-limits/1"
    assert tree["ramps"] == [0.0, 0.1, None]
    assert tree["linear"]["x"] == found.linear["x"].tolist()
    assert tree["circling"][0]["speed"] == found.circling[0].tolist()
    assert tree["turning"]["spin"]["acceleration"][0][0] == pytest.approx(found.turning["spin"][0, 0] ** 2 / np.pi)


def test_json_in_place_of_the_text(job, capsys):
    assert main(["limits", job(damping=""), *FEW, "--json", "-"]) == 3
    tree = json.loads(capsys.readouterr().out)
    assert tree["linear"]["any"][0][:2] == [None, None]
    assert tree["linear"]["any"][0][2] > 0
    assert "no damping_ratio" in tree["blocked"][0]


@pytest.mark.parametrize(
    ("change", "status", "says"),
    [
        ({"mass": 5.0}, 1, "FAIL"),
        ({"more": '[targets]\nhold = "two"'}, 2, "targets.hold"),
        ({"more": '[program]\ntrajectory = "nothing.csv"'}, 2, "nothing.csv"),
    ],
)
def test_statuses(job, change, status, says, capsys):
    assert main(["limits", job(**change), *FEW]) == status
    said = capsys.readouterr()
    assert says in said.out + said.err


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--tilt", "200"], "--tilt: found [3.49"),
        (["--tilt", "level"], "--tilt: found 'level', expected angles in degrees"),
        (["--radius", ","], "--radius"),
        (["--speed", "1,2"], "--speed"),
    ],
)
def test_arguments_that_are_no_figures(job, arguments, says, capsys):
    assert main(["limits", job(), *arguments]) == 2
    assert says in capsys.readouterr().err


def test_a_job_without_a_program_is_not_checked(job, capsys):
    assert main(["check", job()]) == 2
    assert "program: found nothing, expected a value, for this key is required" in capsys.readouterr().err
