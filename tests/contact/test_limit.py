"""The shared margin against closed forms of pads at uniform strength, and its proof from both sides."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

import gripmargin as gm
from gripmargin.contact.backing import Backing
from gripmargin.contact.cells import cut_pads, quadrature
from gripmargin.contact.limit import LimitFactor, limit_factor
from gripmargin.kernels.face import Face
from gripmargin.kernels.utilisation import peak_utilisation

PULL, SHEAR = 5e4, 4e4


def backing(*pads):
    part = gm.Part(mass=1.0, com=np.zeros(3), inertia=[1e-3, 1e-3, 1e-3, 0, 0, 0])
    return Backing(cut_pads(pads, part))


def limit(layer, *load, strengths=None):
    found = limit_factor(layer, strengths or [(PULL, SHEAR)] * len(layer.patches), np.array(load, dtype=float))
    assert found.converged
    assert found.lower <= found.upper * (1 + 1e-9)
    assert found.imbalance < 1e-5
    return found.lower


def square(film, side, name="pad", at=None):
    return gm.Pad.rectangle(name, film, [side, side], at)


class TestClosedForms:
    def test_torsion_of_a_disc(self, film, published):
        case, radius = published("contact", "torsion limit of a disc"), 0.03
        layer = backing(gm.Pad.disc("pad", film, 2 * radius))
        found = limit(layer, 0, 0, 0, 0, 0, 1) / (SHEAR * np.pi * radius**3)
        assert found == pytest.approx(case["value"], rel=case["tolerance"])

    def test_torsion_of_a_square(self, film, published):
        case, side = published("contact", "torsion limit of a square"), 0.05
        found = limit(backing(square(film, side)), 0, 0, 0, 0, 0, 1) / (SHEAR * side**3)
        assert found == pytest.approx(case["value"], rel=case["tolerance"])

    def test_torsion_of_a_ring_cut_from_segments(self, film, published):
        case, outer, inner = published("contact", "torsion limit of a ring"), 0.04, 0.025
        angle = 2 * np.pi / 36
        stretch = np.sqrt(angle / np.sin(angle))
        pads = [
            gm.Pad.polygon(
                f"{i}",
                film,
                stretch
                * np.array(
                    [
                        [r * np.cos(w), r * np.sin(w)]
                        for r, w in (
                            (outer, i * angle),
                            (outer, (i + 1) * angle),
                            (inner, (i + 1) * angle),
                            (inner, i * angle),
                        )
                    ]
                ),
            )
            for i in range(36)
        ]
        force = SHEAR * np.pi * (outer**2 - inner**2)
        found = limit(backing(*pads), 0, 0, 0, 0, 0, 1) / force
        expected = 2 / 3 * (outer**3 - inner**3) / (outer**2 - inner**2)
        assert found == pytest.approx(expected, rel=case["tolerance"])

    def test_disc_with_its_centre_of_rotation_on_the_rim(self, film, published):
        case, radius = published("contact", "disc with its centre of rotation on the rim"), 0.03
        area = np.pi * radius**2
        force, moment = np.array(case["value"]) * SHEAR * area * [1, 2 * radius / 3]
        # turning about (R, 0): the tractions at the centre push along -y and twist about +z
        found = limit(backing(gm.Pad.disc("pad", film, 2 * radius)), 0, -force, 0, 0, 0, moment)
        assert found == pytest.approx(1.0, rel=case["tolerance"])

    @pytest.mark.parametrize("load", [(1, 0, 0), (0, 1, 0), (0.6, -0.8, 0)])
    def test_centred_shear_uses_the_whole_face(self, film, load):
        assert limit(backing(square(film, 0.05)), *load, 0, 0, 0) == pytest.approx(SHEAR * 0.0025, rel=1e-3)

    def test_centred_pull_uses_the_whole_face(self, film):
        assert limit(backing(square(film, 0.05)), 0, 0, 1, 0, 0, 0) == pytest.approx(PULL * 0.0025, rel=1e-3)

    def test_pull_and_shear_together_follow_the_ellipse(self, film):
        pull, shear = 3.0, 2.0
        found = limit(backing(square(film, 0.05)), shear, 0, pull, 0, 0, 0)
        assert found == pytest.approx(0.0025 / np.hypot(pull / PULL, shear / SHEAR), rel=1e-3)

    def test_pure_peel_of_a_strip_turns_about_its_edge(self, film):
        """The edge is pressed without limit, the rest pulls at S: M = S b h^2 / 2 (plastic hinge, from memory)."""
        b, h = 0.02, 0.06
        found = limit(backing(gm.Pad.rectangle("pad", film, [b, h])), 0, 0, 0, 1, 0, 0)
        assert found == pytest.approx(PULL * b * h**2 / 2, rel=1e-3)


class TestEllipse:
    """Howe & Cutkosky's ellipse is no safe bound."""

    def uniform_disc(self, c):
        """Force and moment over their limits with the centre of rotation at c radii.

        Unit tractions across the direction from that centre, integrated along rays from it in closed form.
        """
        widest = np.pi if c < 1 else np.arcsin(1 / c)

        def ends(w):
            root = np.sqrt(max(1 - (c * np.sin(w)) ** 2, 0.0))
            return c * np.cos(w) + root, 0.0 if c < 1 else c * np.cos(w) - root

        def ray(w, power):
            far, near = ends(w)
            return (far**power - near**power) / power

        force = 2 * quad(lambda w: np.cos(w) * ray(w, 2), 0, widest)[0]
        moment = 2 * quad(lambda w: ray(w, 3), 0, widest)[0] - c * force
        return force / np.pi, moment / (2 * np.pi / 3)

    def test_overstates_the_uniform_disc_most_where_published(self, published):
        case = published("contact", "ellipse of Howe and Cutkosky over a uniform disc")
        centres = np.linspace(0.5, 1.1, 121)
        over = [1 / np.hypot(*self.uniform_disc(c)) for c in centres]
        assert max(over) - 1 == pytest.approx(case["value"], abs=case["tolerance"])
        assert centres[np.argmax(over)] == pytest.approx(case["at"], abs=0.01)

    def test_a_load_on_the_true_limit_has_a_shared_margin_of_one(self, film, published):
        case, radius = published("contact", "ellipse of Howe and Cutkosky over a uniform disc"), 0.03
        force_share, moment_share = self.uniform_disc(case["at"])
        area = np.pi * radius**2
        load = [0, -force_share * SHEAR * area, 0, 0, 0, moment_share * SHEAR * area * 2 * radius / 3]
        assert limit(backing(gm.Pad.disc("pad", film, 2 * radius)), *load) == pytest.approx(1.0, rel=1e-3)

    def test_centre_on_the_rim_in_the_same_integrals(self, published):
        expected = published("contact", "disc with its centre of rotation on the rim")["value"]
        force, moment = self.uniform_disc(1.0)
        assert force == pytest.approx(expected[0], rel=1e-9)
        assert moment == pytest.approx(expected[1], rel=1e-9)


