"""A release by over-press from a part whose face may lie lower than its plane: how deep it is pressed is a range."""

from dataclasses import replace

import pytest

from gripmargin.checks.case import work_out
from gripmargin.checks.handover import words
from gripmargin.checks.handover.release import RELEASE
from support.handed import Handed, plate_job

STRENGTH, STIFFNESS, OVERLOAD, RESIDUAL = 3e4, 1e8, 6e4, 0.02
MASS, KEPT, AREA, G = 0.3, 1.0, 2 * 0.03**2, 9.80665
SEAT = 8e-4  # [m]: 80 kPa where the face is plane


def answer(flatness, *, seat=SEAT, kept=KEPT):
    """The result, and what is not known of a finding."""
    film = {"overload_pressure": OVERLOAD, "overload_residual": RESIDUAL}
    job = plate_job(
        strength=STRENGTH, stiffness=STIFFNESS, mass=MASS, nest={"hold_down": kept, "lateral_force": 50.0}, **film
    )
    job = replace(job, pick=replace(job.pick, flatness=flatness), nest=replace(job.nest, moment=5.0))
    out = RELEASE.answer(work_out(Handed(job=job, press=5e-4, seat=seat).made(), trial=True))
    return out.results[0], [finding.because["cause"] for finding in out.findings]


@pytest.mark.parametrize("flatness", [0.0, 1.8e-4])
def test_what_is_over_pressed_as_low_as_the_face_may_lie_lets_go(flatness):
    result, _ = answer(flatness)
    assert result.verdict == "pass"
    assert result.value == pytest.approx((KEPT + MASS * G) / (RESIDUAL * STRENGTH * AREA), rel=1e-2)


def test_what_is_over_pressed_on_a_plane_face_alone_is_no_pass():
    result, why = answer(2.2e-4)  # 58 kPa there
    assert result.verdict == "undecided"
    assert why == [words.HELD_BEFORE["bowed"][0]]
    assert result.low == pytest.approx((KEPT + MASS * G) / (STRENGTH * AREA), rel=1e-2)


@pytest.mark.parametrize(("kept", "verdict"), [(200.0, "undecided"), (KEPT, "fail")])
def test_a_part_that_is_down_by_a_plane_face_alone_is_as_good_as_it_would_be_let_go(kept, verdict):
    result, why = answer(2.2e-4, seat=2e-4, kept=kept)
    assert result.verdict == verdict
    assert (why == [words.HELD_BEFORE["bowed"][0]]) == (verdict == "undecided")
