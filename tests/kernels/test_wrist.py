"""Bodies about the axes of a wrist, beside Pinocchio and closed forms."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import gripmargin as gm
from gripmargin.kernels import wrist
from gripmargin.kernels.jacobian import tool_jacobian


def cuboid(mass, sides):
    x, y, z = np.square(sides)
    return mass / 12 * np.diag([y + z, x + z, x + y])


def test_two_halves_of_a_cuboid_make_the_whole():
    half = cuboid(1.5, (0.1, 0.06, 0.02))
    mass, com, inertia = wrist.joined(
        [1.5, 1.5], [np.array([-0.05, 0.01, 0.2]), np.array([0.05, 0.01, 0.2])], [half, half]
    )
    assert mass == 3.0
    np.testing.assert_allclose(com, [0.0, 0.01, 0.2], atol=1e-15)
    np.testing.assert_allclose(inertia, cuboid(3.0, (0.2, 0.06, 0.02)), atol=1e-15)


def test_a_dumbbell_turns_about_its_reduced_mass():
    # m1 m2 / (m1 + m2) L^2, any text on mechanics
    point = np.zeros((3, 3))
    _, _, inertia = wrist.joined([2.0, 3.0], [np.zeros(3), np.array([0.0, 0.0, 0.5])], [point, point])
    np.testing.assert_allclose(np.diag(inertia), [1.2 * 0.25, 1.2 * 0.25, 0.0], atol=1e-15)


@pytest.mark.parametrize("seed", range(4))
def test_inertias_and_arms_are_those_of_pinocchio(seed, pinocchio_arm, industrial_arm):
    import pinocchio as pin

    random = np.random.default_rng(seed)
    turned = Rotation.random(random_state=seed).as_matrix()
    part = gm.Part(
        mass=random.uniform(0.5, 4.0),
        com=random.normal(size=3) / 10,
        inertia=turned @ cuboid(2.0, random.uniform(0.05, 0.3, 3)) @ turned.T,
    )
    chain, arm = industrial_arm(gm.pose(random.normal(size=3) / 10, random.normal(size=3)), part)
    q = random.uniform(-2.0, 2.0, (3, chain.joints))
    jacobian = tool_jacobian(chain.links, chain.revolute, q)
    inertias = wrist.axis_inertias(jacobian, part.mass, part.com, part.inertia)
    arms = wrist.distances(jacobian, part.com)
    for i, values in enumerate(q):
        data = arm.model.createData()
        np.testing.assert_allclose(inertias[:, i], np.diag(pin.crba(arm.model, data, values)), rtol=1e-9, atol=1e-12)
        # Gravity turned every way: the largest torque about an axis is the whole weight at its distance.
        directions = np.eye(3)
        torques = []
        for direction in directions:
            arm.model.gravity = pin.Motion(direction, np.zeros(3))
            torques.append(pin.computeGeneralizedGravity(arm.model, data, values))
        np.testing.assert_allclose(part.mass * arms[:, i], np.linalg.norm(torques, axis=0), rtol=1e-9, atol=1e-12)


@pytest.mark.parametrize("seed", range(30))
def test_between_samples_nothing_exceeds_what_is_said(seed, random_chain, random_part):
    """Two samples of joints that move straight, beside the same sampled so densely that nothing hides."""
    random = np.random.default_rng(seed)
    chain, part = random_chain(random, 4), random_part(random)
    turns = np.array(chain.revolute)
    ends = random.normal(size=(2, 4)) * random.uniform(0.05, 1.0)
    dense = ends[0] + np.linspace(0, 1, 101)[:, None] * (ends[1] - ends[0])
    stray, besides, swing = wrist.travel_between(chain.revolute, ends)
    reach = wrist.reaches(chain.links, chain.revolute, ends, part.com)
    at_ends, inside = (tool_jacobian(chain.links, chain.revolute, q) for q in (ends, dense))
    arms = wrist.distances(inside, part.com).max(axis=1)
    most = (wrist.distances(at_ends, part.com) + reach[:, None] * stray + besides).max(axis=1)
    assert (arms[turns] <= np.minimum(most, reach)[turns] + 1e-12).all()
    spread = np.ptp(np.linalg.eigvalsh(part.inertia))
    own, found = (wrist.axis_inertias(j, 0.0, part.com, part.inertia) for j in (at_ends, inside))
    assert (found.max(axis=1)[turns] <= (own + swing * spread).max(axis=1)[turns] + 1e-12).all()


def test_the_last_axis_does_not_stray():
    q = np.random.default_rng(1).normal(size=(5, 3))
    stray, besides, swing = wrist.travel_between((True, True, True), q)
    assert not stray[-1].any()
    assert not besides[-1].any()
    assert not swing[-1].any()
    assert (stray[:-1] > 0).all()
