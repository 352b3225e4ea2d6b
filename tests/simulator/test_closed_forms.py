"""The simulator against closed forms and figures worked by hand."""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import pytest

import gripmargin as gm
from simulator.cells import cut
from simulator.hanging import Hanging, first_break, most
from simulator.held import Bond, Held, seen
from simulator.jobs import draw
from simulator.programs import GANTRY, Moves
from simulator.whole import Whole, loads, statics

G = 9.80665
FILM = gm.PadMaterial(
    pull_off_stress=60e3, shear_strength=50e3, normal_stiffness=1e8, shear_stiffness=4e7, full_preload=10e3
)
DOWN = np.diag([1.0, -1.0, -1.0])


def of(*pads, mass=1.0, com=(0.0, 0.0, 0.0), **part):
    """A gripper with these pads, and a part."""
    inertia = mass * np.array([1e-3, 1e-3, 1e-3, 0, 0, 0])
    return gm.Gripper(pads=pads), gm.Part(mass=mass, com=com, inertia=inertia, **part)


def hung(cells):
    """A part on fully bonded, unstrained pads."""
    one = np.ones(cells.area.size)
    return Hanging(cells, replace(Bond.none(cells), bonded=one > 0.0, share=one), 0.0 * cells.at, one)


def collapse(hanging, load):
    """Factor on a load (6,) at which the part is lost."""
    return most(lambda factor: hanging.carry(factor * np.array([load])) is not None)


def moved(held, *places, steps=200):
    """Move the tool straight from place to place, each x, y, z, turn about z; returns all reactions."""
    found = []
    for begin, end in pairwise(places):
        for share in np.arange(1, steps + 1) / steps:
            x, y, z, c = np.array(begin) + share * (np.array(end) - begin)
            turn = np.array([[np.cos(c), -np.sin(c), 0], [np.sin(c), np.cos(c), 0], [0, 0, 1]]) @ DOWN
            found.append(held.step(turn, np.array([x, y, z]), 0.01))
    return found


RECTANGLE = gm.Pad.rectangle("pad", FILM, [0.05, 0.08])
DISC = gm.Pad.disc("pad", FILM, 0.04)
SHAPES = [RECTANGLE, DISC, gm.Pad.polygon("pad", FILM, [[-0.01, -0.01], [0.02, -0.01], [-0.01, 0.03]])]


@pytest.mark.parametrize("pad", SHAPES, ids=["rectangle", "disc", "triangle"])
def test_cells_have_the_area_and_the_middle_of_the_face(pad):
    cells = cut(*of(pad))
    x, y = pad.outline.T
    cross = x * np.roll(y, -1) - np.roll(x, -1) * y
    assert cells.area.sum() == pytest.approx(cross.sum() / 2, rel=1e-12)
    middle = [((v + np.roll(v, -1)) * cross).sum() / 6 / cells.area.sum() for v in (x, y)]
    assert cells.at[:2] @ cells.area / cells.area.sum() == pytest.approx(middle, abs=1e-5)
    assert (cells.area[cells.host] > 0.0).all()


def test_only_what_lies_on_the_part_is_cut():
    outline = [[-0.1, -0.1], [0.01, -0.1], [0.01, 0.1], [-0.1, 0.1]]
    cells = cut(*of(RECTANGLE, outline=outline))
    assert cells.area.sum() == pytest.approx(0.035 * 0.08)
    assert cells.at[0].max() == pytest.approx(0.01)


@pytest.mark.parametrize("pad", SHAPES, ids=["rectangle", "disc", "triangle"])
def test_an_even_pad_holds_strength_times_area(pad):
    cells = cut(*of(pad))
    area = cells.area.sum()
    x, y = cells.at[:2] @ cells.area / area
    pull = collapse(hung(cells), [0, 0, 1, y, -x, 0])
    assert pull == pytest.approx(np.inf if pull > 64 else 60e3 * area, rel=5e-3)
    held = Held(cells)
    pulls = [reaction.wrench[0, 2] for reaction in moved(held, (0, 0, 2e-4, 0), (0, 0, -2e-4, 0), (0, 0, 1e-3, 0))]
    assert max(pulls) == pytest.approx(60e3 * area, rel=0.02)
    assert not held.bond.bonded.any()


