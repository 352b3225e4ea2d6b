"""Checks of preload and release: figures that are typed, sentences apart from them."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.handover import words
from gripmargin.checks.handover.letting_go import worst_way
from gripmargin.checks.handover.preload import PRELOAD
from gripmargin.checks.handover.pressing import cause_of, details_of, pressing
from gripmargin.checks.handover.pressure import PRESSURE
from gripmargin.checks.handover.release import RELEASE
from gripmargin.contact.handover import Release
from gripmargin.contact.restraint import WAYS
from gripmargin.files.job_file import read_job
from support.handed import Handed, plate_job

FOLDER = Path(__file__).parents[3] / "trajectories"
CHECKS = (PRELOAD, RELEASE, PRESSURE)


@cache
def job_of(name):
    return read_job(FOLDER / f"{name}.toml")


@cache
def case_of(name):
    return work_out(job_of(name))


def never_down(*, up=0.0, tilt=0.0, name="lid-straight-pull"):
    """The lid let go above its nest, or with the nest askew."""
    job = job_of(name)
    face = job.nest.face @ gm.pose((0.0, 0.0, -up), rpy=(tilt, 0.0, 0.0))
    return work_out(replace(job, nest=replace(job.nest, face=face)))


@pytest.mark.parametrize("name", ["window-askew", "lid-light-press", "lid-no-data"])
def test_a_check_gives_typed_figures_and_its_words_say_them(name):
    case = case_of(name)
    for check in CHECKS:
        kinds = {judged.name: judged.details for judged in check.judged}
        bare, said = check.run(case), check.answer(case)
        for result in bare.results:
            assert type(result.details) is kinds[result.check]
            assert (result.text, result.lines) == ("", ())
        for finding in bare.findings:
            assert (finding.text, finding.lines) == ("", ())
            assert 0 <= finding.share < 1
        assert all(result.text and result.lines for result in said.results)
        assert all(finding.text for finding in said.findings)


def test_keys_of_a_release():
    (result,) = RELEASE.run(case_of("lid-light-press")).results
    assert set(result.details) == {
        "seat_height",
        "bonded_at_start",
        "bonded_at_worst",
        "bonded_at_end",
        "part_follows",
        "force_on_part",
        "moment_on_part",
        "energy_imbalance",
        "travel",
        *WAYS,
    }
    assert set(result.details["tip"]) == {"demand", "restraint", "ratio", "t"}
    assert set(result.details["travel"]) == {"kind", "achieved", "required", "left"}
    (finding,) = RELEASE.run(case_of("lid-light-press")).findings
    assert set(finding.worst) == {
        "t", "sample", "move", "ratio", "way", "demand", "restraint", "bonded", "force", "moment",
    }  # fmt: skip


@pytest.mark.parametrize(("free", "verdict"), [(0.005, "pass"), (0.1, "pass"), (3.0, "undecided")])
def test_what_a_press_sets_free_sideways_has_to_be_held(monkeypatch, free, verdict):
    """A lid of 0.39 N in a nest that takes 1 N sideways: 2 % of the weight is nothing, a tenth of 1 N is held."""
    case = case_of("lid")
    assert case.job.nest.lateral_force == 1.0
    monkeypatch.setattr(Release, "set_free", property(lambda self: free))
    assert RELEASE.run(case).results[0].verdict == verdict
    better = [replace(down, at_best=1e9) for down in case.putdowns]
    monkeypatch.setattr(type(case), "putdowns", property(lambda self: better))
    assert RELEASE.run(case).results[0].verdict == verdict  # what decides is not how well it may go at best


def test_a_part_that_is_never_down():
    outcome = RELEASE.answer(never_down(up=0.005))
    (result,), (finding,) = outcome.results, outcome.findings
    assert set(result.details) == {"seat_height", "seat_tilt"}
    assert (result.verdict, result.value, result.low_at) == ("fail", 0.0, result.at)
    assert result.lines == (
        f"the part is never closer than {1e3 * result.details['seat_height']:.2f} mm above its nest",
    )
    assert finding.text == f"the part is {1e3 * finding.worst['seat_height']:.2f} mm above its nest when it is let go"
    assert (finding.because["cause"], finding.share) == ("the part is not down in its nest", 0.0)
    (remedy,) = finding.remedies
    assert remedy.figures["lower"] == pytest.approx(result.details["seat_height"], abs=1.01e-5)  # and rounded up


def test_a_part_that_is_set_down_askew():
    outcome = RELEASE.answer(never_down(tilt=np.deg2rad(10.0), name="lid"))
    (result,), (finding,) = outcome.results, outcome.findings
    said = "the part is askew by 10.00 deg when it is set down: the pads are torn off at one side"
    assert (result.lines, finding.text) == ((said,), said)
    assert (result.verdict, finding.remedies[0].action, finding.remedies[0].shown) == ("fail", "seat", True)


def test_a_tilted_press_is_weakest_at_its_corners():
    """Two 30 mm pads in a row, pressed 0.2 mm deep and 3 mrad askew along it; 0.1 mm bonds fully."""
    job = Handed(job=plate_job()).made(tilt=0.003)
    pads = tuple(
        replace(pad, pose_in_tool=gm.pose((0, y, 0))) for pad, y in zip(job.gripper.pads, (-0.03, 0.03), strict=True)
    )
    case = work_out(replace(job, gripper=replace(job.gripper, pads=pads)), trial=True)
    found, lean = PRELOAD.run(case).results[0].details, 0.045 * np.sin(0.003)
    assert found.lowest_activation == pytest.approx((2e-4 - lean) * 1e8 / 1e4, rel=1e-6)
    assert found.highest_peak_pressure == pytest.approx((2e-4 + lean) * 1e8, rel=0.02)  # of a cell
    assert (found.tilt, found.overtravel) == pytest.approx((0.003, 2e-4))
    assert np.cos(found.tilt_azimuth) == pytest.approx(0.0, abs=1e-9)
    # rest, and the ends of quintics of 20.2 mm in 0.6 s and 1.2 mm in 0.3 s: 1 - s = 10 x^3
    ends = (0.6 * np.cbrt((2e-4 - lean) / 10 / 20.2e-3), 0.3 * np.cbrt((2e-4 - lean) / 10 / 1.2e-3))
    assert found.shortest_time_under_pressure == pytest.approx(0.2 + sum(ends), rel=0.05)
    for beside, verdict in ((0.8e-9, "pass"), (1.5e-9, "fail")):  # what counts as rounding
        wanted = replace(case.job.targets, preload=found.lowest_activation + beside)
        assert PRELOAD.run(replace(case, job=replace(case.job, targets=wanted))).results[0].verdict == verdict


def test_margin_as_the_part_leaves_its_tray():
    """S A over weight and break-away force, both in the middle of a round pad (strength of materials)."""
    job = job_of("lid")
    for away in (0.0, 1.5):
        case = work_out(replace(job, pick=replace(job.pick, break_away=away)))
        found = PRELOAD.run(case).results[1]
        strength = 0.7 * 6e4 * np.pi * 0.008**2
        assert found.value == pytest.approx(strength / (0.040 * 9.80665 + away), rel=2e-3)
        assert found.details["break_away"] == away


def test_without_a_phase_it_is_undecided_and_without_a_face_not_asked():
    job = job_of("lid")
    carry = replace(job, phases=tuple(phase for phase in job.phases if phase.kind == "carry"))
    for check in (PRELOAD, RELEASE):
        (result,) = check.answer(work_out(carry)).results
        assert (result.verdict, result.value) == ("undecided", None)
        assert f"no {check.name} phase" in result.text
    for bare, pick, due in (
        (job, job.pick, "the job has no [nest] face"),
        (carry, job.pick, "the job has no release phase"),
        (carry, None, "the job has no [nest] face"),
    ):
        (missing,) = RELEASE.answer(work_out(replace(bare, pick=pick, nest=None))).not_checked
        assert missing.reason == due


class TestTunedNumbers:
    """Each fails when its number is halved or doubled."""

    def test_tilt_that_counts_as_parallel(self):
        case = case_of("window-askew")
        pressed = pressing(case, case.pickup)
        assert not replace(pressed, tilt=np.deg2rad(0.008)).tilted
        assert replace(pressed, tilt=np.deg2rad(0.012)).tilted

    def test_rounding_of_a_full_bond(self):
        case = case_of("lid")
        pressed = pressing(case, case.pickup)
        assert details_of(pressed, 1.0 + 0.8e-9).activated_share == 1.0
        assert details_of(pressed, 1.0 + 1.5e-9).activated_share == 0.0

    def test_pressures_that_tell_of_a_tilt(self):
        """Of a tool that is askew by more than counts as parallel: 5 % between the highest and the lowest."""
        case = case_of("lid-light-press")
        pressed = replace(pressing(case, case.pickup), tilt=0.01)
        for more, light in ((1.04, True), (1.06, False)):
            details = replace(details_of(pressed, 1.0), lowest_peak_pressure=1e4, highest_peak_pressure=more * 1e4)
            assert (cause_of(pressed, details) == words.TOO_LIGHT) == light

    def test_ways_that_are_alike(self):
        """A lift that also tips is called a lift."""
        assert worst_way(np.array([[2.0, 1.5], [3.0, np.nan], [1.2, 4.0]])) == (0, 2)
        for tip, way in ((0.9993, 0), (0.9985, 2)):
            assert worst_way(np.array([[1.0], [np.nan], [tip]])) == (0, way)
