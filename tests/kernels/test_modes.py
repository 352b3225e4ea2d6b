"""Natural vibrations against closed forms and the generalised eigenvalues of scipy."""

import numpy as np
import pytest
from scipy.linalg import eigh

from gripmargin.kernels.modes import natural_modes
from gripmargin.kernels.wrench import mass_matrix


def test_one_frequency_by_hand():
    """f = sqrt(k A / m) / 2 pi: k = 60 MPa/m, A = 0.01 m2, m = 2 kg gives 87.172752 Hz (closed form)."""
    stiffness = np.diag([6e5, 6e5, 6e5, 1e3, 1e3, 1e3])
    omega, _ = natural_modes(stiffness, mass_matrix(2.0, np.zeros(3), np.diag([1e-4, 2e-4, 3e-4])))
    assert omega[:3] / (2 * np.pi) == pytest.approx(87.172752, abs=1e-6)
    assert omega[3:] == pytest.approx(np.sqrt(1e3 / np.array([3e-4, 2e-4, 1e-4])))


def test_against_the_generalised_eigenvalues_of_scipy():
    random = np.random.default_rng(1)
    root = random.normal(size=(6, 6))
    stiffness = root @ root.T + np.eye(6)
    mass = mass_matrix(0.8, [0.03, -0.02, 0.1], np.diag([2e-3, 3e-3, 4e-3]))
    omega, shapes = natural_modes(stiffness, mass)
    assert omega**2 == pytest.approx(eigh(stiffness, mass, eigvals_only=True))
    load = random.normal(size=6)
    assert (stiffness @ shapes) @ (shapes.T @ load) == pytest.approx(load)  # the modes carry the whole load
    assert shapes.T @ stiffness @ shapes == pytest.approx(np.eye(6), abs=1e-12)


def test_a_part_without_inertia_about_an_axis_has_five_modes():
    stiffness = np.eye(6) * 1e4
    mass = mass_matrix(1.0, np.zeros(3), np.diag([1e-3, 1e-3, 0.0]))
    omega, shapes = natural_modes(stiffness, mass)
    assert shapes.shape == (6, 5)
    assert np.isfinite(omega).all()
    # what it puts on the pads by any acceleration is carried by these five
    load = mass @ np.random.default_rng(0).normal(size=6)
    assert (stiffness @ shapes) @ (shapes.T @ load) == pytest.approx(load)
