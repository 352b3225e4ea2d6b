"""A force at one place of a plate on pads, against the weight of something heavy there; and its verdict."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.dents import dented_beside as dents_of
from gripmargin.checks.dents import undented
from gripmargin.checks.swing.settle import SETTLE
from gripmargin.contact.backing import Backing
from gripmargin.contact.cells import cut_pads
from gripmargin.contact.grip import grip_of
from gripmargin.contact.poked import dented, poked, stretched, unfollowed
from gripmargin.contact.sheet import Sheet
from support.pushed import lowered, push

G = 9.80665
FILM = gm.PadMaterial(pull_off_stress=75e3, shear_strength=65e3, normal_stiffness=1.2e8, shear_stiffness=4e7)
PADS = tuple(
    gm.Pad.rectangle(f"{x} {y}", FILM, [0.018, 0.018], gm.pose((x, y, 0)))
    for x in (-0.06, 0.06)
    for y in (-0.042, 0.042)
)
OUTLINE = np.array([[-0.12, -0.085], [0.12, -0.085], [0.12, 0.085], [-0.12, 0.085]])
PLACE = (0.11, 0.07)


def board(thickness=0.0008, **more):
    mass = 2700.0 * shapely.Polygon(OUTLINE).area * thickness
    com, inertia = gm.uniform_plate(mass, OUTLINE, thickness)
    given = {"mass": mass, "com": com, "inertia": inertia, "outline": OUTLINE, "thickness": thickness, "face": "plane"}
    return gm.Part(**{**given, "youngs_modulus": 70e9, "poissons_ratio": 0.33, **more})


def laden(force):
    """The board with something small that weighs as much as a force at the place."""
    bare, heavy = board(), gm.Component(mass=force / G, at=[*PLACE, board().thickness / 2])
    total = bare.mass + heavy.mass
    com, inertia = gm.uniform_plate(total, OUTLINE, bare.thickness, (heavy,))
    return replace(bare, mass=total, com=com, inertia=inertia, components=(heavy,))


def on_pads(part):
    return Sheet.on(Backing(cut_pads(PADS, part)), part)


def held(at, force):
    """A force along the normal at a place, as a load at the tool origin."""
    return force * np.array([0.0, 0.0, 1.0, at[1], -at[0], 0.0])


def test_a_force_does_to_the_pads_what_the_weight_of_something_heavy_does():
    """A component that weighs 2 N, by its own mass in the plate's load and not as a force, to rounding."""
    bare, total = board(), laden(2.0)
    sheet, other = on_pads(bare), on_pads(total)
    points = [sheet.places(patch) for patch in sheet.backing.patches]
    weight = held(bare.com, bare.mass * G)
    for patch, at, felt in zip(sheet.backing.patches, points, dented(sheet, PLACE, points), strict=True):
        by_force = sheet.traction_maps(patch, at)[0, 2] @ (weight + held(PLACE, 2.0)) + felt[0, 2] @ held(PLACE, 2.0)
        by_weight = other.traction_maps(patch, at)[0, 2] @ held(total.com, total.mass * G)
        np.testing.assert_allclose(by_force, by_weight, rtol=1e-6, atol=1e-6 * np.abs(by_weight).max())


def test_a_dent_is_in_balance_and_none_under_a_stiff_part():
    thin, stiff = on_pads(board()), on_pads(board(youngs_modulus=70e13))
    for sheet, most in ((thin, np.inf), (stiff, 1e-2)):  # 1 N over a pad's area
        patches = sheet.backing.patches
        felt = dented(sheet, PLACE, [patch.points for patch in patches])
        force = [each[0, 2] @ held(PLACE, 1.0) * patch.areas for each, patch in zip(felt, patches, strict=True)]
        arms = np.concatenate([patch.points[:, :2] for patch in patches])
        total = [np.sum(force), *(np.concatenate(force) @ arms)]
        np.testing.assert_allclose(total, 0.0, atol=2e-2)  # of 1 N and of 0.1 N m: the sum over cells
        assert max(float(np.abs(each[0, 2] @ held(PLACE, 1.0)).max()) for each in felt) < most / 0.018**2


