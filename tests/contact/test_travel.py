"""How far a release goes against how far it has to go."""

import numpy as np
import pytest

from gripmargin.contact import travel as travel_
from gripmargin.contact.simulation import simulate
from gripmargin.contact.travel import begin, required_travel, travel


def share_left(left):
    """Enough is where no more than a share of the pad's full strength is left."""
    return lambda engine: engine.last.held[-1, 0] <= left


LINE = np.array([0.0, 1.0])
S, T, KN, KT = 9e4, 6e4, 1e8, 3.3e7
LENGTH, WIDTH = 0.08, 0.05


def test_a_travel_begins_where_a_hundredth_of_it_is_gone():
    assert begin(np.array([0.0, 0.009, 0.011, 0.5, 1.0]), 4) == 1


class TestTorsion:
    def test_a_disc_leaves_a_core(self, pad_face, move, full):
        """Share left (r_core/R)^2 with r_core = T/(k_t 2 sin(theta/2)); closed form."""
        radius = 0.03
        face = pad_face(diameter=2 * radius, across=24)
        motion = move(LINE, turn=[[0, 0, 0], [0, 0, np.deg2rad(5)]])
        for left in (0.5, 0.2, 0.05):
            found = required_travel([face], "torsion", motion, full(face), share_left(left))
            core = radius * np.sqrt(left)
            assert found.required == pytest.approx(2 * np.arcsin(T / (KT * 2 * core)), rel=0.02)
            assert found.achieved == pytest.approx(np.deg2rad(5))

    def test_a_soft_backing_gives_way_to_any_turn(self, pad_face, move, full):
        """Half a pad's length is less than T/k_t: the shear of the backing follows."""
        face = pad_face(shear_stiffness=1e6)
        found = required_travel([face], "torsion", move(LINE), full(face), share_left(0.1))
        assert found.required == np.inf
        assert found.left > 0.1
        assert found.searched > np.deg2rad(110)

    @pytest.mark.parametrize(("angle", "none"), [(0.9e-6, True), (1.1e-6, False)])
    def test_a_turn_of_a_millionth_is_none(self, pad_face, move, full, angle, none):
        """About an axis 1 m aside the pad breaks after a way of T/k_t, about its own it has to turn much further."""
        face = pad_face(across=4)
        motion = move(LINE, turn=[[0, 0, 0], [0, 0, angle]], about=(1.0, 0.0, 0.0))
        found = required_travel([face], "torsion", motion, full(face), share_left(0.5)).required
        assert found == (pytest.approx(0.1, abs=0.05) if none else pytest.approx(T / KT, rel=0.05))

    def test_the_search_ends_with_its_budget(self, pad_face, move, full, monkeypatch):
        """Of 20 blocks of 16 steps of 1/32 of the break displacement; and nothing is found that was not reached."""
        face = pad_face()
        most = 20.5 * 16 * (face.patch.areas.size + travel_.WORK_OF_A_STEP)
        monkeypatch.setattr(travel_, "MOST_WORK", most)
        found = required_travel([face], "shear", move(LINE, x=[0, 0.1]), full(face), lambda _: False)
        assert found.required == np.inf
        assert found.searched == pytest.approx(20 * 16 / 32 * face.break_displacement, rel=1e-6)

    def test_lift_after_the_turn_is_no_part_of_the_screw(self, pad_face, move, full):
        face = pad_face()
        turn, way = [0, 0, np.deg2rad(8)], np.linspace(0, 1, 21)
        alone = move(way, turn=np.outer(way, turn))
        t = np.append(way, 1 + way[1:])
        then = np.append(np.zeros(21), 2e-2 * way[1:])
        lifted = move(t, turn=np.outer(np.minimum(t, 1), turn), z=then)
        one, two = (required_travel([face], "torsion", m, full(face), share_left(0.1)) for m in (alone, lifted))
        assert two.required == pytest.approx(one.required, rel=0.02)
        assert two.achieved == pytest.approx(np.deg2rad(8))

    def test_turning_by_what_it_asks_for_does_it(self, pad_face, move, full):
        face = pad_face()
        found = required_travel(
            [face], "torsion", move(LINE, turn=[[0, 0, 0], [0, 0, 0.1]]), full(face), share_left(0.1)
        )
        done = simulate([face], move(LINE, turn=[[0, 0, 0], [0, 0, found.required * 1.02]]), full(face))
        assert done.held_total[-1] <= 0.1
        short = simulate([face], move(LINE, turn=[[0, 0, 0], [0, 0, found.required * 0.95]]), full(face))
        assert short.held_total[-1] > 0.1

    def test_what_is_pressed_down_before_does_not_go_on(self, pad_face, move, full):
        """A part pressed down by 0.1 mm and then turned by 0.1 rad needs a turn alone, not 1 mm down a radian."""
        face, turn = pad_face(), np.array([0, 0, 0.1])
        alone = required_travel([face], "torsion", move(LINE, turn=[0 * turn, turn]), full(face), share_left(0.1))
        pressed = move([0, 1, 2], z=[0, -1e-4, -1e-4], turn=[0 * turn, 0 * turn, turn])
        found = required_travel([face], "torsion", pressed, full(face), share_left(0.1))
        assert found.required == pytest.approx(alone.required, rel=1e-9)
        assert found.achieved == pytest.approx(0.1)


