"""Pull, peel, twist, slide and press of one pad against closed forms."""

import numpy as np
import pytest
from scipy.optimize import root
from scipy.spatial.transform import Rotation

from gripmargin.contact import simulation
from gripmargin.contact.simulation import simulate

LINE = np.array([0.0, 1.0])


S, T, KN, KT = 9e4, 6e4, 1e8, 3.3e7  # of the pads below
LENGTH, WIDTH = 0.08, 0.05
AREA = LENGTH * WIDTH


def tilt_about_edge(move, angle):
    """A tilt about the edge at the low x end, so that the other end lifts."""
    return move(LINE, turn=[[0, 0, 0], [0, -angle, 0]], about=[-LENGTH / 2, 0, 0])


class TestStraightPull:
    def test_it_takes_the_whole_pull_off_force_at_once(self, pad_face, move, full):
        face = pad_face()
        history = simulate([face], move(LINE, z=[0, 5e-3]), full(face))
        assert history.force[:, 2].max() == pytest.approx(S * AREA, rel=1e-6)
        assert history.held_total[-1] == 0
        assert history.fracture[-1] == pytest.approx(S**2 / (2 * KN) * AREA, rel=1e-9)

    def test_the_peak_is_found_between_two_samples(self, pad_face, move, full):
        """Two samples 40 mm apart: the pads have long let go at the second."""
        face = pad_face()
        history = simulate([face], move(LINE, z=[0, 40e-3]), full(face))
        assert np.abs(history.force[history.row_of_sample]).max() < 1e-3 * S * AREA
        assert history.force[:, 2].max() == pytest.approx(S * AREA, rel=1e-6)

    def test_the_energy_of_the_face_limits_the_stress(self, pad_face, move, full):
        """Energy spent on a unit of face is the peel energy, where that is what limits the pull-off stress."""
        face = pad_face(peel_energy=10.0)
        history = simulate([face], move(LINE, z=[0, 5e-3]), full(face))
        assert history.force[:, 2].max() == pytest.approx(np.sqrt(2 * KN * 10.0) * AREA, rel=1e-6)
        assert history.fracture[-1] / AREA == pytest.approx(10.0, rel=1e-9)


class TestPeel:
    def test_reaction_of_a_tilt_about_an_edge(self, pad_face, move, full):
        """A rigid plate hinged at its edge: stress k theta x up to S, bonded length S/(k theta); closed form.

        The force is at most half the pull-off force, at the first break, and falls as 1/theta. Theories of
        flexible films (Rivlin 1944, Kendall 1975) have no counterpart here: plate and part are rigid.
        """
        face = pad_face(across=32)
        history = simulate([face], tilt_about_edge(move, 0.05), full(face))
        hinge = np.array([-LENGTH / 2, 0, 0])
        moment = -history.moment_about(hinge)[:, 1]
        angle = 0.05 * history.t
        whole = angle > 3 * S / (KN * LENGTH)
        bonded = S / (KN * angle[whole])
        np.testing.assert_allclose(history.force[whole, 2], S * bonded * WIDTH / 2, rtol=0.05)
        np.testing.assert_allclose(moment[whole], S * bonded**2 * WIDTH / 3, rtol=0.08)
        assert history.force[:, 2].max() == pytest.approx(0.5 * S * AREA, rel=0.01)
        assert history.force[-1, 2] < 0.15 * S * AREA

    def test_peak_converges_with_the_cells_at_first_order_from_above(self, pad_face, move, full):
        """The outermost point of the grid lies 1/(6n) of the length inside the edge, so the peak errs high."""
        errors = []
        for across in (6, 12, 24):
            face = pad_face(across=across)
            history = simulate([face], tilt_about_edge(move, 0.02), full(face))
            peak = np.abs(history.moment_about(np.array([-LENGTH / 2, 0, 0]))[:, 1]).max() / (S * WIDTH * LENGTH**2 / 3)
            errors.append(peak - 1)
        assert all(error > 0 for error in errors)
        rates = np.log2(np.array(errors[:-1]) / np.array(errors[1:]))
        np.testing.assert_allclose(rates, 1.0, atol=0.15)

    def test_first_peel_of_a_part_tilted_about_the_pads_middle(self, published, pad_face, move, full):
        case = published("pressing", "first peel of a tilted rigid part")
        (b, h), k = case["size"], case["stiffness"]
        face = pad_face(
            size=(h, b),
            across=48,
            normal_stiffness=k,
            shear_stiffness=k / 3,
            peel_energy=case["peel_energy"],
            pull_off_stress=1e6,
            shear_strength=1e6,
        )
        history = simulate([face], move(LINE, turn=[[0, 0, 0], [0, -2 * case["tilt"], 0]]), full(face))
        first = int(np.argmax(history.bonded[:, 0] < 1 - 1e-9)) - 1
        assert 2 * case["tilt"] * history.t[first] == pytest.approx(case["tilt"], rel=0.01)
        assert -history.moment[first, 1] == pytest.approx(case["moment"], rel=0.01)

    def test_energy_release_rate_at_the_front(self, pad_face, move, full):
        """Past the first break the front recedes at sigma^2/(2k) for a unit of face.

        This is what a double cantilever on an elastic foundation has at its crack tip (Kanninen, Int. J. Fract.
        9:83, 1973, from memory); the bending of its arms has no counterpart here.
        """
        face = pad_face(across=32)
        history = simulate([face], tilt_about_edge(move, 0.05), full(face))
        torn = (1 - history.bonded[:, 0]) * AREA
        span = (torn > 0.1 * AREA) & (torn < 0.9 * AREA)
        slope = np.polyfit(torn[span], history.fracture[span], 1)[0]
        assert slope == pytest.approx(S**2 / (2 * KN), rel=1e-3)