@pytest.mark.parametrize("share", [0.05, 0.2, 0.4])
def test_an_eccentric_pull_breaks_an_edge_first_and_then_all(share):
    cells = cut(*of(RECTANGLE))
    e = share * 0.05
    load = np.array([0, 0, 20.0, 0, -20.0 * e, 0])
    expected = 60e3 * 0.004 / (1 + 6 * share) / 20.0  # S A / (1 + 6 e / b)
    assert first_break(hung(cells), load[None]) == pytest.approx(expected, rel=0.02)
    assert collapse(hung(cells), load) == pytest.approx(expected, rel=0.03)


def test_a_twisted_disc_holds_half_its_radius_and_less_than_a_ductile_one():
    cells = cut(*of(DISC))
    force = 50e3 * np.pi * 0.02**2
    found = collapse(hung(cells), [0, 0, 0, 0, 0, 0.1]) * 0.1
    assert found == pytest.approx(force * 0.02 / 2, rel=0.03)
    assert found < force * 2 * 0.02 / 3
    cells = cut(*of(DISC), finer=2)
    held = Held(cells)
    turned = moved(held, (0, 0, 1e-4, 0), (0, 0, -2e-4, 0), (0, 0, -2e-4, 0.2))
    assert max(abs(r.wrench[0, 5]) for r in turned) == pytest.approx(force * 0.02 / 2, rel=0.03)
    core = 50e3 / 4e7 / 0.2  # radius within which the twist has not broken it
    assert held.bond.bonded @ cells.area == pytest.approx(np.pi * core**2, rel=0.2)


def test_a_rigid_part_is_tilted_off_by_the_published_moment():
    material = replace(FILM, pull_off_stress=1e9, normal_stiffness=60e6, peel_energy=0.2)
    cells = cut(*of(gm.Pad.rectangle("pad", material, [0.05, 0.08])))
    load = np.array([0, 0, 0, 1.0, 0, 0])
    assert first_break(hung(cells), load[None]) == pytest.approx(0.261278906, rel=0.02)
    assert collapse(hung(cells), load) == pytest.approx(0.261278906, rel=0.03)


def test_a_weak_rim_may_go_without_harm_and_a_whole_one_goes_with_the_rest():
    cells = cut(*of(DISC))
    hanging = hung(cells)
    rim = np.hypot(*cells.at[:2]) > 0.018
    share = np.where(rim, 0.1, 1.0)
    hanging.rates = hanging.rates[0] / share, hanging.rates[1] / share**2
    load, core = np.array([0, 0, 10.0, 0, 0, 0]), cells.area[~rim].sum()
    assert first_break(hanging, load[None]) == pytest.approx(6e3 * np.pi * 0.02**2 / 10, rel=0.01)
    assert collapse(hanging, load) == pytest.approx(60e3 * core / 10, rel=0.01)
    loads = np.array([[0, 0, 40, 0, 0, 0], [0, 0, 0, 0, 0, 0.02]])
    assert hanging.carry(loads) is not None
    whole, _ = hanging.carry(loads)
    assert not whole[rim].any()
    assert whole[~rim & (cells.area > 0)].all()


def test_broken_cells_bear_pressure():
    cells = cut(*of(RECTANGLE))
    hanging = hung(cells)
    hanging.whole = cells.at[1] < 0.0
    hanging.start[2] = 0.0
    whole, place = hanging.carry(np.array([[0, 0, -10.0, 0, 0, 0]]))
    assert place[[2, 3, 4]] == pytest.approx([-10 / 1e8 / 0.004, 0, 0], rel=1e-6, abs=1e-12)
    assert (whole == hanging.whole).all()


def test_a_bowed_face_leaves_the_published_stress_in_the_pad():
    material = replace(FILM, normal_stiffness=1.2e8, pull_off_stress=1e6)
    cells = cut(*of(gm.Pad.rectangle("pad", material, [0.04, 0.04])), finer=2)
    held = Held(cells, lambda x, y: (x * x + y * y) / 2.0)  # a sphere of 1 m
    moved(held, (0, 0, 1e-5, 0), (0, 0, -1e-3, 0))
    stretch, _, gap = held.stretch(DOWN, np.array([0.0, 0.0, -1e-3]))
    hanging = Hanging(cells, held.bond, stretch, gap)
    _, place = hanging.carry(np.zeros((1, 6)))
    stress = 1.2e8 * (hanging.start + hanging.maps @ place)[2]
    assert stress.max() == pytest.approx(32e3, rel=0.02)
    assert stress.min() == pytest.approx(-16e3, rel=0.03)


