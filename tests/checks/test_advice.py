"""What a report calls enough is enough: each change, done by hand at the printed figures, passes its check.

Changes are read from the JSON and made here, on the programs' own figures, without the code that tried them.
"""

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

import gripmargin as gm
from gripmargin.checks.advice import Change, Trials, ordered
from gripmargin.checks.case import work_out
from gripmargin.checks.hold.check import results as hold_results
from gripmargin.contact import simulation
from gripmargin.contact.press_engine import PressEngine
from gripmargin.contact.simulation import remembering
from gripmargin.files.job_file import read_job
from gripmargin.results.findings import Remedy
from support.carried import CARRIED, Carried, advised, told, verdict
from support.handed import Handed, plate_job

SEEDS = range(5)


@cache
def carried(seed):
    """A job with what is said of it."""
    made = Carried(seed)
    return made, *told(made.job())


@pytest.mark.parametrize("seed", SEEDS)
def test_every_change_of_a_carry_that_is_called_enough_passes(seed):
    made, findings, verdicts = carried(seed)
    assert {finding["check"] for finding in findings} == {name for name, found in verdicts.items() if found != "pass"}
    changes = advised(findings)
    assert changes
    for (check, action), figures in changes.items():
        job = made.job(**CARRIED[action](figures))
        assert verdict(job, check) == "pass", (check, action, figures)


def test_the_changes_of_a_carry_are_of_every_kind():
    """So that the test above looks at all of them."""
    seen = {action for seed in SEEDS for _, action in advised(carried(seed)[1])}
    assert set(CARRIED) - {"better data", "stiffen"} <= seen


def test_a_stiffer_backing_that_is_called_enough_passes():
    """The sensor that swings too far after abrupt starts, on pads of another backing and the same strength."""
    job = read_job(Path(__file__).parents[2] / "trajectories" / "sensor-abrupt.toml")
    findings, _ = told(job, ["swing"])
    (stiffer,) = advised(findings)["swing", "stiffen"]

    def on(factor):
        named = ("normal_stiffness", "shear_stiffness")
        pads = tuple(
            replace(
                pad, material=replace(pad.material, **{name: factor * getattr(pad.material, name) for name in named})
            )
            for pad in job.gripper.pads
        )
        return replace(job, gripper=replace(job.gripper, pads=pads))

    assert verdict(on(stiffer["factor"]), "swing") == "pass"
    assert verdict(on(stiffer["factor"] / 2), "swing") != "pass"


# ---- handovers: (figures of the program, of the job) that fall short, and what is done about it ----

BUCKLED = {"full_preload": 8e3, "overload_pressure": 4e4, "overload_residual": 0.2}
TILT = {"kind": "peel", "hinge": (0.0, 0.015)}
TWIST = {"kind": "torsion", "travel": 0.3}
HANDED = {
    "too deep for the pads": (BUCKLED, TWIST | {"press": 6e-4}, "preload"),
    "too shallow": ({"full_preload": 2e4}, TWIST | {"press": 1e-4}, "preload"),
    "askew": ({"full_preload": 1.2e4}, TWIST | {"press": 3e-4, "tilt": 0.015}, "preload"),
    "too short a rest": ({"min_dwell": 0.6}, TWIST | {"press": 3e-4}, "preload"),
    "too deep for the part": ({"part": {"max_pressure": 1.5e4}}, TWIST | {"seat": 2e-4}, "pressure"),
    "not down": ({}, TWIST | {"above": 0.003}, "release"),
    "straight up": ({}, {}, "release"),
    "twisted too little": ({}, {"kind": "torsion", "travel": 0.02}, "release"),
    "slid too little": ({}, {"kind": "shear", "travel": 2e-4}, "release"),
    "a nest that gives way": ({"nest": {"hold_down": 30.0, "moment": 0.2}}, TWIST, "release"),
    "one pad tilted too little": ({"nest": {"hold_down": 10.0}, "pads": 1}, TILT | {"travel": 0.02}, "release"),
    "pads that are too large": ({"nest": {"hold_down": 14.0, "lateral_force": None, "moment": None}}, {}, "release"),
}  # fmt: skip


