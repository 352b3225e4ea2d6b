"""Job files that are read: every key of the contract, the assumptions, TOML and JSON alike."""

import json
import shutil
import tomllib
from pathlib import Path

import numpy as np
import pytest

from gripmargin.base.errors import InputError, InputErrors
from gripmargin.files import source
from gripmargin.files.job_file import read_job
from gripmargin.files.job_tree import files_read
from gripmargin.workcell import uniform_plate

FULL = """
[job]
name = "every key"
gravity = ["0 m/s^2", "0 m/s^2", "-1.62 m/s^2"]
[materials.film]
pull_off_stress = "9.8 N/cm^2"
shear_strength = "98 kPa"
normal_stiffness = "0.10 N/mm^3"
shear_stiffness = "0.033 N/mm^3"
peel_energy = "0.2 J/m^2"
full_preload = "1 N/cm^2"
preload_curve = [["0 Pa", 0.0], ["1 N/cm^2", 0.9], ["2 N/cm^2", 1]]
min_dwell = "0.2 s"
overload_pressure = "20 N/cm^2"
overload_residual = 0.1
fouling_per_cycle = 0.001
coupon_area = "1 cm^2"
damping_ratio = 0.1
[gripper]
cycles_since_cleaning = 12
[[gripper.pads]]
name = "a"
material = "film"
shape = "polygon"
outline = [["0 mm", "0 mm"], ["20 mm", "0 mm"], ["0 mm", "20 mm"]]
[[gripper.pads]]
name = "b"
material = "film"
shape = "disc"
diameter = "2 cm"
at = { xyz = ["50 mm", "0 mm", "0 mm"], rpy = ["0 deg", "0 deg", "90 deg"] }
[part]
mass = "420 g"
outline = [["-60 mm", "-40 mm"], ["60 mm", "-40 mm"], ["60 mm", "40 mm"], ["-60 mm", "40 mm"]]
thickness = "3 mm"
face = "plane"
max_pressure = "50 kPa"
youngs_modulus = "70 GPa"
poissons_ratio = 0.22
drag_area = "0.01 m^2"
surface_factor = 0.8
[program]
trajectory = "program.csv"
phases = [
  { kind = "preload", from = "0 s", to = "0.1 s" },
  { kind = "carry", from = "0.1 s", to = "0.3 s" },
  { kind = "release", from = "0.4 s", to = "9 s", release = "peel" },
]
[pick]
face = { xyz = ["0 m", "0 m", "100 mm"], rpy = ["180 deg", "0 deg", "0 deg"] }
flatness = "10 um"
break_away = "2 N"
dwell = "0.5 s"
[nest]
face = { xyz = ["0 m", "1 m", "100 mm"] }
hold_down = "3 N"
lateral_force = "20 N"
moment = "0.5 N*m"
support = [["-50 mm", "-30 mm"], ["50 mm", "-30 mm"], ["0 mm", "30 mm"]]
[stop]
deceleration = "3 m/s^2"
category = 1
[targets]
hold = 3
peel = 1.5
one_pad_lost = 1
"""
POSES = "t [s],x [mm],y [mm],z [mm],qx,qy,qz,qw\n" + "".join(f"{0.1 * i:.1f},{i},0,0,0,0,0,1\n" for i in range(6))


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "program.csv").write_text(POSES, encoding="utf-8")
    return tmp_path


def read(folder, text, name="job.toml"):
    (folder / name).write_text(text, encoding="utf-8")
    return read_job(folder / name)


def test_every_key(folder):
    job = read(folder, FULL)
    film = job.gripper.pads[0].material
    assert film.name == "film"
    assert film.shear_strength == pytest.approx(98e3)
    assert film.normal_stiffness == pytest.approx(1e8)
    np.testing.assert_allclose(film.preload_curve, [[0, 0], [1e4, 0.9], [2e4, 1]])
    assert (film.min_dwell, film.overload_residual, film.damping_ratio) == (0.2, 0.1, 0.1)
    assert film.coupon_area == pytest.approx(1e-4)
    assert job.gripper.cycles_since_cleaning == 12
    np.testing.assert_allclose(
        job.gripper.pads[1].pose_in_tool[:3], [[0, -1, 0, 0.05], [1, 0, 0, 0], [0, 0, 1, 0]], atol=1e-15
    )
    assert job.part.youngs_modulus == pytest.approx(70e9)
    assert job.part.drag_area == pytest.approx(0.01)
    np.testing.assert_allclose(job.gravity, [0, 0, -1.62])
    np.testing.assert_allclose(job.pick.face[:3, 2], [0, 0, -1], atol=1e-15)
    assert job.pick.flatness == pytest.approx(1e-5)
    assert (job.pick.break_away, job.pick.dwell) == (2.0, 0.5)
    assert (job.nest.hold_down, job.nest.lateral_force, job.nest.moment) == (3.0, 20.0, 0.5)
    assert job.nest.support.shape == (3, 2)
    assert (job.stop.deceleration, job.stop.category, job.stop.time) == (3.0, 1, None)
    assert (job.targets.hold, job.targets.stop, job.targets.peel, job.targets.one_pad_lost) == (3, 1.5, 1.5, 1)
    assert [phase.kind for phase in job.phases] == ["preload", "carry", "release"]
    assert job.phases[2].release == "peel"


