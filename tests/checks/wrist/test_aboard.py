"""The load at the flange of a gripper with stations: beside Pinocchio, by closed forms, and where it is bounded."""

from dataclasses import replace

import numpy as np
import pinocchio
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.wrist.aboard import of_hold
from gripmargin.checks.wrist.bodies import laden
from gripmargin.workcell.aboard import Aboard
from support.cycles import NEST
from support.exchanged import BLANK_PHASES, DONE_PHASES, QUARTER, STATIONS, exchange, gripper, program

G = 9.80665
FLANGE = gm.Flange(payload=3.0, peak_force=500.0, peak_moment=[20.0], moment=[20.0], inertia=[0.1])
CARRIED = (replace(BLANK_PHASES[1], part="blank"), replace(DONE_PHASES[1], part="done"))  # without any contact
BARE = tuple(replace(phase, pick=None, nest=None) for phase in (*BLANK_PHASES, *DONE_PHASES))


def flange(job):
    """The result of the flange of each hold."""
    report = gm.check_job(replace(job, flange=FLANGE), checks=["flange"])
    return [next(check for check in hold.report.checks if check.check == "flange") for hold in report.holds]


def asked(found, kind, field="asked"):
    (entry,) = [each for each in found.details["limits"] if each["limit"] == kind]
    return entry[field]


def whole(job, parts):
    """Three slides and the hub in Pinocchio, with the gripper and some parts fixed to it."""
    model, at = pinocchio.Model(), 0
    unit = pinocchio.SE3.Identity()
    for joint in (
        pinocchio.JointModelPX(),
        pinocchio.JointModelPY(),
        pinocchio.JointModelPZ(),
        pinocchio.JointModelRY(),
    ):
        at = model.addJoint(at, joint, unit, str(model.njoints))
    model.gravity.linear = np.array([0.0, 0.0, -G])
    own = job.gripper
    model.appendBodyToJoint(at, pinocchio.Inertia(own.mass, own.com, own.inertia), unit)
    for part, frame in parts:
        body = pinocchio.Inertia(part.mass, part.com, part.inertia)
        model.appendBodyToJoint(at, body, pinocchio.SE3(frame[:3, :3], frame[:3, 3]))
    return model


def test_loads_of_both_parts_add_up_as_in_pinocchio():
    """Newton and Euler for the whole tree by Pinocchio's RNEA, over the samples at which both parts hang.

    Rates are given, so nothing but the rises between samples is beyond the largest sample.
    """
    job = exchange(trajectory=program(index=0.4), picks={}, nests={}, phases=CARRIED)
    way, both = job.trajectory, ((job.parts["blank"], STATIONS["A"]), (job.parts["done"], STATIONS["B"]))
    model = whole(job, both)
    data = model.createData()
    there = np.flatnonzero(np.array(way.moves) == "index")
    effort = np.array(
        [pinocchio.rnea(model, data, *(np.array(rows[i]) for rows in (way.q, way.qd, way.qdd))) for i in there]
    )
    found = flange(job)
    assert asked(found[0], "peak_moment") == pytest.approx(np.abs(effort[:, 3]).max(), rel=1e-9)
    assert asked(found[0], "peak_force") == pytest.approx(np.linalg.norm(effort[:, :3], axis=1).max(), rel=1e-9)
    inertia = pinocchio.crba(model, data, np.array(way.q[there[0]]))[3, 3]
    assert asked(found[0], "inertia") == pytest.approx(inertia, rel=1e-9)
    assert asked(found[0], "payload") == pytest.approx(2.5)
    for kind in ("payload", "inertia", "peak_moment", "peak_force"):
        assert asked(found[1], kind) == pytest.approx(asked(found[0], kind), rel=1e-9)
        assert asked(found[0], kind, "asked_most") <= 1.05 * asked(found[0], kind)


