"""The march of oscillators against a general solver, dense samples and closed forms."""

import numpy as np
import pytest
from scipy.signal import lsim

from gripmargin.kernels.face import Face
from gripmargin.kernels.march import Doubt, Oscillators, State, between, in_phase, march, missed

W, Z = np.array([60.0, 95.0, 210.0]), np.array([0.02, 0.1, 0.3])


def oscillators(*, followed=True, damping=Z):
    random = np.random.default_rng(5)
    face = Face(random.normal(size=(3, 6, 3)))
    gain = np.linalg.norm(face.maps, axis=0).max(axis=0)
    return Oscillators(frequency=W, damping=damping, face=face, gain=gain, followed=np.full(3, followed))


def used(face, response):
    t1, t2, s = face.maps @ response
    return np.sqrt(t1**2 + t2**2 + np.maximum(s, 0.0) ** 2).max(axis=0)


def hanging(some, load):
    """At rest under a load, shape (k, m)."""
    return begun(some.phase(load))


def begun(phase):
    """With what is sure of it."""
    return State(phase=phase, doubt=0.0 * phase.real, variance=0.0 * phase.real, free=0.0 * phase)


def simulated(load, t):
    """The responses to a load that is straight between times, by scipy."""
    start = load[0]
    return np.stack(
        [
            lsim(([w * w], [1.0, 2 * z * w, w * w]), column - first, t)[1] + first
            for w, z, column, first in zip(W, Z, load.T, start, strict=True)
        ]
    )


def test_responses_are_those_of_a_general_solver():
    """Two starts with steps of their own, each in two pieces one after the other."""
    random, n = np.random.default_rng(1), 40
    load, step = random.normal(size=(n + 1, 3, 2)), np.array([0.004, 0.011])
    some = oscillators()
    state, first = march(some, hanging(some, load[0]), step, load[:21])
    state, second = march(some, state, step, load[20:])
    both = first.then(second, 20 * step)
    for m in range(2):
        dense = np.linspace(0.0, n * step[m], 40 * n + 1)
        fine = np.stack([np.interp(dense, np.arange(n + 1) * step[m], load[:, k, m]) for k in range(3)], axis=1)
        found = simulated(fine, dense)
        use = used(some.face, found)
        assert state.phase[:, m].imag == pytest.approx(found[:, -1], abs=1e-6)
        assert both.use[m] == pytest.approx(use.max(), rel=0.01)
        assert both.use[m] <= use.max() * (1 + 1e-6)
        assert both.when[m] == pytest.approx(dense[use.argmax()], abs=0.2 * step[m])
        assert used(some.face, both.response[:, [m]])[0] == pytest.approx(both.use[m])


def test_the_top_of_a_rise_is_its_end():
    """Nothing is read off beyond the last node."""
    some = oscillators(damping=np.full(3, 0.5))
    load = np.linspace(0.0, 1.0, 21)[:, None, None] * np.ones((3, 1))
    _, peak = march(some, hanging(some, load[0]), np.array([0.05]), load)
    end = load[-1] - 2 * 0.5 / W[:, None]  # it lags by 2 z/w of a slope of 1 (closed form)
    assert peak.when[0] == pytest.approx(1.0)
    assert peak.use[0] == pytest.approx(used(some.face, end)[0], rel=1e-3)


@pytest.mark.parametrize("turn", [0.2, 0.8])
def test_what_lies_between_the_nodes_is_covered_and_hardly_more(turn):
    """A step of the load: twice the step at first, without damping (closed form: 2 for one, corners for three)."""
    some = oscillators(damping=np.zeros(3))
    load = np.ones((400, 3, 1)) * np.array([1.0, -0.7, 0.4])[:, None]
    state = begun(0.0 * some.phase(load[0]))
    _, peak = march(some, state, np.array([turn / W[-1]]), load)
    t = np.linspace(0.0, 399 * turn / W[-1], 60_000)
    truth = used(some.face, load[0] * (1.0 - np.cos(W[:, None] * t))).max()
    assert peak.least[0] <= truth <= peak.most[0]
    assert peak.use[0] == pytest.approx(truth, rel=1e-3)
    assert peak.most[0] < truth * (1.0 + 1.05 * between(turn))
    assert in_phase(some, load[0], np.abs(load[0]), np.zeros(1))[0] >= truth


def test_a_jump_of_the_load_starts_a_swing_about_the_new_one():
    """It is out of place by the jump and has no speed (closed form of the step response); no jump starts none."""
    some, steady = oscillators(), np.full((2, 3, 1), 0.7)
    phase, step = hanging(some, steady[0]).phase, np.array([1e-3])
    assert np.abs(some.free(phase, steady, step)).max() < 1e-12
    assert some.free(phase, steady + 1.0, step)[:, 0] == pytest.approx(-Z / np.sqrt(1.0 - Z**2) - 1.0j)


