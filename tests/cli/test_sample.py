"""`gripmargin sample`: way points as a sampled program."""

from pathlib import Path

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.cli import BAD_INPUT, PASSED, main

FOLDER = Path(__file__).parents[2] / "trajectories"


def test_what_is_written_is_the_program_under_the_law(tmp_path, capsys):
    place = tmp_path / "shelf.csv"
    assert main(["sample", str(FOLDER / "shelf.toml"), "--to", str(place), "--law", "quintic"]) == PASSED
    said = capsys.readouterr().out
    assert said.endswith(f"s, quintic with blends: {place}\n")
    job = gm.read_job(FOLDER / "shelf.toml")
    due = gm.sample_waypoints(job.waypoints, robot=job.robot, law="quintic")
    read = gm.read_trajectory(place, robot=job.robot)
    assert said.startswith(f"{due.samples} samples over {due.t[-1]:.3f} s")
    assert np.array_equal(read.t, due.t)
    assert np.array_equal(read.qdd, due.qdd)
    assert read.moves == due.moves
    stopping = tmp_path / "stop.npz"
    assert main(["sample", str(FOLDER / "shelf.toml"), "--to", str(stopping), "--stop", "--rate", "100"]) == PASSED
    assert capsys.readouterr().out.endswith(f"s, trapezoid: {stopping}\n")


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["window.toml"], "window.toml: found a program that is sampled already, expected way points; name a table"),
        (["shelf.toml", "--law", "cubic"], "law: found 'cubic', expected trapezoid or jerk-limited or quintic"),
        (["shelf.toml", "--rate", "fast"], "--rate: found 'fast', expected samples a second, from 100 to 10000"),
        (["shelf.toml", "--rate", "50"], "--rate: found 50, expected samples a second, from 100 to 10000"),
    ],
)
def test_what_cannot_be_written(tmp_path, capsys, arguments, says):
    place = tmp_path / "out.csv"
    assert main(["sample", str(FOLDER / arguments[0]), *arguments[1:], "--to", str(place)]) == BAD_INPUT
    assert says in capsys.readouterr().err
    assert not place.exists()
    assert main(["sample", str(FOLDER / "shelf.toml"), "--to", "-"]) == BAD_INPUT
