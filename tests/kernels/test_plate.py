"""Splines over a plate and its bending energy, against closed forms."""

from math import factorial

import numpy as np
import pytest
import shapely

from gripmargin.contact.plate_grid import cut
from gripmargin.kernels.plate import BEYOND, Splines, isotropic, orthotropic, triangle_rule

FORM = Splines(np.array([0.0, 0.05, 0.08, 0.17, 0.25, 0.3]), np.array([0.0, 0.03, 0.09, 0.15, 0.2]))
RECTANGLE, TRIANGLE = shapely.box(0.0, 0.0, 0.3, 0.2), shapely.Polygon([(0.01, 0.0), (0.3, 0.04), (0.1, 0.19)])
EVEN = (
    (lambda x, y: 0.5 * x * x, 1.0),  # bent one way: D k^2 A
    (lambda x, y: 0.5 * (x * x + y * y), 2.0 * 1.3),  # to a bowl: 2 D (1 + nu) k^2 A
    (lambda x, y: 0.5 * (x * x - y * y), 2.0 * 0.7),  # to a saddle: 2 D (1 - nu) k^2 A
    (lambda x, y: x * y, 2.0 * 0.7),  # the same saddle, turned by 45 degrees
    (lambda x, y: 1.0 + 2.0 * x - 3.0 * y, 0.0),
)


def fitted(function):
    """Coefficients of a polynomial of degree 3 or less in each direction: splines have them all."""
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(0, 0.3, 40), np.linspace(0, 0.2, 30)))
    rows = FORM.rows(np.stack([x, y], axis=1)).toarray()
    return np.linalg.lstsq(rows, function(x, y) * np.ones_like(x), rcond=None)[0]


@pytest.mark.parametrize(("a", "b"), [(0, 0), (1, 0), (3, 2), (7, 1), (0, 8), (4, 4)])
def test_a_rule_of_five_points_a_side_integrates_degree_eight(a, b):
    """Over the unit triangle the integral of x^a y^b is a! b! / (a + b + 2)! (any handbook)."""
    points, areas = triangle_rule(np.array([[[2.0, 3.0], [3.0, 3.0], [2.0, 4.0]]]), 5)
    points = points - [2.0, 3.0]
    found = areas @ (points[:, 0] ** a * points[:, 1] ** b)
    assert found == pytest.approx(factorial(a) * factorial(b) / factorial(a + b + 2), rel=1e-12)


@pytest.mark.parametrize("shape", [RECTANGLE, TRIANGLE])
@pytest.mark.parametrize(("function", "twice_the_energy"), EVEN)
def test_energy_of_even_curvatures(shape, function, twice_the_energy):
    """Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, art. 11 (from memory); D = 7 N m, nu = 0.3.

    Of an outline that cuts the grid the rest of the cells takes no more than its share of the stiffness.
    """
    bent = fitted(function)
    energy = bent @ (FORM.bending(cut(FORM, shape), isotropic(7.0, 0.3)) @ bent)
    assert energy == pytest.approx(7.0 * twice_the_energy * shape.area, rel=10 * BEYOND, abs=1e-9)


def test_a_plate_stiffer_along_x_bends_less_easily_that_way():
    """Orthotropic: D_x k^2 A, D_y k^2 A, and 4 D_xy t^2 A for a twist t (Timoshenko, art. 85, from memory)."""
    rigidity = np.array([[9.0, 0.5, 0.0], [0.5, 4.0, 0.0], [0.0, 0.0, 2.0]])
    matrix = FORM.bending(cut(FORM, RECTANGLE), rigidity)
    bends = (lambda x, y: 0.5 * x * x, lambda x, y: 0.5 * y * y, lambda x, y: x * y)
    energies = [fitted(f) @ (matrix @ fitted(f)) for f in bends]
    assert energies == pytest.approx([9.0 * 0.06, 4.0 * 0.06, 4.0 * 2.0 * 0.06], rel=1e-9)


@pytest.mark.parametrize("shape", [RECTANGLE, TRIANGLE, TRIANGLE.difference(shapely.box(0.1, 0.05, 0.16, 0.1))])
def test_pieces_fill_what_they_cut(shape):
    pieces = cut(FORM, shape)
    moments = FORM.integral(pieces, np.ones((1, *pieces.weights.shape)))[:, 0] @ FORM.rigid
    assert pieces.area == pytest.approx(shape.area, rel=1e-12)
    assert moments == pytest.approx([shape.area, *(shape.area * np.array(shape.centroid.coords[0]))], rel=1e-12)


def test_values_and_slopes_of_a_polynomial():
    bent, at = fitted(lambda x, y: x**3 * y**2 - 2.0 * x * y), np.array([[0.06, 0.11], [0.3, 0.2], [0.17, 0.0]])
    x, y = at.T
    assert FORM.rows(at) @ bent == pytest.approx(x**3 * y**2 - 2 * x * y, abs=1e-13)
    assert FORM.rows(at, 2, 0) @ bent == pytest.approx(6 * x * y**2, abs=1e-10)
    assert FORM.rows(at, 1, 1) @ bent == pytest.approx(6 * x**2 * y - 2, rel=1e-9)


