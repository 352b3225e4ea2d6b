"""What keeps a part in its nest: statics of a block on its support."""

from types import SimpleNamespace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.checks.restraint import restraint

G = 9.80665
FILM = gm.PadMaterial(pull_off_stress=5e4, shear_strength=5e4, normal_stiffness=1e8, shear_stiffness=3e7)
SQUARE = [[-0.05, -0.05], [0.05, -0.05], [0.05, 0.05], [-0.05, 0.05]]
COM = np.array([0.0, 0.0, -0.002])


def job(mass=1.0, face=None, **nest):
    return gm.Job(
        name="nest",
        gripper=gm.Gripper(pads=(gm.Pad.disc("pad", FILM, 0.02),)),
        part=gm.Part(mass=mass, com=[0, 0, 0.002], inertia=1e-3 * np.eye(3), outline=SQUARE),
        trajectory=gm.PoseTrajectory(t=[0.0, 1.0], position=np.zeros((2, 3)), rotation=np.tile(np.eye(3), (2, 1, 1))),
        nest=gm.Nest(face=gm.pose() if face is None else face, **nest),
    )


def history(force, moment):
    force, moment = np.atleast_2d(np.asarray(force, float)), np.atleast_2d(np.asarray(moment, float))
    return SimpleNamespace(force=force, moment=moment, moment_about=lambda point: moment - np.cross(point, force))


def test_lift_against_weight_and_hold_down():
    found = restraint(job(hold_down=3.0), history([0, 0, 4.0], [0, 0, 0]), COM)
    assert found.ratio("lift")[0] == pytest.approx((G + 3.0) / 4.0)
    pressed = restraint(job(), history([0, 0, -4.0], [0, 0, 0]), COM)
    assert pressed.ratio("lift")[0] == np.inf


def test_face_down_nest_holds_nothing_by_weight():
    upside_down = gm.pose(rpy=[np.pi, 0, 0])
    found = restraint(job(face=upside_down, hold_down=3.0), history([0, 0, 1.0], [0, 0, 0]), COM)
    assert found.ratio("lift")[0] == 0.0  # 3 N of hold-down against 9.8 N of weight that pulls out


@pytest.mark.parametrize(("x", "y"), [(1, 0), (0, 1), (-1, 0), (0, -1)])
def test_a_pull_at_the_rim_tips_the_block_over_the_far_edge(x, y):
    # moments about the far edge: F (b/2 + e) against W b/2 (statics; any textbook)
    pull, arm = 2.0, 0.04
    force = np.array([0, 0, pull])
    found = restraint(job(), history(force, np.cross([arm * x, arm * y, 0], force)), COM)
    assert found.ratio("tip")[0] == pytest.approx(G * 0.05 / (pull * (0.05 + arm)))


def test_centre_of_pressure_on_the_edge_is_a_ratio_of_one():
    # centre of pressure at y = -0.05 when the moment is W b/2 (about x, no force)
    found = restraint(job(), history([0, 0, 0], [G * 0.05, 0, 0]), COM)
    assert found.ratio("tip")[0] == pytest.approx(1.0)


def test_a_part_whose_mass_hangs_over_its_support_has_no_restraint():
    support = [[0.01, -0.05], [0.05, -0.05], [0.05, 0.05], [0.01, 0.05]]
    found = restraint(job(support=support), history([0, 0, 0.1], [0, 0, 0]), COM)
    assert found.ratio("tip")[0] == 0.0


def test_sideways_and_turning_need_a_statement_unless_negligible():
    silent = restraint(job(), history([[3.0, 0, 0], [0.01, 0, 0]], [[0, 0, 0.2], [0, 0, 1e-4]]), COM)
    assert np.isnan(silent.ratio("slide")[0])
    assert silent.ratio("slide")[1] == np.inf
    assert np.isnan(silent.ratio("turn")[0])
    assert silent.ratio("turn")[1] == np.inf
    told = restraint(job(lateral_force=6.0, moment=0.4), history([3.0, 0, 0], [0, 0, 0.2]), COM)
    assert told.ratio("slide")[0] == pytest.approx(2.0)
    assert told.ratio("turn")[0] == pytest.approx(0.4 / 0.2)


def test_a_tilted_nest_takes_the_weight_sideways_too():
    tilted = gm.pose(rpy=[np.deg2rad(30), 0, 0])
    found = restraint(job(face=tilted, lateral_force=10.0), history([0, 0, 0], [0, 0, 0]), COM)
    assert found.ratio("slide")[0] == pytest.approx(10.0 / (G * np.sin(np.deg2rad(30))))


def test_without_any_outline_tipping_is_not_known():
    bare = job()
    bare = gm.Job(
        name="n",
        gripper=bare.gripper,
        part=gm.Part(mass=1, com=[0, 0, 0.002], inertia=1e-3 * np.eye(3)),
        trajectory=bare.trajectory,
        nest=bare.nest,
    )
    assert np.isnan(restraint(bare, history([0, 0, 1], [0.1, 0, 0]), COM).ratio("tip")[0])
