"""What a person describes: closed forms it must meet, and what is refused and how it is said."""

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

import gripmargin as gm

BODY = {"mass": 1.0, "com": [0.0, 0.0, 0.01], "inertia": [1e-3, 2e-3, 2.5e-3, 0, 0, 0]}


def sentence(make, *arguments, **more):
    with pytest.raises(gm.InputError) as caught:
        make(*arguments, **more)
    return str(caught.value)


class TestUniformPlate:
    def test_rectangle(self):
        """m/12 (b^2 + t^2) and m/12 (a^2 + b^2): any table of moments of inertia."""
        a, b, t = 0.12, 0.08, 0.01
        corners = np.array([[0, 0], [a, 0], [a, b], [0, b]]) + np.array([0.02, -0.03])
        com, inertia = gm.uniform_plate(2.0, corners, t)
        np.testing.assert_allclose(com, [0.02 + a / 2, -0.03 + b / 2, t / 2], rtol=1e-13)
        expected = 2.0 / 12 * np.diag([b * b + t * t, a * a + t * t, a * a + b * b])
        np.testing.assert_allclose(inertia, expected, atol=1e-16)

    def test_right_triangle(self):
        """Product of area of a right triangle about its centroid: -b^2 h^2 / 72 (tables of second moments)."""
        b, h = 0.09, 0.06
        com, inertia = gm.uniform_plate(1.0, [[0, 0], [b, 0], [0, h]], 0.0)
        np.testing.assert_allclose(com, [b / 3, h / 3, 0], rtol=1e-13)
        area = b * h / 2
        assert inertia[0, 0] == pytest.approx(h**2 / 18, rel=1e-12)
        assert inertia[1, 1] == pytest.approx(b**2 / 18, rel=1e-12)
        assert inertia[0, 1] == pytest.approx(b**2 * h**2 / 72 / area, rel=1e-12)

    @given(turn=st.floats(-3, 3), shift=st.tuples(st.floats(-1, 1), st.floats(-1, 1)))
    @settings(derandomize=True, deadline=None, max_examples=40)
    def test_turns_and_moves_with_its_outline(self, turn, shift):
        outline = np.array([[0, 0], [0.2, 0], [0.2, 0.1], [0.1, 0.04], [0, 0.1]])
        rotation = Rotation.from_euler("z", turn).as_matrix()
        com, inertia = gm.uniform_plate(1.5, outline, 0.01)
        moved_com, moved = gm.uniform_plate(1.5, outline @ rotation[:2, :2].T + shift, 0.01)
        np.testing.assert_allclose(moved_com, rotation @ com + [*shift, 0], atol=1e-12)
        np.testing.assert_allclose(moved, rotation @ inertia @ rotation.T, atol=1e-12)


class TestPart:
    @given(seed=st.integers(0, 2**32 - 1))
    @settings(derandomize=True, deadline=None, max_examples=60)
    def test_inertia_of_any_cloud_of_points_is_taken(self, seed):
        random = np.random.default_rng(seed)
        points = random.normal(size=(3, 8)) * 10.0 ** random.uniform(-4, 2, (3, 1))
        second = points @ points.T
        inertia = np.trace(second) * np.eye(3) - second
        gm.Part(mass=1.0, com=[0, 0, 0], inertia=(inertia + inertia.T) / 2)

    @given(
        moments=st.tuples(*[st.floats(1e-6, 1.0)] * 3),
        turn=st.tuples(*[st.floats(-3, 3)] * 3),
        over=st.floats(1e-3, 10),
    )
    @settings(derandomize=True, deadline=None, max_examples=60)
    def test_moments_that_break_the_triangle_inequality_are_refused_in_any_axes(self, moments, turn, over):
        a, b, _ = moments
        rotation = Rotation.from_euler("xyz", turn).as_matrix()
        inertia = rotation @ np.diag([a, b, (a + b) * (1 + over)]) @ rotation.T
        message = sentence(gm.Part, mass=1.0, com=[0, 0, 0], inertia=(inertia + inertia.T) / 2)
        assert "the largest exceeds the sum of the others" in message

    def test_six_numbers_are_read_as_xx_yy_zz_xy_xz_yz(self):
        part = gm.Part(mass=1.0, com=[0, 0, 0], inertia=[4e-3, 5e-3, 6e-3, 1e-4, 2e-4, 3e-4])
        expected = 1e-4 * np.array([[40, 1, 2], [1, 50, 3], [2, 3, 60]])
        np.testing.assert_allclose(part.inertia, expected, rtol=1e-15)

    @pytest.mark.parametrize(
        ("change", "message"),
        [
            ({"mass": 0.0}, "part.mass: found 0, expected a value above 0 [kg]"),
            ({"mass": -1.0}, "part.mass: found -1, expected a value above 0 [kg]"),
            ({"mass": np.nan}, "part.mass: found nan, expected a value above 0 [kg]"),
            ({"mass": np.inf}, "part.mass: found inf, expected a value above 0 [kg]"),
            ({"surface_factor": 0.0}, "part.surface_factor: found 0, expected a value above 0 [-]"),
            ({"surface_factor": np.nan}, "part.surface_factor: found nan, expected a value above 0 [-]"),
            ({"rigid": 1}, "part.rigid: found 1, expected True or False"),
            ({"face": "flat"}, "part.face: found 'flat', expected plane or curved"),
            ({"inertia": np.zeros((3, 3))}, "part.inertia: found principal moments 0, 0, 0, expected moments above 0"),
        ],
    )
    def test_refused(self, change, message):
        assert sentence(gm.Part, **{**BODY, **change}) == message

    @given(seed=st.integers(0, 2**32 - 1))
    @settings(derandomize=True, deadline=None, max_examples=30)
    def test_placing_there_and_back_changes_nothing(self, seed):
        random = np.random.default_rng(seed)
        outline = [[-0.1, -0.1], [0.1, -0.1], [0.1, 0.1], [-0.1, 0.1]]
        part = gm.Part(**BODY, outline=outline)
        at = np.array(gm.pose([*random.normal(size=2), 0.2], (0, 0, random.uniform(-3, 3))))
        back = part.placed(at).placed(np.linalg.inv(at))
        np.testing.assert_allclose(back.com, part.com, atol=1e-12)
        np.testing.assert_allclose(back.inertia, part.inertia, atol=1e-12)
        np.testing.assert_allclose(back.outline, part.outline, atol=1e-12)

    def test_an_outline_is_not_tilted(self):
        part = gm.Part(**BODY, outline=[[0, 0], [1, 0], [0, 1]])
        assert "a rotation out of the pad plane" in sentence(part.placed, gm.pose(rpy=(0.01, 0, 0)))
        gm.Part(**BODY).placed(gm.pose(rpy=(0.01, 0, 0)))


