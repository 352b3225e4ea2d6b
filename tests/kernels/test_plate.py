"""Ritz's polynomials and the bending energy of a plate, against closed forms."""

from math import factorial

import numpy as np
import pytest

from gripmargin.kernels.plate import Polynomials, triangle_rule

RECTANGLE = np.array([[[0, 0], [0.3, 0], [0.3, 0.2]], [[0, 0], [0.3, 0.2], [0, 0.2]]])
BOX = np.array([0.0, 0.0, 0.3, 0.2])


@pytest.mark.parametrize(("a", "b"), [(0, 0), (1, 0), (3, 2), (7, 1), (0, 8), (4, 4)])
def test_a_rule_of_five_points_a_side_integrates_degree_eight(a, b):
    """Over the unit triangle the integral of x^a y^b is a! b! / (a + b + 2)! (any handbook)."""
    points, areas = triangle_rule(np.array([[[2.0, 3.0], [3.0, 3.0], [2.0, 4.0]]]), 5)
    points = points - [2.0, 3.0]
    found = areas @ (points[:, 0] ** a * points[:, 1] ** b)
    assert found == pytest.approx(factorial(a) * factorial(b) / factorial(a + b + 2), rel=1e-12)


@pytest.mark.parametrize(
    ("shape", "twice_the_energy"),
    [
        (lambda x, y: 0.5 * x * x, 1.0),  # bent one way: D k^2 A
        (lambda x, y: 0.5 * (x * x + y * y), 2.0 * 1.3),  # to a bowl: 2 D (1 + nu) k^2 A
        (lambda x, y: 0.5 * (x * x - y * y), 2.0 * 0.7),  # to a saddle: 2 D (1 - nu) k^2 A
        (lambda x, y: x * y, 2.0 * 0.7),  # the same saddle, turned by 45 degrees
        (lambda x, y: 1.0 + 2.0 * x - 3.0 * y, 0.0),
    ],
)
def test_energy_of_even_curvatures(shape, twice_the_energy):
    """Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, art. 11 (from memory); D = 7 N m, nu = 0.3."""
    form = Polynomials(BOX, 4)
    points, areas = triangle_rule(RECTANGLE, 6)
    coefficients = np.linalg.lstsq(form.at(points), shape(*points.T), rcond=None)[0]
    energy = coefficients @ form.bending(points, areas, 7.0, 0.3) @ coefficients
    assert energy == pytest.approx(7.0 * twice_the_energy * 0.06, rel=1e-9, abs=1e-9)


def test_degrees_are_those_of_the_polynomials():
    form = Polynomials(BOX, 3)
    assert sorted(form.degrees.tolist()) == [0, 1, 1, 2, 2, 2, 3, 3, 3, 3]
    points = np.array([[0.1, 0.05], [0.2, 0.1], [0.3, 0.15]])  # on a line: a polynomial of degree 1 has no curvature
    low = form.degrees <= 1
    assert np.abs(np.diff(form.at(points)[:, low], 2, axis=0)).max() < 1e-12
