"""Logs of a controller that was read at another rate: exact laws, sampled by a simulated controller and poller."""

from dataclasses import replace

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.motion.polled import as_timed, unpolled
from gripmargin.motion.rates import estimate_rates
from gripmargin.motion.trajectory import Timing
from support.positions import judged, true_margin
from support.steps import LAWS

PERIOD = 0.008


def read(law, rate, *, seconds=6.0, phase=0.0031, jitter=0.0, seed=4):
    """Stamps and positions as a poller writes them: what the controller renewed last, to 1 um."""
    random = np.random.default_rng(seed)
    s = np.arange(0.01, seconds, 1.0 / rate)
    s = np.sort(s + jitter * random.normal(size=s.size))
    x = np.rint(law(phase + PERIOD * np.floor((s - phase) / PERIOD))[0] / 1e-6) * 1e-6
    return s, x


def law_of(kind, seed):
    plain = LAWS[kind](np.random.default_rng(seed), 6.0, PERIOD)
    return lambda t: 3.0 * plain(t)


def log(kind, seed, rate, **poller):
    """A trajectory, and the law behind it."""
    law = law_of(kind, seed)
    s, x = read(law, rate, **poller)
    return gm.JointTrajectory(t=s, q=x[:, None]), law


@pytest.mark.parametrize(
    ("kind", "seed", "rate"),
    [
        *(("S-curve", 0, rate) for rate in (66.0, 100.0, 127.0, 130.0, 150.0, 250.0)),
        *(("minimum jerk", 1, rate) for rate in (66.0, 100.0, 124.5, 127.0, 130.0, 150.0, 250.0)),
    ],
)
def test_polled_logs_are_decided_and_hold_the_truth(kind, rate, seed):
    """A slide's margin has a closed form; by the times of the reads it came out at a hundredth of it, or open."""
    trajectory, law = log(kind, seed, rate)
    true = true_margin(law, trajectory.t)
    found = judged(trajectory.t, trajectory.q, true / 1.5)
    assert found.low <= true <= found.high
    assert found.value == pytest.approx(true, rel=0.05)
    assert found.verdict is gm.Verdict.PASS
    assert judged(trajectory.t, trajectory.q, 1.03 * true).verdict is not gm.Verdict.PASS


def test_the_report_says_rates_and_repeats():
    trajectory, _ = log("minimum jerk", 1, 130.0)
    found = unpolled(trajectory)
    dropped = trajectory.samples - found.samples
    assert np.allclose(np.diff(found.t) / PERIOD, np.rint(np.diff(found.t) / PERIOD), atol=0.01)
    period = np.diff(found.t).min()
    assert found.notes == (
        f"Polled log: read 130 times a second from a controller that renews its values {1 / period:.4g} times a "
        f"second ({100 * found.timing.stretched:.1g} %); {dropped} of {trajectory.samples} rows "
        f"({100 * dropped / trajectory.samples:.2g} %) repeat the one before. Rows that repeat are left out, and the "
        "times are the controller's, by counting.",
    )
    assert 0.03 < dropped / trajectory.samples < 0.05  # 1 - 125/130, and what rounds to the same at slow ends


def test_every_second_row_is_left_out_at_rest_too():
    trajectory, _ = log("minimum jerk", 1, 250.0)
    found = unpolled(trajectory)
    assert np.allclose(np.diff(found.t), PERIOD)
    assert found.timing == Timing()
    assert "the others are late by the same time." in found.notes[0]


def test_without_an_even_period_each_row_may_be_late_by_one():
    """A source that renews its values after 5 to 11 ms: what is read every 6.7 ms counts as that much older."""
    law, s = law_of("minimum jerk", 1), np.arange(0.01, 6.0, 1.0 / 150.0)
    renewed = np.cumsum(np.random.default_rng(2).uniform(0.005, 0.011, 1000))
    x = law(np.concatenate([[0.0], renewed])[np.searchsorted(renewed, s)])[0]
    trajectory = gm.JointTrajectory(t=s, q=np.rint(x / 1e-6)[:, None] * 1e-6)
    found = unpolled(trajectory)
    assert found.timing.late == pytest.approx(np.median(np.diff(found.t)))
    assert "no even period of the controller is evident" in found.notes[0]
    true = true_margin(law, s)
    result = judged(s, trajectory.q, true / 1.5)
    assert result.low <= true <= result.high


