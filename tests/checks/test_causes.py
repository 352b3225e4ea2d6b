"""Jobs whose many findings have one cause: it is said first, and what follows from it is not told one by one."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.causes import causes
from gripmargin.checks.meanings import MEANINGS
from gripmargin.contact.pickup import Pickup
from gripmargin.files.job_file import read_job
from gripmargin.reports.as_text import report_text
from gripmargin.results.findings import undecided

DEMO = Path(__file__).parents[2] / "trajectories" / "window.toml"


@pytest.fixture(scope="module")
def window():
    """A pick and place of a plate of 5 mm that passes."""
    job = read_job(DEMO)
    return replace(job, part=replace(job.part, thickness=5e-3))


def lowered(job, **ways):
    """The job with places lower by some ways [m]."""
    places = {}
    for name, way in ways.items():
        place = getattr(job, name)
        face = place.face.copy()
        face[:3, 3] -= way * face[:3, 2]
        places[name] = replace(place, face=face)
    return replace(job, **places)


def pads(job, **figures):
    """The job with other figures of its pads' material."""
    changed = tuple(replace(pad, material=replace(pad.material, **figures)) for pad in job.gripper.pads)
    return replace(job, gripper=replace(job.gripper, pads=changed))


ALL = {"preload", "lift_off", "hold", "swing", "release"}
JOBS = {
    "no tool": (
        lambda job: lowered(job, pick=0.12, nest=0.12),
        "above_the_face",
        "119.8 mm above pick.face and nest.face: is robot.tool missing",
        ALL,
    ),
    "the underside": (
        lambda job: lowered(job, pick=5e-3, nest=5.2e-3),
        "above_the_face",
        "pick.face and nest.face",
        ALL,
    ),
    "two heights": (
        lambda job: lowered(job, pick=0.12, nest=0.3),
        "above_the_face",
        "119.8 mm and 299.8 mm above pick.face and nest.face: check pick.face and nest.face",
        ALL,
    ),
    "no dwell": (
        lambda job: pads(job, min_dwell=30.0),
        "no_bond",
        "the press in the tray leaves no bond",
        {"lift_off", "hold", "swing"},
    ),
}


@pytest.mark.parametrize("name", JOBS)
def test_one_cause_is_said_first_and_what_follows_is_folded(window, name):
    change, code, said, follows = JOBS[name]
    report = gm.check_job(change(window), trial=True)
    (cause,) = report.causes
    assert cause.code == code
    assert said in cause.text
    assert follows <= {*cause.explains}
    assert {check.check for check in report.checks if check.verdict == "pass"}.isdisjoint(cause.explains)
    text = report_text(report)
    told = text[text.index("The cause") : text.index("Not checked")]
    assert "From it follow" in " ".join(told.split())
    assert all(f"  {check:<8} " not in told for check in follows)
    coded = {finding["check"]: finding["code"] for finding in gm.report_tree(report)["findings"]}
    assert coded == {check: code if check in cause.explains else check for check in coded}
    assert {*coded.values()} <= {*MEANINGS}
    assert {code} <= {*coded.values()}


def test_a_nest_at_the_underside_explains_one_result_and_is_left_to_it(window):
    report = gm.check_job(lowered(window, nest=5.2e-3), trial=True)
    assert report.causes == ()
    assert [finding.check for finding in report.findings] == ["release"]
    assert [finding["code"] for finding in gm.report_tree(report)["findings"]] == ["release"]


def test_what_nobody_means_is_said_before_what_fails(window):
    heavy = replace(window, part=replace(window.part, mass=510.0, inertia=1e3 * window.part.inertia))
    report = gm.check_job(heavy, trial=True)
    assert report.verdict == "fail"
    assert [cause.code for cause in report.causes] == ["density"]
    text = report_text(report)
    assert 0 < text.index("heavier than any metal") < text.index("Not checked")
    assert text.count("heavier than any metal") == 1


def test_a_program_that_only_falls_short_has_none(window):
    report = gm.check_job(replace(window, targets=replace(window.targets, hold=30.0)), trial=True)
    assert report.verdict == "fail"
    assert report.causes == ()


def told(job):
    """The code and the sentence of what explains that all fall short."""
    short = [undecided(name, 1.0, "short") for name in ("preload", "lift_off", "hold", "release")]
    return [(cause.code, cause.text) for cause in causes(work_out(job, trial=True), short) if cause.explains]


@pytest.mark.parametrize(("nest", "one"), [(0.1285, True), (0.1345, False)])
def test_two_heights_are_one_where_they_differ_by_less_than_a_tenth(window, nest, one):
    """119.8 mm, and 7 % or 11 % more."""
    ((code, text),) = told(lowered(window, pick=0.12, nest=nest))
    assert code == "above_the_face"
    assert ("is robot.tool missing" in text) == one


@pytest.mark.parametrize(("share", "codes"), [(0.008, ["no_bond"]), (0.012, [])])
def test_a_hundredth_of_a_bond_is_none(window, monkeypatch, share, codes):
    monkeypatch.setattr(
        Pickup, "activation", property(lambda found: tuple(np.full_like(own, share) for own in found.bond))
    )
    assert [code for code, _ in told(window)] == codes
