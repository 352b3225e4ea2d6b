"""Drafts of jobs against the demo jobs, whose phases a person wrote for the same programs."""

import json
import tomllib
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.files.job_values import UNMEASURED

JOBS = Path(__file__).parents[2] / "trajectories"


def demo(name):
    return tomllib.loads((JOBS / f"{name}.toml").read_text(encoding="utf-8"))


def draft(name, folder=JOBS):
    job = demo(name)
    robot = str(JOBS / "arm.urdf") if "robot" in job else None
    return gm.draft_job(JOBS / job["program"]["trajectory"], robot=robot, folder=folder)


def filled(drafted, job):
    """The draft with the values of a job where it has marks; a line that the job has not is left out."""
    if isinstance(drafted, dict):
        kept = {key: value for key, value in drafted.items() if value != UNMEASURED or key in job}
        return {key: filled(value, job.get(key)) for key, value in kept.items()}
    if isinstance(drafted, list) and isinstance(job, list):
        return [filled(value, each) for value, each in zip(drafted, job, strict=True)]
    return job if drafted == UNMEASURED else drafted


def written(tmp_path, tree):
    (tmp_path / "job.json").write_text(json.dumps(tree), encoding="utf-8")
    return tmp_path / "job.json"


@pytest.mark.parametrize("name", ["window", "sink", "sensor", "lid", "driver", "diffuser", "window-recorded"])
def test_the_phases_of_the_demo_jobs(name):
    drafted, job = tomllib.loads(draft(name)), demo(name)
    for found, due in zip(drafted["program"]["phases"], job["program"]["phases"], strict=True):
        shown = name not in ("sink", "lid") or due["kind"] != "release"  # pulled off straight, pressed off
        assert found == due if shown else {**found, "release": due["release"]} == due
    assert set(drafted["pick"]) == {"face"}
    assert ("rpy" in drafted["nest"]["face"]) == ("rpy" in job["nest"]["face"])


def test_filled_in_it_is_the_demo_job():
    job, done = demo("window"), filled(tomllib.loads(draft("window")), demo("window"))
    assert done.pop("job") == {"name": "window"}
    assert done.pop("targets") == {}  # hold = 2.0 is the default
    assert done == {key: value for key, value in job.items() if key not in ("job", "targets")}


def test_phases_by_times_give_the_verdict_of_the_demo_job(tmp_path):
    """The program has no labels. Contact does not begin 5 mm above the part: the press is the same."""
    job, drafted = demo("reflector"), tomllib.loads(draft("reflector", tmp_path))
    assert [phase["kind"] for phase in drafted["program"]["phases"]] == ["preload", "carry", "release"]
    assert drafted["program"]["phases"][2]["release"] == "shear"
    given = {key: job[key] for key in ("materials", "gripper", "part", "pick", "nest")}
    robot = {**drafted["robot"], "tool": job["robot"]["tool"]}
    report = gm.check_file(written(tmp_path, {**drafted, **given, "robot": robot}), checks=["preload", "release"])
    assert report.verdict == "pass"
    values = {each.check: round(each.value, 2) for each in report.checks}
    assert (values["preload"], values["release"]) == (1.0, 2.03)  # as the list of demo jobs has it


def test_the_checker_names_every_mark(tmp_path):
    tree = tomllib.loads(draft("window", tmp_path))
    with pytest.raises(gm.InputError) as caught:
        gm.read_job(written(tmp_path, tree))
    lines = str(caught.value).split("\n")
    assert len(lines) == json.dumps(tree).count(UNMEASURED) == 24
    assert all("found a value that is still to be measured, expected " in line for line in lines)
    assert lines[0] == (
        f"{tmp_path}/job.json: robot.tool.xyz: found a value that is still to be measured, expected a list; measure it "
        "and write it here"
    )
    assert any("part.mass: found a value" in line and 'such as "420 g"' in line for line in lines)
    for path in (("materials", "film", "pull_off_stress"), ("part", "face"), ("part", "surface_factor")):
        assert sum(f"job.json: {'.'.join(path)}: " in line for line in lines) == 1


def test_no_strength_stands_in_it():
    drafted = tomllib.loads(draft("window"))
    assert set(drafted["materials"]["film"].values()) == {UNMEASURED}
    assert set(drafted["part"].values()) == {UNMEASURED}
    assert drafted["targets"] == {}


