"""Estimated rates against motions whose rates are known exactly: the answer, and above all its stated error."""

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import savgol_coeffs
from scipy.spatial.transform import Rotation

from gripmargin.base.errors import InputError
from gripmargin.kernels import adaptive_fit
from gripmargin.motion.rates import Unsmoothed, estimate_rates, estimate_rotation_rates


def minimum_jerk(t, start, duration, distance):
    """Position, speed, acceleration of a move from rest to rest (Flash & Hogan, J. Neurosci. 5(7), 1985)."""
    s = np.clip((t - start) / duration, 0, 1)
    return np.stack(
        [
            distance * s**3 * (10 - 15 * s + 6 * s**2),
            distance / duration * 30 * s**2 * (1 - s) ** 2,
            distance / duration**2 * 60 * s * (1 - s) * (1 - 2 * s),
        ]
    )


class Pieces:
    """Motion of constant jerk over each of several times, with jumps of acceleration at their starts."""

    def __init__(self, lasts, jerks, jumps):
        self.starts = np.concatenate([[0.0], np.cumsum(lasts)])
        self.jerks = np.asarray(jerks)
        state = [np.zeros(3)]
        for last, jerk, jump in zip(lasts, jerks, jumps, strict=True):
            q, v, a = state[-1] + [0, 0, jump]
            state[-1] = np.array([q, v, a])
            state.append(self._later(state[-1], jerk, last))
        self.state = np.array(state)

    @staticmethod
    def _later(state, jerk, h):
        q, v, a = np.moveaxis(np.asarray(state), -1, 0)
        return np.stack(
            [q + v * h + a * h**2 / 2 + jerk * h**3 / 6, v + a * h + jerk * h**2 / 2, a + jerk * h], axis=-1
        )

    def __call__(self, t):
        i = np.clip(np.searchsorted(self.starts, t, "right") - 1, 0, len(self.jerks) - 1)
        return self._later(self.state[i], self.jerks[i], t - self.starts[i]).T


def smooth_moves(rng, seconds):
    moves, t = [], 0.1
    while t < seconds - 1.4:
        duration = rng.uniform(0.3, 1.2)
        moves.append((t, duration, rng.uniform(0.2, 1.5) * rng.choice([-1, 1])))
        t += duration * rng.uniform(0.6, 1.1) + rng.uniform(0, 0.3)
    return lambda x: sum(minimum_jerk(x, *move) for move in moves)


def s_curves(rng, seconds):
    lasts, jerks = [], []
    while sum(lasts) < seconds - 2:
        ramp, hold, cruise = rng.uniform(0.04, 0.15), rng.uniform(0, 0.2), rng.uniform(0, 0.4)
        jerk = rng.uniform(0.5, 4) * rng.choice([-1, 1]) / ramp
        lasts += [rng.uniform(0.05, 0.4), ramp, hold, ramp, cruise, ramp, hold, ramp]
        jerks += [0, jerk, 0, -jerk, 0, -jerk, 0, jerk]
    return Pieces([*lasts, seconds], [*jerks, 0.0], np.zeros(len(jerks) + 1))


def trapezoids(rng, seconds):
    lasts, jumps = [], []
    while sum(lasts) < seconds - 2:
        a = rng.uniform(0.5, 4) * rng.choice([-1, 1])
        ramp, cruise = rng.uniform(0.1, 0.4), rng.uniform(0.02, 0.4)
        lasts += [rng.uniform(0.05, 0.4), ramp, cruise, ramp, 0.05]
        jumps += [0, a, -a, -a, a]
    return Pieces([*lasts, seconds], np.zeros(len(jumps) + 1), [*jumps, 0.0])


PROGRAMS = {"smooth moves": smooth_moves, "S-curves": s_curves, "trapezoids": trapezoids}


def white(sigma):
    return lambda rng, t, y: (t, y + sigma * rng.normal(size=y.shape))


def rounded(grid):
    return lambda rng, t, y: (t, np.round(y / grid) * grid)


def jittered(sigma):
    return lambda rng, t, y: (np.sort(t + sigma * rng.normal(size=t.size)), y)


def exact(rng, t, y):
    return t, y