def test_what_is_not_followed_counts_with_its_whole_amplitude():
    load = np.zeros((5, 3, 1))
    some = oscillators(followed=False)
    state = begun(np.array([[0.5], [0.0], [0.2j]]))
    _, peak = march(some, state, np.array([1e-4]), load)
    assert peak.use[0] == 0.0
    assert peak.most[0] == pytest.approx(0.5 * some.gain[0] + 0.2 * some.gain[2])


def test_what_is_not_followed_may_carry_less_than_its_load():
    """A pulse that is over before an oscillator follows: little of it arrives (closed form: its impulse)."""
    load = np.concatenate([np.ones((5, 3, 1)), np.zeros((1, 3, 1))])
    step = np.array([2e-4])
    peaks = []
    for followed in (True, False):
        some = oscillators(followed=followed)
        state = begun(0.0 * some.phase(load[0]))
        peaks.append(march(some, state, step, load)[1])
    exact, static = peaks
    assert exact.use[0] < 0.1 * static.use[0]
    assert static.least[0] <= exact.use[0] <= static.most[0]


@pytest.mark.parametrize("turn", [0.1, 0.5, 2.0, 5.0, 20.0])
def test_no_step_between_nodes_starts_more_swing_than_is_allowed_for(turn):
    """A step of 1 somewhere between two nodes swings by 1; a straight rise over two of them by sin(x/2) / (x/2)."""
    rise = abs(np.sin(turn / 2) / (turn / 2))
    assert 2.0 * missed(turn) >= 1.0 - rise  # a step is two second differences of its size
    if turn == 5.0:
        assert 2.0 * missed(turn) < 1.3 * (1.0 - np.sin(4.4934) / 4.4934)  # the least value of sin x / x


def test_doubts_ride_along_and_fade():
    some, load = oscillators(), np.zeros((101, 3, 1))
    step, kicks = np.array([1e-3]), np.array([[0.3], [0.0], [0.0]])
    doubt = Doubt(kicks=kicks, offset=0.05, growth=np.array([[0.04], [0.0], [0.0]]))
    state, peak = march(some, hanging(some, load[0]), step, load, doubt, sure=3.0, coverage=2.0)
    _, static = march(oscillators(followed=False), hanging(some, load[0]), step, load, doubt, sure=3.0, coverage=2.0)
    left = np.exp(-Z[0] * W[0] * 0.1)
    assert state.doubt[0, 0] == pytest.approx(0.3 * left)
    assert state.variance[0, 0] == pytest.approx(0.04 * left**2)
    assert peak.most[0] == pytest.approx(some.gain[0] * (0.3 + 2.0 * 0.2) + 0.05)
    for found, kept in ((peak, 1.0), (static, left / np.exp(-Z[0] * W[0] * 1e-3))):  # by the node, or in long steps
        assert found.least[0] == pytest.approx(-some.gain[0] * (0.3 * kept + 3.0 * 0.2) - 0.05)


def test_noise_of_the_load_counts_by_its_squares():
    """Kinks that noise makes add up like the steps of a random walk, those of the load itself in a row."""
    random = np.random.default_rng(3)
    some, step = oscillators(), np.array([2e-3])
    load = 1e-3 * random.normal(size=(201, 3, 1))
    rough = [march(some, hanging(some, load[0]), step, load, Doubt(rough=x))[0] for x in (load, None)]
    kinks = np.abs(np.diff(load[:, 0, 0], 2)) * missed(W[0] * step[0])
    assert rough[0].doubt[0, 0] == pytest.approx(0.0, abs=1e-12)
    assert np.sqrt(rough[0].variance[0, 0]) == pytest.approx(np.sqrt((kinks**2).sum()), rel=1e-6)
    assert rough[1].doubt[0, 0] == pytest.approx(kinks.sum(), rel=0.02)


def test_the_box_of_all_amplitudes():
    """Its corners, one by one; where the sum of all sizes is enough it is left at that."""
    some, random = oscillators(), np.random.default_rng(4)
    load, size = random.normal(size=(3, 20)), np.abs(random.normal(size=(3, 20)))
    signs = 2.0 * np.array(list(np.ndindex(2, 2, 2))) - 1.0
    corners = [used(some.face, load + size * sign[:, None]) for sign in signs]
    due = np.max(corners, axis=0)
    assert in_phase(some, load, size, np.zeros(20)) == pytest.approx(due)
    assert (in_phase(some, load, size, np.full(20, 1e9)) >= due).all()