def test_what_the_tool_works_is_stored_or_set_free():
    tilted = gm.Pad.rectangle("b", FILM, [0.02, 0.01], gm.pose(xyz=[0.03, 0, 0], rpy=[0.02, -0.01, 0.5]))
    held = Held(cut(*of(gm.Pad.disc("a", FILM, 0.02), tilted)))
    places = [(0, 0, 3e-4, 0), (0, 0, -3e-4, 0), (1e-3, 0, -3e-4, 0.04), (1e-3, 3e-3, -2e-4, 0.1), (0, 3e-3, 1e-3, 0.1)]
    found = moved(held, *places, steps=400)
    before, after = (np.array([reaction.wrench[k] for reaction in found])[:, [0, 1, 2, 5]] for k in (0, -1))
    path = np.vstack([places[0], *(_straight(a, b, 400) for a, b in pairwise(places))])
    force = (before + np.vstack([np.zeros(4), after[:-1]])) / 2
    x, y = ((path[1:] + path[:-1]) / 2)[:, :2].T
    force[:, 3] += y * force[:, 0] - x * force[:, 1]  # the moment is about the part's origin, not the tool's
    work = (force * np.diff(path, axis=0)).sum()
    freed = sum(reaction.energy for reaction in found)
    assert freed > 0.0
    assert found[-1].stored == pytest.approx(0.0, abs=1e-12)
    assert work == pytest.approx(freed, rel=0.02)


def _straight(a, b, steps):
    return np.array(a) + np.arange(1, steps + 1)[:, None] / steps * (np.array(b) - a)


def test_a_cell_bonds_by_its_highest_pressure_after_its_dwell_and_not_while_it_drags():
    cells = cut(*of(gm.Pad.rectangle("pad", replace(FILM, min_dwell=0.5), [0.01, 0.01])))
    held = Held(cells)
    moved(held, (0, 0, 1e-5, 0), (0, 0, -5e-5, 0), steps=40)
    assert not held.bond.bonded.any()
    moved(held, (0, 0, -5e-5, 0), (0, 0, -4e-5, 0), steps=40)
    assert held.bond.bonded.all()
    assert held.bond.share == pytest.approx(0.5)
    moved(held, (0, 0, -4e-5, 0), (3e-3, 0, -4e-5, 0))
    assert not held.bond.bonded.any()
    dragged = moved(held, (3e-3, 0, -4e-5, 0), (3e-3, 0, -4.9e-5, 0), (6e-3, 0, -4.9e-5, 0))
    assert not held.bond.bonded.any()
    assert dragged[-1].wrench[-1, 0] == 0.0
    moved(held, (6e-3, 0, -4.9e-5, 0), (6e-3, 0, -8e-5, 0))
    assert held.bond.bonded.all()
    assert held.bond.share == pytest.approx(0.31)  # by the rise since it broke, from 4.9 to 8 kPa


def test_in_a_release_what_is_pressed_on_again_bonds_fully():
    held = Held(cut(*of(DISC)), fully=True)
    held.bond_fully(DOWN, np.array([0.0, 0.0, -4e-5]))
    moved(held, (0, 0, -4e-5, 0), (3e-3, 0, -4e-5, 0), (6e-3, 0, -4e-5, 0))
    assert not held.bond.bonded.any()
    found = moved(held, (6e-3, 0, -4e-5, 0), (6e-3, 0, -4.1e-5, 0), (6e-3, 0, 1e-3, 0))
    assert max(reaction.wrench[0, 2] for reaction in found) == pytest.approx(60e3 * np.pi * 0.02**2, rel=0.02)


@pytest.mark.parametrize("tilt", [-2e-3, 2e-3])
def test_a_tilted_pad_that_springs_back_is_not_pressed_on(tilt):
    held = Held(cut(*of(gm.Pad.disc("p", FILM, 0.02, gm.pose(rpy=[0.0, tilt, 0.0])))), fully=True)
    held.bond_fully(DOWN, np.array([0.0, 0.0, -2e-4]))
    moved(held, (0, 0, -2e-4, 0), (6e-3, 0, -2e-4, 0))  # at one height, several times what breaks it
    assert not held.bond.bonded.any()


