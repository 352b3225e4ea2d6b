"""Drag and added mass of the air on a flat part."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.swing.vibration import modes_of
from gripmargin.contact.loads import (
    AIR_CAUSES,
    FLAT_PLATE,
    added_mass,
    air_load,
    drag_per_speed,
    load_by_cause,
    load_per_acceleration,
    part_load,
    standing_load,
)
from gripmargin.motion.tool_motion import pose_motion

GRAVITY = np.array([0.0, 0.0, -9.80665])


def square(side, drag_area, *, middle=(0.0, 0.0), mass=1.0):
    x, y = middle
    half = side / 2
    corners = [[x - half, y - half], [x + half, y - half], [x + half, y + half], [x - half, y + half]]
    return gm.Part(
        mass=mass, com=[x, y, 0.002], inertia=[0.01, 0.01, 0.02, 0, 0, 0], outline=corners, drag_area=drag_area
    )


def moving(velocity=(0, 0, 0), acceleration=(0, 0, 0), omega=(0, 0, 0), alpha=(0, 0, 0), turn=None):
    one = [np.array([v], dtype=float) for v in (velocity, acceleration, omega, alpha)]
    rotation = np.eye(3) if turn is None else turn
    return pose_motion(np.zeros(1), np.zeros((1, 3)), rotation[None], *one)


def test_drag_of_a_flat_plate():
    """1 m2 at 2 m/s in air of 1.225 kg/m3: 3.136 N (NASA Glenn: drag coefficient 1.28)."""
    part = square(1.0, FLAT_PLATE * 1.0)
    drag, added = air_load(part, moving(velocity=(0, 0, 2.0)), 1.225)
    assert drag[2, 0] == pytest.approx(-3.136, abs=1e-12)
    np.testing.assert_array_equal(added, 0.0)
    back, _ = air_load(part, moving(velocity=(3.0, 1.0, -2.0)), 1.225)
    np.testing.assert_allclose(back[:, 0], [0, 0, 3.136, 0, 0, 0], atol=1e-12)  # against the motion, pulls it off


def test_added_mass_of_a_disc():
    """8/3 rho r^3 (Lamb, from memory): r = 0.5 m in air of 1.2 kg/m3 takes 0.4 kg along."""
    part = square(1.0, FLAT_PLATE * np.pi * 0.25)
    assert added_mass(part, 1.2) == pytest.approx(0.4, rel=1e-12)
    _, added = air_load(part, moving(acceleration=(5.0, 0, 1.5)), 1.2)
    np.testing.assert_allclose(added[:, 0], [0, 0, -0.6, 0, 0, 0], atol=1e-12)


def test_both_act_at_the_centroid_of_the_outline():
    part = square(0.4, 0.2, middle=(0.1, -0.05))
    drag, added = air_load(part, moving(velocity=(0, 0, 1.0), acceleration=(0, 0, 2.0)), 1.225)
    for load in (drag[:, 0], added[:, 0]):
        np.testing.assert_allclose(load[3:], np.cross([0.1, -0.05, 0.0], load[:3]), atol=1e-15)
    turning, _ = air_load(part, moving(omega=(0, 2.0, 0)), 1.225)
    speed = -2.0 * 0.1  # omega x centroid along z
    assert turning[2, 0] == pytest.approx(0.5 * 1.225 * 0.2 * speed**2, rel=1e-12)


def test_the_moving_load_grows_with_the_square_of_the_speed():
    part = square(0.6, 0.4, middle=(0.05, 0.02))
    random = np.random.default_rng(1)
    turn = Rotation.random(rng=random).as_matrix()
    v, a, w, al = random.normal(size=(4, 3))
    still = standing_load(part, moving(turn=turn), GRAVITY)
    loads = [part_load(part, moving(k * v, k * k * a, k * w, k * k * al, turn), GRAVITY) - still for k in (1.0, 1.7)]
    np.testing.assert_allclose(loads[1], 1.7**2 * loads[0], rtol=1e-12)


def test_causes_add_up_and_errors_of_acceleration_feel_the_air():
    part = square(0.6, 0.4, middle=(0.05, 0.02))
    random = np.random.default_rng(2)
    v, a, w, al = random.normal(size=(4, 3))
    motion = moving(v, a, w, al)
    causes = load_by_cause(part, motion, GRAVITY, 1.1)
    assert set(AIR_CAUSES) <= set(causes)
    whole = part_load(part, motion, GRAVITY, 1.1)[:, 0]
    np.testing.assert_allclose(sum(causes.values())[:, 0], whole, rtol=1e-12, atol=1e-12)
    step = random.normal(size=6)
    other = part_load(part, moving(v, a + step[:3], w, al + step[3:]), GRAVITY, 1.1)[:, 0]
    np.testing.assert_allclose(other - whole, load_per_acceleration(part, 1.1) @ step, rtol=1e-9, atol=1e-12)


def test_errors_of_speed_move_the_drag_by_its_slope():
    """Against differences of the drag itself."""
    part = square(0.6, 0.4, middle=(0.05, 0.02))
    random = np.random.default_rng(3)
    v, w, step = random.normal(size=3), random.normal(size=3), 1e-6 * random.normal(size=6)
    slope = drag_per_speed(part, moving(v, omega=w), 1.1)[:, :, 0]
    before, after = (air_load(part, moving(v + k * step[:3], omega=w + k * step[3:]), 1.1)[0][:, 0] for k in (-1, 1))
    np.testing.assert_allclose((after - before) / 2, slope @ step, rtol=1e-6, atol=1e-15)


def test_errors_of_estimated_speeds_count_in_the_drag(gantry, film):
    """In a gale of a gantry, noisy positions leave the drag less sure than a vacuum does."""
    t = np.arange(0.0, 1.0, 0.004)
    q = np.zeros((t.size, 4))
    q[:, 2] = 3.0 * t + 1e-4 * np.random.default_rng(0).normal(size=t.size)
    pad = gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [0.05, 0.05]),))
    job = gm.Job(
        name="panel",
        trajectory=gm.JointTrajectory(t=t, q=q),
        robot=gantry,
        gripper=pad,
        part=square(0.8, FLAT_PLATE * 0.64, mass=0.4),
    )
    error = work_out(job).motion.error
    columns, sigma, bias = work_out(job).load_errors(np.array([125]))
    assert len(columns) == 2 * error.sigma.shape[1]
    half = len(columns) // 2
    due = 1.225 * FLAT_PLATE * 0.64 * 3.0  # rho Cd A v
    assert np.abs(columns[half:, 2, 0]).max() == pytest.approx(due, rel=0.05)
    np.testing.assert_array_equal(sigma[0, half:], error.speed_sigma[125])
    np.testing.assert_array_equal(bias[0, half:], error.speed_bias[125])


def test_without_a_drag_area_or_without_air_nothing_changes():
    part = square(0.6, None)
    motion = moving((1, 2, 3), (4, 5, 6), (1, 0, 2), (3, 2, 1))
    np.testing.assert_array_equal(part_load(part, motion, GRAVITY), part_load(part, motion, GRAVITY, 5.0))
    flat = square(0.6, 0.4)
    np.testing.assert_array_equal(part_load(flat, motion, GRAVITY, 0.0), part_load(part, motion, GRAVITY))
    assert set(AIR_CAUSES).isdisjoint(load_by_cause(part, motion, GRAVITY))


def test_air_slows_the_swing_of_a_light_panel(worked_out, film):
    """sqrt(m / (m + m_a)) for the pull of a panel held in its middle."""
    pad = gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [0.05, 0.05]),))
    panel = square(0.8, FLAT_PLATE * 0.64, mass=0.4)
    t = np.linspace(0, 1, 50)
    trajectory = gm.PoseTrajectory(
        t=t, position=np.zeros((50, 3)), rotation=np.broadcast_to(np.diag([1.0, -1.0, -1.0]), (50, 3, 3))
    )
    backing = worked_out(trajectory=trajectory, gripper=pad, part=panel).whole
    hertz = [modes_of(backing, panel, density) for density in (0.0, 1.225)]
    dry, wet = (modes.hertz[modes.names.index("pull")] for modes in hertz)
    assert wet / dry == pytest.approx(np.sqrt(0.4 / (0.4 + added_mass(panel, 1.225))), rel=1e-9)


def test_the_report_says_so_and_the_margin_falls(gantry, film, exact_moves):
    t = np.arange(0.0, 1.0, 0.004)
    q, qd, qdd = exact_moves(4, (0.1, 0.6, [0, 0, 0.4, 0])).at(t)
    pad = gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [0.05, 0.05]),))
    panel = square(0.8, FLAT_PLATE * 0.64, mass=0.4)
    job = gm.Job(
        name="panel",
        trajectory=gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd),
        robot=gantry,
        gripper=pad,
        part=panel,
        air_density=1.2,
    )
    report = gm.check_job(job)
    assert any("Air of 1.2 kg/m^3" in sentence for sentence in report.assumed)
    dry = gm.check_job(replace(job, part=replace(panel, drag_area=None)))
    assert report.checks[0].value < 0.8 * dry.checks[0].value
    assert not any("drag_area" in item.check for item in report.not_checked)
    thin = gm.check_job(replace(job, air_density=0.0))
    assert thin.checks[0].value == pytest.approx(dry.checks[0].value, rel=1e-12)


@pytest.mark.parametrize("density", [-1.0, np.nan, 1225.0])
def test_air_that_there_is_not(gantry, film, exact_moves, density):
    t = np.arange(0.0, 1.0, 0.1)
    q, qd, qdd = exact_moves(4, (0.1, 0.6, [0, 0, 0.4, 0])).at(t)
    with pytest.raises(gm.InputError, match=r"job\.air_density"):
        gm.Job(
            name="panel",
            trajectory=gm.JointTrajectory(t=t, q=q, qd=qd, qdd=qdd),
            robot=gantry,
            gripper=gm.Gripper(pads=(gm.Pad.rectangle("pad", film, [0.05, 0.05]),)),
            part=square(0.8, 0.5),
            air_density=density,
        )
