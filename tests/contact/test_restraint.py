"""What keeps a part in its nest: statics of a block on its support."""

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.contact.restraint import restraint

G = 9.80665
SQUARE = [[-0.05, -0.05], [0.05, -0.05], [0.05, 0.05], [-0.05, 0.05]]


def found(force, couple, *, mass=1.0, face=None, outline=SQUARE, **nest):
    part = gm.Part(mass=mass, com=[0, 0, 0.002], inertia=1e-3 * np.eye(3), outline=outline)
    wrench = np.hstack([np.atleast_2d(np.asarray(force, float)), np.atleast_2d(np.asarray(couple, float))])
    where = gm.Nest(face=gm.pose() if face is None else face, **nest)
    seated = np.diag([1.0, -1.0, -1.0])  # the tool looks into the part, against the face's z
    return restraint(part, where, np.array([0, 0, -G]), wrench, seated, np.zeros(3))


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
