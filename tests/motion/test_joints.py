"""Programs of joints whose speeds come with the positions: those that a drive has filtered are not used."""

import numpy as np
import pytest
from scipy.signal import lfilter

import gripmargin as gm
from gripmargin.motion.program import ProgramMotion


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
