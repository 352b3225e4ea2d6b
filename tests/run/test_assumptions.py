"""How the input was understood: a wrong model, frame, unit or column has to be seen in the report."""

from dataclasses import replace
from pathlib import Path

import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.files.job_file import read_job
from gripmargin.run.assumptions import as_read

DEMOS = Path(__file__).parents[2] / "trajectories"


@pytest.fixture(scope="module")
def window():
    """A plate of 510 g and 240 x 170 mm on one disc of 24 mm; the arm's waist turns by 39 degrees to either side."""
    return read_job(DEMOS / "window.toml")


def line(job, name):
    (found,) = [note for note in as_read(work_out(job)) if note.startswith(f"{name}: ")]
    return found


def test_robot_part_pads_and_columns_in_one_table(window):
    assert "arm.urdf, to link 'flange'; waist -39 to 40 deg, shoulder" in line(window, "Robot")
    assert line(window, "Base") == (
        "Base: at the origin of the world; tool: x 0.0, y 0.0, z 120.0 mm, rpy 0.0, 0.0, 0.0 deg."
    )
    assert line(window, "Part") == (
        "Part: 0.51 kg, 240 x 170 x 5 mm, centre of mass at x 0.0, y 0.0, z 2.5 mm of the tool frame."
    )
    assert line(window, "Pads") == "Pads: 'middle' of 'film', 4.52 cm^2."  # a disc of 24 mm: pi 1.2^2 cm^2
    assert line(window, "Columns") == (
        "Columns: t [s], q1 [deg], q2 [deg], q3 [deg], q4 [deg], q5 [deg], q6 [deg], move."
    )


def test_pads_that_are_alike_are_counted(window):
    (pad,) = window.gripper.pads
    places = {"left": -0.05, "middle": 0.0, "right": 0.05}
    three = [replace(pad, name=name, pose_in_tool=gm.pose((x, 0, 0))) for name, x in places.items()]
    job = replace(
        window, gripper=gm.Gripper(pads=(*three, gm.Pad.disc("small", pad.material, 0.01, gm.pose((0, 0.05, 0)))))
    )
    assert line(job, "Pads") == "Pads: 'left' and 2 more of 'film', 4.52 cm^2 each; 'small' of 'film', 0.79 cm^2."


def test_poses_need_no_robot():
    assert line(read_job(DEMOS / "diffuser.toml"), "Robot").startswith("Robot: none")
