"""What drives the swing: noise by its spectrum, a step that smoothing hides, a shaking that looks like noise."""

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from scipy.signal import savgol_coeffs

from gripmargin.checks.swing.drive import FOLLOWED, STANDS_OUT, UNSEEN, Doubt, estimated_drives, shaking, spline_missed
from gripmargin.checks.swing.vibration import Modes

STEP = 0.002  # [s]


def lengthwise(frequency, damping=0.0):
    """Modes that all take the force along z as it is: load and response in N."""
    up = np.repeat(np.eye(6)[:, 2:3], np.size(frequency), axis=1)
    same = np.full(np.size(frequency), damping)
    return Modes(
        frequency=np.atleast_1d(frequency), damping=same, shapes=up, loads=up, names=("pull",) * np.size(frequency)
    )


def doubt(n, *, sigma=0.0, bias=0.0, window=0.0, left=None, noise=0.0, shaking=0.0):
    """One cause, an acceleration in m/s^2 of 1 kg."""
    columns, none = np.zeros((1, 6, n)), np.zeros((n, 1))
    columns[0, 2] = 1.0
    return Doubt(
        columns=columns,
        sigma=none + sigma,
        bias=none + np.reshape(bias, (-1, 1)),
        window=none + window,
        unsmoothed=None if left is None else np.stack([none, left[:, None]]),
        shaking=np.zeros((2, n, 1)) + shaking,
        speed_sigma=none,
        speed_bias=none,
        spin=none,
        noise=np.array([noise]),
    )


@pytest.mark.parametrize(("points", "degree"), [(5, 4), (7, 3), (15, 3), (101, 3)])
def test_noise_of_a_fit_starts_no_more_swing_than_said_and_not_much_less(points, degree):
    """Noise of spectrum S makes the variance of an undamped swing grow by w^2 S(w) / 2 a second (Duhamel's integral,
    squared). White noise through the weights c of a fit, and straight between samples h apart, has
    S(w) = h |sum c_k exp(-i w k h)|^2 sinc(w h / 2)^4 (Oppenheim & Schafer, from memory; weights by scipy)."""
    turn = np.linspace(0.02, 3.1, 300)
    w, weights, n = turn / STEP, savgol_coeffs(points, degree, deriv=2, delta=STEP), 9
    spectrum = STEP * np.abs(np.exp(-1j * np.outer(turn, np.arange(points))) @ weights) ** 2
    due = w**2 / 2 * STEP * spectrum * np.sinc(turn / (2 * np.pi)) ** 4
    noise = doubt(n, sigma=np.sqrt((weights**2).sum()), window=(points - 1) * STEP)
    said = estimated_drives(lengthwise(w), np.arange(n) * STEP, np.zeros((6, n)), noise)[0].growth[:, n // 2]
    assert (due <= said).all()
    assert (due / said).max() > (0.6 if degree == 3 else 0.2)


@pytest.mark.parametrize("window", [0.004, 0.02, 0.08])
def test_a_step_anywhere_in_the_window_of_a_fit_starts_no_more_swing_than_said(window):
    """A step of 1 N is seen as a ramp over the window, and half of it as its error on either side. At share s of the
    window it starts a swing exp(i w s T), the ramp one of sinc(w T / 2) exp(i w T / 2) (Duhamel's integral)."""
    t, w = np.arange(200) * STEP, 60.0
    load = np.zeros((6, t.size))
    load[2] = np.clip((t - 0.2) / window, 0, 1)
    near = np.where(np.abs(t - 0.2 - window / 2) <= window / 2 + STEP / 2, 0.5, 0.0)
    drive = estimated_drives(lengthwise(w), t, load, doubt(t.size, bias=near, window=window))[0]
    shares, half = np.linspace(0, 1, 101), w * window / 2
    missed = np.abs(np.exp(2j * half * shares) - np.sinc(half / np.pi) * np.exp(1j * half)).max()
    assert missed <= drive.kinks.sum() <= 2.5 * missed


@pytest.mark.parametrize("turn", [0.1, 0.3, 0.6, 1.0, 1.5, 2.0, FOLLOWED])
def test_a_spline_through_positions_misses_what_is_said_of_a_step(turn):
    """A step of acceleration at any share of an interval starts a swing of size 1 (Duhamel's integral); the spline
    through its positions (scipy's) one of another size and phase."""
    t, missed = np.arange(61.0), []
    for begin in 30 + np.linspace(0, 1, 21):
        bent = CubicSpline(t, np.maximum(t - begin, 0) ** 2 / 2)(t, 2)
        swing = np.sum(np.diff(bent) * np.diff(np.exp(1j * turn * t))) / (1j * turn)
        missed.append(abs(swing - np.exp(1j * turn * begin)))
    assert max(missed) <= spline_missed(np.array([turn]))[0] <= 1.25 * max(missed)


class TestShaking:
    """A shaking of 10 um at the rate of a mode, all of which a fit has smoothed away."""

    def found(self, turn, noise=0.0):
        """The swing of 1 kg that the check allows for, and the one that resonance starts: w T / 2 times the push."""
        t, w, size = np.arange(300) * STEP, turn / STEP, 1e-5
        left = CubicSpline(t, size * np.sin(w * t))(t, 2)
        known = doubt(t.size, left=left, noise=noise)
        return shaking(lengthwise(w), t, [(slice(None), known)], anywhere=True)[0, -1], w * t[-1] / 2 * size * w**2

    @pytest.mark.parametrize("turn", [0.6, 1.7, 2.9, 4.5])
    def test_at_resonance_it_is_found_whole(self, turn):
        """Also where samples are too far apart to follow it: at 4.5 rad a sample it looks like 1.8 rad back."""
        said, due = self.found(turn)
        assert said == pytest.approx(due, rel=0.03)

    def test_what_turns_nearly_once_from_sample_to_sample_cannot_be_told_from_a_move(self):
        assert self.found(5.5)[0] == 0.0

    def test_noise_that_does_as_much_hides_it(self):
        """Noise s of positions pushes by w^2 s: after n samples its swing has variance n (w h)^2 (w^2 s)^2 / 2. What
        exceeds four of its standard deviations is noise in exp(-8) of cases, 3 in 10,000 (Rayleigh)."""
        turn, n = 1.7, 300
        due = self.found(turn)[1]
        same = due / STANDS_OUT / (np.sqrt(n / 2) * turn * (turn / STEP) ** 2)
        assert self.found(turn, 0.9 * same)[0] > 0.9 * due
        assert self.found(turn, 1.1 * same)[0] == 0.0
        assert np.exp(-(STANDS_OUT**2) / 2) == pytest.approx(3.4e-4, rel=0.02)

    @pytest.mark.parametrize("turn", [UNSEEN, 7.0, 20.0])
    def test_modes_too_fast_to_be_seen_follow_it(self, turn):
        """A shaking of 2 N at 3.1 rad a sample; an oscillator of rate w driven at v < w goes 1 / (1 - v^2 / w^2) of
        what it would at rest (any text on vibration)."""
        left = 2.0 * np.sin(3.1 * np.arange(300))
        shaken = doubt(300, left=left, bias=2.0, shaking=np.stack([left, 2.0 + 0.0 * left])[:, :, None])
        modes, t = lengthwise(turn / STEP), np.arange(300) * STEP
        swung = shaking(modes, t, [(slice(None), shaken)])
        drive = estimated_drives(modes, t, np.zeros((6, 300)), shaken, shaken=swung)[0]
        due = 2.0 / (1.0 - (3.1 / turn) ** 2)
        assert due <= drive.bias[0, 150] <= 1.03 * due
        assert not drive.kinks[0, 1:].any()
