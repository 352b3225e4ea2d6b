"""Estimated rates against motions whose rates are known exactly: the answer, and above all its stated error."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import savgol_coeffs

from gripmargin.motion.rates import estimate_rates
from support.rated import minimum_jerk, s_curves, smooth_moves, trapezoids

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
