"""The load kernel: laws of mechanics that hold for any body and motion, and arrays that are left alone."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from gripmargin.kernels.wrench import CAUSES, load_wrench, mass_matrix, wrench_by_cause

SEEDS = st.integers(0, 2**32 - 1)


def body(random):
    """Any mass, centre of mass and inertia about it."""
    spread = random.normal(size=(3, 3))
    return random.uniform(0.1, 5.0), random.normal(size=3) * 0.2, spread @ spread.T * 1e-2


def motion(random, samples=9):
    """Gravity, acceleration of the origin, angular velocity and acceleration, each (3, samples)."""
    return random.normal(size=(4, 3, samples)) * [[[9.81]], [[10.0]], [[4.0]], [[20.0]]]


def cross(a, b):
    return np.cross(a, b, axis=0)


@given(SEEDS)
@settings(derandomize=True, deadline=None, max_examples=40)
def test_the_causes_add_up_to_newton_and_euler_at_the_centre_of_mass(seed):
    random = np.random.default_rng(seed)
    (mass, com, inertia), (gravity, acceleration, omega, alpha) = body(random), motion(random)
    com_ = com[:, None]
    force = mass * (gravity - acceleration - cross(alpha, com_) - cross(omega, cross(omega, com_)))
    moment = cross(com_, force) - inertia @ alpha - cross(omega, inertia @ omega)
    whole = np.concatenate([force, moment])
    parts = wrench_by_cause(mass, com, inertia, gravity, acceleration, omega, alpha)
    assert parts.shape == (len(CAUSES), 6, 9)
    size = np.abs(parts).sum()
    np.testing.assert_allclose(parts.sum(axis=0), whole, rtol=0, atol=1e-14 * size)
    np.testing.assert_allclose(
        load_wrench(mass, com, inertia, gravity, acceleration, omega, alpha), whole, rtol=0, atol=1e-14 * size
    )


@given(SEEDS)
@settings(derandomize=True, deadline=None, max_examples=40)
def test_each_cause_is_that_of_its_motion_alone(seed):
    random = np.random.default_rng(seed)
    given_, still = motion(random), np.zeros((3, 9))
    own = body(random)
    found = dict(zip(CAUSES, wrench_by_cause(*own, *given_), strict=True))
    alone = {"gravity": 0, "linear acceleration": 1, "angular acceleration": 3}
    for cause, row in alone.items():
        only = [vectors if i == row else still for i, vectors in enumerate(given_)]
        np.testing.assert_allclose(load_wrench(*own, *only), found[cause], atol=1e-12)
    turning = load_wrench(*own, still, still, given_[2], still)
    np.testing.assert_allclose(turning, found["centripetal"] + found["gyroscopic"], atol=1e-12)
    np.testing.assert_array_equal(found["gyroscopic"][:3], 0.0)  # a torque alone


@given(SEEDS)
@settings(derandomize=True, deadline=None, max_examples=40)
def test_the_load_and_its_power_are_the_same_in_every_frame_on_the_tool(seed):
    """The load of the motion seen from another frame is the load moved there, and f.v + m.omega does not change."""
    random = np.random.default_rng(seed)
    (mass, com, inertia), (gravity, acceleration, omega, alpha) = body(random), motion(random)
    velocity = random.normal(size=(3, 9))
    turn, place = Rotation.random(rng=random).as_matrix().T, random.normal(size=3)
    arm = place[:, None]
    there = load_wrench(
        mass,
        turn @ (com - place),
        turn @ inertia @ turn.T,
        turn @ gravity,
        turn @ (acceleration + cross(alpha, arm) + cross(omega, cross(omega, arm))),
        turn @ omega,
        turn @ alpha,
    )
    here = load_wrench(mass, com, inertia, gravity, acceleration, omega, alpha)
    moved = np.concatenate([turn @ here[:3], turn @ (here[3:] - cross(arm, here[:3]))])
    size = np.abs(here).max()
    np.testing.assert_allclose(there, moved, rtol=0, atol=1e-11 * size)
    power = (here * np.concatenate([velocity, omega])).sum(axis=0)
    twist_there = np.concatenate([turn @ (velocity + cross(omega, arm)), turn @ omega])
    np.testing.assert_allclose((there * twist_there).sum(axis=0), power, rtol=0, atol=1e-11 * np.abs(power).max())


@given(SEEDS)
@settings(derandomize=True, deadline=None, max_examples=40)
def test_the_power_of_the_load_is_what_gravity_gives_less_what_the_body_takes_up(seed):
    """Conservation of energy: the kinetic energy is that of the centre of mass and of the rotation about it."""
    random = np.random.default_rng(seed)
    (mass, com, inertia), (gravity, acceleration, omega, alpha) = body(random), motion(random)
    velocity, com_ = random.normal(size=(3, 9)), com[:, None]
    speed = velocity + cross(omega, com_)
    gains = acceleration + cross(alpha, com_) + cross(omega, cross(omega, com_))
    taken_up = mass * (speed * gains).sum(axis=0) + (omega * (inertia @ alpha)).sum(axis=0)
    given_ = mass * (gravity * speed).sum(axis=0)
    load = load_wrench(mass, com, inertia, gravity, acceleration, omega, alpha)
    power = (load * np.concatenate([velocity, omega])).sum(axis=0)
    np.testing.assert_allclose(power, given_ - taken_up, rtol=0, atol=1e-12 * np.abs(load).max() * 20)


def test_mass_matrix_gives_the_kinetic_energy_of_the_body():
    random = np.random.default_rng(0)
    mass, com, inertia = body(random)
    v, w = random.normal(size=(2, 3))
    at_com = v + np.cross(w, com)
    energy = 0.5 * mass * at_com @ at_com + 0.5 * w @ inertia @ w
    twist = np.concatenate([v, w])
    assert 0.5 * twist @ mass_matrix(mass, com, inertia) @ twist == pytest.approx(energy)


@pytest.mark.parametrize("samples", [9, 20_000])
def test_one_sample_at_a_time_or_all_at_once_is_the_same(samples):
    random = np.random.default_rng(0)
    vectors = random.normal(size=(4, 3, samples))
    own = 0.7, np.array([0.1, 0.0, -0.2]), np.diag([1.0, 2.0, 2.5])
    whole = load_wrench(*own, *vectors)
    some = [0, 1, samples // 2, samples - 1]
    single = np.hstack([load_wrench(*own, *vectors[:, :, [i]]) for i in some])
    np.testing.assert_allclose(whole[:, some], single, rtol=1e-14, atol=1e-14)


def test_input_is_left_alone():
    vectors = np.random.default_rng(1).normal(size=(4, 3, 5))
    kept = vectors.copy()
    load_wrench(0.7, np.array([0.1, 0.3, -0.2]), np.eye(3), *vectors)
    np.testing.assert_array_equal(vectors, kept)


def test_what_is_no_number_stays_visible():
    vectors = np.random.default_rng(2).normal(size=(4, 3, 5))
    for row in range(4):
        bad = vectors.copy()
        bad[row, 0, 2] = np.nan
        found = load_wrench(0.7, np.zeros(3), np.eye(3), *bad)
        assert np.isnan(found[:, 2]).any()
        assert np.isfinite(found[:, [0, 1, 3, 4]]).all()
