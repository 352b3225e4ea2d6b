"""How a load spreads over pads on an elastic layer, against closed forms of strength of materials."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

import gripmargin as gm
from gripmargin.contact.backing import Backing
from gripmargin.contact.cells import cut_pads
from gripmargin.kernels.face import Face
from gripmargin.kernels.utilisation import peak_utilisation


def material(**changes):
    values = {"pull_off_stress": 5e4, "shear_strength": 4e4, "normal_stiffness": 6e7, "shear_stiffness": 2e7}
    return gm.PadMaterial(**{**values, **changes})


def any_part(**more):
    return gm.Part(mass=1.0, com=np.zeros(3), inertia=[1e-3, 1e-3, 1e-3, 0, 0, 0], **more)


def backing(*pads, part=None):
    return Backing(cut_pads(pads, part or any_part()))


def normal_traction(layer, points, load, patch=0):
    """Normal traction [Pa] at points given by x and y in the tool frame."""
    places = np.column_stack([np.atleast_2d(points), np.zeros(len(np.atleast_2d(points)))])
    return (layer.traction_maps(layer.patches[patch], places) @ np.asarray(load, dtype=float))[2]


class TestEccentricLoad:
    def test_corners_of_a_rectangle_with_both_moments(self, published):
        case = published("contact", "eccentric load, corners")
        layer = backing(gm.Pad.rectangle("pad", material(), case["size"]))
        corners = np.array(case["corners"]) * np.array(case["size"]) / 2
        found = normal_traction(layer, corners, [0, 0, case["force"], *case["moments"], 0])
        np.testing.assert_allclose(found, case["value"], rtol=0, atol=case["tolerance"])

    @pytest.mark.parametrize("sign_x", [1, -1])
    @pytest.mark.parametrize("sign_y", [1, -1])
    def test_the_signs_of_both_moments(self, published, sign_x, sign_y):
        """A force off to one side pulls most on that side, whichever side it is."""
        case = published("contact", "eccentric load, corners")
        layer = backing(gm.Pad.rectangle("pad", material(), case["size"]))
        arm = np.array([sign_x * 0.004, sign_y * 0.003, 0.0])
        load = np.array([0, 0, 30.0, *np.cross(arm, [0, 0, 30.0])])
        corners = np.array(case["corners"]) * np.array(case["size"]) / 2
        found = normal_traction(layer, corners, load)
        assert tuple(np.sign(corners[found.argmax()])) == (sign_x, sign_y)

    def test_footing_with_its_load_in_the_kern(self, published):
        case = published("contact", "footing with load in the kern")
        layer = backing(gm.Pad.rectangle("pad", material(), case["size"]))
        corners = np.array([[1, 1], [1, -1], [-1, 1], [-1, -1]]) * np.array(case["size"]) / 2
        found = normal_traction(layer, corners, [0, 0, case["force"], *case["moments"], 0])
        np.testing.assert_allclose(np.sort(found), case["value"], rtol=0, atol=case["tolerance"])

    def test_corner_at_the_edge_of_the_kern_both_ways(self, published):
        case = published("contact", "corner at the kern's edge both ways")
        layer = backing(gm.Pad.rectangle("pad", material(), [0.06, 0.04]))
        arm = np.array([0.06 / 6, 0.04 / 6, 0.0])
        load = np.array([0, 0, 24.0, *np.cross(arm, [0, 0, 24.0])])
        found = normal_traction(layer, [[0.03, 0.02], [-0.03, -0.02]], load) / (24.0 / 0.0024)
        np.testing.assert_allclose(found, case["value"], rtol=0, atol=case["tolerance"])


def least_tension(layer, eccentricity, corners):
    """Least normal traction at the corners of the contact under a unit pull off its centre."""
    arm = np.array([*eccentricity, 0.0])
    return float(normal_traction(layer, corners, [0, 0, 1.0, *np.cross(arm, [0, 0, 1.0])]).min())


class TestKern:
    """Where a pull may act so that nowhere the layer is pressed."""

    @pytest.mark.parametrize("share", [0.0, 0.25, 0.5, 0.9, 1.0])
    @pytest.mark.parametrize("signs", [(1, 1), (-1, 1), (1, -1), (-1, -1)])
    def test_of_a_rectangle_is_a_rhombus(self, published, share, signs):
        b, h = 0.07, 0.05
        sixth = published("contact", "kern of a rectangle")["value"]
        layer = backing(gm.Pad.rectangle("pad", material(), [b, h]))
        corners = np.array([[1, 1], [1, -1], [-1, 1], [-1, -1]]) * [b / 2, h / 2]
        edge = np.array(signs) * [share * b / sixth, (1 - share) * h / sixth]
        assert least_tension(layer, edge, corners) == pytest.approx(0.0, abs=1e-9 / (b * h))
        assert least_tension(layer, 0.999 * edge, corners) > 0
        assert least_tension(layer, 1.001 * edge, corners) < 0

    @pytest.mark.parametrize("azimuth", np.linspace(0, 6, 7))
    def test_of_a_disc_is_a_quarter_of_its_radius(self, published, azimuth):
        case, radius = published("contact", "kern of a disc"), 0.03
        layer = backing(gm.Pad.disc("pad", material(), 2 * radius))
        far = radius * np.array([[np.cos(azimuth + np.pi), np.sin(azimuth + np.pi)]])
        towards = np.array([np.cos(azimuth), np.sin(azimuth)])
        for factor, sign in ((1 - case["tolerance"], 1), (1 + case["tolerance"], -1)):
            assert np.sign(least_tension(layer, case["value"] * radius * factor * towards, far)) == sign

    def test_of_a_ring_cut_from_segments(self, published):
        """A ring is laid from segments, each a pad of its own, because an outline has no hole."""
        case = published("contact", "kern of a ring")
        outer, inner = 0.04, 0.025
        layer = backing(*ring(outer, inner, 72))
        kern = (outer**2 + inner**2) / (4 * outer)
        for factor, sign in ((1 - case["tolerance"], 1), (1 + case["tolerance"], -1)):
            arm = np.array([kern * factor, 0.0, 0.0])
            load = [0, 0, 1.0, *np.cross(arm, [0, 0, 1.0])]
            assert np.sign(normal_traction(layer, [[-outer, 0.0]], load)[0]) == sign


def ring(outer, inner, pieces):
    """Segments of a ring of the same area, as pads."""
    angle = 2 * np.pi / pieces
    stretch = np.sqrt(angle / np.sin(angle))
    pads = []
    for i in range(pieces):
        a, b = i * angle, (i + 1) * angle
        corners = [[r * np.cos(w), r * np.sin(w)] for r, w in ((outer, a), (outer, b), (inner, b), (inner, a))]
        pads.append(gm.Pad.polygon(f"piece {i}", material(), stretch * np.array(corners)))
    return pads


class TestFirstPeel:
    def test_torsion_of_a_square(self, published):
        case, side = published("contact", "first peel in torsion of a square"), 0.05
        layer = backing(gm.Pad.rectangle("pad", material(), [side, side]))
        assert self.twist_limit(layer, side**2) / side == pytest.approx(case["value"], abs=case["tolerance"])

    def test_torsion_of_a_disc_errs_on_the_safe_side(self, published):
        case, radius = published("contact", "first peel in torsion of a disc"), 0.02
        found = self.twist_limit(backing(gm.Pad.disc("pad", material(), 2 * radius)), np.pi * radius**2) / radius
        assert case["value"] * (1 - case["tolerance"]) <= found <= case["value"]

    @staticmethod
    def twist_limit(layer, area, shear=4e4):
        """Moment at which the first point slides, over the force limit."""
        maps, _ = layer.edge_maps([(5e4, shear)])
        unit = peak_utilisation(Face(maps), np.array([[0, 0, 0, 0, 0, 1.0]]).T)[0][0]
        return 1 / unit / (shear * area)

    def test_rigid_part_tilted_off_a_pad(self, published):
        """The pull-off stress is limited by the energy that the layer gives back."""
        case = published("contact", "rigid part tilted off a pad")
        film = material(pull_off_stress=1e7, normal_stiffness=case["normal_stiffness"], peel_energy=case["peel_energy"])
        layer = backing(gm.Pad.rectangle("pad", film, case["size"]))
        maps, _ = layer.edge_maps([(film.limiting_pull_off_stress, film.shear_strength)])
        unit = peak_utilisation(Face(maps), np.array([[0, 0, 0, 1.0, 0, 0]]).T)[0][0]
        assert 1 / unit == pytest.approx(case["value"], abs=case["tolerance"])
        tilt = (layer.compliance @ [0, 0, 0, case["value"], 0, 0])[3]
        assert tilt == pytest.approx(case["tilt"], abs=5e-10)

    def test_plenty_of_energy_leaves_the_measured_stress(self):
        assert material(pull_off_stress=1e3, peel_energy=0.2).limiting_pull_off_stress == 1e3


class TestRatedLoad:
    @pytest.mark.parametrize("name", ["rated load, small pad", "rated load, square pad of 50 mm"])
    def test_hangs_at_margin_one(self, published, name):
        case = published("contact", name)
        side = np.sqrt(case["area"])
        layer = backing(gm.Pad.rectangle("pad", material(), [side, side]))
        maps, _ = layer.edge_maps([(case["stress"], case["stress"])])
        weight = case["mass"] * 9.80665
        for direction in np.eye(6)[:3]:  # straight off, or along the face
            use = peak_utilisation(Face(maps), weight * direction[:, None])[0][0]
            assert 1 / use == pytest.approx(case["value"], abs=case["tolerance"])

    def test_mean_shear_stress_of_a_climber(self, published):
        case = published("contact", "climber in shear")
        layer = backing(gm.Pad.rectangle("pad", material(), [0.14, 0.10]))
        load = [case["mass"] * 9.80665, 0, 0, 0, 0, 0]
        traction = layer.traction_maps(layer.patches[0], np.zeros((1, 3))) @ np.array(load)
        assert traction[0, 0] == pytest.approx(case["value"], abs=case["tolerance"])


def random_pads(random, count):
    """Pads of any shape at any pose, apart from each other."""
    pads = []
    for i in range(count):
        at = np.eye(4)
        at[:3, :3] = Rotation.from_euler("xyz", random.uniform(-0.6, 0.6, 3)).as_matrix()
        at[:3, 3] = [*random.uniform(-0.15, 0.15, 2), random.uniform(-0.02, 0.02)]
        film = material(normal_stiffness=10 ** random.uniform(6, 9), shear_stiffness=10 ** random.uniform(6, 9))
        shape = random.integers(3)
        if shape == 0:
            pads.append(gm.Pad.rectangle(f"pad {i}", film, random.uniform(0.005, 0.08, 2), at))
        elif shape == 1:
            pads.append(gm.Pad.disc(f"pad {i}", film, random.uniform(0.005, 0.08), at))
        else:
            arrow = np.array([[0, 0], [2, 0], [2, 1], [1, 0.4], [0, 1]]) * random.uniform(0.005, 0.03)
            pads.append(gm.Pad.polygon(f"pad {i}", film, arrow, at))
    return pads


class TestBalance:
    @given(seed=st.integers(0, 2**32 - 1), count=st.integers(1, 4))
    @settings(derandomize=True, deadline=None, max_examples=40)
    def test_the_tractions_carry_the_load_and_the_pads_share_it(self, seed, count):
        random = np.random.default_rng(seed)
        layer = backing(*random_pads(random, count))
        load = random.normal(size=6)
        assert layer.imbalance(load) < 1e-7
        total = np.zeros(6)
        for patch in layer.patches:
            on_pad = layer.pad_wrench(patch, load)
            force, moment = patch.rotation @ on_pad[:3], patch.rotation @ on_pad[3:]
            total += np.concatenate([force, moment + np.cross(patch.centre, force)])
        np.testing.assert_allclose(total, load, rtol=0, atol=1e-7)

    @given(seed=st.integers(0, 2**32 - 1))
    @settings(derandomize=True, deadline=None, max_examples=30)
    def test_moving_the_tool_origin_changes_no_traction(self, seed):
        """The same load told about another origin in other axes: work and tractions are those of before."""
        random = np.random.default_rng(seed)
        pads = random_pads(random, 3)
        move = np.eye(4)
        move[:3, :3] = Rotation.random(rng=random).as_matrix()
        move[:3, 3] = random.uniform(-0.3, 0.3, 3)
        moved = [gm.Pad.polygon(p.name, p.material, p.outline, move @ p.pose_in_tool) for p in pads]
        pads = [gm.Pad.polygon(p.name, p.material, p.outline, p.pose_in_tool) for p in pads]
        here, there = backing(*pads), backing(*moved)
        load = random.normal(size=6)
        turn, shift = move[:3, :3], move[:3, 3]
        force = turn @ load[:3]
        other = np.concatenate([force, turn @ load[3:] + np.cross(shift, force)])
        strengths = [(5e4, 4e4)] * 3
        first, _ = here.edge_maps(strengths)
        second, _ = there.edge_maps(strengths)
        np.testing.assert_allclose(first @ load, second @ other, rtol=0, atol=1e-9 * np.abs(first @ load).max())
        # the energy that the layer stores: half of load times displacement, whatever the origin
        assert load @ here.compliance @ load == pytest.approx(other @ there.compliance @ other, rel=1e-9)

    def test_a_pad_far_from_the_tool_origin_is_still_balanced(self):
        tiny = gm.Pad.rectangle("tiny", material(), [1e-3, 1e-3], gm.pose((2.0, -1.0, 0.0)))
        layer = backing(tiny)
        assert layer.imbalance(np.array([1.0, -2.0, 3.0, 0.1, 0.2, -0.3])) < 1e-5


class TestSplitting:
    @given(seed=st.integers(0, 2**32 - 1), share=st.floats(0.05, 0.95))
    @settings(derandomize=True, deadline=None, max_examples=40)
    def test_a_pad_in_two_halves_of_the_same_material_is_the_same_pad(self, seed, share):
        random = np.random.default_rng(seed)
        x, y = random.uniform(0.01, 0.1, 2)
        film = material()
        at = np.array(gm.pose(random.uniform(-0.1, 0.1, 3), random.uniform(-0.5, 0.5, 3)))
        whole = backing(gm.Pad.rectangle("whole", film, [x, y], at))
        cut = x * (share - 0.5)
        halves = backing(
            gm.Pad.polygon("left", film, [[-x / 2, -y / 2], [cut, -y / 2], [cut, y / 2], [-x / 2, y / 2]], at),
            gm.Pad.polygon("right", film, [[cut, -y / 2], [x / 2, -y / 2], [x / 2, y / 2], [cut, y / 2]], at),
        )
        load = random.normal(size=(6, 5))
        one, two = whole.edge_maps([(5e4, 4e4)])[0], halves.edge_maps([(5e4, 4e4)] * 2)[0]
        np.testing.assert_allclose(
            peak_utilisation(Face(one), load)[0], peak_utilisation(Face(two), load)[0], rtol=1e-9
        )
        np.testing.assert_allclose(whole.stiffness, halves.stiffness, rtol=0, atol=1e-9 * whole.stiffness.max())


class TestMirror:
    @given(seed=st.integers(0, 2**32 - 1))
    @settings(derandomize=True, deadline=None, max_examples=30)
    def test_pads_and_load_mirrored_are_used_as_much(self, seed):
        """Mirrored at the plane x = 0: forces turn their x over, moments (axial) their y and z."""
        random = np.random.default_rng(seed)
        film = material()
        outlines = [random.uniform(0.01, 0.05, (1, 2)) * [[-1, -1], [1, -1], [0.6, 1], [-1, 0.5]] for _ in range(2)]
        places = random.uniform(-0.1, 0.1, (2, 2))
        pads, mirrored = [], []
        for i, (outline, place) in enumerate(zip(outlines, places, strict=True)):
            pads.append(gm.Pad.polygon(f"{i}", film, outline + place))
            mirrored.append(gm.Pad.polygon(f"{i}", film, (outline + place) * [-1, 1]))
        load = random.normal(size=(6, 4))
        turned = load * np.array([-1, 1, 1, 1, -1, -1])[:, None]
        strengths = [(5e4, 4e4), (3e4, 6e4)]
        one = peak_utilisation(Face(backing(*pads).edge_maps(strengths)[0]), load)
        two = peak_utilisation(Face(backing(*mirrored).edge_maps(strengths)[0]), turned)
        np.testing.assert_allclose(one[0], two[0], rtol=1e-10)
        np.testing.assert_allclose(one[2], two[2], rtol=1e-10)
