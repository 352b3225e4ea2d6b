"""What keeps a part in its nest: statics of a block on its support."""

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.contact.restraint import restraint

G = 9.80665
SQUARE = [[-0.05, -0.05], [0.05, -0.05], [0.05, 0.05], [-0.05, 0.05]]

SEATED = np.diag([1.0, -1.0, -1.0])  # the tool looks into the part, against the face's z


def found(force, couple, *, mass=1.0, face=None, outline=SQUARE, **nest):
    part = gm.Part(mass=mass, com=[0, 0, 0.002], inertia=1e-3 * np.eye(3), outline=outline)
    wrench = np.hstack([np.atleast_2d(np.asarray(force, float)), np.atleast_2d(np.asarray(couple, float))])
    where = gm.Nest(face=gm.pose() if face is None else face, **nest)
    return restraint(part, where, np.array([0, 0, -G]), wrench, SEATED, np.zeros(3))


def rounded(corner):
    """A plate of 100 x 60 mm, its two corners at x = +50 mm cut off in some way."""
    upper = [[0.05 - 0.005 + x, 0.03 - 0.005 + y] for x, y in corner]
    lower = [[x, -y] for x, y in reversed(upper)]
    return [[-0.05, -0.03], *lower, *upper, [-0.05, 0.03]]


QUARTER = [[0.005 * np.cos(a), 0.005 * np.sin(a)] for a in np.linspace(0, np.pi / 2, 64)]


@pytest.mark.parametrize(
    ("corner", "cut", "arm"),
    [
        ([[0.005, 0.005]], 0.0, 0.0),  # sharp
        ([[0.005, 0.0], [0.0, 0.005]], 25e-6 / 2, 0.005 / 3),
        # a square less a quarter of a disc: its centroid lies (10 - 3 pi)/(12 - 3 pi) of the radius from the corner,
        # 0.2234 (closed form)
        (QUARTER, 25e-6 * (1 - np.pi / 4), 0.2234 * 0.005),
    ],
    ids=["sharp", "chamfered", "64 corners each"],
)
def test_hold_down_acts_at_the_centroid_of_the_area_however_many_corners_draw_it(corner, cut, arm):
    # moments about the edge at x = -50 mm: a pull at x = 20 mm, the weight at 0, the hold-down at the centroid
    pull, held, weight = 8.446, 16.0, 0.1 * G
    at = -2 * cut * (0.05 - arm) / (6e-3 - 2 * cut)
    force = np.array([0, 0, pull])
    told = found(force, np.cross([0.02, 0, 0], force), mass=0.1, outline=rounded(corner), hold_down=held)
    assert told.ratio("tip")[0] == pytest.approx((weight * 0.05 + held * (0.05 + at)) / (pull * 0.07), rel=1e-4)


def test_hold_down_on_a_support_that_is_not_convex():
    # an L of 100 mm with arms 20 mm wide: centroid of its two rectangles, (100 x 20 at 0, -40; 20 x 80 at -40, 10)
    support = [[-0.05, -0.05], [0.05, -0.05], [0.05, -0.03], [-0.03, -0.03], [-0.03, 0.05], [-0.05, 0.05]]
    at = (20 * 0 + 16 * -0.04) / 36
    told = found([0, 0, 0], [0, -1.0, 0], mass=1e-9, support=support, hold_down=40.0)
    assert told.ratio("tip")[0] == pytest.approx(40.0 * (0.05 + at) / 1.0)


@pytest.mark.parametrize("thickness", [0.1, None])
def test_a_pull_along_the_top_of_a_tall_block_tips_it_over_its_foot(thickness):
    # 1 kg, 40 mm wide, 100 mm high: weight at 20 mm from the edge against 3 N at 100 mm above it. Without a thickness
    # the centre of mass, at 50 mm, lies in the middle.
    outline = [[-0.02, -0.05], [0.02, -0.05], [0.02, 0.05], [-0.02, 0.05]]
    part = gm.Part(mass=1.0, com=[0, 0, 0.05], inertia=1e-2 * np.eye(3), outline=outline, thickness=thickness)
    wrench = np.array([[3.0, 0, 0, 0, 0, 0]])
    told = restraint(part, gm.Nest(face=gm.pose()), np.array([0, 0, -G]), wrench, SEATED, np.zeros(3))
    assert told.ratio("tip")[0] == pytest.approx(G * 0.02 / (3.0 * 0.1))


