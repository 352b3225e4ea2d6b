"""A body that has swung out of its place, against numerical differentiation of where it is; oscillators fed back."""

import numpy as np
import pytest
from scipy.signal import lsim, lti
from scipy.spatial.transform import Rotation

from gripmargin.kernels.sway import displaced_load, fed_back, turned

MASS, COM, PIVOT = 1.3, np.array([0.03, -0.02, 0.05]), np.array([0.01, 0.02, 0.0])
INERTIA = np.array([[4e-3, 3e-4, -2e-4], [3e-4, 5e-3, 1e-4], [-2e-4, 1e-4, 7e-3]])
GRAVITY = np.array([0.0, 0.0, -9.80665])


def waves(seed, size, rate):
    """A smooth function of time with three components, and its first and second derivative."""
    random = np.random.default_rng(seed)
    a, w, p = size * random.uniform(0.5, 1, 3), rate * random.uniform(0.5, 1, 3), random.uniform(0, 6, 3)
    return (
        lambda t: a * np.sin(w * t + p),
        lambda t: a * w * np.cos(w * t + p),
        lambda t: -a * w * w * np.sin(w * t + p),
    )


def own_rotation(turn, in_turns):
    return Rotation.from_euler("XYZ", turn) if in_turns else Rotation.from_rotvec(turn)


def differentiated(tool, place, shift, turn, in_turns, t, h=2e-4):
    """Newton and Euler in the world: second differences of the centre of mass, differences of angular momentum."""

    def frame(s):
        return Rotation.from_rotvec(tool(s))

    def centre(s):
        own = own_rotation(turn(s), in_turns).apply(COM - PIVOT)
        return place(s) + frame(s).apply(PIVOT + shift(s) + own)

    def body(s):
        return frame(s) * own_rotation(turn(s), in_turns)

    def momentum(s):
        omega = (body(s + h) * body(s - h).inv()).as_rotvec() / (2 * h)
        now = body(s).as_matrix()
        return now @ INERTIA @ now.T @ omega

    force = MASS * (GRAVITY - (centre(t + h) - 2 * centre(t) + centre(t - h)) / h**2)
    moment = -(momentum(t + h) - momentum(t - h)) / (2 * h)
    back = frame(t).inv()
    arm = own_rotation(turn(t), in_turns).apply(COM - PIVOT)
    force, moment = back.apply(force), back.apply(moment)
    return np.concatenate([force, moment + np.cross(arm, force) + np.cross(PIVOT, force)])


def linear_load(felt, omega, alpha, way2):
    """What the linear swing balances: the load of the body in its place, less its mass matrix times the way's bend."""
    bend = way2[:3] + np.cross(way2[3:], COM)
    force = MASS * (felt - np.cross(alpha, COM) - np.cross(omega, np.cross(omega, COM)) - bend)
    moment = np.cross(COM, force) - INERTIA @ (alpha + way2[3:]) - np.cross(omega, INERTIA @ omega)
    return np.concatenate([force, moment])


def apart(size, in_turns, t=0.37, h=2e-4):
    """By how much the load with what is added misses the one by differentiation, over what is added."""
    tool, place = waves(1, 0.8, 3.0)[0], waves(2, 0.3, 4.0)[0]
    shift, turn = waves(3, 0.05 * size, 20.0), waves(4, size, 20.0)
    true = differentiated(tool, place, shift[0], turn[0], in_turns, t)
    frame = Rotation.from_rotvec(tool(t))

    def omega(s):
        turned_by = Rotation.from_rotvec(tool(s + h)) * Rotation.from_rotvec(tool(s - h)).inv()
        return turned_by.as_rotvec() / (2 * h)

    acceleration = (place(t + h) - 2 * place(t) + place(t - h)) / h**2
    felt, spin = frame.inv().apply(GRAVITY - acceleration), frame.inv().apply(omega(t))
    spin_up = frame.inv().apply((omega(t + h) - omega(t - h)) / (2 * h))
    ways = []
    for k in range(3):
        at_pivot = shift[k](t)
        ways.append(np.concatenate([at_pivot - np.cross(turn[k](t), PIVOT), turn[k](t)])[:, None])
    motion = np.stack([felt, spin, spin_up])[:, :, None]
    none = np.zeros((6, 1))
    added = displaced_load(MASS, COM, INERTIA, PIVOT, motion, tuple(ways), none, in_turns=in_turns)[:, 0]
    return np.linalg.norm(linear_load(felt, spin, spin_up, ways[2][:, 0]) + added - true), np.linalg.norm(added)


@pytest.mark.parametrize("in_turns", [False, True])
def test_what_is_added_is_right_up_to_the_square_of_the_turn(in_turns):
    (large, added), (small, _) = apart(0.08, in_turns), apart(0.04, in_turns)
    assert large < 0.05 * added
    assert small < large / 6  # what is left out goes with the third power


