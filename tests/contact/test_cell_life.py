"""The life of a cell: touch, press, dwell, bond, break, bond again, buckle."""

from dataclasses import replace

import numpy as np
import pytest

from gripmargin.contact.activation import ActivationLaw
from gripmargin.contact.cell_states import CellState
from gripmargin.contact.simulation import simulate

S, T, KN, KT = 9e4, 6e4, 1e8, 3.3e7
AREA = 0.08 * 0.05
LIFT = 3e-3


class TestActivation:
    def test_it_is_what_the_peak_pressure_gives(self, pad_face, move):
        """Pressed to 0.4 of the full preload, then nearly relieved: the peak counts."""
        face = pad_face(full_preload=5e4)
        history = simulate([face], move([0, 1, 2], z=[1e-3, -2e-4, -1e-5]))
        np.testing.assert_allclose(history.pads[0].held, 0.4, rtol=1e-4)

    def test_it_scales_the_force_that_pulls_off(self, pad_face, move):
        face = pad_face(full_preload=5e4)
        history = simulate([face], move([0, 1, 2], z=[1e-3, -2e-4, LIFT]))
        assert history.force[:, 2].max() == pytest.approx(0.4 * S * AREA, rel=1e-3)
        assert history.force[:, 2].min() == pytest.approx(-2e4 * AREA, rel=1e-3)

    def test_a_tilted_press_bonds_one_side_only(self, pad_face, move):
        """1.5 degrees on 80 mm are 2.1 mm; pressed by 0.6 mm at the low edge."""
        face = pad_face(full_preload=5e4)
        angle = np.deg2rad(1.5)
        history = simulate([face], move([0, 1], z=[3e-3, 0.04 * np.sin(angle) - 6e-4], turn=[0, angle, 0]))
        pads, x = history.pads[0], face.patch.points[:, 0]
        assert (pads.held[x > 0.0365] == 1).all()
        assert (pads.held[x < 0.04 - 6e-4 / np.sin(angle)] == 0).all()
        assert np.isnan(pads.first_touch[x < 0]).all()
        assert (np.diff(pads.held[np.argsort(x)]) > -1e-3).all()

    def test_what_is_pressed_without_a_bond_has_its_moment_where_the_pad_is(self, pad_face, move):
        """40 N, 0.2 m and 0.1 m from the origin of the face."""
        face = pad_face(min_dwell=10.0)
        history = simulate([face], move([0, 1], z=[1e-3, -1e-4], x=[0.2, 0.2], y=[0.1, 0.1]))
        assert history.held_total[-1] == 0
        np.testing.assert_allclose(history.force[-1], [0, 0, -1e-4 * KN * AREA], atol=1e-3)
        np.testing.assert_allclose(history.moment[-1], [-4.0, 8.0, 0], atol=1e-3)

    def test_a_law_without_data_holds_fully_at_any_touch(self, pad_face, move):
        face = pad_face()
        assert face.law.source == "none"
        assert simulate([face], move([0, 1], z=[1e-3, -1e-6])).held_total[-1] == pytest.approx(1)

    def test_no_touch_no_bond(self, pad_face, move):
        face = pad_face()
        history = simulate([face], move([0, 1], z=[1e-3, 0.0]))
        assert history.held_total[-1] == 0
        assert (history.pads[0].state == CellState.FREE).all()
        assert np.abs(history.force).max() == 0

    @pytest.mark.parametrize(("depth", "bonds"), [(0.8e-9, False), (1.5e-9, True)])
    def test_rounding_makes_no_bond(self, pad_face, move, depth, bonds):
        history = simulate([pad_face()], move([0, 1], z=[1e-3, -depth]))
        assert history.pads[0].held.any() == bonds

    def test_first_touch_is_found_between_samples(self, pad_face, move):
        face = pad_face(full_preload=5e4)
        history = simulate([face], move([0, 1], z=[3e-3, -1e-3]))
        np.testing.assert_allclose(history.pads[0].first_touch, 0.75, atol=1e-6)
        np.testing.assert_allclose(history.pads[0].contact_time, 0.25, atol=1e-6)

    def test_a_bonded_cell_counts_its_time_under_pressure_alone(self, pad_face, move):
        """Pressed from 1.8 s on, moved a little from 4 to 5 between rests, from 6 raised into tension, at 6.5 s."""
        t = [0, 1, 1 + 1.4 / 1.25, 3, 3.5, 4, 5, 5.5, 6, 7]  # a rest of two intervals is skipped
        z, x = [1e-3, 1e-3, -4e-4, *[-1e-4] * 6, 1e-4], [0, 0, 0, 0, 0, 0, *[1e-5] * 4]
        history = simulate([pad_face()], move(t, z=z, x=x))
        step = S / KN / 32 / 2e-4  # s; the last one counts only if it ends under pressure
        assert (np.abs(history.pads[0].contact_time - (6.5 - 1.8 - step / 2)) <= step / 2).all()