def simulate(kind, rate, disturb, *, seeds, order=2, seconds=8.0, spread=0.0):
    """Estimate programs of many seeds at once, as channels."""
    rng = np.random.default_rng(rate)
    t = np.arange(round(seconds * rate)) / rate
    t = t + spread / rate * rng.uniform(-1, 1, t.size)
    programs = [PROGRAMS[kind](np.random.default_rng(seed), seconds) for seed in range(seeds)]
    motion = np.stack([program(t) for program in programs], axis=-1)  # (rate, sample, channel)
    stamps, y = disturb(rng, t, motion[2 - order])
    found = estimate_rates(stamps, y, order=order)
    if order == 2:
        return t, motion[2], found.second, 2 * found.sigma_second + found.bias_second, programs, found, motion
    return t, motion[2], found.first, 2 * found.sigma_first + found.bias_first, programs, found, motion


def beside(a, estimate, error):
    """Whether values lie within the errors at their sample or beside it: one at a kink counts to one side of it."""
    padded = np.pad(np.stack([error - estimate, estimate + error]), ((0, 0), (1, 1), (0, 0)), mode="edge")
    least, most = np.max([padded[:, k : k + len(a)] for k in range(3)], axis=0)
    return (a >= -least) & (a <= most)


def peaks(a):
    """Samples where the size of a channel's acceleration is largest among its neighbours and near its peak."""
    size = np.abs(a)
    higher = (size[1:-1] >= size[:-2]) & (size[1:-1] > size[2:]) & (size[1:-1] > 0.3 * size.max(axis=0))
    return np.pad(higher, ((1, 1), (0, 0)))


NOISES = {
    "exact": exact,
    "10 urad": white(1e-5),
    "0.1 mrad": white(1e-4),
    "to 1e-4 rad": rounded(1e-4),
    "to 1e-3 deg": rounded(np.radians(1e-3)),
    "0.3 ms jitter": jittered(3e-4),
}
# Noise, rate [Hz], and the largest median of the stated error over the true peak that a user can work with, for
# smooth moves and for S-curves with ramps from 40 ms (common practice, no source).
CASES = [
    ("exact", 100, 0.01, 0.1),
    ("exact", 250, 0.001, 0.01),
    ("exact", 1000, 0.001, 0.001),
    ("10 urad", 100, 0.01, 0.15),
    ("10 urad", 500, 0.01, 0.1),
    ("10 urad", 1000, 0.01, 0.1),
    ("0.1 mrad", 1000, 0.03, 0.3),
    ("to 1e-4 rad", 250, 0.03, 0.25),
    ("to 1e-4 rad", 1000, 0.03, 0.25),
    ("to 1e-3 deg", 250, 0.01, 0.15),
    ("0.3 ms jitter", 250, 0.1, 0.35),
]


@pytest.mark.parametrize(("noise", "rate", "smooth_width", "curve_width"), CASES)
@pytest.mark.parametrize("kind", ["smooth moves", "S-curves"])
def test_the_true_acceleration_lies_within_the_stated_error(kind, noise, rate, smooth_width, curve_width):
    _, a, estimate, error, _, found, motion = simulate(kind, rate, NOISES[noise], seeds=6)
    inside = beside(a, estimate, error + 1e-12)
    assert inside.mean(axis=0).min() >= 0.99
    assert inside[peaks(a)].mean() >= 0.95
    assert inside[np.abs(a).argmax(axis=0), np.arange(6)].all()
    width = np.median(error, axis=0) / np.abs(a).max(axis=0)
    assert np.median(width) <= (smooth_width if kind == "smooth moves" else curve_width)
    speed_error = np.abs(found.first - motion[1])
    assert (speed_error <= 2 * found.sigma_first + found.bias_first + 1e-12).mean() >= 0.97


@pytest.mark.parametrize("noise", ["exact", "to 1e-4 rad", "10 urad"])
def test_uneven_sampling_keeps_the_coverage(noise):
    _, a, estimate, error, *_ = simulate("S-curves", 250, NOISES[noise], seeds=4, spread=0.3)
    inside = np.abs(estimate - a) <= error + 1e-12
    assert inside.mean(axis=0).min() >= 0.98
    assert inside[peaks(a)].mean() >= 0.95


