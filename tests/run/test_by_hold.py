"""A program of several holds: each is judged as a job of one part, and the report says which does what."""

import json
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from importlib import resources

import jsonschema
import numpy as np
import pytest

import gripmargin as gm
from gripmargin.files.report_file import Baseline, earlier_job
from gripmargin.reports.as_glance import report_glance
from gripmargin.reports.as_json import report_tree
from gripmargin.reports.schema import SCHEMA_NAME
from gripmargin.run.baseline import compare
from support.cycles import LABELS, NEST, kit

PICK, LEFT = np.zeros(3), np.array([0.3, 0.0, 0.0])
SLOW, MIDDLE, HASTY = (PICK, LEFT), (PICK, LEFT, {"over": 0.9}), (PICK, LEFT, {"over": 0.12})
UP = np.array([0.0, 0.0, 0.2])
BARE = {"pick": None, "nest": None}  # without what takes time: presses and releases


def figures(report):
    """What each check comes to; times are those of a program and not looked at."""
    return {
        check.check: [np.nan if figure is None else figure for figure in (check.value, check.low, check.high)]
        for check in report.checks
    }


@pytest.fixture(scope="module")
def ones():
    return [gm.check_job(kit(cycle)) for cycle in (SLOW, HASTY)]


@pytest.fixture(scope="module")
def several():
    return gm.check_job(kit(SLOW, HASTY, SLOW, HASTY))


def test_a_program_of_cycles_is_programs_of_one(ones, several):
    slow, hasty = ones
    assert slow.passed
    assert [str(hold.verdict) for hold in several.holds] == ["pass", "fail", "pass", "fail"]
    for hold, one in zip(several.holds, (slow, hasty, slow, hasty), strict=True):
        assert figures(hold.report) == {
            name: pytest.approx(values, rel=1e-9, nan_ok=True) for name, values in figures(one).items()
        }
        assert [f.remedy for f in hold.report.findings] == [f.remedy for f in one.findings]
    assert several.verdict == "fail"


def test_permuted_cycles_give_permuted_figures():
    cycles = [(PICK, LEFT, {"over": over}) for over in (0.5, 0.9, 0.3)]
    first, again = (gm.check_job(kit(*(cycles[i] for i in order), **BARE)) for order in ((0, 1, 2), (2, 0, 1)))
    margins = [hold.report.checks[0].low for hold in first.holds]
    assert [hold.report.checks[0].low for hold in again.holds] == pytest.approx(
        [margins[i] for i in (2, 0, 1)], rel=1e-9
    )
    assert len({f"{margin:.3f}" for margin in margins}) == 3


def test_the_worst_of_each_check_and_all_findings_say_their_hold(several):
    hold = next(check for check in several.checks if check.check == "hold")
    assert hold.hold in ("2", "4")  # which are equal but for rounding
    assert hold.verdict == "fail"
    assert {finding.hold for finding in several.findings} == {"2", "4"}
    t = several.samples.t
    for check in several.checks:
        assert t[check.at.sample] == check.at.t
    for finding in several.findings:
        assert t[finding.worst["sample"]] == finding.worst["t"]
    assert t.size == several.holds[-1].first + several.holds[-1].report.samples.t.size
    assert (np.diff(t) > 0).all()
    np.testing.assert_allclose(several.samples.hold_margin[hold.at.sample], hold.value, rtol=1e-9)


def test_holds_that_differ_in_time_and_place_alone_are_judged_once():
    """A pallet that is passed over in equal steps; the first and the last cycle begin and end the program."""
    steps = {"pick": replace(kit(SLOW).pick, step=[0, 0.01, 0]), "nest": None}
    way = np.array([0.0, 0.01, 0.0])
    homes = [(PICK + k * way, LEFT + k * way, {"home": PICK + (k + 1) * way + UP}) for k in range(5)]
    report = gm.check_job(kit(*homes, start=PICK + UP, **steps))
    assert [hold.like for hold in report.holds] == [None, None, "2", "2", None]
    start, pick = homes[1][2]["home"], gm.Pick(face=gm.pose(2 * way))
    alone = gm.check_job(kit(homes[2], start=start, pick=pick, nest=None))
    assert figures(report.holds[2].report) == {
        name: pytest.approx(values, rel=1e-7, nan_ok=True) for name, values in figures(alone).items()
    }
    t, position = report.samples.t, report.samples.position
    between = [(t >= hold.start) & (t <= hold.end) for hold in report.holds[1:4]]
    apart = [position[later][::50] - position[between[0]][::50] for later in between[1:]]
    np.testing.assert_allclose(apart[0], np.broadcast_to(way, apart[0].shape), atol=1e-9)
    np.testing.assert_allclose(apart[1], np.broadcast_to(2 * way, apart[1].shape), atol=1e-9)