@pytest.mark.parametrize("rate", [126.0, 130.0, 150.0])
def test_accelerations_over_times_that_are_late_by_up_to_a_period_are_within_their_error(rate):
    """Late by more and more, then on time again: over many samples nothing looks like noise."""
    s = np.arange(0.01, 6.0, 1.0 / rate)
    number = np.floor((s - 0.003) / PERIOD)
    fresh = np.concatenate([[True], np.diff(number) > 0])
    s, taken = s[fresh], 0.003 + PERIOD * number[fresh]
    rates = estimate_rates(s, np.sin(3.0 * taken)[:, None], late=PERIOD)
    error = 2.0 * rates.sigma_second + rates.bias_second
    assert (np.abs(rates.second[:, 0] + 9.0 * np.sin(3.0 * s)) <= error[:, 0]).mean() >= 0.95
    assert np.median(error) < 3.0


@pytest.mark.parametrize("stamps", ["as given", "periodic"])
def test_stamps_that_the_job_says_are_no_pollers_are_left_alone(stamps):
    trajectory, _ = log("minimum jerk", 1, 130.0)
    assert unpolled(trajectory, stamps) is trajectory


def test_programs_are_left_alone():
    """Without repeats, with a few, with accelerations of their own, as points of a message, or looked at before."""
    law, t = law_of("S-curve", 0), np.arange(0.0, 6.0, PERIOD)
    q, qd, qdd = (row[:, None] for row in law(t))
    plain = gm.JointTrajectory(t=t, q=q)
    again = np.sort(np.concatenate([np.arange(t.size), [200, 350, 500]]))  # joints of moves, written twice
    twice = gm.JointTrajectory(t=np.arange(again.size) * PERIOD, q=q[again])
    polled, _ = log("minimum jerk", 1, 130.0)
    for each in (
        plain,
        replace(plain, qd=qd, qdd=qdd),
        twice,
        replace(polled, interpolation="linear"),
        unpolled(polled),
    ):
        assert unpolled(each) is each


def test_rests_with_jitter_at_their_ends_are_rests():
    """Inverse kinematics that end by some urad elsewhere in each sample: a move that seems to go on after the rest."""
    t = np.arange(0.0, 6.0, 0.004)
    phase = (t + 0.1) % 0.75
    s, near = np.clip(phase / 0.5, 0.0, 1.0), (np.abs(phase - 0.5) < 0.018) | (phase < 0.018) | (phase > 0.732)
    for seed in range(5):
        stray = np.where(near[:, None], np.random.default_rng(seed).uniform(-1e-6, 1e-6, (t.size, 6)), 0.0)
        q = np.outer(s**3 * (10 - 15 * s + 6 * s**2), np.arange(1.0, 7.0)) + stray
        trajectory = gm.JointTrajectory(t=t, q=np.rint(q / 1e-9) * 1e-9)
        assert unpolled(trajectory) is trajectory


def test_a_sampler_that_lost_some_and_whose_stamps_scatter_is_none():
    random = np.random.default_rng(7)
    taken = np.flatnonzero(random.random(1000) > 0.02) * 0.002
    q = np.sin(np.outer(taken, [3.0, 2.0]))
    trajectory = gm.JointTrajectory(t=taken + 3e-4 * random.uniform(-1, 1, taken.size), q=q)
    assert unpolled(trajectory) is trajectory


def test_poses_are_read_as_joints_are():
    trajectory, _ = log("minimum jerk", 1, 130.0)
    x = trajectory.q[:, 0]
    poses = gm.PoseTrajectory(
        t=trajectory.t,
        position=np.column_stack([x, 0.1 * x, np.zeros(x.size)]),
        rotation=np.repeat(np.eye(3)[None], x.size, axis=0),
    )
    assert unpolled(poses).t == pytest.approx(unpolled(trajectory).t)


def test_a_period_that_is_off_by_a_part_moves_accelerations_by_twice_that():
    """Over times (1 + e) t a speed is v / (1 + e) and an acceleration a / (1 + e)^2."""
    t = np.arange(40) * 0.01
    part = 0.004
    rates = estimate_rates(t * (1.0 + part), 0.5 * (t**2)[:, None])
    off = np.abs(1.0 - rates.second)
    assert as_timed(rates, Timing(stretched=part)).bias_second - rates.bias_second == pytest.approx(off, rel=0.02)
    assert as_timed(rates, None) is rates
    speeds = estimate_rates(t, t[:, None], order=1)
    assert as_timed(speeds, Timing(stretched=part)).bias_first == pytest.approx(part + speeds.bias_first)