def test_what_a_pad_presses_and_drags_acts_where_it_holds():
    held = Held(cut(*of(DISC)))
    found = moved(held, (0, 0, 1e-5, 0), (0, 0, -2e-4, 0), (3e-3, 0, -2e-4, 0))
    peak = max(found, key=lambda reaction: abs(reaction.wrench[0, 0]))
    area = np.pi * 0.02**2
    assert peak.wrench[0] == pytest.approx([50e3 * area, 0, -2e4 * area, 0, 0, 0], rel=0.02, abs=1e-3)
    assert peak.wrench[-1] == pytest.approx([0, 0, -2e4 * area, 0, 2e4 * area * 50 / 4e4, 0], rel=0.03, abs=1e-3)


def test_overload_leaves_a_residue():
    cells = cut(*of(gm.Pad.rectangle("p", replace(FILM, overload_pressure=30e3, overload_residual=0.1), [0.01, 0.01])))
    held = Held(cells)
    pulls = moved(held, (0, 0, 1e-5, 0), (0, 0, -4e-4, 0), (0, 0, 1e-3, 0))
    assert max(reaction.wrench[0, 2] for reaction in pulls) == pytest.approx(6e3 * 1e-4, rel=0.02)
    assert max(reaction.pressure for reaction in pulls) == pytest.approx(40e3)


NEST = gm.Nest(face=gm.pose(), hold_down=0.0, lateral_force=6.0, moment=0.06)
SQUARE = 0.02 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])


def test_a_block_tips_by_the_figure_worked_by_hand():
    wrench = np.array([[3.0, 0, 0, 0, 0, 0]])  # 3 N sideways at its top; 1 kg, 40 wide, 100 high
    ratios = statics(wrench, G, np.array([0, 0, -0.05]), NEST, SQUARE, 0.1)
    assert ratios["tip"] == pytest.approx([G * 0.02 / (3 * 0.1)])
    assert ratios["slide"] == pytest.approx([2.0])
    assert np.isinf([*ratios["lift"], *ratios["turn"]]).all()


def test_a_pull_beside_the_centre_of_mass_turns_the_part():
    ratios = statics(np.array([[3.0, 0, 2.0, 0, 0, 0]]), G, np.array([0, 0.01, 0]), NEST, SQUARE, 0.0)
    assert ratios["turn"] == pytest.approx([2.0])
    assert ratios["lift"] == pytest.approx([G / 2.0])


def test_hold_down_acts_at_the_middle_of_the_area_however_many_corners_there_are():
    wrench = np.array([[0, 0, 5.0, 0, -5.0 * 0.02, 0]])
    angle = np.pi / 2 * np.linspace(0, 1, 64)
    rounded = 0.045 + 0.005 * np.cos(angle), 0.025 + 0.005 * np.sin(angle)
    nest = replace(NEST, hold_down=16.0)
    sharp = np.array([[-0.05, -0.03], [0.05, -0.03], [0.05, 0.03], [-0.05, 0.03]])
    soft = np.vstack([sharp[:2], np.column_stack(rounded), sharp[3:]])
    found = [statics(wrench, 1.0, np.zeros(3), nest, support, 0.0)["tip"][0] for support in (sharp, soft)]
    assert found[0] == pytest.approx(17.0 * 0.05 / (5.0 * 0.07))
    assert found[1] == pytest.approx(found[0], rel=0.01)


@dataclass(frozen=True)
class Instant:
    """A motion that stands in its own axes."""

    acceleration: tuple
    omega: tuple
    alpha: tuple

    def poses(self, t):
        return np.broadcast_to(np.eye(3), (len(t), 3, 3)), np.zeros((len(t), 3))

    def rates(self, t):
        return tuple(np.broadcast_to(x, (len(t), 3)) for x in (self.acceleration, self.omega, self.alpha))


def test_the_load_is_that_of_the_published_rigid_body():
    part = gm.Part(mass=2.0, com=[0.10, 0.05, 0.08], inertia=[0.02, 0.03, 0.04, 0, 0, 0])
    motion = Instant((1.0, 2.0, 0.5), (0.0, 0.0, 2.0), (0.5, 0.0, 1.0))
    expected = [-1.1, -3.72, -20.67, -0.7459, 1.979, -0.357]
    assert loads(part, np.array([0, 0, -9.81]), motion, np.zeros(1))[0] == pytest.approx(expected, abs=1e-9)