class TestPeel:
    def test_a_hinged_plate(self, pad_face, move, full):
        """Bonded length S/(k theta); closed form, small angles."""
        face = pad_face(across=40)
        motion = move(LINE, turn=[[0, 0, 0], [0, -0.01, 0]], about=[-LENGTH / 2, 0, 0])
        found = required_travel([face], "peel", motion, full(face), share_left(0.1))
        assert found.required == pytest.approx(S / (KN * 0.1 * LENGTH), rel=0.05)
        assert found.achieved == pytest.approx(0.01)

    @pytest.mark.parametrize("size", [(LENGTH, WIDTH), (WIDTH, LENGTH)])
    def test_without_a_tilt_it_is_about_the_shorter_edge(self, pad_face, move, full, size):
        face = pad_face(across=40, size=size)
        found = required_travel([face], "peel", move(LINE), full(face), share_left(0.1))
        assert found.required == pytest.approx(S / (KN * 0.1 * LENGTH), rel=0.05)
        assert found.achieved == pytest.approx(0)


class TestSlide:
    def test_it_goes_where_the_move_arrives(self, pad_face, move, full):
        """Not where it is on the way there: along y, though it starts along x."""
        face, seen = pad_face(), []

        def gone(engine):
            seen.append(engine.position.copy())
            return engine.last.held[-1, 0] <= 0

        required_travel([face], "shear", move([0, 1, 2], x=[0, 6e-4, 0], y=[0, 0, 1e-3]), full(face), gone)
        np.testing.assert_allclose(seen[-1][[0, 2]], 0, atol=1e-9)
        assert seen[-1][1] == pytest.approx(T / KT, rel=1e-3)

    def test_shear_strength_over_shear_stiffness(self, pad_face, move, full):
        face = pad_face()
        found = required_travel([face], "shear", move(LINE, y=[0, 1e-3]), full(face), share_left(0.0))
        assert found.required == pytest.approx(T / KT, rel=1e-3)
        assert found.achieved == pytest.approx(1e-3)

    @pytest.mark.parametrize("share", [0.5, 0.7])
    def test_a_weaker_bond_needs_less(self, pad_face, move, full, share):
        """To 1e-4, which the halvings of the last step give."""
        face = pad_face()
        bond = [share * cells for cells in full(face)]
        found = required_travel([face], "shear", move(LINE, y=[0, 1e-4]), bond, share_left(0.0))
        assert found.required == pytest.approx(share * T / KT, rel=1e-4)


BUCKLING = {"full_preload": 2e4, "overload_pressure": 5e4, "overload_residual": 0.1}


class TestOverload:
    def test_pressure_of_buckling(self, pad_face, move, full):
        face = pad_face(**BUCKLING)
        found = required_travel([face], "overload", move(LINE, z=[0, -2e-4]), full(face), share_left(0.2))
        assert found.required == pytest.approx(5e4, rel=0.05)
        assert found.achieved == pytest.approx(2e4, rel=1e-3)

    def test_without_data_no_pressure_is_enough(self, pad_face, move, full):
        face = pad_face(full_preload=2e4)
        found = required_travel([face], "overload", move(LINE, z=[0, -2e-4]), full(face), share_left(0.2))
        assert found.required == np.inf
        assert found.searched == pytest.approx(20 * face.reach * KN, rel=0.05)


def test_without_a_bond_nothing_is_required(pad_face, move, full):
    face = pad_face()
    none = [0 * share for share in full(face)]
    assert required_travel([face], "shear", move(LINE), none, share_left(0.1)).required == 0


class TestTravel:
    def test_each_in_its_own_unit(self, pad_face, move):
        face = pad_face()
        turned = move(LINE, turn=[[0, 0, 0], [0, -0.2, 0]])
        assert travel("peel", [face], turned) == pytest.approx([0, 0.2])
        assert travel("torsion", [face], turned) == pytest.approx([0, 0])
        assert travel("torsion", [face], move(LINE, turn=[[0, 0, 0], [0, 0, -2.5]])) == pytest.approx([0, 2.5])
        assert travel("shear", [face], move(LINE, x=[0, 3e-3], y=[0, 4e-3])) == pytest.approx([0, 5e-3])
        assert travel("overload", [face], move(LINE, z=[1e-3, -3e-4])) == pytest.approx([0, 3e4])
