"""Samples that are missing, and speeds that a drive has filtered: what hides there is bounded, or left in doubt."""

import numpy as np
import pytest
from scipy.signal import lfilter

import gripmargin as gm
from gripmargin.motion.holes import gaps, in_holes
from gripmargin.motion.program import ProgramMotion
from gripmargin.motion.rates import estimate_rates


def pulses(t, middle, width, size):
    """Position and acceleration of an acceleration (1 + cos) that lasts as long as the width, and of its opposite."""
    out = np.zeros((2, t.size))
    for sign, at in ((1, middle), (-1, middle + 0.4)):
        s = np.clip(t - at + width / 2, 0, width)
        w = 2 * np.pi / width
        way = size * (s**2 / 4 - (1 - np.cos(w * s)) / (2 * w * w))
        out[0] += sign * (way + size * width / 2 * np.clip(t - at - width / 2, 0, None))
        out[1] += sign * size * (1 - np.cos(w * s)) / 2 * ((s > 0) & (s < width))
    return out


@pytest.mark.parametrize("rate", [125, 250, 500])
@pytest.mark.parametrize("missing", [2, 3, 4])
@pytest.mark.parametrize("noise", [0.0, 1e-5])
def test_a_peak_that_falls_into_a_hole_is_within_the_stated_error(rate, missing, noise):
    """The largest acceleration anywhere, hidden or not, at the samples around it; the worst place of the hole too."""
    rng = np.random.default_rng(rate + missing)
    beyond = []
    for shift in np.linspace(0, 1, 9):
        t = np.arange(int(1.5 * rate)) / rate
        k = int(0.6 * rate)
        keep = np.ones(t.size, dtype=bool)
        keep[k : k + missing] = False
        width = 4.0 * (missing + 1) / rate
        middle = t[k - 1] + shift * (missing + 1) / rate
        t = t[keep]
        q = pulses(t, middle, width, 5.0)[0] + noise * rng.normal(size=t.size)
        rates = in_holes(t, q[:, None], estimate_rates(t, q[:, None]))
        stated = (np.abs(rates.second) + 2 * rates.sigma_second + rates.bias_second)[:, 0]
        beyond.append(5.0 - stated[np.abs(t - middle) < width].max())
    assert max(beyond) <= 0.0


def test_a_single_lost_sample_at_1_khz_is_no_doubt(arm, exact_moves):
    exact = exact_moves(6, (0.2, 0.9, [0.7, 0.2, -0.3, 0.4, 0.2, -0.5]))
    t = np.arange(0, 1.4, 0.001)
    for lost in (1, 6, 8):
        keep = np.ones(t.size, dtype=bool)
        keep[500 : 500 + lost] = False
        made = ProgramMotion.of(gm.JointTrajectory(t=t[keep], q=exact.at(t[keep])[0]), arm)
        assert made.doubts == ()
        whole = ProgramMotion.of(gm.JointTrajectory(t=t, q=exact.at(t)[0]), arm)
        assert np.abs(made.at.acceleration - whole.at.acceleration[keep]).max() < 0.02