class TestTwist:
    R = 0.03

    def test_a_core_stays_bonded(self, pad_face, move, full):
        """Shear grows with the distance from the centre: what is left is a disc of radius T/(k_t 2 sin(theta/2))."""
        face = pad_face(diameter=2 * self.R, across=40)
        angle = np.deg2rad(20.0)
        history = simulate([face], move(LINE, turn=[[0, 0, 0], [0, 0, angle]]), full(face))
        core = T / (KT * 2 * np.sin(angle / 2))
        assert history.bonded[-1, 0] == pytest.approx((core / self.R) ** 2, rel=0.03)
        radius = np.linalg.norm(face.patch.points[:, :2], axis=1)
        held = history.pads[0].held > 0
        assert radius[held].max() < 1.02 * core
        assert radius[~held].min() > 0.98 * core

    def test_how_strong_the_core_still_is(self, pad_face, move, full):
        """Lifting the sheared core: with tau/T = r/r_c the bonded area at stress sigma is pi r_c^2 (1 - sigma^2/S^2),

        so the force peaks at sigma = S/sqrt(3): 2/(3 sqrt 3) of the core's pull-off force; closed form.
        """
        face = pad_face(diameter=2 * self.R, across=40)
        angle = np.deg2rad(12.0)
        history = simulate(
            [face], move([0, 1, 2], turn=[[0, 0, 0], [0, 0, angle], [0, 0, angle]], z=[0, 0, 4e-3]), full(face)
        )
        core = np.pi * (T / (KT * 2 * np.sin(angle / 2))) ** 2
        assert history.force[:, 2].max() == pytest.approx(2 / (3 * np.sqrt(3)) * S * core, rel=0.02)

    def test_moment_of_the_elastic_twist_and_at_first_peel(self, pad_face, move, full):
        """Disc: k_t J theta before the first break, at T R^3 pi/2 = half the radius of the force limit; any text."""
        face = pad_face(diameter=2 * self.R, across=24)
        history = simulate([face], move(LINE, turn=[[0, 0, 0], [0, 0, np.deg2rad(20)]]), full(face))
        first = int(np.argmax(history.bonded[:, 0] < 1 - 1e-9)) - 1
        assert history.moment[first, 2] == pytest.approx(T * np.pi * self.R**3 / 2, rel=0.01)

    def test_a_pad_off_the_axis_lets_go_altogether(self, pad_face, move, full):
        """All cells are further out than T/(k_t theta)."""
        at = np.eye(4)
        at[0, 3] = 0.1
        face = pad_face(size=(0.04, 0.04), at=at)
        angle = 1.05 * T / (KT * 0.08)
        history = simulate([face], move(LINE, turn=[[0, 0, 0], [0, 0, angle]]), full(face))
        assert history.held_total[-1] == 0