def test_a_press_of_one_station_is_in_the_flange_of_the_hold_on_the_other():
    """Winkler's layer, closed form: 2 pads of 30 x 30 mm at 0.1 N/mm^3, pressed by 1 mm, push with 180 N.

    The gripper and the blank on it weigh against that. Station B lies 20 mm beside the axis of the hub, so the press
    turns about that axis as well.
    """
    side = gm.pose((0.0, 0.0, 0.02))
    frames = {"A": STATIONS["A"], "B": side @ STATIONS["B"]}
    hub = replace(gripper(), stations=tuple(gm.Station(name=n, pose_in_tool=at) for n, at in frames.items()))
    aside = {"chuck": gm.Pick(face=gm.pose((-0.01, 0.02, 0.0))), "magazine": exchange().picks["magazine"]}
    job = exchange(
        gripper=hub,
        picks=aside,
        trajectory=program(deeper=0.8e-3),
        nests={},
        phases=(*BLANK_PHASES[:2], *DONE_PHASES[:2]),
    )
    job = replace(job, phases=tuple(replace(phase, nest=None) for phase in job.phases))
    found = flange(job)
    press = 2 * 0.03**2 * 1e8 * 1e-3
    blank, own = job.parts["blank"], job.gripper
    assert asked(found[0], "peak_force") == pytest.approx(press - (own.mass + blank.mass) * G, rel=1e-5)
    turn = gm.pose(rpy=(0.0, -QUARTER, 0.0))[:3, :3]  # of the hub, with B down
    com = turn @ (STATIONS["A"] @ [*blank.com, 1.0])[:3]
    lever = (turn @ frames["B"][:3, 3])[0]
    moment = own.mass * G * (turn @ own.com)[0] + blank.mass * G * com[0] - press * lever
    assert asked(found[0], "peak_moment") == pytest.approx(abs(moment), rel=1e-5)
    for kind in ("peak_force", "peak_moment", "moment"):
        assert asked(found[1], kind) == pytest.approx(asked(found[0], kind), rel=1e-9)
    assert found[0].details.limits[1].asked_least == pytest.approx(asked(found[0], "peak_force"), rel=1e-9)  # surely
    sentences = " ".join(gm.check_job(replace(job, flange=FLANGE), checks=["flange"]).assumed)
    assert "not known, for it could not be followed" not in sentences


def aboard(n, **given):
    none = {"contact": np.zeros((6, n)), "sure": np.zeros((6, n)), "at": np.zeros(0, dtype=int)}
    body = {"mass": 1.0, "com": np.zeros(3), "inertia": np.eye(3) * 1e-3, "instants": np.zeros((6, 0))}
    return Aboard(**(none | body | {"hangs": np.zeros(n, dtype=bool)} | given))


def test_parts_that_change_hands_may_hang_together_between_two_samples():
    one, other = np.arange(6) < 3, np.arange(6) >= 3
    carried = laden(gripper(), (aboard(6, hangs=one), aboard(6, hangs=other)))
    alone = [(np.flatnonzero(each.here).tolist(), np.flatnonzero(each.beside).tolist()) for each in carried]
    assert ([0, 1, 2], [3]) in alone
    assert ([3, 4, 5], [2]) in alone
    (together,) = [each for each in carried if each.body.mass == pytest.approx(4.0)]
    assert np.flatnonzero(together.beside).tolist() == [2, 3]
    assert not together.here.any()


