"""Tray and nest hold the part whenever it lies there, whatever the moves are called, between samples and phases too."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.handover.preload import PRELOAD
from gripmargin.checks.handover.pressure import PRESSURE
from gripmargin.checks.handover.release import RELEASE
from gripmargin.contact import handover

G = 9.80665
S, T, KN, KT, SIDE = 60e3, 50e3, 1e8, 4e7, 0.02
AREA = SIDE * SIDE
FULL = 1e4  # Pa: 0.1 mm deep
DOWN = np.diag([1.0, -1.0, -1.0])
MOVES = {  # a straight pull that the nest takes
    "touch": [(0.5, {"z": -2e-4})],
    "press": [(0.3, {})],
    "lift": [(0.5, {"z": 0.08})],
    "across": [(0.8, {"x": 0.5, "y": 0.3}), (0.4, {"z": 0.01})],
    "lower": [(0.5, {"z": -1e-4})],
    "wait": [(0.2, {})],
    "leave": [(0.5, {"z": 0.05})],
}
PHASES = {"preload": ("touch", "press"), "carry": ("lift", "across", "lower"), "release": ("wait", "leave")}


def job_with(
    moves=None,
    *,
    phases=PHASES,
    step=0.01,
    material=None,
    nest=None,
    part=None,
    cycles=0.0,
    pick=None,
    world=None,
    order=None,
    digits=None,
):
    """A gantry that takes a plate of 100 x 60 mm from (0, 0, 0) and puts it down at (500, 300, 0) mm."""
    film = gm.PadMaterial(
        pull_off_stress=S,
        shear_strength=T,
        normal_stiffness=KN,
        shear_stiffness=KT,
        name="film",
        **{"full_preload": FULL, **(material or {})},
    )
    world = np.eye(4) if world is None else world
    legs_of = {**MOVES, **(moves or {})}
    t, places, names = [0.0], [[0.0, 0.0, 0.01]], []
    for name in order or legs_of:
        for time, to in legs_of[name]:
            count = max(1, round(time / step))
            begin = np.array(places[-1])
            end = np.array([to.get(axis, value) for axis, value in zip("xyz", begin, strict=True)])
            s = np.arange(1, count + 1)[:, None] / count
            places.extend(begin + (10 * s**3 - 15 * s**4 + 6 * s**5) * (end - begin))
            t.extend(t[-1] + step * np.arange(1, count + 1))
            names.extend([name] * count)
    position = np.array(places) @ world[:3, :3].T + world[:3, 3]
    trajectory = gm.PoseTrajectory(
        t=np.array(t),
        position=position if digits is None else np.round(position, digits),
        rotation=np.tile(world[:3, :3] @ DOWN, (len(t), 1, 1)),
        moves=(names[0], *names),
    )
    outline = [[-0.05, -0.03], [0.05, -0.03], [0.05, 0.03], [-0.05, 0.03]]
    values = {
        "face": "plane",
        "rigid": True,
        "mass": 0.3,
        "com": [0, 0, 2e-3],
        "inertia": [1e-4, 3e-4, 4e-4, 0, 0, 0],
        "outline": outline,
    }
    return gm.Job(
        name="plate",
        trajectory=trajectory,
        gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [SIDE, SIDE]),), cycles_since_cleaning=cycles),
        part=gm.Part(**{**values, "max_pressure": 3e4, **(part or {})}),
        phases=tuple(gm.Phase(kind=kind, moves=tuple(m)) for kind, m in phases.items()),
        pick=gm.Pick(face=world, **(pick or {})),
        nest=gm.Nest(
            face=world @ gm.pose((0.5, 0.3, 0)),
            **{"hold_down": 60.0, "lateral_force": 6.0, "moment": 1.0, **(nest or {})},
        ),
        gravity=world[:3, :3] @ [0.0, 0.0, -G],
        targets=gm.Targets(hold=2.0, release=1.5, pressure=1.0),
    )


worked = lru_cache(maxsize=2)(work_out)


def result(job, check):
    (found,) = [r for r in check.answer(worked(job)).results if r.check == check.name]
    return found


def test_the_plain_program_passes():
    job = job_with()
    for check in (PRELOAD, RELEASE, PRESSURE):
        assert result(job, check).verdict == "pass"
    # all at once: the whole pull-off force against weight and hold-down
    assert result(job, RELEASE).value == pytest.approx((0.3 * G + 60.0) / (S * AREA), rel=1e-3)


class TestNest:
    def test_a_press_that_is_called_carry(self):
        """60 kPa on a part that may take 30; the release phase begins when it is over."""
        lower = [(0.5, {"z": -6e-4}), (0.3, {"z": -1e-4})]
        found = result(job_with({"lower": lower}), PRESSURE)
        assert (found.verdict, found.at.move) == ("fail", "lower")
        assert found.value == pytest.approx(0.5, rel=1e-3)

    def test_a_slide_that_is_called_carry(self):
        """4 mm are more than T/k_t: the pads ask for T A sideways, 20 N against 6, before they break."""
        lower = [(0.5, {"z": -1e-4}), (0.3, {"x": 0.504})]
        found = result(job_with({"lower": lower}), RELEASE)
        assert (found.verdict, found.at.move) == ("fail", "lower")
        assert found.value == pytest.approx(6.0 / (T * AREA), rel=2e-2)

    @pytest.mark.parametrize(("slip", "verdict"), [(1e-3, "fail"), (2e-3, "pass")])
    def test_a_part_that_may_slip_so_far(self, slip, verdict):
        """Dragged by 1.5 mm: the pads hold to T/k_t, so all of that way the nest is asked for k_t A times it."""
        lower = [(0.5, {"z": -1e-4}), (0.3, {"x": 0.5015})]
        assert result(job_with({"lower": lower}, nest={"slip": slip}), RELEASE).verdict == verdict
        assert result(job_with({"lower": lower}), RELEASE).verdict == "fail"

    def test_a_part_that_may_slip_may_not_be_lifted(self):
        """Straight up: the whole pull-off force against weight and hold-down."""
        job = job_with(nest={"slip": 2e-3, "hold_down": 20.0})
        (found,) = RELEASE.answer(work_out(job, trial=True)).results
        assert found.value == pytest.approx((0.3 * G + 20.0) / (S * AREA), rel=1e-3)

    def test_of_what_the_nest_does_not_state_the_most_is_told(self):
        job = job_with({"wait": [(0.5, {"x": 0.504})]}, nest={"lateral_force": None})
        found = result(job, RELEASE)
        assert found.verdict == "undecided"
        assert found.details.course.ways["slide"].demand == pytest.approx(T * AREA, rel=2e-2)

    def test_it_comes_down_while_it_moves_sideways(self):
        """The last 0.1 mm down go with 0.2 mm sideways: the pads are sheared by k_t A times that."""
        moves = {"lower": [(0.5, {"z": 0.0}), (0.2, {"z": -1e-4, "x": 0.5002})]}
        found = result(job_with(moves, nest={"lateral_force": 1e3}), RELEASE)
        assert found.details.course.ways["slide"].demand == pytest.approx(KT * AREA * 2e-4, rel=1e-2)

    def test_between_two_samples_of_which_only_one_is_down(self):
        """It comes down between them, on a straight line: what is sheared then is what is left of the way."""
        moves = {"lower": [(0.5, {"z": 1e-4}), (0.05, {"z": -3e-4, "x": 0.5004})]}
        found = result(job_with(moves, step=0.05, nest={"lateral_force": 1e3}), RELEASE)
        assert found.details.course.ways["slide"].demand == pytest.approx(KT * AREA * 3e-4, rel=1e-2)

    def test_the_peak_in_the_interval_between_two_phases(self):
        """40 kPa in the only sample of a move that no phase names, 50 ms from its neighbours."""
        moves = {"lower": [(0.5, {"z": 0.0})], "knock": [(0.05, {"z": -4e-4})], "wait": [(0.2, {"z": -1e-4})]}
        order = ["touch", "press", "lift", "across", "lower", "knock", "wait", "leave"]
        job = job_with(moves, order=order, step=0.05)
        assert result(job, PRESSURE).value == pytest.approx(0.75, rel=1e-3)

    def test_put_down_in_two_goes(self):
        """The pads take it up again on purpose: that lifts it, and counts as no failure; then they slide off."""
        lower = [(0.5, {"z": -1e-4}), (0.3, {"z": 0.01}), (0.3, {"z": -1e-4})]
        nest = {"hold_down": 0.0, "lateral_force": 1e2, "moment": 1e2}  # the pads' 24 N lift its 3 N
        found = result(job_with({"lower": lower, "wait": [(0.3, {"x": 0.504})]}, nest=nest), RELEASE)
        assert (found.verdict, found.at.move) == ("pass", "wait")
        assert found.value == pytest.approx(1e2 / (T * AREA), rel=2e-2)

    def test_put_back_where_it_was_taken(self):
        """What holds it down there does so once it is back, not while it is taken."""
        job = job_with({"across": [(0.4, {"z": 0.01})]})
        found = result(replace(job, nest=replace(job.nest, face=np.eye(4))), RELEASE)
        assert found.at.move == "leave"
        assert found.value == pytest.approx((0.3 * G + 60.0) / (S * AREA), rel=1e-3)

    def test_pressed_once_more_after_it_was_let_go(self):
        job = job_with({"again": [(0.5, {"z": -5e-4}), (0.5, {"z": 0.05})]})
        assert result(job, PRESSURE).value == pytest.approx(30 / 50, rel=1e-3)

    @pytest.mark.parametrize("way", [0.2, -0.3])
    def test_a_pass_below_the_plane_beside_the_nest_is_none(self, way):
        """100 mm below the plane of the nest, on the way there and on the way home."""
        beside = [
            (0.8, {"x": 0.5 + way, "z": 0.05}),
            (0.4, {"z": -0.1}),
            (0.4, {"z": 0.05}),
            (0.8, {"x": 0.5, "y": 0.3}),
        ]
        there = {"across": [(0.4, {"y": 0.3}), *beside, (0.4, {"z": 0.01})]}
        home = {"leave": [*MOVES["leave"], (0.8, {"x": 0.5 + way}), (0.5, {"z": -0.1})]}
        for moves in (there, home):
            job = job_with(moves)
            assert result(job, RELEASE).verdict == result(job, PRESSURE).verdict == "pass"
            assert result(job, RELEASE).value == pytest.approx((0.3 * G + 60.0) / (S * AREA), rel=1e-3)


class TestTray:
    @pytest.mark.parametrize("name", ["approach", "deeper"])
    def test_a_press_before_or_after_the_preload(self, name):
        """50 kPa in a move that the phases call nothing or carry."""
        knock = [(0.3, {"z": -5e-4}), (0.3, {"z": 1e-3 if name == "approach" else -2e-4})]
        order = ["approach", "touch", "press", "deeper", "lift", "across", "lower", "wait", "leave"]
        moves = {"approach": [(0.1, {})], "deeper": [(0.1, {})], name: knock}
        phases = {**PHASES, "carry": ("deeper", *PHASES["carry"])}
        found = result(job_with(moves, order=order, phases=phases), PRESSURE)
        assert (found.verdict, found.at.move) == ("fail", name)
        assert found.value == pytest.approx(30 / 50, rel=1e-3)

    def test_dragged_before_it_is_lifted(self):
        """4 mm along the part under constant pressure: the bond is gone, T/k_t = 1.25 mm, and does not come back."""
        moves = {"lift": [(0.3, {"x": 0.004}), *MOVES["lift"]]}
        assert result(job_with(moves), PRELOAD).value == 0.0

    def test_the_interval_after_the_preload(self):
        """Pressed to 20 kPa by the only sample of a carry, 50 ms after the last of the preload, which left 0.4."""
        moves = {"touch": [(0.5, {"z": -4e-5})], "lift": [(0.05, {"z": -2e-4}), *MOVES["lift"]]}
        assert result(job_with(moves, step=0.05), PRELOAD).value == pytest.approx(1.0)

    def test_taken_up_and_put_back_before_it_is_pressed(self):
        """A touch of 4 kPa lifts it by a millimetre, then it is put back and pressed to 20."""
        moves = {"touch": [(0.3, {"z": -4e-5}), (0.3, {"z": 1e-3}), (0.3, {"z": -2e-4})]}
        job = job_with(moves)
        assert result(job, PRELOAD).value == pytest.approx(1.0)
        assert work_out(job).airborne[np.searchsorted(job.trajectory.t, 0.599)]  # at its highest
        assert result(job_with({**moves, "press": [(0.3, {"z": -4e-4})]}), PRESSURE).value == pytest.approx(0.75)

    def test_pads_that_leave_without_the_part(self):
        """Tilted as they rise they peel off one side after the other: the part stays, whatever a straight pull says."""
        job = job_with(part={"mass": 2.0}, nest={"hold_down": 10.0})
        assert result(job, PRELOAD).verdict == "pass"
        t = job.trajectory
        rise = np.clip(t.position[:, 2] + 2e-4, 0, 2e-3) / 2e-3 * (t.position[:, 0] == 0) * (t.t > 0.8)
        c, s = np.cos(0.2 * rise), np.sin(0.2 * rise)
        one = np.zeros_like(c)
        turn = np.stack([np.stack([c, one, s], 1), np.stack([one, one + 1, one], 1), np.stack([-s, one, c], 1)], 1)
        # about the edge of the pad at x = -10 mm
        edge = np.array([-0.01, 0.0, 0.0])
        position = t.position + edge - turn @ edge
        peeled = replace(job, trajectory=replace(t, rotation=turn @ DOWN, position=position))
        (off,) = [r for r in PRELOAD.answer(work_out(peeled)).results if r.check == "lift_off"]
        assert off.verdict == "fail"
        assert off.value < 1.0


class TestBondingAgain:
    """Cells that a release has broken, pressed on while they are dragged along."""

    SLIDE = ((0.5, {"x": 0.504}),)  # breaks all of them: T/k_t is 1.25 mm

    @pytest.mark.parametrize("digits", [None, 6, 5])
    @pytest.mark.parametrize("full_preload", [FULL, None])
    def test_dragged_under_constant_pressure_they_do_not(self, full_preload, digits):
        """Wherever the cell stands, and however the program is rounded: only T A sideways is ever asked."""
        for world in (np.eye(4), gm.pose((1 / 3, 1 / 7, 1.1), rpy=(0.1, 0.2, 0.3))):
            job = job_with(
                {"wait": self.SLIDE},
                material={"full_preload": full_preload},
                nest={"lateral_force": 1e3},
                world=world,
                digits=digits,
            )
            found = result(job, RELEASE).details.course
            assert found.bonded_at_end == 0
            assert found.ways["lift"].demand == pytest.approx(0.0, abs=1e-3)
            assert found.ways["slide"].demand == pytest.approx(T * AREA, rel=0.02)

    @pytest.mark.parametrize(("deeper", "holds"), [(15e-6, 0.15), (25e-6, 1.0)])
    def test_pressed_on_they_may_hold_fully(self, deeper, holds):
        """By the straight rise to 10 kPa 15 um give 0.15, and less than an arm's repeatability is no more than that."""
        job = job_with({"wait": [*self.SLIDE, (0.3, {"z": -1e-4 - deeper})]}, nest={"lateral_force": 1e3})
        assert result(job, RELEASE).details.course.ways["lift"].demand == pytest.approx(holds * S * AREA, rel=0.02)

    @pytest.mark.parametrize(("may_pass", "ways"), [(False, 1), (True, 2)])
    def test_on_finer_cells_the_weaker_bond_is_followed_only_where_it_may_matter(self, monkeypatch, may_pass, ways):
        """Pressed on by 25 um they hold all or, by the straight rise, a quarter."""
        job = job_with({"wait": [*self.SLIDE, (0.3, {"z": -1.25e-4})]}, nest={"lateral_force": 1e3})
        (release,) = work_out(job).putdowns
        followed, follow = [], handover.simulate
        monkeypatch.setattr(handover, "simulate", lambda *given: followed.append(given) or follow(*given))
        fine = handover.on_finer_cells(job, release, lambda finer: may_pass)
        assert (len(followed), fine.fully) == (ways, True)
        assert fine.faces[0].patch.areas.size == 4 * release.faces[0].patch.areas.size
        assert fine.history.force[:, 2].max() == pytest.approx(S * AREA, rel=0.02)
        assert release.at_best == pytest.approx(4 * release.least(job), rel=0.02)

    def test_a_measured_curve_of_first_presses_says_nothing_of_a_second(self):
        curve = {"full_preload": None, "preload_curve": [[0.0, 0.0], [2 * FULL, 1.0]]}
        wait = [*self.SLIDE, (0.3, {"z": -1.5e-4})]
        job = job_with({"wait": wait}, material=curve, nest={"lateral_force": 1e3})
        assert result(job, RELEASE).details.course.ways["lift"].demand == pytest.approx(S * AREA, rel=0.02)