class TestOutlines:
    @pytest.mark.parametrize(
        ("corners", "found"),
        [
            ([[0, 0], [1, 0]], "2 corners"),
            ([[0, 0], [1, 0], [0, 0]], "2 corners"),
            ([[0, 0], [1, 0], [2, 0]], "edges that cross or touch"),
            ([[0, 0], [1, 0], [2, 1e-12]], "corners on one line"),
            ([[0, 0], [1, 1], [1, 0], [0, 1]], "edges that cross or touch"),
            ([[0, 0], [0, 0], [0, 0], [0, 0]], "edges that cross or touch"),
            ([[0, 0], [1, 0], [np.nan, 1]], "nan"),
            ([[0, 0, 0], [1, 0, 0], [0, 1, 0]], "an array of shape (3, 3)"),
        ],
    )
    def test_refused(self, corners, found):
        assert f"found {found}" in sentence(gm.Part, **BODY, outline=corners)

    @given(corners=st.lists(st.tuples(st.floats(-1, 1), st.floats(-1, 1)), min_size=3, max_size=7))
    @settings(derandomize=True, deadline=None, max_examples=60)
    def test_either_sense_gives_the_same_part(self, corners):
        shape = shapely.Polygon(corners)
        assume(shape.is_valid and shape.area > 1e-4)
        one, other = gm.Part(**BODY, outline=corners), gm.Part(**BODY, outline=corners[::-1])
        assert shapely.Polygon(one.outline).exterior.is_ccw
        assert shapely.Polygon(other.outline).exterior.is_ccw
        assert shapely.Polygon(one.outline).equals(shapely.Polygon(other.outline))


class TestPads:
    def test_names_are_their_own(self, film):
        pads = (gm.Pad.disc("a", film, 0.02), gm.Pad.disc("a", film, 0.02))
        assert "a name of its own" in sentence(gm.Gripper, pads=pads)

    def test_none_is_refused(self):
        assert sentence(gm.Gripper, pads=()) == "gripper.pads: found no pad, expected at least one"

    @pytest.mark.parametrize("size", [[0.0, 0.1], [0.1, -0.1], [0.1, np.nan], [0.1], [np.inf, 0.1]])
    def test_sizes_that_are_none(self, film, size):
        assert "pad 'a' size" in sentence(gm.Pad.rectangle, "a", film, size)

    @pytest.mark.parametrize("diameter", [0.0, -0.1, np.nan, np.inf])
    def test_diameters_that_are_none(self, film, diameter):
        assert "pad 'a' diameter" in sentence(gm.Pad.disc, "a", film, diameter)

    def test_a_pose_that_is_no_rotation(self, film):
        assert "no rotation" in sentence(gm.Pad.disc, "a", film, 0.02, np.diag([1.0, 1.0, -1.0, 1.0]))
        assert "no rotation" in sentence(gm.Pad.disc, "a", film, 0.02, np.diag([1.1, 1.0, 1.0, 1.0]))


class TestPhase:
    @pytest.mark.parametrize(
        ("given", "found"),
        [
            ({"kind": "carrying", "moves": ["a"]}, "'carrying'"),
            ({"kind": "carry"}, "neither moves nor times"),
            ({"kind": "carry", "moves": ["a"], "start": 0.0, "end": 1.0}, "moves and from and to"),
            ({"kind": "carry", "moves": []}, "an empty list of moves"),
            ({"kind": "carry", "start": 1.0, "end": 1.0}, "from 1 s to 1 s"),
            ({"kind": "carry", "start": 2.0, "end": 1.0}, "from 2 s to 1 s"),
            ({"kind": "carry", "start": 0.0, "end": float("nan")}, "from 0 s to nan s"),
            ({"kind": "carry", "start": 0.0}, "'from' alone"),
            ({"kind": "carry", "moves": ["a"], "release": "peel"}, "a way of release in a carry phase"),
            ({"kind": "release", "moves": ["a"], "release": "magic"}, "'magic'"),
        ],
    )
    def test_refused(self, given, found):
        assert f"found {found}" in sentence(gm.Phase, **given)


@pytest.mark.parametrize("value", [0.0, -1.0, float("nan"), float("inf")])
@pytest.mark.parametrize("key", ["hold", "stop", "release", "preload", "pressure", "peel", "one_pad_lost"])
def test_targets_that_are_none(key, value):
    assert f"targets.{key}" in sentence(gm.Targets, **{key: value})