def poses(tmp_path, moves, legs, roll=180):
    """A tool that looks down and goes from height to height [m] at x [m], a second a leg; labels one a leg."""
    share = np.linspace(0.0, 1.0, 51)[1:]
    share = (3 * share**2 - 2 * share**3)[:, None]
    ends = np.array(legs, dtype=float)
    way = np.vstack([ends[:1], *(a + (b - a) * share for a, b in pairwise(ends))])
    file = tmp_path / "program.csv"
    rows = ["t [s],x [m],y [m],z [m],roll [deg],pitch [deg],yaw [deg]" + (",move" if moves else "")]
    for k, (x, z) in enumerate(way):
        label = [moves[max(k - 1, 0) // 50]] if moves else []
        rows.append(",".join([f"{0.02 * k:.2f}", f"{x:.9f}", "0", f"{z:.9f}", f"{roll}", "0", "0", *label]))
    file.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return tomllib.loads(text := gm.draft_job(file, folder=tmp_path)), text


ONE = [(0, 0.1), (0, 0), (0, 0), (0, 0.1), (0.4, 0.1)]
TWO = [*ONE, (0.4, 0), (0.4, 0), (0.4, 0.1)]
MOVES = ["down", "wait", "up", "over", "place", "rest", "off"]


def kinds(tree):
    return [(phase["kind"], phase.get("moves")) for phase in tree["program"].get("phases", [])]


def test_labels_that_come_again_and_labels_across_a_border_give_times(tmp_path):
    tree, _ = poses(tmp_path, MOVES, TWO)
    assert kinds(tree) == [
        ("preload", ["down", "wait"]),
        ("carry", ["up", "over", "place"]),
        ("release", ["rest", "off"]),
    ]
    for moves in (["go", "wait", "go", "go", "go", "wait", "go"], ["down", "wait", "up", "over", "off", "off", "off"]):
        tree, _ = poses(tmp_path, moves, TWO)
        assert kinds(tree) == [("preload", None), ("carry", None), ("release", None)]
        ends = [(phase["from"], phase["to"]) for phase in tree["program"]["phases"]]
        assert ends[0][1] == ends[1][0]
        assert ends[1][1] == ends[2][0]


def test_one_landing_none_and_a_third(tmp_path):
    tree, text = poses(tmp_path, MOVES[:4], ONE)
    assert kinds(tree) == [("preload", ["down", "wait"]), ("carry", ["up", "over"])]
    assert "nest" not in tree
    assert "taken for the pick" in text
    tree, text = poses(tmp_path, None, [(0, 0.1), (0.4, 0.1)])
    assert kinds(tree) == []
    assert "pick" not in tree
    assert "the whole\n# program" in text or "without phases the\n# whole program is one carry" in text
    tree, text = poses(tmp_path, None, [*TWO, (0, 0.1), *ONE[1:4]])
    assert len(kinds(tree)) == 3
    assert "# The tool comes down again, 8.8" in text
    tree, text = poses(tmp_path, None, [*TWO, (0, 0.1), *ONE[1:], *TWO[5:]])
    assert [kind for kind, _ in kinds(tree)] == 2 * ["preload", "carry", "release"]
    assert "comes down again" not in text


@pytest.mark.parametrize(("lean", "asks"), [(3.5, False), (7.0, True)])
def test_a_tool_that_leans_asks_how_the_face_lies(tmp_path, lean, asks):
    """Within 5 degrees the face is meant to be level."""
    tree, _ = poses(tmp_path, MOVES, TWO, roll=180 - lean)
    assert [("rpy" in tree[table]["face"]) for table in ("pick", "nest")] == [asks, asks]


def test_labels_cannot_break_out_of_a_comment(tmp_path):
    tree, _ = poses(tmp_path, ['a"]\\', "b#", "c; d", "e", "f", "g", "h"], TWO)
    assert kinds(tree)[0] == ("preload", ['a"]\\', "b#"])


def test_a_joint_program_without_a_robot_is_refused():
    with pytest.raises(gm.InputError, match="a joint program without a robot"):
        gm.draft_job(JOBS / "window.csv")