def done(given, program, figures):
    """The job with one change done, by its figures."""
    (action, (found, *others)), given, program = figures, dict(given), dict(program)
    handed, job = Handed(plate_job(**given)), {}
    now = {name: program.get(name, getattr(handed, name)) for name in ("press", "seat", "dwell", "above")}
    if action in ("press deeper", "press less", "align", "dwell"):
        for figure in (found, *others):
            where = "seat" if figure.get("during") == "release" else "press"
            now[where] += figure.get("deeper", 0.0) - figure.get("less", 0.0)
        program |= now | {"dwell": now["dwell"] + found.get("longer", 0.0)}
        if "tilt" in found:
            program["tilt"] = found["tilt"]
    elif action == "seat":
        program["above"] = now["above"] - found["lower"]
    elif action in ("travel", "release"):
        program |= {"kind": found["kind"], "travel": found["travel"]}
        if "x" in found:
            program["hinge"] = (found["x"], found["y"])
    elif action in ("hold down", "nest"):
        nest = handed.job.nest
        limits = {name: found[name] for name in ("lateral_force", "moment") if name in found}
        job["nest"] = replace(nest, hold_down=nest.hold_down + found.get("force", 0.0), **limits)
    elif action == "smaller pads":
        handed = Handed(plate_job(**given | {"size": 0.03 * found["factor"]}))
    elif action == "strengthen":
        handed = Handed(plate_job(**given | {"strength": 3e4 * found["factor"]}))
    else:
        raise AssertionError(action)
    return handed.made(**program, **job)


@pytest.mark.parametrize("name", HANDED)
def test_every_change_of_a_handover_that_is_called_enough_passes(name):
    given, program, check = HANDED[name]
    with remembering():  # a change of the nest alone is the same motion
        findings, verdicts = told(Handed(plate_job(**given)).made(**program), [check])
        assert verdicts[check] != "pass"
        changes = advised(findings)
        assert changes
        for (_, action), figures in changes.items():
            assert verdict(done(given, program, (action, figures)), check) == "pass", (action, figures)


def test_a_press_that_buckles_the_fibres_is_made_less_deep():
    """60 kPa on pads of 0.1 N/mm^3 that buckle at 40 kPa: 0.20 mm less; half of it still buckles them."""
    given, program, _ = HANDED["too deep for the pads"]
    findings, _ = told(Handed(plate_job(**given)).made(**program), ["preload"])
    ((less,),) = [figures for (_, action), figures in advised(findings).items() if action == "press less"]
    assert less["less"] == pytest.approx((6e4 - 4e4) / 1e8, abs=1.1e-5)
    assert verdict(Handed(plate_job(**given)).made(**program | {"press": 5e-4}), "preload") == "fail"


def test_changes_of_the_nest_share_the_press(monkeypatch):
    """The press up to the lift is simulated once in all, though changes of the nest are put to the check."""
    given, program, _ = HANDED["too deep for the part"]
    job, begun = Handed(plate_job(**given, pads=1)).made(**program | {"press": 1e-4}), []

    def engine(faces, t, rotation, position, bond, level):
        begun.append(bond is None)
        return PressEngine(faces, t, rotation, position, bond, level)

    monkeypatch.setattr(simulation, "PressEngine", engine)
    findings, _ = told(job, ["pressure"])
    assert [remedy["shown"] for finding in findings for remedy in finding["remedies"]] == [True]
    assert begun.count(True) == 1, begun


def test_what_nothing_helps_is_not_claimed():
    """A part that its weight alone tears off at the target: no speed of its only move is slow enough."""
    made = Carried(0)
    made.targets = gm.Targets(hold=100.0, swing=1e-3)
    findings, _ = told(made.job())
    holds = [finding for finding in findings if finding["check"] == "hold"]
    for finding in holds:
        slow = [remedy for remedy in finding["remedies"] if remedy["action"] in ("slow", "none")]
        assert slow
        assert not any(remedy["shown"] for remedy in slow)
        assert "standstill" in slow[0]["text"]


