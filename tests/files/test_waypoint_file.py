"""Tables of way points: what is read, and what is said of what cannot be."""

from pathlib import Path

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.base.errors import InputError
from gripmargin.files.waypoint_file import read_waypoints

SHELF = Path(__file__).parents[2] / "trajectories" / "shelf.csv"
GOOD = """# taught
x [mm], y [mm], z [mm], roll [deg], pitch [deg], yaw [deg], kind, speed [mm/s], acceleration [m/s^2], blend [mm], move

0, 0, 30, 180, 0, 0, , , , ,
0, 0, 100, 180, 0, 0, line, 250, 1.2, 5, "up, slowly"
300, 0, 100, 180, 0, 90, line, 500, 2, ,
"""


@pytest.fixture
def read(tmp_path):
    def read(text, robot=None):
        path = tmp_path / "points.csv"
        path.write_text(text, encoding="utf-8")
        return read_waypoints(path, robot=robot)

    return read


def test_a_table_of_poses(read):
    found = read(GOOD)
    start, up, over = found.points
    assert found.source == "points.csv"
    assert start.pose == pytest.approx(gm.pose((0, 0, 0.03), (np.pi, 0, 0)))
    assert (up.kind, up.speed, up.acceleration, up.blend, up.move) == ("line", 0.25, 1.2, 0.005, "up, slowly")
    assert (over.blend, over.wait, over.jerk, over.move) == (0.0, 0.0, None, "move 2")
    assert over.pose == pytest.approx(gm.pose((0.3, 0, 0.1), (np.pi, 0, np.pi / 2)))


def test_a_table_of_joints_has_figures_of_lengths_and_of_angles():
    found = read_waypoints(SHELF)
    touch, transfer = found.points[1], found.points[3]
    assert found.q[0, 0] == pytest.approx(np.deg2rad(-36.8699))
    assert (touch.kind, touch.speed, touch.turn_speed, touch.wait, touch.move) == ("line", 0.04, None, 0.3, "touch")
    assert (transfer.kind, transfer.speed) == ("joint", None)
    assert transfer.turn_acceleration == pytest.approx(np.deg2rad(160))
    assert transfer.turn_blend == pytest.approx(np.deg2rad(8))


def swap(old, new):
    assert GOOD.count(old) == 1, old
    return GOOD.replace(old, new)


BAD = {
    "one row": (
        "\n".join(GOOD.splitlines()[:4]),
        "line 2: found a header with 1 row(s), expected at least 2; the first",
    ),
    "nothing": ("# nothing\n", ": found nothing but blanks and comments, expected a header with units"),
    "an alias": (
        swap("blend [mm]", "zone [mm]"),
        "line 2, column 'zone [mm]': found a column that is not known, expected q1 ..., or x, y, z with qx, qy, qz, qw "
        "or roll, pitch, yaw; and kind, speed, acceleration, jerk, blend, wait, move; did you mean 'blend'?",
    ),
    "a slip": (swap("speed [mm/s]", "sped [mm/s]"), "did you mean 'speed'?"),
    "times": (swap(", move", ", t [s]"), "a program with times is a trajectory: name it as program.trajectory"),
    "no unit": (
        swap("speed [mm/s]", "speed"),
        "line 2, column 'speed': found a column without its unit, expected the unit in brackets, such as speed "
        "[mm/s] or speed [deg/s]",
    ),
    "a wrong unit": (
        swap("speed [mm/s]", "speed [kg]"),
        "line 2, column 'speed [kg]': found a unit of another dimension, expected the unit of speed, such as",
    ),
    "a unit of a word": (
        swap(", move", ", move [mm]"),
        "column 'move [mm]': found the unit 'mm', expected no unit for move",
    ),
    "twice": (
        swap("blend [mm]", "speed [m/s]"),
        "line 2: found the columns 'speed [mm/s]' and 'speed [m/s]', expected each figure once",
    ),
    "no kinds": (
        swap("kind", "jerk [m/s^3]"),
        "line 2: found no column of the kinds of moves, expected a column 'kind'",
    ),
    "no places": (
        "kind, speed [mm/s]\n, \nline, 1\n",
        "line 1: found no column of places, expected q1, q2 ...; or x, y, z with",
    ),
    "half a pose": (
        swap("yaw [deg], ", "qx, "),
        "line 2: found the columns x, y, z, roll, pitch, qx, expected q1,",
    ),
    "a kind of nobody": (
        swap("line, 500", "lime, 500"),
        "line 6, column 'kind': found 'lime', expected joint or line; did",
    ),
    "a kind of none": (swap("line, 500", ", 500"), "line 6: found no kind of move, expected joint or line"),
    "a joint move to a pose": (swap("line, 500", "joint, 500"), "line 6: found a joint move to a pose, expected joint"),
    "no number": (
        swap("line, 250", "line, fast"),
        "line 5, column 'speed [mm/s]': found \"fast\", expected a finite number; write the number alone, its unit in",
    ),
    "not a number": (swap("line, 250", "line, nan"), "line 5, column 'speed [mm/s]': found \"nan\", expected a finite"),
    "below zero": (swap("line, 250", "line, -250"), "line 5: found -0.25, expected a number above 0"),
    "no place": (swap("300, 0,", ", 0,"), "line 6, column 'x [mm]': found an empty cell, expected a finite number"),
    "too few cells": (
        swap("line, 500, 2, ,", "line, 500, 2"),
        "line 6: found 9 cells, expected 11, one a column of the",
    ),
    "quotes": (swap('slowly"', "slowly"), "line 5: found a row that cannot be split ("),
    "a label of lines": (
        swap("up, slowly", "up\x07"),
        "line 5, column 'move': found the label 'up\\x07', expected plain",
    ),
    "a blend at the end": (
        swap("500, 2, ,", "500, 2, 5,"),
        "line 6: found a blend where no move follows, expected none",
    ),
    "degrees as radians": (
        "q1 [rad], kind, speed [rad/s], acceleration [rad/s^2]\n0, , ,\n90, joint, 1, 1\n",
        "line 3, column 'q1 [rad]': found an angle of 90 rad",
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_tables_that_cannot_be_read(read, name):
    text, says = BAD[name]
    with pytest.raises(InputError) as error:
        read(text)
    assert says in str(error.value)


def test_a_job_names_one_program(tmp_path):
    for name in ("shelf.toml", "shelf.csv", "arm.urdf"):
        (tmp_path / name).write_bytes((SHELF.parent / name).read_bytes())
    job = tmp_path / "shelf.toml"
    text = job.read_text(encoding="utf-8")
    line = 'waypoints = "shelf.csv"\n'
    for other, says in (
        ("", "program: found neither trajectory nor waypoints, expected one of the two"),
        (line + 'trajectory = "shelf.csv"\n', "program: found both trajectory and waypoints, expected one of the two"),
    ):
        job.write_text(text.replace(line, other), encoding="utf-8")
        with pytest.raises(InputError) as error:
            gm.read_job(job)
        assert says in str(error.value)
    # what is wrong with a move is said of its row
    job.write_text(text, encoding="utf-8")
    table = tmp_path / "shelf.csv"
    table.write_text(table.read_text(encoding="utf-8").replace("line, 40, 300", "line, 40, "), encoding="utf-8")
    with pytest.raises(InputError) as error:
        gm.read_job(job)
    assert str(error.value).startswith(f"{table}, line 4: found a line move without acceleration, expected the accel")
