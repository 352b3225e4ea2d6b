"""How fast loads change under a tool that turns: what limits count with, beside differences of rotations by scipy."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from gripmargin.tuning.allowed import Condition, Motion
from gripmargin.tuning.rounds import round_name

SPEED, SIZE, PUSH, RAMP, G = 3.0, 7.0, 2.0, 0.2, 9.80665
STEP = 1e-3


def counted(motion, tilt=np.pi):
    """The largest size of each load that a motion of figure 1 may have, by kind and name."""
    out = {}
    for part in motion.asks(Condition(tilt=tilt, ramp=RAMP, gravity=G, drag=0.0), 1.0):
        for asks in part:
            for of, size in asks.items():
                out[of] = max(out.get(of, 0.0), size)
    return out


def turned(omega, alpha, t, jerk=0.0):
    """Rotations of a tool about its place at time 0, of angular velocity and acceleration there, its own axes.

    A rotation vector ``w t + a t^2 / 2`` has them at 0 (Bortz, IEEE Trans. AES 7(1), 1971, from memory).
    """
    return Rotation.from_rotvec(omega * t + alpha * t**2 / 2 + jerk * t**3 / 6)


def rates(value):
    """Rate and its change at time 0, by differences, of vectors at a time, shape (n, k)."""
    before, now, after = (value(t) for t in (-STEP, 0.0, STEP))
    return (after - before) / (2 * STEP), (after - 2 * now + before) / STEP**2


def sizes(vectors):
    return np.linalg.norm(vectors, axis=1)


def ways(seed, n=20_000):
    way = np.random.default_rng(seed).normal(size=(n, 3))
    return way / sizes(way)[:, None]


def about(spin):
    """Angular velocities and accelerations: both about z, or each as it likes, some of them across each other."""
    if spin:
        return SPEED * np.array([[0.0, 0.0, 1.0]]), SIZE * np.array([[0.0, 0.0, 1.0]])
    return SPEED * ways(0), SIZE * ways(1)


@pytest.mark.parametrize(("spin", "tilt"), [(False, np.pi), (True, np.deg2rad(20.0))])
def test_gravity_under_a_tool_that_turns(spin, tilt):
    motion = Motion(about="spin" if spin else "turn", angular_velocity=SPEED, angular_acceleration=SIZE)
    omega, alpha = about(spin)
    down = G * (np.array([[np.sin(tilt), 0.0, np.cos(tilt)]]) if spin else ways(2))
    rate, bend = rates(lambda t: turned(omega, alpha, t).inv().apply(down))
    name, found = "aside" if spin else "gravity", counted(motion, tilt)
    for kind, seen in (("lag", sizes(rate).max()), ("bend", sizes(bend).max())):
        assert seen <= found[kind, name] * (1 + 1e-4) <= 1.1 * seen


@pytest.mark.parametrize("spin", [False, True])
def test_what_goes_with_the_square_of_the_speed(spin):
    """Products of angular velocities, at the highest jerk: about an axis that stays, and about one that does not."""
    motion = Motion(about="spin" if spin else "turn", angular_velocity=SPEED, angular_acceleration=SIZE)
    omega, alpha = about(spin)
    jerk = SIZE * (1 / RAMP if spin else 1 / RAMP + SPEED) * (omega / SPEED if spin else ways(3))
    if not spin:  # the worst of all: one axis
        omega, alpha, jerk = (np.vstack([each, each[:1]]) for each in (omega, alpha, jerk))
        alpha[-1], jerk[-1] = (x * omega[-1] / SPEED for x in (SIZE, sizes(jerk[:1])[0]))

    def products(t):
        w = omega + alpha * t + jerk * t**2 / 2
        return np.hstack([w**2, np.sqrt(2.0) * w[:, [0, 0, 1]] * w[:, [1, 2, 2]]])

    rate, bend = rates(products)
    name, found = "spun" if spin else "whirl", counted(motion)
    for kind, seen in (("lag", sizes(rate).max()), ("bend", sizes(bend).max())):
        assert seen <= found[kind, name] * (1 + 1e-4) <= 1.01 * seen


def test_what_is_across_a_circle():
    """``r w^2`` towards the middle, which a tool that turns with it sees from one side."""
    motion = Motion(radius=0.5, angular_velocity=SPEED, angular_acceleration=SIZE)
    rate, bend = rates(lambda t: np.array([[0.5 * (SPEED + SIZE * t + SIZE / RAMP * t**2 / 2) ** 2]]))
    found = counted(motion)
    assert found["lag", "any"] == pytest.approx(rate[0, 0], rel=1e-5)
    assert found["bend", "any"] == pytest.approx(bend[0, 0], rel=1e-4)
    assert found["still", "any"] == pytest.approx(0.5 * SPEED**2)
    assert found["still", round_name(0.5, False)] == max(SIZE, SPEED**2)  # along and across as much, in balance


def test_an_acceleration_under_a_tool_that_turns():
    """Its own change is that of a ramp; what the turn adds goes at ``w a``, and that changes as stated."""
    motion = Motion(acceleration=PUSH, angular_velocity=SPEED, angular_acceleration=SIZE)
    omega, alpha, push, ramp = SPEED * ways(0), SIZE * ways(1), PUSH * ways(2), PUSH / RAMP * ways(3)

    def turns(t):  # the rate at which the axes carry it on
        return np.cross(omega + alpha * t, turned(omega, alpha, t).inv().apply(push + ramp * t))

    found = counted(motion)
    assert sizes(turns(0.0)).max() <= found["lag", "any"] <= 1.01 * sizes(turns(0.0)).max()
    seen = sizes(rates(turns)[0]).max()
    assert seen <= found["bend", "any"] <= 1.3 * seen
    assert found["rest", "any"] == pytest.approx(PUSH / RAMP)


def test_an_axis_that_turns_with_the_tool_is_not_carried_on():
    found = counted(Motion(about="spin", angular_velocity=SPEED, angular_acceleration=SIZE))
    assert ("lag", "spin") not in found
    assert counted(Motion(angular_velocity=SPEED, angular_acceleration=SIZE))["lag", "turn"] == SPEED * SIZE
