"""Cubics against numpy's polynomials."""

import numpy as np
import pytest
from numpy.polynomial import Polynomial

from gripmargin.kernels.cubics import between, integrals, moved, value

C = np.array([1.0, -2.0, 0.5, 3.0])


@pytest.mark.parametrize("x", [0.0, 0.3, 1.0, -0.7])
def test_values_and_integrals(x):
    curve, rest = Polynomial(C), Polynomial(C) * Polynomial([1.0, -1.0])
    assert value(C, x) == pytest.approx(curve(x))
    assert integrals(C, x) == pytest.approx((curve.integ()(x), rest.integ()(x)))


def test_moved_is_the_cubic_of_another_variable():
    assert value(moved(C, 1.0, -0.5), 0.4) == pytest.approx(Polynomial(C)(1.0 - 0.5 * 0.4))


def test_a_cubic_by_values_and_rates_at_its_ends():
    curve, step = Polynomial(C), 0.1
    ends, rates = curve(np.array([0.0, 1.0])), curve.deriv()(np.array([0.0, 1.0])) / step
    assert between(ends, rates, step) == pytest.approx(C)
