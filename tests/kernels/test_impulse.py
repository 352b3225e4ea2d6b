"""The most that a sum of oscillators can be made to respond."""

import numpy as np
import pytest
from scipy.integrate import cumulative_trapezoid
from scipy.optimize import linprog
from scipy.signal import StateSpace, lsim
from scipy.sparse import diags_array, vstack

from gripmargin.kernels.impulse import Impulse, lags
from support.within import fastest

FREQUENCY, DAMPING = np.array([30.0, 95.0, 410.0]), np.array([0.08, 0.03, 0.3])
FACTORS = np.array([[[1.0, 0.5], [-0.7, 0.2], [0.4, -0.9]]])  # one row, three modes, two components


def answers(t):
    """Of each mode to an impulse, and what is left of it from then on, by their equations of motion, shape (3, n)."""
    w, z = FREQUENCY[:, None], DAMPING[:, None]
    pole = w * (-z + 1j * np.sqrt(1 - z * z))
    return w * w * (np.exp(pole * t) / pole.imag).imag, (-np.exp(pole * t) * w * w / pole / pole.imag).imag


def largest(which, components):
    t = np.linspace(0.0, 4.0, 200_001)
    return np.trapezoid(np.linalg.norm(FACTORS[0][:, components].T @ answers(t)[which], axis=0), t)


@pytest.mark.parametrize("damping", [0.02, 0.08, 0.5])
def test_one_mode_answers_with_the_hyperbolic_cotangent(damping):
    """``int |h| dt = coth(pi z / (2 sqrt(1 - z^2)))``: half waves, each smaller by exp(-pi z / sqrt(1 - z^2))."""
    impulse = Impulse.of(np.array([70.0]), np.array([damping]))
    due = 1.0 / np.tanh(np.pi * damping / 2.0 / np.sqrt(1.0 - damping**2))
    found = impulse.most(np.ones((1, 1, 1)), [[0]])[0][0, 0]
    assert due <= found <= 1.005 * due


@pytest.mark.parametrize("group", [[0], [1], [0, 1]])
def test_against_quadrature(group):
    """From above, within half a per cent of what the modes could do one by one."""
    impulse = Impulse.of(FREQUENCY, DAMPING)
    found, bounds = impulse.most(FACTORS, [group]), impulse.bounds(FACTORS, [group])
    for which in range(2):
        due = largest(which, group)
        assert due <= found[which][0, 0] <= due + 0.005 * bounds[which][0, 0]
        assert found[which][0, 0] <= bounds[which][0, 0]


def test_a_load_that_follows_the_answer_backwards_reaches_it():
    """Simulated by scipy's `lsim`."""
    w, z = FREQUENCY, DAMPING
    a, b, c = np.zeros((6, 6)), np.zeros((6, 1)), np.zeros((1, 6))
    for k in range(3):
        a[2 * k, 2 * k + 1], a[2 * k + 1, 2 * k], a[2 * k + 1, 2 * k + 1] = 1.0, -(w[k] ** 2), -2 * z[k] * w[k]
        b[2 * k + 1, 0], c[0, 2 * k] = w[k] ** 2, FACTORS[0, k, 0]
    t = np.linspace(0.0, 3.0, 10001)
    answer = FACTORS[0, :, 0] @ answers(t)[0]
    _, y, _ = lsim(StateSpace(a, b, c, 0.0), np.sign(answer[::-1]), t)
    assert y[-1] == pytest.approx(Impulse.of(w, z).most(FACTORS, [[0]])[0][0, 0], rel=0.01)


@pytest.mark.parametrize(("ramp", "over", "alone"), [(0.1, 1.002, 1.03), (0.03, 1.005, 1.07)])
def test_ramps_against_the_worst_program(ramp, over, alone):
    """A load of size 1 by ramps of that time, by linear programming over steps (HiGHS).

    In balance and by its rate alone it would be bounded worse: what balance asks it does not ask while it changes.
    """
    frequency, damping, factors = np.array([200.0, 310.0, 410.0]), np.full(3, 0.08), np.array([1.0, 0.6, 0.5])
    n, end = 1500, 0.4
    t = np.linspace(0.0, end, n + 1)
    pole = frequency[:, None] * (-damping + 1j * np.sqrt(1 - damping**2))[:, None]
    answer = factors @ (np.abs(pole) ** 2 * (np.exp(pole * (t[1:] + t[:-1]) / 2) / pole.imag).imag) * t[1]
    change = diags_array([-np.ones(n - 1), np.ones(n - 1)], offsets=[0, 1], shape=(n - 1, n))
    steps = np.full(2 * (n - 1), t[1] / ramp)
    due = -linprog(-answer, A_ub=vstack([change, -change]), b_ub=steps, bounds=(-1, 1)).fun
    impulse = Impulse.of(frequency, damping)
    sudden, rest, _, eased = (each[..., 0, 0] for each in impulse.most(factors[None, :, None], [[0]], [ramp]))
    assert 0.999 * due <= eased[0] <= over * due
    assert alone * due < min(sudden, factors.sum() + rest / ramp)


