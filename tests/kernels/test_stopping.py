"""Arithmetic of stops against closed forms, an ODE solver and published figures."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.interpolate import RegularGridInterpolator

from gripmargin.kernels.stopping import (
    between_published,
    braked,
    braking_time,
    free_fall,
    mean_rates,
)


@pytest.mark.parametrize("ramp", [0.0, 0.03, 0.2])
def test_brakes_that_build_up_against_an_ode_solver(ramp):
    """From 2.5 rad/s at 8 rad/s^2: speed and way in units of the rate."""
    rate, speed = 8.0, 2.5
    after = np.linspace(0.0, 0.4, 9)
    found = solve_ivp(
        lambda t, _: [min(t / ramp, 1.0) if ramp else 1.0, _[0]],
        (0.0, 0.4),
        [0.0, 0.0],
        t_eval=after,
        rtol=1e-10,
        atol=1e-12,
        max_step=0.005,
    )
    brake, loss, way = braked(after, ramp)
    assert loss == pytest.approx(found.y[0], abs=1e-6)
    assert way == pytest.approx(found.y[1], abs=1e-6)
    assert brake[-1] == 1.0
    assert brake[0] == (0.0 if ramp else 1.0)
    end = braking_time(np.array([speed / rate, 0.01]), ramp)
    assert braked(end, ramp)[1] == pytest.approx([speed / rate, 0.01])


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
