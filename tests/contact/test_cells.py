"""Pads cut by the part's outline, and the quadrature that stands for a face."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

import gripmargin as gm
from gripmargin.contact.cells import cut_pads, is_cut_by_outline, quadrature

SQUARE = [[-0.05, -0.05], [0.05, -0.05], [0.05, 0.05], [-0.05, 0.05]]


def part(outline=None):
    return gm.Part(mass=1.0, com=np.zeros(3), inertia=[1e-3, 1e-3, 1e-3, 0, 0, 0], outline=outline)


def one(pad, outline=None):
    return cut_pads((pad,), part(outline))[0]


class TestQuadrature:
    @given(
        angles=st.lists(st.floats(0.05, 1.0), min_size=3, max_size=9),
        radii=st.lists(st.floats(0.2, 1.0), min_size=9, max_size=9),
    )
    @settings(derandomize=True, deadline=None, max_examples=50)
    def test_quadratics_over_any_star_are_exact(self, angles, radii):
        """Area, centroid and second moments against the closed form for polygons (Green; see uniform_plate)."""
        turn = 2 * np.pi * np.cumsum(angles) / np.sum(angles)
        corners = np.array(radii)[: len(angles), None] * np.column_stack([np.cos(turn), np.sin(turn)])
        face = shapely.Polygon(corners)
        if not face.is_valid or face.area < 1e-3:
            return
        points, areas = quadrature(face)
        com, inertia = gm.uniform_plate(1.0, corners, 0.0)
        assert areas.sum() == pytest.approx(face.area, rel=1e-10)
        np.testing.assert_allclose(areas @ points / face.area, com[:2], atol=1e-10)
        away = points - com[:2]
        second = np.einsum("m,mi,mj->ij", areas, away, away) / face.area
        expected = [[inertia[1, 1], -inertia[0, 1]], [-inertia[0, 1], inertia[0, 0]]]
        np.testing.assert_allclose(second, expected, atol=1e-10)

    def test_second_moments_of_a_rectangle(self):
        """b h^3 / 12: any text on strength of materials."""
        points, areas = quadrature(shapely.box(-0.03, -0.02, 0.03, 0.02))
        assert areas @ points[:, 1] ** 2 == pytest.approx(0.06 * 0.04**3 / 12, rel=1e-12)

    def test_points_lie_inside(self):
        face = shapely.Polygon([[0, 0], [2, 0], [2, 1], [1, 0.3], [0, 1]])
        points, areas = quadrature(face)
        assert shapely.contains_xy(face, *points.T).all()
        assert (areas > 0).all()


class TestDisc:
    def test_area_and_second_moment(self, film):
        """pi R^2 and pi R^4 / 4."""
        patch = one(gm.Pad.disc("pad", film, 0.06))
        assert patch.area == pytest.approx(math.pi * 0.03**2, rel=1e-12)
        assert patch.areas @ patch.points[:, 0] ** 2 == pytest.approx(math.pi * 0.03**4 / 4, rel=1e-4)

    def test_no_point_of_the_rim_lies_outside_what_is_judged(self, film):
        patch = one(gm.Pad.disc("pad", film, 0.06))
        hull = shapely.Polygon(patch.edge[:, :2])
        turn = np.linspace(0, 2 * np.pi, 1000)
        assert shapely.distance(hull, shapely.points(0.03 * np.cos(turn), 0.03 * np.sin(turn))).max() < 1e-12


class TestCutting:
    def test_only_what_lies_on_the_part_is_in_contact(self, film):
        pad = gm.Pad.rectangle("pad", film, [0.04, 0.04], gm.pose((0.05, 0.0, 0.0)))
        patch = one(pad, SQUARE)
        assert patch.share == pytest.approx(0.5)
        assert patch.area == pytest.approx(0.04 * 0.02)
        assert patch.edge[:, 0].max() == pytest.approx(0.05)
        np.testing.assert_allclose(patch.centre, [0.04, 0, 0], atol=1e-12)

    def test_without_an_outline_the_whole_pad_is_in_contact(self, film):
        assert one(gm.Pad.rectangle("pad", film, [0.04, 0.04], gm.pose((9, 0, 0)))).share == 1.0

    def test_a_pad_that_misses_says_which_and_where(self, film):
        pad = gm.Pad.rectangle("left", film, [0.04, 0.04], gm.pose((0.2, -0.03, 0.0)))
        with pytest.raises(gm.InputError) as caught:
            one(pad, SQUARE)
        assert str(caught.value) == (
            "pad 'left': found no overlap with the part (pad at x 200.0, y -30.0 mm in the tool frame), expected a pad "
            "that touches the part's outline; check the pad's place, the outline and part.at"
        )

    @pytest.mark.parametrize("overlap", [0.0, 1e-10])
    def test_touching_at_the_edge_is_a_miss(self, film, overlap):
        pad = gm.Pad.rectangle("pad", film, [0.04, 0.04], gm.pose((0.07 - overlap, 0.0, 0.0)))
        with pytest.raises(gm.InputError, match="no overlap"):
            one(pad, SQUARE)

    def test_a_turned_pad_is_cut_in_its_own_frame(self, film):
        pad = gm.Pad.rectangle("pad", film, [0.04, 0.04], gm.pose((0.05, 0, 0), (0, 0, np.pi / 4)))
        patch = one(pad, SQUARE)
        assert patch.share == pytest.approx(0.5)
        assert patch.edge[:, 0].max() == pytest.approx(0.05)

    def test_a_hole_between_two_arms_is_not_contact(self, film):
        fork = [[-0.05, -0.05], [0.05, -0.05], [0.05, 0.05], [0.01, 0.05], [0.01, 0], [-0.01, 0], [-0.01, 0.05]]
        fork.append([-0.05, 0.05])
        pad = gm.Pad.rectangle("pad", film, [0.08, 0.02], gm.pose((0, 0.03, 0)))
        patch = one(pad, fork)
        assert patch.share == pytest.approx(0.75)
        assert patch.edge[:, 0].min() == pytest.approx(-0.04)

    def test_a_tilted_pad_is_seen_along_the_tools_z(self, film):
        pad = gm.Pad.rectangle("pad", film, [0.04, 0.04], gm.pose((0.05, 0, 0), (0, np.pi / 3, 0)))
        patch = one(pad, SQUARE)
        assert patch.edge[:, 0].max() == pytest.approx(0.05)
        assert patch.share == pytest.approx(0.5)

    def test_an_upright_pad_is_not_cut(self, film):
        pad = gm.Pad.rectangle("pad", film, [0.04, 0.04], gm.pose((0.06, 0, 0), (0, np.pi / 2, 0)))
        assert not is_cut_by_outline(pad)
        assert one(pad, SQUARE).share == 1.0