def test_ramps_in_any_direction_beside_a_program_that_changes_its_direction():
    """Of size 1 in a plane, by ramps: from multipliers a bound, from a program that keeps both a figure below it.

    Alternating directions (Boyd and others, Foundations and Trends in Machine Learning 3(1), 2011, from memory).
    """
    frequency, damping, ramp, n, end = np.array([200.0, 310.0, 410.0]), np.full(3, 0.08), 0.05, 1000, 0.3
    factors = np.array([[1.0, 0.2], [-0.5, 0.6], [0.1, 0.7]])
    t = np.linspace(0.0, end, n + 1)
    pole = frequency[:, None] * (-damping + 1j * np.sqrt(1 - damping**2))[:, None]
    answer = (np.abs(pole) ** 2 * (np.exp(pole * (t[1:] + t[:-1]) / 2) / pole.imag).imag) * t[1]
    program = fastest((factors.T @ answer).T[::-1], t[1] / ramp)
    due = (program[::-1] * (factors.T @ answer).T).sum()
    *_, rest, beside, eased = (
        x[..., 0, 0] for x in Impulse.of(frequency, damping).most(factors[None], [[0, 1]], [ramp])
    )
    balance = np.linalg.norm(factors.sum(axis=0))
    assert 0.999 * due <= eased[0] <= 1.02 * due
    assert eased[0] == pytest.approx(balance + beside / ramp)
    assert 1.03 * eased[0] < balance + rest / ramp


def alone(t, each):
    """Of modes, or of what they differ by, the four figures of `Impulse.alone` by quadrature."""
    sudden, rest, tail = np.abs(each)
    return [np.trapezoid(sudden, t), np.trapezoid(rest, t), tail[:, 0], np.trapezoid(tail, t)]


def followed(w, z, t):
    """Answers to an impulse, their integrals from each instant on, and those of these, shape (3, modes, n)."""
    pole = (w * (-z + 1j * np.sqrt(1 - z * z)))[:, None]
    answer = w[:, None] ** 2 * np.exp(pole * t) / pole.imag
    return np.array([answer.imag, -(answer / pole).imag, (answer / pole**2).imag])


def test_what_each_mode_does_alone():
    """From above, within half a per cent; `int k dt` of its second integral k is what a steady change of rate does."""
    t = np.linspace(0.0, 4.0, 200_001)
    due = alone(t, followed(FREQUENCY, DAMPING, t))
    np.testing.assert_allclose(due[2], 2 * DAMPING / FREQUENCY, rtol=1e-9)
    for x, found in zip(due, Impulse.of(FREQUENCY, DAMPING).alone, strict=True):
        assert (found >= x * (1 - 1e-9)).all()
        np.testing.assert_allclose(found, x, rtol=0.006)


def test_what_pairs_of_modes_differ_by():
    """A mode and one that is stiffer by a tenth: from above, by no more than a hundredth of what both do."""
    t = np.linspace(0.0, 4.0, 200_001)
    both = [followed(factor * FREQUENCY, DAMPING, t) for factor in (1.0, 1.05)]
    impulse = Impulse.of(np.append(FREQUENCY, 1.05 * FREQUENCY), np.append(DAMPING, DAMPING))
    for x, found, whole in zip(alone(t, both[0] - both[1]), impulse.differ, impulse.alone, strict=True):
        assert (found >= x * (1 - 1e-3)).all()
        assert (found <= x + 0.01 * (whole[:3] + whole[3:])).all()


def test_a_rate_that_changes_as_it_likes_least_reaches_it():
    """Simulated by scipy's `lsim`: a load whose second derivative follows the second integral backwards."""
    w, z = FREQUENCY[0], DAMPING[0]
    t = np.linspace(0.0, 3.0, 10001)
    tail = followed(FREQUENCY[:1], DAMPING[:1], t)[2, 0]
    change = -np.sign(tail[::-1])
    rate = cumulative_trapezoid(change, t, initial=0.0)
    load = cumulative_trapezoid(rate, t, initial=0.0)
    _, y, _ = lsim(([w * w], [1.0, 2 * z * w, w * w]), load, t)
    *_, now, bend = (each[0] for each in Impulse.of(FREQUENCY, DAMPING).alone)
    assert -(y[-1] - load[-1] + now * rate[-1]) == pytest.approx(bend, rel=0.01)


@pytest.mark.parametrize("damping", [0.0, 0.08, 0.4])
def test_lags(damping):
    """Of the integral of what is left of an impulse: its first peak, and the most by which it changes."""
    t = np.linspace(0.0, 1.0, 200_001)
    w, root = 70.0, np.sqrt(1 - damping**2)
    left = np.exp(-damping * w * t) * (np.cos(w * root * t) + damping / root * np.sin(w * root * t))
    lag = cumulative_trapezoid(left, t, initial=0.0)
    ahead, change = lags(np.array([w]), np.array([damping]))
    assert ahead[0] == pytest.approx(lag.max(), rel=1e-5)
    later = np.maximum.accumulate(lag[::-1])[::-1] - lag
    earlier = lag - np.minimum.accumulate(lag[::-1])[::-1]
    assert change[0] == pytest.approx(max(later.max(), earlier.max()), rel=1e-4)