@pytest.mark.parametrize(("noise", "rate"), [("exact", 250), ("exact", 50), ("exact", 20), ("to 1e-4 rad", 250)])
@pytest.mark.parametrize("kind", PROGRAMS)
def test_accelerations_from_speeds_have_a_true_error_too(kind, noise, rate):
    t, a, estimate, error, programs, *_ = simulate(kind, rate, NOISES[noise], seeds=5, order=1)
    inside = np.abs(estimate - a) <= error + 1e-12
    if kind == "trapezoids":
        inside |= np.stack([at_steps(program, t) for program in programs], axis=-1)
    assert inside.mean(axis=0).min() >= 0.95
    assert inside[peaks(a)].mean() >= 0.95


def at_steps(program, t):
    """Samples that fall on a step, where the acceleration has two values."""
    return np.abs(t[:, None] - program.starts).min(axis=1) < 1e-9


STEP_NOISES = ["exact", "10 urad", "to 1e-4 rad", "to 1e-3 deg"]


@pytest.mark.parametrize(
    ("noise", "rate"),
    [("0.3 ms jitter", 100), ("0.3 ms jitter", 250), *((n, rate) for n in STEP_NOISES for rate in (100, 250, 1000))],
)
def test_the_error_covers_steps_of_acceleration(noise, rate):
    t, a, estimate, error, programs, *_ = simulate("trapezoids", rate, NOISES[noise], seeds=6)
    inside = np.abs(estimate - a) <= error + 1e-12
    near = np.zeros_like(inside)
    for channel, program in enumerate(programs):
        apart = np.abs(t[:, None] - program.starts).min(axis=1)
        near[:, channel] = (apart < 5 / rate) & (apart > 1e-9)
        inside[apart <= 1e-9, channel] = True
    assert inside.mean(axis=0).min() >= 0.98
    assert inside[near].mean() >= 0.95


@pytest.mark.parametrize("rate", [50, 100, 250])
def test_no_sample_of_an_exact_program_with_steps_is_outside(rate):
    # One side of a sample is free of the step, so the larger difference to both sides is a bound.
    t, a, estimate, error, programs, *_ = simulate("trapezoids", rate, exact, seeds=12)
    inside = beside(a, estimate, error * (1 + 1e-6) + 1e-9)
    inside |= np.stack([at_steps(program, t) for program in programs], axis=-1)
    assert inside.all()


@pytest.mark.parametrize("after", [1, 2, 3, 4, 5, 8])
def test_a_step_just_before_the_record_ends_is_covered(after):
    # Braking at constant deceleration to a stop, then so many samples at rest.
    t = np.arange(200) / 250
    stop = t[-1 - after]
    for shift in (0.0, 0.3, 0.7):
        left = np.maximum(stop - shift / 250 - t, 0)
        found = estimate_rates(t, -(left**2)[:, None])
        a = np.where(left > 0, -2.0, 0.0)
        inside = np.abs(found.second[:, 0] - a) <= (2 * found.sigma_second + found.bias_second)[:, 0] + 1e-9
        assert inside[np.abs(left) != 0].all()
        assert inside[np.flatnonzero(left == 0)[1:]].all()


@pytest.mark.parametrize("order", [2, 1])
@pytest.mark.parametrize("duration", [0.2, 0.3, 0.4])
@pytest.mark.parametrize("noise", [0.0, 1e-5])
def test_sampling_too_coarse_for_the_moves_is_never_called_accurate(duration, noise, order):
    rng = np.random.default_rng(0)
    t = np.arange(160) / 20
    motion = np.zeros((3, t.size))
    start = 0.3
    while start < 7:
        motion += minimum_jerk(t, start, duration, rng.uniform(0.2, 1) * rng.choice([-1, 1]))
        start += duration * 1.05 + rng.uniform(0, 0.3)
    y = motion[2 - order] + noise * rng.normal(size=t.size)
    found = estimate_rates(t, y[:, None], order=order)
    value, sigma, bias = (
        (found.second, found.sigma_second, found.bias_second)
        if order == 2
        else (found.first, found.sigma_first, found.bias_first)
    )
    error = (2 * sigma + bias)[:, 0]
    assert (np.abs(value[:, 0] - motion[2]) <= error).mean() >= 0.95
    moving = np.abs(motion[2]) > 0.1 * np.abs(motion[2]).max()
    assert np.median(error[moving] / np.abs(motion[2]).max()) >= 0.2


