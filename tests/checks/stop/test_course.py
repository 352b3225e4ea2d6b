"""What a stop finds of the program where it begins, and on its way, against a general solver and closed forms."""

from dataclasses import fields

import numpy as np
import pytest
from scipy.signal import lsim

import gripmargin as gm
from gripmargin.checks.case import work_out
from gripmargin.checks.stop.course import Course
from gripmargin.checks.stop.use import Stopping
from gripmargin.kernels.face import Face
from gripmargin.kernels.march import Oscillators
from gripmargin.kernels.oscillator import free_vibration, slopes


def course(frequency, damping, **known):
    """A program of which nothing else is asked."""
    w, z = np.array(frequency), np.array(damping)
    face = Face(np.zeros((3, 1, w.size)))
    modes = Oscillators(frequency=w, damping=z, face=face, gain=np.ones(w.size), followed=w > 0.0)
    return Course(**{field.name: None for field in fields(Course)} | {"oscillators": modes} | known)


def test_a_stop_between_samples_begins_with_the_swing_that_is_left_there():
    """Two modes under a load whose slope changes at every sample (scipy)."""
    t, w, z = 0.01 * np.arange(6), np.array([60.0, 150.0]), np.array([0.05, 0.2])
    load = np.random.default_rng(2).normal(size=(2, 6))
    vibration = free_vibration(t, load, w, z, (load[:, 0], np.zeros(2)))
    none = np.zeros(load.shape)
    driven = np.stack([load, slopes(t, load)])
    some = course(w, z, t=t, vibration=vibration, driven=driven, unsure=none, variance=none)
    begins = np.array([0.013, 0.03, 0.0488])
    fine = np.linspace(0.0, 0.05, 5001)
    found = some.state(begins)[0].phase.imag
    for i in range(2):
        system = [w[i] ** 2], [1.0, 2.0 * z[i] * w[i], w[i] ** 2]
        due = load[i, 0] + lsim(system, np.interp(fine, t, load[i]) - load[i, 0], fine)[1]
        assert found[i] == pytest.approx(np.interp(begins, fine, due), abs=1e-4)


def test_samples_that_pass_slowly_may_hide_a_whole_step(fast):
    """At full speed a straight line hides w h / 4 of one, however slowly samples pass 0.61 (1 - sin x / x, halved)."""
    job = fast(gm.Stop(time=0.2))
    some = Stopping(case=work_out(job), stop=job.stop).courses[0][1]
    turn = some.oscillators.frequency[:2] * 0.002
    swift, slow = np.diff(some.kicks[:, :2], axis=2)
    even = (swift > 0.0) & (np.abs(np.diff(some.t) - 0.002) < 1e-9)
    assert even.sum() > 100
    assert (slow / np.where(even, swift, 1.0))[even] == pytest.approx(
        (0.61 / (turn[:, None] / 4.0) + 0.0 * swift)[even]
    )


@pytest.mark.parametrize("turn", [0.5, 1.5, 2.3])
def test_noise_on_a_slow_way_shakes_no_more_than_is_allowed_for(turn):
    """Noise of the positions shakes a mode that turns by x between samples as their cubic spline lets it through.

    Of variance 1 it adds w^4 / 2 F(x) at a sample, where F = (12 (1 - cos x)^2 / (2 + cos x))^2 / x^6: the spline's
    own factor on the acceleration, as a straight line between samples. It is x^2 for small x, and 4.3 at most.
    """
    x = turn / (speed := np.linspace(1.0, 0.05, 200))
    due = (12.0 * (1.0 - np.cos(x)) ** 2 / (2.0 + np.cos(x))) ** 2 / x**6
    t, growth = 0.01 * np.arange(2), np.array([[0.0, turn**2]])
    none = np.zeros((1, 2))
    some = course([turn / 0.01], [0.1], t=t, kicks=np.zeros((2, 1, 2)), spline=none > 0, rough=none, growth=growth)
    places = np.array([[0], [1]]).repeat(speed.size, axis=1)
    allowed = some.passed(places, np.stack([speed, speed]))[1][0]
    assert (allowed >= due).all()
    assert allowed[0] == pytest.approx(turn**2)
    assert allowed.max() < 4.0**2 * (1 + 1e-9)  # it rises until the mode turns by 4 between samples
