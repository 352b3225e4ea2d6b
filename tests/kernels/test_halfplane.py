"""Rows of the pads: inside what they allow, and nearly all of it."""

import numpy as np
import pytest

from gripmargin.kernels.face import Face
from gripmargin.kernels.halfplane import chord_rows
from gripmargin.kernels.utilisation import peak_utilisation

RAYS = 25


def random_set(seed, points=6, *, uneven=False):
    """A random load along a path that gravity alone leaves within the limit."""
    random = np.random.default_rng(seed)
    maps = random.normal(size=(3, points, 6))
    c, a, b = (random.normal(size=(6, 1)) * size for size in 10.0 ** random.uniform(-2, 1, 3))
    face = Face(maps)
    if uneven:
        face = Face(
            maps,
            slack=random.uniform(0.0, 0.05, (points, 1)),
            spread=random.normal(size=(1, 6, 6)),
            start=random.uniform(-0.2, 0.2, (3, points)),
            spent=random.uniform(0.0, 0.3, points),
        )
    c *= random.uniform(0.0, 0.95) / peak_utilisation(face, c)[0]
    return face, c, a, b, 10.0 ** random.uniform(-1, 2, 2)


@pytest.mark.parametrize(("seed", "uneven"), [*((k, False) for k in range(50)), *((k, True) for k in range(12))])
def test_rows_are_inside_the_set_and_nearly_fill_it(seed, uneven):
    face, c, a, b, (u_box, x_box) = random_set(seed, uneven=uneven)
    one = np.ones(1)
    row_a, row_b = chord_rows(face, (c, a, b), one, (u_box * one, x_box * one), RAYS)
    random = np.random.default_rng(seed)
    u, x = random.uniform(-u_box, u_box, 4000), random.uniform(0, x_box, 4000)
    # shrunk towards the origin they crowd where the edge is
    shrink = 10.0 ** random.uniform(-4, 0, 4000)
    u, x = u * shrink, x * shrink
    use = peak_utilisation(face, c + a * u + b * x)[0]
    allowed = ((row_a[0][:, None] * u + row_b[0][:, None] * x) <= 1.0).all(axis=0)
    assert (use[allowed] <= 1.0 + 1e-9).all()
    # a set a little smaller than the true one is allowed, but for a corner where the box cuts it
    more = 1.3 if uneven else 1.03  # what places allow for is taken at its largest
    inner = peak_utilisation(face, c + a * u * more + b * x * more)[0] <= 1.0
    assert allowed[inner].mean() > 0.99


def test_rays_of_one_direction_leave_no_row_of_their_own():
    # The set is the box itself along both axes: the ray to its corner falls on one of the fan.
    maps = np.zeros((3, 1, 6))
    maps[0, 0, 0] = 1.0
    c, a, b = np.zeros((6, 1)), np.zeros((6, 1)), np.zeros((6, 1))
    a[0] = 1.0
    one = np.ones(1)
    row_a, row_b = chord_rows(Face(maps), (c, a, b), one, (2.0 * one, 3.0 * one), RAYS)
    used = (np.abs(row_a[0]) + np.abs(row_b[0])) > 0
    assert 2 <= used.sum() <= 6  # rows that repeat their neighbour are left out
    u, x = (v.ravel() for v in np.meshgrid(np.linspace(-0.99, 0.99, 50), np.linspace(0.0, 2.5, 50)))
    assert ((row_a[0][:, None] * u + row_b[0][:, None] * x) <= 1.0).all()


def test_nothing_limits_what_is_not_loaded():
    zero = np.zeros((6, 3))
    one = np.ones(3)
    row_a, row_b = chord_rows(Face(np.ones((3, 2, 6))), (zero, zero, zero), one, (one, one), RAYS)
    assert not row_a.any()
    assert not row_b.any()