@pytest.mark.parametrize("x", [0.0, 0.007])
def test_above_the_middle_of_a_wide_pad(x):
    """A wide plate on an elastic layer: p = P / 8 sqrt(k / D) below a force (Timoshenko & Woinowsky-Krieger, 57)."""
    part, pads = board(thickness=4e-4), (gm.Pad.rectangle("pad", FILM, [0.08, 0.08]),)
    backing, at = Backing(cut_pads(pads, part)), (x, 0.003)
    sheet, rigidity = Sheet.on(backing, part, [at]), 70e9 * 4e-4**3 / 12 / (1 - 0.33**2)
    points = [np.array([[*at, 0.0]])]
    felt = dented(sheet, at, points)[0] + sheet.traction_maps(backing.patches[0], points[0])
    assert felt[0, 2, 0] @ held(at, 1.0) == pytest.approx(np.sqrt(1.2e8 / rigidity) / 8, rel=0.03)


class TestVerdict:
    """The board is pushed off near its corner: spread over the board the force would ask 2.5 times less of its pads."""

    @staticmethod
    def report(force, at=(*PLACE, 0.0), target=2.0, **more):
        job = lowered(push((0, 0, force), at, **more), targets=gm.Targets(hold=target, swing=0.01))
        part = board()
        return gm.check_job(replace(job, part=part, gripper=gm.Gripper(pads=PADS)), checks=("hold",))

    @staticmethod
    def true_margin(force):
        """By something that weighs as much, hanging still."""
        part = laden(force)
        sheet, load = on_pads(part), held(part.com, part.mass * G)
        tension = [sheet.traction_maps(patch, sheet.places(patch))[0, 2] @ load for patch in sheet.backing.patches]
        return FILM.pull_off_stress / max(float(each.max()) for each in tension)

    def test_the_margin_is_that_of_something_as_heavy(self):
        (hold,) = [check for check in self.report(2.0).checks if check.check == "hold"]
        true = self.true_margin(2.0)
        assert hold.low <= true <= 1.01 * hold.low
        assert hold.high == pytest.approx(true, rel=1e-2)

    @pytest.mark.parametrize(("share", "verdict"), [(0.97, "pass"), (1.05, "fail"), (4.0, "fail")])
    def test_to_either_side_of_the_target(self, share, verdict):
        target = share * self.true_margin(2.0)
        assert {str(c.verdict) for c in self.report(2.0, target=target).checks if c.check == "hold"} == {verdict}

    def test_where_a_dent_alone_uses_the_pads_nothing_passes(self):
        """Spread forces of no use give an infinite margin that stays: places that bear nothing stand in."""
        job = replace(lowered(push((0, 0, -2.0))), part=board(), gripper=gm.Gripper(pads=PADS))
        case = work_out(job)
        bare = replace(case.grip, face=replace(case.grip.face, maps=0.0 * case.grip.face.maps))
        assert "dent the part" in " ".join(dents_of(replace(case, grip=bare)).doubts)

    @pytest.mark.parametrize(
        ("force", "how", "said"),
        [
            ((0, 0, 0.02), {"at": (0.2, 0.0, 0.0)}, "acts 80 mm beside a part that bends"),
            (None, {"at": None, "moment": [0.01, 0.0, 0.0]}, "turns a part that bends, and where is not known: give"),
        ],
    )
    def test_what_is_not_followed_is_undecided(self, force, how, said):
        job = lowered(push(force, **how), targets=gm.Targets(hold=1.1))
        report = gm.check_job(replace(job, part=board(), gripper=gm.Gripper(pads=PADS)), checks=("hold",))
        assert str(report.verdict) == "undecided"
        assert said in " ".join(gm.report_text(report).split())

    def test_a_limp_sheet_that_is_dragged_is_undecided(self):
        """Polyester of 50 um: its pull on 40 mm fades on sqrt(E t / k_t) = 22 mm."""
        film = gm.PadMaterial(pull_off_stress=6e4, shear_strength=6e4, normal_stiffness=1e8, shear_stiffness=4e8)
        outline = np.array([[-0.02, -0.02], [0.02, -0.02], [0.02, 0.02], [-0.02, 0.02]])
        com, inertia = gm.uniform_plate(1.1e-4, outline, 5e-5)
        more = {"thickness": 5e-5, "youngs_modulus": 4e9, "poissons_ratio": 0.3, "face": "plane"}
        part = gm.Part(mass=1.1e-4, com=com, inertia=inertia, outline=outline, **more)
        job = replace(lowered(push((24, 0, 0), (0.02, 0, 2.5e-5)), targets=gm.Targets(hold=1.5)), part=part)
        pads = (gm.Pad.rectangle("pad", film, [0.04, 0.04]),)
        report = gm.check_job(replace(job, gripper=gm.Gripper(pads=pads)), checks=("hold",))
        assert str(report.verdict) == "undecided"
        assert "pulls along a part that bends" in " ".join(gm.report_text(report).split())

    def test_pads_that_hold_half_are_used_twice(self):
        """The dent goes over what the pads hold as they were pressed, with what counts for places left out."""
        full, half = (self.margin(strength) for strength in (75e3, 37.5e3))
        assert half == pytest.approx(full / 2, rel=1e-6)
        case = work_out(replace(lowered(push((0, 0, 2.0), (*PLACE, 0.0))), part=board(), gripper=gm.Gripper(pads=PADS)))
        plain = poked(case.grip.bonded.sheet, case.grip.bonded.full, case.pushes)
        assert full == pytest.approx(1.0 / (max(whole for whole, _ in plain) * case.grip.asked), rel=1e-9)
        assert case.grip.asked > 1.001

    def test_a_force_at_a_corner_stretches_more_than_the_same_spread(self):
        """In the plate that dents there, beside that under loads as of its weight; no share of a rigid plane's."""
        sheet, force = on_pads(board(thickness=1e-4)), push((0, 0, 0.02), (*PLACE, 0.0))
        load = held(PLACE, 0.02)
        alone = stretched(sheet, load, [(force, 0.0 * load)])
        assert alone == pytest.approx(sheet.stretched(load), rel=1e-9)
        assert 2.0 * alone < stretched(sheet, load, [(force, load)])
        assert stretched(sheet, 2 * load, [(force, 2 * load)]) == pytest.approx(
            4 * stretched(sheet, load, [(force, load)])
        )

    @pytest.mark.parametrize(("force", "verdict"), [(0.03, "pass"), (0.08, "undecided")])
    def test_a_thin_sheet_that_is_poked_far_is_undecided(self, force, verdict):
        """By what it then stretches at the force, though the spread load would stretch it little."""
        part = board(thickness=2e-4)
        job = replace(lowered(push((0, 0, force), (0.0, 0.0, 0.0))), part=part, gripper=gm.Gripper(pads=PADS))
        case = work_out(job)
        (one,) = case.pushes
        load = (case.own_load[:, one.samples] + one.wrench)[:, 0]
        assert (stretched(on_pads(part), load, [(one.of, one.wrench[:, 0])]) > 0.05) == (verdict == "undecided")
        assert case.grip.film.stretched * case.grip.film.use**2 < 0.05
        report = gm.check_job(replace(job, targets=gm.Targets(hold=1.0, swing=0.01)), checks=("hold",))
        assert {str(c.verdict) for c in report.checks if c.check == "hold"} == {verdict}

    def test_how_far_a_thin_sheet_droops_that_is_stretched_as_well_is_undecided(self):
        job = lowered(push((0, 0, 0.08), (0.0, 0.0, 0.0), shape="ramp", rise=0.1))
        job = replace(job, part=board(thickness=2e-4, clearance=1.0), gripper=gm.Gripper(pads=PADS))
        (result,) = gm.check_job(replace(job, targets=gm.Targets(hold=0.1, swing=0.01)), checks=("droop",)).checks
        assert result.verdict is gm.Verdict.UNDECIDED
        assert "stretched as well" in result.text

    def test_how_a_corner_settles_under_a_force_is_undecided(self):
        assert undented in SETTLE.judged[0].rests_on

    @pytest.mark.parametrize(("share", "dragged"), [(0.95, False), (1.05, True)])
    def test_from_which_length_on_shear_is_not_even(self, share, dragged):
        """Three per cent at the end of a strip pulled there, x coth x with x = 0.3 (Volkersen 1938, from memory)."""
        assert 0.3 / np.tanh(0.3) == pytest.approx(1.03, abs=5e-4)
        stiff = FILM.shear_stiffness * (0.018 / (0.3 * share)) ** 2  # E t, for pads of 18 mm
        sheet, force = on_pads(board(youngs_modulus=stiff / 8e-4)), push((1, 0, 0), (0.06, 0.042, 4e-4))
        case = work_out(lowered(force))
        assert bool(unfollowed(sheet, case.pushes)) == dragged

    @staticmethod
    def margin(strength):
        job = replace(lowered(push((0, 0, 2.0), (*PLACE, 0.0))), part=board(), gripper=gm.Gripper(pads=PADS))
        case = work_out(job)
        share = strength / 75e3
        held = replace(case.grip.bonded, held=tuple(np.full(len(p.points), share) for p in case.whole.patches))
        return 1.0 / dents_of(replace(case, grip=grip_of(held, case.load[:, case.carried]))).dents