def test_a_pull_beside_the_centre_of_mass_turns_the_part_about_it():
    # 3 N along y through the origin, the centre of mass 10 mm beside it: 0.03 N m against 0.06
    part = gm.Part(mass=1.0, com=[0.01, 0, 0.002], inertia=1e-3 * np.eye(3), outline=SQUARE)
    nest = gm.Nest(face=gm.pose(), moment=0.06)
    wrench = np.array([[0, 3.0, 0, 0, 0, 0]])
    told = restraint(part, nest, np.array([0, 0, -G]), wrench, SEATED, np.zeros(3))
    assert told.ratio("turn")[0] == pytest.approx(2.0)


@pytest.mark.parametrize(("share", "known"), [(0.019, True), (0.021, False)])
def test_what_counts_as_negligible_is_a_fiftieth_of_the_weight(share, known):
    # sideways that share of the weight; as a moment the same at 50 mm, half the extent of the support
    told = found([share * G, 0, 0], [0, 0, share * G * 0.05])
    for way in ("slide", "turn"):
        assert (told.ratio(way)[0] == np.inf) == known


@pytest.mark.parametrize(("share", "known"), [(0.019, True), (0.021, False)])
def test_a_moment_counts_at_the_longer_half_of_the_support(share, known):
    long = [[-0.05, -0.005], [0.05, -0.005], [0.05, 0.005], [-0.05, 0.005]]
    told = found([0, 0, 0], [0, 0, share * G * 0.05], support=long)
    assert (told.ratio("turn")[0] == np.inf) == known


def test_lift_against_weight_and_hold_down():
    assert found([0, 0, 4.0], [0, 0, 0], hold_down=3.0).ratio("lift")[0] == pytest.approx((G + 3.0) / 4.0)
    assert found([0, 0, -4.0], [0, 0, 0]).ratio("lift")[0] == np.inf


def test_face_down_nest_holds_nothing_by_weight():
    upside_down = gm.pose(rpy=[np.pi, 0, 0])
    # 3 N of hold-down against 9.8 N of weight that pulls out
    assert found([0, 0, 1.0], [0, 0, 0], face=upside_down, hold_down=3.0).ratio("lift")[0] == 0.0


@pytest.mark.parametrize(("x", "y"), [(1, 0), (0, 1), (-1, 0), (0, -1)])
def test_a_pull_at_the_rim_tips_the_block_over_the_far_edge(x, y):
    # moments about the far edge: F (b/2 + e) against W b/2 (statics; any textbook)
    pull, arm = 2.0, 0.04
    force = np.array([0, 0, pull])
    ratio = found(force, np.cross([arm * x, arm * y, 0], force)).ratio("tip")[0]
    assert ratio == pytest.approx(G * 0.05 / (pull * (0.05 + arm)))


def test_centre_of_pressure_on_the_edge_is_a_ratio_of_one():
    # centre of pressure at y = -0.05 when the moment is W b/2 (about x, no force)
    assert found([0, 0, 0], [G * 0.05, 0, 0]).ratio("tip")[0] == pytest.approx(1.0)


def test_a_part_whose_mass_hangs_over_its_support_has_no_restraint():
    support = [[0.01, -0.05], [0.05, -0.05], [0.05, 0.05], [0.01, 0.05]]
    assert found([0, 0, 0.1], [0, 0, 0], support=support).ratio("tip")[0] == 0.0


def test_sideways_and_turning_need_a_statement_unless_negligible():
    forces, moments = [[3.0, 0, 0], [0.01, 0, 0]], [[0, 0, 0.2], [0, 0, 1e-4]]
    silent = found(forces, moments)
    for way in ("slide", "turn"):
        assert np.isnan(silent.ratio(way)[0])
        assert silent.ratio(way)[1] == np.inf
    told = found(forces, moments, lateral_force=6.0, moment=0.4)
    assert told.ratio("slide")[0] == pytest.approx(2.0)
    assert told.ratio("turn")[0] == pytest.approx(0.4 / 0.2)


def test_a_tilted_nest_takes_the_weight_sideways_too():
    tilted = gm.pose(rpy=[np.deg2rad(30), 0, 0])
    ratio = found([0, 0, 0], [0, 0, 0], face=tilted, lateral_force=10.0).ratio("slide")[0]
    assert ratio == pytest.approx(10.0 / (G * np.sin(np.deg2rad(30))))


def test_without_any_outline_tipping_is_not_known():
    assert np.isnan(found([0, 0, 1], [0.1, 0, 0], outline=None).ratio("tip")[0])


@pytest.mark.parametrize("force", [[np.nan, 0, 0], [0, 0, np.nan]])
def test_what_is_not_a_number_is_not_known(force):
    told = found(force, [0, 0, 0], lateral_force=6.0, moment=0.4)
    assert any(np.isnan(told.ratio(way)[0]) for way in ("lift", "slide", "turn", "tip"))