@pytest.mark.parametrize("duration", [0.1, 0.15])
def test_moves_between_three_samples_are_not_smoothed_away(duration):
    # What is left of such a move looks like noise; smoothing it away would state a small error.
    rng = np.random.default_rng(2)
    t = np.arange(240) / 20
    truth = np.zeros((3, t.size))
    start = 0.1
    while start < 11.5:
        truth += minimum_jerk(t, start, duration, rng.uniform(0.3, 1) * rng.choice([-1, 1]))
        start += duration + rng.uniform(0, 0.2)
    found = estimate_rates(t, truth[0][:, None])
    error = (2 * found.sigma_second + found.bias_second)[:, 0]
    assert (np.abs(found.second[:, 0] - truth[2]) <= error).mean() >= 0.98
    assert np.median(error) >= 0.5 * np.abs(truth[2]).max()


@pytest.mark.parametrize("samples", [3, 4, 5])
def test_a_single_quick_move_in_a_clean_program_is_flagged(samples):
    rng = np.random.default_rng(samples)
    for _ in range(20):
        t = np.arange(200) / 100
        motion = minimum_jerk(t, 0.1, 0.6, 0.3) + minimum_jerk(t, 1.2 + rng.uniform(0, 0.01), samples / 100, 0.01)
        found = estimate_rates(t, motion[0][:, None])
        error = (2 * found.sigma_second + found.bias_second)[:, 0]
        assert (np.abs(found.second[:, 0] - motion[2]) <= error + 1e-9).mean() >= 0.98
        # 5.7735 A/T^2 is the peak of the move, whether a sample shows it or not.
        quick = np.abs(t - 1.21) < 0.02
        assert (np.abs(found.second[:, 0]) + error)[quick].max() >= 0.7 * 10 / np.sqrt(3) * 0.01 / (samples / 100) ** 2


def test_clean_smooth_programs_are_decided():
    # 5.7735 A/T^2 is the peak of a minimum-jerk move (Flash & Hogan 1985).
    t = np.arange(500) / 250
    for duration in (0.4, 0.8, 1.5):
        y, _, a = minimum_jerk(t, 0.2, duration, 1.0)
        found = estimate_rates(t, y[:, None])
        peak = 10 / np.sqrt(3) / duration**2
        error = (2 * found.sigma_second + found.bias_second)[:, 0]
        at_peak = np.abs(a) > 0.9 * peak
        assert np.abs(found.second[:, 0]).max() == pytest.approx(peak, rel=1e-3)
        assert error[at_peak].max() < 0.01 * peak
        assert (np.abs(found.second[:, 0] - a) <= error).all()


def test_measured_kind_of_program_is_far_better_than_fixed_differences():
    t = np.arange(1000) * 0.004
    y, _, a = minimum_jerk(t, 0.5, 2.0, 1.0)  # peak 1.44 rad/s^2
    y = np.round(y, 4)
    found = estimate_rates(t, y[:, None])
    worst = np.abs(found.second[:, 0] - a).max()
    differences = np.abs(np.diff(y, 2) / 0.004**2 - a[1:-1]).max()
    fixed = savgol_coeffs(13, 3, deriv=2, delta=0.004, use="dot")  # 50 ms
    smoothed = np.abs(np.correlate(y, fixed, "valid") - a[6:-6]).max()
    assert differences > 3
    assert worst < smoothed < differences
    assert worst < 0.1 * np.abs(a).max()


@settings(max_examples=40, derandomize=True, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), even=st.booleans(), order=st.sampled_from([1, 2]))
def test_polynomials_are_exact_and_their_error_is_small(seed, even, order):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(9, 400))
    t = 0.004 * np.arange(n) if even else np.cumsum(rng.uniform(0.5, 1.5, n)) * 0.004
    x = (t - t[0]) / (t[-1] - t[0])
    span = t[-1] - t[0]
    poly = np.polynomial.Polynomial(rng.uniform(-1, 1, 2 + order))
    found = estimate_rates(t, poly(x)[:, None], order=order)
    top = found.second if order == 2 else found.first
    bias, sigma = (found.bias_second, found.sigma_second) if order == 2 else (found.bias_first, found.sigma_first)
    wanted = poly.deriv(order)(x) / span**order
    tolerance = 300 * np.finfo(float).eps * 3 / 0.002**order
    assert np.abs(top[:, 0] - wanted).max() <= tolerance
    assert (2 * sigma + bias).max() <= 30 * tolerance


