"""Time stamps of recordings: the sampler behind them, and whether the samples follow the stamps; truths are known."""

import numpy as np
import pytest

import gripmargin as gm
from gripmargin.kernels.sampler import nominal_times, number_samples
from gripmargin.motion.program import ProgramMotion
from gripmargin.motion.rates import estimate_rates
from gripmargin.motion.stamps import sample_times


def motion(t):
    """Two joints and their accelerations."""
    return np.column_stack([np.sin(3 * t), 0.5 * np.cos(2 * t + 1)]), np.column_stack(
        [-9 * np.sin(3 * t), -2 * np.cos(2 * t + 1)]
    )


def sampler(rate, seconds, *, lost=0.0, seed=0):
    rng = np.random.default_rng(seed)
    k = np.arange(int(rate * seconds))
    keep = rng.random(k.size) >= lost
    keep[[0, -1]] = True
    return rng, k[keep], k[keep] / rate


@pytest.mark.parametrize("rate", [125, 250, 1000])
@pytest.mark.parametrize("scatter", [0.02, 0.1])
@pytest.mark.parametrize("drift", [0.0, 1e-3])
def test_samples_are_numbered_through_losses_and_drift(rate, scatter, drift):
    """Two clocks that drift apart by a millisecond and back, a sample in fifty lost."""
    rng, k, tau = sampler(rate, 8.0, lost=0.02)
    t = tau + drift * np.sin(0.8 * tau) + scatter / rate * rng.normal(size=k.size)
    number, period = number_samples(t)
    assert (number == k).mean() > 0.998
    assert period == pytest.approx(1 / rate, rel=2e-3)
    nominal, astray = nominal_times(t, number)
    assert astray <= 1.0
    off = nominal - tau - drift * np.sin(0.8 * tau)
    assert np.abs(off - off.mean()).max() < 0.06 / rate + 0.15 * drift


def test_several_samples_lost_in_a_row_are_counted():
    rng, k, tau = sampler(500, 2.0)
    keep = ~np.isin(k, [100, 300, 301, *range(500, 507), *range(700, 730)])
    t = (tau + 1e-4 * rng.normal(size=k.size))[keep]
    assert (number_samples(t)[0] == k[keep]).all()


@pytest.mark.parametrize(("scatter", "told"), [(0.7e-6, False), (1.5e-6, True)])
def test_a_scatter_below_a_millionth_of_the_period_is_rounding_of_the_stamps(scatter, told):
    tau = np.arange(1000) * 0.004
    t = tau + scatter * 0.004 * np.random.default_rng(5).choice([-1.0, 1.0], tau.size)
    found = sample_times(t, motion(tau)[0])
    assert ("they scatter" in found.note, found.scatter == 0.0) == (told, not told)


def test_scattered_stamps_of_an_even_sampler_are_not_followed():
    """0.3 ms of scatter on samples 4 ms apart: second differences over the stamps are worth nothing."""
    rng, _, tau = sampler(250, 4.0, lost=0.01)
    t = tau + 3e-4 * rng.normal(size=tau.size)
    q, a = motion(tau)
    found = sample_times(t, q)
    assert found.share == 0.0
    assert found.period == pytest.approx(0.004, rel=1e-4)
    assert found.jitter == pytest.approx(3e-4, rel=0.1)
    assert "the samples do not follow" in found.note
    over_stamps = np.abs(estimate_rates(t, q).second - a)
    over_times = np.abs(estimate_rates(found.t, q).second - a)
    assert np.median(over_times) < 0.1 * np.median(over_stamps)


def test_true_stamps_of_an_uneven_sampler_are_used():
    rng, _, tau = sampler(250, 4.0, lost=0.01)
    t = tau + 3e-4 * rng.normal(size=tau.size)
    q, _ = motion(t)
    found = sample_times(t, q + 1e-6 * rng.normal(size=q.shape))
    assert found.share == 1.0
    assert (found.t == t).all()
    assert "used as given" in found.note


def test_where_both_scatter_the_best_share_is_found():
    """Of two scatters s and e that add up, a share s^2/(s^2 + e^2) belongs to the samples (linear regression)."""
    rng, _, tau = sampler(250, 8.0)
    taken = tau + 2e-4 * rng.normal(size=tau.size)
    t = taken + 1e-4 * rng.normal(size=tau.size)
    q, _ = motion(taken)
    found = sample_times(t, q)
    assert found.share == pytest.approx(4 / 5, abs=0.05)
    assert found.scatter == pytest.approx(np.hypot(2e-4, 1e-4) * np.sqrt(0.8 * 0.2), rel=0.2)
    assert np.std(found.t - taken) < np.std(t - taken)