class TestDwell:
    @pytest.mark.parametrize(("rest", "bonds"), [(0.4, False), (0.6, True)])
    def test_the_least_time_under_pressure(self, pad_face, move, rest, bonds):
        face = pad_face(full_preload=1e4, min_dwell=0.5)
        history = simulate([face], move([0, 0.02, 0.02 + rest, 0.03 + rest], z=[1e-3, -2e-4, -2e-4, 1e-3]))
        assert bool(history.held_total.max() > 0) is bonds

    @pytest.mark.parametrize(("end", "bonds"), [(0.9, False), (1.0, True)])
    def test_the_least_time_counts_anew_from_a_break(self, pad_face, move, full, end, bonds):
        """Dragged by 4 mm/s while it is pressed on, it breaks after T / k_t = 1.8 mm, at 0.45 s."""
        face = pad_face(full_preload=5e4, min_dwell=0.5)
        history = simulate([face], move([0, end], z=[-1e-4, -1e-4 * (1 + end)], x=[0, 4e-3 * end]), full(face))
        np.testing.assert_allclose(history.pads[0].broken, T / KT / 4e-3, rtol=1e-3)
        assert history.imbalance < 1e-9  # forces are linear within a step: nothing is missed
        assert history.pads[0].held.any() == bonds

    def test_a_touch_too_short_to_bond_gives_the_work_back(self, pad_face, move):
        history = simulate([pad_face(min_dwell=5.0)], move([0, 1, 2], z=[1e-3, -2e-4, 1e-3]))
        assert history.elastic.max() == pytest.approx(KN * 2e-4**2 / 2 * AREA, rel=1e-3)
        assert np.abs(history.work - history.elastic).max() < 1e-9 * history.elastic.max()

    def test_rest_in_many_samples_counts_like_rest_in_one(self, pad_face, move):
        face = pad_face(full_preload=1e4, min_dwell=0.5)
        few = move([0, 0.02, 0.62], z=[1e-3, -2e-4, -2e-4])
        t = np.append([0.0, 0.02], 0.02 + np.linspace(0.001, 0.6, 600))
        many = move(t, z=np.append(1e-3, np.full(601, -2e-4)))
        one, two = simulate([face], few), simulate([face], many)
        assert one.held_total[-1] == pytest.approx(1)
        assert two.held_total[-1] == pytest.approx(1)
        np.testing.assert_allclose(one.pads[0].contact_time, two.pads[0].contact_time, rtol=1e-9)

    def test_before_it_bonds_a_face_slides_without_shear(self, pad_face, move):
        face = pad_face(full_preload=1e4, min_dwell=0.5)
        moves = move([0, 0.02, 0.3, 1.0, 1.1], z=[1e-3, -2e-4, -2e-4, -2e-4, -2e-4], x=[0, 0, 1e-3, 1e-3, 1.5e-3])
        history = simulate([face], moves)
        row = history.row_of_sample
        assert np.abs(history.force[row[3], :2]).max() < 1e-6
        assert -history.force[row[4], 0] == pytest.approx(-KT * 5e-4 * AREA, rel=1e-3)
        np.testing.assert_allclose(history.pads[0].slid, 1.5e-3, rtol=1e-3)

    def test_without_a_least_dwell_a_drag_leaves_shear(self, pad_face, move):
        """Bonded at first touch: the sideways way while pressing on stays in the backing."""
        face = pad_face(full_preload=1e4)
        history = simulate([face], move([0, 1], z=[0.0, -4e-4], x=[0, 2e-4]))
        np.testing.assert_allclose(np.abs(history.pads[0].traction[:, 0]), KT * 2e-4, rtol=1e-3)
        np.testing.assert_allclose(history.pads[0].slid, 2e-4, rtol=1e-3)