def random_layer(random, film):
    pads = []
    for i in range(int(random.integers(1, 4))):
        at = gm.pose([*random.uniform(-0.1, 0.1, 2), 0], [*random.uniform(-0.3, 0.3, 2), random.uniform(-3, 3)])
        pads.append(gm.Pad.rectangle(f"{i}", film, random.uniform(0.01, 0.06, 2), at))
    return backing(*pads), [tuple(10 ** random.uniform(3.5, 5.5, 2)) for _ in pads]


class TestBracket:
    @given(seed=st.integers(0, 2**32 - 1))
    @settings(derandomize=True, deadline=None, max_examples=25)
    def test_grip_margin_is_never_above_the_shared_margin(self, film, seed):
        random = np.random.default_rng(seed)
        layer, strengths = random_layer(random, film)
        load = random.normal(size=6) * [1, 1, 1, 0.05, 0.05, 0.05]
        grip = 1 / peak_utilisation(Face(layer.edge_maps(strengths)[0]), load[:, None])[0][0]
        assert grip <= limit(layer, *load, strengths=strengths) * (1 + 1e-3)

    @given(seed=st.integers(0, 2**32 - 1), factor=st.floats(0.1, 50))
    @settings(derandomize=True, deadline=None, max_examples=10)
    def test_falls_as_one_over_the_load(self, film, seed, factor):
        random = np.random.default_rng(seed)
        layer, strengths = random_layer(random, film)
        load = random.normal(size=6) * [1, 1, 1, 0.05, 0.05, 0.05]
        once = limit(layer, *load, strengths=strengths)
        assert limit(layer, *(factor * load), strengths=strengths) * factor == pytest.approx(once, rel=2e-3)

    @given(seed=st.integers(0, 2**32 - 1))
    @settings(derandomize=True, deadline=None, max_examples=10)
    def test_both_ways_to_it_agree(self, film, seed):
        random = np.random.default_rng(seed)
        layer, strengths = random_layer(random, film)
        load = random.normal(size=6) * [1, 1, 1, 0.05, 0.05, 0.05]
        directly = limit_factor(layer, strengths, load)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr("gripmargin.contact.limit.least_work", lambda *_: None)
            programs = limit_factor(layer, strengths, load)
        assert programs.lower * (1 - 1e-9) <= directly.upper <= directly.lower * (1 + 2e-5)
        assert directly.lower <= programs.upper * (1 + 1e-9)
        assert directly.imbalance < 1e-8

    def test_stiffness_does_not_matter_to_it(self, film):
        soft = gm.PadMaterial(pull_off_stress=PULL, shear_strength=SHEAR, normal_stiffness=1e6, shear_stiffness=1e5)
        at = gm.pose((0.08, 0, 0))
        load = [3.0, 1.0, 20.0, 0.1, -0.4, 0.05]
        alike = limit(backing(square(film, 0.03), square(film, 0.03, "b", at)), *load)
        mixed = limit(backing(square(film, 0.03), square(soft, 0.03, "b", at)), *load)
        assert mixed == pytest.approx(alike, rel=2e-3)

    def test_no_load_has_no_limit(self, film):
        found = limit_factor(backing(square(film, 0.05)), [(PULL, SHEAR)], np.zeros(6))
        assert np.isinf(found.lower)

    def test_pressing_alone_has_no_finite_limit_worth_a_verdict(self, film):
        found = limit_factor(backing(square(film, 0.05)), [(PULL, SHEAR)], np.array([0, 0, -1.0, 0, 0, 0]))
        assert not (found.converged and np.isfinite(found.lower) and found.lower < 1e6)

    def test_bounds_that_do_not_meet_are_not_converged(self):
        assert not LimitFactor(1.0, 1.1, 0.0).converged
        assert not LimitFactor(1.0, float("nan"), 0.0).converged


def test_the_quadrature_of_a_disc_converges(film, published):
    """The error of the torsion limit falls with the size of the cells."""
    step = np.pi / 512
    angle = step * (2 * np.arange(512) + 1)
    face = shapely.Polygon(np.column_stack([np.cos(angle), np.sin(angle)]) * np.sqrt(2 * step / np.sin(2 * step)))
    errors = []
    for across in (3, 6, 12, 24):
        points, areas = quadrature(face, across)
        assert areas.sum() == pytest.approx(np.pi, rel=1e-12)
        errors.append(
            abs(areas @ np.hypot(*points.T) / np.pi - published("contact", "torsion limit of a disc")["value"])
        )
    rates = np.log2(np.array(errors[:-1]) / errors[1:])
    assert errors[-1] < 2e-5
    assert rates.mean() > 1.5