def test_springs_in_a_rotation_vector_and_in_turns_differ_by_half_the_products():
    """Moments do the same power in any coordinates: axes e1, R1 e2, R1 R2 e3 of the turns (Craig, from memory)."""
    turn, tau = np.array([0.02, -0.03, 0.025]), np.array([3.0, -2.0, 5.0])
    way = np.concatenate([np.zeros(3), turn])[:, None], np.zeros((6, 1)), np.zeros((6, 1))
    carried = np.concatenate([np.zeros(3), tau])[:, None]
    free = np.zeros((3, 3, 1))
    first, second = Rotation.from_euler("X", turn[0]), Rotation.from_euler("XY", turn[:2])
    axes = np.stack([np.eye(3)[0], first.apply(np.eye(3)[1]), second.apply(np.eye(3)[2])])
    args = 1e-12, np.zeros(3), np.zeros((3, 3)), np.zeros(3), free, way, carried
    taken = -displaced_load(*args, in_turns=True)[3:, 0]
    np.testing.assert_allclose(tau + taken, np.linalg.solve(axes, tau), rtol=2e-3)
    taken = -displaced_load(*args, in_turns=False)[3:, 0]
    np.testing.assert_allclose(taken, np.cross(turn, tau) / 2, rtol=1e-9)


def test_vectors_are_turned_as_scipy_turns_them():
    random = np.random.default_rng(0)
    turn, vector = random.normal(size=(2, 3, 50)) * np.logspace(-8, 0, 50)
    np.testing.assert_allclose(turned(turn, vector), Rotation.from_rotvec(turn.T).apply(vector.T).T, atol=1e-15)


@pytest.mark.parametrize(("share", "said"), [(0.03, 0.03), (-0.03, 0.03), (0.09, 0.03), (0.3, 0.003)])
def test_a_load_that_goes_with_the_response_makes_another_frequency(share, said):
    """y'' + w^2 y = w^2 (1 + c y) from rest at 0: (1 - cos(w sqrt(1 - c) t)) / (1 - c) (closed form), 40 periods on.

    Also where the feedback is three or a hundred times as strong as was said beforehand.
    """
    w = 2 * np.pi * 5.0
    t = np.arange(0.0, 8.0, 0.0005)
    one, zero = np.ones((1, t.size)), np.zeros(1)
    asked = []

    def feedback(part, y, *_):
        asked.append(part)
        return share * y

    args = t, one, np.array([w]), zero, (zero, zero), feedback, np.array([True])
    found, known = fed_back(*args, hangs=False, strength=said)
    due = (1 - np.cos(w * np.sqrt(1 - share) * t)) / (1 - share)
    assert known == t.size
    np.testing.assert_allclose(found[0], due, atol=0.002)
    assert np.abs(due - (1 - np.cos(w * t))).max() > 1.0  # the linear one is far off by then
    if share <= 0.03:
        assert len(asked) < 100  # six rounds for each 3.3 turns, of which the feedback takes back a tenth


@pytest.mark.parametrize("damping", [0.0, 0.3])
def test_without_anything_fed_back_it_is_the_response_to_the_load(damping):
    """Discretised exactly by another library: scipy.signal.lsim (first-order hold)."""
    w, t = 40.0, np.arange(600) * 0.005
    load = np.cumsum(np.random.default_rng(7).normal(size=t.size))
    load -= load[0]
    none, zero = lambda _, y, *__: 0.0 * y, np.zeros(1)
    args = t, load[None].copy(), np.array([w]), np.array([damping]), (zero, zero), none, np.array([True])
    found, known = fed_back(*args, hangs=False, strength=0.1)
    due = lsim(lti([w * w], [1, 2 * damping * w, w * w]), load, t)[1]
    assert known == t.size
    np.testing.assert_allclose(found[0], due, atol=1e-9 * np.abs(due).max())


def test_a_swing_that_dies_down_at_once_stays_a_number_however_long_it_is_followed():
    """Damped by 2,000 e-folds: as good as the load and what goes with it, 1 / (1 - c)."""
    t, zero = np.arange(0.0, 20.0, 0.002), np.zeros(1)
    args = t, np.full((1, t.size), 1e3), np.array([200.0]), np.array([0.5]), (zero, zero), lambda _, y, *__: 0.01 * y
    found, known = fed_back(*args, np.array([True]), hangs=False, strength=1e-5)
    assert known == t.size
    np.testing.assert_allclose(found[0, t > 0.5], 1e3 / (1 - 0.01), rtol=1e-4)


def test_where_the_rounds_do_not_end_nothing_is_known():
    t, zero = np.arange(0.0, 1.0, 0.002), np.zeros(1)

    def unknown(part, y, *_):
        return np.where(t[part] > 0.5, np.nan, 0.0 * y)

    def huge(part, y, *_):
        return np.where(t[part] > 0.5, -1e4 * y, 0.0)

    for feedback in (unknown, huge):
        args = t, np.ones((1, t.size)), np.array([30.0]), zero, (zero, zero), feedback, np.array([True])
        assert 200 < fed_back(*args, hangs=False, strength=0.1)[1] <= 252