@pytest.mark.parametrize(("even", "least"), [(True, (3.7, 3.7)), (False, (3.5, 2.7))])
def test_exact_smooth_data_converge_at_their_order(even, least):
    # Interior, 5 points of degree 4: h^4 where the points are symmetric, h^3 for the second derivative elsewhere.
    errors = []
    for n in (81, 161, 321):
        t = np.linspace(0, 2, n)
        if not even:
            t += 0.2 * t[1] * np.sin(40 * t)
        found = estimate_rates(t, np.sin(5 * t)[:, None])
        inner = slice(6, -6)
        first = np.abs(found.first[inner, 0] - 5 * np.cos(5 * t[inner])).max()
        second = np.abs(found.second[inner, 0] + 25 * np.sin(5 * t[inner])).max()
        errors.append((first, second))
        assert (
            np.abs(found.second[:, 0] + 25 * np.sin(5 * t)) <= 2 * found.sigma_second[:, 0] + found.bias_second[:, 0]
        ).all()
    orders = np.log2(np.array(errors[:-1]) / errors[1:])
    assert (orders >= least).all()


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


def awkward(name):
    rng = np.random.default_rng(7)
    t = np.arange(2000) / 500
    motion = minimum_jerk(t, 0.4, 0.8, 1.0) + minimum_jerk(t, 1.9, 0.6, -0.7)
    keep = np.ones(t.size, dtype=bool)
    if name == "lost samples":
        keep = rng.random(t.size) > 0.03
    if name == "gap in the motion":
        keep = (t < 2.05) | (t > 2.15)
    t, (y, _, a) = t[keep], motion[:, keep]
    if name == "stamps since 1970":
        t = t + 1.7e9
    if name == "stamps in whole milliseconds":
        t = np.round(np.arange(1200) / 300, 3)
        y, _, a = minimum_jerk(np.arange(1200) / 300, 0.4, 0.8, 1.0)
    if name == "held between slow updates":
        y = y[np.arange(t.size) // 8 * 8]
    if name == "stamps that all but coincide":
        t = t.copy()
        t[300] = t[299] + 1e-9
    if name == "outlier":
        y = y + 1e-3 * (np.arange(t.size) == 700)
    return t, y, a


@pytest.mark.parametrize(
    "name",
    [
        "lost samples",
        "gap in the motion",
        "stamps since 1970",
        "stamps in whole milliseconds",
        "held between slow updates",
        "stamps that all but coincide",
        "outlier",
    ],
)
def test_awkward_data_get_an_error_that_holds(name):
    t, y, a = awkward(name)
    found = estimate_rates(t, y[:, None])
    inside = np.abs(found.second[:, 0] - a) <= (2 * found.sigma_second + found.bias_second)[:, 0] + 1e-12
    assert inside.mean() >= 0.98
    assert inside[np.abs(a) > 0.95 * np.abs(a).max()].mean() >= 0.95


@pytest.mark.parametrize("n", [5, 6, 7, 8, 9, 12, 15, 20])
def test_few_samples_never_look_accurate(n):
    t = np.linspace(0, 1, n)
    y, v, a = minimum_jerk(t, 0.1, 0.8, 1.0)
    found = estimate_rates(t, y[:, None])
    assert (np.abs(found.second[:, 0] - a) <= (2 * found.sigma_second + found.bias_second)[:, 0] + 1e-9).all()
    assert (np.abs(found.first[:, 0] - v) <= (2 * found.sigma_first + found.bias_first)[:, 0] + 1e-9).all()


def test_stand_still_is_exact_next_to_moving_channels():
    t = np.arange(600) / 250
    y = np.stack([np.zeros(600), np.full(600, 1.3), minimum_jerk(t, 0.5, 1.0, 1.0)[0]], axis=-1)
    found = estimate_rates(t, y)
    assert not found.second[:, :2].any()
    assert (2 * found.sigma_second + found.bias_second)[:, 0].max() == 0.0
    assert (2 * found.sigma_second + found.bias_second)[:, 1].max() < 1e-8


@pytest.mark.parametrize("spread", [0.0, 0.3])
def test_long_programs_in_chunks_give_the_same_as_in_one(monkeypatch, spread):
    rng = np.random.default_rng(5)
    t = np.arange(18_000) * 0.002 + spread * 0.002 * rng.uniform(-1, 1, 18_000)
    y = smooth_moves(rng, 36.0)(t)[0][:, None] + 1e-5 * rng.normal(size=(18_000, 1))
    chunks = estimate_rates(t, y)
    monkeypatch.setattr(adaptive_fit, "_CHUNK", 10**9)
    whole = estimate_rates(t, y)
    for field in fields(whole):
        if (value := getattr(whole, field.name)) is None:
            continue
        np.testing.assert_allclose(getattr(chunks, field.name), value, rtol=0, atol=1e-8 * np.abs(value).max())


@settings(max_examples=15, derandomize=True, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), power=st.integers(0, 20), slower=st.integers(-6, 6))
def test_units_of_length_and_time_only_scale_the_answer(seed, power, slower):
    rng = np.random.default_rng(seed)
    t = np.cumsum(rng.uniform(0.5, 1.5, 300)) * 0.004
    y = smooth_moves(rng, 2.0)(t)[0][:, None] + 1e-5 * rng.normal(size=(300, 1))
    one, other = estimate_rates(t, y), estimate_rates(t * 2.0**slower, y * 2.0**power)
    for name, unit in (("first", 1), ("second", 2)):
        for field in (name, f"sigma_{name}", f"bias_{name}"):
            expected = getattr(one, field) * 2.0 ** (power - unit * slower)
            np.testing.assert_allclose(getattr(other, field), expected, rtol=1e-9, atol=1e-12 * np.abs(expected).max())