class TestBreakingAndBondingAgain:
    def test_pressed_again_after_it_was_off(self, pad_face, move):
        face = pad_face(full_preload=5e4)
        history = simulate([face], move(np.arange(4), z=[0.5e-3, -4e-4, 0.1, -1e-4]))
        pads = history.pads[0]
        np.testing.assert_allclose(pads.held, 0.2, rtol=1e-3)
        assert (pads.breaks == 1).all()
        assert (pads.broken < 2).all()
        np.testing.assert_allclose(pads.first_touch, 5 / 9, atol=1e-5)

    def test_broken_under_pressure_it_slides_on(self, pad_face, move, full):
        """Dragged over the face at constant pressure it carries pressure only."""
        face = pad_face(full_preload=5e4)
        history = simulate([face], move([0, 1, 2], z=[-1e-4, -1e-4, -1e-4], x=[0, 4e-3, 8e-3]), full(face))
        assert (history.pads[0].state == CellState.TOUCHING).all()
        np.testing.assert_allclose(history.force[-1], [0, 0, -1e4 * AREA], atol=1e-2)
        np.testing.assert_allclose(history.pads[0].slid, 8e-3, rtol=1e-3)
        assert history.fracture[-1] / AREA == pytest.approx(T**2 / (2 * KT), rel=1e-4)  # what presses stays stored

    def test_spinning_while_it_is_dragged_off_it_pulls_straight_back(self, pad_face, move, full):
        """A speck of a pad, for which the spin alone is no way: all of it breaks at the shear strength."""
        face = pad_face(size=(1e-6, 1e-6), across=2)
        t = np.linspace(0.0, 1.0, 302)
        history = simulate([face], move(t, x=2e-3 * t, turn=np.outer(t, [0, 0, 30.0])), full(face))
        used = history.force / (T * face.patch.area)
        np.testing.assert_allclose(used[used[:, 0] > 0.5][-1], [1.0, 0.0, 0.0], atol=1e-3)

    def test_broken_under_pressure_it_bonds_by_the_rise(self, pad_face, move, full):
        face = pad_face(full_preload=5e4)
        history = simulate([face], move([0, 1, 2], z=[-1e-4, -1e-4, -3e-4], x=[0, 4e-3, 4e-3]), full(face))
        np.testing.assert_allclose(history.pads[0].held, 0.4, rtol=1e-2)

    @pytest.mark.parametrize(("noise", "again"), [(1e-6, False), (2e-5, True)])
    def test_a_height_that_wavers_by_more_than_a_seat_is_a_rise(self, pad_face, move, full, noise, again):
        """A fiftieth of what breaks it, 18 um, is the most that counts as one height."""
        face, t = pad_face(full_preload=5e4, across=3), np.linspace(0, 1, 101)
        z = -1e-4 + noise * np.random.default_rng(1).normal(size=t.size)
        assert (simulate([face], move(t, z=z, x=4e-3 * t), full(face)).pads[0].breaks > 1).all() == again

    @pytest.mark.parametrize(("gathers", "held"), [(False, 0.2), (True, 0.6)])
    def test_broken_again_it_bonds_by_the_last_rise_or_by_all(self, pad_face, move, full, gathers, held):
        """Rises of 20 and 10 kPa, each after a drag that breaks it; 50 kPa would be full."""
        face = replace(pad_face(full_preload=5e4), gathers=gathers)
        z, x = [-1e-4, -1e-4, -3e-4, -3e-4, -4e-4], [0, 4e-3, 4e-3, 8e-3, 8e-3]
        history = simulate([face], move(np.arange(5), z=z, x=x), full(face))
        assert (history.pads[0].breaks > 1).all()
        np.testing.assert_allclose(history.pads[0].held, held, rtol=1e-2)

    @pytest.mark.parametrize(("dwells_on", "held"), [(False, 0.0), (True, 0.4)])
    def test_its_dwell_begins_anew_or_goes_on(self, pad_face, move, full, dwells_on, held):
        """Broken by a drag, then pressed on by 20 of 50 kPa for less than the least dwell."""
        face = replace(pad_face(full_preload=5e4, min_dwell=5.0), dwells_on=dwells_on)
        history = simulate(
            [face], move([0, 1, 2, 2.5], z=[-1e-4, -1e-4, -3e-4, -3e-4], x=[0, 4e-3, 4e-3, 4e-3]), full(face)
        )
        np.testing.assert_allclose(history.pads[0].held, held, rtol=1e-2)

    @pytest.mark.parametrize(("dwells_on", "held"), [(False, 0.4), (True, 0.2)])
    def test_dragged_on_while_it_is_pressed_on_it_may_break_again(self, pad_face, move, full, dwells_on, held):
        """Where the dwell goes on, what the pressure rises by in the drag is lost: 10 of the 20 kPa of 50."""
        face = replace(pad_face(full_preload=5e4, min_dwell=0.9), dwells_on=dwells_on)
        t, z = [0, 1, 1.3, 2, 3], [-1e-4, -1e-4, -2e-4, -3e-4, -3e-4]
        history = simulate([face], move(t, z=z, x=[0, 4e-3, 8e-3, 8e-3, 8e-3]), full(face))
        np.testing.assert_allclose(history.pads[0].held, held, rtol=2e-2)

    def test_dragged_steeply_it_does_not_bond(self, pad_face, move):
        face = pad_face(full_preload=5e4)
        history = simulate([face], move([0, 1], z=[0.0, -1e-4], x=[0, 5e-3]))
        assert history.held_total[-1] < 0.02
        assert history.pads[0].breaks.min() > 0

    def test_what_holds_a_bond_also_limits_its_shear(self, pad_face, move, full):
        """Pull and shear together: (sigma/S)^2 + (tau/T)^2 = 1."""
        face = pad_face()
        z, x = 1.0e-3, 2.0e-3
        history = simulate([face], move([0, 1], z=[0, z], x=[0, x]), full(face))
        u = np.hypot(KN * z / S, KT * x / T)
        np.testing.assert_allclose(history.pads[0].broken, 1 / u, rtol=1e-5)
        assert history.elastic.max() == pytest.approx(history.fracture[-1], rel=1e-6)
        spent = history.fracture[-1] / AREA
        assert spent == pytest.approx((KN * z**2 + KT * x**2) / u**2 / 2, rel=1e-5)

    def test_mixed_mode_criterion(self, published, pad_face, move, full):
        """Energies at the break, each over its own critical energy, add up to 1."""
        case = published("pressing", "linear mixed-mode criterion")
        face = pad_face()
        history = simulate([face], move([0, 1], z=[0, 1e-3], x=[0, 2e-3]), full(face))
        s = history.pads[0].broken[0]
        opening, sliding = KN * (s * 1e-3) ** 2 / 2, KT * (s * 2e-3) ** 2 / 2
        total = opening / (S**2 / (2 * KN)) + sliding / (T**2 / (2 * KT))
        assert total == pytest.approx(case["value"], abs=3e-6)  # the skin of 1 nm

    def test_pressure_does_not_break(self, pad_face, move, full):
        face = pad_face()
        history = simulate([face], move([0, 1], z=[0, -5e-3]), full(face))
        assert history.held_total.min() == pytest.approx(1)

    def test_the_next_motion_starts_with_the_bond_of_the_last(self, pad_face, move):
        face = pad_face(full_preload=5e4)
        press = simulate([face], move([0, 1, 2], z=[1e-3, -1e-4, 0], turn=[2e-3, 0, 0]))
        release = simulate([face], move([0, 1], z=[0, LIFT]), press.bond)
        held = np.sum(press.bond[0] * face.patch.areas) / AREA
        assert 0.1 < held < 0.9
        assert release.held_total[0] == pytest.approx(held)
        assert 0 < release.force[:, 2].max() < S * AREA * held