@pytest.mark.parametrize("change", [{"press": 2e-4 + 1e-8}, {"over": 1.505}, {"labels": None}])
def test_holds_that_differ_at_all_are_judged_by_themselves(change):
    if change == {"labels": None}:
        change = {"labels": ("touch", "press", "off", "over", "seat", "leave", "way home")}
    report = gm.check_job(kit(SLOW, SLOW, (PICK, LEFT, change), SLOW, **BARE))
    assert report.holds[2].like is None


@pytest.mark.parametrize(
    ("column", "off", "alike"),
    [
        ("acceleration", 0.8e-9, True),
        ("acceleration", 1.5e-9, False),
        ("velocity", 0.8e-9, True),
        ("velocity", 1.5e-9, False),
        ("position", 1.5e-9, False),
        ("t", 1.5e-9, False),
    ],
)
def test_how_much_two_holds_may_differ_to_be_the_same(column, off, alike):
    """One figure of the third cycle, by a share of the largest of its kind."""
    made = kit(SLOW, SLOW, SLOW, SLOW, **BARE)
    own = made.trajectory
    changed, at = getattr(own, column).copy(), 2 * ((own.samples - 1) // 4) + 700
    row = changed if column == "t" else changed[:, 0]
    row[at] += off * np.abs(changed).max()
    report = gm.check_job(replace(made, trajectory=replace(own, **{column: changed})), checks=["hold"])
    assert report.holds[2].like == ("2" if alike else None)


@pytest.mark.parametrize(("off", "alike"), [(0.8e-9, True), (1.5e-9, False)])
def test_how_far_a_place_may_be_off_to_be_the_same(off, alike):
    """As above, by a share of the way."""
    tray = gm.Pick(face=np.eye(4), places=[[0, 0, 0], [0, 0, 0], [0.3 * off, 0, 0], [0, 0, 0]])
    report = gm.check_job(kit(SLOW, SLOW, SLOW, SLOW, pick=tray, nest=None), checks=["hold"])
    assert report.holds[2].like == ("2" if alike else None)


def test_a_pick_whose_moves_no_phase_names_does_not_pass():
    """They may be named as free, or accepted: it is then the user who says that nothing is taken there."""
    other = tuple(f"other {label}" for label in LABELS)
    made = kit(SLOW, (PICK, LEFT, {"labels": other}))
    report = gm.check_job(made)
    assert [cause.code for cause in report.causes] == ["unnamed_moves"]
    assert {str(check.verdict) for check in report.checks} == {"undecided"}
    free = replace(made, phases=(*made.phases, gm.Phase(kind="free", moves=other)))
    for meant in (free, replace(made, accept=("unnamed_moves",))):
        assert gm.check_job(meant).passed


OTHER = tuple(f"other {label}" for label in LABELS)
FAR = np.array([1.2, -0.9, 0.0])


@pytest.mark.parametrize(("height", "named"), [(0.0, False), (-0.05, True), (0.01, True)])
def test_an_unnamed_pick_far_from_the_others_on_a_pallet_does_not_pass(height, named):
    """Pads that come down on its plane anywhere; where they go deeper, or not as far, nothing is taken there."""
    there = FAR + np.array([0.0, 0.0, height])
    made = kit(SLOW, (there, there, {"labels": OTHER}), **BARE)
    made = replace(made, pick=kit(SLOW).pick)
    assert [cause.code for cause in gm.check_job(made, checks=["hold"]).causes] == ([] if named else ["unnamed_moves"])


def test_moves_that_pass_below_a_pallet_take_nothing_from_it():
    """Straight through its plane at speed, just below it: to a place at rest that lies deeper."""
    deep = FAR - np.array([0.0, 0.0, 0.3])
    made = kit(SLOW, (deep, deep + 0.4 * np.eye(3)[0], {"labels": OTHER}), **BARE)
    assert not gm.check_job(replace(made, pick=kit(SLOW).pick), checks=["hold"]).causes


def test_full_speed_of_a_stop_is_that_of_the_whole_program():
    """The slow hold brakes as hard as from the hasty one's speed, which is stated here (time of a stop, over speed)."""
    made = kit(SLOW, HASTY, stop=gm.Stop(time=0.1, category=1), **BARE)
    fastest = float(np.linalg.norm(made.trajectory.velocity[:, :3], axis=1).max())
    found, stated = (
        gm.check_job(replace(made, stop=stop), checks=["stop"])
        for stop in (made.stop, replace(made.stop, speed=fastest))
    )
    for one, other in zip(found.holds, stated.holds, strict=True):
        assert figures(one.report) == {name: pytest.approx(due) for name, due in figures(other.report).items()}


def test_pads_get_dirtier_with_each_pick():
    """A share lost with each pick, compounding: margins of a rigid part on wholly bonded pads go with it."""
    made = kit(SLOW, SLOW, SLOW, SLOW, **BARE)
    pads = [replace(pad, material=replace(pad.material, fouling_per_cycle=0.1)) for pad in made.gripper.pads]
    report = gm.check_job(replace(made, gripper=replace(made.gripper, pads=pads, cycles_since_cleaning=1)))
    clean = gm.check_job(kit(SLOW, **BARE)).checks[0].low
    lows = [hold.report.checks[0].low for hold in report.holds]
    assert lows == pytest.approx([clean * 0.9**k for k in (1, 2, 3, 4)], rel=1e-9)
    assert [hold.like for hold in report.holds] == 4 * [None]


class TestNotPassed:
    """Programs with one hold that loses its part."""

    def test_a_heavy_part_among_light_ones(self):
        part = kit(SLOW).part
        phases = [replace(each, part=name) if each.kind == "preload" else each
                  for name in ("light", "heavy", "light again") for each in kit(SLOW).phases]  # fmt: skip
        parts = {"light": part, "heavy": replace(part, mass=40 * part.mass), "light again": part}
        report = gm.check_job(
            kit(SLOW, SLOW, SLOW, phases=phases, part=None, parts=parts, **BARE, accept=("density", "inertia"))
        )
        assert [(hold.name, str(hold.verdict)) for hold in report.holds] == [
            ("1 light", "pass"), ("2 heavy", "fail"), ("3 light again", "pass")]  # fmt: skip
        assert not report.passed

    @pytest.mark.parametrize("place", ["pick", "nest"])
    def test_a_stack_that_goes_down_without_the_program(self, place):
        sunk = replace(getattr(kit(SLOW), place), step=[0, 0, -0.004])
        report = gm.check_job(kit(SLOW, SLOW, **{place: sunk}))
        assert [hold.verdict == "pass" for hold in report.holds] == [True, False]

    def test_dirt_that_only_the_last_picks_feel(self):
        made = kit(SLOW, SLOW, SLOW, targets=gm.Targets(hold=14.0, swing=0.5), **BARE)
        pads = [replace(pad, material=replace(pad.material, fouling_per_cycle=0.1)) for pad in made.gripper.pads]
        report = gm.check_job(replace(made, gripper=replace(made.gripper, pads=pads)))
        assert [str(hold.verdict) for hold in report.holds] == ["pass", "pass", "fail"]


def test_a_part_is_let_go_on_a_fixture_and_taken_again_by_another_face():
    """The fixture is a nest, and then a pick, of the same part with another description."""
    part = kit(SLOW).part
    phases = [
        replace(phase, **names)
        for names_of in ({"preload": {"part": "plate", "pick": "tray"}, "release": {"nest": "fixture"}},
                         {"preload": {"part": "plate_turned", "pick": "fixture"}, "release": {"nest": "box"}})
        for phase in kit(SLOW).phases for names in (names_of.get(phase.kind, {}),)
    ]  # fmt: skip
    report = gm.check_job(
        kit(
            (PICK, LEFT),
            (LEFT, PICK),
            phases=phases,
            part=None,
            parts={"plate": part, "plate_turned": replace(part, com=[0, 0, 0.006])},
            pick=None,
            picks={"tray": gm.Pick(face=np.eye(4)), "fixture": gm.Pick(face=gm.pose(LEFT))},
            nest=None,
            nests={"fixture": gm.Nest(face=gm.pose(LEFT), **NEST), "box": gm.Nest(face=np.eye(4), **NEST)},
        )
    )
    assert report.passed
    assert [(hold.name, hold.pick, hold.nest) for hold in report.holds] == [
        ("1 plate", "tray", "fixture"), ("2 plate_turned", "fixture", "box")]  # fmt: skip


def test_a_recording_is_placed_once_beside_the_whole_program():
    """Two equal cycles look alike: which of the recorded ones belongs to which only the whole tells."""
    made = kit(SLOW, HASTY, **BARE)
    own = made.trajectory
    recorded = gm.PoseTrajectory(t=own.t + 3.25, position=own.position, rotation=own.rotation)
    report = gm.check_job(replace(made, recording=recorded), checks=["recorded"])
    found = [hold.report.checks[0] for hold in report.holds]
    assert [check.details["offset"] for check in found] == pytest.approx(2 * [3.25], abs=1e-6)
    assert [check.verdict == "pass" for check in found] == [True, False]


def test_a_recording_of_some_of_equal_holds_is_not_taken_for_one_of_all():
    """It covers the second alone, which a hold by itself would find as its own: the first was not recorded."""
    made = kit(SLOW, SLOW, **BARE)
    own = made.trajectory
    part = own.t >= 0.499 * own.t[-1]
    recorded = gm.PoseTrajectory(t=own.t[part], position=own.position[part], rotation=own.rotation[part])
    report = gm.check_job(replace(made, recording=recorded), checks=["recorded"])
    found = [hold.report.checks[0] for hold in report.holds]
    assert [str(check.verdict) for check in found] == ["undecided", "undecided"]
    assert "covers not the whole carry of the program" in found[1].text
    placed = gm.check_job(replace(made, recording=recorded, recording_offset=0.0), checks=["recorded"])
    assert [str(hold.report.checks[0].verdict) for hold in placed.holds] == ["undecided", "pass"]


@pytest.mark.parametrize("ask", [gm.tune, gm.limits, gm.compare_motion])
def test_what_is_of_one_hold_says_so(ask):
    made = kit(SLOW, SLOW, **BARE)
    made = replace(made, recording=made.trajectory) if ask is gm.compare_motion else made
    with pytest.raises(gm.InputError, match=r"a program of 2 holds .* make a job of the hold in question"):
        ask(made)


def test_reports_say_it_by_hold(several):
    tree = report_tree(several)
    schema = json.loads((resources.files("gripmargin.files") / "schemas" / SCHEMA_NAME).read_text(encoding="utf-8"))
    jsonschema.validate(tree, schema, jsonschema.Draft202012Validator)
    assert [hold["name"] for hold in tree["holds"]] == list("1234")
    assert "holds" not in report_tree(several.holds[0].report)
    glance = report_glance(several)
    assert len(glance.splitlines()) < 30
    assert "4 holds: 2 pass, 2 fall short" in glance
    assert "The worst: hold " in glance
    assert "slow move 'over'" in glance
    text = gm.report_text(several)
    assert text.count("slow move 'over' to") == 2
    assert text.count("The worst: hold ") == text.count("\n  Hold ") == 1
    judged = gm.Judgement(job_file="kit.toml", report=several)
    cases = ET.fromstring(gm.junit_xml([judged])).findall(".//testcase")  # noqa: S314 - our own
    assert len(cases) == 4 * len(several.holds[0].report.checks)
    assert {case.get("name") for case in cases if case.find("failure") is not None} >= {"hold 2, hold", "hold 4, hold"}
    page = gm.report_html(several)
    assert page.count('data-verdict="fail"') == 2
    assert re.findall(r'<a href="#(job[0-9])"><title>', page) == ["job1", "job2", "job3", "job4"]


def test_what_got_worse_is_said_by_hold(several):
    """Approved was one in which the second hold did what the first one does, and the last was like it."""
    tree = json.loads(json.dumps(report_tree(several)))
    first, second, _, last = tree["holds"]
    assert compare([several], Baseline(jobs={"plate": earlier_job(tree, "")})).passed
    second["checks"], last["like"] = first["checks"], "2"
    tree["findings"] = [finding for finding in tree["findings"] if finding["hold"] not in ("2", "4")]
    worse = compare([several], Baseline(jobs={"plate": earlier_job(tree, "")})).worse
    assert {item.check.split(",")[0] for item in worse} == {"hold 2", "hold 4"}
    assert {item.kind for item in worse} == {"value", "low", "verdict", "finding"}