@pytest.mark.parametrize(
    ("rate", "lost", "doubted"), [(1000, 8, False), (1000, 12, True), (250, 3, False), (250, 5, True), (125, 4, True)]
)
def test_gaps_wider_than_five_steps_and_10_ms_are_doubts(rate, lost, doubted):
    t = np.arange(rate) / rate
    t = np.delete(t, np.arange(rate // 2, rate // 2 + lost))
    assert bool(gaps(t, t[:, None], np.zeros(1))) == doubted or (rate, lost) == (125, 4)
    if (rate, lost) == (125, 4):  # just five steps: bounded, not doubted
        assert gaps(t, t[:, None], np.zeros(1)) == []


def test_a_hole_costs_what_sparse_samples_cost():
    t = np.arange(300) / 125
    q = (0.3 * np.sin(4 * t))[:, None]
    keep = np.ones(t.size, dtype=bool)
    keep[150:153] = False
    t, q = t[keep], q[keep]
    before = estimate_rates(t, q)
    after = in_holes(t, q, before)
    assert after.bias_second[149:151].min() >= before.bias_second[149:151].min()
    assert (np.delete(after.bias_second, [149, 150]) == np.delete(before.bias_second, [149, 150])).all()
    assert after.bias_second.max() < 0.1 * 0.3 * 16


class TestSpeedsOfTheDrive:
    """A filter of the first order lags by its time constant and cuts peaks (closed form)."""

    def recorded(self, exact_moves, *, tau=0.0, noise=0.0, rate=500):
        exact = exact_moves(6, (0.2, 0.5, [0.7, 0.2, -0.3, 0.4, 0.2, -0.5]))
        t = np.arange(0, 1.0, 1 / rate)
        q, qd, _ = exact.at(t)
        rng = np.random.default_rng(4)
        if tau:
            a = np.exp(-1 / rate / tau)
            qd = lfilter([1 - a], [1, -a], qd, axis=0)
        shaken = q + 1e-6 * rng.normal(size=q.shape), qd + noise * rng.normal(size=q.shape)
        return gm.JointTrajectory(t=t, q=shaken[0], qd=shaken[1], source="log")

    @pytest.mark.parametrize("tau", [0.003, 0.008, 0.03])
    @pytest.mark.parametrize("noise", [0.0, 1e-3])
    def test_speeds_that_lag_are_not_used(self, arm, exact_moves, tau, noise):
        log = self.recorded(exact_moves, tau=tau, noise=noise)
        made = ProgramMotion.of(log, arm)
        (note,) = [note for note in made.notes if "not used" in note]
        lag = float(note.split("by ")[1].split(" ms")[0])
        # the discrete filter lags by half a step less than its time constant
        assert lag == pytest.approx(1e3 * tau - 1.0, rel=0.15, abs=0.3)
        alone = ProgramMotion.of(gm.JointTrajectory(t=log.t, q=log.q), arm)
        assert (made.at.acceleration == alone.at.acceleration).all()

    @pytest.mark.parametrize("noise", [0.0, 1e-4, 1e-3])
    @pytest.mark.parametrize("rate", [125, 500, 1000])
    def test_true_speeds_are_used(self, arm, exact_moves, noise, rate):
        made = ProgramMotion.of(self.recorded(exact_moves, noise=noise, rate=rate), arm)
        assert any("Joint speeds as given" in note for note in made.notes)

    def test_speeds_that_miss_a_peak_are_not_used(self, arm, exact_moves):
        log = self.recorded(exact_moves)
        cut = np.clip(log.qd, -0.97 * np.abs(log.qd).max(axis=0), 0.97 * np.abs(log.qd).max(axis=0))
        cut[np.abs(log.t - 0.45) < 0.1] *= 0.985
        made = ProgramMotion.of(gm.JointTrajectory(t=log.t, q=log.q, qd=cut), arm)
        assert any("differ from the positions'" in note for note in made.notes)

    def test_noisy_speeds_of_a_slow_joint_are_no_contradiction(self, arm):
        """Most of what such a column says is noise; over several intervals it says the travel."""
        rng = np.random.default_rng(5)
        t = np.arange(1000) / 500
        q = np.column_stack([0.02 * (1 - np.cos(np.pi * t))] * 6)
        qd = np.column_stack([0.02 * np.pi * np.sin(np.pi * t)] * 6) + 0.02 * rng.normal(size=q.shape)
        made = ProgramMotion.of(gm.JointTrajectory(t=t, q=q, qd=qd), arm)
        assert made.notes
        with pytest.raises(gm.InputError, match="seem to be in rad where deg is said"):
            ProgramMotion.of(gm.JointTrajectory(t=t, q=q, qd=qd * np.pi / 180), arm)