BUCKLING = {"full_preload": 2e4, "overload_pressure": 5e4, "overload_residual": 0.1}


class TestOverload:
    def test_pressed_past_buckling_it_lets_go(self, pad_face, move, full):
        face = pad_face(**BUCKLING)
        history = simulate([face], move([0, 1, 2], z=[0, -6e-4, LIFT]), full(face))
        assert history.force[:, 2].max() == pytest.approx(0.1 * S * AREA, rel=1e-3)
        assert history.pads[0].overloaded.all()

    def test_short_of_it_it_holds(self, pad_face, move, full):
        face = pad_face(**BUCKLING)
        history = simulate([face], move([0, 1, 2], z=[0, -4.9e-4, LIFT]), full(face))
        assert history.force[:, 2].max() == pytest.approx(S * AREA, rel=1e-3)

    def test_without_data_it_is_never_assumed(self, pad_face, move, full):
        face = pad_face(full_preload=2e4)
        history = simulate([face], move([0, 1, 2], z=[0, -6e-4, LIFT]), full(face))
        assert history.force[:, 2].max() == pytest.approx(S * AREA, rel=1e-3)

    def test_off_the_face_the_fibres_stand_up_again(self, pad_face, move, full):
        face = pad_face(**BUCKLING)
        history = simulate([face], move(np.arange(4), z=[0, -6e-4, LIFT, -3e-4]), full(face))
        np.testing.assert_allclose(history.pads[0].held, 1.0)

    def test_fibres_that_buckled_before_do_not_buckle_twice(self, pad_face, move, full):
        """A bond that comes with the residual share keeps it when pressed too far again."""
        face = pad_face(**BUCKLING)
        bond = [0.1 * share for share in full(face)]
        history = simulate([face], move([0, 1], z=[0, -6e-4]), bond)
        np.testing.assert_allclose(history.pads[0].held, 0.1)

    def test_a_measured_curve_may_fall(self, pad_face, move):
        law = ActivationLaw(np.array([0.0, 2e4, 5e4]), np.array([0.0, 1.0, 0.3]), "measured curve")
        face = pad_face(law=law)
        history = simulate([face], move([0, 1], z=[1e-3, -3.5e-4]))
        np.testing.assert_allclose(history.pads[0].held, 0.65, rtol=1e-3)
        # sheared to half of its strength, and only after a rest pressed to where it holds 0.3
        x = 0.5 * T / KT
        motion = move(np.arange(6), z=[1e-3, -2e-4, -2e-4, -2e-4, -2e-4, -5e-4], x=[0, 0, x, x, x, x])
        assert (simulate([face], motion).pads[0].breaks == 1).all()