# ---- the mechanism ----


def sizes(job, factors, tried):
    """Parts so many times as heavy, from the first size on."""
    for factor in factors:
        tried.append(factor)
        yield Change(
            remedy=Remedy(action="lighten", text=f"{factor} of its mass", figures={"factor": factor}),
            job=lambda factor=factor: replace(job, part=replace(job.part, mass=factor * job.part.mass)),
            reached=lambda low: Remedy(action="lighten", text="lighter", figures={"low": low}),
        )


def test_the_least_size_that_passes_is_told_with_what_it_reaches():
    made = Carried(0)
    job = replace(made.job(), targets=gm.Targets(hold=2.0 * gm.check_job(made.job()).checks[0].low, swing=1e-3))
    tried = []
    found = Trials(work_out(job), hold_results, "hold").tried(sizes(job, (0.9, 0.3, 0.2), tried))
    assert tried == [0.9, 0.3]
    assert (found.shown, found.text) == (True, "lighter")
    assert found.figures["low"] >= job.targets.hold


def test_sizes_that_are_hopeless_by_what_one_before_reached_are_not_tried():
    """A margin grows with the third power of a pad's size at most: its section modulus, b h^2 / 6 (Gere, ch. 5)."""
    case, tried = work_out(Carried(0).job()), []
    (reached,) = (result.low for result in hold_results(work_out(case.job)) if result.check == "hold")
    job = replace(case.job, targets=gm.Targets(hold=reached / 0.9))

    def unchanged(size):
        tried.append(size)
        return job

    changes = (
        Change(remedy=Remedy(action="larger pads", text="larger"), job=lambda size=size: unchanged(size), size=size)
        for size in (1.0, 1.02, 1.03, 1.05)
    )
    assert not Trials(case, hold_results, "hold").tried(changes).shown
    assert tried == [1.0, 1.05]


def test_without_a_pass_the_least_size_is_a_hint():
    made = Carried(0)
    job = replace(made.job(), targets=gm.Targets(hold=1e6))
    found = Trials(work_out(job), hold_results, "hold").tried(sizes(job, (0.9, 0.3), []))
    assert (found.shown, found.figures) == (False, {"factor": 0.9})
    assert found.sentence == "would help: 0.9 of its mass"


def test_no_more_jobs_are_tried_than_allowed():
    made = Carried(0)
    job = replace(made.job(), targets=gm.Targets(hold=2.0 * gm.check_job(made.job()).checks[0].low, swing=1e-3))
    found = Trials(work_out(job), hold_results, "hold", most=1).tried(sizes(job, (0.9, 0.3), []))
    assert not found.shown


def test_a_job_on_trial_asks_for_no_advice():
    job = replace(Carried(0).job(), targets=gm.Targets(hold=1e6))
    assert Trials(work_out(job, trial=True), hold_results, "hold").tried(sizes(job, (0.9,), [])) is None


def test_a_change_that_makes_no_sense_is_a_hint():
    def refused():
        raise gm.InputError("there", "this", "that")

    case = work_out(Carried(0).job())
    change = Change(remedy=Remedy(action="lighten", text="less"), job=refused)
    assert not Trials(case, hold_results, "hold").tried([change]).shown


def test_what_was_shown_stands_first():
    hint, shown = Remedy(action="a", text="a"), Remedy(action="b", text="b", shown=True)
    assert ordered([hint, None, shown]) == (shown, hint)
    assert shown.sentence == "b: then it passes"


def test_a_change_may_not_spoil_what_else_has_to_hold():
    made = Carried(0)
    job = replace(made.job(), targets=gm.Targets(hold=1e-3, swing=1e-3))

    def undecided(_):
        return [replace(result, verdict=gm.Verdict.UNDECIDED) for result in hold_results(work_out(job))]

    assert Trials(work_out(job), hold_results, "hold").passes(lambda: job) is not None
    assert Trials(work_out(job), hold_results, "hold", undecided).passes(lambda: job) is None