class TestSlide:
    def test_travel_and_force(self, pad_face, move, full):
        face = pad_face()
        history = simulate([face], move(LINE, x=[0, 4e-3]), full(face))
        gone = int(np.argmax(history.bonded[:, 0] == 0))
        assert 4e-3 * history.t[gone - 1] == pytest.approx(T / KT, rel=1e-6)
        assert np.abs(history.force[:, 0]).max() == pytest.approx(T * AREA, rel=1e-6)
        assert history.force[0] == pytest.approx([0, 0, 0], abs=1e-3)

    def test_short_of_that_travel_it_holds(self, pad_face, move, full):
        face = pad_face()
        assert simulate([face], move(LINE, x=[0, 0.99 * T / KT]), full(face)).held_total[-1] == pytest.approx(1)

    def test_pressed_on_meanwhile_it_holds_again_at_once(self, pad_face, move, full):
        """Any rise of pressure bonds a broken cell: it holds a way of T/k_t, and breaks again; closed form.

        It takes one to two steps of the simulation to bond again. What the last bond bears along the face is missing in
        the pull that follows: S sqrt(1 - (way/(T/k_t))^2).
        """
        face, s = pad_face(), np.linspace(0, 1, 17)
        s, way, limit, step = 10 * s**3 - 15 * s**4 + 6 * s**5, 0.01, T / KT, simulation.STEP * S / KN
        x, z = np.append(s, np.ones(16)) * way, np.append(-5e-4 * s, 5e-3 * s[1:] - 5e-4)
        history = simulate([face], move(np.arange(33), x=x, z=z), full(face))
        assert (np.diff(history.bonded[:, 0]) < -0.5).sum() == way // limit + 1
        last = (way % limit - way // limit * np.array([0, 2]) * step) / limit
        latest, soonest = S * AREA * np.sqrt(1 - last**2)
        assert latest <= history.force[:, 2].max() <= soonest


class TestPressing:
    def test_tilted_punch(self, published, pad_face, move):
        """Lowered until its last cell touches, a tilted pad has the mean pressure k h eps/2."""
        case = published("pressing", "tilted punch, full contact")
        h, eps = case["length"], np.deg2rad(case["tilt_degrees"])
        face = pad_face(size=(h, 0.04), normal_stiffness=case["stiffness"], min_dwell=1e6)
        depth = h / 2 * np.sin(eps)
        history = simulate([face], move([0, 1, 2], z=[1e-3, -depth, -1.001 * depth], turn=[0, eps, 0]))
        mean = -history.force[history.row_of_sample[1], 2] / face.patch.area
        assert mean == pytest.approx(case["value"], abs=case["tolerance"])
        last = np.nanmax(history.pads[0].first_touch)
        along = face.patch.points[:, 0].min()  # the outermost cells on the far side
        assert 1e-3 - last * (1e-3 + depth) == pytest.approx(along * np.sin(eps), abs=2e-8)

    def test_footing_that_lifts_on_one_side(self, published, pad_face, move):
        """Driven by load, the tilt is sought at which the reaction is the load."""
        case = published("pressing", "footing that lifts at two corners")
        k = 1e9
        face = pad_face(size=case["size"], across=64, normal_stiffness=k, min_dwell=1e6)
        target = 1e3 * np.array([-case["force"], *case["moments"]])

        def excess(pose):
            depth, rx, ry = pose * 1e-5
            history = simulate([face], move([0.0], z=-depth, turn=[rx, ry, 0]))
            return (np.array([history.force[0, 2], *history.moment[0, :2]]) - target) / 1e5

        found = root(excess, [1.0, 0.1, 0.1], tol=1e-8)
        assert found.success
        depth, rx, ry = found.x * 1e-5
        corners = np.array([[x, y] for x in (-1, 1) for y in (-1, 1)]) * np.array(case["size"]) / 2
        pressure = k * np.maximum(depth - rx * corners[:, 1] + ry * corners[:, 0], 0) / 1e3
        np.testing.assert_allclose(np.sort(pressure), case["value"], atol=case["tolerance"])

    def test_one_sided_contact_one_way(self, pad_face, move):
        """2N/(3b(h/2 - e)) at the edge (Bellos & Bakas 2017): contact over half the length, e = h/3."""
        face = pad_face(across=48, min_dwell=1e6)
        angle = 2e-3
        history = simulate([face], move([0.0], turn=[0, angle, 0]))
        force, moment = -history.force[0, 2], history.moment[0, 1]
        eccentricity = moment / force
        assert eccentricity == pytest.approx(LENGTH / 3, rel=2e-3)
        edge = 2 * force / (3 * WIDTH * (LENGTH / 2 - eccentricity))
        assert KN * angle * LENGTH / 2 == pytest.approx(edge, rel=5e-3)

    def test_flatness_takes_away_pressure(self, pad_face, move):
        face, low = pad_face(), pad_face(gap=5e-5)
        moves = move(LINE, z=[1e-3, -2e-4])
        high, less = simulate([face], moves), simulate([low], moves)
        assert high.pressure[-1, 0] - less.pressure[-1, 0] == pytest.approx(5e-5 * KN, rel=1e-6)

    def test_where_the_pressure_is_highest(self, pad_face, move):
        face = pad_face()
        history = simulate([face], move(LINE, z=[1e-3, -2e-4], turn=[2e-3, 3e-3, 0]))
        cell = history.pressure_cell[-1, 0]
        assert cell == history.pads[0].peak_pressure.argmax()
        place = Rotation.from_rotvec([2e-3, 3e-3, 0]).as_matrix() @ np.diag([1, -1, -1]) @ face.patch.points[cell]
        assert place[2] == pytest.approx(-history.pressure[-1, 0] / KN - 2e-4 * 0 + 2e-4, rel=1e-3)