def test_what_was_assumed(folder):
    assert read(folder, FULL).assumed == (
        "The part's centre of mass and inertia are those of a uniform plate (outline, thickness).",
        "program.phases[2] reaches beyond the program (0 s to 0.5 s) and is cut there.",
        "targets.stop = 1.5 (default).",
        "targets.release = 1.5 (default).",
    )


def test_defaults_are_said(folder):
    text = FULL.replace('gravity = ["0 m/s^2", "0 m/s^2", "-1.62 m/s^2"]', "")
    text = text.replace("surface_factor = 0.8", "").replace("cycles_since_cleaning = 12", "")
    text = text[: text.index("phases")] + text[text.index("[pick]") :]
    assumed = read(folder, text).assumed
    for sentence in (
        "Gravity is 9.80665 m/s^2 along -z of the world (default).",
        "The part's surface holds like the reference surface (part.surface_factor = 1, default).",
        "The pads are freshly cleaned (gripper.cycles_since_cleaning = 0, default).",
    ):
        assert sentence in assumed


def test_no_gravity_is_said(folder):
    assert "There is no gravity: job.gravity is zero." in read(folder, FULL.replace("-1.62", "0")).assumed


def test_a_gap_before_the_release_is_carried(folder):
    text = FULL.replace('to = "0.3 s"', 'to = "0.2 s"')
    job = read(folder, text)
    assert job.phase_map.kinds() == ("preload", "carry", "carry", "carry", "release", "release")


def test_json_is_the_same_tree(folder):
    assert read(folder, json.dumps(tomllib.loads(FULL)), "job.json") == read(folder, FULL)


def test_uniform_plate_against_the_handbook_rectangle(folder):
    # m (b^2 + t^2) / 12 and its like: rectangular prism, Beer & Johnston, Vector Mechanics, app. B (from memory)
    part = read(folder, FULL).part
    np.testing.assert_allclose(part.com, [0, 0, 0.0015], atol=1e-12)
    a, b, t = 0.12, 0.08, 0.003
    expected = 0.42 / 12 * np.array([b * b + t * t, a * a + t * t, a * a + b * b])
    np.testing.assert_allclose(part.inertia, np.diag(expected), atol=1e-15)


def test_inertia_alone_left_out(folder):
    job = read(folder, FULL.replace('thickness = "3 mm"', 'thickness = "3 mm"\ncom = ["5 mm", "0 mm", "1 mm"]'))
    np.testing.assert_allclose(job.part.com, [0.005, 0, 0.001])
    np.testing.assert_allclose(job.part.inertia, uniform_plate(0.42, job.part.outline, 0.003)[1])
    assert job.assumed[0].startswith("The part's inertia is that of a uniform plate")


def test_components_are_in_the_mass_moments_that_are_worked_out(folder):
    """20 g in a corner of 420 g: its centre of mass goes 1/21 of the way there."""
    board = FULL.replace(
        'youngs_modulus = "70 GPa"', 'bending_stiffness = ["4 N*m", "2 N*m"]\nstiffness_axis = "90 deg"'
    )
    on_it = '[[part.components]]\nmass = "20 g"\nat = ["42 mm", "21 mm", "5 mm"]\nsize = ["10 mm", "4 mm"]\n[program]'
    job = read(folder, board.replace("[program]", on_it))
    np.testing.assert_allclose(job.part.com, [0.002, 0.001, 0.0015 + 0.0035 / 21], atol=1e-12)
    assert job.part.strips == (4.0, 2.0)
    assert job.assumed[0].endswith("those of a uniform plate (outline, thickness, components).")
    with pytest.raises(InputErrors, match=r"0\.5 kg of 0\.42 kg in all"):
        read(folder, board.replace("[program]", on_it.replace("20 g", "500 g")))


def test_a_part_placed_in_the_tool_frame(folder):
    at = 'at = { xyz = ["10 mm", "0 mm", "0 mm"], rpy = ["0 deg", "0 deg", "90 deg"] }'
    part = read(folder, FULL.replace('thickness = "3 mm"', f'thickness = "3 mm"\n{at}')).part
    np.testing.assert_allclose(part.com, [0.01, 0, 0.0015], atol=1e-12)
    np.testing.assert_allclose(np.ptp(part.outline, axis=0), [0.08, 0.12])
    assert part.thickness == pytest.approx(0.003)
    assert part.inertia[0, 0] > part.inertia[1, 1]