def test_a_pull_that_peaks_between_samples_is_bounded_closely():
    """Pads pulled straight off let go at pull-off stress times area, a uniform stress (any text): 54 N here.

    The tool moves by half of the way to there from sample to sample: the largest pull at one is less.
    """
    lever = 0.02  # of station A beside the axis of the hub
    frames = {"A": gm.pose((lever, 0.0, 0.0)) @ STATIONS["A"], "B": STATIONS["B"]}
    hub = replace(gripper(), stations=tuple(gm.Station(name=n, pose_in_tool=at) for n, at in frames.items()))
    chuck = {"chuck": gm.Nest(face=gm.pose((lever, 0.0, 0.0)), **NEST)}
    job = exchange(gripper=hub, phases=(CARRIED[0], BLANK_PHASES[2], CARRIED[1]), picks={}, nests=chuck)
    done, own, pull = job.parts["done"], job.gripper, 3e4 * 2 * 0.03**2
    com = (own.mass * own.com + done.mass * (frames["B"] @ [*done.com, 1.0])[:3]) / (own.mass + done.mass)
    weight = (own.mass + done.mass) * G
    truth = {"peak_force": pull + weight, "moment": pull * lever + weight * np.hypot(com[0], com[2])}
    found = flange(job)
    for kind, most in truth.items():
        for each in found:
            assert asked(each, kind) < 0.95 * most
            assert 1.0 - 1e-6 <= asked(each, kind, "asked_most") / most <= 1.3
    assert found[0].details.limits[1].asked_least < 0.6 * truth["peak_force"]  # it may pull less


def test_contact_counts_where_the_part_does_not_hang():
    """Where it does, its weight is what the pads carry."""
    job = exchange()
    own = job.stations["A"]
    case = work_out(job.holds[0].job(own))
    found = of_hold(case)
    assert found.hangs.any()
    assert not found.contact[:, found.hangs].any()
    assert not found.hangs[found.at].any()
    pressed = np.array(case.job.trajectory.moves) == "take blank"
    assert found.contact[2, pressed].min() == pytest.approx(-2 * 0.03**2 * 1e8 * 2e-4, rel=1e-4)  # Winkler's layer
    assert found.unfollowed == ""


def test_a_force_on_the_part_of_another_station_is_bounded_closely():
    """Beside the hold on which it acts, where it is taken in exactly."""
    pull = gm.Process(
        station="B", moves=("index",), force=[0, 0, -40.0], at=[0, 0, 0.004], frame="world", shape="ramp", rise=0.4
    )
    other, own = flange(exchange(phases=CARRIED, picks={}, nests={}, process=(pull,)))
    for kind in ("peak_force", "peak_moment", "moment"):
        assert asked(other, kind) == pytest.approx(asked(own, kind), rel=0.3)
        assert 1.0 - 1e-9 <= asked(other, kind, "asked_most") / asked(own, kind, "asked_most") <= 1.3
    assert asked(other, "peak_force") > 40.0 + 2.4 * G


def test_a_press_that_was_not_followed_leaves_forces_and_moments_undecided_and_the_payload_not():
    """The finished part is taken without a `[pick]`, while the blank hangs: nothing bounds how hard it is pressed."""
    job = exchange(phases=(*CARRIED[:1], *BARE[3:5]), picks={}, nests={}, accept=("never_released",))
    report = gm.check_job(replace(job, flange=FLANGE), checks=["flange"])
    (finding, *_) = report.findings
    assert {str(hold.verdict) for hold in report.holds} == {"undecided"}
    assert [str(remedy.text) for remedy in finding.remedies] == [
        "give [pick] and [nest] of each part, so that press and release can be followed"
    ]
    short = {each.limit for each in finding.worst.short}
    assert short == {"peak_force", "peak_moment", "moment"}
    assert any("not known, for it could not be followed: " in sentence for sentence in report.assumed)
    pressed = np.array(job.trajectory.moves) == "take done"
    assert report.findings[0].start >= job.trajectory.t[pressed][0]
    assert report.findings[0].end <= job.trajectory.t[pressed][-1] + 0.02
    assert gm.check_job(replace(job, flange=gm.Flange(payload=3.0)), checks=["flange"]).passed


def test_what_falls_short_for_sure_fails_beside_a_press_that_was_not_followed():
    job = exchange(phases=(*CARRIED[:1], *BARE[3:5]), picks={}, nests={}, accept=("never_released",))
    weak = gm.Flange(payload=3.0, peak_force=10.0)
    report = gm.check_job(replace(job, flange=weak), checks=["flange"])
    assert report.verdict == "fail"
    assert "peak_force" in {each.limit for each in report.findings[0].worst.short}
