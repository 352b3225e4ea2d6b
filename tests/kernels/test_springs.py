"""Cells as springs: force is the slope of energy, sums over cells agree with the cells one by one."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from gripmargin.kernels.screw import along
from gripmargin.kernels.springs import (
    bonded_force,
    bonded_reaction,
    crossing,
    elongation,
    free_contact,
    second_moments,
    utilisation2,
)

KN, KT = 1e8, 3e7


@pytest.fixture
def cells():
    random = np.random.default_rng(0)
    root = np.column_stack([random.uniform(-0.03, 0.03, (20, 2)), np.zeros(20)]) + np.array([0.2, -0.1, 0.05])
    rotation = Rotation.from_rotvec([3.0, 0.1, 0.2]).as_matrix()
    position = np.array([0.4, 0.3, 0.1])
    anchor = root @ rotation.T + position + 1e-4 * random.normal(size=(20, 3))
    normal = Rotation.from_rotvec([0.2, 0.1, 0.0]).as_matrix()[:, 2]
    return root, rotation, position, anchor, normal, random.uniform(1e-6, 2e-6, 20)


def constants(normal, count):
    return np.tile(normal, (count, 1)), np.full(count, KN), np.full(count, KT)


def test_reaction_does_the_work_that_the_energy_gains(cells):
    """Central difference of the energy along six unit twists = the wrench on the part (work of the tool)."""
    root, rotation, position, anchor, normal, area = cells

    def energy(twist):
        turned, moved = along(rotation[None], position[None], twist[None], np.ones(1))
        stretch = elongation(turned, moved, anchor[None], root)
        return bonded_force(stretch[0], turned[0], *constants(normal, 20), area)[1].sum()

    stretch = elongation(rotation[None], position[None], anchor[None], root)[0]
    force, _ = bonded_force(stretch, rotation, *constants(normal, 20), area)
    wrench = np.concatenate([force.sum(axis=0), np.cross(anchor, force).sum(axis=0)])
    h = 1e-6
    slope = [(energy(h * e) - energy(-h * e)) / (2 * h) for e in np.eye(6)]
    np.testing.assert_allclose(slope, wrench, rtol=1e-6, atol=1e-7 * np.abs(wrench).max())


def test_sums_over_cells_without_the_cells(cells):
    root, rotation, position, anchor, normal, area = cells
    centre = anchor.mean(axis=0), root.mean(axis=0)
    moments = second_moments(anchor - centre[0], root - centre[1], area)
    wrench, energy = bonded_reaction(moments, centre, rotation[None], position[None], normal, KN, KT)
    stretch = elongation(rotation[None], position[None], anchor[None], root)[0]
    force, each = bonded_force(stretch, rotation, *constants(normal, 20), area)
    np.testing.assert_allclose(wrench[0, :3], force.sum(axis=0), rtol=1e-9)
    np.testing.assert_allclose(wrench[0, 3:], np.cross(anchor, force).sum(axis=0), rtol=1e-9)
    np.testing.assert_allclose(energy[0], each.sum(), rtol=1e-9)


def test_free_contact_has_no_force_along_the_face(cells):
    """Anchored where it freely slides to, a spring pushes along the face normal only, with the stiffness stated."""
    root, rotation, position, _, normal, area = cells
    stiffness, lean = free_contact(rotation[None], normal, KN, KT)
    depth = 2e-4
    anchor = root @ rotation.T + position + depth * lean[0]
    stretch = elongation(rotation[None], position[None], anchor[None], root)[0]
    force, energy = bonded_force(stretch, rotation, *constants(normal, 20), area)
    assert lean[0, 2] == pytest.approx(1)
    np.testing.assert_allclose(force, -np.outer(area, [0, 0, stiffness[0] * depth]), atol=1e-12)
    np.testing.assert_allclose(energy, area * stiffness[0] * depth**2 / 2)


def test_untilted_contact_has_the_normal_stiffness():
    stiffness, lean = free_contact(np.diag([1.0, -1, -1])[None], np.array([0.0, 0, 1]), KN, KT)
    assert stiffness[0] == pytest.approx(KN)
    assert lean[0] == pytest.approx([0, 0, 1])


def test_utilisation_ignores_pressure():
    args = (np.array([[0.0, 0, 1]]), np.array([KN]), np.array([KT]), np.array([1e5]), np.array([5e4]))
    assert utilisation2(np.array([[0, 0, -1e-3]]), *args)[0] == 0
    assert utilisation2(np.array([[0, 0, 1e-3]]), *args)[0] == pytest.approx(1)
    assert utilisation2(np.array([[1e-3, 0, 5e-4]]), *args)[0] == pytest.approx(0.36 + 0.25)


def test_crossing_is_where_the_utilisation_is_the_limit():
    random = np.random.default_rng(1)
    start, end = 2e-4 * random.normal(size=(200, 3)), 4e-3 * random.normal(size=(200, 3))
    pull, shear = np.full(200, 1e5), np.full(200, 5e4)
    constant = constants(np.array([0.0, 0.6, 0.8]), 200)
    limit2 = random.uniform(0.2, 1.0, 200)

    def used2(share):
        return utilisation2(start + share[:, None] * (end - start), *constant, pull, shear)

    inside, outside = used2(np.zeros(200)) < limit2, used2(np.ones(200)) > limit2
    share = crossing(start, end, constant[0], (KN / pull, KT / shear), limit2)
    both = inside & outside
    assert both.sum() > 100
    np.testing.assert_allclose(used2(share)[both], limit2[both], rtol=1e-9)
    assert (share[~inside] == 0).all()
