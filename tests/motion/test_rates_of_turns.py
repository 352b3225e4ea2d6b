"""Rates of a turn from samples of orientation: order of convergence, noise, frames, unclear sense."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from gripmargin.base.errors import InputError
from gripmargin.motion.turn_rates import estimate_rotation_rates


def tumbling(t, speed=1.0):
    """Rz(a) Ry(b) Rx(c) with its angular velocity and acceleration in body axes, differentiated by hand.

    Body rates of yaw, pitch, roll: w = (c' - a' sin b, b' cos c + a' cos b sin c, -b' sin c + a' cos b cos c).
    """
    a, a1, a2 = 3 * speed * t + 0.5 * np.sin(2 * t), 3 * speed + np.cos(2 * t), -2 * np.sin(2 * t)
    b, b1, b2 = (
        0.6 * np.sin(3 * speed * t),
        1.8 * speed * np.cos(3 * speed * t),
        -5.4 * speed**2 * np.sin(3 * speed * t),
    )
    c, c1, c2 = np.cos(1.7 * t), -1.7 * np.sin(1.7 * t), -(1.7**2) * np.cos(1.7 * t)
    sb, cb, sc, cc = np.sin(b), np.cos(b), np.sin(c), np.cos(c)
    omega = np.stack([c1 - a1 * sb, b1 * cc + a1 * cb * sc, -b1 * sc + a1 * cb * cc], axis=-1)
    alpha = np.stack(
        [
            c2 - a2 * sb - a1 * b1 * cb,
            b2 * cc - b1 * sc * c1 + a2 * cb * sc - a1 * sb * b1 * sc + a1 * cb * cc * c1,
            -b2 * sc - b1 * cc * c1 + a2 * cb * cc - a1 * sb * b1 * cc - a1 * cb * sc * c1,
        ],
        axis=-1,
    )
    return Rotation.from_euler("ZYX", np.stack([a, b, c], axis=-1)).as_matrix(), omega, alpha


@pytest.mark.parametrize(("speed", "even", "least"), [(1, True, 3.5), (3, True, 3.7), (1, False, 1.7), (3, False, 1.7)])
def test_rotation_rates_converge_at_their_order(speed, even, least):
    errors = []
    for n in (201, 401, 801):
        t = np.linspace(0, 2, n)
        if not even:
            t = np.sort(t + 0.15 * t[1] * np.sin(7 * np.arange(n) ** 1.5))
        rotation, omega, alpha = tumbling(t, speed)
        found = estimate_rotation_rates(t, rotation)
        inner = slice(6, -6)
        errors.append((np.abs(found.first - omega)[inner].max(), np.abs(found.second - alpha)[inner].max()))
        assert (np.abs(found.second - alpha) <= 2 * found.sigma_second + found.bias_second).mean() >= 0.99
    orders = np.log2(np.array(errors[:-1]) / errors[1:])
    assert (orders >= least).all()
    assert errors[-1][1] < 2e-5 * np.abs(alpha).max()


@pytest.mark.parametrize("speed", [1, 3])
@pytest.mark.parametrize(("rate", "noise"), [(250, 1e-4), (1000, 1e-4), (250, 1e-5)])
def test_rotation_errors_cover_noise_at_any_speed(rate, noise, speed):
    t = np.arange(3 * rate) / rate
    rotation, omega, alpha = tumbling(t, speed)
    shaken = rotation @ Rotation.from_rotvec(noise * np.random.default_rng(0).normal(size=(t.size, 3))).as_matrix()
    found = estimate_rotation_rates(t, shaken)
    assert found.noise == pytest.approx(np.full(3, noise), rel=0.5)
    error = 2 * found.sigma_second + found.bias_second
    assert (np.abs(found.second - alpha) <= error).mean() >= 0.98
    assert (np.abs(found.first - omega) <= 2 * found.sigma_first + found.bias_first).mean() >= 0.98
    assert np.median(error) < 0.06 * np.abs(alpha).max()


def test_rotation_rates_do_not_depend_on_the_world_and_turn_with_the_body():
    t = np.arange(300) / 250
    rotation = tumbling(t)[0]
    world, body = Rotation.random(2, rng=np.random.default_rng(4)).as_matrix()
    one, other = estimate_rotation_rates(t, rotation), estimate_rotation_rates(t, world @ rotation @ body)
    np.testing.assert_allclose(other.first, one.first @ body, atol=1e-9)
    np.testing.assert_allclose(other.second, one.second @ body, atol=1e-6)


def test_steady_rotation_through_half_turns_has_no_acceleration():
    t = np.arange(2000) / 500
    axis = np.array([2.0, -1.0, 2.0]) / 3
    found = estimate_rotation_rates(t, Rotation.from_rotvec(12.0 * t[:, None] * axis).as_matrix())
    np.testing.assert_allclose(found.first, np.tile(12.0 * axis, (t.size, 1)), atol=1e-9)
    assert np.abs(found.second).max() < 1e-6


def test_a_turn_whose_sense_is_unclear_is_refused():
    t = np.arange(9) * 0.1
    rotation = Rotation.from_euler("z", np.repeat([0.0, 100.0], [4, 5])[:, None], degrees=True).as_matrix()
    with pytest.raises(InputError) as refused:
        estimate_rotation_rates(t, rotation)
    assert str(refused.value) == (
        "orientation of sample 4: found a turn of 100 degrees since the sample before, expected less than 90 degrees; "
        "sample the program more densely, or repair the orientation"
    )
