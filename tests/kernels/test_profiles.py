"""Velocity profiles against hand figures, ruckig and their own derivatives."""

import numpy as np
import pytest
import ruckig

from gripmargin.kernels.profiles import jerk_limited, quintic, standstill, trapezoid

# speed, acceleration, jerk over a way of 1, one for each case of the jerk-limited profile:
# all seven pieces; no level of the acceleration; no cruise; neither
CASES = [(0.5, 1.0, 4.0), (0.5, 4.0, 4.0), (3.0, 2.0, 20.0), (9.0, 9.0, 5.0)]


def over(profile, n=4001):
    t = np.linspace(0.0, profile.duration, n)
    return t, profile.at(t)


@pytest.mark.parametrize("profile", [trapezoid(0.5, 1.0), trapezoid(9.0, 1.0), jerk_limited(0.5, 1.0)], ids=str)
def test_profiles_run_from_rest_to_rest_and_rates_are_derivatives(profile):
    t, (s, v, a) = over(profile)
    assert s[0] == 0.0
    assert s[-1] == 1.0
    assert v[0] == 0.0
    assert v[-1] == 0.0
    mid = (t[1:] + t[:-1]) / 2
    _, between, _ = profile.at(mid)
    assert np.diff(s) / np.diff(t) == pytest.approx(between, abs=2e-6)
    assert np.abs(np.cumsum(a[:-1] * np.diff(t)) - v[1:]).max() < 2e-3
    before, after = profile.at(np.array([-1.0])), profile.at(np.array([profile.duration + 1.0]))
    assert before[:, 0].tolist() == [0.0, 0.0, 0.0]
    assert after[:, 0].tolist() == [1.0, 0.0, 0.0]


def test_trapezoid_by_hand():
    # way 1 at 0.5/s and 1/s^2: 0.5 s up, 0.5 s down, and (1 - 0.25) / 0.5 = 1.5 s of cruise: T = L / v + v / a
    cruising = trapezoid(0.5, 1.0)
    assert cruising.knots == pytest.approx([0.0, 0.5, 2.0, 2.5])
    assert cruising.at(np.array([0.25, 1.0, 2.25]))[2] == pytest.approx([1.0, 0.0, -1.0])
    # speed not reached: T = 2 sqrt(L / a)
    assert trapezoid(9.0, 1.0).knots == pytest.approx([0.0, 1.0, 2.0])


def test_quintic_by_hand():
    # peaks of 10 s^3 - 15 s^4 + 6 s^5: 15/8 in the middle, 10/sqrt(3) at (1 - 1/sqrt(3)) / 2, jerk 60 at the ends
    for profile, peaks in (
        (quintic(0.5, 100.0), (0.5, None)),
        (quintic(100.0, 2.0), (None, 2.0)),
        (quintic(100.0, 100.0, 7.0), (None, None)),
    ):
        t, (s, v, a) = over(profile)
        for found, due in zip((v.max(), np.abs(a).max()), peaks, strict=True):
            assert due is None or found == pytest.approx(due, rel=1e-6)
    assert quintic(0.5, 100.0).duration == pytest.approx(15 / 8 / 0.5)
    assert quintic(100.0, 2.0).duration == pytest.approx(np.sqrt(10 / np.sqrt(3) / 2.0))
    assert a[1] / t[1] == pytest.approx(7.0, rel=1e-2)
    assert s[2000] == pytest.approx(0.5)


@pytest.mark.parametrize(("speed", "acceleration", "jerk"), CASES)
def test_jerk_limited_is_the_fastest_that_ruckig_finds(speed, acceleration, jerk):
    profile = jerk_limited(speed, acceleration, jerk)
    asked = ruckig.InputParameter(1)
    asked.current_position, asked.target_position = [0.0], [1.0]
    asked.max_velocity, asked.max_acceleration, asked.max_jerk = [speed], [acceleration], [jerk]
    found = ruckig.Trajectory(1)
    ruckig.Ruckig(1).calculate(asked, found)
    assert profile.duration == pytest.approx(found.duration, rel=1e-9)
    t, own = over(profile, 41)
    ours = np.array([np.ravel(found.at_time(x)) for x in t]).T
    assert own == pytest.approx(ours[:3], abs=1e-7)


@pytest.mark.parametrize(("speed", "acceleration"), [(0.5, 1.0), (9.0, 1.0)])
def test_without_a_jerk_ramps_take_the_whole_acceleration(speed, acceleration):
    # a triangle of the acceleration whose peak is the limit: twice as long as at the peak all the time
    profile = jerk_limited(speed, acceleration)
    _, (_, v, a) = over(profile)
    peak = min(speed, np.sqrt(acceleration / 2))
    assert v.max() == pytest.approx(peak)
    assert np.abs(a).max() == pytest.approx(acceleration, rel=1e-3)
    assert profile.duration == pytest.approx(1 / peak + 2 * peak / acceleration)
    jerk = acceleration**2 / peak
    same = jerk_limited(speed, acceleration, jerk)
    assert profile.duration == pytest.approx(same.duration)


@pytest.mark.parametrize("profile", [trapezoid(0.5, 1.0), jerk_limited(0.5, 1.0, 4.0), quintic(0.5, 1.0)])
@pytest.mark.parametrize("share", [0.5, 0.1, 1e-4])
def test_time_left_is_where_the_share_is_left(profile, share):
    t = profile.duration - profile.time_left(share)
    assert 1.0 - profile.at(np.array([t]))[0, 0] == pytest.approx(share, rel=1e-9)


def test_standstill_takes_no_time():
    at = standstill().at(np.array([-0.1, 0.0, 0.1]))
    assert standstill().duration == 0.0
    assert at.tolist() == [[0.0, 1.0, 1.0], [0.0] * 3, [0.0] * 3]
