"""What is called enough leaves no doubt: over every code of what looks wrong, and of what is not known of the part."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks import advice, likely, plausible
from gripmargin.checks.case import work_out

FILM = {"pull_off_stress": 5e4, "shear_strength": 5e4, "normal_stiffness": 1e8, "shear_stiffness": 3.3e7}


@pytest.fixture(scope="module")
def short():
    """A lift in 0.4 s by exact rates that falls short by some per cent: slower, or with stronger pads, it passes."""
    t = np.linspace(0.0, 0.4, 41)
    s = t / 0.4
    law = 10 * s**3 - 15 * s**4 + 6 * s**5, 30 * s**2 * (1 - s) ** 2 / 0.4, 60 * s * (1 - s) * (1 - 2 * s) / 0.4**2
    q, qd, qdd = (0.1 * row[:, None] for row in law)
    job = gm.Job(
        name="lift",
        trajectory=gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd),
        robot=gm.chain_from_axes([np.eye(4)], [(0, 0, 1)], [False], gm.pose(rpy=(np.pi, 0, 0))),
        gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", gm.PadMaterial(**FILM), [0.03, 0.03]),)),
        part=gm.Part(mass=0.1, com=[0, 0, 0.002], inertia=[1e-4, 1e-4, 2e-4, 0, 0, 0], face="plane", rigid=True),
    )
    (hold,) = gm.check_job(job, checks=["hold"]).checks
    return replace(job, targets=gm.Targets(hold=1.1 * hold.low))


def enough(job):
    """What the report of the hold calls enough, and the sentence that does."""
    report = gm.check_job(job, checks=["hold"])
    said = " ".join(finding.remedy for finding in report.findings)
    return {remedy.action for finding in report.findings for remedy in finding.remedies if remedy.shown}, said


@pytest.mark.parametrize("code", [*likely.RULES, *plausible.RULES])
def test_no_change_is_enough_while_the_job_is_in_doubt(short, monkeypatch, code):
    """Whatever it is that looks wrong: stronger pads and a slower move leave it there."""
    rules = likely.RULES if code in likely.RULES else plausible.RULES
    monkeypatch.setitem(rules, code, lambda _: "something is odd")
    actions, said = enough(short)
    assert (actions, "then it passes" in said) == (set(), False)
    assert "raise what the pads hold" in said


@pytest.mark.parametrize(
    ("doubtful", "mended"),
    [({"face": None}, {"face": "plane"}), ({"rigid": False}, {"rigid": True})],
    ids=["a face", "a part"],
)
def test_no_change_is_enough_while_the_part_is_in_doubt(short, doubtful, mended):
    assert enough(replace(short, part=replace(short.part, **doubtful)))[0] == set()
    assert enough(replace(short, part=replace(short.part, **mended)))[0] == {"slow", "strengthen", "larger pads"}


def test_a_change_that_leaves_the_doubt_is_tried_once(short, monkeypatch):
    """More of it leaves the doubt too: slower, larger and stronger pads come to one changed job each."""
    tried = []
    monkeypatch.setattr(advice, "work_out", lambda *job, **how: tried.append(job) or work_out(*job, **how))
    enough(replace(short, part=replace(short.part, face=None)))
    assert len(tried) == 3


def test_a_change_that_takes_the_doubt_away_is_enough(short, monkeypatch):
    """A rule that looks at the strength: what is 1.1 times as strong is not odd any more."""
    weak = lambda case: "odd" if case.whole.patches[0].pad.material.pull_off_stress < 5.4e4 else ""  # noqa: E731
    monkeypatch.setitem(likely.RULES, "pad_material", weak)
    assert enough(short)[0] == {"strengthen"}


def test_what_is_accepted_is_no_doubt(short, monkeypatch):
    monkeypatch.setitem(likely.RULES, "density", lambda _: "something is odd")
    assert enough(replace(short, accept=("density",)))[0] == {"slow", "strengthen", "larger pads"}


def test_a_rest_is_not_slowed(short):
    """0.2 s of the same place before a lift, by positions of four digits whose errors reach into the rest."""
    t = 0.002 * np.arange(301)
    s = np.clip((t - 0.2) / 0.4, 0.0, 1.0)
    q = np.round(0.1 * (10 * s**3 - 15 * s**4 + 6 * s**5), 4)[:, None]
    labels = ("hold",) * 100 + ("lift",) * 201
    report = gm.check_job(
        replace(
            short,
            trajectory=gm.JointTrajectory(t=t, q=q, moves=labels),
            targets=gm.Targets(hold=1.02 * short.targets.hold),
            accept=("scatter",),
        ),
        checks=["hold"],
    )
    rest, lift = report.findings
    assert rest.start < 0.198 < lift.start
    for finding in (rest, lift):
        assert [r.figures["move"] for r in finding.remedies if r.action == "slow" and r.shown] == ["lift"]
