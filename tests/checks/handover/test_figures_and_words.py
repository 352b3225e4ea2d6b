"""Checks of preload and release: figures that are typed, sentences apart from them."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.handover.letting_go import worst_way
from gripmargin.checks.handover.preload import PRELOAD
from gripmargin.checks.handover.pressing import details_of, pressing
from gripmargin.checks.handover.pressure import PRESSURE
from gripmargin.checks.handover.release import RELEASE
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


def never_down(*, up=0.0, tilt=0.0):
    """The lid let go above its nest, or with the nest askew."""
    job = job_of("lid-straight-pull")
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


def test_a_part_that_is_set_down_askew():
    outcome = RELEASE.answer(never_down(tilt=np.deg2rad(10.0)))
    (result,), (finding,) = outcome.results, outcome.findings
    said = "the part is askew by 10.00 deg when it is set down: the pads are torn off at one side"
    assert (result.lines, finding.text) == ((said,), said)
    assert (result.verdict, finding.remedies[0].action) == ("fail", "seat")


def test_a_tilted_press_is_weakest_at_its_corners():
    """30 mm pads pressed 0.2 mm deep and 10 mrad askew: 0.05 mm at two corners, of 0.1 mm that bond fully."""
    case = work_out(Handed(job=plate_job(pads=1)).made(tilt=0.01), trial=True)
    found = PRELOAD.run(case).results[0].details
    assert found.lowest_activation == pytest.approx((2e-4 - 0.015 * np.sin(0.01)) * 1e8 / 1e4, rel=1e-6)
    assert found.highest_peak_pressure == pytest.approx((2e-4 + 0.015 * np.sin(0.01)) * 1e8, rel=0.02)  # of a cell
    assert (found.tilt, found.overtravel) == pytest.approx((0.01, 2e-4))
    assert np.cos(found.tilt_azimuth) == pytest.approx(0.0, abs=1e-9)
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

    def test_ways_that_are_alike(self):
        """A lift that also tips is called a lift."""
        assert worst_way(np.array([[2.0, 1.5], [3.0, np.nan], [1.2, 4.0]])) == (0, 2)
        for tip, way in ((0.9993, 0), (0.9985, 2)):
            assert worst_way(np.array([[1.0], [np.nan], [tip]])) == (0, way)