def test_files_are_named_relative_to_the_job(folder, monkeypatch):
    (folder / "jobs").mkdir()
    monkeypatch.chdir(Path(__file__).parent)
    job = read(folder / "jobs", FULL.replace('"program.csv"', '"../program.csv"'))
    assert job.trajectory.samples == 6


def test_a_byte_order_mark_is_passed_over(folder):
    assert read(folder, "\ufeff" + FULL).name == "every key"


def test_a_file_full_of_faults_is_cut_short(folder):
    with pytest.raises(InputErrors) as caught:
        read(folder, "\n".join(f"key{i} = 1" for i in range(500)))
    assert len(caught.value.problems) == 101
    assert str(caught.value).splitlines()[-1].endswith("found 405 more faults, expected none")


def test_the_way_to_the_first_point_of_a_message_is_said(folder):
    good = Path(__file__).parents[1] / "bad_input" / "good"
    (folder / "arm.urdf").write_bytes((good / "arm.urdf").read_bytes())
    points = [
        {"positions": [0, 0.1 * i, 0], "velocities": [0, 0, 0], "time_from_start": {"sec": i, "nanosec": 0}}
        for i in (1, 2)
    ]
    message = {"joint_names": ["quill", "shoulder", "elbow"], "points": points}
    (folder / "program.json").write_text(json.dumps(message), encoding="utf-8")
    text = FULL[: FULL.index("phases")] + FULL[FULL.index("[pick]") :]
    text = text.replace("program.csv", "program.json") + '[robot]\nurdf = "arm.urdf"\n'
    job = read(folder, text)
    assert job.trajectory.names == ("shoulder", "elbow", "quill")
    np.testing.assert_allclose(job.trajectory.q[0], [0.1, 0, 0], atol=1e-12)
    assert "The robot's way to the first point of the program (the first 1 s) is not known." in job.assumed
    assert "robot.tool is not given: the tool frame is the end of the robot's chain." in job.assumed


def test_a_robot_that_is_not_used_is_said(folder):
    good = Path(__file__).parents[1] / "bad_input" / "good"
    (folder / "arm.urdf").write_bytes((good / "arm.urdf").read_bytes())
    job = read(folder, FULL + '[robot]\nurdf = "arm.urdf"\n')
    assert "The program gives poses of the tool frame: the robot of the job is not used." in job.assumed


def test_json_that_would_fill_the_memory_is_refused(monkeypatch):
    monkeypatch.setattr(source, "MOST_TABLES", 4)
    assert source.parse_json(Path("a.json"), '[[], {}, {"b": 1}]') == [[], {}, {"b": 1}]
    with pytest.raises(InputError, match="found 5 lists and tables, expected at most 4; split it"):
        source.parse_json(Path("a.json"), "[[[[[]]]]]")


class TestRobotAsXacro:
    def test_arguments_packages_and_the_files_that_it_reads(self, tmp_path):
        """The good job of the malformed ones, its arm in a macro of another package."""
        good = Path(__file__).parents[1] / "bad_input" / "good"
        shutil.copytree(good, tmp_path, dirs_exist_ok=True)
        arm = (good / "arm.urdf").read_text(encoding="utf-8")
        inside = arm[arm.index("<link") : arm.index("</robot>")].replace('"0 0 0.4"', '"0 0 ${height}"')
        xmlns = 'xmlns:xacro="http://www.ros.org/wiki/xacro"'
        macro = f'<robot {xmlns}><xacro:macro name="arm" params="height">{inside}</xacro:macro></robot>'
        (tmp_path / "arms").mkdir()
        (tmp_path / "arms" / "arm.xacro").write_text(macro)
        call = '<xacro:include filename="$(find arm_macros)/arm.xacro"/><xacro:arm height="$(arg height)"/>'
        top = f'<robot name="arm" {xmlns}><xacro:arg name="height" default="0.4"/>{call}</robot>'
        (tmp_path / "arm.urdf.xacro").write_text(top)
        job, before = tmp_path / "job.toml", read_job(good / "job.toml")
        told = 'urdf = "arm.urdf.xacro"\npackages = { arm_macros = "arms" }\n'
        text = job.read_text(encoding="utf-8").replace('urdf = "arm.urdf"\n', told)
        job.write_text(text)
        np.testing.assert_array_equal(read_job(job).robot.links, before.robot.links)
        job.write_text(text.replace(told, f'{told}xacro_arguments = {{ height = "0.75" }}\n'))
        higher = np.linalg.norm(read_job(job).robot.links[0] - before.robot.links[0])
        assert higher == pytest.approx(0.35)
        assert tmp_path / "arms" / "arm.xacro" in [file.resolve() for file in files_read(job)]