def test_rates_of_a_motion_follow_from_its_poses():
    random = np.random.default_rng(1)
    moves = Moves(np.zeros(6), ("a", "b"), np.array([0.5, 0.7]), random.uniform(-0.5, 0.5, (2, 6)))
    t, h = np.array([0.2, 0.3, 0.8]), 1e-5
    (before, p), (now, q), (after, r) = (moves.poses(t + k * h) for k in (-1, 0, 1))
    acceleration, omega, alpha = moves.rates(t)
    assert (p - 2 * q + r) / h**2 == pytest.approx(acceleration, abs=1e-4)
    assert _vee((after - before) / (2 * h) @ now.swapaxes(1, 2)) == pytest.approx(omega, abs=1e-6)
    faster, slower = (moves.rates(t + k * h)[1] for k in (1, -1))
    assert (faster - slower) / (2 * h) == pytest.approx(alpha, abs=1e-6)


def _vee(skew):
    return np.stack([skew[:, 2, 1], skew[:, 0, 2], skew[:, 1, 0]], axis=1)


def test_a_whole_program_comes_to_what_can_be_worked_by_hand():
    whole = _lifted(mass=2.0)
    strength, peak = 60e3 * 1e-3, 10 / np.sqrt(3) * 0.15 / 0.5**2  # of a polynomial of degree five
    found = whole.factors()
    assert whole.activation == 1.0
    assert whole.pressure == pytest.approx(2e4, rel=1e-6)
    assert found["lift_off"] == pytest.approx(strength / (2.0 * G), rel=0.01)
    assert found["hold"] == pytest.approx(strength / (2.0 * (G + peak)), rel=0.01)
    assert found["first break"] == pytest.approx(found["hold"], rel=0.01)
    assert len(whole.ratios()) == 2
    for ratios in whole.ratios():
        assert ratios["lift"] == pytest.approx((2.0 * G + 30.0) / strength, rel=0.01)
        assert ratios["tip"] == pytest.approx(ratios["lift"], rel=0.01)
        assert min(ratios["slide"], ratios["turn"]) > 1e6


def test_a_part_too_heavy_for_its_pads_stays_where_it_is():
    whole = _lifted(mass=7.0)
    assert not whole.lifts(1.0)
    assert not whole.carries(0.1)
    assert [set(ratios.values()) for ratios in whole.ratios()] == [{0.0}]


def _lifted(mass):
    """Straight up out of a tray, over, down into a nest, and straight up again."""
    outline = 0.05 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    gripper, part = of(
        gm.Pad.rectangle("pad", FILM, [0.02, 0.05]), mass=mass, com=(0, 0, 0.01), outline=outline, thickness=0.02
    )
    ends = [(0, 0, -2e-4), (0, 0, 0.15 - 2e-4), (0.5, 0, 0.15 - 2e-4), (0.5, 0, -1e-4), (0.5, 0, 0.1)]
    moves = Moves(
        np.array([0, 0, 0.01, 0, 0, 0]),
        ("touch", "lift", "over", "lower", "leave"),
        np.array([0.4, 0.5, 4.0, 2.0, 0.5]),
        np.array([[*end, 0, 0, 0] for end in ends]),
    )
    nest = gm.Nest(face=gm.pose(xyz=[0.5, 0, 0]), hold_down=30.0, lateral_force=1.0, moment=1.0)
    job = gm.Job(
        name="lifted",
        gripper=gripper,
        part=part,
        trajectory=moves.trajectory(),
        robot=GANTRY,
        pick=gm.Pick(face=gm.pose()),
        nest=nest,
    )
    return Whole(job, moves)


def test_a_job_is_the_same_each_time_it_is_drawn():
    first, again = draw(7), draw(7)
    assert first.job.part.mass == again.job.part.mass
    assert np.array_equal(first.job.trajectory.q, again.job.trajectory.q)
    turn, place = seen(first.motion, np.eye(4), np.array([0.0]))
    assert place[0] == pytest.approx(first.motion.start[:3])
    assert turn[0] @ turn[0].T == pytest.approx(np.eye(3))