def test_membrane_forces_work_on_slopes():
    """``N_xx w_x^2 + N_yy w_y^2 + 2 N_xy w_x w_y`` over the area (Timoshenko, art. 92, from memory)."""
    pieces = cut(FORM, RECTANGLE)
    tilted, force = fitted(lambda x, y: 0.2 * x + 0.3 * y), np.array([5.0, 7.0, -2.0])
    matrix = FORM.pulled(pieces, np.broadcast_to(force[:, None, None], (3, *pieces.weights.shape)))
    due = (5.0 * 0.2**2 + 7.0 * 0.3**2 - 2.0 * 2.0 * 0.2 * 0.3) * 0.06
    assert tilted @ (matrix @ tilted) == pytest.approx(due, rel=1e-9)


def test_all_that_moves_along_a_cut_sheet_without_stretching_it_is_rigid():
    """Two ways and a turn: splines that the outline does not touch are held by their share beyond it."""
    stiff = np.array([[9.0, 2.7, 0.0], [2.7, 9.0, 0.0], [0.0, 0.0, 3.15]])
    sizes = np.linalg.eigvalsh(FORM.stretching(cut(FORM, TRIANGLE), stiff).toarray())
    assert np.sum(np.abs(sizes) < 1e-3 * BEYOND * sizes[-1]) == 3


def test_mass_turns_with_the_slope():
    """Of a plate that tilts by 1 about y: m (x^2 + r^2) over its area."""
    pieces = cut(FORM, RECTANGLE)
    tilted = FORM.rigid[:, 1]
    found = tilted @ (FORM.mass(pieces, 5.0, turning=1e-3) @ tilted)
    assert found == pytest.approx(5.0 * (0.3**3 * 0.2 / 3 + 1e-3 * 0.06), rel=1e-12)


class TestTwoDirections:
    @pytest.mark.parametrize("axis", [0.0, np.pi / 2, 0.7])
    def test_a_cylinder_along_either_direction(self, axis):
        """Bent about one direction alone, w = s^2 / 2, it takes ``D1 = S1 / (1 - nu^2)``, nu times the mean beside."""
        found = orthotropic((3.0, 1.0), 0.2, 0.5, axis)
        for turn, stiff in ((axis, 3.0), (axis + np.pi / 2, 1.0)):
            c, s = np.cos(turn), np.sin(turn)
            curved = np.array([c * c, s * s, 2 * c * s])
            assert curved @ found @ curved == pytest.approx(stiff / 0.96)
            across = np.array([s * s, c * c, -2 * c * s])
            assert across @ found @ curved == pytest.approx(0.2 * np.sqrt(3.0) / 0.96)
        c, s = np.cos(axis), np.sin(axis)
        twist = np.array([-c * s, c * s, c * c - s * s])  # 2 w_xy = 1 in its directions
        assert twist @ found @ twist == pytest.approx(0.5)

    def test_alike_in_both_with_the_twist_of_huber_it_is_isotropic(self):
        huber = 2.0 / 2 / (1 + 0.3)
        assert orthotropic((2.0, 2.0), 0.3, huber, 0.4) == pytest.approx(isotropic(2.0 / 0.91, 0.3), abs=1e-12)

    @pytest.mark.parametrize(("axis", "strips"), [(0.0, (3.0, 0.6)), (np.pi / 2, (0.6, 3.0))])
    def test_supported_along_its_rim(self, axis, strips):
        """Navier's series, ``w = sum q_mn / pi^4 (D1 m^4/a^4 + 2 H m^2 n^2/a^2 b^2 + D2 n^4/b^4)``.

        H = D12 + 2 D66 (Timoshenko & Woinowsky-Krieger, art. 85; Lekhnitskii, Anisotropic Plates; from memory), for an
        even load and for a force at a quarter of both sides.
        """
        a, b, nu, twisting = 0.3, 0.2, 0.25, 0.35
        form = Splines(np.linspace(0.0, a, 25), np.linspace(0.0, b, 19))
        stiff = form.bending(form.every(), orthotropic(strips, nu, twisting, axis)).toarray()
        inside = [(np.arange(n) > 0) & (np.arange(n) < n - 1) for n in (27, 21)]
        held = np.flatnonzero(np.outer(*inside).ravel())  # no deflection along the rim
        quarter, middle = (form.rows(np.array([[a * s, b * s]])).toarray()[0] for s in (0.25, 0.5))
        even = form.integral(form.every(), np.ones((1, *form.every().weights.shape)))[:, 0]
        d1, d2 = 3.0 / (1 - nu**2), 0.6 / (1 - nu**2)
        h = nu * np.sqrt(d1 * d2) + 2 * twisting
        m, n = np.meshgrid(np.arange(1, 200), np.arange(1, 200), indexing="ij")
        resists = np.pi**4 * (d1 * (m / a) ** 4 + 2 * h * (m * n / a / b) ** 2 + d2 * (n / b) ** 4)
        for load, at, near, series in (
            (
                even,
                middle,
                1e-4,
                16 / np.pi**2 / m / n * (m % 2) * (n % 2) * np.sin(m * np.pi / 2) * np.sin(n * np.pi / 2),
            ),
            (quarter, quarter, 5e-3, 4 / a / b * (np.sin(m * np.pi / 4) * np.sin(n * np.pi / 4)) ** 2),
        ):
            found = at[held] @ np.linalg.solve(stiff[np.ix_(held, held)], load[held])
            assert found == pytest.approx(float((series / resists).sum()), rel=near)