@pytest.mark.parametrize("count", [1e-6, 1e-4])
def test_a_joint_at_rest_in_counts_says_nothing_of_the_stamps(count):
    """It changes by whole counts or not at all: no noise, but no evidence either."""
    rng, _, tau = sampler(500, 3.0, lost=0.01)
    t = tau + 1.5e-4 * rng.normal(size=tau.size)
    q, _ = motion(np.clip(t - 1.5, 0, None))
    q = np.column_stack([q, np.zeros(t.size)])
    assert sample_times(t, count * np.round(q / count)).share == pytest.approx(1.0, abs=0.05)


def test_stamps_in_whole_milliseconds():
    tau = np.arange(1200) / 300
    found = sample_times(np.round(tau, 3), motion(tau)[0])
    assert found.share == 0.0
    assert np.abs(np.diff(found.t) - 1 / 300).max() < 1e-8


def test_even_stamps_are_left_alone_and_so_are_those_since_1970():
    for start in (0.0, 1.7e9):
        t = start + np.arange(500) * 0.004
        found = sample_times(t, motion(t - start)[0])
        assert found.t is t
        assert found.note == ""


def test_noise_too_large_to_tell_is_said():
    rng, _, tau = sampler(250, 1.0)
    t = tau + 2e-5 * rng.normal(size=tau.size)
    assert "too little beside the noise" in sample_times(t, 1e-2 * rng.normal(size=(tau.size, 2))).note


@pytest.mark.parametrize(
    ("name", "t"),
    [
        ("two rates", np.concatenate([np.arange(200) * 0.004, 0.8 + np.arange(100) * 0.011])),
        ("no rate", np.cumsum(np.random.default_rng(1).uniform(0.5, 1.5, 300)) * 0.004),
        ("points of a planner", np.cumsum(0.02 + 0.015 * np.sin(np.arange(120) * 0.2))),
    ],
)
def test_what_is_no_periodic_sampler_is_taken_as_given(name, t):
    found = sample_times(t, motion(t)[0])
    assert found.t is t
    assert "used as given" in found.note
    with pytest.raises(gm.InputError, match=r"program.stamps: found stamps that are not those of a periodic sampler"):
        sample_times(t, motion(t)[0], "periodic")


def test_a_job_settles_it():
    rng, _, tau = sampler(250, 2.0)
    t = tau + 3e-4 * rng.normal(size=tau.size)
    q, _ = motion(t)
    assert sample_times(t, q, "as given").t is t
    assert np.abs(np.diff(sample_times(t, q, "periodic").t) - 0.004).max() < 1e-5


@pytest.mark.parametrize("kind", ["joints", "poses"])
def test_programs_of_both_kinds_are_differentiated_over_these_times(arm, exact_moves, kind):
    from gripmargin.motion.tool_motion import joint_motion

    exact = exact_moves(6, (0.2, 0.9, [0.7, 0.2, -0.3, 0.4, 0.2, -0.5]))
    tau = np.arange(0, 1.4, 0.004)
    t = np.sort(tau + 3e-4 * np.random.default_rng(3).normal(size=tau.size))
    true = joint_motion(arm, tau, *exact.at(tau))
    if kind == "joints":
        program = gm.JointTrajectory(t=t, q=exact.at(tau)[0])
    else:
        program = gm.PoseTrajectory(t=t, position=true.position, rotation=true.rotation.copy())
    made, given = (ProgramMotion.of(program, arm, stamps=stamps) for stamps in (None, "as given"))
    assert made.notes[0].startswith("Time stamps: stamps of a sampler with a period of 4 ms, no sample missing")
    off, off_given = (np.median(np.abs(m.at.acceleration - true.acceleration)) for m in (made, given))
    assert off < 0.1 * off_given


def test_message_points_keep_their_times(arm):
    """Straight lines between points turn at their times, whatever these are."""
    t = np.cumsum(np.full(40, 0.1)) + 1e-3 * np.random.default_rng(0).normal(size=40)
    q = np.cumsum(np.random.default_rng(1).normal(size=(40, 6)), axis=0) * 0.01
    assert not any(
        "Time stamps" in note
        for note in ProgramMotion.of(gm.JointTrajectory(t=t, q=q, interpolation="linear"), arm).notes
    )
