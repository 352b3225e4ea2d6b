"""Cleaning moves over a roller and on a sheet: what they clean, what is advised, and attempts at a false pass."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.cleaning.check import CLEANING
from support.cleaned import DEPTH, FILM, SHEET, SIDE, K, R, dabbed, job, rolled, roller, sheet


def answer(job):
    outcome = CLEANING.answer(work_out(job))
    return {result.check: result for result in outcome.results}, outcome.findings


def cleaning(job):
    """The result alone, on a trial and without what tack takes: both cost time."""
    cleaners = tuple(replace(cleaner, tack=None) for cleaner in job.cleaners)
    outcome = CLEANING.answer(work_out(replace(job, cleaners=cleaners), trial=True))
    return {result.check: result for result in outcome.results}["cleaning"]


STRIP = 2.0 * np.sqrt(2.0 * R * (DEPTH - 12e3 / K))  # above the pressure that cleans: 4.4721 mm


class TestRoller:
    """A roller on an elastic layer: contact from -a to a, a^2 = 2 R d (Johnson, Contact Mechanics, from memory)."""

    @pytest.mark.parametrize(("beyond", "verdict"), [(0.1e-3, "pass"), (-0.2e-3, "fail")])
    def test_cleans_as_far_as_its_strip_reaches(self, beyond, verdict):
        reach = (SIDE - STRIP) / 2 + beyond
        assert cleaning(rolled(reach)).verdict == verdict

    def test_share_is_that_of_stroke_and_strip(self):
        found = cleaning(rolled(0.015))
        assert found.low < (0.03 + STRIP) / SIDE < found.high + 2e-3
        assert found.high - found.low < 0.01

    def test_says_where_and_what_to_change(self):
        """1 mm short at each end."""
        _, (finding, *_) = answer(rolled((SIDE - STRIP) / 2 - 1e-3))
        gap = finding.worst.details.gap
        assert (gap.pad, gap.lack) == ("pad", "pressure")
        assert abs(gap.where[1]) > 0.019
        shown = {remedy.action: remedy for remedy in finding.remedies if remedy.shown}
        assert 0.9e-3 < shown["travel"].figures["each_end"] < 1.3e-3
        deeper = (SIDE / 2 - (SIDE - STRIP) / 2 + 1e-3) ** 2 / (2 * R) + 12e3 / K - DEPTH
        assert deeper < shown["press deeper"].figures["deeper"] < deeper + 0.03e-3
        assert (
            cleaning(rolled((SIDE - STRIP) / 2 - 1e-3, depth=DEPTH + shown["press deeper"].figures["deeper"])).verdict
            == "pass"
        )

    @pytest.mark.parametrize(("share", "verdict"), [(0.97, "pass"), (1.03, "fail")])
    def test_keeps_its_pressure_as_long_as_the_strip_takes_to_pass(self, share, verdict):
        """50 mm in 0.5 s: 4.4721 mm take 44.7 ms."""
        assert cleaning(rolled(0.025, roller(least_dwell=share * STRIP / 0.1))).verdict == verdict

    @pytest.mark.parametrize(("presses", "verdict"), [(1, "pass"), (2, "fail")])
    def test_one_pass_is_one_press(self, presses, verdict):
        found, findings = answer(rolled(0.025, roller(least_presses=presses)))
        assert found["cleaning"].verdict == verdict
        assert verdict == "pass" or findings[0].remedies[0].figures["times"] == 2

    def test_one_that_stands_still_drags(self):
        """Each place of the pad goes over it while the strip is there: as far as that is wide, 6.3 mm."""
        free, still = (cleaning(rolled(0.025, roller(turns_freely=turns, most_slip=3e-3))) for turns in (True, False))
        assert (free.verdict, still.verdict) == ("pass", "fail")
        assert still.details.gap.lack == "dragged"


class TestSheet:
    def test_dabs_at_a_pitch_of_the_sheet_cover_a_pad_that_is_larger_than_it(self):
        """A sheet of 21 mm on a pad of 40: four dabs clean all at a pitch of 19 to 21 mm, beyond it a cross is left."""
        small = sheet(outline=SHEET * 0.105)
        for pitch, verdict in ((0.02, "pass"), (0.0213, "fail")):
            places = [(x * pitch / 2, y * pitch / 2) for x in (-1, 1) for y in (-1, 1)]
            assert cleaning(dabbed(*places, cleaner=small)).verdict == verdict

    def test_tilt_leaves_an_edge_of_k_eps_l(self):
        """The high edge is pressed with k (d - eps L/2), which has to be the pressure that cleans."""
        eps = (DEPTH - 12e3 / K) / (SIDE / 2)
        assert cleaning(dabbed((0, 0), tilt=0.98 * eps)).verdict == "pass"
        found = cleaning(dabbed((0, 0), tilt=1.1 * eps))
        assert found.verdict == "fail"
        edge = K * (DEPTH - 1.1 * eps * SIDE / 2)
        assert edge < found.details.gap.peak < edge + K * 1.1 * eps * SIDE / 24  # of the middle of a cell beside it

    def test_a_layer_that_gives_way_takes_its_share_of_the_depth(self):
        """1/k = 1/k_pad + 1/k_cleaner: 24 kPa become 12 kPa on a layer as soft as the pad."""
        soft = {"rigid": False, "normal_stiffness": K}
        assert cleaning(dabbed((0, 0), cleaner=sheet(least_pressure=11.9e3, **soft))).verdict == "pass"
        assert cleaning(dabbed((0, 0), cleaner=sheet(least_pressure=12.1e3, **soft))).verdict == "fail"

    def test_a_drag_cleans_where_slip_is_asked(self):
        """Pressed and dragged by 5 mm; its backing gives way to 65 kPa/40 MPa/m = 1.6 mm of it."""
        for asked, verdict in ((3.3e-3, "pass"), (3.5e-3, "fail")):
            legs = [(0, 0, 0.01), (0, 0, -DEPTH), (0.005, 0, -DEPTH), (0.005, 0, 0.01)]
            found = cleaning(job(legs, sheet(least_slip=asked)))
            assert (found.verdict == "pass") == (verdict == "pass")


class TestPull:
    """What tack takes: all of the area at once, or the energy of the springs along the way."""

    def test_straight_off(self):
        found, findings = answer(dabbed((0, 0)))
        assert found["cleaner"].details.force == pytest.approx(20e3 * SIDE**2, rel=1e-6)
        assert found["cleaner"].verdict == "fail"
        assert "never pull them straight" in findings[0].remedies[0].text

    def test_rolled_off(self):
        """Sideways (20 kPa)^2/2k = 1.6667 N/m of width; along the normal what a parabola pulls that leaves."""
        found = answer(rolled(0.03))[0]["cleaner"]
        a2, k = 2 * R * DEPTH, K
        b = np.sqrt(a2 + 2 * R * 20e3 / k)
        pull = k / (2 * R) * ((b**3 - a2**1.5) / 3 - a2 * (b - np.sqrt(a2)))
        assert found.details.rolled == pytest.approx(1.6667, abs=1e-4)
        assert SIDE * pull < found.details.force < 1.3 * SIDE * np.hypot(pull, 1.6667)
        assert found.verdict == "pass"
        assert found.details.pressed == pytest.approx(SIDE * 101.193, rel=0.03)


class TestNothingIsPassedThatIsNotShown:
    @pytest.mark.parametrize(
        ("less", "said"),
        [
            ({"least_pressure": None}, "what pressure cleans"),
            ({"length": None}, "how large"),
            ({"rigid": False}, "gives way"),
            ({"most_slip": 1e-3, "turns_freely": None}, "turns with the pads"),
            ({"most_uses": 20}, "how often"),
            ({"most_uses": 20, "uses": 20}, "has been used 20 times"),
        ],
    )
    def test_a_cleaner_that_is_not_known(self, less, said):
        found = cleaning(rolled(0.03, roller(**less)))
        assert found.verdict == "undecided"
        assert said in found.text

    @pytest.mark.parametrize("less", ["tack", "fixing_force", "fixing_moment"])
    def test_a_fixing_that_is_not_known(self, less):
        assert answer(rolled(0.03, roller(**{less: None})))[0]["cleaner"].verdict == "undecided"

    def test_a_move_that_never_touches(self):
        found = cleaning(rolled(0.03, depth=-1e-3))
        assert (found.verdict, found.high) == ("fail", 0.0)

    def test_a_clean_phase_that_leaves_out_the_press(self):
        """What the pads touch before their phase does not count."""
        late = rolled(0.03)
        late = replace(late, phases=(gm.Phase(kind="clean", start=1.2, end=1.5),))
        assert cleaning(late).verdict == "fail"

    def test_a_cleaner_without_a_phase(self):
        unused = replace(rolled(0.03), phases=(gm.Phase(kind="free", start=0.0, end=1.5),))
        assert {result.verdict for result in answer(unused)[0].values()} == {"undecided"}

    def test_pads_that_look_away(self):
        away = rolled(0.03)
        up = np.broadcast_to(np.eye(3), away.trajectory.rotation.shape)
        assert cleaning(replace(away, trajectory=replace(away.trajectory, rotation=up))).verdict == "fail"

    def test_a_roller_shorter_than_the_pad(self):
        assert cleaning(rolled(0.03, roller(length=0.039))).verdict == "fail"

    def test_one_pad_of_two_beside_the_roller(self):
        film = gm.PadMaterial(**FILM)
        pads = tuple(gm.Pad.rectangle(f"{x}", film, [SIDE, SIDE], gm.pose((x, 0, 0))) for x in (0.0, 0.08))
        found = cleaning(rolled(0.03, pads=pads))
        assert (found.verdict, found.details.gap.pad, found.details.gap.lack) == ("fail", "0.08", "touch")

    def test_a_gap_between_two_dabs_that_is_narrower_than_a_cell(self):
        """Two halves, 0.3 mm apart where cells are 3.3 mm wide."""
        half = sheet(outline=SHEET * [0.105, 1.0])
        for apart, verdict in ((-0.5e-3, "pass"), (0.3e-3, "fail")):
            at = 0.0105 + apart / 2
            assert cleaning(dabbed((-at, 0), (at, 0), cleaner=half)).verdict == verdict

    def test_two_dabs_on_halves_are_no_two_presses(self):
        half = sheet(outline=SHEET * [0.105, 1.0], least_presses=2)
        found = cleaning(dabbed((-0.01, 0), (0.01, 0), cleaner=half))
        assert found.high == pytest.approx(0.001 / SIDE, abs=0.006)

    def test_a_press_that_buckles_the_fibrils(self):
        for overload, verdict in ((25e3, "pass"), (23e3, "fail")):
            pressed = dabbed((0, 0), overload_pressure=overload, overload_residual=0.1)
            assert cleaning(pressed).verdict == verdict

    def test_a_backing_that_is_pressed_flat(self):
        assert cleaning(dabbed((0, 0), backing_thickness=0.15e-3)).verdict == "undecided"

    def test_pads_that_still_stick_when_the_program_ends(self):
        stuck = job([(0, 0, 0.01), (0, 0, -DEPTH)], sheet(fixing_force=100.0))
        assert answer(stuck)[0]["cleaner"].verdict == "undecided"


def test_a_program_that_cleans_alone_has_a_report():
    report = gm.check_job(rolled(0.03))
    assert {result.check: str(result.verdict) for result in report.checks} == {"cleaning": "pass", "cleaner": "pass"}
    assert set(report.samples.phase) == {"clean"}
    assert all("carries no part" in item.reason for item in report.not_checked if item.check == "hold")
