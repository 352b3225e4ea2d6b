"""Damped oscillators against closed forms of shock loads and against general solvers.

Closed forms: Chopra, Dynamics of Structures, ch. 4; Harris' Shock and Vibration Handbook (both from memory, checked by
integration).
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gripmargin.kernels.oscillator import fading_sum, free_vibration, response, slopes

PERIOD = 0.1  # [s]
W = 2 * np.pi / PERIOD


def respond(t, load, *, damping=0.0, frequency=W, start=(0.0, 0.0), share=0.0):
    w, z = np.array([frequency]), np.array([damping])
    begin = (np.array([start[0]]), np.array([start[1]]))
    vibration = free_vibration(t, load[None], w, z, begin)
    return response(t, load[None], w, z, vibration, share)[0]


def peak(load, span, *, damping=0.0, step=2e-5):
    t = np.arange(0.0, span, step)
    return float(respond(t, load(t), damping=damping).max())


class TestShockLoads:
    def test_a_sudden_load_doubles_its_effect(self):
        assert peak(np.ones_like, 2 * PERIOD) == pytest.approx(2.0, abs=1e-6)

    @pytest.mark.parametrize("x", [0.1, 0.5, 1.0, 1.43, 2.0, 3.3])
    def test_linear_rise(self, x):
        found = peak(lambda t: np.minimum(t / (x * PERIOD), 1.0), (x + 2) * PERIOD)
        assert found == pytest.approx(1 + abs(np.sin(np.pi * x)) / (np.pi * x), abs=2e-5)

    def test_linear_rise_figures(self):
        assert peak(lambda t: np.minimum(t / (0.5 * PERIOD), 1.0), 3 * PERIOD) == pytest.approx(1.636620, abs=2e-5)
        longer = [
            peak(lambda t, x=x: np.minimum(t / (x * PERIOD), 1.0), (x + 1.5) * PERIOD, step=1e-4)
            for x in np.linspace(1.0, 3.0, 41)
        ]
        assert max(longer) <= 1.217234 + 1e-4

    @pytest.mark.parametrize("x", [0.5, 0.75, 1.5, 2.5])
    def test_cycloidal_rise(self, x):
        def load(t):
            s = np.minimum(t / (x * PERIOD), 1.0)
            return s - np.sin(2 * np.pi * s) / (2 * np.pi)

        due = 1 + abs(np.sin(np.pi * x)) / (np.pi * x * abs(1 - x * x))
        assert peak(load, (x + 2) * PERIOD) == pytest.approx(due, abs=2e-5)

    def test_cycloidal_rise_over_one_period(self):
        def load(t):
            s = np.minimum(t / PERIOD, 1.0)
            return s - np.sin(2 * np.pi * s) / (2 * np.pi)

        assert peak(load, 3 * PERIOD) == pytest.approx(1.5, abs=2e-5)

    @pytest.mark.parametrize(("x", "factor"), [(0.80993, 1.7684577), (1.0, np.sqrt(3.0))])
    def test_half_sine(self, x, factor):
        length = x * PERIOD

        def load(t):
            return np.where(t < length, np.sin(np.pi * t / length), 0.0)

        assert peak(load, 3 * PERIOD) == pytest.approx(factor, abs=2e-5)

    @pytest.mark.parametrize("damping", [0.01, 0.05, 0.3, 0.8])
    def test_damped_step(self, damping):
        found = peak(np.ones_like, 6 * PERIOD, damping=damping)
        due = 1 + np.exp(-damping * np.pi / np.sqrt(1 - damping**2))
        assert found == pytest.approx(due, abs=2e-5)

    def test_a_load_that_was_always_there_starts_nothing(self):
        t = np.linspace(0.0, 1.0, 50)
        np.testing.assert_allclose(respond(t, np.full(50, 3.0), start=(3.0, 0.0)), 3.0, rtol=1e-13)


class TestAgainstASolver:
    @pytest.mark.parametrize("damping", [0.0, 0.02, 0.4, 0.95])
    @pytest.mark.parametrize("uneven", [False, True])
    def test_random_loads(self, damping, uneven):
        """The general ODE solver of scipy (DOP853), from knot to knot of the load."""
        from scipy.integrate import solve_ivp

        random = np.random.default_rng(3)
        t = np.cumsum(random.uniform(1e-3, 3e-2, 40)) if uneven else np.arange(40) * 0.01
        load = random.normal(size=40)
        state, due = np.array([0.3, -5.0]), [0.3]
        for i in range(39):
            rise = (load[i + 1] - load[i]) / (t[i + 1] - t[i])

            def motion(time, y, i=i, rise=rise):
                return [y[1], W * W * (load[i] + rise * (time - t[i]) - y[0]) - 2 * damping * W * y[1]]

            state = solve_ivp(motion, (t[i], t[i + 1]), state, method="DOP853", rtol=1e-11, atol=1e-12).y[:, -1]
            due.append(state[0])
        found = respond(t, load, damping=damping, start=(0.3, -5.0))
        np.testing.assert_allclose(found, due, rtol=0, atol=2e-9)

    @pytest.mark.parametrize("damping", [0.0, 0.05, 0.5])
    def test_a_minute_at_1_khz(self, damping):
        """Discretised exactly by another library: scipy.signal.lsim (first-order hold), over its first seconds."""
        from scipy.signal import lsim, lti

        random = np.random.default_rng(4)
        t = np.arange(60_000) * 1e-3
        load = np.cumsum(random.normal(size=t.size))
        load -= load[0]
        found = respond(t, load, damping=damping)
        few = slice(0, 3000)
        _, due, _ = lsim(lti([W * W], [1, 2 * damping * W, W * W]), load[few], t[few])
        np.testing.assert_allclose(found[few], due, rtol=0, atol=1e-10 * np.abs(due).max())
        assert np.isfinite(found).all()


@given(seed=st.integers(0, 2**32 - 1), damping=st.floats(0.0, 0.9))
@settings(derandomize=True, deadline=None, max_examples=30)
def test_an_instant_between_two_samples_may_as_well_be_a_sample(seed, damping):
    random = np.random.default_rng(seed)
    t = np.cumsum(random.uniform(1e-4, 5e-2, 12))
    load = random.normal(size=12)
    share = float(random.uniform(0.05, 0.95))
    between = respond(t, load, damping=damping, share=share)[:-1]
    finer = np.sort(np.concatenate([t, t[:-1] + share * np.diff(t)]))
    found = respond(finer, np.interp(finer, t, load), damping=damping)[1::2]
    np.testing.assert_allclose(between, found, rtol=1e-9, atol=1e-11)


def test_the_envelope_is_the_largest_response_from_there_on():
    t = np.arange(0.0, 0.5, 1e-4)
    load = np.minimum(t / 0.02, 1.0)
    vibration = free_vibration(t, load[None], np.array([W]), np.array([0.03]), (np.zeros(1), np.zeros(1)))[0]
    found = respond(t, load, damping=0.03)
    calm = t > 0.021
    assert (np.abs(found - 1.0)[calm] <= np.abs(vibration)[calm] + 1e-12).all()
    last = np.flatnonzero(calm)[0]
    assert np.abs(found - 1.0)[last:].max() == pytest.approx(np.abs(vibration)[last], rel=0.12)


def test_a_sum_fades_over_many_blocks_without_overflow():
    t = np.arange(2000) * 0.01
    found = fading_sum(t, np.full(2000, 100.0), complex(-200.0))
    ratio = np.exp(-2.0)
    np.testing.assert_allclose(found.real / 100, (1 - ratio ** np.arange(1, 2001)) / (1 - ratio), rtol=1e-12)
    sparse = np.array([0.0, 100.0, 200.0])
    np.testing.assert_allclose(fading_sum(sparse, np.ones(3), complex(-50.0)).real, 1.0)


def test_slopes_of_one_sample_are_none():
    np.testing.assert_array_equal(slopes(np.zeros(1), np.ones((2, 1))), np.zeros((2, 1)))
