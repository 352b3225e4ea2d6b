"""Way points are judged under every time law, and the worst counts."""

import json
import re

import jsonschema
import numpy as np
import pytest

import gripmargin as gm
from gripmargin.reports.schema import report_schema

FILM = gm.PadMaterial(pull_off_stress=50e3, shear_strength=50e3, normal_stiffness=1e8, shear_stiffness=3.3e7)
HOLDS = 50e3 * 0.05**2  # [N]
G = 9.80665
MOVE = {"kind": "line", "speed": 9.0, "acceleration": 2.0}


def job(hold=2.0, blend=0.0):
    """A plate is let down by 0.2 m and lifted again on a pad of 50 x 50 mm; tool z points down."""
    heights = [(0.2, {}), (0.0, MOVE | {"blend": blend, "move": "down"}), (0.2, MOVE | {"move": "up"})]
    points = tuple(gm.Waypoint(pose=gm.pose((0.0, 0.0, z), (np.pi, 0.0, 0.0)), **more) for z, more in heights)
    return {
        "trajectory": gm.Waypoints(points),
        "gripper": gm.Gripper(pads=(gm.Pad.rectangle("pad", FILM, [0.05, 0.05]),)),
        "part": gm.Part(mass=0.4, com=[0, 0, 0.002], inertia=[3e-4, 3e-4, 6e-4, 0, 0, 0], face="plane", rigid=True),
        "targets": gm.Targets(hold=hold, swing=0.01),
    }


@pytest.fixture(scope="module")
def blended():
    """Passes stopping at the bottom, and falls short where both moves lie over each other there."""
    return gm.check(**job(hold=24.0, blend=0.1))


def test_margins_by_hand(blended):
    # the given acceleration is the peak of every law: m (g + a) against what the pad holds; over each other twice a
    by_law = {law.name: law for law in blended.time_laws}
    stopping, corner = HOLDS / (0.4 * (G + 2.0)), HOLDS / (0.4 * (G + 4.0))
    for name in ("trapezoid", "jerk-limited", "quintic"):
        hold = by_law[name].checks[0]
        assert (hold.check, hold.verdict) == ("hold", gm.Verdict.PASS)
        assert hold.share * 24.0 == pytest.approx(stopping, rel=2e-3)
    assert by_law["trapezoid with blends"].checks[0].share * 24.0 == pytest.approx(corner, rel=2e-3)
    # the ramps of half of each move take 2 sqrt(L / a) at the peak and sqrt(2) times that as triangles
    assert by_law["trapezoid"].duration == pytest.approx(4 * np.sqrt(0.2 / 2.0), abs=0.012)
    assert by_law["jerk-limited"].duration == pytest.approx(4 * np.sqrt(2) * np.sqrt(0.2 / 2.0), abs=0.012)


def test_the_worst_counts(blended):
    assert blended.verdict is gm.Verdict.FAIL
    (counts,) = [law for law in blended.time_laws if law.counts]
    assert counts.name == "trapezoid with blends"
    hold = blended.checks[0]
    assert (hold.verdict, hold.at.move) == (gm.Verdict.FAIL, "up")
    assert hold.value == pytest.approx(HOLDS / (0.4 * (G + 4.0)), rel=2e-3)
    assert [law.verdict for law in blended.time_laws if not law.blends] == [gm.Verdict.PASS] * 3
    assert blended.assumed[0].startswith(
        "The time law is assumed: the program is way points, and what is between them is up to the controller. Judged "
        "under trapezoid, jerk-limited and quintic with the given peaks of speed and acceleration, each stopping at "
        "every way point and with its blends; the worst counts: trapezoid with blends."
    )
    # with half of the way left both are at full speed: nearest to the bottom where both have 0.05 m to it
    assert blended.notes[-1] == "With blends the tool passes the ends of moves: of move 1 ('down') by 50.0 mm."


def test_what_was_shown_under_one_law_is_a_hint(blended):
    remedies = [remedy for finding in blended.findings for remedy in finding.remedies]
    assert remedies
    assert not any(remedy.shown for remedy in remedies)
    assert "then it passes" not in gm.report_text(blended)


def test_every_report_says_it(blended):
    text = gm.report_text(blended)
    assert "Time laws tried, each with the least values over their targets" in text
    assert "trapezoid with blends: 0.9" in text
    assert "this one counts" in text
    tree = json.loads(gm.report_json(blended))
    jsonschema.validate(tree, report_schema())
    laws = tree["time_laws"]
    assert [(law["law"], law["blends"]) for law in laws] == [
        (law, blends) for law in ("trapezoid", "jerk-limited", "quintic") for blends in (False, True)
    ]
    assert laws[1]["counts"]
    assert laws[1]["verdict"] == "fail"
    junit = gm.junit_xml([gm.Judgement(job_file="bob.toml", report=blended)])
    assert re.search('name="time law quintic" value="[0-9.]+ s, pass: hold 1.10', junit)
    page = gm.report_html(blended)
    assert "Time laws tried" in page
    assert "trapezoid with blends (counts)" in page


def test_without_blends_there_are_three_and_a_pass_is_one_under_all():
    report = gm.check(**job(hold=24.0))
    assert report.passed
    assert [law.name for law in report.time_laws] == ["trapezoid", "jerk-limited", "quintic"]
    assert "with its blends" not in report.assumed[0]


def test_a_sampled_program_says_nothing_of_laws():
    given = job()
    report = gm.check(**given | {"trajectory": gm.sample_waypoints(given["trajectory"])})
    assert report.time_laws == ()
    assert "Time laws" not in gm.report_text(report) + gm.report_html(report)


def as_job(**more):
    given = job()
    return gm.Job(name="bob", waypoints=given.pop("trajectory"), **given | more)


def test_tuning_refuses_a_law_that_nobody_knows():
    with pytest.raises(gm.InputError) as error:
        gm.tune(as_job())
    assert str(error.value) == (
        "job 'bob': found way points, whose time law is not known, expected a sampled program; write them out under "
        "one time law (gripmargin sample), and tune that program"
    )


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"waypoints": None}, "program: found neither trajectory nor waypoints, expected one of the two"),
        (
            {"phases": (gm.Phase(kind="carry", start=0.0, end=1.0),)},
            "program.phases[0]: found a phase by times, expected moves: with way points its times depend on the "
            "time law",
        ),
        (
            {"recording": gm.sample_waypoints(job()["trajectory"])},
            "program.recording: found a recording beside way points, whose time law is not known, expected none; check "
            "what was recorded by itself: give it as program.trajectory",
        ),
        (
            {"trajectory": gm.PoseTrajectory(t=[0, 1], position=np.zeros((2, 3)), rotation=[np.eye(3)] * 2)},
            "program.waypoints: found way points beside a trajectory, expected one of the two",
        ),
    ],
)
def test_what_does_not_go_with_way_points(more, says):
    given = job()
    fields = {"name": "bob", "waypoints": given.pop("trajectory"), **given, **more}
    with pytest.raises(gm.InputError) as error:
        gm.Job(**fields)
    assert str(error.value) == says