def test_without_a_limit_a_press_far_beyond_the_usual_is_told_with_its_share():
    """2 mm deep: 200 kPa, where 10 bond fully."""
    found = result(job_with({"touch": [(0.5, {"z": -2e-3})]}, part={"max_pressure": None}), PRESSURE)
    assert found.verdict == "undecided"
    assert any("20 times" in line for line in found.lines)


def test_a_release_is_judged_on_clean_pads():
    job = job_with(material={"fouling_per_cycle": 0.05}, cycles=10.0)
    assert result(job, RELEASE).value == pytest.approx((0.3 * G + 60.0) / (S * AREA), rel=1e-3)


def test_pads_out_of_one_plane_let_go_as_they_lie_on_the_part():
    """Of three in a row the middle one is 0.1 mm low: it pulls with 10 kPa less as the others break, by hand."""
    job = job_with(part={"max_pressure": 1e5}, moves={"touch": [(0.5, {"z": -4e-4})]})
    (pad,) = job.gripper.pads
    row = [gm.pose((x, 0, z)) for x, z in ((-0.03, 0), (0, 1e-4), (0.03, 0))]
    pads = tuple(gm.Pad.rectangle(f"pad {i}", pad.material, [SIDE, SIDE], at) for i, at in enumerate(row))
    (release,) = work_out(replace(job, gripper=gm.Gripper(pads=pads))).putdowns
    assert release.history.force[:, 2].max() == pytest.approx(AREA * (3 * S - KN * 1e-4), rel=5e-3)


def test_break_away_counts_as_the_part_is_lifted():
    """(S A) over weight and break-away force, pulled straight."""
    for away in (0.0, 2.0):
        (off,) = [
            r for r in PRELOAD.answer(work_out(job_with(pick={"break_away": away}))).results if r.check == "lift_off"
        ]
        assert off.value == pytest.approx(S * AREA / (0.3 * G + away), rel=1e-6)
