"""Arithmetic of stops against closed forms, an ODE solver and published figures."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.interpolate import RegularGridInterpolator

from gripmargin.kernels.stopping import (
    between_published,
    braked_axes,
    free_fall,
    mean_rates,
    overshoot,
    pulse_area,
    step_overshoot,
)


def spring_load(omega, damping, load, end):
    """The load that the spring of one mode passes on over time, by a general ODE solver; unit stiffness."""

    def slope(t, x):
        return [x[1], omega**2 * (load(t) - x[0]) - 2.0 * damping * omega * x[1]]

    t = np.linspace(0.0, end, 4000)
    found = solve_ivp(slope, (0.0, end), [load(-1.0), 0.0], t_eval=t, rtol=1e-9, atol=1e-11, max_step=end / 400)
    return t, found.y[0]


class TestOneMode:
    # Sudden load 2.0, damped step 1 + exp(-zeta pi / sqrt(1 - zeta^2)): several texts on vibration.
    @pytest.mark.parametrize("damping", [0.0, 0.02, 0.1, 0.3, 0.7])
    def test_step(self, damping):
        omega = 80.0
        _, x = spring_load(omega, damping, lambda t: float(t >= 0), 10 / omega)
        assert x.max() - 1.0 == pytest.approx(step_overshoot(damping), rel=2e-3)
        if damping == 0.0:
            assert 1.0 + step_overshoot(0.0) == 2.0

    # Linear rise: 1 + |sin(pi x)| / (pi x), x = rise over period: 1.636620 at 0.5, at most 1.217234 from 1 on.
    def test_linear_rise_lies_above_the_closed_form_and_is_tight(self):
        x = np.linspace(0.05, 6.0, 2000)
        omega = 2.0 * np.pi * x
        bound = overshoot(omega, 0.0, 1.0)
        exact = np.abs(np.sin(np.pi * x)) / (np.pi * x)
        assert (bound >= exact - 1e-12).all()
        peaks = np.abs(np.sin(np.pi * x)) > 0.9999
        assert bound[peaks & (x > 1)] == pytest.approx(exact[peaks & (x > 1)], rel=1e-3)
        assert overshoot(np.array([np.pi]), 0.0, 1.0)[0] == pytest.approx(1.636620 - 1.0, abs=1e-6)
        assert overshoot(omega, 0.0, 0.0) == pytest.approx(1.0)

    @pytest.mark.parametrize("damping", [0.0, 0.05, 0.3])
    @pytest.mark.parametrize("rise", [0.2, 0.7, 1.3, 2.6])
    def test_no_damped_rise_exceeds_the_bound(self, damping, rise):
        omega = 2.0 * np.pi
        _, x = spring_load(omega, damping, lambda t: float(np.clip(t / rise, 0.0, 1.0)), 5.0)
        assert x.max() - 1.0 <= overshoot(np.array([omega]), damping, rise)[0] + 1e-6

    # Rectangular pulse: at most 2 sin(omega t / 2) after it where it is short (Chopra, ch. 4, from memory).
    @pytest.mark.parametrize("damping", [0.0, 0.05, 0.4])
    @pytest.mark.parametrize("length", [0.01, 0.1, 0.3])
    def test_short_pulse_is_below_its_impulse(self, damping, length):
        omega = 2.0 * np.pi
        _, x = spring_load(omega, damping, lambda t: float(0 <= t < length), 3.0)
        bound = omega * length / np.sqrt(1.0 - damping**2)
        assert np.abs(x).max() <= bound * (1 + 1e-4)
        if damping == 0.0:
            assert np.abs(x).max() == pytest.approx(2.0 * np.sin(omega * length / 2.0), rel=5e-3)


def test_braked_axes_against_an_ode_solver():
    q, qd, rates = np.array([[0.1, 0.2, -0.3]]), np.array([[1.2, -0.8, 0.0]]), np.array([4.0, 10.0, 5.0])
    t = np.linspace(0.0, 0.5, 21)

    def slope(_, x):
        return np.concatenate([x[3:], -rates * np.sign(np.where(np.abs(x[3:]) < 1e-9, 0.0, x[3:]))])

    for end in t[1:]:
        # up to the moment where an axis rests, then it holds
        stops = np.sort(np.abs(qd[0]) / rates)
        state, now = np.concatenate([q[0], qd[0]]), 0.0
        for until in [*stops[(stops > 0) & (stops < end)], end]:
            state = solve_ivp(slope, (now, until), state, rtol=1e-10, atol=1e-12).y[:, -1]
            state[3:][np.abs(state[3:]) < 1e-7] = 0.0
            now = until
        place, speed, moves = braked_axes(q, qd, rates, np.array([end]))
        assert place[0] == pytest.approx(state[:3], abs=1e-8)
        assert speed[0] == pytest.approx(state[3:], abs=1e-6)
        assert moves[0].tolist() == (np.abs(qd[0]) / rates > end).tolist()


def test_pulse_area_of_opposite_pulses():
    pulls = np.array([[[3.0]], [[-2.0]], [[0.5]]])
    ends = np.array([[0.2], [0.1], [0.4]])
    by_hand = 1.5 * 0.1 + 3.5 * 0.1 + 0.5 * 0.2
    assert pulse_area(pulls, ends) == pytest.approx(np.array([[by_hand]]))


class TestPublished:
    # A small arm, category 0: 183 deg/s, 0.18 rad, 159 ms, quoted from a maker's data: mean 20.1, from the distance
    # 28.3 rad/s2. Braking is not steady; the larger counts.
    def test_the_larger_of_time_and_distance_counts(self):
        full = np.deg2rad(183.0)
        by_time = mean_rates(np.ones(1), np.array([0.159]), None, full, 0.0)
        both = mean_rates(np.ones(1), np.array([0.159]), np.array([0.18]), full, 0.0)
        assert by_time[0] * full == pytest.approx(20.1, abs=0.05)
        assert both[0] * full == pytest.approx(28.3, abs=0.05)

    @pytest.mark.parametrize("ramp", [0.0, 0.02, 0.06])
    def test_ramp_against_an_ode_solver(self, ramp):
        speed, full, rate = 0.8, 2.0, 9.0
        v = speed * full

        def slope(t, x):
            return [x[1], -rate * np.clip(t / ramp, 0, 1) if ramp else -rate]

        def rests(_, x):
            return x[1]

        rests.terminal = True
        found = solve_ivp(slope, (0, 2), [0.0, v], events=rests, rtol=1e-10, atol=1e-12, max_step=1e-3)
        time, distance = found.t[-1], found.y[0, -1]
        by_time = mean_rates(np.array([speed]), np.array([time]), None, full, ramp)
        by_way = mean_rates(np.array([speed]), np.array([10.0]), np.array([distance]), full, ramp)
        assert by_time[0] * full == pytest.approx(rate, rel=1e-5)
        assert by_way[0] * full == pytest.approx(rate, rel=1e-5)

    axes = np.array([0.33, 0.66, 1.0]), np.array([0.33, 0.66, 1.0])
    times = np.array([[0.10, 0.11, 0.13], [0.16, 0.18, 0.20], [0.22, 0.25, 0.30]])

    @pytest.mark.parametrize("load", [0.33, 0.5, 0.8, 1.0])
    def test_between_the_published_against_scipy(self, load):
        share = np.linspace(0.33, 1.0, 30)
        due = RegularGridInterpolator(self.axes, self.times)(np.column_stack([share, np.full(30, load)]))
        assert between_published(self.axes, self.times, share, load) == pytest.approx(due)

    def test_outside_never_softer_than_published(self):
        share = np.array([0.1, 0.33, 0.8, 1.0])
        lightest = between_published(self.axes, self.times, share, 0.33)
        assert (between_published(self.axes, self.times, share, 0.05) <= lightest).all()
        assert between_published(self.axes, self.times, share, 1.4) == pytest.approx(
            between_published(self.axes, self.times, share, 1.0)
        )
        falling = self.times[:, ::-1]  # a lighter load that stops later: no trend to lean on
        assert between_published(self.axes, falling, share, 0.05) == pytest.approx(
            between_published(self.axes, falling, share, 0.33)
        )
        steep = np.array([[0.1, 0.5]])
        low = between_published((np.array([1.0]), np.array([0.5, 1.0])), steep, np.array([1.0]), 0.0)
        assert low == pytest.approx(0.01)


class TestFreeFall:
    # v = 2 m/s, h = 1.5 m, g = 9.81 m/s2: range 1.106003 m, impact 5.781868 m/s (closed form).
    def test_thrown_level(self):
        way, time, impact = free_fall(np.array([2.0, 0.0, 0.0]), 1.5, 9.81)
        assert way == pytest.approx([1.106003, 0.0], abs=1e-6)
        assert impact == pytest.approx(5.781868, abs=1e-6)
        assert time == pytest.approx(np.sqrt(2 * 1.5 / 9.81))

    @pytest.mark.parametrize("up", [-1.5, 0.7, 3.0])
    def test_thrown_up_or_down_against_an_ode_solver(self, up):
        def floor(_, x):
            return x[2]

        floor.terminal, floor.direction = True, -1
        start = [0.0, 0.0, 0.9, 0.4, -1.1, up]
        found = solve_ivp(lambda _, x: [*x[3:], 0, 0, -9.81], (0, 5), start, events=floor, rtol=1e-10, atol=1e-12)
        way, time, impact = free_fall(np.array([0.4, -1.1, up]), 0.9, 9.81)
        assert way == pytest.approx(found.y[:2, -1], abs=1e-8)
        assert time == pytest.approx(found.t[-1])
        assert impact == pytest.approx(np.linalg.norm(found.y[3:, -1]))
