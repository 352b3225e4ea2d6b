"""A gripper with two stations: each part is judged as it would be alone, and the report says on which pads it is."""

import json
import xml.etree.ElementTree as ET
from dataclasses import replace
from importlib import resources

import jsonschema
import numpy as np
import pytest

import gripmargin as gm
from gripmargin.files.report_file import Baseline, earlier_job
from gripmargin.motion.program import ProgramMotion
from gripmargin.motion.stretch import with_fastest
from gripmargin.reports.as_glance import report_glance
from gripmargin.reports.as_json import report_tree
from gripmargin.reports.html.holds import head_of_holds
from gripmargin.reports.schema import SCHEMA_NAME
from gripmargin.run.alike import Alike
from gripmargin.run.baseline import compare
from gripmargin.run.by_hold import windows
from gripmargin.workcell.aboard import Aboard
from support.exchanged import BLANK_PHASES, DONE_PHASES, alone, exchange, program

STOP = gm.Stop(axis_deceleration=[4.0, 4.0, 4.0, 20.0])


def figures(report):
    """What each check comes to, and where."""
    return {
        check.check: [np.nan if each is None else each for each in (check.value, check.low, check.high, check.at.t)]
        for check in report.checks
    }


@pytest.fixture(scope="module")
def job():
    return exchange(stop=STOP)


@pytest.fixture(scope="module")
def report(job):
    return gm.check_job(job)


def test_each_part_is_judged_as_it_would_be_alone(job, report):
    """The same program on a tool that ends at the station, with the other pads and their part taken away."""
    assert [(hold.name, hold.station) for hold in report.holds] == [
        ("1 blank on A", "A"),
        ("2 done on B", "B"),
    ]
    one, other = report.holds
    assert one.start < other.start < one.end < other.end
    for hold in report.holds:
        found = figures(gm.check_job(alone(job, hold.station)))
        assert {"preload", "lift_off", "release", "hold", "swing", "stop"} <= set(found)
        assert figures(hold.report) == {
            name: pytest.approx(values, rel=1e-9, nan_ok=True) for name, values in found.items()
        }


def test_what_one_presses_the_other_is_carried_through(report):
    """The blank hangs while the finished part is pressed, and is judged there; so is the finished part after it."""
    move = np.array(report.samples.move)
    for hold, during in zip(report.holds, ("take done", "put blank"), strict=True):
        there = np.isfinite(hold.report.samples.swing_margin)
        own = move[hold.first : hold.first + there.size]
        assert there[own == during].all()


def test_a_faster_index_fails_for_both(job):
    bare = tuple(replace(phase, pick=None, nest=None) for phase in (*BLANK_PHASES, *DONE_PHASES))
    fast = replace(job, trajectory=program(index=0.1), picks={}, nests={}, phases=bare)
    quick = gm.check_job(fast, checks=["hold"])
    assert [hold.verdict for hold in quick.holds] == ["fail", "fail"]
    assert {(f.hold, f.check) for f in quick.findings} == {("1 blank on A", "hold"), ("2 done on B", "hold")}
    t = quick.samples.t
    for check in quick.checks:
        assert t[check.at.sample] == check.at.t


def test_poses_of_the_tool_tell_as_much_as_joints(job, report):
    """The program, and a recording of it, as poses of the tool frame, rates estimated: as joints with their rates."""
    bare = tuple(replace(phase, pick=None, nest=None) for phase in (*BLANK_PHASES, *DONE_PHASES))
    tool = ProgramMotion.of(job.trajectory, job.robot).at
    poses = gm.PoseTrajectory(t=tool.t, position=tool.position, rotation=tool.rotation, moves=job.trajectory.moves)
    run = replace(poses, t=poses.t + 3.0, source="recording")
    made = replace(job, trajectory=poses, recording=run, stop=None, picks={}, nests={}, phases=bare)
    for hold, joints in zip(gm.check_job(made, checks=["hold", "recorded"]).holds, report.holds, strict=True):
        found = {check.check: check for check in hold.report.checks}
        assert {str(check.verdict) for check in found.values()} == {"pass"}
        asked = figures(joints.report)["hold"][0]
        assert [found[name].value for name in ("hold", "recorded")] == pytest.approx([asked, asked], rel=1e-3)