@pytest.mark.parametrize(
    ("t", "y", "message"),
    [
        (
            np.arange(4.0),
            np.zeros((4, 2)),
            "samples: found 4, expected at least 5; at least 5 samples are needed to estimate rates",
        ),
        ([0, 1, 1, 2, 3], np.zeros((5, 1)), "t: found times that repeat or go back, expected times that increase"),
        (np.arange(5.0), np.zeros((4, 1)), "samples: found an array of shape (4, 1), expected shape (5, n)"),
        (
            np.arange(5.0),
            [[0.0], [np.nan], [0.0], [0.0], [0.0]],
            "samples[1, 0]: found nan, expected a finite number; remove or repair it",
        ),
    ],
)
def test_input_that_cannot_be_judged_is_refused(t, y, message):
    with pytest.raises(InputError) as refused:
        estimate_rates(t, y)
    assert str(refused.value) == message


def test_numbers_too_large_to_differentiate_are_refused_not_passed_on_as_nan():
    y = np.zeros((40, 1))
    y[20] = 1e308
    with pytest.raises(InputError), np.errstate(all="ignore"):
        estimate_rates(np.arange(40) * 1e-3, y)


def test_a_third_order_is_refused():
    with pytest.raises(InputError, match="order: found 3, expected 1 or 2"):
        estimate_rates(np.arange(5.0), np.zeros((5, 1)), order=3)


def test_a_shaking_of_some_channels_alone_stays_where_others_stand_beside_them():
    t = np.arange(50) * 0.004
    calm = estimate_rates(t, np.sin(t)[:, None])
    shaken = replace(calm, shaking=np.ones((2, t.size, 1)))
    for both, channel in ((calm.beside(shaken), 1), (shaken.beside(calm), 0)):
        np.testing.assert_array_equal(both.shaking[..., channel], 1.0)
        np.testing.assert_array_equal(both.shaking[..., 1 - channel], 0.0)
    assert calm.beside(calm).shaking is None


def test_parts_of_changes_of_parts():
    """Of speeds a half and then a third of it, of accelerations a fifth and then thrice that."""
    t = np.linspace(0.0, 1.0, 30)
    whole = Unsmoothed(t, np.sin(t)[:, None], (0.1 + 0 * t[:, None], 0.2 + 0 * t[:, None]))
    part = whole.times(0.5, 0.2).times(1.0 / 3.0, 3.0)
    speed, acceleration = whole.over(slice(5, 20))
    np.testing.assert_allclose(part.over(slice(5, 20)), [speed / 6.0, acceleration * 0.6])