class TestShortcuts:
    """Cells at rest are not followed step by step; nobody may notice."""

    def test_following_every_cell_gives_the_same(self, pad_face, move, monkeypatch):
        from gripmargin.contact import press_engine

        face = pad_face(across=5, full_preload=5e4, min_dwell=0.02, overload_pressure=7e4, overload_residual=0.5)
        t = np.linspace(0, 1, 401)
        random = np.random.default_rng(4)
        z = np.interp(t, [0, 0.2, 0.4, 0.6, 0.8, 1], [1e-3, -6e-4, -5e-4, 2e-3, -3e-4, 3e-3])
        z = z + 2e-5 * random.standard_normal(t.size)
        turn = np.column_stack([2e-3 * np.sin(9 * t), 3e-3 * np.cos(7 * t), 0.03 * t])
        moves = move(t, z=z, turn=turn, x=3e-4 * np.sin(20 * t))
        quick = simulate([face], moves)
        calm = lambda self, knots: np.zeros(self.cells.area.size, bool)  # noqa: E731
        quiet = lambda self, knots, restless: np.zeros(restless.size, bool)  # noqa: E731
        monkeypatch.setattr(press_engine.PressEngine, "_calm", calm)
        monkeypatch.setattr(press_engine.PressEngine, "_quiet", quiet)
        slow = simulate([face], moves)
        np.testing.assert_allclose(quick.t, slow.t)
        np.testing.assert_allclose(quick.force, slow.force, atol=1e-8 * S * AREA)
        np.testing.assert_allclose(quick.moment, slow.moment, atol=1e-8 * S * AREA)
        np.testing.assert_allclose(quick.elastic, slow.elastic, atol=1e-12)
        for key in ("bonded", "held", "pressure"):
            np.testing.assert_allclose(getattr(quick, key), getattr(slow, key), rtol=1e-9, atol=1e-9)
        for key in ("state", "held", "peak_pressure", "first_touch", "broken", "breaks", "contact_time", "traction"):
            np.testing.assert_allclose(getattr(quick.pads[0], key), getattr(slow.pads[0], key), rtol=1e-9, atol=1e-5)
        assert quick.pads[0].breaks.max() >= 2  # the motion is eventful
        assert quick.imbalance < 2e-3

    def test_how_many_are_followed_together_changes_nothing(self, pad_face, move, monkeypatch):
        from gripmargin.contact import press_engine, simulation

        face = pad_face(across=5, full_preload=5e4)
        t = np.linspace(0, 1, 401)
        z = np.interp(t, [0, 0.3, 0.6, 1], [1e-3, -6e-4, 2e-3, -3e-4])
        moves = move(t, z=z, turn=np.column_stack([2e-3 * np.sin(9 * t), 3e-3 * np.cos(7 * t), 0.03 * t]))
        together = simulate([face], moves)
        monkeypatch.setattr(press_engine, "MOST_AT_ONCE", 1000)
        monkeypatch.setattr(simulation, "BLOCK", 100)
        apart = simulate([face], moves)
        np.testing.assert_allclose(together.t, apart.t)
        np.testing.assert_allclose(together.force, apart.force, atol=1e-8 * S * AREA)
        np.testing.assert_allclose(together.pads[0].held, apart.pads[0].held, rtol=1e-9)

    @pytest.mark.parametrize("gathers", [False, True])
    def test_nothing_hangs_on_where_a_stretch_begins_and_ends(self, pad_face, move, monkeypatch, gathers):
        """Twice dragged off and pressed on, then it slides there and back as it is pressed on further."""
        from gripmargin.contact import simulation

        t = np.linspace(0, 1, 1025)
        z = -1e-4 * np.interp(t, [0, 0.1, 0.2, 0.25, 0.35, 0.4, 1.0], [-1.0, 1.0, 0.6, 1.2, 1.2, 1.5, 1.6])
        x = 1e-3 * np.interp(t, [0.1, 0.2, 0.25, 0.35, 0.6, 0.8, 1.0], [0.0, 3.0, 3.0, 6.0, 6.0, 6.1, 6.0])
        face, moves = replace(pad_face(across=3, full_preload=2e4), gathers=gathers), move(t, x=x, z=z)
        together = simulate([face], moves)
        monkeypatch.setattr(simulation, "BLOCK", 100)
        apart = simulate([face], moves)
        assert together.pads[0].breaks.min() >= 2
        for one, other in ((together, apart), (together.pads[0], apart.pads[0])):
            for key, value in vars(one).items():
                if isinstance(value, np.ndarray):
                    np.testing.assert_allclose(value, getattr(other, key), rtol=1e-9, atol=1e-9, err_msg=key)

    def test_a_long_way_off_costs_nothing_and_changes_nothing(self, pad_face, move):
        face = pad_face(full_preload=5e4)
        t = np.linspace(0, 10, 5001)
        z = np.interp(t, [0, 4, 4.5, 5, 10], [0.3, 0.1, -2e-4, 0.1, 0.4])
        history = simulate([face], move(t, z=z))
        assert history.t.size < 5200
        assert history.t[history.row_of_sample] == pytest.approx(t)
        np.testing.assert_allclose(
            history.pads[0].first_touch, np.interp(0.0, [-2e-4, 0.1], [-4.5, -4]) * -1, atol=1e-4
        )
        np.testing.assert_allclose(history.held_total[-1], 0)