def test_holds_are_alike_only_with_the_same_on_the_other_stations(job):
    """What is judged once counts for another hold where the flange carries the same there, to rounding."""
    own = job.stations["A"]
    motion = with_fastest(ProgramMotion.of(own.trajectory, own.robot))
    (window,) = windows(own, job.holds[:1], motion, ())
    n, body = motion.at.samples, {"mass": 0.2, "com": np.array([0.0, 0.1, 0.0]), "inertia": np.eye(3)}
    none = {"sure": np.zeros((6, n)), "at": np.zeros(0, dtype=int), "instants": np.zeros((6, 0))}
    there = Aboard(**body, **none, hangs=np.arange(n) > 900, contact=np.ones((6, n)))
    alike = Alike()
    alike.keep(replace(window.job, aboard=(there,)), window.motion, "blank", 7)

    def found(*aboard, **changes):
        return alike.find(replace(window.job, aboard=aboard, **changes), window.motion, "blank")

    assert found(there) == 7
    assert found(replace(there, contact=np.ones((6, n)) * (1 + 1e-12))) == 7
    assert found() is None
    assert found(there, station="B") is None
    different = {"mass": 0.21, "hangs": np.arange(n) > 899, "contact": np.ones((6, n)) * 1.001, "com": np.zeros(3)}
    assert [found(replace(there, **{name: value})) for name, value in different.items()] == [None] * 4


def test_every_report_says_the_station(report):
    assert "hold 1 blank on A" in report_glance(report) or "hold 2 done on B" in report_glance(report)
    tree = json.loads(json.dumps(report_tree(report, samples=True)))
    assert [hold["station"] for hold in tree["holds"]] == ["A", "B"]
    schema = json.loads((resources.files("gripmargin.files") / "schemas" / SCHEMA_NAME).read_text(encoding="utf-8"))
    jsonschema.validate(tree, schema, jsonschema.Draft202012Validator)
    assert any(item["check"] == "stations" for item in tree["not_checked"])
    assert sum("gripper is taken as rigid" in sentence for sentence in report.assumed) == 2
    assert set(tree["samples"]["station"]) == {"A", "B"}
    cases = ET.fromstring(gm.junit_xml([gm.Judgement(job_file="job.toml", report=report)]))  # noqa: S314 - our own
    names = {case.get("name") for case in cases.iter("testcase")}
    assert {"hold 1 blank on A, swing", "hold 2 done on B, swing"} <= names
    line = head_of_holds(report)
    assert "by station, from the top: A, B" in line
    assert 'viewBox="0 0 1000 92"' in line
    worse = json.loads(json.dumps(tree).replace('"1 blank on A"', '"1 blank on C"'))
    assert not compare([report], Baseline(jobs={"exchange": earlier_job(worse, "")})).passed
    assert compare([report], Baseline(jobs={"exchange": earlier_job(tree, "")})).passed


def test_samples_of_the_program_are_those_of_the_part_nearest_to_its_limits(report):
    samples = report.samples
    assert samples.t.size == len(samples.station) == len(samples.phase)
    both = np.array(samples.move) == "index"
    own = {
        hold.station: hold.report.samples.governing[np.arange(samples.t.size)[both] - hold.first]
        for hold in report.holds
    }
    np.testing.assert_array_equal(samples.governing[both], np.minimum(own["A"], own["B"]))
    for i in np.flatnonzero(both)[::40]:
        assert samples.governing[i] == own[samples.station[i]][i - np.flatnonzero(both)[0]]
