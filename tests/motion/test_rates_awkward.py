"""Rates from data that are short, odd or wrong: refused, or with an error that holds."""

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gripmargin.base.errors import InputError
from gripmargin.kernels import adaptive_fit
from gripmargin.motion.rates import Unsmoothed, estimate_rates
from support.rated import minimum_jerk, smooth_moves


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
